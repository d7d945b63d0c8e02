"""Laying a run into bars: which beat each note begins on and how long it is written.

Lengths are in beats of the meter. A run begins a bar; its last note is held to the end of its bar.
Without a meter the run is one bar of as many whole beats as it needs.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import lru_cache
from itertools import cycle

from renderer.notation.definition.lines import Rhythm
from renderer.notation.score import Bar, Item, MelodyNote, Meter, Slot

_SIMPLE: dict[Rhythm, tuple[Fraction, ...]] = {
    "dot-cut": (Fraction(3, 4), Fraction(1, 4)),
    "cut-dot": (Fraction(1, 4), Fraction(3, 4)),
    "triplets": (Fraction(1, 3),) * 3,
}
_COMPOUND: dict[Rhythm, tuple[Fraction, ...]] = {
    "dot-cut": (Fraction(1, 2), Fraction(1, 6), Fraction(1, 3)),
    "cut-dot": (Fraction(1, 6), Fraction(1, 2), Fraction(1, 3)),
    "triplets": (Fraction(1, 3),) * 3,
}
"""Shares of a beat. In compound meters a dotted quaver, a semiquaver and a quaver fill the beat
(common practice)."""


def shares(rhythm: Rhythm, notes_per_beat: int, *, compound: bool) -> tuple[Fraction, ...]:
    """Return the shares of a beat that notes take in turn; they fill one beat."""
    if rhythm == "even":
        return (Fraction(1, notes_per_beat),) * notes_per_beat
    return (_COMPOUND if compound else _SIMPLE)[rhythm]


def into_bars(
    notes: Sequence[MelodyNote], meter: Meter | None, rhythm: tuple[Fraction, ...]
) -> Iterator[Bar]:
    """Lay notes into bars.

    Parameters
    ----------
    notes:
        At least one; their `beats` are not looked at.
    meter:
        None makes one bar of all.
    rhythm:
        The shares that the notes take in turn, as from `shares`.

    Yields
    ------
    The bars. A last note that begins off the beat is tied over to the next beat.
    """
    for row in _layout(len(notes), meter, rhythm):
        items: list[Item] = []
        for index, beats, held in row.places:
            note = notes[index]
            items.append(replace(note, beats=beats))
            if held:
                items.append(MelodyNote(held, (Slot(note.note),), tied=True))
        yield Bar(tuple(items), row.meter)


@dataclass(frozen=True, slots=True)
class _Row:
    """A bar of a run: its notes by their index, each with its beats and those of a tie after it."""

    meter: Meter
    places: tuple[tuple[int, Fraction, Fraction], ...]


@lru_cache(maxsize=256)
def _layout(count: int, meter: Meter | None, rhythm: tuple[Fraction, ...]) -> tuple[_Row, ...]:
    """Return where the notes of a run lie; the lines of a book are laid out alike."""
    lengths = [share for _, share in zip(range(count), cycle(rhythm), strict=False)]
    total = sum(lengths, Fraction(0))
    meter = meter or Meter(math.ceil(total), 4)
    whole = meter.beats
    end = math.ceil(total / whole) * whole
    last_start = total - lengths[-1]
    lengths[-1] = end - last_start

    rows: list[_Row] = []
    places: list[tuple[int, Fraction, Fraction]] = []
    start = Fraction(0)
    for index, beats in enumerate(lengths):
        if start and start % whole == 0:
            rows.append(_Row(meter, tuple(places)))
            places = []
        next_beat = math.floor(start) + 1
        held = Fraction(0)
        if start.denominator != 1 and start + beats > next_beat:
            held = start + beats - next_beat
        places.append((index, beats - held, held))
        start += beats
    return (*rows, _Row(meter, tuple(places)))
