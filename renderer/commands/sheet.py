"""`rungwise sheet`: the page for the music stand."""

from __future__ import annotations

import datetime
import enum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from renderer.commands import scores, values
from renderer.commands.options import read_all, refuse_missing_line
from renderer.errors import failure

if TYPE_CHECKING:
    from collections.abc import Sequence

    from renderer.delivery.sheet.layout import Form, SheetSettings
    from renderer.delivery.sheet.pages import Booklet
    from renderer.notation.score import Exercise


class PaperName(enum.StrEnum):
    """Paper sizes."""

    A4 = "a4"
    LETTER = "letter"


class SizeName(enum.StrEnum):
    """Print sizes."""

    NORMAL = "normal"
    LARGE = "large"


def _form(opened: bool, closed: bool, both: bool) -> Form:
    from renderer.delivery.sheet.layout import Form

    if opened + closed + both > 1:
        raise failure(
            "--opened, --closed and --both exclude each other",
            "choose one; --both prints both forms one under the other",
        )
    if both:
        return Form.BOTH
    if opened:
        return Form.OPEN
    return Form.CLOSED if closed else Form.AS_WRITTEN


def _timestamp(day: datetime.date | None) -> int | None:
    """Return midnight of a day in seconds since 1970."""
    if day is None:
        return None
    return int(datetime.datetime(day.year, day.month, day.day, tzinfo=datetime.UTC).timestamp())


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
    opened: Annotated[
        bool, typer.Option("--opened", help="Print every ornament opened out into real notes.")
    ] = False,
    closed: Annotated[
        bool, typer.Option("--closed", help="Print every ornament as a gracenote group.")
    ] = False,
    both: Annotated[
        bool, typer.Option("--both", help="Print both forms one under the other.")
    ] = False,
    fingering: Annotated[
        bool, typer.Option("--fingering", help="Print the finger changes under each line.")
    ] = False,
    size: Annotated[
        SizeName | None,
        typer.Option(
            case_sensitive=False,
            help="large can be read from two metres away. Left out: normal, and larger where a "
            "page has room for it.",
            show_default=False,
        ),
    ] = None,
    paper: Annotated[
        PaperName, typer.Option(case_sensitive=False, help="The paper.")
    ] = PaperName.A4,
    landscape: Annotated[bool, typer.Option("--landscape", help="Print across the page.")] = False,
    booklet: Annotated[
        str | None,
        typer.Option(
            help="The title of a booklet with cover and contents. Several exercises always make "
            "one.",
            show_default=False,
        ),
    ] = None,
    audience: Annotated[
        str, typer.Option("--for", help="The class or band on the booklet's cover.")
    ] = "",
    link: Annotated[
        str, typer.Option(help="A web address, printed as a QR code, where the tracks are.")
    ] = "",
    gracenote: Annotated[
        str | None, typer.Option(help="Length of the gracenotes, such as '45 ms'.")
    ] = None,
    date: Annotated[
        datetime.date | None,
        values.day("--date", help="A date for the foot of the pages; none if left out."),
    ] = None,
    line: Annotated[
        int | None, values.whole("--line", 2, help="Only this line, from 1.", show_default=False)
    ] = None,
    part: scores.PartOption = None,
    tune: scores.TuneOption = None,
    transpose: scores.TransposeOption = "0",
    rests: scores.RestsOption = scores.RestsName.SILENCE,
    no_repeats: scores.NoRepeatsOption = False,
    gracenote_under: scores.GracenoteUnderOption = scores.USUAL_GRACENOTE_UNDER,
) -> None:
    """Print exercises as a sheet for the music stand, or several as a booklet.

    Reads exercises (TOML, ABC, MusicXML, MIDI); writes the file given by -o. Beside each line stand
    its rungs to tick off, under it what to watch. The same exercise gives the same file, byte for
    byte.

    Example: rungwise sheet doublings.toml -o doublings.pdf --size large
    """
    from renderer.delivery.sheet.layout import Paper, PrintSize, SheetSettings
    from renderer.delivery.sheet.output import check_ending

    check_ending(output)
    settings = SheetSettings(
        paper=Paper(paper.value),
        landscape=landscape,
        size=None if size is None else PrintSize(size.value),
        form=_form(opened, closed, both),
        fingering=fingering,
        link=_link(link),
        dated=_timestamp(date),
    )
    exercises = read_all(
        files,
        gracenote=gracenote,
        reading=scores.reading_of(part, tune, transpose, rests, no_repeats, gracenote_under),
    )
    if line is not None:
        for exercise in exercises:
            refuse_missing_line(exercise, line)
        exercises = [exercise.only(line) for exercise in exercises]
    _write(exercises, output, settings, _booklet(exercises, booklet, audience))


def _link(link: str) -> str:
    from renderer.delivery.sheet.layout import LONGEST_LINK

    if len(link.encode()) > LONGEST_LINK:
        raise failure(
            f"the link is {len(link.encode())} bytes long",
            f"a QR code that a phone reads from paper holds at most {LONGEST_LINK}",
            place="--link",
        )
    return link.strip()


def _booklet(exercises: Sequence[Exercise], title: str | None, audience: str) -> Booklet | None:
    from renderer.delivery.sheet.pages import Booklet

    if title is None and len(exercises) == 1:
        return None
    audiences = dict.fromkeys(one.audience for one in exercises if one.audience)
    # A name that all exercises share goes on the cover; of several, none is the booklet's.
    shared = next(iter(audiences)) if len(audiences) == 1 else ""
    return Booklet(title or "Exercises", audience or shared)


def _write(
    exercises: Sequence[Exercise], output: Path, settings: SheetSettings, booklet: Booklet | None
) -> None:
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
            contents.append(content_of(exercise, settings))
        status.update("Laying out pages")
        pages = enlarged(lay_out(contents, settings, booklet), exercises[0])
        paths = write_pages(pages, output)
    console = output_console()
    remarks = [remark for one in contents for remark in one.remarks]
    for text in (*(f"Note: {remark}" for remark in dict.fromkeys(remarks)), *map(str, paths)):
        console.print(text, markup=False, highlight=False, soft_wrap=True)
