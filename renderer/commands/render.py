"""`rungwise render`: play-along tracks from exercises."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from renderer.commands.announce import DryRun, announce, counted, print_forecast
from renderer.commands.console import output_console, spoken_length
from renderer.commands.options import Replace, Tidy, order_of, say_left_over, settled
from renderer.commands.progress import in_seconds_of_audio
from renderer.errors import RungwiseError, failure
from renderer.order.settings import Settings

if TYPE_CHECKING:
    from rich.console import Console

    from renderer.delivery.render import Keeping, RenderedTrack
    from renderer.order.order import Order
    from renderer.order.track_job import TrackJob


def _print_table(
    console: Console,
    tracks: Sequence[RenderedTrack],
    playlists: Sequence[Path],
) -> None:
    from rich.table import Table
    from rich.text import Text

    table = Table(box=None, pad_edge=False, header_style="bold")
    table.add_column("Written", overflow="fold")
    for heading in ("Plays", "Size"):
        table.add_column(heading, justify="right", no_wrap=True)
    for track in tracks:
        length = spoken_length(float(track.duration))
        table.add_row(Text(track.path.name), length, f"{track.bytes / 1e6:.1f} MB")
    console.print(table)
    total = sum(float(track.duration) for track in tracks)
    size = sum(track.bytes for track in tracks) / 1e6
    lists = f" and {counted(len(playlists), 'playlist')}" if playlists else ""
    kept = sum(1 for track in tracks if track.was_there)
    there = "it was" if len(tracks) == 1 else f"{kept} of them {'was' if kept == 1 else 'were'}"
    if kept == len(tracks) > 1:
        there = "all of them were"
    console.print(
        f"{counted(len(tracks), 'track')}{lists}, "
        f"{spoken_length(total)} of playing, {size:.1f} MB in {tracks[0].path.parent}"
        f"{f'; {there} there, unchanged' if kept else ''}",
        soft_wrap=True,
        markup=False,
        highlight=False,
    )


def _listed(
    jobs: Sequence[TrackJob], tracks: Sequence[RenderedTrack], keeping: Keeping
) -> tuple[Path, ...]:
    """Write the playlists of `jobs`; where that fails, say first which tracks were made."""
    from renderer.delivery.render import write_playlists

    try:
        return write_playlists(jobs, keeping)
    except RungwiseError:
        if tracks:
            _print_table(output_console(), tracks, ())
        raise


def _render(
    order: Order, folder: Path, keeping: Keeping
) -> tuple[tuple[RenderedTrack, ...], tuple[Path, ...]]:
    """Render, say what had to be decided, and return the tracks and their playlists."""
    from renderer.delivery.render import RenderingStoppedError, render_jobs

    jobs = order.jobs(folder)
    announce(jobs, keeping)
    try:
        with in_seconds_of_audio() as moved:
            tracks = render_jobs(jobs, on_progress=moved, keeping=keeping)
    except RenderingStoppedError as error:
        # Tracks of an earlier run still stand there, and their playlist is to name them.
        there = [job for job in jobs if job.path.is_file()]
        playlists = _listed(there, error.finished, keeping)
        if error.finished:
            _print_table(output_console(), error.finished, playlists)
        raise
    playlists = _listed(jobs, tracks, keeping)
    console = output_console()
    for remark in dict.fromkeys(remark for track in tracks for remark in track.remarks):
        console.print(f"Note: {remark}", markup=False, highlight=False)
    return tracks, playlists


@settled("render")
def render(
    files: Annotated[
        list[Path], typer.Argument(help="Exercises, or names of shipped ones.", show_default=False)
    ],
    output: Annotated[
        Path, typer.Option("-o", "--output", help="The folder for the tracks; it is made.")
    ],
    settings: Settings,
    replace: Replace = False,
    tidy: Tidy = False,
    dry_run: DryRun = False,
) -> None:
    """Render exercises as play-along tracks, one for each tempo, pitch, mix and format.

    Reads exercises (TOML, ABC, MusicXML, MIDI); writes audio files and playlists into the folder
    given by -o. Ends with a table of what was written.

    Example: rungwise render doublings.toml -o tracks --ladder 50:80:10 --pitch A --pitch 'B flat'
    """
    from renderer.order.formats import AudioFormat

    if output.suffix.lower() in {one.ending for one in AudioFormat} and not output.is_dir():
        raise failure(
            f"{output.name!r} is the name of a file, and each tempo makes one of its own",
            f"name a folder, as {output.stem!r}; --format says what to write",
            place="-o",
        )
    order = order_of(files, settings)
    keeping = _keeping("render", order, output, replace=replace)
    if dry_run:
        print_forecast(order.jobs(output), keeping)
        return
    tracks, playlists = _render(order, output, keeping)
    _print_table(output_console(), tracks, playlists)
    made = [*_files_of(tracks), *playlists]
    say_left_over(output, keeping.order, made, tidy=tidy)


def _files_of(tracks: Sequence[RenderedTrack]) -> list[Path]:
    return [path for track in tracks for path in (track.path, *track.beside)]


def _keeping(verb: str, order: Order, folder: Path, *, replace: bool) -> Keeping:
    from renderer.delivery.claims import identity_of
    from renderer.delivery.render import Keeping

    return Keeping(identity_of(verb, order, folder), replace)
