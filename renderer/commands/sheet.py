"""`rungwise sheet`: the page for the music stand."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from renderer.commands.engraved import make_engraved
from renderer.commands.options import Replace, Tidy, settled
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
    from renderer.delivery.sheet.output import check_ending
    from renderer.order.documents import Document

    check_ending(output)
    make_engraved(
        Document.SHEET,
        files,
        output,
        settings,
        replace=replace,
        tidy=tidy,
        after_engraving="Laying out pages",
    )
