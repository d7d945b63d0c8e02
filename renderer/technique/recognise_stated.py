"""From written-out movements back to movements, where the file says how they are opened out.

A file of our own states the lengths of inner notes and gracenotes and which slot is on the beat. So
the notes of an opened movement are known exactly: what lies before the beat is given back to the
note before, or to the pickup that it was printed in. Lengths are in beats.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import lru_cache

from renderer.notation.note_parts import Parts, parts_of
from renderer.notation.pitch import Note
from renderer.notation.score import Bar, Exercise, Item, Line, MelodyNote, Rest, Slot
from renderer.technique.fragments import Fragment
from renderer.technique.ornaments import OrnamentBook
from renderer.technique.recognise import Form, all_forms, preferred


@lru_cache(maxsize=8)
def _spelled(book: OrnamentBook, with_gracenotes: bool) -> dict[Fragment, tuple[Form, ...]]:
    """The book's movements by the notes that they are written out in."""
    table: dict[Fragment, tuple[Form, ...]] = {}
    for form in all_forms(book):
        slots = form[0]
        row = tuple(_sounds(slots)) if with_gracenotes else slots
        if len(row) > 1:
            table[row] = (*table.get(row, ()), form)
    return table


def _sounds(slots: Fragment) -> Iterator[Slot]:
    for slot in slots:
        if slot.gracenote is not None:
            yield Slot(slot.gracenote)
        yield Slot(slot.note)


@dataclass(frozen=True, slots=True)
class _Found:
    """A written-out movement: how many notes it takes, how many of them are before the beat."""

    count: int
    ahead: int
    slots: Fragment
    name: str


class _Gatherer:
    """Gathers the opened movements of one line."""

    def __init__(self, exercise: Exercise, line: Line, book: OrnamentBook) -> None:
        self._exercise, self._line, self._book = exercise, line, book
        self._opens_gracenotes = exercise.gracenote_of(line).is_share_of_beat
        self._forms = _spelled(book, self._opens_gracenotes)
        self._items = [(at, item) for at, bar in enumerate(line.bars) for item in bar.items]
        self._bars: list[list[Item]] = [[] for _ in line.bars]

    def gathered(self) -> tuple[Bar, ...]:
        """Return the line's bars with every opened movement as one ornamented note."""
        at = 0
        previous: Note | None = None
        while at < len(self._items):
            bar, item = self._items[at]
            found = self._found(at, previous)
            if found is None:
                self._bars[bar].append(item)
                previous = item.note if isinstance(item, MelodyNote) else previous
                at += 1
                continue
            run = self._items[at : at + found.count]
            self._give_back(bar, sum((one.beats for _, one in run[: found.ahead]), Fraction(0)))
            note = MelodyNote(
                sum((one.beats for _, one in run[found.ahead :]), Fraction(0)),
                found.slots,
                found.name,
                playing=self._book.playing(found.name),
            )
            self._bars[run[-1][0]].append(note)
            previous = note.note
            at += found.count
        return tuple(self._without_pickup())

    def _give_back(self, bar: int, beats: Fraction) -> None:
        """Lengthen what was before a movement by what the movement has taken from it."""
        if not beats:
            return
        items = self._bars[bar]
        before = items[-1] if items else None
        if before is not None:
            items[-1] = replace(before, beats=before.beats + beats)
            return
        last = next((one[-1] for one in reversed(self._bars[:bar]) if one), None)
        if isinstance(last, MelodyNote):
            items.append(MelodyNote(beats, (Slot(last.note),), tied=True))
        elif isinstance(last, Rest):
            items.append(Rest(beats))

    def _without_pickup(self) -> Iterator[Bar]:
        tempo: Fraction | None = None
        for bar, items in zip(self._line.bars, self._bars, strict=True):
            tempo = bar.tempo if bar.tempo is not None else tempo
            if not items and bar.items:
                continue
            yield replace(bar, items=tuple(items), tempo=tempo)
            tempo = None

    def _found(self, start: int, previous: Note | None) -> _Found | None:
        """The longest movement that is written out from an item on."""
        best: _Found | None = None
        row: Fragment = ()
        for end in range(start, len(self._items)):
            _, item = self._items[end]
            if not isinstance(item, MelodyNote) or item.tied or len(item.slots) != 1:
                break
            row = (*row, item.slots[0])
            read = preferred(self._forms.get(row, ()), previous)
            if read is not None:
                ahead = self._ahead(self._items[start : end + 1], *read)
                best = best if ahead is None else _Found(len(row), ahead, *read)
        return best

    def _ahead(self, run: Sequence[tuple[int, Item]], slots: Fragment, name: str) -> int | None:
        """How many notes are before the beat, if a run has the lengths of this movement."""
        total = sum((item.beats for _, item in run), Fraction(0))
        note = MelodyNote(total, slots, name, playing=self._book.playing(name))
        parts = parts_of(self._exercise, self._line, note)
        if not parts.is_opened:
            return None
        wanted, ahead = self._written_out(parts, slots, run)
        is_long = all(item.beats == beats for (_, item), beats in zip(run, wanted, strict=False))
        if self._exercise.inner_of(self._line).is_even and parts.inner:
            last, share = run[-1][1].beats, run[self._first_note(slots)][1].beats
            # Its end may be lent to what the next movement has before the beat.
            is_long &= last == share if parts.anchor == 0 else last <= share
        bars = [{bar for bar, _ in run[:ahead]}, {bar for bar, _ in run[ahead:]}]
        lies_right = len(bars[1]) == 1 and len(bars[0]) <= 1
        return ahead if is_long and lies_right else None

    def _first_note(self, slots: Fragment) -> int:
        """The index of a movement's first note that is no gracenote."""
        return 1 if self._opens_gracenotes and slots[0].gracenote is not None else 0

    def _written_out(
        self, parts: Parts, slots: Fragment, run: Sequence[tuple[int, Item]]
    ) -> tuple[list[Fraction], int]:
        """The lengths of all notes but the last, and how many of them are before the beat."""
        lead = parts.gracenote.value
        inner = [length.value for length in parts.inner]
        if self._exercise.inner_of(self._line).is_even and inner:
            # The last note may have lent time to the next movement: the first tells the share.
            inner = [run[self._first_note(slots)][1].beats] * len(inner)
        lengths: list[Fraction] = []
        ahead = 0
        for index, slot in enumerate(slots):
            if index == parts.anchor and not parts.ends_on_beat:
                ahead = len(lengths)
            if self._opens_gracenotes and slot.gracenote is not None:
                lengths.append(lead)
            if index == parts.anchor and parts.ends_on_beat:
                ahead = len(lengths)
            lengths += inner[index : index + 1]
        return lengths, ahead


def gather_stated(exercise: Exercise, line: Line, book: OrnamentBook) -> Line:
    """Return a line with every movement that was opened out as stated as one ornamented note.

    Parameters
    ----------
    exercise, line:
        As read; their settings say how movements are opened out, if they are.
    book:
        The movements to look for; the longest that fits is taken.
    """
    return replace(line, bars=_Gatherer(exercise, line, book).gathered())


def states_opened(exercise: Exercise, line: Line) -> bool:
    """Whether the settings of a line open movements or gracenotes out."""
    return exercise.inner_of(line).is_opened or exercise.gracenote_of(line).is_share_of_beat
