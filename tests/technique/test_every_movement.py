"""Every movement of the book, opened and closed, from every note, in time and read back."""

from __future__ import annotations

from contextlib import suppress
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from renderer.errors import RungwiseError
from renderer.notation.abc.reader import read_abc_line
from renderer.notation.length import Length
from renderer.notation.musicxml.writer import write_musicxml
from renderer.notation.pitch import Note
from renderer.notation.playing import Inner
from renderer.notation.score import (
    Bar,
    Exercise,
    Gracenotes,
    Item,
    Line,
    MelodyNote,
    Meter,
    Placement,
    Slot,
)
from renderer.order.tracks import expand
from renderer.reading.exercise import read_exercise
from renderer.technique.choose import Choice, lead_into
from renderer.technique.movement import Movement
from renderer.technique.ornaments import load_book
from renderer.technique.realise import recognise_bars
from renderer.technique.recognise import recognise_opened
from renderer.timing.timeline import Event, Role

BOOK = load_book()
MOVEMENTS = pytest.mark.parametrize("movement", list(BOOK), ids=lambda movement: movement.name)
INNERS = ["1/2 beat", "1/3 beat", "1/4 beat", "100 ms"]
LONG = Fraction(4)
"""Beats of an ornamented note: room for the longest movement opened to half beats."""
GRACENOTE_MS = 45


def forms(movement: Movement) -> list[tuple[Note, Choice]]:
    return [
        (previous, lead_into(BOOK, movement.name, note, previous))
        for note in movement.notes
        for previous in Note
    ]


def length(text: str) -> Length:
    number, unit = text.split()
    return Length(Fraction(number), "beat" if unit == "beat" else "ms")


def inner_of(text: str) -> Inner:
    return Inner((length(text),))


def line_of(previous: Note, choice: Choice, beats: Fraction = LONG) -> Line:
    items = (
        MelodyNote(Fraction(1), (Slot(previous),)),
        MelodyNote(beats, choice.slots, choice.name),
    )
    return Line((Bar(items, Meter(5, 4)),))


def assert_tiles(events: list[Event]) -> None:
    assert events[0].start == 0
    for event, after in pairwise(events):
        assert event.end == after.start
        assert event.length > 0


@MOVEMENTS
@pytest.mark.parametrize("inner", INNERS)
@pytest.mark.parametrize("placement", ["on the beat", "before the beat"])
def test_every_movement_keeps_time_opened_and_closed(
    movement: Movement, inner: str, placement: Placement
) -> None:
    """At 60 beats a minute: inner notes as `inner` says, gracenotes 45 ms, no gap.

    Opened out, slots are as far apart; closed, the notes themselves last as long.
    """
    played = forms(movement)
    step = length(inner)
    apart = step.value if step.is_share_of_beat else step.value / 1000
    short = Fraction(GRACENOTE_MS, 1000)
    exercise = Exercise(
        "Every form",
        tuple(line_of(previous, choice) for previous, choice in played),
        Fraction(60),
        Gracenotes(Length(Fraction(GRACENOTE_MS), "ms"), placement),
        inner_of(inner),
        beat="first",
    )
    events = list(expand(exercise, count_in=0, gap=0))
    assert_tiles(events)
    assert events[-1].end == len(played) * (1 + LONG)
    for number, (_, choice) in enumerate(played, start=1):
        start = (number - 1) * (1 + LONG) + 1
        ornament = [event for event in events if (event.line, event.item) == (number, 2)]
        notes = [event for event in ornament if event.role is not Role.GRACENOTE]
        small = [event for event in ornament if event.role is Role.GRACENOTE]
        assert [event.note for event in notes] == [slot.note for slot in choice.slots]
        graced = [slot for slot in choice.slots if slot.gracenote is not None]
        assert [event.note for event in small] == [slot.gracenote for slot in graced]
        assert all(event.length == short for event in small)
        closed = not step.is_share_of_beat
        for index, event in enumerate(notes):
            led = [slot.gracenote is not None for slot in choice.slots[: index + 1]]
            onset = start + index * apart
            if closed:
                onset += short * (sum(led) - (led[0] and placement == "before the beat"))
            elif led[-1] and placement == "on the beat":
                onset += short
            assert event.start == onset
        assert notes[-1].end == start + LONG


def opened_abc(previous: Note, choice: Choice, share: Fraction) -> str:
    inner = "".join(f"{slot.abc}{share}" for slot in choice.slots[:-1])
    return f"L:1/4 {previous.abc}1 {inner}{choice.slots[-1].abc}1"


@MOVEMENTS
@pytest.mark.parametrize("share", [Fraction(1, 2), Fraction(1, 3), Fraction(1, 4)])
def test_a_movement_written_out_in_abc_is_read_back_as_the_same_music(
    movement: Movement, share: Fraction
) -> None:
    for previous, choice in forms(movement):
        inner = (len(choice.slots) - 1) * share
        wanted = line_of(previous, choice, inner + 1).bars[0].items
        bars = recognise_bars(read_abc_line(opened_abc(previous, choice, share), None), BOOK)
        found = recognise_opened(Line(bars), BOOK)
        assert found.bars[0].items == wanted
        assert found.inner == (Inner((Length(share, "beat"),)) if inner else None)


@MOVEMENTS
def test_a_movement_printed_in_abc_is_read_back_as_the_same_music(movement: Movement) -> None:
    for previous, choice in forms(movement):
        written = line_of(previous, choice).bars[0].items[1]
        assert isinstance(written, MelodyNote)
        group = "".join(note.abc for note in written.group)
        small = f"{{{group}}}" if group else ""
        text = f"L:1/4 {previous.abc} {small}{written.note.abc}{LONG}"
        assert recognise_bars(read_abc_line(text, None), BOOK)[0].items[1] == written


@st.composite
def legal_lines(draw: st.DrawFn) -> Line:
    """Any run with any movement, or none, on each note, as a definition would make it."""
    items: list[Item] = []
    previous: Note | None = None
    names = [None, *(movement.name for movement in BOOK)]
    for note in draw(st.lists(st.sampled_from(Note), min_size=1, max_size=8)):
        name = draw(st.sampled_from(names))
        beats = draw(st.sampled_from([Fraction(1), Fraction(3, 2), Fraction(3)]))
        choice = Choice((Slot(note),), None, None)
        if name is not None:
            with suppress(ValueError):
                choice = lead_into(BOOK, name, note, previous)
        items.append(MelodyNote(beats, choice.slots, choice.name))
        previous = note
    return Line((Bar(tuple(items), Meter(4, 4)),))


@given(
    st.lists(legal_lines(), min_size=1, max_size=3),
    st.sampled_from(["100 ms", "1/8 beat", "1/4 beat", "1/2 beat"]),
    st.sampled_from(["on the beat", "before the beat"]),
    st.integers(30, 50),
)
def test_legal_lines_tile_and_no_gracenote_equals_a_neighbour(
    lines: list[Line], inner: str, placement: Placement, tempo: int
) -> None:
    gracenotes = Gracenotes(Length(Fraction(GRACENOTE_MS), "ms"), placement)
    exercise = Exercise("Random", tuple(lines), Fraction(tempo), gracenotes, inner_of(inner))
    try:
        events = list(expand(exercise))
    except RungwiseError as error:
        # Only an opened movement that is longer than its note may be refused.
        assert "opened out" in str(error)
        assert inner in ("1/4 beat", "1/2 beat")
        return
    assert_tiles(events)
    for line in lines:
        before: Note | None = None
        for note in line.melody_notes:
            for slot in note.slots:
                assert slot.gracenote is None or slot.gracenote not in (before, slot.note)
                before = slot.note


@pytest.mark.parametrize("inner", INNERS)
def test_every_movement_survives_musicxml(inner: str, tmp_path: Path) -> None:
    """Written opened or closed as the exercise says, read back by the command line's own reader."""
    lines = tuple(
        line_of(previous, choice)
        for movement in BOOK
        for previous, choice in forms(movement)
        if previous in (Note.LOW_G, Note.D, Note.HIGH_A)
    )
    exercise = Exercise("Every movement", lines, inner=inner_of(inner))
    path = tmp_path / "every.musicxml"
    path.write_bytes(write_musicxml(exercise))
    found = read_exercise(path)
    for wanted, line in zip(exercise.lines, found.lines, strict=True):
        assert line.bars == wanted.bars
        opened = any(len(note.slots) > 1 for note in wanted.melody_notes)
        assert not opened or found.inner_of(line) == exercise.inner
