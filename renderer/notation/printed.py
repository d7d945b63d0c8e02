"""An exercise's lines as they are printed: closed groups, or ornaments opened out into real notes.

Lengths are `Fraction`s of a whole note. Every printed note keeps the name that the timed events
know it by (`renderer.notation.score.note_id`).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Literal

from renderer.errors import RungwiseError, failure
from renderer.notation.length import Length
from renderer.notation.pitch import Note
from renderer.notation.score import Bar, Exercise, MelodyNote, Meter, note_id

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


def _opened(
    item: MelodyNote,
    place: tuple[int, int, int],
    beat_value: Fraction,
    share: Fraction,
    fixed: bool,
) -> Iterator[Printed]:
    """Yield the slots as real notes. A `fixed` share is the exercise's own and must fit."""
    parts = len(item.slots)
    if not fixed:
        share = min(share, item.beats / parts)
    last = item.beats - share * (parts - 1)
    if last <= 0:
        line, bar, number = place
        raise failure(
            f"the ornament opened out has {parts} parts of {Length(share, 'beat')} each, and its "
            f"note has {Length(item.beats, 'beat')}",
            f"write a shorter inner length, such as '1/{parts} beat', or a longer note",
            place=f"line {line}, bar {bar}, note {number} ({item.note})",
        )
    for number, slot in enumerate(item.slots, start=1):
        group: tuple[SmallNote, ...] = ()
        if slot.gracenote is not None:
            group = (SmallNote(slot.gracenote, note_id(*place, number, gracenote=True)),)
        beats = share if number < parts else last
        name = note_id(*place, number)
        yield Printed(beats * beat_value, slot.note, name, group, is_inner=number < parts)


def _printed_bar(
    bar: Bar, line: int, number: int, share: Fraction | None, fixed: bool
) -> list[Printed]:
    beat_value = bar.meter.beat_value
    printed: list[Printed] = []
    for index, item in enumerate(bar.items, start=1):
        place = (line, number, index)
        if not isinstance(item, MelodyNote):
            printed.append(Printed(item.beats * beat_value, None, note_id(*place, 1)))
        elif share is None or len(item.slots) == 1:
            printed.append(_closed(item, place, item.beats * beat_value))
        else:
            printed += _opened(item, place, beat_value, share, fixed)
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
    fixed = exercise.inner_of(line).is_share_of_beat
    try:
        bars = [
            _printed_bar(bar, line_number, number, share, fixed)
            for number, bar in enumerate(line.bars, start=1)
        ]
    except RungwiseError as error:
        raise error.in_file(exercise.source) from None
    before: tuple[int, int] | None = None
    for row, bar in enumerate(bars):
        for column, note in enumerate(bar):
            if note.tied_from_before and before is not None:
                into = bars[before[0]]
                into[before[1]] = replace(into[before[1]], tied_on=True)
            before = (row, column)
    return bars


def pickup_offset(bars: tuple[Bar, ...], number: int) -> Fraction:
    """Where in its meter a bar begins: above 0 for a short first bar of several."""
    bar = bars[number - 1]
    meter: Meter = bar.meter
    if number != 1 or len(bars) == 1 or bar.beats >= meter.beats:
        return Fraction(0)
    return (meter.beats - bar.beats) * meter.beat_value
