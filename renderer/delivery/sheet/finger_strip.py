"""The fingering strip: a line's finger changes as signs under its notes, one row a finger.

From the top: the thumb, the left hand's three fingers, the right hand's four. Under each note the
strip shows what every finger does on the way to it: a triangle pointing up lifts, a solid one
pointing down closes, a lozenge is a flick (lifts and closes again, as for a gracenote), a solid
lozenge a tap (closes and lifts again), a dot stays closed, a short line stays open.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from renderer.delivery.sheet.layout import UNITS_A_SPACE
from renderer.delivery.sheet.pieces import Dot, Polygon, Stroke
from renderer.notation.score import Line, note_id
from renderer.technique.finger_changes import Change
from renderer.technique.fingering import Finger, Hand, fingering
from renderer.technique.report import changes_of

ROW = UNITS_A_SPACE
_GAP_AFTER = {Finger.LEFT_THUMB: 0.35 * UNITS_A_SPACE, Finger.LEFT_RING: 0.55 * UNITS_A_SPACE}
_ABOVE = 0.9 * UNITS_A_SPACE
_HALF = 0.41 * UNITS_A_SPACE
_STAYS = 26.0
_OUTLINE = 16.0


@dataclass(frozen=True, slots=True)
class FingerColumn:
    """What the fingers do on the way to the written note called `name`; None at a start."""

    name: str
    note: frozenset[Finger]
    change: Change | None


def finger_columns(line: Line, number: int) -> tuple[FingerColumn, ...]:
    """Return a line's finger changes: its first note, then every slot where a finger moves.

    Parameters
    ----------
    line, number:
        The line, and the number by which note ids name it.
    """
    columns = []
    for index, placed in enumerate(changes_of(line)):
        change = placed.change
        if index == 0 or change.steps:
            name = note_id(number, line.bars_before + placed.bar, placed.item, placed.slot)
            shown = change if change.steps else None
            columns.append(FingerColumn(name, fingering(change.note), shown))
    return tuple(columns)


def _row_middles() -> dict[Finger, float]:
    middles: dict[Finger, float] = {}
    y = _ABOVE + ROW / 2
    for finger in Finger:
        middles[finger] = y
        y += ROW + _GAP_AFTER.get(finger, 0.0)
    return middles


ROW_MIDDLES: Mapping[Finger, float] = _row_middles()
"""Of each finger's row, from the strip's upper edge."""

STRIP_HEIGHT = ROW_MIDDLES[Finger.RIGHT_LITTLE] + ROW / 2


def label_middles() -> dict[str, float]:
    """Return the middles of the rows of the thumb, the left and the right hand's fingers."""
    left = [ROW_MIDDLES[f] for f in Finger if f.hand is Hand.LEFT and f is not Finger.LEFT_THUMB]
    right = [ROW_MIDDLES[f] for f in Finger if f.hand is Hand.RIGHT]
    return {
        "thumb": ROW_MIDDLES[Finger.LEFT_THUMB],
        "left": sum(left) / len(left),
        "right": sum(right) / len(right),
    }


def sign_svg(kind: str, x: float, y: float) -> str:
    """Draw one sign: `lifts`, `closes`, `flicks`, `taps`, `closed` or `open`."""
    h = _HALF
    up = Polygon(((x - h, y + h * 0.8), (x + h, y + h * 0.8), (x, y - h)), _OUTLINE)
    down = Polygon(((x - h, y - h * 0.8), (x + h, y - h * 0.8), (x, y + h)))
    around = ((x, y - h), (x + h, y), (x, y + h), (x - h, y))
    signs: dict[str, Polygon | Dot | Stroke] = {
        "lifts": up,
        "closes": down,
        "flicks": Polygon(around, _OUTLINE),
        "taps": Polygon(around),
        "closed": Dot(x, y, _STAYS),
        "open": Stroke(x - h * 0.8, y, x + h * 0.8, y, _OUTLINE),
    }
    return signs[kind].svg


def _sign(column: FingerColumn, finger: Finger) -> str:
    ends_closed = finger in column.note
    change = column.change
    if change is not None:
        moves = [
            "lifts" if finger in step.lifted else "closes"
            for step in change.steps
            if finger in step.lifted or finger in step.closed
        ]
        if len(moves) > 1:
            return "flicks" if moves[0] == "lifts" else "taps"
        if moves:
            return moves[0]
    return "closed" if ends_closed else "open"


def strip_svg(columns: Iterable[FingerColumn], places: Mapping[str, float], left: float) -> str:
    """Draw the strip of a system.

    Parameters
    ----------
    columns:
        Of the line; those whose notes the system has are drawn.
    places:
        The middle of each note of the system, by its name.
    left:
        Where the strip begins.
    """
    shown = [column for column in columns if column.name in places]
    if not shown:
        return ""
    parts = []
    for column, finger in itertools.product(shown, Finger):
        parts.append(sign_svg(_sign(column, finger), places[column.name], ROW_MIDDLES[finger]))
    right = max(places[column.name] for column in shown) + UNITS_A_SPACE
    between = (ROW_MIDDLES[Finger.LEFT_RING] + ROW_MIDDLES[Finger.RIGHT_INDEX]) / 2
    parts.append(Stroke(left, between, right, between, 7.0).svg)
    return f'<g class="fingering">{"".join(parts)}</g>'
