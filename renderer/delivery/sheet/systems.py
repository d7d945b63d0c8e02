"""From engraved lines to systems: where lines are broken, how wide bars are, where notes stand.

A line takes one system where it fits, otherwise it is broken at bars, evenly. Lines with the same
bars get the same bar widths, so that their bar lines stand under each other down the page; a line
that is at most half as long takes the first bars' widths of the longer ones. Widths are in the
engraver's units.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from renderer.delivery.sheet.engraving import EngravedBar, EngravedLine
from renderer.delivery.sheet.layout import UNITS_A_SPACE
from renderer.delivery.sheet.pieces import Glyph
from renderer.delivery.sheet.spacing import BarSpacing, room, share_out, spacing_of

CLEF_LEFT = 0.5 * UNITS_A_SPACE
CLEF_ROOM = 3.4 * UNITS_A_SPACE
"""Of the clef at the start of every system."""

_TIGHTEST = 0.8
"""How much of its comfortable width a bar must have before a line is broken (judgement)."""

_WIDEST = 2.3
"""How many times its comfortable width a bar is stretched to at most (judgement)."""

_FEWEST_BARS = 4
_FEWER = 0.6
"""A broken line gets fewer bars a system, down to this share of what fits and to four, where that
makes all its systems equally long (judgement: phrases come in fours)."""

_NEARLY_FULL = 0.85
"""From this share of a system's width on, bars are stretched to fill it, so that no edge is ragged
(judgement)."""


@dataclass(frozen=True, slots=True)
class PlacedBar:
    """A bar of a system.

    Parameters
    ----------
    number:
        In its line, from 1.
    left, width:
        Of the bar, from the left edge of the system.
    staves:
        The engraved bar of each staff, from the top.
    places:
        Where the notes that begin at each time stand, from the left edge of the bar.
    """

    number: int
    left: float
    width: float
    staves: tuple[EngravedBar, ...]
    places: Mapping[Fraction, float]


@dataclass(frozen=True, slots=True)
class System:
    """A system: a line of music from edge to edge.

    Parameters
    ----------
    line:
        The line of the exercise, from 1.
    bars:
        In order.
    clef:
        Its glyph.
    """

    line: int
    bars: tuple[PlacedBar, ...]
    clef: Glyph

    @property
    def width(self) -> float:
        """From its left edge to its last bar line."""
        last = self.bars[-1]
        return last.left + last.width


@dataclass(frozen=True, slots=True)
class _StackedLine:
    """A line in all the forms that it is printed in, one under the other."""

    number: int
    forms: tuple[EngravedLine, ...]
    bars: tuple[tuple[EngravedBar, ...], ...]
    spacings: tuple[BarSpacing, ...]

    @property
    def signature(self) -> tuple[Fraction, ...]:
        return tuple(max(bar.length for bar in stack) for stack in self.bars)


def _groups(lines: Sequence[_StackedLine]) -> list[list[_StackedLine]]:
    """Return the lines whose bar lines are to stand under each other, the longest first."""
    groups: dict[tuple[Fraction, ...], list[_StackedLine]] = {}
    for line in sorted(lines, key=lambda line: -len(line.bars)):
        own = line.signature
        fitting = (
            key
            for key in groups
            if key == own or (2 * len(own) <= len(key) and key[: len(own)] == own)
        )
        groups.setdefault(next(fitting, own), []).append(line)
    return list(groups.values())


def _chunks(count: int, size: int) -> Iterator[range]:
    for start in range(0, count, size):
        yield range(start, min(count, start + size))


@dataclass(frozen=True, slots=True)
class _Position:
    """What the bars at one position of the systems of a group need."""

    least: float
    comfortable: float
    weight: float


def _positions(group: Sequence[_StackedLine], size: int) -> list[_Position]:
    positions = []
    for place in range(size):
        bars = [
            (line.spacings[number], line.signature[number])
            for line in group
            for number in range(place, len(line.bars), size)
        ]
        positions.append(
            _Position(
                max(spacing.least for spacing, _ in bars),
                max(spacing.comfortable for spacing, _ in bars),
                max(room(length) for _, length in bars),
            )
        )
    return positions


def _fits(positions: Sequence[_Position], width: float) -> bool:
    return sum(max(p.least, p.comfortable * _TIGHTEST) for p in positions) <= width


def _bars_a_system(group: Sequence[_StackedLine], width: float) -> int:
    count = len(group[0].bars)
    most = 1
    for size in range(count, 0, -1):
        if _fits(_positions(group, size), width):
            most = size
            break
    if most == count:
        return count
    for size in range(most, max(_FEWEST_BARS, math.ceil(most * _FEWER)) - 1, -1):
        if count % size == 0:
            return size
    return math.ceil(count / math.ceil(count / most))


def _widths(group: Sequence[_StackedLine], size: int, width: float) -> list[float]:
    positions = _positions(group, size)
    stretched = sum(position.comfortable for position in positions) * _WIDEST
    return share_out(
        width if stretched >= width * _NEARLY_FULL else stretched,
        [position.least for position in positions],
        [position.weight for position in positions],
    )


def _systems_of(line: _StackedLine, widths: Sequence[float]) -> Iterator[System]:
    count = len(line.bars)
    for chunk in _chunks(count, len(widths)):
        lefts = itertools.accumulate(widths, initial=CLEF_ROOM)
        bars = tuple(
            PlacedBar(
                number=number + 1,
                left=left,
                width=width,
                staves=line.bars[number],
                places=line.spacings[number].filling(width),
            )
            for number, left, width in zip(chunk, lefts, widths, strict=False)
        )
        yield System(line.number, bars, line.forms[0].clef)


def lay_systems(
    forms: Sequence[Sequence[EngravedLine]], width: float
) -> tuple[tuple[System, ...], ...]:
    """Return the systems of each line of an exercise.

    Parameters
    ----------
    forms:
        The engraved lines in each form that is printed, from the top staff; at least one form.
    width:
        Of a whole system. A bar that needs more gets it.
    """
    lines = []
    for number, stack in enumerate(zip(*forms, strict=True), start=1):
        bars = tuple(zip(*(line.bars for line in stack), strict=True))
        lines.append(_StackedLine(number, stack, bars, tuple(spacing_of(bar) for bar in bars)))
    systems: dict[int, tuple[System, ...]] = {}
    available = width - CLEF_ROOM
    for group in _groups(lines):
        size = _bars_a_system(group, available)
        widths = _widths(group, size, available)
        for line in group:
            systems[line.number] = tuple(_systems_of(line, widths))
    return tuple(systems[line.number] for line in lines)
