"""Note values as small drawings in running text, such as the dotted crotchet before `= 60`.

The drawings are SMuFL glyphs of the music font, the words their names.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from renderer.delivery.sheet.pieces import Glyph, framed, glyph_outline, union

_NOTES = {
    Fraction(1): ("ECA2", "semibreve"),
    Fraction(1, 2): ("ECA3", "minim"),
    Fraction(1, 4): ("ECA5", "crotchet"),
    Fraction(1, 8): ("ECA7", "quaver"),
    Fraction(1, 16): ("ECA9", "semiquaver"),
    Fraction(1, 32): ("ECAB", "demisemiquaver"),
    Fraction(1, 64): ("ECAD", "hemidemisemiquaver"),
}
"""SMuFL 1.4, "Metronome marks", stems up."""

_HEAD = 250.0
"""Of a notehead, in the font's units: a staff space."""

_DOT = "ECB7"
_DOT_GAP = 90.0
_EDGE = 10.0


@dataclass(frozen=True, slots=True)
class NoteSign:
    """A note value: its drawing, the drawing's size in heights of a notehead, and its name."""

    svg: str
    width: float
    height: float
    name: str


def _parts(value: Fraction) -> tuple[str, str, bool]:
    """A note value's glyph and name without its dot, and whether it has one."""
    dotted = value.numerator == 3
    return (*_NOTES[value * Fraction(2, 3) if dotted else value], dotted)


def sign_glyphs(value: Fraction) -> list[Glyph]:
    """Return the glyphs of a plain or dotted note value, in the font's units."""
    code, _, dotted = _parts(value)
    glyphs = [Glyph(code, 0.0, 0.0, 1.0)]
    if dotted:
        glyphs.append(Glyph(_DOT, glyphs[0].box.right + _DOT_GAP, 0.0, 1.0))
    return glyphs


def note_sign(value: Fraction) -> NoteSign:
    """Return the sign of a plain or dotted note value.

    Parameters
    ----------
    value:
        As a share of a whole note; its parts down to 1/64, dotted or not.
    """
    _, name, dotted = _parts(value)
    glyphs = sign_glyphs(value)
    box = union([glyph.box for glyph in glyphs])
    symbols = "".join(
        f'<path id="g{glyph.code}" transform="scale(1 -1)" d="{glyph_outline(glyph.code)}" '
        'stroke="none"/>'
        for glyph in glyphs
    )
    width, height = box.right - box.left + 2 * _EDGE, box.bottom - box.top + 2 * _EDGE
    drawn = f"<defs>{symbols}</defs>{''.join(glyph.svg for glyph in glyphs)}"
    svg = framed(drawn, box.left - _EDGE, box.top - _EDGE, width, height)
    name = f"dotted {name}" if dotted else name
    return NoteSign(svg, width / _HEAD, height / _HEAD, name)
