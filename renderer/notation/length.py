"""Lengths as a teacher writes them: `45 ms`, `1/2 beat`.

A `Length` keeps the number and its unit as written; turning it into seconds is the business of
`renderer.timing`.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from renderer.errors import WrongValueError

Unit = Literal["ms", "beat"]

_PATTERN = re.compile(
    r"""\s*(?:(?P<top>\d{1,6})\s*/\s*(?P<bottom>\d{1,6})|(?P<decimal>\d{1,6}(?:\.\d{1,6})?))
        \s*(?P<unit>ms|milliseconds?|beats?|s|seconds?)\s*""",
    re.VERBOSE | re.IGNORECASE,
)


@dataclass(frozen=True, slots=True)
class Length:
    """A length with its unit, as written.

    Parameters
    ----------
    value:
        The number, exact.
    unit:
        `ms` (milliseconds, the same at every tempo) or `beat` (a share of the beat).
    """

    value: Fraction
    unit: Unit

    @property
    def is_share_of_beat(self) -> bool:
        """Whether the length grows and shrinks with the beat."""
        return self.unit == "beat"

    def __str__(self) -> str:
        if self.unit == "ms":
            return f"{float(self.value):g} ms"
        return f"{self.value} beat" if self.value <= 1 else f"{self.value} beats"


def parse_length(text: str) -> Length:
    """Read `45 ms`, `0.05 s`, `1/2 beat` or `0.25 beats`; or raise `WrongValueError`."""
    match = _PATTERN.fullmatch(text)
    if match is None:
        raise WrongValueError(f"{text!r} is no length", "write it like '45 ms' or '1/2 beat'")
    if match["top"] is not None:
        if int(match["bottom"]) == 0:
            raise WrongValueError(f"{text!r} divides by zero", "write it like '1/2 beat'")
        value = Fraction(int(match["top"]), int(match["bottom"]))
    else:
        value = Fraction(match["decimal"])
    unit = match["unit"].casefold()
    if unit.startswith("beat"):
        return Length(value, "beat")
    return Length(value if unit.startswith("m") else value * 1000, "ms")
