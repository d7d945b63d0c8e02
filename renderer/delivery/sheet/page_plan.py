"""Where the parts of a document stand on its pages: heights in, places out, all in millimetres.

Parts stand one under the other with a gap before each that may be stretched. As few pages are used
as hold everything at the least gaps; among those plans the one is taken that leaves all pages about
equally full, the last one rather emptier than another, and what is left of a page is shared among
its gaps.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

_SLACK = 1e-6

_LAST = 0.75
"""What emptiness of the last page counts, against 1 on the others (judgement)."""


@dataclass(frozen=True, slots=True)
class Gap:
    """The room before a part, at least and at most, and whether a page may end in it.

    `cost` is what a page's end in it counts: as much as a page of which its square root is empty.
    """

    least: float
    most: float
    breakable: bool = True
    cost: float = 0.0


@dataclass(frozen=True, slots=True)
class Part:
    """A part's height and the gap before it, which it has not where it begins a page."""

    height: float
    gap: Gap


def pages_of_parts(
    parts: Sequence[Part], height: float, first: float | None = None
) -> tuple[range, ...]:
    """Return which parts stand on each page.

    Parameters
    ----------
    parts:
        In order.
    height:
        Of a page. What no gap lets break and is taller gets a page of its own.
    first:
        The height of the first page, where that is another.
    """
    count = len(parts)
    # Of the pages from each part on: how many, how uneven, and where the first of them ends.
    best: list[tuple[int, float, int]] = [(0, 0.0, count)] * (count + 1)
    for start in range(count - 1, -1, -1):
        found: tuple[int, float, int] | None = None
        room = height if first is None or start else first
        used = 0.0
        for end in range(start + 1, count + 1):
            last = parts[end - 1]
            used += last.height + (last.gap.least if end - 1 > start else 0.0)
            if used > room + _SLACK and found is not None:
                break
            if end < count and not parts[end].gap.breakable:
                continue
            pages, uneven, _ = best[end]
            empty = max(0.0, 1 - used / room) ** 2
            cost = empty + parts[end].gap.cost if end < count else empty * _LAST
            trial = (pages + 1, uneven + cost, end)
            if found is None or trial[:2] < found[:2]:
                found = trial
        assert found is not None, "the last part ends a page"
        best[start] = found
    pages_found = []
    start = 0
    while start < count:
        end = best[start][2]
        pages_found.append(range(start, end))
        start = end
    return tuple(pages_found)


def tops_of_parts(parts: Sequence[Part], height: float) -> tuple[float, ...]:
    """Return how far from the upper edge of their page each of its parts begins.

    What is left of the height is shared among the gaps, each as far as it goes.
    """
    gaps = [part.gap for part in parts[1:]]
    free = height - sum(part.height for part in parts) - sum(gap.least for gap in gaps)
    room = sum(gap.most - gap.least for gap in gaps)
    share = min(1.0, max(0.0, free) / room) if room else 0.0
    tops = [0.0]
    for part, gap in zip(parts, gaps, strict=False):
        tops.append(tops[-1] + part.height + gap.least + share * (gap.most - gap.least))
    return tuple(tops)
