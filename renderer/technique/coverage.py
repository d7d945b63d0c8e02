"""What an exercise practises: written music in, counts of approaches to each movement out.

An *approach* is a movement on a note coming from a note: a doubling on D coming from low A, a
strike on B coming from B. Counting them shows which ways into a movement a book practises, how
often, and which it leaves out. What is used from where follows from the ornament book: a thumb
doubling is used coming from high G, so that no other way into it is ever missing.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from renderer.notation.pitch import Note
from renderer.notation.score import Exercise, Line, MelodyNote
from renderer.technique.ornaments import OrnamentBook, load_book

UNNAMED = "other gracenotes"
"""What gracenotes are counted under that the book has no name for."""


@dataclass(frozen=True, slots=True, order=True)
class Approach:
    """A movement, the note before it, and the note that it leads into."""

    ornament: str
    coming_from: Note
    note: Note

    def __str__(self) -> str:
        return f"{self.ornament} on {self.note} coming from {self.coming_from}"


@dataclass(frozen=True, slots=True)
class Coverage:
    """How one movement is practised.

    Parameters
    ----------
    ornament:
        Its name, or `UNNAMED`.
    counts:
        How often each approach is played, by note before and melody note. The note before is None
        at the start of a line and after a rest.
    possible:
        The approaches that players use, among the notes in question.
    """

    ornament: str
    counts: Mapping[tuple[Note | None, Note], int]
    possible: frozenset[tuple[Note, Note]]

    @property
    def missing(self) -> tuple[tuple[Note, Note], ...]:
        """The approaches in use that are not practised, by melody note."""
        lacking = (pair for pair in self.possible if not self.counts.get(pair))
        return tuple(sorted(lacking, key=lambda pair: (pair[1], pair[0])))

    @property
    def covered(self) -> int:
        """How many of the approaches in use are practised."""
        return len(self.possible) - len(self.missing)


def approaches(line: Line) -> Iterator[tuple[str, Note | None, Note]]:
    """Yield every ornamented note of a line in order: movement, note before or None, note."""
    previous: Note | None = None
    for bar in line.bars:
        for item in bar.items:
            if not isinstance(item, MelodyNote):
                previous = None
                continue
            if item.group:
                yield item.ornament or UNNAMED, previous, item.note
            previous = item.note


def approaches_of(line: Line) -> frozenset[Approach]:
    """Return the approaches that a line practises, each once; a first note comes from nowhere."""
    return frozenset(
        Approach(ornament, before, note)
        for ornament, before, note in approaches(line)
        if before is not None
    )


def possible_approaches(
    ornament: str, book: OrnamentBook, among: Iterable[Note] = Note
) -> frozenset[tuple[Note, Note]]:
    """Return the approaches to a movement that players use.

    Parameters
    ----------
    ornament:
        A name; one that the book lacks has no approach.
    book:
        Where it is looked up.
    among:
        The notes before and the melody notes that count.

    Returns
    -------
    Pairs: the note before and the melody note.
    """
    movement = book.find(ornament)
    if movement is None:
        return frozenset()
    notes = set(among)
    return frozenset(
        (before, note)
        for note in movement.notes
        for before in movement.used_from(note)
        if note in notes and before in notes
    )


def coverage(
    exercises: Iterable[Exercise],
    *,
    book: OrnamentBook | None = None,
    among: Iterable[Note] = Note,
) -> tuple[Coverage, ...]:
    """Count the approaches that exercises practise together.

    Parameters
    ----------
    exercises:
        A book of them, or one.
    book:
        Where the movements are looked up; the shipped book if left out.
    among:
        The notes that a book of this kind is to practise; what lies outside is never missing.

    Returns
    -------
    One entry a movement, in the order of the ornament book; gracenotes without a name last.
    """
    known = load_book() if book is None else book
    notes = tuple(among)
    counts: dict[str, Counter[tuple[Note | None, Note]]] = {}
    for exercise in exercises:
        for line in exercise.lines:
            for ornament, before, note in approaches(line):
                counts.setdefault(ornament, Counter())[before, note] += 1
    order = [movement.name for movement in known]
    names = sorted(counts, key=lambda name: order.index(name) if name in order else len(order))
    return tuple(
        Coverage(name, dict(counts[name]), possible_approaches(name, known, notes))
        for name in names
    )
