"""What a line without a heading is called: a part of its tune, or a line by its number."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import accumulate

from renderer.notation.score import Exercise
from renderer.notation.signs import NO_SIGNS, Signs


def tunes_of(exercise: Exercise) -> tuple[int, ...]:
    """Return which tune, from 1, each line is a part of; empty for an exercise.

    What has repeats, endings or jumps is a tune, and so is what has a type or a composer, or is a
    medley.
    """
    signs = {bar.signs for line in exercise.lines for bar in line.bars}
    medley = any(line.tune for line in exercise.lines)
    plain = {NO_SIGNS, Signs(double=True)}
    if signs <= plain and not (medley or exercise.tune_type or exercise.composer or exercise.order):
        return ()
    begins = (bool(line.tune) or index == 0 for index, line in enumerate(exercise.lines))
    return tuple(accumulate(begins))


def line_name(tunes: Sequence[int], number: int, shown: int) -> str:
    """Return what a line is called that has no heading.

    Parameters
    ----------
    tunes:
        As `tunes_of` has them.
    number:
        Which line of the exercise, from 1.
    shown:
        The number that users know it by.
    """
    if not tunes:
        return f"Line {shown}"
    return f"Part {tunes[:number].count(tunes[number - 1])}"
