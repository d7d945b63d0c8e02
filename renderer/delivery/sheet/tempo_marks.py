"""Tempo marks over a line: the note value that the tempo counts, and the number.

Drawn with the music font's own glyphs, like the rest of a staff. The numbers are those at the
target tempo; on a slower rung they are slower in proportion.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from renderer.delivery.sheet.layout import UNITS_A_SPACE
from renderer.delivery.sheet.note_signs import sign_glyphs
from renderer.delivery.sheet.pieces import Glyph, Piece, Stroke, union
from renderer.notation.score import Exercise
from renderer.order.names import tempo_label

HEIGHT = 2.4 * UNITS_A_SPACE
"""What a row of tempo marks needs over the staff."""

_SCALE = 0.45
_GAP = 0.35 * UNITS_A_SPACE
_EQUALS_WIDTH = 0.8 * UNITS_A_SPACE
_EQUALS_STROKE = 22.0
_DIGIT_GAP = 8.0
_BELOW = 0.4 * UNITS_A_SPACE
"""How far noteheads reach below the line that all stands on."""
_POINT = "ECB7"


@dataclass(frozen=True, slots=True)
class TempoMark:
    """A change of tempo at the beginning of a bar of a line, from 1."""

    bar: int
    beat_value: Fraction
    label: str


def tempo_marks(exercise: Exercise) -> list[list[TempoMark]]:
    """Return each line's changes of tempo, and at its first bar the tempo if not the target one.

    A mark of what holds already is none.
    """
    tempo = exercise.tempo
    found: list[list[TempoMark]] = []
    for line in exercise.lines:
        marks = []
        for number, bar in enumerate(line.bars, start=1):
            before, tempo = tempo, bar.tempo or tempo
            if tempo != before or (number == 1 and tempo != exercise.tempo):
                marks.append(TempoMark(number, bar.meter.beat_value, tempo_label(tempo)))
        found.append(marks)
    return found


def drawn_mark(mark: TempoMark, left: float, foot: float, room: float) -> tuple[Piece, ...]:
    """Return a mark's pieces from `left` on, above `foot`; the number alone if room is short.

    All measures are in units.
    """
    foot -= _BELOW
    sign = [_scaled(glyph, left, foot) for glyph in sign_glyphs(mark.beat_value)]
    at = union([glyph.box for glyph in sign]).right + _GAP
    middle = foot - 0.45 * UNITS_A_SPACE
    strokes = [
        Stroke(at, middle + away, at + _EQUALS_WIDTH, middle + away, _EQUALS_STROKE)
        for away in (-_EQUALS_STROKE * 1.6, _EQUALS_STROKE * 1.6)
    ]
    number = _number(mark.label, at + _EQUALS_WIDTH + _GAP, foot)
    whole: tuple[Piece, ...] = (*sign, *strokes, *number)
    if union([piece.box for piece in whole]).right - left <= room:
        return whole
    return tuple(_number(mark.label, left, foot))


def _number(label: str, left: float, foot: float) -> Iterator[Glyph]:
    for letter in label:
        # SMuFL 1.4: "Tuplets" has the digits from U+E880 on.
        code = _POINT if letter == "." else f"{0xE880 + int(letter):X}"
        glyph = _scaled(Glyph(code, 0.0, 0.0, 1.0), 0.0, foot)
        glyph = replace(glyph, x=left - glyph.box.left)
        yield glyph
        left = glyph.box.right + _DIGIT_GAP


def _scaled(glyph: Glyph, left: float, foot: float) -> Glyph:
    return Glyph(glyph.code, left + glyph.x * _SCALE, foot + glyph.y * _SCALE, _SCALE)


def in_words(marks: Sequence[TempoMark]) -> str:
    """Return a line's tempo marks as text, for those who cannot see the drawing."""
    return ", ".join(f"tempo {mark.label} from bar {mark.bar}" for mark in marks)
