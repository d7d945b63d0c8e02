"""MP3 files: tags, a first frame that states their exact length, and LAME's sound."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from renderer.delivery.id3 import HEADER_BYTES, id3_tag, renumbered, tag_bytes
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


def copy_renumbered(source: Path, target: Path, number: str) -> str:
    """Write an MP3 file as it is, but for the number of its track.

    Parameters
    ----------
    source:
        A file that `mp3_encoder` has written.
    target:
        The file to write; it is replaced.
    number:
        Which track it is, and of how many, as `2/5`.

    Returns
    -------
    The SHA-256 of `source` as it was read, as hexadecimal digits.
    """
    with source.open("rb") as there, target.open("wb") as file:
        header = there.read(HEADER_BYTES)
        tag = header + there.read(tag_bytes(header))
        digest = hashlib.sha256(tag)
        file.write(renumbered(tag, number))
        while block := there.read(1 << 20):
            digest.update(block)
            file.write(block)
    return digest.hexdigest()
