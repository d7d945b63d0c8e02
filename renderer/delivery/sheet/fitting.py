"""How an exercise fits its pages, found by laying it out: pages, lines that fit, and print that is
as large as a page has room for."""

from __future__ import annotations

from dataclasses import replace

from renderer.delivery.sheet.content import ExerciseContent, content_of
from renderer.delivery.sheet.layout import USUAL_SETTINGS, SheetSettings
from renderer.delivery.sheet.pages import Pages, lay_out
from renderer.notation.score import Exercise
from renderer.order.settings import Settings

_ROOMY = 0.65
"""A page that is filled to this share of its height at most is printed larger (judgement)."""

_SCALES = (1.4, 1.3, 1.2, 1.1)
"""How much larger at most; large print, for two metres away, is 1.66 times normal (judgement)."""


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


def enlarged(pages: Pages, exercise: Exercise, tracks: Settings | None = None) -> Pages:
    """Return the page of an exercise, larger where it would leave a third of itself empty.

    Staves and text grow together, as far as the exercise stays on its page and no line is broken
    that was not. Pages whose size was asked for, several pages and booklets are returned as they
    are.

    Parameters
    ----------
    pages:
        The sheet of `exercise` alone, laid out.
    tracks:
        As for `content_of`.
    """
    settings = pages.settings
    if settings.size is not None or pages.booklet is not None or len(pages.exercises) != 1:
        return pages
    count, share = pages.filled()
    if count > 1 or share > _ROOMY:
        return pages
    (usual,) = pages.exercises
    for scale in _SCALES:
        larger = replace(settings, scale=scale)
        content = content_of(exercise, larger, tracks)
        if content.rows != usual.rows or _systems(content) != _systems(usual):
            continue
        trial = lay_out([content], larger)
        if trial.count() == 1:
            return trial
    return pages


def _systems(content: ExerciseContent) -> list[int]:
    return [len(line.staves) for line in content.lines]


def _fits(exercise: Exercise, count: int, pages: int, settings: SheetSettings) -> bool:
    return pages_of(replace(exercise, lines=exercise.lines[:count]), settings) <= pages
