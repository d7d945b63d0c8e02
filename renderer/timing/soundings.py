"""A written line as a chain of soundings, still free of any tempo.

A `Sounding` is one slot of the music: an optional gracenote and the note (or silence) that it
leads. Where it begins is a `Moment`, the sum of a part that stretches with the beat and a part that
never changes: the inner notes of closed ornaments last so many milliseconds at every tempo, those
of opened ones a share of the beat. What a movement has before the slot on the beat begins before
its written note does, at the head of a line before the line. Everything that depends on the tempo
(what fits, the timed events) is computed from this chain.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Literal

from renderer.notation.length import Length
from renderer.notation.note_parts import Parts, parts_of
from renderer.notation.pitch import Note
from renderer.notation.score import Exercise, Line, MelodyNote
from renderer.timing.timeline import Role

MILLISECOND = Fraction(1, 1000)


@dataclass(frozen=True, slots=True)
class Moment:
    """A point in a line: `beats` of the exercise's tempo and `seconds` that no tempo changes."""

    beats: Fraction = Fraction(0)
    seconds: Fraction = Fraction(0)

    def at(self, seconds_per_beat: Fraction) -> Fraction:
        """Seconds from the start of the line when a beat lasts `seconds_per_beat`."""
        return self.beats * seconds_per_beat + self.seconds

    def towards(self, other: Moment, share: Fraction) -> Moment:
        """The moment that lies this share of the way to another."""
        return Moment(
            self.beats + share * (other.beats - self.beats),
            self.seconds + share * (other.seconds - self.seconds),
        )

    # Most moments have one part alone: exact arithmetic with nothing takes as long as with much.
    def __add__(self, other: Moment) -> Moment:
        return Moment(
            self.beats + other.beats if other.beats else self.beats,
            self.seconds + other.seconds if other.seconds else self.seconds,
        )

    def __sub__(self, other: Moment) -> Moment:
        return Moment(
            self.beats - other.beats if other.beats else self.beats,
            self.seconds - other.seconds if other.seconds else self.seconds,
        )


@dataclass(frozen=True, slots=True)
class Sounding:
    """One slot of the music and where it begins.

    Parameters
    ----------
    start:
        Where it begins, its gracenote included, from the start of the line; below 0 for what a
        movement at the line's head has before the beat.
    gracenote_lasts:
        How long its gracenote lasts; nothing where it has none.
    note:
        What sounds; None for a written rest.
    gracenote:
        The gracenote that leads it, or None.
    role:
        Melody note, inner note or rest.
    bar, item, slot:
        The written note, counted from 1.
    leads_in:
        Whether it begins before the beat of its written note.
    """

    start: Moment
    gracenote_lasts: Moment
    note: Note | None
    gracenote: Note | None
    role: Role
    bar: int
    item: int
    slot: int
    leads_in: bool = False


@dataclass(frozen=True, slots=True)
class Chain:
    """A line's soundings in order, its length, and the bars' starts.

    `bar_starts` has one entry a bar and one for the end, in beats of the exercise's tempo.
    `stretch` has one entry a bar: how many beats of the exercise's tempo a written beat lasts
    (other than 1 only after tempo marks).
    """

    soundings: tuple[Sounding, ...]
    bar_starts: tuple[Fraction, ...]
    stretch: tuple[Fraction, ...]

    @property
    def beats(self) -> Fraction:
        """The length of the line in beats of the exercise's tempo."""
        return self.bar_starts[-1]


NOTHING = Moment()


def _lasts(length: Length, stretch: Fraction) -> Moment:
    if length.is_share_of_beat:
        return Moment(beats=length.value * stretch)
    return Moment(seconds=length.value * MILLISECOND)


def stretches_of(exercise: Exercise) -> Iterator[tuple[Fraction, ...]]:
    """Yield, line by line, how long a written beat lasts in each bar, in beats of the exercise.

    Other than 1 only after tempo marks, each of which holds until the next one.
    """
    stretch = Fraction(1)
    for line in exercise.lines:
        stretches = []
        for bar in line.bars:
            if bar.tempo is not None:
                stretch = exercise.tempo / bar.tempo
            stretches.append(stretch)
        yield tuple(stretches)


def beats_of_lines(exercise: Exercise) -> Iterator[Fraction]:
    """Yield how long each line lasts, in beats of the exercise's tempo."""
    for line, stretches in zip(exercise.lines, stretches_of(exercise), strict=True):
        yield sum(
            (bar.beats * stretch for bar, stretch in zip(line.bars, stretches, strict=True)),
            Fraction(0),
        )


@dataclass(frozen=True, slots=True)
class _Part:
    """A slot of a note: where it begins, from the note's beat, and how long its gracenote lasts."""

    begins: Moment
    gracenote_lasts: Moment
    leads_in: bool


_PLAIN = (_Part(NOTHING, NOTHING, leads_in=False),)


def _divided(note: MelodyNote, parts: Parts, stretch: Fraction) -> tuple[_Part, ...]:
    """Return how a written note is divided into its slots."""
    before = parts.ends_on_beat
    gracenote = _lasts(parts.gracenote, stretch)
    leads = [NOTHING if slot.gracenote is None else gracenote for slot in note.slots]
    # From the note of each slot to the note of the next; then back from notes to slots.
    notes = [leads[0]]
    for index, length in enumerate(parts.inner):
        step = _lasts(length, stretch)
        if not parts.holds_gracenotes:
            step += leads[index + 1]
        elif not before:
            step += leads[index + 1] - leads[index]
        notes.append(notes[-1] + step)
    anchor = notes[parts.anchor] - (NOTHING if before else leads[parts.anchor])
    return tuple(
        _Part(
            begins - anchor - lead,
            lead,
            index < parts.anchor or (before and index == parts.anchor),
        )
        for index, (lead, begins) in enumerate(zip(leads, notes, strict=True))
    )


Lengths = Literal["own", "least inner", "least"]
"""How long the parts of movements are: as they should be; inner notes of closed ones as short as
players manage; gracenotes too."""


class _Divider:
    """Divides the written notes of an exercise, alike ones once."""

    def __init__(self, exercise: Exercise, lengths: Lengths) -> None:
        self._exercise = exercise
        self._lengths = lengths
        self._known: dict[tuple[object, ...], tuple[_Part, ...]] = {}

    def parts(self, line: Line, note: MelodyNote, stretch: Fraction) -> tuple[_Part, ...]:
        """Return how a note of a line is divided."""
        if len(note.slots) == 1 and note.slots[0].gracenote is None:
            return _PLAIN
        # The exercise keeps what these names stand for; notes of one movement share their slots.
        how = (line.inner, line.beat, line.gracenote, line.placement, note.slots, note.playing)
        key = (*map(id, how), *note.beats.as_integer_ratio(), *stretch.as_integer_ratio())
        known = self._known.get(key)
        if known is None:
            parts = parts_of(self._exercise, line, note)
            if self._lengths != "own":
                parts = replace(parts, inner=parts.least)
            if self._lengths == "least":
                parts = replace(parts, gracenote=parts.least_gracenote)
            known = self._known[key] = _divided(note, parts, stretch)
        return known


def chains_of(exercise: Exercise, lengths: Lengths = "own") -> tuple[Chain, ...]:
    """Return the soundings of every line of an exercise; tempo marks hold until the next one.

    Parameters
    ----------
    exercise:
        Its lines and how they are played.
    lengths:
        How long the parts of movements are.
    """
    divider = _Divider(exercise, lengths)
    return tuple(
        _chain(divider, line, stretches)
        for line, stretches in zip(exercise.lines, stretches_of(exercise), strict=True)
    )


def _chain(divider: _Divider, line: Line, stretches: tuple[Fraction, ...]) -> Chain:
    soundings: list[Sounding] = []
    starts = [Fraction(0)]
    for number, (bar, stretch) in enumerate(zip(line.bars, stretches, strict=True), start=1):
        beat = starts[-1]
        for index, item in enumerate(bar.items, start=1):
            moment = Moment(beat)
            beat += item.beats if stretch == 1 else item.beats * stretch
            if not isinstance(item, MelodyNote):
                rest = Sounding(moment, NOTHING, None, None, Role.REST, number, index, 1)
                soundings.append(rest)
            elif not item.tied:
                last = len(item.slots) - 1
                each = zip(item.slots, divider.parts(line, item, stretch), strict=True)
                soundings += [
                    Sounding(
                        moment + part.begins,
                        part.gracenote_lasts,
                        slot.note,
                        slot.gracenote,
                        Role.MELODY if at == last else Role.INNER,
                        number,
                        index,
                        at + 1,
                        part.leads_in,
                    )
                    for at, (slot, part) in enumerate(each)
                ]
        starts.append(beat)
    return Chain(tuple(soundings), tuple(starts), stretches)
