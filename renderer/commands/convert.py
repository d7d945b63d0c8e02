"""`rungwise convert`: an exercise from one written form to another."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from renderer.commands.console import output_console
from renderer.commands.options import Replace, order_of, refuse_several, refuse_to_replace, settled
from renderer.order.settings import Settings


@settled("convert")
def convert(
    sources: Annotated[
        list[Path],
        typer.Argument(
            metavar="IN...",
            help="A definition, ABC, MusicXML or MIDI file, or a shipped exercise; several become "
            "a medley.",
        ),
    ],
    target: Annotated[
        Path,
        typer.Argument(
            metavar="OUT", help="The file to write: .toml, .abc, .musicxml, .xml, .mxl or .mid."
        ),
    ],
    settings: Settings,
    replace: Replace = False,
) -> None:
    """Write an exercise in another form: definition, ABC, MusicXML or MIDI.

    Reads any of them, or a shipped exercise by name; writes the form that OUT's ending names, and
    lists what that form does not hold. Several files, or all tunes of one (--tune all), become a
    medley that is called after OUT: one after the other, each at its own tempo. In MIDI each line
    is played once and the next follows at once, unless settings say otherwise.

    Example: rungwise convert doublings.toml doublings.musicxml
    """
    from renderer.delivery.carrying_out import carry_out
    from renderer.delivery.render import Keeping
    from renderer.order.documents import Document

    for source in sources:
        refuse_to_replace(source, target)
    refuse_several(settings, "a score is of one track")
    job = order_of(sources, settings).document(Document.SCORE, target)
    made = carry_out(job, keeping=Keeping(replace=replace))
    console = output_console()
    for remark in made.remarks:
        console.print(remark, markup=False, highlight=False)
    console.print(f"Written: {target}", markup=False, highlight=False)
    if made.lost:
        console.print(f"What {target.suffix} does not hold:", markup=False, highlight=False)
    for phrase in made.lost:
        console.print(f"  - {phrase}", markup=False, highlight=False)
