"""A book abridged: its music in, the few lines that miss as little as possible out.

How many lines a page holds is known only once they are laid out, so a book is shortened to pages by
trying; everything else is `renderer.technique.abridge`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from renderer.errors import failure
from renderer.notation.definition.reader import Definition
from renderer.notation.limits import LONGEST_TITLE
from renderer.notation.score import Exercise
from renderer.technique.abridge import Candidate, Selection, abridge, candidate, cover_all

_ABRIDGED = " (abridged)"


@dataclass(frozen=True, slots=True)
class Shortness:
    """How short a book is to be: so many lines or so many pages; neither: all is covered."""

    lines: int | None = None
    pages: int | None = None


def choose(music: Exercise, written: Sequence[object], short: Shortness) -> Selection:
    """Choose lines of a book.

    Parameters
    ----------
    music:
        The book.
    written:
        Its definition's lines, one for each of its lines.
    short:
        How short it is to be.

    Raises
    ------
    RungwiseError
        For less than a line or a page, and if not even one line fits.
    """
    candidates = [candidate(line, one) for line, one in zip(music.lines, written, strict=True)]
    if short.lines is not None:
        return abridge(candidates, short.lines)
    if short.pages is None:
        return cover_all(candidates)
    return _on_pages(music, candidates, short.pages)


def _on_pages(music: Exercise, candidates: Sequence[Candidate], pages: int) -> Selection:
    """Choose as many lines as the pages hold, laid out as a sheet prints them."""
    from renderer.delivery.sheet.fitting import lines_that_fit, pages_of

    if pages < 1:
        raise failure(f"{pages} pages are none", "ask for at least 1", place="--pages")

    def fits(selection: Selection) -> bool:
        chosen = tuple(music.lines[index] for index in selection.lines)
        return pages_of(replace(music, lines=chosen)) <= pages

    # Other lines of the book take other room than its first ones.
    selection = abridge(candidates, max(1, lines_that_fit(music, pages)))
    while not fits(selection):
        if len(selection.lines) == 1:
            raise failure(f"not even one line fits on {pages} of its pages", "ask for more --pages")
        selection = abridge(candidates, len(selection.lines) - 1)
    while len(selection.lines) < len(candidates):
        longer = abridge(candidates, len(selection.lines) + 1)
        if not fits(longer):
            break
        selection = longer
    return selection


def title_of_shortened(title: str) -> str:
    """Return what the short version of a book is called."""
    return f"{title[: LONGEST_TITLE - len(_ABRIDGED)]}{_ABRIDGED}"


def shortened(definition: Definition, lines: Sequence[int]) -> Definition:
    """Return a definition with some of its lines only.

    Parameters
    ----------
    definition:
        With one entry a line.
    lines:
        Which ones, from 0. An order of playing is left out: it goes by numbers that are others now.
    """
    return replace(
        definition,
        title=title_of_shortened(definition.title),
        lines=tuple(definition.lines[index] for index in lines),
        order=(),
    )
