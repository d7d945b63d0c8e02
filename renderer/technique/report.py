"""What a teacher would say about an exercise: written music in, flags and advice out.

`assess` walks through every line, works out what the fingers do at each note and gracenote, and
reports what deserves attention with its place, how hard the line is, and at most three short
sentences of advice. Nothing here depends on the tempo. Lines, bars, items and slots are counted
from 1, beats from 1 within the bar.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from fractions import Fraction

from renderer.notation.pitch import Note
from renderer.notation.score import Exercise, Line, MelodyNote
from renderer.technique.cautions import Caution, CautionKind, cautions_of, listed
from renderer.technique.difficulty import Causes, causes_of, difficulty
from renderer.technique.fingering import Change, Hand, change
from renderer.technique.ornaments import OrnamentBook, load_book

MOST_ADVICE = 3
"""How many sentences of advice a line gets at most."""


@dataclass(frozen=True, slots=True)
class PlacedChange:
    """What the fingers do at one slot of a line.

    Parameters
    ----------
    bar, item, slot:
        The written note, counted from 1.
    beat:
        Where its melody note begins in the bar, counted from 1.
    change:
        The fingers' moves into the slot's note, its gracenote included.
    """

    bar: int
    beat: Fraction
    item: int
    slot: int
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
    played:
        What is played, in words.
    notes, gracenotes, inner_notes:
        How many melody notes, gracenotes and inner notes of ornaments there are.
    changes:
        The finger changes in order, those without any move left out.
    flags:
        What to watch, in the order of the music.
    causes, difficulty:
        What makes the line hard, and points a beat (see `renderer.technique.difficulty`).
    advice:
        At most three short sentences, the most useful first.
    """

    line: int
    heading: str
    played: str
    notes: int
    gracenotes: int
    inner_notes: int
    changes: tuple[PlacedChange, ...]
    flags: tuple[Flag, ...]
    causes: Causes
    difficulty: float
    advice: tuple[str, ...]

    def count(self, kind: CautionKind) -> int:
        """How many flags of one kind the line has."""
        return sum(flag.kind is kind for flag in self.flags)


def changes_of(line: Line) -> Iterator[PlacedChange]:
    """Yield what the fingers do at every slot of a line, in order.

    A tied note is no change. After a rest the fingers are on the next note already.
    """
    previous: Note | None = None
    for bar_number, bar in enumerate(line.bars, start=1):
        beat = Fraction(1)
        for item_number, item in enumerate(bar.items, start=1):
            if not isinstance(item, MelodyNote):
                previous = None
            elif not item.tied:
                for slot_number, slot in enumerate(item.slots, start=1):
                    fingers = change(previous, slot.gracenote, slot.note)
                    yield PlacedChange(bar_number, beat, item_number, slot_number, fingers)
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


def line_difficulty(line: Line) -> float:
    """Return how hard a line is, as its `LineReport` has it, without the rest of the report."""
    return difficulty(
        causes_of(one.change for one in changes_of(line) if one.change.steps), line.beats
    )


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
    return tuple(
        _assess_line(exercise, index, line, known)
        for index, line in enumerate(exercise.lines, start=1)
    )


def _assess_line(exercise: Exercise, number: int, line: Line, book: OrnamentBook) -> LineReport:
    everything = list(changes_of(line))
    placed = [one for one in everything if one.change.steps]
    flags = tuple(
        Flag(number, one.bar, one.beat, one.item, one.slot, caution)
        for one in everything
        for caution in cautions_of(one.change)
    )
    causes = causes_of(one.change for one in placed)
    notes = [note for note in line.melody_notes if not note.tied]
    return LineReport(
        line=number,
        heading=line.heading,
        played=_played(notes, len(line.bars)),
        notes=len(notes),
        gracenotes=sum(slot.gracenote is not None for note in notes for slot in note.slots),
        inner_notes=sum(len(note.slots) - 1 for note in notes),
        changes=tuple(placed),
        flags=flags,
        causes=causes,
        difficulty=difficulty(causes, line.beats),
        advice=_advice(flags, _about_movements(exercise, line, notes, book)),
    )


def _played(notes: list[MelodyNote], bars: int) -> str:
    """Return what is played in words: `doubling on low A, B and D; 12 notes in 4 bars`."""
    ornamented: dict[str, dict[Note, None]] = {}
    for note in notes:
        name = note.ornament or ("other gracenotes" if note.group else None)
        if name is not None:
            ornamented.setdefault(name, {})[note.note] = None
    pitches = dict.fromkeys(note.note for note in notes)
    parts = [f"{name} on {_pitches(on)}" for name, on in ornamented.items()]
    if not parts:
        parts = [f"plain {_pitches(pitches)}"] if pitches else ["rests only"]
    counts = f"{_counted(len(notes), 'note')} in {_counted(bars, 'bar')}"
    return "; ".join([*parts, counts])


def _pitches(pitches: Iterable[Note]) -> str:
    return listed([pitch.label for pitch in sorted(pitches)])


def _counted(count: int, noun: str) -> str:
    return f"{count} {noun}" if count == 1 else f"{count} {noun}s"


# How much one flag of each kind asks for a word of advice. Judgement: what is written amiss comes
# first; noises that spoil the music come before what spoils the hold, and both before what is only
# untidy. That a change is big is no advice; it is said only where there is nothing better to say.
_URGENCY = {
    CautionKind.UNHEARD_GRACENOTE: 8.0,
    CautionKind.CROSSING_NOISE: 6.0,
    CautionKind.LOOSE_HOLD: 5.0,
    CautionKind.CHOKE: 4.0,
    CautionKind.SILENT_FINGER: 2.0,
}


def _advice(flags: Iterable[Flag], about_movements: Iterable[str]) -> tuple[str, ...]:
    """Choose the sentences worth saying: what occurs often and weighs most, kinds mixed."""
    counts = Counter(flag.caution for flag in flags)
    worth = {
        caution: _URGENCY[caution.kind] * count
        for caution, count in counts.items()
        if caution.kind in _URGENCY
    }
    chosen: list[str] = []
    while worth and len(chosen) < MOST_ADVICE:
        best = max(worth, key=worth.__getitem__)
        del worth[best]
        chosen.append(best.text)
        for caution in list(worth):
            same_change = caution.text.partition(":")[0] == best.text.partition(":")[0]
            if same_change and caution.fingers and set(caution.fingers) <= set(best.fingers):
                # The same fingers in the same change: nothing new is said.
                del worth[caution]
            elif caution.kind is best.kind or same_change:
                worth[caution] /= 2
    big = [caution.text for caution in counts if caution.kind is CautionKind.BIG_CHANGE]
    return tuple([*chosen, *about_movements, *big][:MOST_ADVICE])


def _about_movements(
    exercise: Exercise, line: Line, notes: list[MelodyNote], book: OrnamentBook
) -> Iterator[str]:
    """Yield what is true of the movements that the line holds, whatever the fingers do."""
    found = [book.find(note.ornament) for note in notes if note.ornament]
    families = {movement.family for movement in found if movement is not None}
    inner = exercise.inner_of(line)
    if "doubling" in families:
        if inner.is_share_of_beat and all(
            note.beats == 2 * inner.value for note in notes if len(note.slots) == 2
        ):
            yield "Opened out, both soundings of the note last equally long."
        yield "Make the second gracenote of the doubling as short as the first."
    if families & {"grip", "taorluath", "crunluath"}:
        yield "Close low G fully before the gracenote on it."
    if "birl" in families:
        yield "Let both low Gs of the birl sound alike."
