"""From engraved lines to systems: where lines are broken, how wide bars are, where notes stand.

A line takes one system where it fits, otherwise it is broken at bars, evenly. Lines with the same
bars get the same bar widths, so that their bar lines stand under each other down the page; a line
that is at most half as long, and too short to fill a system, takes the first bars' widths of the
longer ones; so do a few lines of a single bar. A line that would
stretch and crush the bars of others that way, or break them into more systems, is set by itself.
Neighbours that are too short for a row get half of one each, and where lines are to be paired, so
do all neighbours that fit. A pickup takes what it needs of the first system. Widths are in the
engraver's units.
"""

from __future__ import annotations

import functools
import itertools
import math
from collections.abc import Collection, Container, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from renderer.delivery.sheet.engraving import EngravedBar, EngravedLine
from renderer.delivery.sheet.layout import UNITS_A_SPACE
from renderer.delivery.sheet.phrases import (
    NEARLY_FULL,
    WIDEST,
    Needs,
    TuneBar,
    rows_of_tune,
    widths_of,
)
from renderer.delivery.sheet.pieces import Glyph
from renderer.delivery.sheet.spacing import BarSpacing, meter_room, room, spacing_of
from renderer.notation.score import PICKUP

CLEF_LEFT = 0.5 * UNITS_A_SPACE
CLEF_ROOM = 3.4 * UNITS_A_SPACE
"""Of the clef at the start of every system."""

_TIGHTEST = 0.8
"""How much of its comfortable width a bar must have before a line is broken (judgement)."""

_PAIRED = 0.72
"""The same for lines that could fill a row and share it to save a page (judgement)."""

_TIGHT_PAIR = 0.62
"""The same where else a single bar would stand in each system, or one be left over from systems of
three or more (judgement)."""

_FEWEST_BARS = 4
_FEWER = 0.6
"""A broken line gets fewer bars a system, down to this share of what fits and to four, where that
makes all its systems equally long (judgement: phrases come in fours)."""

_FEWEST_BROKEN = 2
_LAST_SYSTEM = 0.6
"""Where a line is broken anew, its systems have so many bars, and the last one at least this share
of the others' (judgement)."""

_UNEVEN = 1.5
"""How much more than another bar of its line a bar may be stretched to stand under those of other
lines (judgement; on A4, the shipped exercises' lines of one pattern were found to stay under 1.48,
and what looked crushed to be above 1.5)."""


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
    indent:
        How far in the staves begin, to the right of their labels.
    is_numbered:
        Whether its first bar has its number even where it is the line's first.
    """

    line: int
    bars: tuple[PlacedBar, ...]
    clef: Glyph
    indent: float = 0.0
    is_numbered: bool = False

    @property
    def width(self) -> float:
        """From its left edge to its last bar line."""
        last = self.bars[-1]
        return last.left + last.width

    @property
    def shown_number(self) -> str:
        """The number of its first whole bar, where that is the score's own or the line goes on."""
        first = next((bar.staves[0] for bar in self.bars if _is_counted(bar.staves[0])), None)
        if first is None:
            return ""
        goes_on = self.is_numbered or self.bars[0].number > 1
        return first.number if goes_on or first.has_own_number else ""


def _is_counted(bar: EngravedBar) -> bool:
    """Whether a number is its own: not so of a pickup, nor where a bar goes on after a repeat."""
    return not bar.offset and bar.number not in ("", PICKUP)


@dataclass(frozen=True, slots=True)
class StackedLine:
    """A line in all the forms that it is printed in, one under the other, with what it needs.

    `tune` is the number of the tune that it is a part of; 0 for a line of an exercise.
    """

    number: int
    forms: tuple[EngravedLine, ...]
    bars: tuple[tuple[EngravedBar, ...], ...]
    spacings: tuple[BarSpacing, ...]
    needs: tuple[Needs, ...]
    tune: int = 0

    @property
    def tune_bars(self) -> tuple[TuneBar, ...]:
        """Its bars, for `rows_of_tune`."""
        return tuple(
            TuneBar(needs, _length(stack), stack[0].begins_row)
            for needs, stack in zip(self.needs, self.bars, strict=True)
        )

    @property
    def signature(self) -> tuple[Fraction, ...]:
        return tuple(_length(stack) for stack in self.bars)


def _length(stack: Sequence[EngravedBar]) -> Fraction:
    return max(bar.length for bar in stack)


def _stacked(number: int, forms: tuple[EngravedLine, ...], tune: int) -> StackedLine:
    bars = tuple(zip(*(line.bars for line in forms), strict=True))
    spacings = tuple(spacing_of(stack) for stack in bars)
    needs = tuple(
        Needs(
            spacing.least,
            spacing.nearly_even,
            spacing.least_even,
            spacing.comfortable,
            spacing.comfortable - meter_room(stack[0]),
            room(_length(stack)),
        )
        for spacing, stack in zip(spacings, bars, strict=True)
    )
    return StackedLine(number, forms, bars, spacings, needs, tune)


@dataclass(frozen=True, slots=True)
class _Group:
    """Lines whose bar lines stand under each other, and the most that each bar of them needs."""

    lines: tuple[StackedLine, ...]
    needs: tuple[Needs, ...]
    has_pickup: bool

    def joined_by(self, line: StackedLine, width: float) -> _Group | None:
        """Return the group with one more line, no longer than its own; None if it does not suit."""
        pairs = zip(self.needs, line.needs, strict=False)
        needs = (*(a.at_least(b) for a, b in pairs), *self.needs[len(line.needs) :])
        grid = _grid(needs, self.has_pickup, width)
        # As long as the group's widths stay, they still suit its other lines.
        changed = (line,) if needs == self.needs else (*self.lines, line)
        if all(_suits(one.needs, grid, width) for one in changed):
            return _Group((*self.lines, line), needs, self.has_pickup)
        return None


@dataclass(frozen=True, slots=True)
class _Grid:
    """How wide the bars of systems are.

    A pickup stands before the bars of the first system (`pickup` wide, 0 without one), so that its
    other bars are narrower than those of the systems that follow.
    """

    pickup: float
    first: tuple[float, ...]
    others: tuple[float, ...]

    def rows(self, count: int) -> Iterator[tuple[range, tuple[float, ...]]]:
        """Yield the bars of each system of a line of so many bars, and how wide they are."""
        at = 0
        if self.pickup:
            at = min(count, len(self.first) + 1)
            yield range(at), (self.pickup, *self.first)
        for start in range(at, count, len(self.others)):
            yield range(start, min(count, start + len(self.others))), self.others


def _grid(needs: Sequence[Needs], has_pickup: bool, width: float, most: int | None = None) -> _Grid:
    """Return how wide the bars of systems are; `most` is how many a system has at most."""
    pickup = needs[0].comfortable if has_pickup else 0.0
    rest = needs[1:] if has_pickup else needs
    size = _bars_a_system(rest, width - pickup)
    size = size if most is None else min(size, most)
    first = tuple(_widths(rest, size, width - pickup))
    return _Grid(pickup, first, tuple(_widths(rest, size, width)) if pickup else first)


def _begins_with_a_pickup(lengths: Sequence[Fraction]) -> bool:
    return len(lengths) > 2 and lengths[0] * 2 <= lengths[1]


def _suits(needs: Sequence[Needs], grid: _Grid, width: float) -> bool:
    """Whether the widths of a group's bars leave a line about as even as it would be alone.

    And in no more systems.
    """
    if grid.pickup:
        needs, width = needs[1:], width - grid.pickup
    if not needs:
        return True
    size = len(grid.first)
    count = len(needs)
    if math.ceil(count / size) > math.ceil(count / _bars_a_system(needs, width)):
        return False
    alone = _widths(needs, min(size, len(needs)), width)
    stretched = [wide / own for wide, own in zip(grid.first, alone, strict=False)]
    return max(stretched) <= min(stretched) * _UNEVEN


def _groups(lines: Sequence[StackedLine], width: float) -> list[_Group]:
    """Return the lines whose bar lines are to stand under each other.

    All lines of the same bars stand under longer ones, or none does.
    """
    alike: dict[tuple[Fraction, ...], list[StackedLine]] = {}
    for line in sorted(lines, key=lambda line: -len(line.bars)):
        alike.setdefault(line.signature, []).append(line)
    groups: dict[tuple[Fraction, ...], list[_Group]] = {}
    for own, members in alike.items():
        may_join = all(_is_short(line, width) for line in members) or _are_few(members, lines)
        for key in list(groups) if may_join else ():
            if 2 * len(own) <= len(key) and key[: len(own)] == own:
                joined = _joined(groups[key], members, width)
                if len(joined) == len(groups[key]):
                    groups[key] = joined
                    break
        else:
            groups[own] = _joined([], members, width)
    return [group for rivals in groups.values() for group in rivals]


def _joined(groups: Sequence[_Group], lines: Sequence[StackedLine], width: float) -> list[_Group]:
    """Return groups with more lines, each in the first that it suits, else in one of its own."""
    found = list(groups)
    for line in lines:
        for index, group in enumerate(found):
            joined = group.joined_by(line, width)
            if joined is not None:
                found[index] = joined
                break
        else:
            found.append(_Group((line,), line.needs, _begins_with_a_pickup(line.signature)))
    return found


def _are_few(members: Sequence[StackedLine], lines: Sequence[StackedLine]) -> bool:
    """Whether lines are of a bar each, which would look stretched beside many longer ones."""
    return len(members[0].bars) == 1 and 3 * len(members) <= len(lines)


def _is_short(line: StackedLine, width: float) -> bool:
    """Whether a line cannot fill a width, however far it is stretched."""
    return _stretched(line.needs) < width * NEARLY_FULL


def _positions(needs: Sequence[Needs], size: int) -> list[Needs]:
    """Return what the bars at each position of systems of so many bars need."""
    return [functools.reduce(Needs.at_least, needs[place::size]) for place in range(size)]


def _fits(positions: Sequence[Needs], width: float, tightest: float = _TIGHTEST) -> bool:
    return sum(max(p.nearly_even, p.unsigned * tightest) for p in positions) <= width


def _bars_a_system(needs: Sequence[Needs], width: float) -> int:
    count = len(needs)
    most = 1
    for size in range(count, 0, -1):
        if _fits(_positions(needs, size), width):
            most = size
            break
    if most == 1 < count and _fits(_positions(needs, 2), width, _TIGHT_PAIR):
        most = 2
    if most == count:
        return count
    for size in range(most, max(_FEWEST_BARS, math.ceil(most * _FEWER)) - 1, -1):
        if count % size == 0:
            return size
    systems = math.ceil(count / most)
    size = math.ceil(count / systems)
    if count - size * (systems - 1) == 1 and size > _FEWEST_BROKEN:
        fuller = math.ceil(count / (systems - 1))
        if _fits(_positions(needs, fuller), width, _TIGHT_PAIR):
            return fuller
    return size


def _stretched(positions: Sequence[Needs]) -> float:
    return sum(position.comfortable for position in positions) * WIDEST


def _widths(needs: Sequence[Needs], size: int, width: float) -> list[float]:
    return widths_of(_positions(needs, size), width)


def _systems_of(
    line: StackedLine, rows: Iterable[tuple[range, tuple[float, ...]]], indent: float
) -> Iterator[System]:
    for chunk, widths in rows:
        lefts = itertools.accumulate(widths, initial=indent + CLEF_ROOM)
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
        yield System(line.number, bars, line.forms[0].clef, indent, line.tune > 0)


def stacked_lines(
    forms: Sequence[Sequence[EngravedLine]],
    merged: Container[int] = (),
    tunes: Sequence[int] = (),
) -> tuple[StackedLine, ...]:
    """Return the lines of an exercise with what they need, whatever the width of a system.

    Parameters
    ----------
    forms:
        The engraved lines in each form that is printed, from the top staff; at least one form.
    merged:
        The numbers of the lines that look alike in all forms and are printed once.
    tunes:
        The number of the tune, from 1, that each line is a part of; empty for an exercise.
    """
    stacks = enumerate(zip(*forms, strict=True), start=1)
    return tuple(
        _stacked(
            number, stack[:1] if number in merged else stack, tunes[number - 1] if tunes else 0
        )
        for number, stack in stacks
    )


def halved_lines(
    lines: Sequence[StackedLine],
    width: float,
    half: float,
    indent: float = 0.0,
    *,
    paired: bool = False,
) -> frozenset[int]:
    """Return the numbers of the lines that take half a row; arguments as for `lay_systems`.

    Of lines of the same bars all do or none, unless they are to be paired: then those do that fit,
    but for an odd one that could fill its row as others do.
    """
    head = indent + CLEF_ROOM
    fitting = {
        line.number: line
        for line in lines
        if not line.tune and _fits(line.needs, half - head, _PAIRED if paired else _TIGHTEST)
    }
    short = {number for number, line in fitting.items() if _is_short(line, width - head)}
    whole = {line.signature for line in lines if line.number not in (fitting if paired else short)}
    if paired:
        halved = {number for number in fitting if {number - 1, number + 1} & fitting.keys()}
        halved -= {number for number in _odd(halved) - short if fitting[number].signature in whole}
    else:
        short = {number for number in short if fitting[number].signature not in whole}
        halved = {number for number in short if {number - 1, number + 1} & short}
    columns = {fitting[number].signature for number in halved}
    alone = {number for number in short - halved if fitting[number].signature in columns}
    return frozenset(halved | alone)


def _odd(numbers: Collection[int]) -> set[int]:
    """Return those of some lines that are left without a partner, neighbours paired in order."""
    odd: set[int] = set()
    for number in sorted(numbers):
        if number - 1 in odd:
            odd.remove(number - 1)
        else:
            odd.add(number)
    return odd


def lay_systems(
    lines: Sequence[StackedLine],
    width: float,
    half: float,
    indent: float = 0.0,
    *,
    paired: bool = False,
    phrase: int = 4,
    only_phrases: bool = False,
    alike: bool = False,
) -> tuple[tuple[System, ...], ...]:
    """Return the systems of each line of an exercise.

    Parameters
    ----------
    lines:
        From `stacked_lines`.
    width, half:
        Of a whole system, and of one that shares its row. A bar that needs more gets it.
    indent:
        How much of it the labels of the staves take.
    paired:
        Whether neighbouring lines share a row wherever both fit half of one, and not only where
        they are too short to fill one.
    phrase:
        How many bars of a tune stand in a row where its source does not say.
    only_phrases:
        Whether all lines have rows of as many bars, whatever their source says.
    alike:
        Whether lines of the same bars are broken alike, where none of them needs a system for each
        bar.
    """
    head = indent + CLEF_ROOM
    room, half_room = width - head, half - head
    halved = halved_lines(lines, width, half, indent, paired=paired)
    tune_of = {line.number: 1 if only_phrases else line.tune for line in lines}
    systems: dict[int, tuple[System, ...]] = {}
    for tune in dict.fromkeys(filter(None, tune_of.values())):
        parts = {line.number: line for line in lines if tune_of[line.number] == tune}
        bars = {number: line.tune_bars for number, line in parts.items()}
        for number, rows in rows_of_tune(bars, room, phrase, keeps_rows=not only_phrases).items():
            placed = ((row.bars, row.widths) for row in rows)
            systems[number] = tuple(_systems_of(parts[number], placed, indent))
    for members, available in (
        ([line for line in lines if not tune_of[line.number] and line.number not in halved], room),
        (
            [
                _tightened(one) if paired else one
                for one in lines
                if one.number in halved and not only_phrases
            ],
            half_room,
        ),
    ):
        groups = _groups(members, available)
        most = _alike(groups, available) if alike else {}
        for group in groups:
            size = most.get(group.lines[0].signature)
            grid = _grid(group.needs, group.has_pickup, available, size)
            for line in group.lines:
                systems[line.number] = tuple(_systems_of(line, grid.rows(len(line.bars)), indent))
    return tuple(systems[line.number] for line in lines)


def _alike(groups: Sequence[_Group], width: float) -> dict[tuple[Fraction, ...], int]:
    """Return how many bars a system has in all lines of the same bars.

    That is as many as the densest of them has, unless that leaves its last system far shorter.
    """
    sizes: dict[tuple[Fraction, ...], int] = {}
    for group in groups:
        size = len(_grid(group.needs, group.has_pickup, width).first)
        count = len(group.needs) - group.has_pickup
        key = group.lines[0].signature
        if size > 1 and is_even(count, math.ceil(count / size)):
            sizes[key] = min(size, sizes.get(key, size))
    return sizes


def is_even(bars: int, systems: int) -> bool:
    """Whether a line of so many bars can be broken into so many systems about equally long."""
    most = math.ceil(bars / systems)
    return most >= _FEWEST_BROKEN and bars - most * (systems - 1) >= most * _LAST_SYSTEM


def _tightened(line: StackedLine) -> StackedLine:
    """Return a line that shares its row, with needs by which it is not broken in that room."""
    share = _PAIRED / _TIGHTEST
    needs = tuple(
        replace(one, comfortable=one.comfortable * share, unsigned=one.unsigned * share)
        for one in line.needs
    )
    return replace(line, needs=needs)


def rows_of(lines: Sequence[Sequence[System]], half: float) -> tuple[tuple[int, ...], ...]:
    """Return which lines share a row, by their indexes: two neighbours that take half of it each.

    Parameters
    ----------
    lines:
        The systems of each line.
    half:
        The width of a system that shares its row.
    """
    rows: list[tuple[int, ...]] = []
    for index, systems in enumerate(lines):
        alone = bool(rows) and len(rows[-1]) == 1
        if alone and is_half(systems, half) and is_half(lines[index - 1], half):
            rows[-1] = (*rows[-1], index)
        else:
            rows.append((index,))
    return tuple(rows)


def is_half(systems: Sequence[System], half: float) -> bool:
    """Whether a line takes half a row at most."""
    # The sum of bars that fill a half may come out a hair above it.
    return len(systems) == 1 and systems[0].width <= half + 0.5
