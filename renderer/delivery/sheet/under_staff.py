"""What stands under a staff: the names of its notes, and its beats as numbers or as a ruler.

A ruler has a long stroke at each beat and short ones at the beat's parts, as many as the notes
there divide it into, so that halves and thirds can be seen. Places are in the engraver's units, y
counted down from the upper edge of what is drawn.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction

from renderer.delivery.sheet.layout import UNITS_A_SPACE, Counting
from renderer.delivery.sheet.over_staff import StaffText
from renderer.delivery.sheet.pieces import Stroke, framed
from renderer.delivery.sheet.systems import PlacedBar, System

_HALF_HEAD = 0.59 * UNITS_A_SPACE
"""From the left edge of a notehead to its middle (Bravura's black notehead is 1.18 spaces wide)."""
_MOST_PARTS = 12
"""Of a beat that a ruler shows."""

_ABOVE = 0.45 * UNITS_A_SPACE
_BEAT = 1.1 * UNITS_A_SPACE
_PART = 0.55 * UNITS_A_SPACE
_STROKE = 20.0
_BEAT_STROKE = 32.0
RULER_HEIGHT = _ABOVE + _BEAT + 0.3 * UNITS_A_SPACE

_LINE = 1.25
"""The height of a row of text in heights of the text."""

_REGISTER, _REGISTER_ROW = 1.7, 0.75
"""How wide `high` is with room beside it, and how tall a row of it is, in heights of names."""


@dataclass(frozen=True, slots=True)
class Under:
    """A drawing under a staff, the texts in it, and its height."""

    svg: str
    texts: tuple[StaffText, ...]
    height: float


def place_at(bar: PlacedBar, time: Fraction) -> float:
    """Return the middle of a note that would stand at a time in a bar (a share of a whole note)."""
    known = sorted(bar.places.items())
    for (before, left), (after, right) in itertools.pairwise(known):
        if time <= after:
            share = float((time - before) / (after - before))
            return bar.left + left + (right - left) * share + _HALF_HEAD
    return bar.left + known[-1][1]


def beats_of(bar: PlacedBar) -> Iterator[tuple[int, Fraction]]:
    """Yield the number of each beat that begins in a bar, from 1, and its time in the bar."""
    engraved = bar.staves[0]
    first = math.ceil(engraved.offset / engraved.beat_value)
    for index in itertools.count(first):
        at = index * engraved.beat_value - engraved.offset
        if at >= engraved.length:
            return
        yield index + 1, at


def _parts(bar: PlacedBar, begin: Fraction) -> int:
    """Into how many equal parts the notes in a beat divide it."""
    beat = bar.staves[0].beat_value
    inside = [time - begin for time in bar.places if begin < time < begin + beat]
    return min(_MOST_PARTS, math.lcm(*((at / beat).denominator for at in inside)))


def ruler(system: System) -> Under:
    """Return the beats of a system and their parts as a ruler."""
    strokes: list[Stroke] = []
    foot = _ABOVE + _BEAT
    reach: list[float] = []
    for bar in system.bars:
        beat = bar.staves[0].beat_value
        for _, at in beats_of(bar):
            x = place_at(bar, at)
            strokes.append(Stroke(x, _ABOVE, x, foot, _BEAT_STROKE))
            reach.append(x)
            count = _parts(bar, at)
            for part in range(1, count):
                time = at + beat * Fraction(part, count)
                if time < bar.staves[0].length:
                    x = place_at(bar, time)
                    strokes.append(Stroke(x, foot - _PART, x, foot, _STROKE))
                    reach.append(x)
    if not reach:
        return Under("", (), 0.0)
    strokes.append(Stroke(min(reach), foot, system.width, foot, _STROKE))
    drawn = "".join(stroke.svg for stroke in strokes)
    return Under(f'<g class="ruler">{drawn}</g>', (), RULER_HEIGHT)


def ruler_sign() -> str:
    """Return a small drawing of a ruler: a beat in halves, for legends."""
    foot, beat = _BEAT, 2.4 * UNITS_A_SPACE
    strokes = [
        *(Stroke(x, 0, x, foot, _BEAT_STROKE) for x in (0.0, beat)),
        Stroke(beat / 2, foot - _PART, beat / 2, foot, _STROKE),
        Stroke(0, foot, beat, foot, _STROKE),
    ]
    edge = _BEAT_STROKE
    drawn = "".join(stroke.svg for stroke in strokes)
    return framed(drawn, -edge, -edge, beat + 2 * edge, foot + 2 * edge)


def numbers(system: System, em: float) -> Under:
    """Return the numbers of a system's beats, in text of this height."""
    texts = [
        StaffText(str(number), place_at(bar, at), em, bold=True, centred=True)
        for bar in system.bars
        for number, at in beats_of(bar)
    ]
    return Under("", tuple(texts), em * _LINE)


def names(system: System, labels: Mapping[str, str], em: float) -> Under:
    """Return the names of a system's notes, each under its head; `low` and `high` under that.

    Of two of those that would touch, the second stands a row lower.

    Parameters
    ----------
    system, em:
        The system, and the height of the text.
    labels:
        The name of each written note, such as `low A`, by its id.
    """
    texts = []
    before, row, lowest = -math.inf, 0, 0
    for bar in system.bars:
        for column in bar.staves[0].columns:
            label = labels.get(column.id, "")
            if label:
                *register, letter = label.split()
                x = bar.left + bar.places.get(column.start, 0.0) + _HALF_HEAD
                texts.append(StaffText(letter, x, em, centred=True))
                for word in register:
                    row = 1 - row if x - before < _REGISTER * em else 0
                    y = (1.9 + _REGISTER_ROW * row) * em
                    texts.append(StaffText(word, x, y, small=True, centred=True))
                    before, lowest = x, max(lowest, row)
    return Under("", tuple(texts), (2.2 + _REGISTER_ROW * lowest) * em)


def beats(system: System, shown: Counting, em: float) -> Under:
    """Return a system's beats as they are to be shown."""
    if shown is Counting.NUMBERS:
        return numbers(system, em)
    return ruler(system) if shown is Counting.RULER else Under("", (), 0.0)
