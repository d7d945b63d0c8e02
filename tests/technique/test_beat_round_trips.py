"""Every movement, opened and closed and on whichever slot the beat falls, printed and read back."""

from __future__ import annotations

from fractions import Fraction
from itertools import islice, product
from pathlib import Path

import pytest

from renderer.delivery.midi_writer import midi_sound, write_midi
from renderer.delivery.sheet.content import content_of
from renderer.delivery.sheet.layout import USUAL_SETTINGS
from renderer.notation.abc.writer import write_abc
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
from renderer.timing.timeline import Role
from tests.sampling import sampled

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


def same_notes(before: Exercise, after: Exercise) -> None:
    assert len(before.lines) == len(after.lines)
    for one, other in zip(before.lines, after.lines, strict=True):
        assert [bar.items for bar in one.bars] == [bar.items for bar in other.bars], one.heading


def same_music(before: Exercise, after: Exercise) -> None:
    same_notes(before, after)
    for one, other in zip(before.lines, after.lines, strict=True):
        assert before.inner_of(one) == after.inner_of(other)
        assert before.beat_of(one) == after.beat_of(other)


FORMS = ["musicxml", "toml", "mid", "abc"]


def assert_read_back(exercise: Exercise, form: str, folder: Path) -> None:
    """Write an exercise in a form and read it again: the same notes, the same movements."""
    path = folder / f"every.{form}"
    match form:
        case "musicxml":
            path.write_bytes(write_musicxml(exercise))
        case "toml":
            path.write_bytes(write_definition(exercise))
        case "abc":
            # It keeps no setting: what is compared are the notes and movements.
            path.write_bytes(write_abc(exercise, opened="closed"))
            same_notes(exercise, read_exercise(path))
            return
        case _:
            sound = midi_sound(usual_settings())
            path.write_bytes(write_midi(expand(exercise, count_in=2, gap=0, repeats=1), sound))
    same_music(exercise, read_exercise(path))


def assert_heard(exercise: Exercise) -> None:
    """Every gracenote sounds above both its neighbours or below both, at its full length."""
    timeline = expand(exercise, 40)
    assert not [remark for remark in timeline.remarks if "shortened" in remark]
    asked = exercise.gracenotes.length
    lasts = asked.value * (Fraction(60, 40) if asked.is_share_of_beat else Fraction(1, 1000))
    events = list(timeline)
    for before, small, after in zip(events, events[1:], events[2:], strict=False):
        assert before.end == small.start
        if small.role is not Role.GRACENOTE or small.item == 1:
            continue
        assert small.length == lasts
        assert before.note is not None and small.note is not None and after.note is not None
        above = [small.note > other for other in (before.note, after.note)]
        below = [small.note < other for other in (before.note, after.note)]
        assert all(above) or all(below), small


@pytest.mark.parametrize("case", sampled(product(range(len(WAYS)), FORMS)))
def test_every_movement_is_played_printed_and_read_back(
    case: tuple[int, str], tmp_path: Path
) -> None:
    """A third of the movements for some of the ways and forms; all of them below."""
    way, form = case
    exercise = every_way(*WAYS[way], part=way % 3)
    assert_heard(exercise)
    assert_read_back(exercise, form, tmp_path)


@pytest.mark.long
@pytest.mark.parametrize("way", range(len(WAYS)))
def test_every_movement_on_every_note_from_every_note_is_played_printed_and_read_back(
    way: int, tmp_path: Path
) -> None:
    for part in range(3):
        exercise = every_way(*WAYS[way], part=part)
        assert_heard(exercise)
        for form in FORMS:
            assert_read_back(exercise, form, tmp_path)
        assert len(content_of(exercise, USUAL_SETTINGS).lines) == len(exercise.lines)
