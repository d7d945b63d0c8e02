"""What an M4A file says of where it begins and how long it is: boxes of ISO/IEC 14496-12.

A file is a row of boxes, each with its length in four bytes and its kind in four letters before it.
Within `moov` each track's `edts` holds an edit list, `elst`: which stretches of the sound are
played, from where and how long each, counted in units of the movie. ffmpeg is asked to make these
one frame each. Every player heeds where it begins; ffmpeg 5, for one, plays on to the end of the
last packet of 1,024 frames. So silence is encoded before the sound, as much as makes it end with
a packet, and the edit list begins behind it.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO

_LONG = 1
"""In place of a length: it follows behind the kind, in eight bytes."""

PACKET_FRAMES = 1_024
"""Of AAC (ISO/IEC 14496-3)."""

_WIDE = 8
_OF_A_TRACK, _OF_THE_MOVIE = 8, 4
"""How many bytes lie between the times and the duration in their headers."""


def silence_before(frames: int) -> int:
    """Return how many frames of silence make a sound of so many end with a packet."""
    return -frames % PACKET_FRAMES


def stated_frames(path: Path) -> int | None:
    """Return how many frames a whole M4A file says that are played; None if anything is missing."""
    size = path.stat().st_size
    with path.open("rb") as file:
        kinds = {kind: end for kind, _, end in _boxes(file, 0, size)}
        if b"mdat" not in kinds or b"moov" not in kinds or max(kinds.values()) != size:
            return None
        where = _first(file, 0, size, b"moov", b"trak", b"edts", b"elst")
        return None if where is None else sum(length for _, length in _edits(file, where))


def begin_later(path: Path, frames: int) -> None:
    """Have an M4A file, if it is whole, played from so many frames later on: its bytes change."""
    with path.open("r+b") as file:
        size = path.stat().st_size
        moov = next((box for box in _boxes(file, 0, size) if box[0] == b"moov"), None)
        where = _first(file, 0, size, b"moov", b"trak", b"edts", b"elst")
        track = _first(file, 0, size, b"moov", b"trak", b"tkhd")
        if moov is None or where is None or track is None:
            return
        edits = _edits(file, where)
        ((at, _),) = edits
        width = _width(file, where)
        _change(file, at, width, -frames)
        _change(file, at + width, width, frames)
        _change(file, *_duration(file, track, _OF_A_TRACK), -frames)
        # The movie lasts as long as its longest track; chapters are one, too.
        tracks = [box for box in _boxes(file, *moov[1:]) if box[0] == b"trak"]
        heads = [_first(file, *box[1:], b"tkhd") for box in tracks]
        lasts = [
            _number(file, *_duration(file, head, _OF_A_TRACK)) for head in heads if head is not None
        ]
        movie = _first(file, *moov[1:], b"mvhd")
        if movie is not None:
            at, width = _duration(file, movie, _OF_THE_MOVIE)
            _change(file, at, width, max(lasts) - _number(file, at, width))


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


def _first(file: BinaryIO, at: int, end: int, *kinds: bytes) -> int | None:
    """Return where the content of the first box begins that lies within boxes of these kinds."""
    for kind, begins, ends in _boxes(file, at, end):
        if kind == kinds[0]:
            return begins if len(kinds) == 1 else _first(file, begins, ends, *kinds[1:])
    return None


def _width(file: BinaryIO, at: int) -> int:
    """Return how many bytes times have in a box whose content begins there, by its version."""
    return _WIDE if _number(file, at, 1) else 4


def _edits(file: BinaryIO, at: int) -> list[tuple[int, int]]:
    """Return where each edit of a list that plays something stands, and how long it lasts."""
    width = _width(file, at)
    count, first = _number(file, at + 4, 4), at + 8
    every = [first + number * (2 * width + 4) for number in range(count)]
    # Nothing is played where the place is -1.
    return [
        (one, _number(file, one, width))
        for one in every
        if not _number(file, one + width, 1) & 0x80
    ]


def _duration(file: BinaryIO, at: int, between: int) -> tuple[int, int]:
    """Return where a header's duration stands and its width.

    The version, two times and so many bytes more are before it.
    """
    width = _width(file, at)
    return at + 4 + 2 * width + between, width


def _number(file: BinaryIO, at: int, width: int) -> int:
    file.seek(at)
    return int.from_bytes(file.read(width))


def _change(file: BinaryIO, at: int, width: int, by: int) -> None:
    changed = _number(file, at, width) + by
    file.seek(at)
    file.write(changed.to_bytes(width))
