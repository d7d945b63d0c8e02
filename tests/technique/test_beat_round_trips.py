"""Every movement, opened and closed and on whichever slot the beat falls, printed and read back."""

from __future__ import annotations

from fractions import Fraction
from itertools import islice
from pathlib import Path

import pytest

from renderer.delivery.midi_writer import midi_sound, write_midi
from renderer.notation.definition.writer import write_definition
from renderer.notation.length import Length
from renderer.notation.musicxml.writer import write_musicxml
from renderer.notation.pitch import Note
from renderer.notation.playing import BOOK, EVEN, Beat, Inner
from renderer.notation.score import (
    USUAL_GRACENOTE,
    Bar,
    Exercise,
    Gracenotes,
    Line,
    MelodyNote,
    Meter,
    Placement,
    Slot,
)
from renderer.order.settings import usual_settings
from renderer.order.tracks import expand
from renderer.reading.exercise import read_exercise
from renderer.technique.choose import lead_into
from renderer.technique.movement import Movement
from renderer.technique.ornaments import load_book

MOVEMENTS = [movement for movement in load_book() if movement.family != "single gracenote"]
QUARTER = Inner((Length(Fraction(1, 4), "beat"),))
OWN_PARTS = Inner((Length(Fraction(1, 4), "beat"), Length(Fraction(1, 8), "beat")))
EIGHTH = Length(Fraction(1, 8), "beat")

WAYS: list[tuple[Inner, Beat | None, Placement, Length]] = [
    (BOOK, None, "on the beat", USUAL_GRACENOTE),
    (BOOK, "last", "before the beat", USUAL_GRACENOTE),
    (BOOK, 2, "on the beat", USUAL_GRACENOTE),
    (QUARTER, "last", "on the beat", USUAL_GRACENOTE),
    (QUARTER, 2, "before the beat", USUAL_GRACENOTE),
    (OWN_PARTS, "first", "on the beat", USUAL_GRACENOTE),
    (EVEN, "first", "on the beat", USUAL_GRACENOTE),
    (BOOK, "first", "on the beat", EIGHTH),
    (BOOK, "last", "before the beat", EIGHTH),
]


def line_of(movement: Movement, note: Note) -> Line:
    """The movement from every note that it can be played from, each time in a bar of its own."""
    bars = []
    for previous in Note:
        choice = lead_into(load_book(), movement.name, note, previous)
        ornamented = MelodyNote(Fraction(3), choice.slots, choice.name, playing=choice.playing)
        # Of another length than the movement: else the two could be one movement, shared evenly.
        items = (MelodyNote(Fraction(2), (Slot(previous),)), ornamented)
        bars.append(Bar(items, Meter(5, 4)))
    return Line(tuple(bars), f"{movement.name} on {note}")


def every_way(
    inner: Inner, beat: Beat | None, placement: Placement, gracenote: Length, part: int
) -> Exercise:
    """A third of all movements on all their notes."""
    lines = [line_of(movement, note) for movement in MOVEMENTS for note in movement.notes]
    return Exercise(
        "Every movement",
        tuple(islice(lines, part, None, 3)),
        Fraction(60),
        Gracenotes(gracenote, placement),
        inner,
        beat,
    )


def same_music(before: Exercise, after: Exercise) -> None:
    assert len(before.lines) == len(after.lines)
    for one, other in zip(before.lines, after.lines, strict=True):
        assert [bar.items for bar in one.bars] == [bar.items for bar in other.bars], one.heading
        assert before.inner_of(one) == after.inner_of(other)
        assert before.beat_of(one) == after.beat_of(other)


@pytest.mark.parametrize("way", range(len(WAYS)))
@pytest.mark.parametrize("form", ["musicxml", "toml", "mid"])
def test_every_movement_is_played_printed_and_read_back(
    way: int, form: str, tmp_path: Path
) -> None:
    exercise = every_way(*WAYS[way], part=way % 3)
    timeline = expand(exercise, 40)
    assert not [remark for remark in timeline.remarks if "shortened" in remark]
    path = tmp_path / f"every.{form}"
    match form:
        case "musicxml":
            path.write_bytes(write_musicxml(exercise))
        case "toml":
            path.write_bytes(write_definition(exercise))
        case _:
            sound = midi_sound(usual_settings())
            path.write_bytes(write_midi(expand(exercise, count_in=2, gap=0), sound))
    same_music(exercise, read_exercise(path))
