"""A tempo as a player says it, to an exact number of beats a minute: read here and nowhere else.

The number that was typed is the tempo: 33.3333 is 333333/10000, whether it stands in a definition,
behind an option or in a script, where it arrives as a float that only comes near to it.
"""

from __future__ import annotations

import math
import re
from fractions import Fraction

from renderer.errors import failure, shortened
from renderer.notation.limits import FASTEST_TEMPO, SLOWEST_TEMPO

TEMPO_REMEDY = "write one number of beats a minute, as 60"

_WITH_UNIT = re.compile(r"\s*(\d{1,9}(?:\.\d{1,9})?)\s*(?:bpm|beats)\b.*", re.IGNORECASE)
_WRITTEN = re.compile(r"\s*(\d{1,9}(?:\.\d{1,9})?|\d{1,18}/[1-9]\d{0,17})\s*")


def exact_number(value: float | Fraction) -> Fraction:
    """Return the number that was typed, exact; `value` is finite."""
    return Fraction(repr(value)) if isinstance(value, float) else Fraction(value)


_TYPED_DECIMALS = 12
"""More decimals than that are no tempo that somebody typed, but a program's third or seventh."""


def number_of_digits(digits: str) -> Fraction:
    """Return the number that digits in a score stand for, such as `33.3333`: exactly that one.

    What a program has divided (`66.66666666666667`) is the fraction that it stands for.
    """
    value = Fraction(digits)
    if len(digits.partition(".")[2]) <= _TYPED_DECIMALS:
        return value
    simple = value.limit_denominator(1_000)
    return simple if abs(value - simple) < Fraction(1, 10**9) else round(value, _TYPED_DECIMALS)


def exact_tempo(value: str | float | Fraction, *, place: str = "") -> Fraction:
    """Read a tempo; raise a `RungwiseError` for what is none, or none that a player needs.

    Parameters
    ----------
    value:
        Beats a minute, as a number or as the text of one, such as `62.5` or `100/3`.
    place:
        Where it stands, for the message.
    """
    if isinstance(value, str):
        written = _WRITTEN.fullmatch(value)
        if written is None:
            number = _WITH_UNIT.fullmatch(value)
            remedy = TEMPO_REMEDY if number is None else f"write the number alone, as {number[1]}"
            raise failure(f"{shortened(value)!r} is no tempo", remedy, place=place)
        value = Fraction(written[1])
    elif isinstance(value, float) and not math.isfinite(value):
        raise failure(f"{value} is no tempo", TEMPO_REMEDY, place=place)
    tempo = exact_number(value)
    if not SLOWEST_TEMPO <= tempo <= FASTEST_TEMPO:
        raise failure(
            f"a tempo of {float(tempo):g} beats a minute is out of range",
            f"choose one from {SLOWEST_TEMPO} to {FASTEST_TEMPO}",
            place=place,
        )
    return tempo
