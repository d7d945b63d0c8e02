"""A line's staves for a page: engraved once, laid out for narrow screens and for wide ones.

A page shows the layout that its width asks for. Drawings are those of the sheet, with the notes'
names; the outlines of their glyphs are told once for all of them.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field, replace
from typing import Any

from renderer.delivery.sheet.content import marks_of
from renderer.delivery.sheet.drawing import EDGE, Drawing, extent_of
from renderer.delivery.sheet.engraving import engrave
from renderer.delivery.sheet.fonts import printable
from renderer.delivery.sheet.layout import UNITS_A_SPACE, Shown
from renderer.delivery.sheet.over_staff import OverStaff
from renderer.delivery.sheet.systems import lay_systems, stacked_lines
from renderer.delivery.sheet.tempo_marks import tempo_marks
from renderer.notation.line_names import tunes_of
from renderer.notation.score import Exercise

WIDTHS = {"narrow": 46 * UNITS_A_SPACE, "wide": 105 * UNITS_A_SPACE}
"""How wide systems are: on a telephone of 320 pixels a staff space has 6.5 pixels, on a screen of
1,280 more than 10 (judgement, after looking)."""

_TEXT_UNITS = 1.9 * UNITS_A_SPACE

_GLYPH = re.compile(r'<path id="(g\w+)"[^>]*/>')
_FRAME = re.compile(r"^<svg [^>]*>|</svg>$")


@dataclass(slots=True)
class Glyphs:
    """The outlines that a page's drawings use, by name, each an SVG element."""

    paths: dict[str, str] = field(default_factory=dict)

    def taken_from(self, svg: str) -> str:
        """Return what a drawing holds, without its frame and outlines, which are kept here."""
        head, _, rest = svg.partition("</defs>")
        for found in _GLYPH.finditer(head):
            self.paths.setdefault(found[1], found[0])
        return _FRAME.sub("", rest).replace("xlink:href", "href")


def staves_of(
    exercise: Exercise, glyphs: Glyphs, *, shows_meter: bool = True, ends_there: bool = True
) -> list[dict[str, dict[str, Any]]]:
    """Return the staves of each line, by the names of `WIDTHS`.

    Parameters
    ----------
    exercise:
        As it is to be shown.
    glyphs:
        Gets the outlines of the glyphs.
    shows_meter:
        Whether the first line shows its time signature; not so if it was taken out of a longer
        exercise in which that holds already.
    ends_there:
        Whether the last line ends the exercise, with a final bar line; not so if it was taken out
        of a longer one.

    Returns
    -------
    Of each layout the `width` of a whole system, and `systems`. Of each of these: `svg` (what it
    holds), its `left`, `top`, `width` and `height`, `bars` (number of the written bar, left edge,
    width), `texts` (text, x, y, whether it ends there, whether it is small). All in the engraver's
    units.
    """
    engraving = engrave(exercise)
    engraved = list(engraving.lines)
    if not shows_meter:
        first, *bars = engraved[0].bars
        engraved[0] = replace(engraved[0], bars=(replace(first, meter=()), *bars))
    if not ends_there:
        *bars, last = engraved[-1].bars
        engraved[-1] = replace(engraved[-1], bars=(*bars, replace(last, ends_exercise=False)))
    lines = stacked_lines([engraved], (), tunes_of(exercise))
    each = zip(
        lines,
        engraved,
        marks_of(exercise, Shown.ALL),
        tempo_marks(exercise),
        strict=True,
    )
    found: list[dict[str, dict[str, Any]]] = []
    for stacked, line, marks, written in each:
        tempos = [replace(one, bar=one.bar + line.bars_before * (one.bar > 1)) for one in written]
        laid: dict[str, dict[str, Any]] = {}
        for name, whole in WIDTHS.items():
            width = whole - 2 * EDGE
            (systems,) = lay_systems([stacked], width, width)
            over = [OverStaff(system, _TEXT_UNITS) for system in systems]
            extent = extent_of(systems, bool(marks), bool(tempos), over)
            drawings = [
                Drawing(system, extent, engraving.symbols, marks, tempos, one)
                for system, one in zip(systems, over, strict=True)
            ]
            laid[name] = {
                "width": whole,
                "systems": [_system(one, line.bars_before, glyphs) for one in drawings],
            }
        found.append(laid)
    return found


def _system(drawing: Drawing, bars_before: int, glyphs: Glyphs) -> dict[str, Any]:
    width, height = drawing.size
    return {
        "svg": glyphs.taken_from(drawing.svg),
        "left": -EDGE,
        "top": round(drawing.top, 1),
        "width": round(width, 1),
        "height": round(height, 1),
        "bars": [
            [max(1, bar.number - bars_before), round(bar.left, 1), round(bar.width, 1)]
            for bar in drawing.system.bars
        ],
        "texts": [
            [printable(text.text), round(text.x, 1), round(text.y, 1), text.ends_there, text.small]
            for text in drawing.texts
        ],
    }
