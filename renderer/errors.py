"""Errors that a user can cause, as data.

A `Problem` says which file, which place in it, what is wrong and what would be right. A
`RungwiseError` carries one or more of them: the command line prints each on a line of its own and
exits with code 2, never with a traceback. A `WrongValueError` is a problem that does not know yet
where it is.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing that is wrong, and what would be right.

    Parameters
    ----------
    cause:
        What is wrong, as a sentence without its full stop.
    remedy:
        What would be right, as a sentence without its full stop.
    place:
        Where inside the file, such as `lines[3].run` (counted from 1) or `line 2, bar 1`.
    file:
        The file, as the user named it.
    """

    cause: str
    remedy: str
    place: str = ""
    file: str = ""

    def __str__(self) -> str:
        where = ": ".join(part for part in (self.file, self.place) if part)
        message = f"{where}: {self.cause}" if where else self.cause
        if not self.remedy:
            return f"{message}."
        end = "" if self.remedy.endswith("?") else "."
        return f"{message}. {self.remedy[0].upper()}{self.remedy[1:]}{end}"


LONGEST_QUOTE = 40
"""Characters of a file's own words in a message."""


def shortened(text: str, most: int = LONGEST_QUOTE) -> str:
    """Return a text as messages quote it: at most so long, blanks for what no terminal shows."""
    cut = text if len(text) <= most else f"{text[: most - 1]}…"
    return "".join(mark if mark.isprintable() else " " for mark in cut)


LONGEST_MESSAGE = 2_000
"""Characters of a message: more would push everything else off the screen."""


def one_line(text: str) -> str:
    """Return a message fit for a terminal: on one line, no control characters, not endless.

    What a file calls its keys and titles must not move a terminal's cursor or colour its letters.
    """
    kept = "".join(mark if mark.isprintable() else " " for mark in text)
    if len(kept) <= LONGEST_MESSAGE:
        return kept
    half = LONGEST_MESSAGE // 2
    return f"{kept[:half]} … {kept[-half:]}"


class RungwiseError(Exception):
    """Something that the user can put right; `problems` says what, all of it at once.

    Parameters
    ----------
    problems:
        One `Problem`, or several found in one go.
    """

    def __init__(self, problems: Problem | Iterable[Problem]) -> None:
        self.problems: tuple[Problem, ...] = (
            (problems,) if isinstance(problems, Problem) else tuple(problems)
        )
        super().__init__("\n".join(str(problem) for problem in self.problems))

    def __reduce__(self) -> tuple[type[RungwiseError], tuple[tuple[Problem, ...]]]:
        # Exceptions pickle by their message, and renderings run in worker processes.
        return type(self), (self.problems,)

    def in_file(self, file: str) -> RungwiseError:
        """Return the same error with `file` filled in where a problem names none."""
        return type(self)([p if p.file else replace(p, file=file) for p in self.problems])


class WrongValueError(ValueError):
    """A value that cannot be, with what would be right, raised where nobody knows yet whose it is.

    Whoever knows the file and the place makes a `Problem` of it.

    Parameters
    ----------
    cause, remedy:
        As in `Problem`.
    """

    def __init__(self, cause: str, remedy: str) -> None:
        super().__init__(cause, remedy)
        self.cause, self.remedy = cause, remedy

    def __str__(self) -> str:
        return f"{self.cause}; {self.remedy}"

    def at(self, place: str, file: str = "") -> RungwiseError:
        """Return the error that a user gets to see, for a value at that place."""
        return failure(self.cause, self.remedy, place=place, file=file)


def failure(cause: str, remedy: str, *, place: str = "", file: str = "") -> RungwiseError:
    """Return a `RungwiseError` with a single problem, ready to be raised."""
    return RungwiseError(Problem(cause, remedy, place, file))
