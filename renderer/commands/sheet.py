"""`rungwise sheet`: the page for the music stand."""

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


@settled("sheet")
def sheet(
    files: Annotated[
        list[Path], typer.Argument(help="Exercises, or names of shipped ones.", show_default=False)
    ],
    output: Annotated[
        Path,
        typer.Option(
            "-o",
            "--output",
            help="A file that ends in .pdf, .svg or .png; several pages of SVG or PNG are "
            "numbered: name-1.png, name-2.png.",
        ),
    ],
    settings: Settings,
    replace: Replace = False,
    tidy: Tidy = False,
) -> None:
    """Print exercises as a sheet for the music stand, or several as a booklet.

    Reads exercises (TOML, ABC, MusicXML, MIDI); writes the file given by -o. Beside each line stand
    its rungs to tick off, under it what to watch. The same exercise gives the same file, byte for
    byte.

    Example: rungwise sheet doublings.toml -o doublings.pdf --size large
    """
    from rich.console import Console

    from renderer.delivery.carrying_out import carry_out
    from renderer.delivery.claims import order_identity
    from renderer.delivery.render import Keeping
    from renderer.delivery.sheet.output import check_ending
    from renderer.order.documents import Document

    check_ending(output)
    ordered = order_of(files, settings)
    job = ordered.document(Document.SHEET, output)
    names = [source.name for source in ordered.sources]
    order = order_identity("sheet", names, output.parent, settings, output.name)
    count = len(job.exercises)
    with Console(stderr=True).status("Engraving") as status:

        def moved(done: float, _: float) -> None:
            if done >= count:
                status.update("Laying out pages")
            elif count > 1:
                status.update(f"Engraving exercise {done + 1:.0f} of {count}")

        made = carry_out(job, on_progress=moved, keeping=Keeping(order, replace))
    console = output_console()
    for text in (*(f"Note: {remark}" for remark in made.remarks), *map(str, made.paths)):
        console.print(text, markup=False, highlight=False, soft_wrap=True)
    say_left_over(output.parent, order, made.paths, tidy=tidy)
