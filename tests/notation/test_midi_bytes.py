"""The bytes of MIDI files against Standard MIDI Files 1.0, and what is damaged in them."""

from __future__ import annotations

import io
import itertools
from pathlib import Path

import mido
import pytest
from hypothesis import given
from hypothesis import strategies as st

from renderer.errors import RungwiseError
from renderer.notation.midi.bytes import checked_bytes
from renderer.notation.midi.reader import read_midi

NOTE = b"\0\x90\x45\x40\x60\x45\0"
"""A crotchet on low A, its end in running status."""


def _chunk(kind: bytes, data: bytes) -> bytes:
    return kind + len(data).to_bytes(4, "big") + data


def _header(tracks: int, *, form: int = 1, division: int = 0x60) -> bytes:
    values = (form, tracks, division)
    return _chunk(b"MThd", b"".join(value.to_bytes(2, "big") for value in values))


def _file(*tracks: bytes) -> bytes:
    return _header(len(tracks)) + b"".join(_chunk(b"MTrk", track) for track in tracks)


def _said(data: bytes) -> tuple[str, str, str]:
    with pytest.raises(RungwiseError) as caught:
        checked_bytes(data)
    (problem,) = caught.value.problems
    return problem.place, problem.cause, problem.remedy


# The table of variable-length quantities in Standard MIDI Files 1.0 (from memory; each row is
# checked against its own definition, seven bits a byte, by mido).
QUANTITIES = [
    ("00", 0x00), ("40", 0x40), ("7F", 0x7F), ("8100", 0x80), ("C000", 0x2000), ("FF7F", 0x3FFF),
    ("818000", 0x4000), ("C08000", 0x100000), ("FFFF7F", 0x1FFFFF), ("81808000", 0x200000),
    ("C0808000", 0x8000000), ("FFFFFF7F", 0xFFFFFFF),
]  # fmt: skip


@pytest.mark.parametrize(("code", "value"), QUANTITIES)
def test_times_of_up_to_four_bytes_are_read(code: str, value: int) -> None:
    data = checked_bytes(_file(bytes.fromhex(code) + b"\x90\x45\x40"))
    assert mido.MidiFile(file=io.BytesIO(data)).tracks[0][0].time == value


@pytest.mark.parametrize(
    ("before", "endless", "what"),
    [
        (b"", b"\xff", "a time between events"),
        (b"", b"\x80", "a time between events"),
        (b"\0\xff\x01", b"\xff", "the length of a meta event"),
        (b"\0\xf0", b"\x80", "the length of a system exclusive message"),
    ],
)
def test_numbers_of_more_than_four_bytes_are_refused_where_they_stand(
    before: bytes, endless: bytes, what: str
) -> None:
    whole = _file(NOTE, NOTE + before)
    place, cause, remedy = _said(_file(NOTE, NOTE + before + endless * 5_000))
    assert place == f"track 2, byte {len(whole)}"
    assert cause == f"it is a damaged MIDI file: {what} takes more than the 4 bytes that it may"
    assert "export it again" in remedy


@pytest.mark.parametrize(
    ("data", "place", "cause"),
    [
        (_file(NOTE)[:20], "byte 20", "ends after 0 of its 1 track"),
        (_file(NOTE)[:-2], "track 1, byte 27", "the file ends 2 bytes before the track does"),
        (_file(NOTE)[:-1], "track 1, byte 28", "the file ends 1 byte before the track does"),
        (_file(NOTE[:-1]), "track 1, byte 28", "goes on beyond the end of its track"),
        (_file(b"\0"), "track 1, byte 23", "ends in the middle of an event"),
        (_file(b"\0\x45\x40"), "track 1, byte 23", "begins with 0x45, which begins none"),
        (_file(b"\0\xf0\0\0\x45\x40"), "track 1, byte 26", "begins with 0x45, which begins none"),
        (_file(b"\0\xf4"), "track 1, byte 23", "begins with 0xF4, which begins none"),
        (_file(b"\0\xff\x01\xff\xff\xff\x7f"), "track 1, byte 29", "an event of 268,435,455 bytes"),
        (_header(2) + _chunk(b"MTrk", NOTE) + b"\0" * 9, "byte 29", "no track begins where track"),
        (_header(1, form=3) + _chunk(b"MTrk", NOTE), "byte 8", "its format is 3"),
        (_header(1, division=0) + _chunk(b"MTrk", NOTE), "byte 12", "a beat has 0 ticks"),
        (_chunk(b"MThd", b"\0\1\0\1"), "byte 8", "its header is cut short"),
    ],
)
def test_what_is_damaged_is_named_with_its_place(data: bytes, place: str, cause: str) -> None:
    said = _said(data)
    assert said[0] == place
    assert said[1].startswith("it is a damaged MIDI file: ")
    assert cause in said[1]


def test_a_longer_header_and_chunks_of_other_kinds_are_passed_over(tmp_path: Path) -> None:
    # Standard MIDI Files 1.0: more data may follow in the header, and alien chunks may stand
    # anywhere.
    header = _chunk(b"MThd", _header(1)[8:] + b"\1\2\3")
    path = tmp_path / "alien.mid"
    path.write_bytes(header + _chunk(b"XFIH", b"\xff" * 50) + _chunk(b"MTrk", NOTE) + b"junk")
    assert [note.beats for note in read_midi(path).lines[0].melody_notes] == [1]


@pytest.mark.parametrize(
    "meta",
    [
        b"\xff\x59\x02\x40\x07",  # a key of 64 sharps
        b"\xff\x54\x05\xff\0\0\0\0",  # no frame rate
        b"\xff\x51\x01\x07",  # a tempo of one byte
        b"\xff\x58\x02\x03\x02",  # a meter of two bytes
        b"\xff\x58\x04\x03\xff\x18\x08",  # a meter of 3 over 2^255
        b"\xff\x20\x00",  # a channel without number
    ],
)
def test_meta_events_that_mean_nothing_do_not_spoil_the_notes(tmp_path: Path, meta: bytes) -> None:
    path = tmp_path / "meta.mid"
    path.write_bytes(_file(b"\0" + meta + NOTE))
    exercise = read_midi(path)
    assert [note.beats for note in exercise.lines[0].melody_notes] == [1]
    assert str(exercise.lines[0].bars[0].meter) == "4/4"


EVENTS = st.one_of(
    st.binary(min_size=1, max_size=6),
    st.sampled_from(
        [b"\x90\x45\x40", b"\x45\0", b"\xc0\x10", b"\xff\x01\x02ab", b"\xff\x51\x03\x07\xa1\x20"]
    ),
    st.builds(
        lambda kind, data: bytes((0xFF, kind, len(data))) + data,
        st.integers(0, 127), st.binary(max_size=8),
    ),
)  # fmt: skip


@given(st.lists(st.tuples(st.integers(0, 127), EVENTS), max_size=12), st.integers(1, 3))
def test_what_is_checked_can_be_parsed(events: list[tuple[int, bytes]], tracks: int) -> None:
    track = b"".join(bytes((time,)) + event for time, event in events)
    try:
        data = checked_bytes(_file(*itertools.repeat(track, tracks)))
    except RungwiseError as error:
        assert "damaged" in str(error)
    else:
        parsed = mido.MidiFile(file=io.BytesIO(data), clip=True)
        assert len(parsed.tracks) == tracks
