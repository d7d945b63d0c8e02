"""What several commands have in common: options of settings, and reading exercises by them."""

from __future__ import annotations

import enum
import functools
import inspect
import sys
from collections.abc import Callable
from contextlib import contextmanager, suppress
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from renderer.commands.console import output_console
from renderer.errors import Problem, RungwiseError, failure
from renderer.notation.limits import LARGEST_SCORE_BYTES
from renderer.notation.source_file import Source
from renderer.notation.written import AS_WRITTEN, Reading
from renderer.order.setting_row import Setting
from renderer.order.settings import BY_NAME, Settings, known_to, read_settings

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from renderer.delivery.claims import Claim
    from renderer.notation.score import Exercise
    from renderer.order.order import Order


Replace = Annotated[
    bool,
    typer.Option(
        "--replace",
        help="Replace files that are there even if they are something else, or somebody has "
        "changed them.",
    ),
]
Tidy = Annotated[
    bool,
    typer.Option(
        "--tidy",
        help="Remove what this order made here before and makes no longer, as far as nobody has "
        "changed it.",
    ),
]


class EventFormat(enum.StrEnum):
    """How events are printed."""

    CSV = "csv"
    JSON = "json"


class ReportFormat(enum.StrEnum):
    """How a report is printed."""

    TABLE = "table"
    JSON = "json"


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


def claim_of(
    what: str,
    files: Sequence[Path],
    output: Path,
    which: Mapping[str, Any] | None = None,
    *,
    order: str = "",
    replace: bool,
) -> Claim:
    """Return the claim of what a command makes of files.

    Parameters
    ----------
    what, which:
        What it is, as for `renderer.delivery.claims.claim`.
    files:
        What it is made from, as the user named it.
    output:
        Where it goes.
    order:
        The order that it belongs to, where that may make several files.
    replace:
        Whether it takes its place whatever is there.
    """
    from renderer.delivery.claims import claim

    names = [source_named(file).name for file in files]
    return claim(what, names, output.parent, which, order=order, replace=replace)


def write_output(
    output: Path | None,
    text: str,
    what: str,
    files: Sequence[Path],
    which: Mapping[str, Any] | None = None,
    *,
    replace: bool,
) -> None:
    """Write what a command has made to its -o, or to the screen where there is none.

    For the other parameters see `claim_of`.
    """
    if output is None:
        sys.stdout.write(text)
        return
    from renderer.delivery.claims import write_kept

    write_kept(output, text.encode(), claim_of(what, files, output, which, replace=replace))


def say_left_over(folder: Path, order: str, made: Sequence[Path], *, tidy: bool) -> None:
    """Say which files an order has left over in a folder; remove them if that is asked for.

    For the parameters see `renderer.delivery.claims.left_over`.
    """
    from renderer.delivery.claims import left_over

    found = left_over(folder, order, made, tidy=tidy)
    console = output_console()

    def say(heading: str, paths: Sequence[Path]) -> None:
        for text in (heading, *(f"  {path.name}" for path in paths)) if paths else ():
            console.print(text, markup=False, highlight=False, soft_wrap=True)

    what = "Left over in this folder: this order made them before and makes them no longer"
    say("Removed:" if tidy else f"{what} (--tidy removes them):", found.unchanged)
    say(f"{what}; they stay, since somebody has changed them:", found.changed)


def settled(verb: str) -> Callable[[Callable[..., None]], Callable[..., None]]:
    """Return a decorator that gives a command the options of its settings.

    The command takes its own arguments and `settings`; the options stand in the table of settings
    (`renderer.order.settings`). Whatever is wrong with settings is named by their options. A
    command that takes `given` instead gets the values of those options alone that were given.
    """

    def decorate(command: Callable[..., None]) -> Callable[..., None]:
        rows = known_to(verb)
        own = list(inspect.signature(command, eval_str=True).parameters.values())
        parameters = [one for one in own if one.name not in ("settings", "given")]
        takes_given = any(one.name == "given" for one in own)
        options = [
            inspect.Parameter(
                row.name,
                inspect.Parameter.KEYWORD_ONLY,
                default=None,
                annotation=Annotated[_option_type(row), _option(row, verb)],
            )
            for row in rows
        ]

        @functools.wraps(command)
        def run(**given: Any) -> None:
            asked = {row.name: given.pop(row.name) for row in rows}
            # Options that may be given several times are an empty list where they are not.
            asked = {name: value for name, value in asked.items() if value not in (None, [])}
            with speaking_of_options():
                settings = read_settings(asked, verb=verb, called=option_of)
                if takes_given:
                    command({name: settings.of(name) for name in asked}, **given)
                else:
                    command(**given, settings=settings)

        run.__signature__ = inspect.Signature([*parameters, *options])  # type: ignore[attr-defined]
        run.__annotations__ = {one.name: one.annotation for one in (*parameters, *options)}
        return run

    return decorate


def option_of(row: Setting) -> str:
    """Return the option of a setting."""
    return row.option or f"--{row.key}"


@contextmanager
def speaking_of_options() -> Iterator[None]:
    """Name settings as the command line does in the errors of what is done within."""
    try:
        yield
    except RungwiseError as error:
        error.problems = tuple(
            # A place in a file is that file's key, though it may be called as a setting is.
            replace(one, place=option_of(BY_NAME[one.place]))
            if one.place in BY_NAME and not one.file
            else one
            for one in error.problems
        )
        raise


def _option_type(row: Setting) -> Any:
    if row.kind.is_switch:
        return bool | None
    return list[str] | None if row.kind.is_several else str | None


def _option(row: Setting, verb: str) -> Any:
    name = option_of(row)
    default = row.default_of(verb)
    shown = ""
    if row.kind.is_switch:
        # What is on can be switched off; what is off has only one way to be asked for.
        name = f"{name}/--no-{row.key}" if default else name
    elif default not in (None, "") and row.own is None:
        plain = row.kind.plain(default)
        shown = ", ".join(map(str, plain)) if isinstance(plain, list) else str(plain)
    return typer.Option(
        name,
        help=f"{row.help}  [default: {shown}]" if shown else row.help,
        metavar=row.kind.metavar or None,
        show_default=False,
        rich_help_panel=row.panel or None,
    )


def refuse_several(settings: Settings, why: str) -> None:
    """Raise a `RungwiseError` where settings ask for several tracks and one is described."""
    for row in known_to("render"):
        if row.kind.is_several and row.name != "format" and len(settings.of(row.name)) > 1:
            raise failure(why, f"give {option_of(row)} once", place=row.name)


_STANDARD_INPUT = "-"


@functools.cache
def _standard_input() -> Source:
    """Return what comes by standard input, which can be read once only."""
    return Source("standard input", sys.stdin.buffer.read(LARGEST_SCORE_BYTES + 1))


_VALUES_OF_SWITCHES = ("on", "off", "yes", "no", "true", "false")


def source_named(file: Path, reading: Reading = AS_WRITTEN) -> Source:
    """Return what a file holds, or a shipped exercise of that name, or standard input for `-`.

    `reading` is how it will be read.
    """
    from renderer.reading.exercise import is_read_by_music21, source_of

    if str(file).casefold() in _VALUES_OF_SWITCHES and not file.exists():
        raise failure(
            f"{str(file)!r} stands alone and is no exercise",
            "an option that is on or off takes no value: write --no- before what is not to be, "
            "as in --no-drone",
        )
    source = _standard_input() if str(file) == _STANDARD_INPUT else source_of(file)
    if is_read_by_music21(source):
        _read_by_music21(source, reading)
    return source


@functools.cache
def _read_by_music21(source: Source, reading: Reading) -> None:
    """Have a source read by music21, which is slow, while a bar moves; what it says comes later."""
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

    from renderer.reading.exercise import read_exercise

    console = Console(stderr=True)
    said = f"music21 reads {Path(source.name).name}"
    if not console.is_terminal:
        typer.echo(f"{said}, which may take some seconds.", err=True)
    columns = (TextColumn("{task.description}", markup=False), BarColumn(), TimeElapsedColumn())
    with (
        Progress(*columns, console=console, transient=True, disable=not console.is_terminal) as bar,
        suppress(RungwiseError),
    ):
        bar.add_task(said, total=None)
        read_exercise(source, reading)


def read_exercise_of(file: Path, settings: Settings) -> Exercise:
    """Read an exercise, by file or by the name of a shipped one, as settings have it read."""
    from renderer.notation.written import ALL_TUNES
    from renderer.reading.exercise import read_exercise, tunes_of

    source = source_named(file, settings.reading)
    if settings.tune == ALL_TUNES and len(tunes := tunes_of(source)) > 1:
        raise failure(
            f"the file has {len(tunes)} tunes, and one is looked at here",
            "choose it by its X: number or title",
            file=source.name,
            place="tune",
        )
    return read_exercise(source, settings.reading)


def read_played(file: Path, settings: Settings) -> Exercise:
    """Read an exercise with what is played as settings have it."""
    return settings.applied_to(settings.chosen(read_exercise_of(file, settings)))


def order_of(files: Sequence[Path], settings: Settings) -> Order:
    """Return the order of some files; report what is wrong with all of them in one go."""
    from renderer.order.order import Order

    sources: list[Source] = []
    problems: list[Problem] = []
    for file in files:
        try:
            sources.append(source_named(file, settings.reading))
        except RungwiseError as error:
            problems += error.problems
    order = Order(tuple(sources), settings)
    if problems:
        # What is wrong inside the others is said in the same go.
        try:
            order.exercises()
        except RungwiseError as error:
            problems += error.problems
        raise RungwiseError(dict.fromkeys(problems))
    return order
