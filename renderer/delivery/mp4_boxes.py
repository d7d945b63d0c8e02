"""What an M4A file says of its length: the boxes of ISO/IEC 14496-12 (ISO base media file format).

A file is a row of boxes, each with its length in four bytes and its kind in four letters before it.
Within `moov` each track's `edts` holds an edit list, `elst`: which stretches of the sound are
played, how long each, counted in units of the movie. ffmpeg is asked to make these one frame each.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO

_LONG = 1
"""In place of a length: it follows behind the kind, in eight bytes."""

_TO_THE_EDIT_LIST = (b"moov", b"trak", b"edts", b"elst")


def stated_frames(path: Path) -> int | None:
    """Return how many frames a whole M4A file says that are played; None if anything is missing."""
    size = path.stat().st_size
    with path.open("rb") as file:
        kinds = {kind: end for kind, _, end in _boxes(file, 0, size)}
        if b"mdat" not in kinds or b"moov" not in kinds or max(kinds.values()) != size:
            return None
        return _edited(file, 0, size, _TO_THE_EDIT_LIST)


def _boxes(file: BinaryIO, at: int, end: int) -> Iterator[tuple[bytes, int, int]]:
    """Yield the kind of each box, where its content begins and where it ends."""
    while at + 8 <= end:
        file.seek(at)
        length, kind = int.from_bytes(file.read(4)), file.read(4)
        begins = at + 8
        if length == _LONG:
            length, begins = int.from_bytes(file.read(8)), at + 16
        if at + length < begins:
            return
        yield kind, begins, at + length
        at += length


def _edited(file: BinaryIO, at: int, end: int, kinds: tuple[bytes, ...]) -> int | None:
    """Return what the edit list of the first track counts, whose box is found through `kinds`."""
    for kind, begins, ends in _boxes(file, at, end):
        if kind == kinds[0]:
            return (
                _edit_list(file, begins)
                if len(kinds) == 1
                else _edited(file, begins, ends, kinds[1:])
            )
    return None


def _edit_list(file: BinaryIO, at: int) -> int:
    file.seek(at)
    width = 8 if file.read(4)[0] else 4
    frames = 0
    for _ in range(int.from_bytes(file.read(4))):
        length, where = int.from_bytes(file.read(width)), file.read(width)
        file.read(4)
        # Nothing is played where the place is -1.
        frames += 0 if where[0] & 0x80 else length
    return frames
