"""What is said before long work begins: how long tracks will play and how large they will be."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Annotated

import typer

from renderer.commands.console import output_console, spoken_length

if TYPE_CHECKING:
    from rich.console import Console

    from renderer.delivery.forecast import Forecast
    from renderer.delivery.render import Keeping
    from renderer.order.track_job import TrackJob

DryRun = Annotated[
    bool,
    typer.Option(
        "--dry-run",
        help="Say how long the tracks will play, how large they will be and how long the work "
        "takes; stop there.",
    ),
]

LONG_S = 600
"""Seconds of playing from which it is said beforehand: rendering and encoding them takes more than
a few seconds of work."""


def counted(count: int, noun: str) -> str:
    """Return a count with its noun, in the plural where it is one."""
    return f"1 {noun}" if count == 1 else f"{count} {noun}s"


def _forecast(jobs: Sequence[TrackJob]) -> tuple[Forecast, ...]:
    from rich.console import Console

    from renderer.delivery.forecast import forecast

    with Console(stderr=True).status("Working out sizes") as status:
        return forecast(
            jobs, lambda number: status.update(f"Working out sizes: encoding sample {number}")
        )


def _sum_of(made: Sequence[Forecast], jobs: Sequence[TrackJob]) -> str:
    from renderer.delivery.render import cores
    from renderer.delivery.work import work_of

    seconds = float(sum(one.duration for one in made))
    size = sum(one.bytes for one in made) / 1e6
    folder = made[0].path.parent
    return (
        f"{counted(len(made), 'track')}, {spoken_length(seconds)} of playing, about {size:.1f} MB; "
        f"{work_of(jobs, cores())}, in {folder}"
    )


def _say(console: Console, words: str) -> None:
    console.print(words, soft_wrap=True, markup=False, highlight=False)


def _due(jobs: Sequence[TrackJob], keeping: Keeping) -> list[TrackJob]:
    """The tracks that are not there yet as they are asked for."""
    from renderer.delivery.render import tracks_there

    there = tracks_there(jobs, keeping)
    return [job for number, job in enumerate(jobs) if number not in there]


def announce(jobs: Sequence[TrackJob], keeping: Keeping) -> None:
    """Say on the error stream what is going to be made, where that takes long."""
    if sum(job.duration for job in jobs) < LONG_S:
        return
    due = _due(jobs, keeping)
    if sum(job.duration for job in due) >= LONG_S:
        from rich.console import Console

        _say(Console(stderr=True), f"Going to make {_sum_of(_forecast(due), due)}.")


def print_forecast(jobs: Sequence[TrackJob], keeping: Keeping) -> None:
    """Print a table of what would be made."""
    from rich.table import Table
    from rich.text import Text

    console, due = output_console(), _due(jobs, keeping)
    if not due:
        tracks = counted(len(jobs), "track")
        are = "is" if len(jobs) == 1 else "are"
        _say(console, f"Nothing was written. Nothing is to be made: {tracks} {are} there already.")
        return
    made = _forecast(due)
    table = Table(box=None, pad_edge=False, header_style="bold")
    table.add_column("Would be written", overflow="fold")
    for heading in ("Plays", "About"):
        table.add_column(heading, justify="right", no_wrap=True)
    for one in made:
        length = spoken_length(float(one.duration))
        table.add_row(Text(one.path.name), length, f"{one.bytes / 1e6:.1f} MB")
    console.print(table)
    kept = len(jobs) - len(due)
    there = f" {counted(kept, 'track')} more would stay, unchanged." if kept else ""
    _say(console, f"Nothing was written. It would be {_sum_of(made, due)}.{there}")
