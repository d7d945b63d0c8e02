"""The pieces that a staff is drawn from: values, and the small operations that lay pages needs.

Places are in the engraver's units (180 to a staff space) with y counted down from the top line of
the staff. A piece is moved by a map from old to new x; every piece is drawn by `svg`.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

XMap = Callable[[float], float]

MUSIC_FONT = "Bravura"


def _number(value: float) -> str:
    return f"{value:.1f}".removesuffix(".0")


@dataclass(frozen=True, slots=True)
class Box:
    """The extent of a piece."""

    left: float
    top: float
    right: float
    bottom: float


@dataclass(frozen=True, slots=True)
class Glyph:
    """A glyph of the music font by its SMuFL code point in hexadecimal; scale in units a unit."""

    code: str
    x: float
    y: float
    scale: float

    @property
    def box(self) -> Box:
        """From the font's own table of bounding boxes."""
        left, bottom, width, height = glyph_boxes()[self.code]
        top = self.y - (bottom + height) * self.scale
        return Box(
            self.x + left * self.scale,
            top,
            self.x + (left + width) * self.scale,
            top + height * self.scale,
        )

    def mapped(self, x_map: XMap) -> Glyph:
        """Move it as a whole."""
        return replace(self, x=x_map(self.x))

    @property
    def svg(self) -> str:
        """As an SVG element; its symbol is `glyph_symbol`."""
        place = f"translate({_number(self.x)} {_number(self.y)}) scale({self.scale:.3f})"
        return f'<use xlink:href="#g{self.code}" transform="{place}"/>'


@dataclass(frozen=True, slots=True)
class Stroke:
    """A straight stroke."""

    x1: float
    y1: float
    x2: float
    y2: float
    width: float

    @property
    def box(self) -> Box:
        """With its width."""
        half = self.width / 2
        return Box(
            min(self.x1, self.x2) - half,
            min(self.y1, self.y2) - half,
            max(self.x1, self.x2) + half,
            max(self.y1, self.y2) + half,
        )

    def mapped(self, x_map: XMap) -> Stroke:
        """Move it as a whole, by its middle."""
        middle = (self.x1 + self.x2) / 2
        shift = x_map(middle) - middle
        return replace(self, x1=self.x1 + shift, x2=self.x2 + shift)

    @property
    def svg(self) -> str:
        """As an SVG element."""
        a, b = (f"{_number(x)} {_number(y)}" for x, y in ((self.x1, self.y1), (self.x2, self.y2)))
        return f'<path d="M{a}L{b}" stroke-width="{_number(self.width)}"/>'


@dataclass(frozen=True, slots=True)
class Dot:
    """A filled circle."""

    x: float
    y: float
    radius: float

    @property
    def box(self) -> Box:
        """Around it."""
        r = self.radius
        return Box(self.x - r, self.y - r, self.x + r, self.y + r)

    def mapped(self, x_map: XMap) -> Dot:
        """Move it."""
        return replace(self, x=x_map(self.x))

    @property
    def svg(self) -> str:
        """As an SVG element."""
        return (
            f'<circle cx="{_number(self.x)}" cy="{_number(self.y)}" r="{_number(self.radius)}" '
            'stroke="none"/>'
        )


@dataclass(frozen=True, slots=True)
class Polygon:
    """A polygon, filled or drawn by its outline with strokes of `outline` units, open or closed."""

    points: tuple[tuple[float, float], ...]
    outline: float = 0.0
    is_open: bool = False

    @property
    def box(self) -> Box:
        """Around its points."""
        xs, ys = zip(*self.points, strict=True)
        return Box(min(xs), min(ys), max(xs), max(ys))

    def mapped(self, x_map: XMap) -> Polygon:
        """Move every point."""
        return replace(self, points=tuple((x_map(x), y) for x, y in self.points))

    def lowered(self, by: float) -> Polygon:
        """Move it down."""
        return replace(self, points=tuple((x, y + by) for x, y in self.points))

    @property
    def svg(self) -> str:
        """As an SVG element."""
        points = " ".join(f"{_number(x)},{_number(y)}" for x, y in self.points)
        if self.outline:
            style = f'fill="none" stroke-width="{_number(self.outline)}" stroke-linejoin="round"'
        else:
            style = 'stroke="none"'
        return f'<{"polyline" if self.is_open else "polygon"} points="{points}" {style}/>'


@dataclass(frozen=True, slots=True)
class Tie:
    """A tie from x to x at one height; `bulge` is -1 above the notes and 1 below."""

    x1: float
    x2: float
    y: float
    bulge: int

    @property
    def box(self) -> Box:
        """Around it, roughly."""
        depth = self._depth
        return Box(self.x1, min(self.y, self.y + depth), self.x2, max(self.y, self.y + depth))

    @property
    def _depth(self) -> float:
        return self.bulge * min(110.0, 40 + (self.x2 - self.x1) * 0.06)

    @property
    def svg(self) -> str:
        """As an SVG element: a crescent, thickest in its middle."""
        span, y = self.x2 - self.x1, self.y
        a, b = self.x1 + span * 0.22, self.x2 - span * 0.22
        outer = y + self._depth * 4 / 3
        inner = outer - self.bulge * 36
        x1, x2, a_, b_, outer_, inner_, y_ = map(_number, (self.x1, self.x2, a, b, outer, inner, y))
        return (
            f'<path d="M{x1} {y_}C{a_} {outer_} {b_} {outer_} {x2} {y_}'
            f'C{b_} {inner_} {a_} {inner_} {x1} {y_}Z" stroke-width="9" stroke-linejoin="round"/>'
        )


Piece = Glyph | Stroke | Dot | Polygon


def union(boxes: list[Box]) -> Box:
    """Return the extent of several; at least one."""
    return Box(
        min(box.left for box in boxes),
        min(box.top for box in boxes),
        max(box.right for box in boxes),
        max(box.bottom for box in boxes),
    )


@cache
def glyph_boxes() -> dict[str, tuple[float, float, float, float]]:
    """Return x, y, width and height of every glyph of the music font, in 1000ths of an em."""
    import verovio

    path = Path(verovio.__file__).parent / "data" / f"{MUSIC_FONT}.xml"
    pattern = re.compile(
        r'<g c="(\w+)" x="([-\d.]+)" y="([-\d.]+)" w="([-\d.]+)" h="([-\d.]+)"', re.ASCII
    )
    return {
        code: (float(x), float(y), float(width), float(height))
        for code, x, y, width, height in pattern.findall(path.read_text(encoding="utf-8"))
    }


@cache
def glyph_outline(code: str) -> str:
    """Return the outline of a glyph of the music font as an SVG path, y counted up."""
    import verovio

    path = Path(verovio.__file__).parent / "data" / MUSIC_FONT / f"{code}.xml"
    found = re.search(r' d="([^"]+)"', path.read_text(encoding="utf-8"))
    assert found is not None, f"glyph {code} has an outline"
    return found[1]


def framed(content: str, left: float, top: float, width: float, height: float) -> str:
    """Return drawn content as an SVG document in black."""
    return (
        '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" '
        f'viewBox="{left:.1f} {top:.1f} {width:.1f} {height:.1f}" '
        f'width="{width:.1f}" height="{height:.1f}" fill="black" stroke="black">{content}</svg>'
    )
