"""`rungwise plan`: an exercise spread over days of practice: a table, a calendar, a page."""

from __future__ import annotations

import csv
import io
from datetime import date, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from renderer.commands.options import (
    Replace,
    Tidy,
    at_work,
    claim_of,
    output_console,
    print_table,
    read_played,
    refuse_several,
    say_left_over,
    settled,
)
from renderer.errors import failure
from renderer.order.settings import Settings

if TYPE_CHECKING:
    from collections.abc import Sequence

    from renderer.delivery.claims import Claim
    from renderer.timing.practice import PracticePlan


@settled("plan")
def plan(
    file: Annotated[Path, typer.Argument(help="An exercise, or the name of a shipped one.")],
    settings: Settings,
    output: Annotated[
        Path | None,
        typer.Option(
            "-o",
            "--output",
            help="A page (.pdf, .svg, .png), a calendar (.ics) or a table (.csv) to write.",
        ),
    ] = None,
    replace: Replace = False,
    tidy: Tidy = False,
) -> None:
    """Spread an exercise's lines and tempos over days of practice.

    Reads an exercise and its ladder; writes a table to the screen, and a page with boxes to tick, a
    calendar or a table to -o. Easy lines come first, harder ones more often; each new tempo is
    followed by a step back. A line climbs once it was clean: the dates are a proposal.

    Example: rungwise plan birls --minutes 20 --days 14 --learner "Jamie" -o birls.pdf
    """
    from renderer.order.planning import practice_of

    if output is not None and output.suffix.casefold() not in _ENDINGS:
        raise failure(
            f"plans that end in {output.suffix!r} are not written",
            f"name a file that ends in {', '.join(_ENDINGS[:-1])} or {_ENDINGS[-1]}",
            file=str(output),
        )
    # On the last day of all there is no tomorrow, and the last day's practice must end before it.
    today = date.today()
    tomorrow = today if today == date.max else today + timedelta(days=1)
    first = tomorrow if settings.start is None else settings.start
    if (date.max - first).days < settings.days:
        raise failure(
            f"no calendar goes on for {settings.days} days from {first}",
            "begin earlier",
            place="start",
        )
    refuse_several(settings, "a plan goes with tracks of one kind")
    exercise = read_played(file, settings)
    order = ""
    if output is not None:
        from renderer.delivery.claims import check_claims, of_line, order_identity, which_is_read

        order = order_identity("plan", [exercise.source], output.parent, settings, output.name)
        which = {**which_is_read(settings), "learner": settings.learner}
        mine = claim_of(
            of_line("a plan", settings), [file], output, which, order=order, replace=replace
        )
        check_claims([(output, mine)])
    paths: Sequence[Path] = ()
    with at_work("Planning"):
        made = practice_of(exercise, settings)
        if output is not None:
            paths = _write(made, first, settings, output, mine)
    _print_plan(made, first)
    if output is not None:
        say_left_over(output.parent, order, paths, tidy=tidy)


_ENDINGS = (".pdf", ".svg", ".png", ".ics", ".csv")


def _write(
    made: PracticePlan, first: date, settings: Settings, output: Path, mine: Claim
) -> Sequence[Path]:
    from renderer.delivery.claims import write_kept
    from renderer.delivery.practice_calendar import practice_calendar
    from renderer.delivery.practice_page import PracticePage
    from renderer.delivery.sheet.layout import Paper
    from renderer.delivery.sheet.output import write_pages

    ending = output.suffix.casefold()
    if ending == ".ics":
        write_kept(output, practice_calendar(made, first, settings.at), mine)
    elif ending == ".csv":
        write_kept(output, _plan_csv(made, first).encode(), mine)
    else:
        page = PracticePage(made, first, settings.learner, Paper(settings.paper))
        return write_pages(page, output, mine)
    return (output,)


def _plan_csv(made: PracticePlan, first: date) -> str:
    from renderer.timing.practice import Block

    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(("day", "date", "line", "heading", "tempo", "repeats", "seconds", "what"))
    for day in made.days:
        when = (first + timedelta(days=day.number - 1)).isoformat()
        for item in day.items:
            seconds = round(float(item.seconds), 1)
            if isinstance(item, Block):
                heading = made.exercise.lines[item.line - 1].heading
                tempo = f"{float(item.tempo):g}"
                what = "step back" if item.is_step_back else "play"
                row: tuple[object, ...] = (item.line, heading, tempo, item.repeats, seconds, what)
            else:
                row = ("", "", "", "", seconds, "rest")
            writer.writerow((day.number, when, *row))
    return out.getvalue()


def _print_plan(made: PracticePlan, first: date) -> None:
    from renderer.delivery.practice_page import date_of, day_text, playings_text

    console = output_console()
    rows = [
        (
            str(day.number),
            f"{date_of(day, first):%a %d %b}",
            f"{float(day.seconds) / 60:.0f} min",
            day_text(day),
        )
        for day in made.days
    ]
    print_table(("Day", "Date", "Time", "Practice"), rows, made.exercise.title)
    console.print(playings_text(made))
    console.print("A line goes on to its next tempo once it was clean; the days are a proposal.")
    for remark in made.remarks:
        console.print(remark, markup=False)
