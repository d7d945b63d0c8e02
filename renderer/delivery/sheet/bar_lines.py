"""The bar lines of a staff: single, double, final, dashed, and those of repeats with their dots.

Places are in the engraver's units. A bar line stands at the right edge of its bar; the sign that
opens a repeat stands at the beginning of the bar, behind its time signature if it shows one.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from renderer.delivery.sheet.engraving import STAFF_HEIGHT, EngravedBar
from renderer.delivery.sheet.layout import UNITS_A_SPACE
from renderer.delivery.sheet.pieces import Dot, Stroke

BAR_LINE = 27.0
_DOUBLE_GAP = 99.0
_THICK = 90.0
_BESIDE_THICK = 75.0
"""From the edge of the thick stroke to the middle of the thin one beside it."""
_DOT_AWAY = 96.0
"""From the middle of the thin stroke to that of the dots."""
_DOT_RADIUS = 34.0
_DOT_SPACES = (1.5, 2.5)
"""In the two middle spaces of the staff, counted from the top line."""
_AFTER_CLEF = 75.0
"""Between the clef's room and a repeat that begins with its system."""
_DASHES = 6
"""Of the bar line between two pieces of a bar."""

DOUBLE_ROOM = 0.7 * UNITS_A_SPACE
FINAL_ROOM = 1.0 * UNITS_A_SPACE
REPEAT_ROOM = 1.75 * UNITS_A_SPACE
"""What a double, a final and a repeat's bar line need more than a single one."""


@dataclass(frozen=True, slots=True)
class _Sign:
    """A bar line: its strokes (middle and width) and the middle of its dots."""

    strokes: tuple[tuple[float, float], ...]
    dots: tuple[float, ...] = ()

    def drawn(self, top: float) -> Iterator[str]:
        for x, width in self.strokes:
            yield Stroke(x, top, x, top + STAFF_HEIGHT, width).svg
        for x in self.dots:
            for space in _DOT_SPACES:
                yield Dot(x, top + space * UNITS_A_SPACE, _DOT_RADIUS).svg


def _dashed(x: float, top: float) -> Iterator[str]:
    step = STAFF_HEIGHT / (2 * _DASHES - 1)
    for start in (top + 2 * index * step for index in range(_DASHES)):
        yield Stroke(x, start, x, start + step, BAR_LINE).svg


def line_after(bar: EngravedBar, following: EngravedBar | None, right: float, top: float) -> str:
    """Draw the bar line that ends a bar.

    Parameters
    ----------
    bar, following:
        The bar, and the one after it in the same system, if there is one.
    right, top:
        The bar's right edge, and the top line of the staff.
    """
    if bar.goes_on_in_an_ending:
        return ""
    if bar.goes_on:
        return "".join(_dashed(right - BAR_LINE / 2, top))
    single = right - BAR_LINE / 2
    beside = right - _THICK - _BESIDE_THICK
    if bar.signs.closes:
        strokes = ((right - _THICK / 2, _THICK), (beside, BAR_LINE))
        sign = _Sign(strokes, (beside - _DOT_AWAY,))
    elif bar.ends_exercise:
        sign = _Sign(((right - _THICK / 2, _THICK), (beside, BAR_LINE)))
    elif bar.ends_line or bar.signs.double:
        sign = _Sign(((single, BAR_LINE), (single - _DOUBLE_GAP, BAR_LINE)))
    elif following is not None and opens_at_its_edge(following):
        return ""
    else:
        sign = _Sign(((single, BAR_LINE),))
    return "".join(sign.drawn(top))


def opens_at_its_edge(bar: EngravedBar) -> bool:
    """Whether the sign that opens a repeat takes the place of the bar line before the bar."""
    return bar.signs.opens and not bar.meter


def opening(bar: EngravedBar, before: EngravedBar | None, left: float, top: float) -> str:
    """Draw the sign that opens a repeat with a bar; nothing if none does.

    Parameters
    ----------
    bar, before:
        The bar, and the one before it in the same system, if there is one.
    left, top:
        Where the sign begins, and the top line of the staff.
    """
    if not bar.signs.opens:
        return ""
    if before is None and not bar.meter:
        left += _AFTER_CLEF
    shares_thick = before is not None and before.signs.closes and not bar.meter
    thick_right = left if shares_thick else left + _THICK - BAR_LINE
    thin = thick_right + _BESIDE_THICK
    strokes = [(thin, BAR_LINE)]
    if not shares_thick:
        strokes.append((thick_right - _THICK / 2, _THICK))
    return "".join(_Sign(tuple(strokes), (thin + _DOT_AWAY,)).drawn(top))
