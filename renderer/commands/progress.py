"""What shows how far long work has come."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager


@contextmanager
def in_seconds_of_audio() -> Iterator[Callable[[float, float], None]]:
    """Give a callback that moves a bar: seconds of audio made and in all, with the time left.

    Where nobody watches there is none.
    """
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

    console = Console(stderr=True)
    columns = (
        TextColumn("{task.description}"),
        BarColumn(),
        TextColumn("{task.completed:.0f} of {task.total:.0f} s of audio"),
        TimeRemainingColumn(),
        TextColumn("left"),
    )
    bar = Progress(*columns, console=console, transient=True, disable=not console.is_terminal)
    with bar:
        task = bar.add_task("Rendering", total=0)
        yield lambda done, total: bar.update(task, completed=done, total=total)
