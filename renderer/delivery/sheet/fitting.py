"""How exercises fit their pages, found by laying them out.

Short lines stand beside each other where that saves a page or makes room for larger print, and
print is as large as the pages have room for.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from functools import cached_property

from renderer.delivery.sheet.content import (
    ExerciseContent,
    Material,
    laid_out,
    material_of,
    pairs_more,
)
from renderer.delivery.sheet.layout import USUAL_SETTINGS, SheetSettings
from renderer.delivery.sheet.pages import Booklet, Pages, lay_out
from renderer.notation.score import Exercise

_SCALES = (1.6, 1.5, 1.4, 1.3, 1.2, 1.1)
"""How much larger at most; large print, for two metres away, is 1.66 times normal (judgement)."""

_LAST_SYSTEM = 0.6
"""The share of the other systems' bars that the last one has at least where a line is broken anew,
so that no bar or two stand alone (judgement)."""


class _Trials:
    """The pages of the same exercises, tried in several sizes and with lines paired or not."""

    def __init__(
        self, materials: Sequence[Material], settings: SheetSettings, booklet: Booklet | None
    ) -> None:
        self.materials, self.settings, self.booklet = materials, settings, booklet

    def contents(self, settings: SheetSettings) -> list[ExerciseContent]:
        return [laid_out(material, settings) for material in self.materials]

    @cached_property
    def usual(self) -> Pages:
        return lay_out(self.contents(self.settings), self.settings, self.booklet)

    @cached_property
    def paired(self) -> Pages | None:
        """The pages with lines paired; None where that changes nothing."""
        if not any(pairs_more(material, self.settings) for material in self.materials):
            return None
        settings = replace(self.settings, paired=True)
        return lay_out(self.contents(settings), settings, self.booklet)

    def best(self) -> list[Pages]:
        """Return the pages at the given size with as few of them as can be: unpaired first."""
        tried = [self.usual] if self.paired is None else [self.usual, self.paired]
        fewest = min(pages.count() for pages in tried)
        return [pages for pages in tried if pages.count() == fewest]

    def enlarged(self, pages: Pages) -> Pages:
        """Return pages in the largest print that takes no more of them."""
        music = len({page for line in pages.line_pages() for page in line})
        for scale in _SCALES:
            # Staves and text take that much more room at least.
            if pages.composed.needed * scale > music:
                continue
            settings = replace(pages.settings, scale=scale)
            contents = self.contents(settings)
            if not all(map(self._breaks_well, self.materials, contents, pages.exercises)):
                continue
            trial = lay_out(contents, settings, self.booklet)
            if trial.count() <= pages.count():
                return trial
        return pages

    def _breaks_well(
        self, material: Material, larger: ExerciseContent, usual: ExerciseContent
    ) -> bool:
        """Whether lines are broken as they were, or into systems of about equally many bars."""
        for line, after, before in zip(
            material.exercise.lines, larger.lines, usual.lines, strict=True
        ):
            systems = len(after.staves)
            if systems != len(before.staves):
                most = math.ceil(len(line.bars) / systems)
                if len(line.bars) - most * (systems - 1) < most * _LAST_SYSTEM:
                    return False
        return True


def fitted(
    materials: Sequence[Material],
    settings: SheetSettings = USUAL_SETTINGS,
    booklet: Booklet | None = None,
) -> Pages:
    """Return the pages of a sheet or booklet, laid out as well as they can be.

    They are as few as can be. Where no size was asked for, print is as large as they have room for;
    lines then may be broken anew.

    Parameters
    ----------
    materials:
        What is printed, in order; at least one.
    settings:
        How.
    booklet:
        The cover, if there are to be a cover and contents.
    """
    trials = _Trials(materials, settings, booklet)
    found = trials.best()
    if settings.size is not None:
        return found[0]
    larger = [trials.enlarged(pages) for pages in found]
    return max(larger, key=lambda pages: pages.settings.scale)


def pages_of(exercise: Exercise, settings: SheetSettings = USUAL_SETTINGS) -> int:
    """Return how many pages the sheet of an exercise has.

    Raises a `RungwiseError` if an ornament cannot be printed as asked.
    """
    return _Trials([material_of(exercise, settings)], settings, None).best()[0].count()


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
    whole = _Trials([material_of(exercise, settings)], settings, None).best()[0]
    if whole.count() <= pages:
        return wanted
    # As many as its share, and then, since pages are filled in other ways, some more or fewer.
    fits = min(wanted - 1, max(1, wanted * pages // whole.count()))
    while fits and not _fits(exercise, fits, pages, settings):
        fits -= 1
    while fits + 1 < wanted and _fits(exercise, fits + 1, pages, settings):
        fits += 1
    return fits


def _fits(exercise: Exercise, count: int, pages: int, settings: SheetSettings) -> bool:
    return pages_of(replace(exercise, lines=exercise.lines[:count]), settings) <= pages
