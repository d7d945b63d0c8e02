"""Sheets on disk: PDF files, and SVG or PNG files of a page each."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Protocol

from renderer.delivery.files import write_whole
from renderer.delivery.sheet.content import content_of
from renderer.delivery.sheet.fitting import enlarged
from renderer.delivery.sheet.layout import USUAL_SETTINGS, SheetSettings
from renderer.delivery.sheet.pages import Booklet, lay_out
from renderer.errors import failure
from renderer.notation.score import Exercise

ENDINGS = (".pdf", ".svg", ".png")


def check_ending(path: Path) -> str:
    """Return the form that a file name asks for, or raise a `RungwiseError` with the known ones."""
    ending = path.suffix.casefold()
    if ending not in ENDINGS:
        raise failure(
            f"a sheet is not written as {path.suffix!r}" if ending else "the name has no ending",
            f"end the name in one of {', '.join(ENDINGS)}",
            file=str(path),
        )
    return ending


def page_paths(path: Path, count: int) -> list[Path]:
    """Return the file of each page: `path` itself for one page, else `name-1.png`, `name-2.png`."""
    if count == 1:
        return [path]
    digits = len(str(count))
    return [
        path.with_name(f"{path.stem}-{number:0{digits}d}{path.suffix}")
        for number in range(1, count + 1)
    ]


class Printable(Protocol):
    """What can be written as pages."""

    def pdf(self) -> bytes:
        """Return all pages as one PDF."""
        ...

    def svgs(self) -> Sequence[bytes]:
        """Return each page as SVG."""
        ...

    def pngs(self) -> Sequence[bytes]:
        """Return each page as PNG."""
        ...


def write_pages(pages: Printable, path: Path) -> tuple[Path, ...]:
    """Write laid-out pages in the form that the file's ending names, and return the files' paths.

    Raises
    ------
    RungwiseError
        For another ending, or if a file cannot be written.
    """
    ending = check_ending(path)
    if ending == ".pdf":
        write_whole(path, pages.pdf())
        return (path,)
    contents = pages.svgs() if ending == ".svg" else pages.pngs()
    paths = page_paths(path, len(contents))
    for one, content in zip(paths, contents, strict=True):
        write_whole(one, content)
    return tuple(paths)


def write_sheet(
    exercises: Exercise | Sequence[Exercise],
    path: str | Path,
    settings: SheetSettings = USUAL_SETTINGS,
    *,
    booklet: Booklet | None = None,
) -> tuple[Path, ...]:
    """Print exercises as a sheet, or as a booklet with cover and contents.

    Parameters
    ----------
    exercises:
        One, or several.
    path:
        A file that ends in .pdf, .svg or .png. Pages of SVG and PNG are files of their own,
        numbered if there are several.
    settings:
        How it is printed.
    booklet:
        The cover; None for none.

    Returns
    -------
    The files' paths.

    Raises
    ------
    RungwiseError
        If the ending is unknown, an ornament cannot be printed as asked, or a file cannot be
        written.
    """
    check_ending(Path(path))
    listed = [exercises] if isinstance(exercises, Exercise) else list(exercises)
    pages = lay_out([content_of(one, settings) for one in listed], settings, booklet)
    return write_pages(enlarged(pages, listed[0]), Path(path))
