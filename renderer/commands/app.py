"""The command line's application: one verb for each job, each in a module beside this one."""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated

import typer

from renderer import __version__
from renderer.commands.audition import audition
from renderer.commands.compose import abridge, coverage, expand, list_exercises
from renderer.commands.convert import convert
from renderer.commands.events import events
from renderer.commands.plan import plan
from renderer.commands.render import demo, render
from renderer.commands.sheet import sheet
from renderer.commands.technique import check, fingering, ornaments

app = typer.Typer(
    name="rungwise",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
    rich_markup_mode="markdown",
    help=(
        "Turn the exercise a piping teacher writes into a sheet and play-along tracks: at the "
        "pitch of the learner's chanter, from slow to full tempo, with count-in, drone and "
        "metronome, every gracenote of one length."
    ),
)
_COMMANDS: tuple[Callable[..., None], ...] = (
    demo,
    render,
    sheet,
    convert,
    check,
    events,
    ornaments,
    fingering,
    audition,
    expand,
    coverage,
    abridge,
    plan,
)
for command in _COMMANDS:
    app.command()(command)
app.command("list")(list_exercises)


def _print_version(asked: bool) -> None:
    if asked:
        typer.echo(f"rungwise {__version__}")
        raise typer.Exit


@app.callback()
def options(
    version: Annotated[
        bool,
        typer.Option(
            "--version", callback=_print_version, is_eager=True, help="Print the version and end."
        ),
    ] = False,
) -> None:
    """Take what may stand before a verb; nothing is left to do for it."""
