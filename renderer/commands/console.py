"""What commands print on, and how they print tables and times; nothing here is heavy."""

from __future__ import annotations

import sys
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rich.console import Console
    from rich.status import Status
    from rich.text import Text


def output_console() -> Console:
    """Return the console that results are printed on, wide where no terminal sets its width.

    A file called `a :cat: b` is printed as that.
    """
    from rich.console import Console

    return Console(emoji=False) if sys.stdout.isatty() else Console(emoji=False, width=160)


def print_table(
    headings: Sequence[str],
    rows: Iterable[Sequence[str]],
    title: str = "",
    *,
    whole: Sequence[str] = (),
) -> None:
    """Print a table of texts; long ones fold, but for those under the headings in `whole`."""
    from rich import box
    from rich.table import Table
    from rich.text import Text

    table = Table(box=box.SIMPLE_HEAD, title=Text(title) if title else None, title_justify="left")
    for heading in headings:
        table.add_column(heading, overflow="fold", no_wrap=heading in whole)
    for row in rows:
        # As Text: what a teacher writes in brackets is no markup.
        table.add_row(*(Text(cell) for cell in row))
    output_console().print(table)


_LINES_AT_A_TIME = 200


def print_lines(lines: Iterable[Text]) -> None:
    """Print texts, each on lines of its own, long ones folded at blanks.

    rich asks the terminal for its size at each print and looks for blanks in every text, so many
    short texts go out together, and those that fit are not looked through.
    """
    from rich.cells import cell_len
    from rich.console import Group

    console = output_console()
    width = console.width
    rest = list(lines)
    for text in rest:
        text.no_wrap = all(cell_len(one) <= width for one in text.plain.split("\n"))
    for begin in range(0, len(rest), _LINES_AT_A_TIME):
        console.print(Group(*rest[begin : begin + _LINES_AT_A_TIME]))


def spoken_length(seconds: float) -> str:
    """A playing time as players read it: `3:07`, or `1:02:09` from an hour on."""
    whole = round(seconds)
    hours, rest = divmod(whole, 3600)
    minutes, left = divmod(rest, 60)
    return f"{hours}:{minutes:02d}:{left:02d}" if hours else f"{minutes}:{left:02d}"


def at_work(doing: str) -> Status:
    """Return what shows, while it is entered, that the program is at work."""
    from rich.console import Console

    return Console(stderr=True).status(doing)
