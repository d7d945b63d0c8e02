"""What a teacher would say about an exercise: written music in, flags and advice out.

`assess` walks through every line, works out what the fingers do at each note and gracenote, and
reports what deserves attention with its place, how hard the line is, and what of it is worth
saying. Lines, bars, items and slots are counted from 1, beats from 1 within the bar.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from fractions import Fraction

from renderer.notation.pitch import Note
from renderer.notation.score import Exercise, Line, MelodyNote, bar_numbers
from renderer.technique import german
from renderer.technique.advice import (
    Advice,
    Remark,
    caution_remark,
    choose_advice,
    movement_remarks,
)
from renderer.technique.cautions import Caution, CautionKind, cautions_of, listed
from renderer.technique.difficulty import Causes, causes_of, difficulty, note_points
from renderer.technique.finger_changes import Change, change
from renderer.technique.fingering import Hand
from renderer.technique.ornaments import OrnamentBook, load_book


@dataclass(frozen=True, slots=True)
class PlacedChange:
    """What the fingers do at one slot of a line.

    Parameters
    ----------
    bar, item, slot:
        The written note, counted from 1.
    beat:
        Where its melody note begins in the bar, counted from 1.
    previous:
        The note before; None at a start and after a rest.
    change:
        The fingers' moves into the slot's note, its gracenote included.
    """

    bar: int
    beat: Fraction
    item: int
    slot: int
    previous: Note | None
    change: Change


@dataclass(frozen=True, slots=True)
class Flag:
    """A caution and its place: line, bar, item and slot from 1, beat from 1 within the bar."""

    line: int
    bar: int
    beat: Fraction
    item: int
    slot: int
    caution: Caution

    @property
    def kind(self) -> CautionKind:
        """What is flagged."""
        return self.caution.kind


@dataclass(frozen=True, slots=True)
class PlacedCrossing:
    """Where a crossing noise lurks in a line.

    Parameters
    ----------
    bar, item, slot:
        The written slot that it leads to, counted from 1.
    before_gracenote:
        Whether it sounds before the slot's gracenote; else right before the slot's note.
    heard:
        The low note that sounds.
    hand_first:
        The hand that must move first to avoid it.
    """

    bar: int
    item: int
    slot: int
    before_gracenote: bool
    heard: Note
    hand_first: Hand


@dataclass(frozen=True, slots=True)
class LineReport:
    """What a teacher would say about one line.

    Parameters
    ----------
    line:
        Which line of the exercise, from 1.
    heading:
        As written; may be empty.
    played, played_in_german:
        What is played, in words.
    notes, gracenotes, inner_notes:
        How many melody notes, gracenotes and inner notes of ornaments there are.
    changes:
        The finger changes in order, those without any move left out.
    flags:
        What to watch, in the order of the music.
    causes, difficulty:
        What makes the line hard, and its points (see `renderer.technique.difficulty`).
    advice:
        What is worth saying and not said under a line before, the most useful first.
    as_lines:
        The lines, from 1, under which the rest of what is worth saying stands already.
    """

    line: int
    heading: str
    played: str
    played_in_german: str
    notes: int
    gracenotes: int
    inner_notes: int
    changes: tuple[PlacedChange, ...]
    flags: tuple[Flag, ...]
    causes: Causes
    difficulty: float
    advice: tuple[Advice, ...]
    as_lines: tuple[int, ...]

    def count(self, kind: CautionKind) -> int:
        """How many flags of one kind the line has."""
        return sum(flag.kind is kind for flag in self.flags)


def changes_of(line: Line) -> Iterator[PlacedChange]:
    """Yield what the fingers do at every slot of a line, in order.

    A tied note is no change. After a rest the fingers are on the next note already. A second ending
    comes from the note before the first.
    """
    previous: Note | None = None
    before_endings: Note | None = None
    endings: tuple[int, ...] = ()
    for bar_number, bar in enumerate(line.bars, start=1):
        beat = Fraction(1)
        if bar.signs.endings and not endings:
            before_endings = previous
        elif bar.signs.endings and bar.signs.endings != endings:
            previous = before_endings
        endings = bar.signs.endings
        for item_number, item in enumerate(bar.items, start=1):
            if not isinstance(item, MelodyNote):
                previous = None
            elif not item.tied:
                for slot_number, slot in enumerate(item.slots, start=1):
                    fingers = change(previous, slot.gracenote, slot.note)
                    yield PlacedChange(
                        bar_number, beat, item_number, slot_number, previous, fingers
                    )
                    previous = slot.note
            beat += item.beats


def crossings(line: Line) -> tuple[PlacedCrossing, ...]:
    """Return every place of a line where a crossing noise lurks, in order."""
    return tuple(
        PlacedCrossing(
            placed.bar,
            placed.item,
            placed.slot,
            noise.before_gracenote,
            noise.heard,
            noise.hand_first,
        )
        for placed in changes_of(line)
        if (noise := placed.change.crossing) is not None
    )


def line_difficulty(
    line: Line,
    *,
    tempo: Fraction = Fraction(60),
    opened: bool | None = None,
    book: OrnamentBook | None = None,
) -> float:
    """Return how hard a line is, as its `LineReport` has it, without the rest of the report.

    Parameters
    ----------
    line:
        The music.
    tempo:
        Beats per minute.
    opened:
        Whether its movements are opened out; where it is left out, as the line itself says, else
        closed.
    book:
        Where the movements are looked up; the shipped book if left out.
    """
    known = load_book() if book is None else book
    if opened is None:
        opened = line.inner is not None and line.inner.is_opened
    notes = [note for note in line.melody_notes if not note.tied]
    causes = causes_of(one.change for one in changes_of(line))
    return difficulty(
        causes, line.beats, tempo=tempo, hardest=_hardest(notes, known, opened=opened)
    )


def _hardest(notes: Iterable[MelodyNote], book: OrnamentBook, *, opened: bool) -> float:
    """The points of the hardest movement."""
    return max((note_points(note, book, opened=opened) for note in notes), default=0.0)


def assess(exercise: Exercise, book: OrnamentBook | None = None) -> tuple[LineReport, ...]:
    """Return what a teacher would say about each line of an exercise.

    Parameters
    ----------
    exercise:
        As read, its movements recognised.
    book:
        Where the movements' families are looked up; the shipped book if left out.
    """
    known = load_book() if book is None else book
    walked = [list(changes_of(line)) for line in exercise.lines]
    each = list(zip(exercise.lines, walked, strict=True))
    chosen = choose_advice(
        list(_remarks(line, changes, known, opened=plays_opened(exercise, line)))
        for line, changes in each
    )
    return tuple(
        _assess_line(
            exercise, index, line, changes, known, _numbered(advice.said, line), advice.as_lines
        )
        for index, ((line, changes), advice) in enumerate(zip(each, chosen, strict=True), start=1)
    )


def _numbered(said: Iterable[Advice], line: Line) -> tuple[Advice, ...]:
    numbers = bar_numbers(line)
    return tuple(replace(one, bar_number=numbers[one.bar - 1]) for one in said)


def exercise_difficulty(exercise: Exercise, book: OrnamentBook | None = None) -> float:
    """Return how hard an exercise is: the mean of its lines at its own tempo."""
    points = [
        line_difficulty(line, tempo=exercise.tempo, opened=plays_opened(exercise, line), book=book)
        for line in exercise.lines
    ]
    return sum(points) / len(points)


def plays_opened(exercise: Exercise, line: Line) -> bool:
    """Return whether the movements of a line are opened out as the exercise has them."""
    return exercise.inner_of(line).is_opened


def _remarks(
    line: Line, changes: Iterable[PlacedChange], book: OrnamentBook, *, opened: bool
) -> Iterator[Remark]:
    """Yield all that can be said of a line, in the order of the music."""
    for placed in changes:
        note = line.bars[placed.bar - 1].items[placed.item - 1]
        if placed.slot == 1 and isinstance(note, MelodyNote) and note.ornament is not None:
            movement = book.find(note.ornament)
            if movement is not None:
                yield from movement_remarks(
                    movement,
                    note.slots,
                    placed.previous,
                    opened=opened,
                    bar=placed.bar,
                    beat=placed.beat,
                )
        for caution in cautions_of(placed.change):
            yield caution_remark(caution, placed.bar, placed.beat)


def _assess_line(
    exercise: Exercise,
    number: int,
    line: Line,
    everything: list[PlacedChange],
    book: OrnamentBook,
    advice: tuple[Advice, ...],
    as_lines: tuple[int, ...],
) -> LineReport:
    placed = [one for one in everything if one.change.steps]
    flags = tuple(
        Flag(number, one.bar, one.beat, one.item, one.slot, caution)
        for one in everything
        for caution in cautions_of(one.change)
    )
    causes = causes_of(one.change for one in placed)
    notes = [note for note in line.melody_notes if not note.tied]
    hardest = _hardest(notes, book, opened=plays_opened(exercise, line))
    return LineReport(
        line=number,
        heading=line.heading,
        played=_played(notes, len(line.bars)),
        played_in_german=_played_in_german(notes, len(line.bars)),
        notes=len(notes),
        gracenotes=sum(slot.gracenote is not None for note in notes for slot in note.slots),
        inner_notes=sum(len(note.slots) - 1 for note in notes),
        changes=tuple(placed),
        flags=flags,
        causes=causes,
        difficulty=difficulty(causes, line.beats, tempo=exercise.tempo, hardest=hardest),
        advice=advice,
        as_lines=as_lines,
    )


def _played(notes: list[MelodyNote], bars: int) -> str:
    """Return what is played in words: `doubling on low A, B and D; 12 notes in 4 bars`."""
    ornamented = _ornamented(notes, "other gracenotes")
    pitches = dict.fromkeys(note.note for note in notes)
    parts = [f"{name} on {_pitches(on)}" for name, on in ornamented.items()]
    if not parts:
        parts = [f"plain {_pitches(pitches)}"] if pitches else ["rests only"]
    counts = f"{_counted(len(notes), 'note')} in {_counted(bars, 'bar')}"
    return "; ".join([*parts, counts])


def _played_in_german(notes: list[MelodyNote], bars: int) -> str:
    """Return what `_played` returns: `doubling auf Low A, B und D; 12 Noten in 4 Takten`."""
    parts = [
        f"{name} auf {_pitches_in_german(on)}"
        for name, on in _ornamented(notes, "andere Gracenotes").items()
    ]
    if not parts:
        pitches = dict.fromkeys(note.note for note in notes)
        parts = [f"schlicht {_pitches_in_german(pitches)}"] if pitches else ["nur Pausen"]
    how_many = f"{len(notes)} Note{'n' if len(notes) != 1 else ''}"
    return "; ".join([*parts, f"{how_many} in {bars} Takt{'en' if bars != 1 else ''}"])


def _ornamented(notes: Iterable[MelodyNote], others: str) -> dict[str, dict[Note, None]]:
    """Return the notes that carry each movement, by its name, and of other groups."""
    found: dict[str, dict[Note, None]] = {}
    for note in notes:
        name = note.ornament or (others if note.group else None)
        if name is not None:
            found.setdefault(name, {})[note.note] = None
    return found


def _pitches_in_german(pitches: Iterable[Note]) -> str:
    return german.listed([german.note_word(pitch) for pitch in sorted(pitches)])


def _pitches(pitches: Iterable[Note]) -> str:
    return listed([pitch.label for pitch in sorted(pitches)])


def _counted(count: int, noun: str) -> str:
    return f"{count} {noun}" if count == 1 else f"{count} {noun}s"
