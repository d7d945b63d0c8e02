"""`rungwise plan`: an exercise spread over days of practice, as a table, a calendar or both."""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from renderer.commands.options import at_work, output_console, print_table, read_played, settled
from renderer.errors import failure
from renderer.order.settings import Settings

if TYPE_CHECKING:
    from renderer.timing.practice import Day, PracticePlan


@settled("plan")
def plan(
    file: Annotated[Path, typer.Argument(help="An exercise, or the name of a shipped one.")],
    settings: Settings,
    output: Annotated[
        Path | None,
        typer.Option("-o", "--output", help="A calendar (.ics) or a table (.csv) to write."),
    ] = None,
) -> None:
    """Spread an exercise's lines and tempos over days of practice.

    Reads an exercise and its ladder; writes a table to the screen, and a calendar or a table to -o.
    Every line comes up, harder ones more often; each new tempo is followed by a step back.

    Example: rungwise plan birls --minutes 20 --days 14 -o birls.ics
    """
    from renderer.delivery.practice_calendar import practice_calendar
    from renderer.timing.practice import practice_plan

    if output is not None and output.suffix.casefold() not in (".ics", ".csv"):
        raise failure(
            f"plans that end in {output.suffix!r} are not written",
            "name a file that ends in .ics or .csv",
            file=str(output),
        )
    first = date.today() + timedelta(days=1) if settings.start is None else settings.start
    if (date.max - first).days < settings.days:
        raise failure(
            f"no calendar goes on for {settings.days} days from {first}",
            "begin earlier",
            place="start",
        )
    exercise = read_played(file, settings)
    exercise = replace(exercise, ladder=settings.ladder_of(exercise))
    with at_work("Planning"):
        made = practice_plan(exercise, settings.minutes, settings.days, repeats=settings.repeats)
    if output is not None:
        from renderer.delivery.files import write_whole

        is_calendar = output.suffix.casefold() == ".ics"
        content = (
            practice_calendar(made, first, settings.at)
            if is_calendar
            else _plan_csv(made, first).encode()
        )
        write_whole(output, content)
    _print_plan(made, first)


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


def _day_text(day: Day) -> str:
    """A day in words: `lines 3, 5 at 50; line 4 at 60 and back to 50; rest; ...`."""
    from renderer.timing.fit import spoken_tempo
    from renderer.timing.practice import Block

    # Lines and how they are played; neighbours that are played alike are named together.
    parts: list[tuple[list[str], str]] = []
    for item in day.items:
        if not isinstance(item, Block):
            parts.append(([], "rest"))
        elif item.is_step_back:
            lines, how = parts.pop()
            alone = ([lines[-1]], f"{how} and back to {spoken_tempo(item.tempo)}")
            parts += [(lines[:-1], how), alone] if lines[:-1] else [alone]
            if len(parts) > 1 and parts[-2][1] == alone[1]:
                parts[-2:] = [(parts[-2][0] + alone[0], alone[1])]
        elif parts and parts[-1][1] == (how := f"at {spoken_tempo(item.tempo)}"):
            parts[-1][0].append(str(item.line))
        else:
            parts.append(([str(item.line)], f"at {spoken_tempo(item.tempo)}"))
    return "; ".join(
        f"{'line' if len(lines) == 1 else 'lines'} {', '.join(lines)} {how}" if lines else how
        for lines, how in parts
    )


def _print_plan(made: PracticePlan, first: date) -> None:
    from renderer.timing.practice import Block

    console = output_console()
    rows = [
        (
            str(day.number),
            f"{first + timedelta(days=day.number - 1):%a %d %b}",
            f"{float(day.seconds) / 60:.0f} min",
            _day_text(day),
        )
        for day in made.days
    ]
    print_table(("Day", "Date", "Time", "Practice"), rows, made.exercise.title)
    times = {item.repeats for day in made.days for item in day.items if isinstance(item, Block)}
    counts = " or ".join(map(str, sorted(times)))
    console.print(f"A line is played {counts} times at each tempo, after a bar of count-in.")
    for remark in made.remarks:
        console.print(remark, markup=False)
