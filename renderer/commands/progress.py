"""What shows how far long work has come."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rich.progress import Progress as Bar

    from renderer.delivery.packing.making import Progress


@contextmanager
def in_seconds_of_audio() -> Iterator[Callable[[float, float], None]]:
    """Give a callback that moves a bar: seconds of audio made and in all, with the time left.

    Where nobody watches there is none. The bar begins with the first call, so that what draws it is
    imported, where it is needed, while others are at work.
    """
    with _bar() as update:
        yield lambda done, total: update("Rendering", done, total, "s of audio")


@contextmanager
def of_a_pack() -> Iterator[Callable[[Progress], None]]:
    """Give a callback that moves a bar as far as a pack is: plans, tracks, pages, what is sent."""
    with _bar() as update:

        def moved(now: Progress) -> None:
            if now.plans < now.all_plans:
                update("Planning", now.plans, now.all_plans, "plans")
            elif now.seconds < now.all_seconds:
                update("Rendering", now.seconds, now.all_seconds, "s of audio")
            elif now.files < now.all_files:
                update("Sheets and pages", now.files, now.all_files, "files")
            else:
                update("Packing", now.folders, now.all_folders, "folders")

        yield moved


@contextmanager
def _bar() -> Iterator[Callable[[str, float, float, str], None]]:
    """Give what moves a bar: what is being done, how much of it, of how much, in which unit."""
    with ExitStack() as shown:
        bar: Bar | None = None
        last: str | None = None

        def update(doing: str, done: float, total: float, unit: str) -> None:
            nonlocal bar, last
            if last is None and (bar := _drawn()) is not None:
                shown.enter_context(bar)
                bar.add_task(doing, total=total, unit=unit)
            if bar is not None:
                (task,) = bar.task_ids
                if doing != last:
                    bar.reset(task, total=total, description=doing, unit=unit)
                bar.update(task, completed=done, total=total)
            last = doing

        yield update


def _drawn() -> Bar | None:
    """Return a bar; none where nobody watches."""
    from rich.console import Console

    console = Console(stderr=True)
    if not console.is_terminal:
        return None
    from rich.progress import BarColumn, TextColumn, TimeRemainingColumn
    from rich.progress import Progress as Bar

    columns = (
        TextColumn("{task.description}"),
        BarColumn(),
        TextColumn("{task.completed:.0f} of {task.total:.0f} {task.fields[unit]}"),
        TimeRemainingColumn(),
        TextColumn("left"),
    )
    return Bar(*columns, console=console, transient=True)
