"""Options that are no settings of an order, with our own words for values that mean nothing."""

from __future__ import annotations

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
