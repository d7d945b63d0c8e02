"""Enumerating runs: a choice of runs in, every run of that kind out.

A run is a succession of different notes that rises, falls, or turns once. The combinatorics: `n`
notes of `m` are `comb(m, n)` rising runs, as many falling ones and `2**n - 4` times as many turning
ones (each note but the extreme one stands on either side of it, both sides being filled).
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations, pairwise, product

from renderer.notation.definition.pattern import Direction, Runs
from renderer.notation.pitch import Note

Run = tuple[Note, ...]


def span_of(notes: Run) -> int:
    """The steps between a run's lowest and highest note: 2 for a third."""
    return max(notes) - min(notes)


def direction_of(notes: Run) -> Direction:
    """Whether a run rises, falls or turns; a note repeated at once counts for neither."""
    steps = {b > a for a, b in pairwise(notes) if a != b}
    if len(steps) == 2:
        return "turning"
    return "rising" if steps != {False} else "falling"


def _turning(chosen: Run) -> Iterator[Run]:
    """Yield the runs of these notes (from the lowest) that turn once, at the top or the bottom."""
    for sides in product((True, False), repeat=len(chosen) - 1):
        if all(sides) or not any(sides):
            continue
        *below, top = chosen
        before = [note for note, first in zip(below, sides, strict=True) if first]
        after = [note for note, first in zip(below, sides, strict=True) if not first]
        yield (*before, top, *reversed(after))
        bottom, *above = chosen
        before = [note for note, first in zip(above, sides, strict=True) if first]
        after = [note for note, first in zip(above, sides, strict=True) if not first]
        yield (*reversed(before), bottom, *after)


def enumerate_runs(choice: Runs) -> tuple[Run, ...]:
    """Return every run of the kind, each once, by pitch.

    Parameters
    ----------
    choice:
        What is wanted; its `order` and `limit` are for whoever lays the runs into music.

    Returns
    -------
    Rising runs first, then falling, then turning ones; within each by their notes from the lowest.
    """
    spans = set(choice.spans)
    chosen = [
        notes
        for notes in combinations(sorted(set(choice.among)), choice.notes)
        if span_of(notes) in spans
    ]
    ways: dict[Direction, list[Run]] = {
        "rising": chosen,
        "falling": [notes[::-1] for notes in chosen],
        "turning": [run for notes in chosen for run in _turning(notes)],
    }
    return tuple(
        run
        for direction in ("rising", "falling", "turning")
        if direction in choice.directions
        for run in sorted(ways[direction])
        if (not choice.start or run[0] in choice.start)
        and (not choice.end or run[-1] in choice.end)
    )
