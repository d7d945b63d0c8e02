"""A written line as a chain of soundings, still free of any tempo.

A `Sounding` is one slot of the music: an optional gracenote and the note (or silence) that it
leads. Where it begins is a `Moment`, the sum of a part that stretches with the beat and a part that
never changes: the inner notes of closed ornaments last so many milliseconds at every tempo, those
of opened ones a share of the beat. Everything that depends on the tempo (what fits, the timed
events) is computed from this chain.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

from renderer.notation.length import Length
from renderer.notation.pitch import Note
from renderer.notation.score import Bar, Exercise, Line, MelodyNote
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

    def __add__(self, other: Moment) -> Moment:
        return Moment(self.beats + other.beats, self.seconds + other.seconds)

    def __sub__(self, other: Moment) -> Moment:
        return Moment(self.beats - other.beats, self.seconds - other.seconds)


@dataclass(frozen=True, slots=True)
class Sounding:
    """One slot of the music and where it begins.

    Parameters
    ----------
    start:
        From the start of the line.
    note:
        What sounds; None for a written rest.
    gracenote:
        The gracenote that leads it, or None.
    role:
        Melody note, inner note or rest.
    bar, item, slot:
        The written note, counted from 1.
    """

    start: Moment
    note: Note | None
    gracenote: Note | None
    role: Role
    bar: int
    item: int
    slot: int


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


def _share_or_time(length: Length, stretch: Fraction) -> Moment:
    if length.is_share_of_beat:
        return Moment(beats=length.value * stretch)
    return Moment(seconds=length.value * MILLISECOND)


def _stretches(exercise: Exercise) -> Iterator[tuple[Fraction, ...]]:
    """Yield, line by line, how long a written beat lasts in each bar, in beats of the exercise."""
    stretch = Fraction(1)
    for line in exercise.lines:
        stretches = []
        for bar in line.bars:
            if bar.tempo is not None:
                stretch = exercise.tempo / bar.tempo
            stretches.append(stretch)
        yield tuple(stretches)


def _bar_soundings(
    bar: Bar, number: int, start: Fraction, stretch: Fraction, inner: Length
) -> list[Sounding]:
    soundings: list[Sounding] = []
    beat = start
    step = _share_or_time(inner, stretch)
    for index, item in enumerate(bar.items, start=1):
        moment = Moment(beat)
        beat += item.beats * stretch
        if not isinstance(item, MelodyNote):
            soundings.append(Sounding(moment, None, None, Role.REST, number, index, 1))
            continue
        if item.tied:
            continue
        for slot_number, slot in enumerate(item.slots, start=1):
            role = Role.MELODY if slot_number == len(item.slots) else Role.INNER
            soundings.append(
                Sounding(moment, slot.note, slot.gracenote, role, number, index, slot_number)
            )
            moment += step
    return soundings


def chains_of(exercise: Exercise) -> tuple[Chain, ...]:
    """Return the soundings of every line of an exercise; tempo marks hold until the next one."""
    return tuple(
        _chain(line, exercise.inner_of(line), stretches)
        for line, stretches in zip(exercise.lines, _stretches(exercise), strict=True)
    )


def _chain(line: Line, inner: Length, stretches: tuple[Fraction, ...]) -> Chain:
    soundings: list[Sounding] = []
    starts = [Fraction(0)]
    for number, (bar, stretch) in enumerate(zip(line.bars, stretches, strict=True), start=1):
        soundings += _bar_soundings(bar, number, starts[-1], stretch, inner)
        starts.append(starts[-1] + bar.beats * stretch)
    return Chain(tuple(soundings), tuple(starts), stretches)
