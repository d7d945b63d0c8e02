"""What stands behind an option to the value it means, with our own words for what means nothing.

Each function returns a parser for one option, by whose name its message is placed.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime, time
from fractions import Fraction
from typing import Any

import typer

from renderer.errors import failure

_MOST_DIGITS = 9


def whole(option: str, example: int, **more: Any) -> Any:
    """Return an option that takes a whole number."""

    def read(text: str | int) -> int:
        if isinstance(text, int):  # the default
            return text
        digits = text.strip()
        if not digits.removeprefix("-").isdecimal():
            raise failure(f"{text!r} is no whole number", f"write one, as {example}", place=option)
        if len(digits) > _MOST_DIGITS:
            raise failure("the number is far too large", f"write one as {example}", place=option)
        return int(digits)

    return typer.Option(option, parser=read, metavar="NUMBER", **more)


def _tempo(text: str) -> Fraction:
    try:
        return Fraction(f"{float(text):.4f}")
    except (ValueError, OverflowError):
        raise failure(
            f"{text!r} is no tempo",
            "write one number of beats a minute, as 80; for several render takes --ladder, as "
            "60:120:10",
            place="--tempo",
        ) from None


def tempo(**more: Any) -> Any:
    """Return an option that takes beats per minute, exact to four decimals."""
    return typer.Option("--tempo", parser=_tempo, metavar="NUMBER", **more)


def _read_as(form: str, option: str, what: str, example: str) -> Callable[[str], datetime]:
    def read(text: str) -> datetime:
        try:
            return datetime.strptime(text.strip(), form)
        except ValueError:
            raise failure(
                f"{text!r} is no {what}", f"write it as {example}", place=option
            ) from None

    return read


def day_of(option: str, text: str) -> date:
    """Return the day that the value of an option names; raise a `RungwiseError` for none."""
    return _read_as("%Y-%m-%d", option, "date", "2026-11-25, year, month and day")(text).date()


def day(option: str, **more: Any) -> Any:
    """Return an option that takes a day."""
    return typer.Option(
        option, parser=lambda text: day_of(option, text), metavar="YYYY-MM-DD", **more
    )


def time_of_day(option: str, **more: Any) -> Any:
    """Return an option that takes a time of the day."""
    read = _read_as("%H:%M", option, "time", "19:00, hours and minutes")

    def read_time(text: str | time) -> time:
        return text if isinstance(text, time) else read(text).time()  # the default is one already

    return typer.Option(option, parser=read_time, metavar="HH:MM", **more)
