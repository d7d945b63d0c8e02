"""How many pages an exercise takes, and how many of its lines fit, found by laying them out."""

from __future__ import annotations

from dataclasses import replace

from renderer.delivery.sheet.content import content_of
from renderer.delivery.sheet.layout import USUAL_SETTINGS, SheetSettings
from renderer.delivery.sheet.pages import Pages, lay_out
from renderer.notation.score import Exercise


def pages_of(exercise: Exercise, settings: SheetSettings = USUAL_SETTINGS) -> int:
    """Return how many pages the sheet of an exercise has.

    Raises a `RungwiseError` if an ornament cannot be printed as asked.
    """
    return lay_out([content_of(exercise, settings)], settings).count()


def lines_that_fit(exercise: Exercise, pages: int, settings: SheetSettings = USUAL_SETTINGS) -> int:
    """Return how many of an exercise's first lines its sheet has room for.

    Parameters
    ----------
    exercise:
        Its lines in the order in which they are wanted.
    pages:
        How many pages there may be, at least 1.

    Returns
    -------
    The largest number of lines whose sheet has no more pages; 0 if not even one line fits.
    """
    wanted = len(exercise.lines)
    ends = Pages((content_of(exercise, settings),), settings).line_pages()[0]
    fits = sum(page <= pages for page in ends)
    if fits == wanted:
        return fits
    # Without the lines left out, bars may be wider or narrower, and lines take other room.
    while fits and not _fits(exercise, fits, pages, settings):
        fits -= 1
    while fits + 1 < wanted and _fits(exercise, fits + 1, pages, settings):
        fits += 1
    return fits


def _fits(exercise: Exercise, count: int, pages: int, settings: SheetSettings) -> bool:
    return pages_of(replace(exercise, lines=exercise.lines[:count]), settings) <= pages
