"""The entry point: a call of `rungwise` to its exit code.

What a user can put right is printed as one line a problem and ends with exit code 2; nothing ends
in a traceback. Only `main` imports the rest of the program, when it is ready to be interrupted.
"""

from __future__ import annotations

import contextlib
import errno
import io
import os
import sys

TYPE_CHECKING = False  # what a type checker takes for true; `typing` is slow to import
if TYPE_CHECKING:
    from typing import NoReturn

_INTERRUPTED = 130
"""The exit code of a command that was stopped by Ctrl-C (128 and the signal's number)."""


_MOST_PROBLEMS = 50
"""How many problems are printed before the rest is only counted."""


def _make_printable() -> None:
    """See to it that a terminal of few letters, or none at all, stops no command."""
    # Python gives None for a stream that was closed before it started.
    if sys.stdout is None:
        sys.stdout = open(os.devnull, "w", encoding="utf-8")  # noqa: PTH123, SIM115
    if sys.stderr is None:
        sys.stderr = open(os.devnull, "w", encoding="utf-8")  # noqa: PTH123, SIM115
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")


def _drop_output() -> None:
    """Send what is still to be flushed nowhere, so that Python's end says nothing about it."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


_STOPPED = "Stopped; nothing half-written was left behind."


_asked_to_stop: list[int] = []
"""The signals that have come."""


def _stop(number: int, _frame: object) -> None:
    """End by an exception, so that what is half-written goes; once, since that takes its time.

    A second one could come just where a file is about to be removed, and leave it there.
    """
    _asked_to_stop.append(number)
    if len(_asked_to_stop) == 1:
        raise KeyboardInterrupt


def _stop_at_once(_signal: int, _frame: object) -> None:
    """End while the program is still being imported: an exception there could go anywhere."""
    with contextlib.suppress(OSError):
        os.write(2, f"{_STOPPED}\n".encode())
    os._exit(_INTERRUPTED)


def _explained(error: Exception) -> int:
    """Say what stopped the program that nothing else explains, and return its exit code."""
    if _asked_to_stop:
        # What is interrupted may end in an error of its own.
        print(_STOPPED, file=sys.stderr)
        return _INTERRUPTED
    if isinstance(error, OSError) and error.errno == errno.ENOSPC and error.filename is None:
        print("The disk that the output goes to is full.", file=sys.stderr)
        _drop_output()
        return 2
    if isinstance(error, PermissionError) and error.filename is not None:
        # A folder that may be listed but not looked into fails at the first question about it.
        print(
            f"{error.filename}: there is no permission to look here. Ask whoever the folder "
            "belongs to, or choose another.",
            file=sys.stderr,
        )
        return 2
    if isinstance(error, UnicodeEncodeError) and error.encoding != "utf-8":
        print(
            f"This terminal's settings know no letter {error.object[error.start]!a} in file names. "
            "Put LC_ALL=C.UTF-8 before the command.",
            file=sys.stderr,
        )
        return 2
    print(
        f"Rungwise has a fault of its own: {type(error).__name__}: {error}. Please report it "
        "with the exercise; RUNGWISE_TRACEBACK=1 before the command shows where it happened.",
        file=sys.stderr,
    )
    return 70


def _end(end: SystemExit) -> NoReturn:
    """End as Typer says, but for what it ends in its own way."""
    if isinstance(end.__context__, BrokenPipeError):
        # The reader of our output has gone (`| true`); what it wanted, it has.
        _drop_output()
        sys.exit(0)
    # Typer turns Ctrl-C into this code without a word.
    if end.code == _INTERRUPTED:
        _leave()
    raise end


def _leave() -> NoReturn:
    """Say that work was stopped, and end at once.

    What is half-written is gone by now. What Python does at its end can take seconds, while a page
    is being engraved in another thread.
    """
    with contextlib.suppress(OSError):  # the terminal may be closed
        print(_STOPPED, file=sys.stderr, flush=True)
        sys.stdout.flush()
    os._exit(_INTERRUPTED)


def _refuse_no_output(words: list[str]) -> None:
    """Refuse an empty name behind -o: a folder's path with nothing behind it, it would be "."."""
    from itertools import pairwise

    from renderer.errors import failure

    for word, following in pairwise(words):
        if word in ("-o", "--output") and not following.strip():
            raise failure("the name is empty", "name a file or folder", place=word)
    for word in words:
        if word == "--output=":
            raise failure("the name is empty", "name a file or folder", place="--output")
        if word in ("-out", "-output"):
            # Read letter by letter, it would be a folder called `ut`.
            raise failure("one hyphen goes with one letter", "write -o or --output", place=word)


def _help() -> None:
    """Print the help that lists the verbs, which needs nothing of what follows."""
    from renderer.commands.verbs import help_text

    try:
        _make_printable()
        sys.stdout.write(help_text())
        sys.stdout.flush()
    except KeyboardInterrupt:
        print(_STOPPED, file=sys.stderr)
        sys.exit(_INTERRUPTED)
    except BrokenPipeError:
        _drop_output()
    except OSError as error:
        sys.exit(_explained(error))


def _end_if_it_stands() -> None:
    """Say that nothing is to be done, and end, where a pack stands as the same call has left it."""
    if sys.argv[1:2] == ["pack"]:
        from renderer.delivery.packing.standing import said_before

        if (said := said_before(sys.argv[2:])) is not None:
            print(said)
            sys.exit(0)


def main() -> None:
    """Run the command line and exit with its code: 0, or 2 with a message for what was wrong."""
    if sys.argv[1:] in ([], ["--help"], ["-h"]):
        _help()
        sys.exit(0 if sys.argv[1:] else 2)
    _run()


def _run() -> None:
    """Run a verb and exit with its code."""
    import gc
    import signal

    # Exercises and events are many small values without cycles: to look for some now and then is
    # enough. Checking 5,000 lines takes a tenth less.
    gc.set_threshold(200_000, 20, 20)
    # Where Ctrl-C is ignored (a job in the background), it stays so.
    is_heeded = signal.getsignal(signal.SIGINT) is signal.default_int_handler
    if is_heeded:
        signal.signal(signal.SIGINT, _stop_at_once)
    _make_printable()
    _end_if_it_stands()
    # Products of matrices are small here, and many: several threads at one of them would wait for
    # each other longer than they work. A short track takes a quarter less of the processors.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    # Pydantic would look through everything that is installed for extensions of itself.
    os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")
    from renderer.commands.app import app
    from renderer.errors import RungwiseError, one_line

    # A polite request to end, or a terminal that is closed, is treated as Ctrl-C is, so that it
    # leaves nothing half-written; under nohup the latter is ignored, and stays so.
    signal.signal(signal.SIGTERM, _stop)
    hang_up = getattr(signal, "SIGHUP", None)  # Windows has none
    if hang_up is not None and signal.getsignal(hang_up) is signal.SIG_DFL:
        signal.signal(hang_up, _stop)
    try:
        if is_heeded:
            signal.signal(signal.SIGINT, _stop)
        try:
            _refuse_no_output(sys.argv[1:])
            app()
        finally:
            sys.stdout.flush()
            # Cycles go with the process: to look for them at the end takes a tenth of a short run.
            gc.freeze()
    except RungwiseError as error:
        for problem in error.problems[:_MOST_PROBLEMS]:
            print(one_line(str(problem)), file=sys.stderr)
        if (more := len(error.problems) - _MOST_PROBLEMS) > 0:
            print(f"... and {more} more of them.", file=sys.stderr)
        sys.exit(2)
    except SystemExit as end:
        _end(end)
    except KeyboardInterrupt:
        _leave()
    except BrokenPipeError:
        # The reader of our output has gone (`| head`); what it wanted, it has.
        _drop_output()
        sys.exit(0)
    except Exception as error:
        if os.environ.get("RUNGWISE_TRACEBACK"):
            raise
        sys.exit(_explained(error))


if __name__ == "__main__":
    main()
