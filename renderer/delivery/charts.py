"""Drawings to pictures: pieces of SVG to a whole file, as SVG or as PNG. Lengths are in points."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from xml.sax.saxutils import escape

from renderer.delivery.sheet.fonts import clean
from renderer.delivery.sheet.typesetting import typeset
from renderer.errors import failure

SUFFIXES = (".png", ".svg")

_PIXELS_PER_INCH = 150
_FAMILIES = "Noto Sans, Noto Sans CJK JP, Noto Sans CJK SC, Noto Sans CJK KR, sans-serif"


def check_suffix(path: Path) -> None:
    """Raise a `RungwiseError` unless the path ends like a picture that can be written."""
    if path.suffix.lower() not in SUFFIXES:
        raise failure(
            f"pictures that end in {path.suffix!r} are not written",
            "name a file that ends in .png or .svg",
            file=str(path),
        )


def text(
    x: float,
    y: float,
    words: str,
    *,
    size: float = 10,
    ink: str = "black",
    anchor: str = "middle",
    more: str = "",
) -> str:
    """Return a text; `anchor` is `start`, `middle` or `end`, `more` further attributes."""
    return (
        f'<text x="{x:g}" y="{y:g}" font-size="{size:g}" fill="{ink}" text-anchor="{anchor}" '
        f'font-family="{_FAMILIES}"{more}>{escape(clean(words))}</text>'
    )


def picture(drawn: Sequence[str], width: float, height: float, suffix: str) -> bytes:
    """Return the contents of a picture's file.

    Parameters
    ----------
    drawn:
        Elements of SVG, the hindmost first.
    width, height:
        Its size.
    suffix:
        `.png` or `.svg`.
    """
    check_suffix(Path(f"picture{suffix}"))
    svg = (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width:g}pt" height="{height:g}pt" '
        f'viewBox="0 0 {width:g} {height:g}">\n'
        f'<rect width="{width:g}" height="{height:g}" fill="white"/>\n'
        + "\n".join(drawn)
        + "\n</svg>\n"
    ).encode()
    if suffix == ".svg":
        return svg
    page = f"#set page(width: {width:g}pt, height: {height:g}pt, margin: 0pt)\n"
    source = {"main.typ": f'{page}#image("drawn.svg", width: 100%)'.encode(), "drawn.svg": svg}
    (pixels,) = typeset(source, "png", ppi=_PIXELS_PER_INCH)
    return pixels
