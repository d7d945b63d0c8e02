"""The timed events of one track: what the chanter, the metronome and the snare drum do, and when.

All times are exact `Fraction`s of a second, counted from the start of the track. The chanter's
events tile the track: each begins where the one before ends, the first at 0, the last ending at
the track's duration; where the chanter is silent (count-in, clicks between lines, the learner's
turn) the event is a rest.
"""

from __future__ import annotations

import enum
from dataclasses import dataclass
from fractions import Fraction

from renderer.notation.pitch import Note
from renderer.notation.playing import Inner
from renderer.notation.score import note_id


class Role(enum.StrEnum):
    """What a chanter event is in the music."""

    MELODY = "melody"
    INNER = "inner"
    GRACENOTE = "gracenote"
    CROSSING_NOISE = "crossing noise"
    INTRODUCTION = "introduction"
    REST = "rest"


@dataclass(frozen=True, slots=True)
class Event:
    """Something that the chanter does.

    Parameters
    ----------
    start, length:
        Seconds from the start of the track, exact.
    note:
        What sounds; None for a rest.
    role:
        Melody note, inner note of an ornament, gracenote, rest, a crossing noise that is there to
        be heard once, or the note that a band sounds before a tune.
    line, bar, item, slot:
        The written note that it came from, counted from 1: line in the exercise, bar in the line,
        item in the bar, slot in the melody note. 0 for what nobody wrote (count-in, gaps).
    turn:
        Which time its bar is played, from 1; 0 outside lines.
    number:
        The number by which note ids name the line, the same where it is taken alone out of a longer
        exercise; 0 for what nobody wrote.
    bars_before:
        By how much the number of its bar is higher in the whole of a line of which a part is
        played.
    """

    start: Fraction
    length: Fraction
    note: Note | None
    role: Role
    line: int = 0
    bar: int = 0
    item: int = 0
    slot: int = 0
    turn: int = 0
    number: int = 0
    bars_before: int = 0

    @property
    def end(self) -> Fraction:
        """Where it ends, in seconds."""
        return self.start + self.length

    @property
    def note_id(self) -> str:
        """The name shared with scores and sheets; empty for what nobody wrote."""
        if not self.number:
            return ""
        gracenote = self.role is Role.GRACENOTE
        bar = self.bar + self.bars_before
        return note_id(self.number, bar, self.item, self.slot, gracenote=gracenote)


class ClickKind(enum.StrEnum):
    """Which of the metronome's sounds."""

    ACCENT = "accent"
    BEAT = "beat"
    SUBDIVISION = "subdivision"


class SectionKind(enum.StrEnum):
    """What a stretch of the track is for."""

    COUNT_IN = "count-in"
    LINE = "line"
    GAP = "gap"
    ECHO = "echo"


@dataclass(frozen=True, slots=True)
class Click:
    """A metronome click, `start` seconds into the track.

    `section` says where it belongs: clicks of the count-in and between lines are heard even when
    the metronome is off during the lines.
    """

    start: Fraction
    kind: ClickKind
    section: SectionKind


@dataclass(frozen=True, slots=True)
class Roll:
    """A snare-drum roll of a rolled count-in: `start` and `length` in seconds, over whole beats."""

    start: Fraction
    length: Fraction
    beats: int = 3


@dataclass(frozen=True, slots=True)
class Section:
    """A stretch of the track.

    Parameters
    ----------
    kind:
        Count-in, a line being played, a bar of clicks between lines, or the learner's turn.
    start, length:
        Seconds, exact.
    line:
        The line that is played, or that the learner echoes, or (for count-in and gap) that comes
        next; from 1.
    turn:
        Which playing of the line, from 1.
    heading:
        The line's heading.
    tempo:
        The rung that it is played on, in beats a minute, before any tempo mark.
    inner:
        How long the inner notes of its movements last, where that changes within the track.
    """

    kind: SectionKind
    start: Fraction
    length: Fraction
    line: int
    turn: int
    heading: str
    tempo: Fraction
    inner: Inner | None = None
