"""A practice plan to a file: a page, a calendar or a table, by the file's ending."""

from __future__ import annotations

import csv
import datetime
import io
from collections.abc import Sequence
from pathlib import Path

from renderer.delivery.claims import Claim, write_kept
from renderer.delivery.practice_calendar import practice_calendar
from renderer.delivery.practice_page import PracticePage
from renderer.delivery.sheet.layout import Paper
from renderer.delivery.sheet.output import write_pages
from renderer.errors import failure
from renderer.order.documents import DocumentJob
from renderer.timing.practice import Block, PracticePlan

ENDINGS = (".pdf", ".svg", ".png", ".ics", ".csv")


def check_ending_of_plan(path: Path) -> None:
    """Raise a `RungwiseError` for a file that no plan is written as."""
    if path.suffix.casefold() not in ENDINGS:
        raise failure(
            f"plans that end in {path.suffix!r} are not written",
            f"name a file that ends in {', '.join(ENDINGS[:-1])} or {ENDINGS[-1]}",
            file=str(path),
        )


def write_plan(made: PracticePlan, job: DocumentJob, mine: Claim) -> Sequence[Path]:
    """Write a plan, and return the files' paths; of several pages as pictures each is a file.

    Parameters
    ----------
    made:
        The plan.
    job:
        Its file, its first day, the learner, the paper, when practice begins.
    mine:
        What it is, by which it takes its place.

    Raises
    ------
    RungwiseError
        If it cannot be written, or what is there does not make room.
    """
    settings, path, first = job.settings, job.path, job.settings.start
    assert first is not None and job.ordered is not None, "jobs of plans are dated"
    ending = path.suffix.casefold()
    if ending == ".ics":
        write_kept(path, practice_calendar(made, first, settings.at, ordered=job.ordered), mine)
    elif ending == ".csv":
        write_kept(path, _table(made, first).encode(), mine)
    else:
        page = PracticePage(made, first, settings.learner, Paper(settings.paper))
        return write_pages(page, path, mine)
    return (path,)


def _table(made: PracticePlan, first: datetime.date) -> str:
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(("day", "date", "line", "heading", "tempo", "repeats", "seconds", "what"))
    for day in made.days:
        when = (first + datetime.timedelta(days=day.number - 1)).isoformat()
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
