"""The bytes of a standard MIDI file, checked before a library parses them.

The library trusts every length that a file states, and parses what no reader here needs. So each
chunk and event is stepped over first: what breaks the standard is named with its track and its
place in bytes from the start of the file, and meta events that are not read are made opaque.
Lengths and limits are those of Standard MIDI Files 1.0.
"""

from __future__ import annotations

from dataclasses import dataclass

from renderer.errors import RungwiseError, failure

EXPORT_AGAIN = "export it again from the program that it comes from"
NAME_A_MIDI_FILE = "name a standard MIDI file"

_HEADER_BYTES, _CHUNK_HEADER_BYTES = 6, 8
_LONGEST_VARIABLE_BYTES = 4
"""A variable-length quantity has at most four bytes."""

_META, _SYSTEM_EXCLUSIVE, _ESCAPE = 0xFF, 0xF0, 0xF7
_DATA_BYTES = {
    **{status: 1 if status & 0xF0 in (0xC0, 0xD0) else 2 for status in range(0x80, 0xF0)},
    # System messages have no place in a file; the library steps over those that exist.
    **{0xF1: 1, 0xF2: 2, 0xF3: 1, 0xF6: 0, 0xF8: 0, 0xFA: 0, 0xFB: 0, 0xFC: 0, 0xFE: 0},
}
_TEXT, _NAME, _MARKER, _END, _TEMPO, _METER, _OPAQUE = 0x01, 0x03, 0x06, 0x2F, 0x51, 0x58, 0x7F
_LEAST_META_BYTES = {_TEXT: 0, _NAME: 0, _MARKER: 0, _END: 0, _TEMPO: 3, _METER: 4}
"""The meta events that are read, with how many bytes each needs."""

_FINEST_METER_POWER = 6
"""Of two: a meter of 64ths. What counts in shorter notes is no meter."""


@dataclass
class _Cursor:
    """A place in a track; every step beyond the track's end is an error that names the place."""

    data: bytes
    at: int
    end: int
    track: int

    def failure(self, cause: str, at: int) -> RungwiseError:
        place = f"track {self.track}, byte {at}" if self.track else f"byte {at}"
        return failure(f"it is a damaged MIDI file: {cause}", EXPORT_AGAIN, place=place)

    def byte(self) -> int:
        if self.at >= self.end:
            raise self.failure("the track ends in the middle of an event", self.at)
        self.at += 1
        return self.data[self.at - 1]

    def variable(self, what: str) -> int:
        """A variable-length quantity: seven bits a byte, the last byte below 128."""
        start, value = self.at, 0
        for _ in range(_LONGEST_VARIABLE_BYTES):
            byte = self.byte()
            value = value << 7 | byte & 0x7F
            if byte < 0x80:
                return value
        most = _LONGEST_VARIABLE_BYTES
        raise self.failure(f"{what} takes more than the {most} bytes that it may", start)

    def skip(self, count: int) -> None:
        if self.at + count > self.end:
            text = f"an event of {_bytes(count)} goes on beyond the end of its track"
            raise self.failure(text, self.at)
        self.at += count


def _bytes(count: int) -> str:
    return "1 byte" if count == 1 else f"{count:,} bytes"


def _check_events(cursor: _Cursor, checked: bytearray) -> None:
    """Step over a track's events; make opaque in `checked` what is not read."""
    running = 0
    while cursor.at < cursor.end:
        cursor.variable("a time between events")
        at = cursor.at
        status = cursor.byte()
        if status == _META:
            # Running status goes on behind a meta event in the files of some programs.
            _check_meta(cursor, checked)
            continue
        if status in (_SYSTEM_EXCLUSIVE, _ESCAPE):
            cursor.skip(cursor.variable("the length of a system exclusive message"))
            running = 0
            continue
        is_running = status < 0x80
        if is_running:
            if not running:
                raise cursor.failure(f"an event begins with 0x{status:02X}, which begins none", at)
            status = running
        count = _DATA_BYTES.get(status)
        if count is None:
            raise cursor.failure(f"an event begins with 0x{status:02X}, which begins none", at)
        cursor.skip(count - is_running)
        running = status if status < _SYSTEM_EXCLUSIVE else 0


def _check_meta(cursor: _Cursor, checked: bytearray) -> None:
    at = cursor.at
    kind = cursor.byte()
    length = cursor.variable("the length of a meta event")
    start = cursor.at
    cursor.skip(length)
    needed = _LEAST_META_BYTES.get(kind)
    is_readable = needed is not None and length >= needed
    if kind == _METER and is_readable:
        is_readable = cursor.data[start + 1] <= _FINEST_METER_POWER
    if not is_readable:
        checked[at] = _OPAQUE


def checked_bytes(data: bytes) -> bytes:
    """Return a MIDI file's bytes, its tracks sound and alone behind the header.

    Chunks of other kinds are left out, as the standard asks, and so is what follows the last track.

    Parameters
    ----------
    data:
        The whole file.

    Raises
    ------
    RungwiseError
        For what is no MIDI file, has no beats, or is damaged; with track (from 1) and byte (from
        0).
    """
    if not data:
        raise failure("the file is empty", NAME_A_MIDI_FILE)
    if data[:4] != b"MThd":
        raise failure("it is no MIDI file", NAME_A_MIDI_FILE)
    header = _Cursor(data, len(data), len(data), 0)
    size = int.from_bytes(data[4:8], "big")
    if size < _HEADER_BYTES or len(data) < _CHUNK_HEADER_BYTES + size:
        raise header.failure("its header is cut short", min(len(data), _CHUNK_HEADER_BYTES))
    form, count, division = (int.from_bytes(data[at : at + 2], "big") for at in (8, 10, 12))
    if form == 2:
        raise failure("it is a MIDI file of separate patterns (format 2)", "export it as format 1")
    if form > 2:
        raise header.failure(f"it says that its format is {form}, and there is none above 2", 8)
    if division >= 0x8000:
        raise failure("its time is in film frames, not in beats", "export it with beats as ticks")
    if division == 0:
        raise header.failure("it says that a beat has 0 ticks", 12)
    checked = bytearray(data)
    tracks: list[tuple[int, int]] = []
    at = _CHUNK_HEADER_BYTES + size
    while len(tracks) < count:
        kind, begin = data[at : at + 4], at + _CHUNK_HEADER_BYTES
        if begin > len(data):
            cause = f"the file ends after {len(tracks)} of its {count} track{'s' * (count > 1)}"
            raise header.failure(cause, len(data))
        end = begin + int.from_bytes(data[at + 4 : begin], "big")
        if not kind.isascii() or not kind.decode("ascii").isprintable():
            raise header.failure(f"no track begins where track {len(tracks) + 1} should", at)
        if kind == b"MTrk":
            if end > len(data):
                cause = f"the file ends {_bytes(end - len(data))} before the track does"
                raise _Cursor(data, at, at, len(tracks) + 1).failure(cause, len(data))
            _check_events(_Cursor(data, begin, end, len(tracks) + 1), checked)
            tracks.append((at, end))
        at = end
    start = bytes((*data[:4], 0, 0, 0, _HEADER_BYTES, *data[8:14]))
    return start + b"".join(checked[begin:end] for begin, end in tracks)
