"""An exercise's lines as they are printed: closed groups, or ornaments opened out into real notes.

Lengths are `Fraction`s of a whole note. Every printed note keeps the name that the timed events
know it by (`renderer.notation.score.note_id`).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Literal

from renderer.errors import Problem, RungwiseError
from renderer.notation.length import Length
from renderer.notation.pitch import Note
from renderer.notation.score import Exercise, MelodyNote, note_id

Opened = Literal["as written", "open", "closed"]

USUAL_SHARE = Fraction(1, 2)
"""Of a beat: the share that a doubling's two soundings have opened out (common practice)."""


@dataclass(frozen=True, slots=True)
class SmallNote:
    """A note of a printed gracenote group."""

    note: Note
    id: str


@dataclass(frozen=True, slots=True)
class Printed:
    """A note or rest at full size.

    Parameters
    ----------
    length:
        As a share of a whole note.
    note:
        None for a rest.
    id:
        The written note's name.
    group:
        The gracenotes printed before it.
    tied_from_before, tied_on:
        Whether a tie ends here, and whether one begins.
    is_inner:
        Whether it is an inner note of an opened ornament.
    """

    length: Fraction
    note: Note | None
    id: str
    group: tuple[SmallNote, ...] = ()
    tied_from_before: bool = False
    tied_on: bool = False
    is_inner: bool = False


def inner_share(exercise: Exercise, line_number: int, opened: Opened) -> Fraction | None:
    """The share of the beat that an opened line's inner notes are printed with, else None."""
    inner = exercise.inner_of(exercise.lines[line_number - 1])
    if opened == "closed":
        return None
    if inner.is_share_of_beat:
        return inner.value
    return USUAL_SHARE if opened == "open" else None


def _closed(item: MelodyNote, place: tuple[int, int, int], length: Fraction) -> Printed:
    group: list[SmallNote] = []
    for number, slot in enumerate(item.slots, start=1):
        if slot.gracenote is not None:
            group.append(SmallNote(slot.gracenote, note_id(*place, number, gracenote=True)))
        if number < len(item.slots):
            group.append(SmallNote(slot.note, note_id(*place, number)))
    name = note_id(*place, len(item.slots))
    return Printed(length, item.note, name, tuple(group), tied_from_before=item.tied)


def ornament_words(item: MelodyNote) -> str:
    """A note's ornament in a sentence: its name, or what it is."""
    name = item.ornament or ("the ornament" if len(item.slots) > 1 else "the gracenote")
    return name if name.startswith("the ") else f"the {name}"


def has_room_opened(item: MelodyNote, share: Fraction) -> bool:
    """Whether inner notes of that share of a beat each leave the melody note any time."""
    return item.beats > share * (len(item.slots) - 1)


def no_room_opened(item: MelodyNote, share: Fraction, place: str) -> Problem:
    """The problem of a note that is too short for its ornament opened out."""
    parts = len(item.slots)
    even = Length(item.beats / parts, "beat")
    return Problem(
        f"{ornament_words(item)} opened out has {parts} parts of {Length(share, 'beat')} each and "
        f"its note has only {Length(item.beats, 'beat')}, so it fits at no tempo",
        f"write a shorter inner length, such as '{even}', or give the note more time: in `abc`, or "
        "in a `run` with a meter by a | after it, which holds it to the end of its bar",
        place,
    )


def note_place(exercise: Exercise, line_index: int, bar: int, item: int) -> str:
    """Where a note or rest is, in words; bar and item from 1."""
    number = exercise.bar_number(line_index, bar - 1)
    place = f"line {exercise.number_of(line_index)}, bar {number}, note {item}"
    written = exercise.lines[line_index].bars[bar - 1].items[item - 1]
    return f"{place} ({written.note})" if isinstance(written, MelodyNote) else place


def _opened(
    item: MelodyNote, place: tuple[int, int, int], beat_value: Fraction, share: Fraction
) -> Iterator[Printed]:
    parts = len(item.slots)
    last = item.beats - share * (parts - 1)
    for number, slot in enumerate(item.slots, start=1):
        group: tuple[SmallNote, ...] = ()
        if slot.gracenote is not None:
            group = (SmallNote(slot.gracenote, note_id(*place, number, gracenote=True)),)
        beats = share if number < parts else last
        name = note_id(*place, number)
        yield Printed(beats * beat_value, slot.note, name, group, is_inner=number < parts)


def _printed_bar(
    exercise: Exercise, line: int, number: int, share: Fraction | None
) -> list[Printed]:
    written = exercise.lines[line - 1]
    bar, fixed = written.bars[number - 1], exercise.inner_of(written).is_share_of_beat
    beat_value = bar.meter.beat_value
    printed: list[Printed] = []
    for index, item in enumerate(bar.items, start=1):
        place = (line, number, index)
        if not isinstance(item, MelodyNote):
            printed.append(Printed(item.beats * beat_value, None, note_id(*place, 1)))
        elif share is None or len(item.slots) == 1:
            printed.append(_closed(item, place, item.beats * beat_value))
        elif not fixed:
            # A share that the exercise does not ask for gives way to the note.
            room = item.beats / len(item.slots)
            printed += _opened(item, place, beat_value, min(share, room))
        elif has_room_opened(item, share):
            printed += _opened(item, place, beat_value, share)
        else:
            where = note_place(exercise, line - 1, number, index)
            raise RungwiseError(no_room_opened(item, share, where)).in_file(exercise.source)
    return printed


def printed_line(
    exercise: Exercise, line_number: int, opened: Opened = "as written"
) -> list[list[Printed]]:
    """Return the notes of each bar of a line as they are printed.

    Parameters
    ----------
    exercise:
        Its inner length says what `as written` means: a share of the beat is printed open, a length
        in ms closed.
    line_number:
        From 1.
    opened:
        `open` opens closed ornaments too, by half a beat a part where there is room, else evenly.

    Raises
    ------
    RungwiseError
        If an opened ornament has more parts than its note has room for.
    """
    line = exercise.lines[line_number - 1]
    share = inner_share(exercise, line_number, opened)
    bars = [
        _printed_bar(exercise, line_number, number, share)
        for number in range(1, len(line.bars) + 1)
    ]
    before: tuple[int, int] | None = None
    for row, bar in enumerate(bars):
        for column, note in enumerate(bar):
            if note.tied_from_before and before is not None:
                into = bars[before[0]]
                into[before[1]] = replace(into[before[1]], tied_on=True)
            before = (row, column)
    return bars
