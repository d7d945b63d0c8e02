"""Where notes stand in a bar and how wide bars are: pure arithmetic in the engraver's units.

The classic model of rods and springs: neighbours keep at least a rod's length apart, and what room
is left goes to the springs between them, each as strong as the note value is short. A note of twice
the length gets about half as much room again, not twice (common practice of engravers). Notes of a
bar that are equally long get equal room, whatever gracenotes stand between them: the group that
needs most says how much, so that an even rhythm looks even. Only a bar that is too narrow for that
lets gracenotes push notes apart. Staves that are printed one under the other share their springs,
so that what sounds together stands together; equal notes of each of them get equal room, so that a
note that one staff opens out is as wide as its equals.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from renderer.delivery.sheet.bar_lines import DOUBLE_ROOM, FINAL_ROOM, REPEAT_ROOM
from renderer.delivery.sheet.engraving import Column, EngravedBar
from renderer.delivery.sheet.layout import UNITS_A_SPACE

_GAP = 0.65 * UNITS_A_SPACE
"""Between the extents of neighbours."""

_LEFT_PAD = 0.9 * UNITS_A_SPACE
_RIGHT_PAD = 1.0 * UNITS_A_SPACE
_METER_PAD = 0.85 * UNITS_A_SPACE
"""Between a bar line and what follows or precedes it, and around a time signature."""

_EIGHTH_ROOM = 3.0 * UNITS_A_SPACE
_GROWTH = 0.6
"""Comfortable room of an eighth, and the power of the note value that room grows with (judgement,
after common practice)."""

_TIGHT = 0.6
"""The force up to which a narrow bar's springs are stretched before its notes are made even
(judgement)."""

_NEARLY = 0.875
"""How much of the room that equal notes need to stand evenly they have at least where a line would
else be broken: the largest of their distances is then 1.143 times the smallest (judgement)."""

_PRECISION = 0.5
_MOST_ROUNDS = 50
"""In which staves take over each other's room."""


def meter_room(bar: EngravedBar) -> float:
    """The room that a bar's time signature takes; 0 without one."""
    return bar.meter_width + _METER_PAD if bar.meter_width else 0.0


def room(length: Fraction) -> float:
    """The comfortable distance from a note of this length (of a whole note) to the next."""
    return float(_EIGHTH_ROOM * (float(length) * 8) ** _GROWTH)


@dataclass(frozen=True, slots=True)
class _Rod:
    before: int
    after: int
    length: float


@dataclass(frozen=True, slots=True)
class BarSpacing:
    """The rods and springs of a bar, or of bars that stand one under the other.

    Parameters
    ----------
    times:
        Where something begins, as shares of a whole note, in order; the bar's end last.
    rods:
        Least distances, in the order in which they end; index -1 is the bar's left edge.
    springs:
        From each time to the next, at force 1.
    even:
        The room from each time to the next that lets equally long notes stand evenly.
    is_stacked:
        Whether several staves share them. Their equal notes may hold unlike numbers of each other's
        notes, so all room between is stretched at once, from `even` to `springs`.
    """

    times: tuple[Fraction, ...]
    rods: tuple[_Rod, ...]
    springs: tuple[float, ...]
    even: tuple[float, ...]
    is_stacked: bool = False

    def _steps(self, force: float, evenness: float) -> list[float]:
        """The room from each time to the next, however much of it the rods need."""
        pairs = zip(self.springs, self.even, strict=True)
        if not self.is_stacked:
            return [max(force * spring, evenness * even) for spring, even in pairs]
        if force <= _TIGHT:
            return [force / _TIGHT * even for _, even in pairs]
        share = min(1.0, (force - _TIGHT) / (1 - _TIGHT))
        return [max(1.0, force) * (even + share * (spring - even)) for spring, even in pairs]

    def places(self, force: float, evenness: float = 1.0) -> list[float]:
        """Return the x of each time at a force, the bar's end last.

        Parameters
        ----------
        force:
            How far the springs are stretched.
        evenness:
            How much of the room that equally long notes need to stand evenly they get: 0 to 1.
        """
        xs: list[float] = []
        steps = self._steps(force, evenness)
        rods = iter(self.rods)
        rod = next(rods, None)
        for index in range(len(self.times)):
            place = xs[index - 1] + steps[index - 1] if index else 0.0
            while rod is not None and rod.after == index:
                edge = 0.0 if rod.before < 0 else xs[rod.before]
                place = max(place, edge + rod.length)
                rod = next(rods, None)
            xs.append(place)
        return xs

    @property
    def least(self) -> float:
        """The least width of the bar, its notes pushed apart by their gracenotes alone."""
        return self.places(0, 0)[-1]

    @property
    def nearly_even(self) -> float:
        """The least width at which notes of equal length stand about evenly."""
        return self.places(_TIGHT * _NEARLY if self.is_stacked else _TIGHT, _NEARLY)[-1]

    @property
    def least_even(self) -> float:
        """The least width at which notes of equal length stand evenly."""
        return self.places(_TIGHT)[-1]

    @property
    def comfortable(self) -> float:
        """The width at force 1."""
        return self.places(1)[-1]

    def filling(self, width: float) -> Mapping[Fraction, float]:
        """Return the x of each time in a bar of this width; of its least width if that is more.

        A bar that grows is first given some room by its notes' lengths, then evenness, then more
        room.
        """
        if self.places(_TIGHT, 0)[-1] >= width:
            places = self._found(width, 0.0, _TIGHT, lambda force: self.places(force, 0))
        elif self.places(_TIGHT)[-1] >= width:
            places = self._found(width, 0.0, 1.0, lambda even: self.places(_TIGHT, even))
        else:
            high = 1.0
            while self.places(high)[-1] < width and high < 1000:
                high *= 2
            places = self._found(width, _TIGHT, high, self.places)
        places[-1] = max(width, places[-1])
        return dict(zip(self.times, places, strict=True))

    @staticmethod
    def _found(
        width: float, low: float, high: float, places: Callable[[float], list[float]]
    ) -> list[float]:
        """Return the widest places within a width, by halving what they depend on."""
        below, above = places(low), places(high)
        while high - low > 1e-4 and above[-1] - below[-1] > _PRECISION:
            middle = (low + high) / 2
            found = places(middle)
            if found[-1] < width:
                low, below = middle, found
            else:
                high, above = middle, found
        return below


def _rods(
    columns: Sequence[Column], index: Mapping[Fraction, int], start: float, end_pad: float
) -> list[_Rod]:
    rods = []
    before, reach = -1, start
    for column in columns:
        box = column.box
        after = index[column.start]
        rods.append(_Rod(before, after, reach + column.anchor - box.left))
        before, reach = after, box.right - column.anchor + _GAP
    last = reach - _GAP + end_pad if before >= 0 else start + _EIGHTH_ROOM + end_pad
    rods.append(_Rod(before, max(index.values()), last))
    return rods


def _even(
    times: Sequence[Fraction], rods: Sequence[_Rod], springs: Sequence[float]
) -> tuple[float, ...]:
    """Return the room from each time to the next that lets equally long notes stand evenly.

    As much as the rod between any two notes needs that are no farther apart in time. The last note
    is not asked: no gracenotes stand between it and the bar line.
    """
    lengths = [after - before for before, after in itertools.pairwise(times)]
    needed: dict[Fraction, float] = {}
    for rod in rods:
        if rod.before < 0 or rod.after == len(lengths):
            continue
        between = range(rod.before, rod.after)
        together = sum(springs[index] for index in between)
        for index in between:
            share = rod.length * springs[index] / together
            needed[lengths[index]] = max(needed.get(lengths[index], 0.0), share)
    inner = (
        max((room for other, room in needed.items() if other <= length), default=0.0)
        for length in lengths[:-1]
    )
    return (*inner, 0.0)


def _raised(steps: list[float], lengths: Sequence[Fraction], span: range, least: float) -> None:
    """Raise the steps of a span until they sum to `least`, those that are shortest for their length
    of time first."""
    order = sorted(span, key=lambda index: steps[index] / float(lengths[index]))
    low, length = 0.0, 0.0
    kept = sum(steps[index] for index in span)
    for number, index in enumerate(order, start=1):
        kept -= steps[index]
        length += float(lengths[index])
        low = (least - kept) / length
        if number == len(order):
            break
        following = order[number]
        if low * float(lengths[following]) <= steps[following]:
            break
    for index in span:
        steps[index] = max(steps[index], low * float(lengths[index]))


def _evened(
    steps: Sequence[float],
    times: Sequence[Fraction],
    staves: Sequence[Sequence[Column]],
    index: Mapping[Fraction, int],
) -> tuple[float, ...]:
    """Return steps, raised until equally long notes of each staff have equal room.

    The last note of a bar, whose room the bar line ends, gets no more itself, but where another
    staff opens it out, its equals get as much. Room in proportion to time is even on every staff
    and is never exceeded, so this ends.
    """
    lengths = [after - before for before, after in itertools.pairwise(times)]
    equals: list[tuple[list[range], range]] = []
    for columns in staves:
        spans: dict[Fraction, list[range]] = {}
        for one, following in itertools.pairwise(columns):
            span = range(index[one.start], index[following.start])
            spans.setdefault(one.length, []).append(span)
        for length, alike in spans.items():
            last = columns[-1]
            begin = index[last.start] if last.length == length else len(lengths)
            equals.append((alike, range(begin, len(lengths))))
    raised = list(steps)
    for _ in range(_MOST_ROUNDS):
        before = list(raised)
        for alike, last_span in equals:
            rooms = [sum(raised[at] for at in span) for span in (*alike, last_span)]
            for span, own in zip(alike, rooms, strict=False):
                if own < max(rooms):
                    _raised(raised, lengths, span, max(rooms))
        if all(now - old < _PRECISION for now, old in zip(raised, before, strict=True)):
            break
    return tuple(raised)


def spacing_of(bars: Sequence[EngravedBar]) -> BarSpacing:
    """Return the rods and springs of bars that stand one under the other; at least one."""
    length = max(bar.length for bar in bars)
    spaced = [[column for column in bar.columns if not column.fills_bar] for bar in bars]
    starts = {column.start for columns in spaced for column in columns}
    times = (*sorted(starts), length) if starts else (Fraction(0), length)
    index = {time: number for number, time in enumerate(times)}
    end_pad = _RIGHT_PAD
    if bars[0].signs.closes:
        end_pad += REPEAT_ROOM
    elif bars[0].ends_line or bars[0].signs.double:
        end_pad += FINAL_ROOM if bars[0].ends_exercise else DOUBLE_ROOM
    rods: list[_Rod] = []
    for bar, columns in zip(bars, spaced, strict=True):
        start = _LEFT_PAD + meter_room(bar)
        start += REPEAT_ROOM if bar.signs.opens else 0.0
        rods += _rods(columns, index, start, end_pad)
    rods.sort(key=lambda rod: rod.after)
    springs = tuple(room(after - before) for before, after in itertools.pairwise(times))
    even = _even(times, rods, springs)
    if len(bars) == 1:
        return BarSpacing(times, tuple(rods), springs, even)
    loose, tight = (
        _evened(
            [max(force * a, b) for a, b in zip(springs, even, strict=True)], times, spaced, index
        )
        for force in (1.0, _TIGHT)
    )
    return BarSpacing(times, tuple(rods), loose, tight, is_stacked=True)


def share_out(width: float, least: Sequence[float], weights: Sequence[float]) -> list[float]:
    """Return widths that sum to `width`, in proportion to their weights but none below its least.

    Parameters
    ----------
    width:
        At least the sum of `least`; if it is less, the least widths are returned.
    least, weights:
        One a bar; weights above 0.
    """
    fixed: set[int] = set()
    while True:
        free = [number for number in range(len(least)) if number not in fixed]
        left = width - sum(least[number] for number in fixed)
        total = sum(weights[number] for number in free)
        short = {n for n in free if left * weights[n] / total < least[n]}
        if not short:
            return [
                least[n] if n in fixed else left * weights[n] / total for n in range(len(least))
            ]
        fixed |= short
        if len(fixed) == len(least):
            return list(least)
