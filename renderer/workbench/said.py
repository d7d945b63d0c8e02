"""What the program says to the page: each text in English and, where there are words, in German."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from renderer.errors import Problem


def plain_problem(problem: Problem, *, names_file: bool = False) -> dict[str, Any]:
    """Return a problem as JSON holds it.

    Returns
    -------
    `cause`, `remedy` and `place` as they are, `alone` (both as sentences) and `said` (with where it
    is), each `{"en": ..., "de": ...}`; `de` is None where there are no German words for it.
    """
    shown = problem if names_file else replace(problem, file="")
    return {
        "cause": problem.cause,
        "remedy": problem.remedy,
        "place": problem.place,
        "alone": said_problem(replace(problem, place="", file="")),
        "said": said_problem(shown),
    }


def said_problem(problem: Problem) -> dict[str, str | None]:
    """Return what a problem says, with its file and place where it has them."""
    from renderer.workbench.in_german import in_german

    german = in_german(problem)
    return {"en": str(problem), "de": None if german is None else str(german)}


def said_text(text: str) -> dict[str, str | None]:
    """Return a remark or advice."""
    from renderer.workbench.in_german import german_of

    return {"en": text, "de": german_of(text)}
