"""Tunings as pictures: what was heard over time, how far notes are off a scale, how drones beat.

Drawn as SVG; PNG is made of it. Moments are in seconds, pitches in cents above low A.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from pathlib import Path

from renderer.delivery.charts import picture, text
from renderer.listening.drones import beats_of
from renderer.listening.hearing import HeardChanter
from renderer.listening.several import Compared
from renderer.notation.pitch import Note
from renderer.sound.tuning import Scale

_WIDTH, _LEFT, _RIGHT = 900, 90, 30
_INK, _GREY, _PALE = "#1d3557", "#8a8f98", "#e3e6ea"
_SHARP, _FLAT, _DOUBT = "#c1440e", "#1f6f8b", "#b9a27c"
"""Above and below, told apart by side as well; what is doubtful is lighter."""
_COLOURS = ("#1d3557", "#c1440e", "#1f6f8b", "#6a994e", "#7b4b94", "#b58900", "#444444", "#d16ba5")
_MARKS = ("circle", "square", "diamond", "triangle")
_LONGEST_NAME = 27
"""Letters of a chanter's name: four names stand beside each other."""
_MOST_DRAWN = 4_000
"""Soundings in a picture: more could not be told apart."""


def _line(x1: float, y1: float, x2: float, y2: float, ink: str = _PALE, width: float = 1) -> str:
    return (
        f'<line x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}" stroke="{ink}" '
        f'stroke-width="{width:g}"/>'
    )


def _box(x: float, y: float, width: float, height: float, ink: str) -> str:
    return (
        f'<rect x="{x:.1f}" y="{y:.1f}" width="{max(width, 0.5):.1f}" '
        f'height="{max(height, 0.5):.1f}" fill="{ink}"/>'
    )


def _signed(value: float) -> str:
    return f"{value:+g}" if value else "0"


def _steps(most: float, count: int) -> float:
    """Return a round distance of which about `count` make `most`."""
    rough = most / count
    power = 10.0 ** math.floor(math.log10(rough))
    return next(step * power for step in (1, 2, 5, 10) if step * power >= rough)


def _over_time(heard: HeardChanter, top: float, height: float) -> list[str]:
    low_a = heard.low_a_hz / (2 if heard.is_practice else 1)
    cents = [note.cents for note in heard.notes]
    lowest, highest = min(cents) - 80, max(cents) + 80

    def y(value: float) -> float:
        return top + height * (highest - value) / (highest - lowest)

    def x(second: float) -> float:
        return _LEFT + (_WIDTH - _LEFT - _RIGHT) * second / max(heard.seconds, 1e-9)

    drawn = [text(_LEFT, top - 10, "What was heard", size=13, anchor="start")]
    below = top + height + 20.0
    for note in heard.notes:
        at = y(note.cents)
        drawn.append(_line(_LEFT, at, _WIDTH - _RIGHT, at, _PALE if note.is_heard else "#f2d6cf"))
        # F and high G may be close: their names must not lie on each other.
        label = min(at + 4, below - 13)
        below = label
        drawn.append(text(_LEFT - 10, label, note.note.label, size=11, anchor="end"))
    step = _steps(heard.seconds, 8)
    for tick in range(int(heard.seconds / step) + 1):
        at = x(tick * step)
        drawn.append(_line(at, top + height, at, top + height + 4, _GREY))
        drawn.append(text(at, top + height + 17, f"{tick * step:g}", size=10, ink=_GREY))
    drawn.append(text(_WIDTH - _RIGHT, top + height + 32, "seconds", size=10, anchor="end"))
    every = max(1, len(heard.soundings) // _MOST_DRAWN)
    for one, which in list(zip(heard.soundings, heard.notes_of_soundings, strict=True))[::every]:
        place = 1200 * math.log2(one.hz / low_a)
        if lowest < place < highest:
            ink = _DOUBT if which < 0 else _INK
            drawn.append(_box(x(one.start), y(place) - 2, x(one.seconds) - _LEFT, 4, ink))
    return drawn


def _bars(heard: HeardChanter, scale: Scale, top: float, height: float) -> list[str]:
    off = heard.off_cents(scale)
    reach = max(10.0, 1.3 * float(max(abs(value) for value in off)))
    middle = top + height / 2
    wide = (_WIDTH - _LEFT - _RIGHT) / 9
    drawn = [
        text(_LEFT, top - 10, f"Cents off the {scale.name} scale", size=13, anchor="start"),
        _line(_LEFT, middle, _WIDTH - _RIGHT, middle, _GREY),
    ]
    step = _steps(reach, 3)
    for number in range(-int(reach / step), int(reach / step) + 1):
        at = middle - height / 2 * number * step / reach
        drawn.append(_line(_LEFT, at, _WIDTH - _RIGHT, at))
        drawn.append(text(_LEFT - 10, at + 4, _signed(number * step), size=10, anchor="end"))
    for note in heard.notes:
        left = _LEFT + note.note * wide
        drawn.append(text(left + wide / 2, top + height + 18, note.note.label, size=11))
        if not note.is_heard:
            drawn.append(text(left + wide / 2, middle - 6, "not heard", size=10, ink=_GREY))
            continue
        value = float(off[note.note])
        tall = height / 2 * abs(value) / reach
        at = middle - tall if value > 0 else middle
        ink = _DOUBT if note.confidence == "doubtful" else _SHARP if value > 0 else _FLAT
        drawn.append(_box(left + 0.25 * wide, at, 0.5 * wide, tall, ink))
        inside = at - 5 if value > 0 else at + tall + 13
        # What rounds to none is never minus none.
        drawn.append(text(left + wide / 2, inside, f"{round(value, 1) + 0.0:+.1f}", size=10))
    return drawn


def _beats(heard: HeardChanter, top: float, row: float) -> list[str]:
    assert heard.drones is not None
    found = beats_of(heard.drones, heard.low_a_hz)
    most = max(2.0, *(beat.rate_hz for beat in found))
    left = 250
    wide = _WIDTH - left - _RIGHT - 70
    drawn = [text(_LEFT, top - 10, "Beats a second", size=13, anchor="start")]
    for number, beat in enumerate(found):
        at = top + number * row
        drawn.append(text(left - 10, at + 14, f"{beat.first}, {beat.second}", anchor="end"))
        drawn.append(_box(left, at + 3, wide * beat.rate_hz / most, row - 8, _FLAT))
        end = left + wide * beat.rate_hz / most + 6
        drawn.append(text(end, at + 14, f"{beat.rate_hz:.2f}", anchor="start"))
    return drawn


def tuning_picture(heard: HeardChanter, name: str, scale: Scale, suffix: str) -> bytes:
    """Return the picture of one chanter: over time, off a scale, and the beats of its drones.

    Parameters
    ----------
    heard:
        What was heard.
    name:
        What it is called.
    scale:
        What deviations are from.
    suffix:
        `.png` or `.svg`.
    """
    heading = f"{name}: low A at {heard.low_a_hz:.2f} Hz"
    drawn = [text(_WIDTH / 2, 28, heading, size=16)]
    drawn += _over_time(heard, 75, 300)
    drawn += _bars(heard, scale, 465, 190)
    height = 700.0
    if heard.drones is not None:
        row = 24.0
        drawn += _beats(heard, height + 30, row)
        height += 50 + row * len(beats_of(heard.drones, heard.low_a_hz))
    return picture(drawn, _WIDTH, height, suffix)


def _mark(kind: str, x: float, y: float, ink: str) -> str:
    shapes = {
        "circle": f'<circle cx="{x:.1f}" cy="{y:.1f}" r="4.5" fill="{ink}"/>',
        "square": _box(x - 4, y - 4, 8, 8, ink),
        "diamond": f'<path d="M{x:.1f} {y - 6:.1f}l6 6l-6 6l-6 -6z" fill="{ink}"/>',
        "triangle": f'<path d="M{x:.1f} {y - 5.5:.1f}l5.5 10h-11z" fill="{ink}"/>',
    }
    return shapes[kind]


def _look(number: int) -> tuple[str, str]:
    """Return ink and mark of a chanter by its number: 32 are all different."""
    round_of_colours, colour = divmod(number, len(_COLOURS))
    return _COLOURS[colour], _MARKS[(colour + round_of_colours) % len(_MARKS)]


def _short(name: str) -> str:
    stem = Path(name).stem
    return stem if len(stem) <= _LONGEST_NAME else f"{stem[: _LONGEST_NAME - 1]}…"


def comparison_picture(compared: Compared, suffix: str) -> bytes:
    """Return the picture of several chanters: how far each note of each is off their middle.

    Parameters
    ----------
    compared:
        What was laid beside each other.
    suffix:
        `.png` or `.svg`.
    """
    names = list(compared.off_cents)
    top, height = 55.0, 340.0
    values = [abs(value) for off in compared.off_cents.values() for value in off.values()]
    reach = max(10.0, 1.15 * max(values))
    middle = top + height / 2
    wide = (_WIDTH - _LEFT - _RIGHT) / 9
    low_a = compared.middle_hz[Note.LOW_A]
    heading = f"{len(names)} chanters, cents off their middle (low A {low_a:.2f} Hz)"
    drawn = [text(_WIDTH / 2, 28, heading, size=16)]
    step = _steps(reach, 4)
    for number in range(-int(reach / step), int(reach / step) + 1):
        at = middle - height / 2 * number * step / reach
        drawn.append(_line(_LEFT, at, _WIDTH - _RIGHT, at, _PALE if number else _GREY))
        drawn.append(text(_LEFT - 10, at + 4, _signed(number * step), size=10, anchor="end"))
    for note in Note:
        left = _LEFT + note * wide
        drawn.append(_line(left, top, left, top + height))
        drawn.append(text(left + wide / 2, top + height + 18, note.label, size=11))
        drawn += _marks_of(note, compared.off_cents, names, left, wide, middle, height / 2 / reach)
    for number, name in enumerate(names):
        row, column = divmod(number, 4)
        x, y = _LEFT + column * 200, top + height + 48 + 22 * row
        ink, kind = _look(number)
        drawn.append(_mark(kind, x, y - 4, ink))
        drawn.append(text(x + 12, y, _short(name), size=11, anchor="start"))
    return picture(drawn, _WIDTH, top + height + 70 + 22 * ((len(names) - 1) // 4), suffix)


def _marks_of(
    note: Note,
    off_cents: Mapping[str, Mapping[Note, float]],
    names: Sequence[str],
    left: float,
    wide: float,
    middle: float,
    points_a_cent: float,
) -> list[str]:
    drawn = []
    for number, name in enumerate(names):
        if note in off_cents[name]:
            # Far enough from the lines between notes that it is clear whose a mark is.
            x = left + 9 + (wide - 18) * (number + 0.5) / len(names)
            y = middle - points_a_cent * off_cents[name][note]
            ink, kind = _look(number)
            drawn.append(_mark(kind, x, y, ink))
    return drawn
