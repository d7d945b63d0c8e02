"""`rungwise expand`, `coverage`, `abridge` and `list`: exercise books as a whole.

What patterns stand for, what a book covers, which few lines stand for it, and which exercises ship.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from renderer.commands import values
from renderer.commands.console import at_work, output_console, print_table, spoken_length
from renderer.commands.options import (
    Replace,
    ReportFormat,
    claim_of,
    refuse_to_replace,
    settled,
    source_named,
    write_output,
)
from renderer.errors import Problem, RungwiseError, WrongValueError, failure
from renderer.order.settings import Settings

if TYPE_CHECKING:
    from collections.abc import Sequence

    from renderer.notation.definition.reader import Definition
    from renderer.notation.pitch import Note
    from renderer.notation.score import Exercise
    from renderer.technique.abridge import Selection
    from renderer.technique.coverage import Coverage
    from renderer.technique.ornaments import OrnamentBook

_ABRIDGED_BOOK = "an abridged book"

MOST_NAMED = 60
"""How many missing approaches are named before the rest is only counted."""


def _which(settings: Settings) -> dict[str, Any]:
    """What tells apart what is made of a score's parts."""
    from renderer.delivery.claims import which_is_read

    return dict(which_is_read(settings))


def _written_out(file: Path, settings: Settings) -> Definition:
    """Read a definition, or any other form, with one entry a line."""
    from renderer.reading.exercise import definition_written_out

    return definition_written_out(source_named(file), settings.reading)


@settled("expand")
def expand(
    file: Annotated[Path, typer.Argument(help="A definition, or the name of a shipped exercise.")],
    settings: Settings,
    output: Annotated[
        Path | None, typer.Option("-o", "--output", help="Write to a file instead.")
    ] = None,
    replace: Replace = False,
) -> None:
    """Print a definition with every pattern written out: what `runs` and the like stand for.

    Reads a definition; writes a definition that reads back to the same music, to the screen or to
    -o.

    Example: rungwise expand every-doubling-from-low-g-to-f
    """
    from renderer.notation.definition.text import definition_text

    refuse_to_replace(file, output)
    text = definition_text(_written_out(file, settings))
    what = "a definition with all written out"
    write_output(output, text, what, [file], _which(settings), replace=replace)


@settled("coverage")
def coverage(
    files: Annotated[list[Path], typer.Argument(help="Exercises, or names of shipped ones.")],
    settings: Settings,
    among: Annotated[
        str, typer.Option(help="The notes that are to be covered, such as 'low G to F'.")
    ] = "low G to high A",
    ornament: Annotated[
        str | None, typer.Option(help="One movement only; all of them if left out.")
    ] = None,
    form: Annotated[
        ReportFormat, typer.Option("--format", case_sensitive=False, help="How to print it.")
    ] = ReportFormat.TABLE,
    output: Annotated[
        Path | None, typer.Option("-o", "--output", help="A heat map to write: .png or .svg.")
    ] = None,
    replace: Replace = False,
) -> None:
    """Show which ways into each movement a book practises, how often, and which it leaves out.

    Reads exercises, which count together; writes tables to the screen (rows: the note before,
    columns: the melody note) and a heat map to -o.

    Example: rungwise coverage every-doubling-from-low-g-to-f --among "low G to F" -o doublings.png
    """
    from renderer.delivery.charts import check_suffix
    from renderer.delivery.heat_map import heat_map
    from renderer.technique.coverage import coverage as covered

    if output is not None:
        check_suffix(output)
    notes = _notes(among)
    exercises, book = _exercises(files, settings)
    found = covered(exercises, book=book, among=notes)
    if ornament is not None:
        found = _only(found, ornament, book)
    if output is not None:
        from renderer.delivery.claims import write_kept

        title = ", ".join(exercise.title for exercise in exercises[:3])
        more = f" and {len(exercises) - 3} more" if len(exercises) > 3 else ""
        picture = heat_map(found, output.suffix.lower(), among=notes, title=title + more)
        which = {"ornament": ornament, **_which(settings)}
        mine = claim_of("a heat map", files, output, which, replace=replace)
        write_kept(output, picture, mine)
    if form is ReportFormat.JSON:
        sys.stdout.write(json.dumps([_coverage_fields(one) for one in found], indent=1) + "\n")
        return
    if not found:
        output_console().print("There are no movements and no gracenotes in it.")
    for one in found:
        _print_coverage(one, notes)


def _notes(text: str) -> tuple[Note, ...]:
    from renderer.notation.definition.fields import read_notes

    try:
        return read_notes(text)
    except WrongValueError as error:
        raise error.at("--among") from None


def _exercises(files: Sequence[Path], settings: Settings) -> tuple[list[Exercise], OrnamentBook]:
    """Read exercises, and the ornament book with what their definitions add to it."""
    from renderer.reading.exercise import exercise_and_book
    from renderer.technique.ornaments import load_book

    book = load_book()
    exercises: list[Exercise] = []
    problems: list[Problem] = []
    for file in files:
        try:
            exercise, book = exercise_and_book(source_named(file), settings.reading, book)
            exercises.append(exercise)
        except RungwiseError as error:
            problems += error.problems
    if problems:
        raise RungwiseError(problems)
    return exercises, book


def _only(found: tuple[Coverage, ...], ornament: str, book: OrnamentBook) -> tuple[Coverage, ...]:
    from renderer.technique.coverage import Coverage, possible_approaches

    try:
        name = book.movement(ornament).name
    except WrongValueError as error:
        raise error.at("--ornament") from None
    chosen = tuple(one for one in found if one.ornament == name)
    return chosen or (Coverage(name, {}, possible_approaches(name, book)),)


def _print_coverage(one: Coverage, among: Sequence[Note]) -> None:
    from rich import box
    from rich.table import Table
    from rich.text import Text

    from renderer.notation.pitch import Note

    console = output_console()
    table = Table(
        box=box.SIMPLE_HEAD,
        title=Text(_summary(one), style="bold"),
        title_justify="left",
    )
    table.add_column("from \\ on")
    # Notes that are not to be covered, and are not played either, have nothing to show.
    rows = [n for n in (*reversed(Note), None) if n in among or any(b is n for b, _ in one.counts)]
    columns = [n for n in Note if n in among or any(on is n for _, on in one.counts)]
    for note in columns:
        table.add_column(note.label, justify="right")
    for before in rows:
        cells = [_cell(one, before, note) for note in columns]
        table.add_row("start" if before is None else before.label, *cells)
    console.print(table)
    if one.missing:
        console.print(Text(f"Missing: {_missing(one)}\n"))


def _summary(one: Coverage) -> str:
    total = sum(one.counts.values())
    played = f"{one.ornament}: {total} played"
    if not one.possible:
        return f"{played}; the ornament book does not say what could be"
    return f"{played}, {one.covered} of {len(one.possible)} ways in"


def _cell(one: Coverage, before: Note | None, note: Note) -> Any:
    from rich.text import Text

    count = one.counts.get((before, note), 0)
    if count:
        return Text(str(count), style="bold")
    if before is not None and (before, note) in one.possible:
        return Text("0", style="red")
    return Text("")


def _missing(one: Coverage) -> str:
    by_note: dict[Note, list[str]] = {}
    for before, note in one.missing[:MOST_NAMED]:
        by_note.setdefault(note, []).append(before.label)
    parts = [f"on {note} from {', '.join(befores)}" for note, befores in by_note.items()]
    rest = len(one.missing) - MOST_NAMED
    return "; ".join(parts) + (f"; and {rest} more" if rest > 0 else "") + "."


def _coverage_fields(one: Coverage) -> dict[str, Any]:

    return {
        "ornament": one.ornament,
        "possible": len(one.possible),
        "covered": one.covered,
        "counts": [
            {"from": None if before is None else before.label, "on": note.label, "count": count}
            for (before, note), count in sorted(
                one.counts.items(),
                key=lambda row: (row[0][1], -1 if row[0][0] is None else row[0][0]),
            )
        ],
        "missing": [{"from": before.label, "on": note.label} for before, note in one.missing],
    }


@settled("abridge")
def abridge(
    file: Annotated[Path, typer.Argument(help="A book, or the name of a shipped one.")],
    settings: Settings,
    lines: Annotated[
        int | None, values.whole("--lines", 12, help="How many lines to choose.")
    ] = None,
    pages: Annotated[
        int | None, values.whole("--pages", 2, help="How many pages its sheet may have.")
    ] = None,
    cover: Annotated[
        str | None, typer.Option(help="'all': the fewest lines that cover everything.")
    ] = None,
    output: Annotated[
        Path | None, typer.Option("-o", "--output", help="The definition to write.")
    ] = None,
    replace: Replace = False,
) -> None:
    """Choose the few lines of a book that miss as little as possible.

    Reads an exercise; writes a definition with the lines chosen to -o, or to the screen. They cover
    as many ways into the movements as any choice of that size can; of such choices, the one most
    even over spans and directions; of those, the easiest.

    Example: rungwise abridge every-doubling-from-low-g-to-f --lines 12 -o one-page.toml
    """
    from renderer.delivery.abridging import Shortness, choose, shortened
    from renderer.notation.definition.text import definition_text
    from renderer.technique.realise import realise

    if sum(option is not None for option in (lines, pages, cover)) != 1:
        raise failure(
            "it is not clear how short the book is to be",
            "give one of --lines, --pages and --cover all",
        )
    if cover is not None and cover != "all":
        raise failure(f"{cover!r} is not known here", "write --cover all", place="--cover")
    refuse_to_replace(file, output)
    if output is not None:
        from renderer.delivery.claims import check_claims

        mine = claim_of(_ABRIDGED_BOOK, [file], output, _which(settings), replace=replace)
        check_claims([(output, mine)])
    definition = _written_out(file, settings)
    music = realise(definition)
    with at_work("Choosing lines"):
        selection = choose(music, definition.lines, Shortness(lines=lines, pages=pages))
    text = definition_text(shortened(definition, selection.lines))
    write_output(output, text, _ABRIDGED_BOOK, [file], _which(settings), replace=replace)
    _print_selection(selection, len(music.lines), on_screen=output is not None)


def _print_selection(selection: Selection, of: int, *, on_screen: bool) -> None:
    from rich.console import Console

    # Where the definition itself goes to the screen, what is said about it must not mix with it.
    console = output_console() if on_screen else Console(stderr=True)
    total = len(selection.covered) + len(selection.uncovered)
    chosen = len(selection.lines)
    console.print(
        f"{chosen} of {of} lines cover {len(selection.covered)} of {total} ways into the movements."
    )
    covers_best = len(selection.covered) == selection.most_coverable
    if selection.fewest_lines is not None:
        covers_best = chosen == selection.fewest_lines
        console.print(f"No choice of fewer than {selection.fewest_lines} lines covers them all.")
    else:
        console.print(f"No choice of {chosen} lines covers more than {selection.most_coverable}.")
    if not selection.is_proven:
        console.print(
            "The solver ran out of time before it had proved this the most even and the easiest of "
            "the choices that cover as much."
            if covers_best
            else "The solver ran out of time before it had proved this the best choice."
        )
    if selection.uncovered:
        names = [str(approach) for approach in sorted(selection.uncovered)]
        rest = len(names) - MOST_NAMED
        more = f"; and {rest} more" if rest > 0 else ""
        console.print(f"Left uncovered: {'; '.join(names[:MOST_NAMED])}{more}.")


def list_exercises(
    level: Annotated[str | None, typer.Option(help="One level only, such as 'beginner'.")] = None,
    movement: Annotated[
        str | None, typer.Option(help="Only what has this movement, such as 'grip' or 'plain'.")
    ] = None,
    time: Annotated[str | None, typer.Option(help="One time only, such as '6/8'.")] = None,
) -> None:
    """List the exercises that ship with the program.

    Writes names, levels, times, lengths and what each trains to the screen. `rungwise render NAME`
    works from anywhere. A movement's other beginnings count as that movement.

    Example: rungwise list --level improver --movement strike --time 4/4
    """
    from renderer.reading.syllabus import (
        level_named,
        listed_exercises,
        movement_wanted,
        time_wanted,
    )

    wanted = None if level is None else level_named(level)
    names = None if movement is None else movement_wanted(movement)
    meter = None if time is None else time_wanted(time)
    rows = [
        (
            shipped.name,
            shipped.level,
            str(exercise.lines[0].bars[0].meter),
            str(len(exercise.lines)),
            spoken_length(float(60 * sum(line.beats for line in exercise.lines) / exercise.tempo)),
            exercise.purpose,
        )
        for shipped, exercise in listed_exercises(level=wanted, movements=names, meter=meter)
    ]
    if not rows:
        output_console().print("No exercise is all of that; leave one of the options out.")
        return
    headings = ("Name", "Level", "Time", "Lines", "Plays", "Trains")
    # A name that folds cannot be copied.
    print_table(headings, rows, whole=headings[:-1])
