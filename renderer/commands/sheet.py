"""`rungwise sheet`: the page for the music stand."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from renderer.commands.options import Replace, Tidy, order_of, say_left_over, settled
from renderer.order.settings import Settings

if TYPE_CHECKING:
    from collections.abc import Sequence

    from renderer.delivery.claims import Claim
    from renderer.delivery.sheet.layout import SheetSettings
    from renderer.delivery.sheet.pages import Booklet
    from renderer.notation.score import Exercise


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
    from renderer.delivery.claims import check_claims, of_line, order_identity, which_is_read
    from renderer.delivery.sheet.layout import sheet_settings
    from renderer.delivery.sheet.output import check_ending, claim_of_sheet

    check_ending(output)
    printing = sheet_settings(settings)
    ordered = order_of(files, settings)
    exercises = [settings.applied_to(one) for one in ordered.exercises()]
    booklet = _booklet(exercises, settings.booklet, settings.audience)
    sources = [source.name for source in ordered.sources]
    order = order_identity("sheet", sources, output.parent, settings, output.name)
    which = which_is_read(settings)
    what = of_line("a sheet", settings)
    mine = claim_of_sheet(sources, output, which, what=what, order=order, replace=replace)
    check_claims([(output, mine)])
    paths = _write(exercises, output, printing, settings, booklet, mine)
    say_left_over(output.parent, order, paths, tidy=tidy)


def _booklet(exercises: Sequence[Exercise], title: str | None, audience: str) -> Booklet | None:
    from renderer.delivery.sheet.pages import Booklet

    if title is None and len(exercises) == 1:
        return None
    audiences = dict.fromkeys(one.audience for one in exercises if one.audience)
    # A name that all exercises share goes on the cover; of several, none is the booklet's.
    shared = next(iter(audiences)) if len(audiences) == 1 else ""
    return Booklet(title or "Exercises", audience or shared)


def _write(
    exercises: Sequence[Exercise],
    output: Path,
    printing: SheetSettings,
    settings: Settings,
    booklet: Booklet | None,
    mine: Claim,
) -> Sequence[Path]:
    from rich.console import Console

    from renderer.commands.options import output_console
    from renderer.delivery.sheet.content import content_of
    from renderer.delivery.sheet.fitting import enlarged
    from renderer.delivery.sheet.output import write_pages
    from renderer.delivery.sheet.pages import lay_out

    with Console(stderr=True).status("Engraving") as status:
        contents = []
        for number, exercise in enumerate(exercises, start=1):
            if len(exercises) > 1:
                status.update(f"Engraving exercise {number} of {len(exercises)}")
            contents.append(content_of(exercise, printing, settings))
        status.update("Laying out pages")
        pages = enlarged(lay_out(contents, printing, booklet), exercises[0], settings)
        paths = write_pages(pages, output, mine)
    console = output_console()
    remarks = [remark for one in contents for remark in one.remarks]
    for text in (*(f"Note: {remark}" for remark in dict.fromkeys(remarks)), *map(str, paths)):
        console.print(text, markup=False, highlight=False, soft_wrap=True)
    return paths
