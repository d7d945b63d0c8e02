"""A score as a file writes it: values that the readers of ABC, MusicXML and MIDI have in common.

Notes are in shares of a whole note, at any pitch, with repeats still as signs. What becomes of
them is the business of `renderer.notation.to_exercise`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from math import lcm
from typing import Literal

from renderer.errors import failure, shortened
from renderer.notation.limits import MOST_DIVISIONS
from renderer.notation.score import Meter
from renderer.notation.signs import NO_SIGNS, Signs

Rests = Literal["silence", "hold"]
Transposition = int | Literal["auto"]
Recognise = Literal["stated", "opened"]
ReadAs = Literal["written", "chanter"]

QUARTER = Fraction(1, 4)

SIGN_NAMES = {
    3: "triple sharp", 2: "double sharp", 1: "sharp", 0: "natural", -1: "flat", -2: "double flat",
    -3: "triple flat",
}  # fmt: skip
"""Accidentals, by semitones raised."""

_SEMITONES = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
_SHARP_NAMES = ("C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B")


@dataclass(frozen=True, slots=True)
class Pitch:
    """A written pitch.

    Parameters
    ----------
    step, alter, octave:
        Letter `A` to `G`, semitones raised, octave (middle C begins octave 4).
    spelling:
        How the file spells it, for messages, where that is not by these three.
    """

    step: str
    alter: int
    octave: int
    spelling: str = field(default="", compare=False)

    @property
    def letter_and_sign(self) -> str:
        """The pitch without its octave, in words: `C natural`."""
        return f"{self.step} {SIGN_NAMES[self.alter]}"

    @property
    def midi(self) -> int:
        """The MIDI key number."""
        return 12 * (self.octave + 1) + _SEMITONES[self.step] + self.alter

    def __str__(self) -> str:
        if self.spelling:
            return self.spelling
        sign = "#" * self.alter if self.alter > 0 else "b" * -self.alter
        return f"{self.step}{sign}{self.octave}"

    @classmethod
    def of_midi(cls, key: int) -> Pitch:
        """The pitch of a MIDI key number, spelled with sharps."""
        name = _SHARP_NAMES[key % 12]
        return cls(name[0], len(name) - 1, key // 12 - 1)


@dataclass(frozen=True, slots=True)
class Written:
    """A note or rest as a file writes it.

    Parameters
    ----------
    length:
        As a share of a whole note; above 0.
    pitch:
        None for a rest.
    gracenotes:
        The flat group before it.
    tied:
        Whether it is tied to the note before it.
    """

    length: Fraction
    pitch: Pitch | None
    gracenotes: tuple[Pitch, ...] = ()
    tied: bool = False


@dataclass(frozen=True, slots=True)
class Measure:
    """A bar as a file writes it.

    Parameters
    ----------
    notes:
        In order.
    meter:
        The meter in force; None for free meter.
    place:
        Where it is in the file, for messages, such as `line 7, bar 2`.
    tempo:
        A tempo mark at its start, in quarter notes per minute.
    tempos_inside:
        Tempo marks later in the bar, in order: how far in, as a share of a whole note, and quarter
        notes per minute.
    begins_line, heading:
        Whether a line of the exercise begins here, and what is written above it.
    begins_row:
        Whether the file begins a new row of staves, or of text, with it.
    signs:
        Repeats, endings and jumps.
    words:
        What is written over it.
    number:
        Its own number in the file; empty where it has none.
    """

    notes: tuple[Written, ...]
    meter: Meter | None
    place: str
    tempo: Fraction | None = None
    begins_line: bool = False
    heading: str = ""
    signs: Signs = NO_SIGNS
    words: tuple[str, ...] = ()
    number: str = ""
    tempos_inside: tuple[tuple[Fraction, Fraction], ...] = ()
    begins_row: bool = False

    @property
    def length(self) -> Fraction:
        """How much of a whole note the bar's notes fill."""
        return sum((note.length for note in self.notes), Fraction(0))

    def parted(self, tempo: Fraction | None) -> list[Measure]:
        """Return the bar in pieces, one to each tempo of its own; `tempo` is the one so far.

        A note that a tempo mark falls into is tied across it.
        """
        starts: dict[Fraction, Fraction | None] = {Fraction(0): self.tempo}
        length = self.length
        tempo = self.tempo or tempo
        for at, mark in self.tempos_inside:
            if mark != tempo and 0 < at < length:
                starts[at] = mark
            tempo = mark
        parts = _parts(self.notes, list(starts))
        inside = Signs(endings=self.signs.endings)
        pieces = [
            replace(self, notes=notes, tempo=mark, signs=inside, tempos_inside=())
            for notes, mark in zip(parts, starts.values(), strict=True)
        ]
        for index in range(1, len(pieces)):
            pieces[index] = replace(
                pieces[index], begins_line=False, begins_row=False, heading="", words=()
            )
        pieces[0] = replace(pieces[0], tempo=self.tempo, signs=self.signs.at_start)
        last = pieces[-1].signs.joined(self.signs.at_end)
        return [*pieces[:-1], replace(pieces[-1], signs=last)]


def _parts(notes: Sequence[Written], starts: Sequence[Fraction]) -> list[tuple[Written, ...]]:
    """Divide notes at places (from 0, ascending); one that lies across a place is tied there."""
    parts: list[list[Written]] = []
    before = Fraction(0)
    for note in notes:
        rest = note
        end = before + note.length
        if len(parts) < len(starts) and before == starts[len(parts)]:
            parts.append([])
        while len(parts) < len(starts) and starts[len(parts)] < end:
            inside = starts[len(parts)] - before
            parts[-1].append(replace(rest, length=inside))
            rest = replace(rest, length=rest.length - inside, gracenotes=(), tied=True)
            before += inside
            parts.append([])
        parts[-1].append(rest)
        before = end
    return [tuple(part) for part in parts]


def common_divisions(divisions: int, length: Fraction, place: str) -> int:
    """Return into how many parts a whole note must be divided to count one more length too.

    Parameters
    ----------
    divisions:
        What the lengths before it need; 1 at the start.
    length:
        As a share of a whole note.
    place:
        Where it stands.

    Raises
    ------
    RungwiseError
        Beyond `MOST_DIVISIONS`: no form could write such lengths one beside the other.
    """
    divisions = lcm(divisions, length.denominator)
    if divisions > MOST_DIVISIONS:
        raise failure(
            "the lengths up to here have no common share of a beat that can be written",
            "halve or third the beat, as quavers, semiquavers and triplets do",
            place=place,
        )
    return divisions


@dataclass(frozen=True, slots=True)
class Reading:
    """What the user asks of a score that is read.

    Parameters
    ----------
    part:
        The part (MusicXML), track (MIDI) by name or number from 1, or the tune (ABC) by its `X:`
        number or title; None for the first that lies on the nine notes.
    transpose:
        Semitones, or `auto` to look for the nearest shift that fits the nine notes.
    read_as:
        `written`: as key and accidentals say; `chanter`: every letter is the chanter's own note.
    rests:
        `silence` stops the chanter, `hold` holds the note before.
    play_repeats:
        Whether repeats and jumps are played; otherwise each bar once, and of endings the last.
    gracenote_under_ms:
        MIDI: a note shorter than this before a longer one is a gracenote; None to tell by the
        file's own lengths.
    recognise:
        Which notes are read as a movement opened out: `stated`, those of which the file says so;
        `opened`, where it says nothing, also all that spell one.
    """

    part: str | None = None
    transpose: Transposition = 0
    read_as: ReadAs = "written"
    rests: Rests = "silence"
    play_repeats: bool = True
    gracenote_under_ms: float | None = None
    recognise: Recognise = "stated"


AS_WRITTEN = Reading()

ALL_TUNES = "all"
"""In place of a tune's name: every tune of a file."""

MOST_WORDS = 8
"""Texts over one bar that are kept."""

MOST_NAMED = 30
"""Parts that a message names."""


def index_of_part(wanted: str, names: Sequence[str], kind: str) -> int:
    """Return which of some parts the user means, by name or by number from 1; its index from 0.

    Raises a `RungwiseError` that lists them, as `kind` says what they are, where there is none.
    """
    key = wanted.strip().casefold()
    for index, name in enumerate(names):
        if key in (name.casefold(), str(index + 1)):
            return index
    shown = enumerate(names[:MOST_NAMED], start=1)
    known = ", ".join(f"{number} ({shortened(name) or 'unnamed'})" for number, name in shown)
    raise failure(f"there is no {kind} {shortened(wanted.strip())!r}", f"choose one of: {known}")


def beat_at(offset: Fraction, meter: Meter | None) -> str:
    """Return the beat, from 1, that lies so far into a bar (a share of a whole note): `2 1/2`."""
    beat = QUARTER if meter is None else meter.beat_value
    whole, rest = divmod(offset / beat + 1, 1)
    return f"{whole} {rest}" if rest else f"{whole}"


@dataclass(frozen=True, slots=True)
class Score:
    """A melody as a file writes it, with what belongs to the whole.

    Parameters
    ----------
    title:
        May be empty.
    measures:
        With repeats still as signs.
    keyless:
        Whether it has no key signature at all.
    source:
        The file, for messages.
    remarks:
        What was left out, in sentences.
    order:
        The runs of measures in the order in which they are played, where parts are repeated by
        name; empty for as they stand. Each begins a line.
    composer, tune_type, origin, notes:
        As of an exercise; may be empty.
    settings:
        The names and values of `kept_settings` that the file says.
    """

    title: str
    measures: tuple[Measure, ...]
    keyless: bool
    source: str
    remarks: tuple[str, ...] = ()
    order: tuple[range, ...] = ()
    composer: str = ""
    tune_type: str = ""
    origin: str = ""
    notes: str = ""
    settings: tuple[tuple[str, str], ...] = ()
