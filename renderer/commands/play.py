"""`rungwise play`: a track through the speakers, at once."""

from __future__ import annotations

from dataclasses import replace
from itertools import chain, repeat
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from renderer.commands.console import spoken_length
from renderer.commands.options import order_of, refuse_several, settled
from renderer.errors import failure
from renderer.order.settings import Settings

if TYPE_CHECKING:
    from renderer.order.track_job import TrackJob


@settled("play")
def play(
    file: Annotated[Path, typer.Argument(help="An exercise, or the name of a shipped one.")],
    settings: Settings,
    loop: Annotated[
        bool, typer.Option("--loop", help="Begin again at the end, until Ctrl-C.")
    ] = False,
    device: Annotated[
        str, typer.Option("--device", help="The speakers, by number or a part of their name.")
    ] = "",
) -> None:
    """Play a track through the speakers while it is rendered, without a file.

    Reads an exercise; plays it at once as `rungwise render` would make it with the same settings.
    Needs the library sounddevice. Ctrl-C stops it. Set the level before you blow, and keep it low:
    headphones can be too loud for your ears.

    Example: rungwise play birls --line 2 --tempo 60 --loop
    """
    from renderer.delivery.speakers import play_blocks

    refuse_several(settings, "one track is played at a time")
    job = _job(file, settings)
    track = job.track()

    def say() -> None:
        length = spoken_length(float(job.duration))
        typer.echo(f"{job.exercise.title}: {length}. Ctrl-C stops it.", err=True)

    passes = repeat(track) if loop else [track]
    blocks = chain.from_iterable(passes)
    play_blocks(blocks, track.rate, track.channels, device=device, on_begin=say)


def _job(file: Path, settings: Settings) -> TrackJob:
    order = order_of([file], settings)
    exercises = order.exercises()
    if len(exercises) > 1:
        raise failure(f"that is {len(exercises)} tunes", "name one of them", place="tune")
    if settings.climb is None:
        # Of a ladder that the exercise has, its own tempo.
        tempo = settings.tempo_of(exercises[0])
        order = replace(order, settings=replace(settings, tempo=tempo, ladder=None))
    jobs = order.jobs(Path())
    if len(jobs) > 1:
        raise failure(
            f"each of {len(jobs)} lines makes a track of its own, and one is played at a time",
            "give one of them as --line",
            place="each_line",
        )
    return jobs[0]
