"""How many pages an exercise takes, and how many of its lines fit, found by laying them out."""

from __future__ import annotations

from dataclasses import replace

from renderer.delivery.sheet.content import content_of
from renderer.delivery.sheet.layout import USUAL_SETTINGS, SheetSettings
from renderer.delivery.sheet.pages import Pages
from renderer.notation.score import Exercise


def pages_of(exercise: Exercise, settings: SheetSettings = USUAL_SETTINGS) -> int:
    """Return how many pages the sheet of an exercise has.

    Raises a `RungwiseError` if an ornament cannot be printed as asked.
    """
    return Pages((content_of(exercise, settings),), settings).count()


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
    total = len(exercise.lines)
    fits, too_many = 0, total + 1
    while too_many - fits > 1:
        count = (fits + too_many) // 2
        if pages_of(replace(exercise, lines=exercise.lines[:count]), settings) <= pages:
            fits = count
        else:
            too_many = count
    return fits
