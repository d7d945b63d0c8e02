"""`rungwise plan`: an exercise spread over days of practice: a table, a calendar, a page."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from renderer.commands.console import at_work, output_console, print_table
from renderer.commands.options import (
    Replace,
    Tidy,
    order_of,
    refuse_several,
    say_left_over,
    settled,
)
from renderer.order.settings import Settings

if TYPE_CHECKING:
    from collections.abc import Sequence

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
    from renderer.delivery.carrying_out import claim_of_document
    from renderer.delivery.claims import check_claims, identity_of
    from renderer.delivery.practice_files import check_ending_of_plan, write_plan
    from renderer.delivery.render import Keeping
    from renderer.order.documents import Document
    from renderer.order.planning import practice_of

    refuse_several(settings, "a plan goes with tracks of one kind")
    ordered = order_of([file], settings)
    order = ""
    if output is not None:
        check_ending_of_plan(output)
        order = identity_of("plan", ordered, output.parent, output.name)
    job = ordered.document(Document.PLAN, output or Path())
    mine = claim_of_document(job, Keeping(order, replace))
    if output is not None:
        check_claims([(output, mine)])
    paths: Sequence[Path] = ()
    with at_work("Planning"):
        # As `carry_out` does; the plan is shown besides.
        made = practice_of(job.exercises[0], job.settings)
        if output is not None:
            paths = write_plan(made, job, mine)
    assert job.settings.start is not None
    _print_plan(made, job.settings.start)
    if output is not None:
        say_left_over(output.parent, order, paths, tidy=tidy)


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
    for remark in (*made.remarks, *made.tracks):
        console.print(remark, markup=False)
