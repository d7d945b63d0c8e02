"""`rungwise page`: the practice page."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from renderer.commands.engraved import make_engraved
from renderer.commands.options import Replace, Tidy, settled
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
    from renderer.delivery.page.one_file import check_ending_of_page
    from renderer.order.documents import Document

    check_ending_of_page(output)
    make_engraved(
        Document.PAGE,
        files,
        output,
        settings,
        replace=replace,
        tidy=tidy,
        after_engraving="Making tones",
    )
