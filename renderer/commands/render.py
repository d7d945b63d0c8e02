"""`rungwise render` and `rungwise demo`: play-along tracks from exercises."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import contextmanager
from dataclasses import replace as replaced
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from renderer.commands.announce import DryRun, announce, counted, print_forecast
from renderer.commands.options import (
    Replace,
    Tidy,
    order_of,
    output_console,
    say_left_over,
    settled,
    spoken_length,
)
from renderer.errors import RungwiseError, failure
from renderer.order.settings import Settings, read_settings

if TYPE_CHECKING:
    from collections.abc import Iterator

    from rich.console import Console

    from renderer.delivery.render import Keeping, RenderedTrack
    from renderer.order.order import Order
    from renderer.order.track_job import TrackJob


@contextmanager
def _progress(console: Console) -> Iterator[Callable[[float, float], None]]:
    """Give a callback that moves a bar; where nobody watches there is none."""
    from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

    columns = (
        TextColumn("{task.description}"),
        BarColumn(),
        TextColumn("{task.percentage:>3.0f}%"),
        TimeRemainingColumn(),
    )
    bar = Progress(*columns, console=console, transient=True, disable=not console.is_terminal)
    with bar:
        task = bar.add_task("Rendering", total=None)
        yield lambda done, total: bar.update(task, completed=done, total=total)


def _print_table(
    console: Console,
    tracks: Sequence[RenderedTrack],
    playlists: Sequence[Path],
    sheets: Sequence[Path] = (),
) -> None:
    from rich.table import Table
    from rich.text import Text

    table = Table(box=None, pad_edge=False, header_style="bold")
    table.add_column("Written", overflow="fold")
    for heading in ("Plays", "Size"):
        table.add_column(heading, justify="right", no_wrap=True)
    for sheet in sheets:
        table.add_row(Text(sheet.name), "", f"{sheet.stat().st_size / 1e6:.1f} MB")
    for track in tracks:
        length = spoken_length(float(track.duration))
        table.add_row(Text(track.path.name), length, f"{track.bytes / 1e6:.1f} MB")
    console.print(table)
    total = sum(float(track.duration) for track in tracks)
    size = sum(track.bytes for track in tracks) / 1e6
    lists = f" and {counted(len(playlists), 'playlist')}" if playlists else ""
    console.print(
        f"{counted(len(tracks), 'track')}{lists}, "
        f"{spoken_length(total)} of playing, {size:.1f} MB in {tracks[0].path.parent}",
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
    from rich.console import Console

    from renderer.delivery.render import RenderingStoppedError, render_jobs

    jobs = order.jobs(folder)
    announce(jobs)
    try:
        with _progress(Console(stderr=True)) as moved:
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
    if dry_run:
        print_forecast(order.jobs(output))
        return
    keeping = _keeping("render", order, output, replace=replace)
    tracks, playlists = _render(order, output, keeping)
    _print_table(output_console(), tracks, playlists)
    made = [*_files_of(tracks), *playlists]
    say_left_over(output, keeping.order, made, tidy=tidy)


def _files_of(tracks: Sequence[RenderedTrack]) -> list[Path]:
    return [path for track in tracks for path in (track.path, *track.beside)]


def _keeping(verb: str, order: Order, folder: Path, *, replace: bool) -> Keeping:
    from renderer.delivery.claims import order_identity
    from renderer.delivery.render import Keeping

    sources = [source.name for source in order.sources]
    return Keeping(order_identity(verb, sources, folder, order.settings), replace)


DEMO_EXERCISES = ("first-gracenotes", "doublings-over-a-wide-step", "grips-and-taorluaths")
DEMO_PITCHES = ("A", "B flat")
DEMO_ROOM = "small"
DEMO_TITLE, DEMO_CLASS = "Three exercises", "Larkmoor evening class"


def demo(
    output: Annotated[
        Path, typer.Option("-o", "--output", help="The folder for the pack; it is made.")
    ] = Path("out"),
    replace: Replace = False,
    tidy: Tidy = False,
    dry_run: DryRun = False,
) -> None:
    """Make a small pack for the Larkmoor evening class: sheets, and tracks at A and B flat.

    Reads exercises that ship with Rungwise; writes a booklet of sheets, audio files on four rungs
    and playlists into the folder given by -o. Ends with a table of what was written.

    Example: rungwise demo -o out
    """
    from renderer.delivery.carrying_out import carry_out, claim_of_document
    from renderer.delivery.claims import check_claims
    from renderer.order.documents import Document

    settings = read_settings({"pitch": DEMO_PITCHES, "room": DEMO_ROOM})
    order = order_of([Path(name) for name in DEMO_EXERCISES], settings)
    if dry_run:
        print_forecast(order.jobs(output))
        return
    keeping = _keeping("demo", order, output, replace=replace)
    path = output / f"{DEMO_CLASS}.pdf"
    printed = settings.changed(booklet=DEMO_TITLE, audience=DEMO_CLASS)
    job = replaced(order, settings=printed).document(Document.SHEET, path)
    check_claims([(path, claim_of_document(job, keeping))])
    tracks, playlists = _render(order, output, keeping)
    sheets = carry_out(job, keeping=keeping).paths
    _print_table(output_console(), tracks, playlists, sheets)
    made = [*_files_of(tracks), *playlists, *sheets]
    say_left_over(output, keeping.order, made, tidy=tidy)
