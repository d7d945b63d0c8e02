"""`rungwise page`: the practice page."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from renderer.commands.options import (
    Replace,
    Tidy,
    order_of,
    output_console,
    say_left_over,
    settled,
)
from renderer.order.settings import Settings


@settled("page")
def page(
    files: Annotated[
        list[Path], typer.Argument(help="Exercises, or names of shipped ones.", show_default=False)
    ],
    output: Annotated[Path, typer.Option("-o", "--output", help="A file that ends in .html.")],
    settings: Settings,
    replace: Replace = False,
    tidy: Tidy = False,
) -> None:
    """Make a practice page: one file for a browser that plays, loops, climbs and shows notes.

    Reads exercises (TOML, ABC, MusicXML, MIDI); writes the file given by -o. It needs no network
    and no installation: open it on a telephone, a tablet or a computer.

    Example: rungwise page doublings.toml -o doublings.html --pitch A --pitch "B flat"
    """
    from rich.console import Console

    from renderer.delivery.carrying_out import carry_out
    from renderer.delivery.claims import order_identity
    from renderer.delivery.page.one_file import check_ending_of_page
    from renderer.delivery.render import Keeping
    from renderer.order.documents import Document

    check_ending_of_page(output)
    ordered = order_of(files, settings)
    job = ordered.document(Document.PAGE, output)
    names = [source.name for source in ordered.sources]
    order = order_identity("page", names, output.parent, settings, output.name)
    count = len(job.exercises)
    with Console(stderr=True).status("Engraving") as status:

        def moved(done: float, _: float) -> None:
            if done >= count:
                status.update("Making tones")
            elif count > 1:
                status.update(f"Engraving exercise {done + 1:.0f} of {count}")

        made = carry_out(job, on_progress=moved, keeping=Keeping(order, replace))
    console = output_console()
    for text in (*(f"Note: {remark}" for remark in made.remarks), *map(str, made.paths)):
        console.print(text, markup=False, highlight=False, soft_wrap=True)
    say_left_over(output.parent, order, made.paths, tidy=tidy)
