"""Exercises as they are played, for tests of the forms that write them."""

from __future__ import annotations

from renderer.notation.score import Bar, Exercise, Line
from renderer.timing.order_of_playing import played


def played_lines(exercise: Exercise) -> tuple[Line, ...]:
    """The lines with all repeats, jumps and parts in the order in which they are played."""
    return played(exercise).exercise.lines


def played_bars(bars: tuple[Bar, ...]) -> tuple[Bar, ...]:
    """The bars of one line in the order in which they are played."""
    return tuple(bar for line in played_lines(Exercise("x", (Line(bars),))) for bar in line.bars)
