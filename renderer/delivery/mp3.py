"""MP3 files: tags, a first frame that states their exact length, and LAME's sound."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from renderer.delivery.id3 import id3_tag
from renderer.delivery.lame import Lame
from renderer.delivery.tags import Tags


@contextmanager
def mp3_encoder(
    path: Path, *, rate: int, channels: int, kbit: int, tags: Tags
) -> Iterator[Callable[[NDArray[np.float32]], None]]:
    """Open an encoder that writes to `path`, tags, chapters and cover included.

    The sound opens with a frame in which LAME notes its delay and padding, so that decoders that
    trim give back every sample and no more.

    Parameters
    ----------
    path:
        The file to write; it is replaced.
    rate, channels, kbit:
        Frames per second that MP3 has; 1 or 2; kbit/s.
    tags:
        What a player shows.

    Yields
    ------
    A function that takes a block of shape (frames, channels).

    Raises
    ------
    RungwiseError
        If LAME is not there. `OSError` if the disk is full.
    """
    with (
        Lame(rate=rate, channels=channels, kbit=kbit) as lame,
        path.open("wb", buffering=0) as file,
    ):

        def put(content: bytes) -> None:
            view = memoryview(content)
            while view:
                view = view[file.write(view) :]

        put(id3_tag(tags))
        begins = file.tell()
        yield lambda block: put(lame.encode(block))
        put(lame.finish())
        file.seek(begins)
        put(lame.first_frame())
