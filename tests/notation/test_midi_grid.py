"""Ticks and microseconds to written music, and the marks in MIDI files of our own."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import mido
import pytest
from hypothesis import given
from hypothesis import strategies as st

from renderer.notation.kept_settings import MIDI_STRETCH, setting_text
from renderer.notation.limits import FINEST_UNIT
from renderer.notation.midi.file import read_contents
from renderer.notation.midi.grid import WrittenPlaces, as_written, exact_tempo, simplest
from renderer.notation.midi.marks import NoteMark, keys_of, note_mark
from renderer.notation.pitch import Note
from renderer.notation.score import Meter, Slot
from renderer.notation.source_file import open_source

SLOTS = st.builds(Slot, st.sampled_from(Note), st.none() | st.sampled_from(Note))


@given(st.integers(20, 600), st.sampled_from([1, 2, 3, 4]))
def test_a_tempo_comes_back_from_whole_microseconds(count: int, parts: int) -> None:
    tempo = Fraction(count, parts)
    assert 60_000_000 / exact_tempo(round(60_000_000 / tempo)) == tempo


@given(st.integers(1, 24), st.integers(0, 10_000), st.integers(-2, 2))
def test_a_place_near_a_part_of_a_beat_is_that_part(parts: int, count: int, off: int) -> None:
    place = Fraction(count, parts)
    assert simplest(place + Fraction(off, 10_000), Fraction(1, 4000)) == place


def test_a_place_near_no_part_of_a_beat_is_none() -> None:
    assert simplest(Fraction(12_345, 99_991), Fraction(1, 1_000_000)) is None


def test_places_are_counted_from_the_bar_and_from_the_note_before() -> None:
    tick = Fraction(1, 10_080)
    places = WrittenPlaces([(Fraction(0), Meter(2, 4)), (Fraction(4), Meter(7, 8))], tick)
    # A quaver into the third bar of 7/8, then by sevenths of a quaver, then by fifths.
    note = Fraction(4 + 7 + Fraction(1, 2))
    seventh = note + Fraction(1, 14)
    fifth = seventh + Fraction(1, 10)
    assert places.nearest(note + tick / 2) == note
    assert places.nearest(seventh - tick / 2, after=note) == seventh
    assert places.nearest(fifth + tick / 2, after=seventh) == fifth


def test_no_stretch_makes_beats_finer_than_any_score_has(tmp_path: Path) -> None:
    track = mido.MidiTrack()
    track.append(mido.MetaMessage("text", text=setting_text(MIDI_STRETCH, "16")))
    track.append(mido.MetaMessage("time_signature", numerator=3, denominator=64))
    path = tmp_path / "stretched.mid"
    mido.MidiFile(type=1, tracks=[track]).save(path)
    (_, meter), *_ = as_written(read_contents(open_source(path))).meters
    assert meter == Meter(3, FINEST_UNIT)


@given(st.lists(SLOTS, min_size=1, max_size=6).map(tuple))
def test_a_written_note_is_spelled_and_read_again(slots: tuple[Slot, ...]) -> None:
    for anchor in range(len(slots)):
        mark = NoteMark(slots, anchor)
        assert note_mark(str(mark)) == mark
    count = len(slots) + sum(slot.gracenote is not None for slot in slots)
    assert len(keys_of(slots)) == count


NO_MARKS = ["", "x", "{g}", "{gd}B", "BB", "{g} B", "{h}A", "A |", "|", "A | B | c"]


@pytest.mark.parametrize("text", NO_MARKS)
def test_what_spells_no_note_is_no_mark(text: str) -> None:
    assert note_mark(text) is None
