"""The command line: one verb for each job, each in `renderer.commands`.

What a user can put right is printed as one line a problem and ends with exit code 2; nothing ends
in a traceback.
"""

from __future__ import annotations

import os
import signal
import sys
from collections.abc import Callable

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


def _stop(_signal: int, _frame: object) -> None:
    raise KeyboardInterrupt


def main() -> None:
    """Run the command line and exit with its code: 0, or 2 with a message for what was wrong."""
    # A polite request to end is treated as Ctrl-C is, so that it leaves nothing half-written.
    signal.signal(signal.SIGTERM, _stop)
    try:
        app()
    except RungwiseError as error:
        for problem in error.problems:
            print(problem, file=sys.stderr)
        sys.exit(2)
    except SystemExit as end:
        # Typer turns Ctrl-C into this code without a word.
        if end.code == _INTERRUPTED:
            print("Stopped; nothing half-written was left behind.", file=sys.stderr)
        raise
    except BrokenPipeError:
        # The reader of our output has gone (`| head`); what it wanted, it has.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(0)
    except Exception as error:
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
