"""Sheets on disk: PDF files, and SVG or PNG files of a page each."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Protocol

from renderer.delivery.claims import Claim, check_claims, claim, write_kept
from renderer.delivery.sheet.content import material_of
from renderer.delivery.sheet.fitting import fitted
from renderer.delivery.sheet.layout import USUAL_SETTINGS, SheetSettings
from renderer.delivery.sheet.pages import Booklet
from renderer.errors import failure
from renderer.notation.score import Exercise
from renderer.order.kinds import Plain

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


def write_pages(pages: Printable, path: Path, claim: Claim) -> tuple[Path, ...]:
    """Write laid-out pages in the form that the file's ending names, and return the files' paths.

    Parameters
    ----------
    pages:
        The pages.
    path:
        The file; of several pages of SVG or PNG each is a file of its own.
    claim:
        What they are, by which each takes its place.

    Raises
    ------
    RungwiseError
        For another ending, or if a file cannot be written or what is there does not make room;
        none of the pages is written then.
    """
    ending = check_ending(path)
    if ending == ".pdf":
        write_kept(path, pages.pdf(), claim)
        return (path,)
    contents = pages.svgs() if ending == ".svg" else pages.pngs()
    paths = page_paths(path, len(contents))
    check_claims((one, claim) for one in paths)
    for one, content in zip(paths, contents, strict=True):
        write_kept(one, content, claim)
    return tuple(paths)


def claim_of_sheet(
    sources: Sequence[str],
    path: Path,
    which: Mapping[str, Plain],
    *,
    what: str = "a sheet",
    order: str = "",
    replace: bool = False,
) -> Claim:
    """Return the claim of a sheet: how it is printed makes no difference.

    Parameters
    ----------
    sources:
        What it is printed from.
    path:
        Its file.
    which:
        What of them is printed.
    what, order, replace:
        As for `renderer.delivery.claims.claim`.
    """
    return claim(what, sources, path.parent, which, order=order, replace=replace)


def write_sheet(
    exercises: Exercise | Sequence[Exercise],
    path: str | Path,
    settings: SheetSettings = USUAL_SETTINGS,
    *,
    booklet: Booklet | None = None,
    order: str = "",
    replace: bool = False,
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
    order:
        The order that the sheet belongs to, from `renderer.delivery.claims.order_identity`.
    replace:
        Whether files that are there are replaced even if they are something else, or changed.

    Returns
    -------
    The files' paths.

    Raises
    ------
    RungwiseError
        If the ending is unknown, an ornament cannot be printed as asked, or a file cannot be
        written or is not to be replaced.
    """
    path = Path(path)
    check_ending(path)
    listed = [exercises] if isinstance(exercises, Exercise) else list(exercises)
    mine = claim_of_sheet(
        [one.source or one.title for one in listed],
        path,
        {"lines": [one.first_number for one in listed]},
        order=order,
        replace=replace,
    )
    check_claims([(path, mine)])
    pages = fitted([material_of(one, settings) for one in listed], settings, booklet)
    return write_pages(pages, path, mine)
