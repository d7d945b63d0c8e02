"""What several commands have in common: choices, and reading an exercise with its overrides."""

from __future__ import annotations

import enum
import sys
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from renderer.errors import Problem, RungwiseError, failure

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from rich.console import Console
    from rich.status import Status

    from renderer.notation.length import Length
    from renderer.notation.score import Exercise
    from renderer.notation.written import Reading


def output_console() -> Console:
    """Return the console that results are printed on, wide where no terminal sets its width."""
    from rich.console import Console

    return Console() if sys.stdout.isatty() else Console(width=160)


class EventFormat(enum.StrEnum):
    """How events are printed."""

    CSV = "csv"
    JSON = "json"


class ReportFormat(enum.StrEnum):
    """How a report is printed."""

    TABLE = "table"
    JSON = "json"


def print_table(
    headings: Sequence[str],
    rows: Iterable[Sequence[str]],
    title: str = "",
    *,
    whole: Sequence[str] = (),
) -> None:
    """Print a table of texts; long ones fold, but for those under the headings in `whole`."""
    from rich import box
    from rich.table import Table
    from rich.text import Text

    table = Table(box=box.SIMPLE_HEAD, title=Text(title) if title else None, title_justify="left")
    for heading in headings:
        table.add_column(heading, overflow="fold", no_wrap=heading in whole)
    for row in rows:
        # As Text: what a teacher writes in brackets is no markup.
        table.add_row(*(Text(cell) for cell in row))
    output_console().print(table)


def placed(error: RungwiseError, option: str) -> RungwiseError:
    """Return the same error with `option` as the place of every problem."""
    return type(error)(replace(problem, place=option) for problem in error.problems)


@contextmanager
def naming(option: str) -> Iterator[None]:
    """Give the errors of what is read within `option` as their place."""
    try:
        yield
    except RungwiseError as error:
        raise placed(error, option) from None


def refuse_to_replace(source: Path, output: Path | None) -> None:
    """Raise a `RungwiseError` if a command would write over the very file that it reads."""
    if output is None:
        return
    try:
        is_same = output.exists() and source.exists() and output.samefile(source)
    except OSError as error:
        from renderer.delivery.files import disk_failure

        raise disk_failure(error, output) from None
    if is_same:
        raise failure("it is the file that is read", "name another one", file=str(output))


def spoken_length(seconds: float) -> str:
    """A playing time as players read it: `3:07`, or `1:02:09` from an hour on."""
    whole = round(seconds)
    hours, rest = divmod(whole, 3600)
    minutes, left = divmod(rest, 60)
    return f"{hours}:{minutes:02d}:{left:02d}" if hours else f"{minutes}:{left:02d}"


def gracenote_length(text: str) -> Length:
    """Read what `--gracenote` says (`45 ms`); raise a `RungwiseError` for what is no length."""
    from renderer.notation.definition.fields import WrongValueError, read_gracenote_length

    try:
        return read_gracenote_length(text)
    except WrongValueError as error:
        raise failure(error.cause, error.remedy, place="--gracenote") from None


def refuse_missing_line(exercise: Exercise, number: int) -> None:
    """Raise a `RungwiseError` if `--line` names a line that the exercise has not."""
    count = len(exercise.lines)
    if not 1 <= number <= count:
        name = Path(exercise.source).name or exercise.title
        remedy = f"choose one from 1 to {count}" if count > 1 else "it has only one line"
        raise failure(f"{name} has no line {number}", remedy, place="--line")


def read_with_options(
    file: Path, *, gracenote: str | None = None, reading: Reading | None = None
) -> Exercise:
    """Read an exercise, by file or by the name of a shipped one, with the options' overrides."""
    from renderer.reading.exercise import read_exercise

    exercise = read_exercise(file) if reading is None else read_exercise(file, reading)
    if gracenote is None:
        return exercise
    length = gracenote_length(gracenote)
    return replace(exercise, gracenotes=replace(exercise.gracenotes, length=length))


def read_all(
    files: Sequence[Path], *, gracenote: str | None = None, reading: Reading | None = None
) -> list[Exercise]:
    """Read every file, and report what is wrong with all of them in one go."""
    exercises: list[Exercise] = []
    problems: list[Problem] = []
    for file in files:
        try:
            exercises.append(read_with_options(file, gracenote=gracenote, reading=reading))
        except RungwiseError as error:
            problems += error.problems
    if problems:
        raise RungwiseError(dict.fromkeys(problems))
    return exercises


def at_work(doing: str) -> Status:
    """Return what shows, while it is entered, that the program is at work."""
    from rich.console import Console

    return Console(stderr=True).status(doing)
