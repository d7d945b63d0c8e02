"""From printed or written-out ornaments back to movements: notes in, slots and a name out.

A gracenote group is printed flat, such as `{gBd}` before B. Which of its notes are gracenotes and
which are inner notes follows from the ornament book where the book has the group; otherwise from
the rule of `renderer.notation.groups`. An opened movement is written as real notes with their own
gracenotes; `recognise_opened` gathers those back into one ornamented note.

Lengths are in beats.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from functools import lru_cache

from renderer.notation.groups import slots_of_group
from renderer.notation.length import Length
from renderer.notation.pitch import Note
from renderer.notation.playing import Inner
from renderer.notation.score import Bar, Item, Line, MelodyNote, Slot
from renderer.technique.fragments import Fragment, silent_join
from renderer.technique.movement import Movement
from renderer.technique.ornaments import OrnamentBook

Group = tuple[Note, ...]


def flat_group(slots: Fragment) -> Group:
    """Return the notes before the melody note as a closed gracenote group prints them."""
    flat = [note for slot in slots for note in (slot.gracenote, slot.note) if note is not None]
    return tuple(flat[:-1])


def recognise(
    note: Note, group: Group, previous: Note | None, book: OrnamentBook
) -> tuple[Fragment, str | None]:
    """Return the slots of a printed gracenote group, and the movement's name.

    Parameters
    ----------
    note:
        The melody note.
    group:
        The notes printed small before it, in order; empty for a plain note.
    previous:
        The note that sounds before; None at the start of a line.
    book:
        The movements to look for. Where several print alike, the note before decides: a movement's
        own form for this approach comes first, then what players use from there, then the book's
        order.

    Returns
    -------
    The slots, the melody note last, and the movement's name or None if the book has no such group.
    """
    if not group:
        return (Slot(note),), None
    read = preferred(_printed(book).get((group, note), ()), previous)
    return read if read is not None else (slots_of_group(note, group), None)


Form = tuple[Fragment, Movement, Note | None]
"""Slots, the movement, and the note before that the book has this form for."""


def preferred(rows: Sequence[Form], previous: Note | None) -> tuple[Fragment, str] | None:
    """Choose among movements that print or are written out alike.

    First the form that the book has for this approach; then the first movement of the book that
    players use from there; then the first that can be played from there; then any. Where nothing
    sounds before, the one that is used from most notes. What the book has for other approaches
    alone counts where it can be played from this one too (a grip cut by B coming from C).
    """
    for slots, movement, approach in rows:
        if previous is not None and approach is previous:
            return slots, movement.name
    general = [(slots, movement) for slots, movement, approach in rows if approach is None]
    if not general:
        return _of_another_approach(rows, previous)

    def likelihood(row: tuple[Fragment, Movement]) -> tuple[bool, bool, int]:
        slots, movement = row
        note = slots[-1].note
        if previous is None:
            return False, False, len(movement.used_from(note))
        proper = movement.slots(note, previous) == slots
        used = proper and previous in movement.used_from(note)
        return used, proper and silent_join(slots, previous) is None, 0

    # Most groups are one movement's only; `max` takes the first of the book among equals.
    slots, movement = general[0] if len(general) == 1 else max(general, key=likelihood)
    return slots, movement.name


def _of_another_approach(
    rows: Sequence[Form], previous: Note | None
) -> tuple[Fragment, str] | None:
    for slots, movement, _ in rows:
        if previous is None or silent_join(slots, previous) is None:
            return slots, movement.name
    return None


@lru_cache(maxsize=8)
def _printed(book: OrnamentBook) -> dict[tuple[Group, Note], tuple[Form, ...]]:
    """Return every movement of the book by the group that it prints as and its melody note."""
    table: dict[tuple[Group, Note], tuple[Form, ...]] = {}
    for row in all_forms(book):
        key = flat_group(row[0]), row[0][-1].note
        table[key] = (*table.get(key, ()), row)
    return table


def all_forms(book: OrnamentBook) -> list[Form]:
    """Return every movement's slots and name, with the note before that they are for, if any."""
    rows: list[Form] = []
    for movement in book:
        rows += [(slots, movement, None) for slots in movement.fragments.values()]
        for approach, fragments in movement.approaches.items():
            rows += [(slots, movement, approach) for slots in fragments.values()]
    return rows


@lru_cache(maxsize=8)
def _written_out(book: OrnamentBook) -> dict[Fragment, tuple[Form, ...]]:
    """Return the movements with inner slots by their slots."""
    table: dict[Fragment, tuple[Form, ...]] = {}
    for row in all_forms(book):
        if len(row[0]) > 1:
            table[row[0]] = (*table.get(row[0], ()), row)
    return table


def recognise_opened(line: Line, book: OrnamentBook) -> Line:
    """Return the line with every opened movement gathered into one ornamented note.

    Notes count as an opened movement where, within one bar and beginning on a beat, they spell
    a movement of the book slot by slot, every one but the last is equally long and shorter than a
    beat, and the last is at least as long (longer, for a movement without any gracenote, since
    an even run of low A and low G is more likely a drill than a birl). The longest movement that
    fits is taken. The share of the beat becomes the line's `inner`.

    Parameters
    ----------
    line:
        As it is read, closed movements recognised.
    book:
        The movements to look for.

    Returns
    -------
    The line; as it was if it already holds closed movements with inner notes, movements opened to
    different shares, or an inner length of its own in ms, since one line has one `inner`.
    """
    has_other_inner = line.inner is not None and not line.inner.is_opened
    if has_other_inner or any(len(note.slots) > 1 for note in line.melody_notes):
        return line
    shares: set[Fraction] = set()
    bars: list[Bar] = []
    previous: Note | None = None
    for bar in line.bars:
        items, previous = _gathered(bar.items, previous, book, shares)
        bars.append(replace(bar, items=items))
    if len(shares) != 1:
        return line
    return replace(line, bars=tuple(bars), inner=Inner((Length(shares.pop(), "beat"),)))


def _gathered(
    items: Sequence[Item],
    previous: Note | None,
    book: OrnamentBook,
    shares: set[Fraction],
) -> tuple[tuple[Item, ...], Note | None]:
    gathered: list[Item] = []
    at, beat = 0, Fraction(0)
    while at < len(items):
        item = items[at]
        count, name = 1, None
        if isinstance(item, MelodyNote) and beat.denominator == 1 and item.beats < 1:
            count, name = _opened_at(items, at, previous, book)
        if name is not None and isinstance(item, MelodyNote):
            run = [one for one in items[at : at + count] if isinstance(one, MelodyNote)]
            shares.add(item.beats)
            item = MelodyNote(
                sum((one.beats for one in run), Fraction(0)),
                tuple(one.slots[0] for one in run),
                name,
                playing=book.playing(name),
            )
        gathered.append(item)
        previous = item.note if isinstance(item, MelodyNote) else previous
        beat += item.beats
        at += count
    return tuple(gathered), previous


def _opened_at(
    items: Sequence[Item], start: int, previous: Note | None, book: OrnamentBook
) -> tuple[int, str | None]:
    """Return how many items from `start` on make the longest opened movement, and its name."""
    forms = _written_out(book)
    first = items[start]
    best: tuple[int, str | None] = 1, None
    slots: Fragment = ()
    for end, item in enumerate(items[start:], start=start + 1):
        if not isinstance(item, MelodyNote) or item.tied or len(item.slots) != 1:
            break
        slots = (*slots, item.slots[0])
        has_gracenote = any(slot.gracenote is not None for slot in slots)
        is_even_run = item.beats == first.beats and not has_gracenote
        if item.beats >= first.beats and not is_even_run:
            read = preferred(forms.get(slots, ()), previous)
            if read is not None:
                best = end - start, read[1]
        if item.beats != first.beats:
            break
    return best
