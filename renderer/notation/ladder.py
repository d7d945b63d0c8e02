"""Tempo ladders as they are written: `50:80:10`, `50,60,75`, `60%:100%:10%`."""

from __future__ import annotations

import re
from collections.abc import Sequence
from fractions import Fraction
from itertools import pairwise

from renderer.errors import WrongValueError, failure
from renderer.notation.limits import FASTEST_TEMPO, MOST_RUNGS, SLOWEST_TEMPO
from renderer.notation.score import Ladder


def rung_bounds(*, percent: bool) -> tuple[int, int]:
    """Return the lowest and the highest rung: beats per minute, or per cent of the tempo."""
    return (1, 400) if percent else (SLOWEST_TEMPO, FASTEST_TEMPO)


def steps(first: Fraction, last: Fraction, step: Fraction) -> tuple[Fraction, ...]:
    """Return the numbers from `first` to `last` in steps of `step`, up or down.

    The last is always `last`, also when the steps do not land on it.

    Raises `WrongValueError` for a step of 0 or less and for more than `MOST_RUNGS` numbers.
    """
    if step <= 0:
        raise WrongValueError(f"a step of {float(step):g} never arrives", "write a number above 0")
    if abs(last - first) / step >= MOST_RUNGS:
        raise WrongValueError(f"that makes more than {MOST_RUNGS} rungs", "write a larger step")
    direction = 1 if last >= first else -1
    count = int(abs(last - first) // step)
    numbers = [first + direction * step * index for index in range(count + 1)]
    if numbers[-1] != last:
        numbers.append(last)
    return tuple(numbers)


def ladder_text(tempos: Sequence[Fraction]) -> str:
    """Return tempos as `parse_ladder` reads them: `50:80:10` where all steps are alike, or a list.

    They are written with four decimals at most.
    """
    written = [f"{float(tempo):.4f}".rstrip("0").rstrip(".") for tempo in tempos]
    gaps = {later - earlier for earlier, later in pairwise(tempos)}
    if len(tempos) < 3 or len(gaps) > 1 or 0 in gaps:
        return ",".join(written)
    return f"{written[0]}:{written[-1]}:{float(abs(gaps.pop())):g}"


_NUMBER = re.compile(r"\s*(\d{1,6}(?:\.\d{1,6})?)\s*(%?)\s*")


def parse_ladder(text: str, *, repeats: int = 1) -> Ladder:
    """Read `50:80:10` (from, to, step), `50,60,75` or the same in per cent: `60%:100%:10%`.

    Raises a `RungwiseError` for anything else.
    """
    remedy = (
        "write from:to:step, as 50:80:10, or a list, as 50,60,75; for per cent of the exercise's "
        "tempo write % after each number, as 60%:100%:10%"
    )
    by_steps = ":" in text
    parts = text.split(":") if by_steps else text.split(",")
    matches = [_NUMBER.fullmatch(part) for part in parts]
    numbers = [(Fraction(m[1]), bool(m[2])) for m in matches if m is not None]
    if len(numbers) != len(parts) or (by_steps and len(parts) != 3):
        raise failure(f"{text!r} is no ladder", remedy)
    percents = [percent for _, percent in numbers]
    if any(percents) and not all(percents):
        raise failure(f"{text!r} mixes tempos and per cents", remedy)
    values = tuple(value for value, _ in numbers)
    if by_steps:
        try:
            values = steps(*values)
        except WrongValueError as error:
            raise error.at("") from None
    elif len(values) > MOST_RUNGS:
        raise failure(f"{len(values)} rungs are too many", f"list at most {MOST_RUNGS}")
    return Ladder(values, percent=percents[0], repeats=repeats)
