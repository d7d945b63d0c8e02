"""What libsndfile has no word for in WAV: markers to the sample, and the tags that MP3 files have.

Behind the sound come a `cue ` chunk, whose points are frames of the sound, with their names in a
`LIST` of type `adtl` (IBM and Microsoft, "Multimedia Programming Interface and Data Specifications
1.0", 1991), and ID3 tags, the tempo among them, in a chunk called `id3 `, as players look for them
there (common practice). They have no chapters: ffmpeg takes markers for some, and would mix both.
Files beyond 4 GB (RF64, EBU Tech 3306) count their bytes in a chunk of their own.
"""

from __future__ import annotations

import struct
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from renderer.delivery.id3 import id3_tag
from renderer.delivery.tags import Chapter, Tags, clean
from renderer.sound.frames import frame_at

_LAST_FRAME = 2**32 - 1
_SIZE_AT, _LONG_SIZE_AT = 4, 20


def _chunk(name: bytes, content: bytes) -> bytes:
    return name + struct.pack("<I", len(content)) + content + bytes(len(content) % 2)


def _markers(chapters: Sequence[Chapter], rate: int) -> bytes:
    frames = [(frame_at(one.start, rate), one.title) for one in chapters]
    counted = [one for one in frames if one[0] <= _LAST_FRAME]
    if not counted:
        return b""
    points, names = struct.pack("<I", len(counted)), b"adtl"
    for number, (frame, title) in enumerate(counted, start=1):
        points += struct.pack("<II4sIII", number, frame, b"data", 0, 0, frame)
        label = struct.pack("<I", number) + clean(title).encode() + b"\0"
        names += _chunk(b"labl", label)
    return _chunk(b"cue ", points) + _chunk(b"LIST", names)


def add_chunks(path: Path, tags: Tags, rate: int) -> None:
    """Add markers and tags to a WAV file.

    Parameters
    ----------
    path:
        A complete file.
    tags:
        What players show, and the chapters that the markers stand at.
    rate:
        Frames a second.

    Raises
    ------
    OSError
        If that cannot be written, or it is no WAV file.
    """
    with path.open("rb+") as file:
        kind = file.read(4)
        size = file.seek(0, 2)
        id3 = id3_tag(replace(tags, chapters=()))
        file.write(bytes(size % 2) + _markers(tags.chapters, rate) + _chunk(b"id3 ", id3))
        counted = file.tell() - 8
        if kind == b"RF64":
            file.seek(_LONG_SIZE_AT)
            file.write(struct.pack("<Q", counted))
        elif kind == b"RIFF":
            file.seek(_SIZE_AT)
            file.write(struct.pack("<I", counted))
        else:
            raise OSError(0, "the file is not the WAV that was written", str(path))
