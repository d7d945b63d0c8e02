"""The rows of a tune: where they are broken, and how wide their bars are.

A tune is broken where its source is, else into phrases. Rows of as many bars have their bar lines
under each other; a pickup takes what it needs of its row, beside the others' grid. A row that is
too dense for the page is halved. Widths are in the engraver's units.
"""

from __future__ import annotations

import itertools
import math
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from renderer.delivery.sheet.spacing import share_out

_DENSEST = 0.5
"""How much of its comfortable width a bar of a tune must have before its row is halved (judgement:
tunes are printed denser than exercises)."""

WIDEST = 2.3
"""How many times its comfortable width a bar is stretched to at most (judgement)."""

_NEARLY_EQUAL = 1.15
"""How much more than another bar of its row a bar of an exercise may be stretched to stand under
those of others (judgement: of two bars it is easily seen)."""

NEARLY_FULL = 0.85
"""From this share of a row's width on, bars are stretched to fill it, so that no edge is ragged
(judgement)."""


@dataclass(frozen=True, slots=True)
class Needs:
    """What a bar needs, or the most that any of several bars at one place needs.

    Parameters
    ----------
    least, nearly_even, least_even, comfortable:
        Widths, as `BarSpacing` has them.
    unsigned:
        The comfortable width without a time signature, which breaks no line by itself.
    weight:
        By which bars share what is left.
    """

    least: float
    nearly_even: float
    least_even: float
    comfortable: float
    unsigned: float
    weight: float

    def at_least(self, other: Needs) -> Needs:
        """Return what both need."""
        return Needs(
            max(self.least, other.least),
            max(self.nearly_even, other.nearly_even),
            max(self.least_even, other.least_even),
            max(self.comfortable, other.comfortable),
            max(self.unsigned, other.unsigned),
            max(self.weight, other.weight),
        )


@dataclass(frozen=True, slots=True)
class TuneBar:
    """A bar of a tune: what it needs, its length as a share of a whole note, whether its source
    begins a row with it."""

    needs: Needs
    length: Fraction
    begins_row: bool


@dataclass(frozen=True, slots=True)
class Row:
    """The bars of a row, by their indexes, and how wide they are."""

    bars: range
    widths: tuple[float, ...]


def _has_pickup(bars: Sequence[TuneBar]) -> bool:
    return len(bars) > 1 and bars[0].length < bars[1].length


def _fits(bars: Sequence[TuneBar], width: float) -> bool:
    needs = (bar.needs for bar in bars)
    return sum(max(one.nearly_even, one.comfortable * _DENSEST) for one in needs) <= width


def _chunks(
    bars: Sequence[TuneBar], width: float, phrase: int, *, keeps_rows: bool
) -> Iterator[range]:
    count = len(bars)
    starts = [at for at in range(1, count) if bars[at].begins_row] if keeps_rows else []
    if not starts:
        begin = 1 if _has_pickup(bars) else 0
        starts = list(range(begin + phrase, count, phrase))
        # A second ending, or what else is left over, stays with the row before.
        if starts and (count - starts[-1]) * 2 < phrase:
            before = starts[-2] if len(starts) > 1 else 0
            starts.pop()
            if not _fits(bars[before:], width):
                starts.append(before + (count - before + 1) // 2)
    rows = [
        row
        for start, stop in itertools.pairwise([0, *starts, count])
        for row in _halved(bars, range(start, stop), width)
    ]
    if not keeps_rows:
        # A bar that is too full for its phrase leaves no shorter rows behind than it must.
        rows = min(rows, list(_filled(bars, width, phrase)), key=len)
    yield from rows


def _filled(bars: Sequence[TuneBar], width: float, phrase: int) -> Iterator[range]:
    """Yield rows one after the other, of so many bars each as have room, at most a phrase."""
    start = 0
    while start < len(bars):
        most = phrase + (start == 0 and _has_pickup(bars))
        stop = min(len(bars), start + most)
        while stop > start + 1 and not _fits(bars[start:stop], width):
            stop -= 1
        yield range(start, stop)
        start = stop


def _halved(bars: Sequence[TuneBar], chunk: range, width: float) -> Iterator[range]:
    if len(chunk) == 1 or _fits(bars[chunk.start : chunk.stop], width):
        yield chunk
        return
    pickup = 1 if chunk.start == 0 and _has_pickup(bars) else 0
    middle = chunk.start + pickup + (len(chunk) - pickup + 1) // 2
    if middle >= chunk.stop:
        yield chunk
        return
    yield from _halved(bars, range(chunk.start, middle), width)
    yield from _halved(bars, range(middle, chunk.stop), width)


def widths_of(needs: Sequence[Needs], width: float) -> list[float]:
    """Return how wide bars are that share a width: as even inside as they have room for.

    They fill it if they can be stretched so far.
    """
    comfortable = sum(one.comfortable for one in needs) * WIDEST
    even = [one.least_even for one in needs]
    nearly = [one.nearly_even for one in needs]
    least = [one.least for one in needs]
    if sum(least) < width < sum(nearly):
        # Every bar gives way by the same share.
        share = (width - sum(least)) / (sum(nearly) - sum(least))
        return [low + share * (high - low) for low, high in zip(least, nearly, strict=True)]
    return share_out(
        width if comfortable >= width * NEARLY_FULL else comfortable,
        next((one for one in (even, nearly) if sum(one) <= width), least),
        [one.weight for one in needs],
    )


@dataclass(slots=True)
class _Columns:
    """Rows of as many bars whose bar lines stand under each other.

    Parameters
    ----------
    rows:
        What the bars of each need.
    needs:
        The most that any bar of a column needs.
    """

    rows: list[Sequence[Needs]]
    needs: Sequence[Needs]

    def joined_by(self, row: Sequence[Needs], width: float, uneven: float) -> bool:
        """Take a row in, unless that makes bars of it, or of the others, less even than so."""
        needs = [own.at_least(other) for own, other in zip(self.needs, row, strict=True)]
        wide = widths_of(needs, width)
        changed = [row] if needs == self.needs else [*self.rows, row]
        if not all(_unevenness(one, wide, width) <= uneven for one in changed):
            return False
        self.rows.append(row)
        self.needs = needs
        return True


def _unevenness(row: Sequence[Needs], widths: Sequence[float], width: float) -> float:
    """Return how much more one bar of a row is stretched than another, beside the row alone."""
    stretched = [wide / own for wide, own in zip(widths, widths_of(row, width), strict=True)]
    return max(stretched) / min(stretched)


def _joined(rows: Sequence[Sequence[Needs]], width: float, uneven: float) -> list[_Columns]:
    """Return the columns that each of some rows has."""
    known: dict[int, list[_Columns]] = {}
    found = []
    for row in rows:
        rivals = known.setdefault(len(row), [])
        columns = next((one for one in rivals if one.joined_by(row, width, uneven)), None)
        if columns is None:
            columns = _Columns([row], row)
            rivals.append(columns)
        found.append(columns)
    return found


def _row_widths(
    needs: Sequence[Needs], shared: Sequence[Needs], above: Sequence[Needs], room: float
) -> list[float]:
    """Return how wide the bars of a row are: as those of its columns, where they suit it.

    The last row of a line that is at most half as long as those `above` it stands under their first
    bars, if it has room enough there.
    """
    if 2 * len(needs) <= len(above):
        widths = widths_of(above, room)[: len(needs)]
        if all(own.nearly_even <= wide for own, wide in zip(needs, widths, strict=True)):
            return widths
        return widths_of(needs, room)
    suits = sum(one.nearly_even for one in shared) <= room
    return widths_of(shared if suits else needs, room)


def rows_of_tune(
    lines: Mapping[int, Sequence[TuneBar]], width: float, phrase: int, *, keeps_rows: bool = True
) -> dict[int, list[Row]]:
    """Return the rows of each line of a tune, by its number.

    Parameters
    ----------
    lines:
        The bars of each.
    width:
        Of a whole row, without its clef.
    phrase:
        How many bars a row has where the source does not say.
    keeps_rows:
        Whether rows are broken where the source breaks them.
    """
    chunks = {
        number: list(_chunks(bars, width, phrase, keeps_rows=keeps_rows))
        for number, bars in lines.items()
    }
    full: list[tuple[int, range, int]] = []
    for number, ranges in chunks.items():
        for chunk in ranges:
            begins = chunk.start == 0 and len(chunk) > 1
            full.append((number, chunk, int(begins and _has_pickup(lines[number]))))
    bars = [
        [bar.needs for bar in lines[number][chunk.start + pickup : chunk.stop]]
        for number, chunk, pickup in full
    ]
    columns = _joined(bars, width, math.inf if keeps_rows else _NEARLY_EQUAL)
    usual = Counter(map(len, bars)).most_common(1)[0][0]
    others = next(one.needs for one in columns if len(one.needs) == usual)
    rows: dict[int, list[Row]] = {number: [] for number in lines}
    above: Sequence[Needs] = ()
    for (number, chunk, pickup), needs, own in zip(full, bars, columns, strict=True):
        before = [bar.needs.comfortable for bar in lines[number][chunk.start :][:pickup]]
        is_last = chunk.stop == len(lines[number])
        longer = (above if rows[number] else others) if is_last else ()
        widths = _row_widths(needs, own.needs, longer, width - sum(before))
        rows[number].append(Row(chunk, (*before, *widths)))
        above = own.needs
    return rows
