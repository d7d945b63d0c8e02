"""An exercise's lines as they are printed: closed groups, or ornaments opened out into real notes.

Lengths are `Fraction`s of a whole note. Every printed note keeps the name that the timed events
know it by (`renderer.notation.score.note_id`).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise
from pathlib import PurePath
from typing import Literal

from renderer.errors import Problem, RungwiseError
from renderer.notation.length import Length
from renderer.notation.note_parts import Parts, parts_of
from renderer.notation.pitch import Note
from renderer.notation.playing import BOOK, EVEN, Inner, slot_on_the_beat
from renderer.notation.score import USUAL_GRACENOTE, Bar, Exercise, Line, MelodyNote, Rest, note_id
from renderer.notation.source_file import TEXT_ENDING

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


@dataclass(frozen=True, slots=True)
class PrintedLine:
    """A line as it is printed.

    Parameters
    ----------
    bars:
        The line's bars; where a movement opened out has notes before the line's first beat, those
        are in the first bar if it is a pickup, and else in a pickup of their own before it.
    notes:
        The notes of each bar.
    """

    bars: tuple[Bar, ...]
    notes: tuple[tuple[Printed, ...], ...]


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


def _how(file: str) -> str:
    """How a definition gives a note more time; scores have their own ways, which users know."""
    if PurePath(file).suffix.casefold() not in (".toml", TEXT_ENDING):
        return ""
    return (
        ": in `abc`, or in a `run` with a meter by a | after it, which holds it to the end of its "
        "bar"
    )


def no_room_opened(item: MelodyNote, parts: Parts, place: str, file: str) -> Problem:
    """The problem of a note of a file that is too short for its ornament opened out."""
    count = len(item.slots)
    even = Length(item.beats / count, "beat")
    shares = set(parts.inner)
    before = Length(sum((one.value for one in parts.inner), Fraction(0)), "beat")
    has = f"{before} before the melody note"
    if len(shares) == 1 and not parts.gracenote.is_share_of_beat:
        has = f"{count} parts of {Length(shares.pop().value, 'beat')} each"
    elif parts.gracenote.is_share_of_beat:
        has += f" and gracenotes of {parts.gracenote}"
    return Problem(
        f"{ornament_words(item)} opened out has {has} and "
        f"its note has only {Length(item.beats, 'beat')}, so it fits at no tempo",
        f"a shorter inner length, such as '{even}', fits; or give the note more time{_how(file)}",
        place,
        file,
    )


def note_place(exercise: Exercise, line_index: int, bar: int, item: int) -> str:
    """Where a note or rest is, in words; bar and item from 1."""
    number = exercise.bar_number(line_index, bar - 1)
    place = f"line {exercise.number_of(line_index)}, bar {number}, note {item}"
    written = exercise.lines[line_index].bars[bar - 1].items[item - 1]
    return f"{place} ({written.note})" if isinstance(written, MelodyNote) else place


@dataclass(frozen=True, slots=True)
class _Piece:
    """A printed note before its length is known: where it begins, in whole notes of the line."""

    start: Fraction
    printed: Printed
    item: tuple[int, int]


def _written_out(
    item: MelodyNote,
    place: tuple[int, int, int],
    start: Fraction,
    beat_value: Fraction,
    parts: Parts,
) -> Iterator[_Piece]:
    """Yield the notes of an opened movement whose written note begins at `start`."""
    lead = parts.gracenote.value if parts.gracenote.is_share_of_beat else Fraction(0)
    leads = [Fraction(0) if slot.gracenote is None else lead for slot in item.slots]
    begins = [leads[0]]
    for index, length in enumerate(parts.inner):
        begins.append(begins[-1] + length.value + leads[index + 1])
    anchor = begins[parts.anchor] - (Fraction(0) if parts.ends_on_beat else leads[parts.anchor])
    last = len(item.slots) - 1
    for index, (slot, before, begin) in enumerate(zip(item.slots, leads, begins, strict=True)):
        at = start + (begin - anchor) * beat_value
        group: tuple[SmallNote, ...] = ()
        if slot.gracenote is not None:
            grace = SmallNote(slot.gracenote, note_id(*place, index + 1, gracenote=True))
            if before:
                early = Printed(Fraction(0), grace.note, grace.id, is_inner=True)
                yield _Piece(at - before * beat_value, early, place[1:])
            else:
                group = (grace,)
        name = note_id(*place, index + 1)
        printed = Printed(Fraction(0), slot.note, name, group, is_inner=index < last)
        yield _Piece(at, printed, place[1:])


def _opened_parts(exercise: Exercise, line: Line, item: MelodyNote, opened: Opened) -> Parts | None:
    """The parts that a note is written out in, or None where it is printed as a group."""
    if opened == "closed" or not item.group:
        return None
    parts = parts_of(exercise, line, item)
    if parts.is_opened:
        return parts
    if opened == "as written" or len(item.slots) == 1:
        return None
    share = _share_of_opened(item)
    beat = exercise.beat_of(line) or "first"
    anchor = slot_on_the_beat(beat, len(item.slots))
    return replace(parts, anchor=anchor, inner=(share,) * len(parts.inner), is_opened=True)


def with_ornaments(exercise: Exercise, opened: Opened) -> Exercise:
    """Return an exercise that asks for its ornaments opened or closed itself.

    For a form that has movements as they are and says beside them how they are played. Closed,
    inner notes have the lengths of the ornament book and gracenotes the usual one where they were
    shares of the beat. Opened, the inner notes of each line that is closed are one share of the
    beat: the one that `printed_line` prints them with; where that prints several, the notes are
    shared evenly if that is what it does, else all by the smallest, which fits everywhere.
    """
    if opened == "as written":
        return exercise
    if opened == "closed":
        closed = replace(exercise, inner=BOOK if exercise.inner.is_opened else exercise.inner)
        gracenotes = exercise.gracenotes
        if gracenotes.length.is_share_of_beat:
            closed = replace(closed, gracenotes=replace(gracenotes, length=USUAL_GRACENOTE))
        lines = tuple(
            replace(
                line,
                inner=None if line.inner and line.inner.is_opened else line.inner,
                gracenote=None
                if line.gracenote and line.gracenote.is_share_of_beat
                else line.gracenote,
            )
            for line in exercise.lines
        )
        return replace(closed, lines=lines)
    inners = [_inner_of_opened(exercise, line) for line in exercise.lines]
    asked = dict.fromkeys(inner for inner in inners if inner is not None)
    if len(asked) == 1 and all(
        inner is not None or not _has_movements(line)
        for inner, line in zip(inners, exercise.lines, strict=True)
    ):
        lines = tuple(replace(line, inner=None) for line in exercise.lines)
        return replace(exercise, inner=next(iter(asked)), lines=lines)
    lines = tuple(
        line if inner is None else replace(line, inner=inner)
        for line, inner in zip(exercise.lines, inners, strict=True)
    )
    return replace(exercise, lines=lines)


def _has_movements(line: Line) -> bool:
    return any(len(note.slots) > 1 for note in line.melody_notes)


def _inner_of_opened(exercise: Exercise, line: Line) -> Inner | None:
    """How long the inner notes of a line that is to be opened last; None if it is, or is plain."""
    shares: set[Length] = set()
    is_even = True
    for note in line.melody_notes:
        if len(note.slots) > 1 and not parts_of(exercise, line, note).is_opened:
            share = _share_of_opened(note)
            shares.add(share)
            is_even &= share.value * len(note.slots) == note.beats
    if not shares:
        return None
    if len(shares) > 1 and is_even:
        return EVEN
    return Inner((min(shares, key=lambda one: one.value),))


def _share_of_opened(item: MelodyNote) -> Length:
    """The share of the beat that each part of a movement is opened to."""
    # A share that the exercise does not ask for gives way to the note.
    return Length(min(USUAL_SHARE, item.beats / len(item.slots)), "beat")


def _pieces(exercise: Exercise, number: int, opened: Opened) -> list[_Piece]:
    """The printed notes of a line in order, none beginning before the one ahead of it."""
    line = exercise.lines[number - 1]
    pieces: list[_Piece] = []
    at = Fraction(0)
    for bar_number, bar in enumerate(line.bars, start=1):
        beat_value = bar.meter.beat_value
        for index, item in enumerate(bar.items, start=1):
            in_whole = line.bars_before + bar_number
            place = (exercise.id_number(number - 1), in_whole, index)
            if not isinstance(item, MelodyNote):
                found = [_Piece(at, Printed(Fraction(0), None, note_id(*place, 1)), place[1:])]
            elif (parts := _opened_parts(exercise, line, item, opened)) is not None:
                found = list(_written_out(item, place, at, beat_value, parts))
            else:
                found = [_Piece(at, _closed(item, place, Fraction(0)), place[1:])]
            found = [replace(one, item=(bar_number, index)) for one in found]
            for one, after in pairwise(found):
                if one.start >= after.start:
                    raise RungwiseError([_no_room(exercise, number, one, after, opened)])
            _make_way(exercise, number, pieces, found[0], opened)
            if not (pieces and pieces[-1].start >= found[0].start):
                pieces += found
            at += item.beats * beat_value
    if pieces and pieces[-1].start >= at:
        raise RungwiseError([_no_room(exercise, number, pieces[-1], pieces[-1], opened)])
    return pieces


def _make_way(
    exercise: Exercise, number: int, pieces: list[_Piece], coming: _Piece, opened: Opened
) -> None:
    """Take away what is held over into the time of what comes; refuse what would have no time."""
    while pieces and pieces[-1].start >= coming.start:
        before = pieces[-1]
        if coming.printed.tied_from_before:
            # The note before sounds on for longer than it is written.
            return
        if not (before.printed.tied_from_before or before.printed.note is None):
            raise RungwiseError([_no_room(exercise, number, before, coming, opened)])
        pieces.pop()


def _no_room(
    exercise: Exercise, number: int, before: _Piece, coming: _Piece, opened: Opened
) -> Problem:
    line = exercise.lines[number - 1]
    item = line.bars[before.item[0] - 1].items[before.item[1] - 1]
    place = note_place(exercise, number - 1, *before.item)
    if isinstance(item, MelodyNote):
        parts = _opened_parts(exercise, line, item, opened)
        if parts is not None:
            return no_room_opened(item, parts, place, exercise.source)
    after = line.bars[coming.item[0] - 1].items[coming.item[1] - 1]
    name = ornament_words(after) if isinstance(after, MelodyNote) else "what follows"
    return Problem(
        f"{name} after it, opened out, has as much before its beat as the whole note has time, so "
        "it fits at no tempo",
        "a shorter inner length fits, or the first part of the movement on the beat",
        place,
        exercise.source,
    )


def pickup_of(exercise: Exercise, line_number: int, opened: Opened = "as written") -> Fraction:
    """Return how much of a line is printed before its first beat, as a share of a whole note."""
    pieces = _pieces(exercise, line_number, opened)
    return max(Fraction(0), -pieces[0].start if pieces else Fraction(0))


def printed_line(
    exercise: Exercise,
    line_number: int,
    opened: Opened = "as written",
    pickup: Fraction = Fraction(0),
) -> PrintedLine:
    """Return a line as it is printed.

    Parameters
    ----------
    exercise:
        What `as written` means: movements with parts that are a share of the beat are printed open,
        others closed. What an opened one has before its beat is printed before it.
    line_number:
        From 1.
    opened:
        `open` opens closed ornaments too, by half a beat a part where there is room, else evenly.
    pickup:
        The least time before the first beat, as a share of a whole note; a rest fills up what the
        line has not.

    Raises
    ------
    RungwiseError
        If an opened ornament has more parts than there is room for.
    """
    line = exercise.lines[line_number - 1]
    pieces = _pieces(exercise, line_number, opened)
    ends = [Fraction(0)]
    for bar in line.bars:
        ends.append(ends[-1] + bar.beats * bar.meter.beat_value)
    early = min(Fraction(0), pieces[0].start if pieces else Fraction(0))
    if -pickup < early:
        silence = Printed(Fraction(0), None, f"L{line_number}-B0-N1-S1")
        pieces.insert(0, _Piece(-pickup, silence, (1, 1)))
        early = -pickup
    bars = list(line.bars)
    edges = ends[1:]
    if early < 0 and (len(bars) == 1 or bars[0].beats >= bars[0].meter.beats):
        edges.insert(0, Fraction(0))
        first = bars[0]
        silent = Rest(-early / first.meter.beat_value)
        bars[:1] = [
            replace(first, items=(silent,), signs=first.signs.at_start),
            replace(first, tempo=None, signs=first.signs.at_end, words=()),
        ]
    elif early < 0:
        longer = Rest(-early / bars[0].meter.beat_value)
        bars[0] = replace(bars[0], items=(longer, *bars[0].items))
    notes: list[list[Printed]] = [[] for _ in bars]
    at = 0
    for index, piece in enumerate(pieces):
        start = piece.start
        end = pieces[index + 1].start if index + 1 < len(pieces) else ends[-1]
        printed = piece.printed
        if printed.tied_from_before and not any(notes):
            printed = replace(printed, tied_from_before=False)
        while edges[at] <= start and at + 1 < len(edges):
            at += 1
        while True:
            until = min(end, edges[at])
            goes_on = until < end
            follows = pieces[index + 1].printed if index + 1 < len(pieces) else None
            # Into another ending a tie leads from before the first one.
            tied_on = goes_on or (
                follows is not None and follows.tied_from_before and follows.note == printed.note
            )
            notes[at].append(
                replace(printed, length=until - start, tied_on=tied_on and printed.note is not None)
            )
            if not goes_on:
                break
            start, at = until, at + 1
            printed = replace(
                printed,
                id=f"{piece.printed.id}-H{at}",
                group=(),
                tied_from_before=printed.note is not None,
            )
    return PrintedLine(tuple(bars), tuple(map(tuple, notes)))
