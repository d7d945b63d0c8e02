"""Tempo marks over a line: the note value that the tempo counts, and the number.

The note value is drawn with the music font's glyphs, the number is text, upright and bold. Numbers
are those at the target tempo; on a slower rung they are slower in proportion.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from renderer.delivery.sheet.layout import UNITS_A_SPACE
from renderer.delivery.sheet.note_signs import sign_glyphs
from renderer.delivery.sheet.over_staff import StaffText
from renderer.delivery.sheet.pieces import Glyph, union
from renderer.notation.score import PICKUP, Exercise
from renderer.order.names import tempo_label

HEIGHT = 2.4 * UNITS_A_SPACE
"""What a row of tempo marks needs over the staff."""

_SCALE = 0.45
_GAP = 0.35 * UNITS_A_SPACE
_BOLD = 1.15
"""How much wider bold letters are than others."""
_BELOW = 0.4 * UNITS_A_SPACE
"""How far noteheads reach below the line that all stands on."""


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


def drawn_mark(
    mark: TempoMark, left: float, foot: float, room: float, letter: float
) -> tuple[tuple[Glyph, ...], StaffText]:
    """Return a mark's note value and its number from `left` on, above `foot`.

    Parameters
    ----------
    left, foot, room:
        Where it begins, what it stands above, and how wide it may be; the number stands alone if
        that is too little for both.
    letter:
        The usual width of a letter of the text.
    """
    foot -= _BELOW
    sign = tuple(_scaled(glyph, left, foot) for glyph in sign_glyphs(mark.beat_value))
    at = union([glyph.box for glyph in sign]).right + _GAP
    number = f"= {mark.label}"
    if at - left + len(number) * letter * _BOLD <= room:
        return sign, StaffText(number, at, foot, bold=True)
    return (), StaffText(mark.label, left, foot, bold=True)


def _scaled(glyph: Glyph, left: float, foot: float) -> Glyph:
    return Glyph(glyph.code, left + glyph.x * _SCALE, foot + glyph.y * _SCALE, _SCALE)


def in_words(marks: Sequence[TempoMark], numbers: Sequence[str]) -> str:
    """Return a line's tempo marks as text, for those who cannot see the drawing.

    `numbers` are those that its printed bars are known by.
    """
    return ", ".join(
        f"tempo {mark.label} from bar {numbers[mark.bar - 1] or PICKUP}" for mark in marks
    )
