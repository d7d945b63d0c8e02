"""Each note of an exercise with what follows it, alike ones once.

How much room a note has depends on itself and on what comes next, and in a book of thousands of
lines the same notes follow each other again and again. What is asked of every note can be asked of
the few successions that there are.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterator
from dataclasses import dataclass, replace

from renderer.notation.length import Length
from renderer.notation.playing import Inner
from renderer.notation.score import Bar, Exercise, Item, Line, MelodyNote
from renderer.timing.soundings import stretches_of


@dataclass(frozen=True, slots=True)
class Successions:
    """The successions of an exercise whose lines follow themselves without a gap.

    Parameters
    ----------
    exercise:
        A line for each: its first bar is a note or rest, the last one what follows, any between
        what is tied to the note.
    of_lines:
        For each line of the exercise asked about, the indices of its successions.
    """

    exercise: Exercise
    of_lines: tuple[frozenset[int], ...]


def successions(exercise: Exercise) -> Successions:
    """Return the successions of an exercise, its repeats played out."""
    names = _Names()
    known: dict[Hashable, int] = {}
    found: list[Line] = []
    of_lines = []
    for line, stretches in zip(exercise.lines, stretches_of(exercise), strict=True):
        how = (names.of(line.inner), line.beat, names.of(line.gracenote), line.placement)
        bars = [
            (item, stretch, bar)
            for bar, stretch in zip(line.bars, stretches, strict=True)
            for item in bar.items
        ]
        keys = [(names.of(item), *stretch.as_integer_ratio()) for item, stretch, _ in bars]
        its_own = set()
        for places in _followed([item for item, _, _ in bars]):
            key = (how, *(keys[place] for place in places))
            if key not in known:
                known[key] = len(found)
                pieces = tuple(
                    Bar((item,), bar.meter, exercise.tempo / stretch)
                    for item, stretch, bar in (bars[place] for place in places)
                )
                found.append(replace(line, bars=pieces))
            its_own.add(known[key])
        of_lines.append(frozenset(its_own))
    return Successions(replace(exercise, lines=tuple(found)), tuple(of_lines))


def _followed(items: list[Item]) -> Iterator[tuple[int, ...]]:
    """Yield the places of each note, of what is tied to it and of what follows, round the line."""
    sounded = [
        place
        for place, item in enumerate(items)
        if not (isinstance(item, MelodyNote) and item.tied)
    ]
    for number, place in enumerate(sounded):
        after = sounded[(number + 1) % len(sounded)]
        length = (after - place) % len(items) or len(items)
        yield tuple((place + step) % len(items) for step in range(length + 1))


class _Names:
    """Numbers that stand for values: equal values have one, and each object is looked at once."""

    def __init__(self) -> None:
        self._of_objects: dict[int, int] = {}
        self._of_values: dict[Hashable, int] = {}

    def of(self, value: Item | Inner | Length | None) -> int:
        """Return the number of a value, which the caller keeps meanwhile."""
        name = self._of_objects.get(id(value))
        if name is None:
            # How a movement is played is no part of what makes notes equal, but of their room.
            whole = (value, value.playing if isinstance(value, MelodyNote) else None)
            name = self._of_values.setdefault(whole, len(self._of_values))
            self._of_objects[id(value)] = name
        return name
