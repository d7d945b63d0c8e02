"""The command line: one verb for each job, each in `renderer.commands`.

What a user can put right is printed as one line a problem and ends with exit code 2; nothing ends
in a traceback.
"""

from __future__ import annotations

import errno
import io
import os
import signal
import sys
from collections.abc import Callable
from pathlib import Path

import typer

from renderer.commands.compose import abridge, coverage, expand, list_exercises, plan
from renderer.commands.convert import convert
from renderer.commands.events import events
from renderer.commands.render import demo, render
from renderer.commands.sheet import sheet
from renderer.commands.sound import audition
from renderer.commands.technique import check, fingering, ornaments
from renderer.errors import RungwiseError

app = typer.Typer(
    name="rungwise",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
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


_INTERRUPTED = 130
"""The exit code of a command that was stopped by Ctrl-C (128 and the signal's number)."""


_MOST_PROBLEMS = 50
"""How many problems are printed before the rest is only counted."""


def _make_printable() -> None:
    """See to it that a terminal of few letters, or none at all, stops no command."""
    # Python gives None for a stream that was closed before it started.
    if sys.stdout is None:
        sys.stdout = Path(os.devnull).open("w", encoding="utf-8")  # noqa: SIM115
    if sys.stderr is None:
        sys.stderr = Path(os.devnull).open("w", encoding="utf-8")  # noqa: SIM115
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")


def _drop_output() -> None:
    """Send what is still to be flushed nowhere, so that Python's end says nothing about it."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _stop(_signal: int, _frame: object) -> None:
    raise KeyboardInterrupt


def main() -> None:
    """Run the command line and exit with its code: 0, or 2 with a message for what was wrong."""
    # A polite request to end is treated as Ctrl-C is, so that it leaves nothing half-written.
    signal.signal(signal.SIGTERM, _stop)
    _make_printable()
    try:
        try:
            app()
        finally:
            sys.stdout.flush()
    except RungwiseError as error:
        for problem in error.problems[:_MOST_PROBLEMS]:
            print(problem, file=sys.stderr)
        if (more := len(error.problems) - _MOST_PROBLEMS) > 0:
            print(f"... and {more} more of them.", file=sys.stderr)
        sys.exit(2)
    except SystemExit as end:
        # Typer turns Ctrl-C into this code without a word.
        if end.code == _INTERRUPTED:
            print("Stopped; nothing half-written was left behind.", file=sys.stderr)
        raise
    except BrokenPipeError:
        # The reader of our output has gone (`| head`); what it wanted, it has.
        _drop_output()
        sys.exit(0)
    except Exception as error:
        if isinstance(error, OSError) and error.errno == errno.ENOSPC and error.filename is None:
            print("The disk that the output goes to is full.", file=sys.stderr)
            _drop_output()
            sys.exit(2)
        if os.environ.get("RUNGWISE_TRACEBACK"):
            raise
        print(
            f"Rungwise has a fault of its own: {type(error).__name__}: {error}. Please report it "
            "with the exercise; RUNGWISE_TRACEBACK=1 before the command shows where it happened.",
            file=sys.stderr,
        )
        sys.exit(70)


if __name__ == "__main__":
    main()
