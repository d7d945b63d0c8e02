"""How exercises fit their pages, found by laying them out.

Short lines stand beside each other where that saves a page or makes room for larger print, and
print is as large as the pages have room for. Staves are a little smaller where that saves one of a
few pages, and where a bar of large print would else be wider than its row.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from fractions import Fraction

from renderer.delivery.sheet.content import (
    ExerciseContent,
    Material,
    even_scale,
    laid_out,
    material_of,
    pairs_more,
)
from renderer.delivery.sheet.layout import (
    USUAL_SETTINGS,
    Imposition,
    PrintSize,
    SheetSettings,
)
from renderer.delivery.sheet.pages import Booklet, Pages, lay_out
from renderer.delivery.sheet.systems import is_even
from renderer.notation.score import Exercise

_LARGER = (1.6, 1.5, 1.4, 1.3, 1.2, 1.1)
"""How much larger at most; large print, for two metres away, is 1.66 times normal (judgement)."""

_SMALLER = (0.95, 0.9)
"""How much smaller staves are where that saves one of a few pages; text is not (judgement)."""

_FEW_PAGES = 4
"""Of so many pages one less is worth smaller staves (judgement)."""


_FULL_ENOUGH = 0.7
"""Print is not enlarged where that leaves a page emptier than this, and than it was (judgement)."""


class _Trials:
    """The pages of the same exercises, tried in several sizes and with lines paired or not."""

    def __init__(
        self, materials: Sequence[Material], settings: SheetSettings, booklet: Booklet | None
    ) -> None:
        self.materials, self.settings, self.booklet = materials, settings, booklet
        self.most = min(even_scale(one, settings) for one in materials)
        # Never smaller than normal print for that.
        least = min(1.0, PrintSize.NORMAL.space_mm / settings.print_size.space_mm)
        self.scale = max(least, min(1.0, self.most))

    def pages(self, scale: float, *, paired: bool) -> Iterator[Pages]:
        """Yield the pages; none where pairing lines changes nothing.

        Where lines of the same bars are not broken alike, they are so in the first of two.
        """
        settings = replace(self.settings, scale=scale, paired=paired)
        if paired and not any(pairs_more(material, settings) for material in self.materials):
            return
        contents = [laid_out(material, settings) for material in self.materials]
        before = self.unlike(contents)
        if before:
            alike = replace(settings, alike=True)
            others = [laid_out(material, alike) for material in self.materials]
            if self.unlike(others) < before:
                yield lay_out(others, alike, self.booklet)
        yield lay_out(contents, settings, self.booklet)

    def unlike(self, contents: Sequence[ExerciseContent]) -> int:
        """Return how many kinds of lines of the same bars are not broken alike."""
        count = 0
        for material, content in zip(self.materials, contents, strict=True):
            if material.tunes:
                continue
            systems: dict[tuple[Fraction, ...], set[int]] = {}
            for line, shown in zip(material.lines, content.lines, strict=True):
                systems.setdefault(line.signature, set()).add(len(shown.staves))
            count += sum(len(found) > 1 for found in systems.values())
        return count

    def each(self, scale: float) -> list[Pages]:
        """Return the pages unpaired and, where that differs, paired."""
        return [*self.pages(scale, paired=False), *self.pages(scale, paired=True)]

    def fewest(self) -> list[Pages]:
        """Return the layouts with as few pages as can be, in the largest print of these, unpaired
        first."""
        best = _fewest(self.each(self.scale))
        if self.settings.size is None and 1 < best[0].music_pages <= _FEW_PAGES:
            smallest = _fewest(self.each(_SMALLER[-1]))
            if smallest[0].count() < best[0].count():
                tried = (_fewest(self.each(scale)) for scale in _SMALLER[:-1])
                saving = (one for one in tried if one[0].count() == smallest[0].count())
                best = next(saving, smallest)
        return best

    def enlarged(self, usual: Pages) -> Pages:
        """Return pages in the largest print that takes no more of them."""
        scales = _LARGER if usual.settings.scale >= 1 else ()
        for scale in scales:
            # Staves and text take that much more room at least.
            if usual.composed.needed * scale > usual.music_pages or scale > self.most:
                continue
            for larger in self.pages(scale, paired=usual.settings.paired):
                if larger.count() <= usual.count() and self._breaks_well(larger, usual):
                    return larger
        return usual

    def _breaks_well(self, larger: Pages, usual: Pages) -> bool:
        """Whether lines are broken as they were or well, and no more are torn apart by pages.

        Nor more headings broken, nor fewer lines of the same bars broken alike, nor a page left
        half empty.
        """
        if (
            larger.composed.torn > usual.composed.torn
            or larger.composed.wrapped > usual.composed.wrapped
            or larger.composed.emptiest < min(_FULL_ENOUGH, usual.composed.emptiest)
            or self.unlike(larger.exercises) > self.unlike(usual.exercises)
        ):
            return False
        rows = zip(self.materials, larger.exercises, usual.exercises, strict=True)
        for material, one, other in rows:
            for line, after, before in zip(
                material.exercise.lines, one.lines, other.lines, strict=True
            ):
                systems = len(after.staves)
                if systems != len(before.staves) and (
                    material.tunes or not is_even(len(line.bars), systems)
                ):
                    return False
        return True


def _fewest(tried: Sequence[Pages]) -> list[Pages]:
    fewest = min(pages.count() for pages in tried)
    return [pages for pages in tried if pages.count() == fewest]


def fitted(
    materials: Sequence[Material],
    settings: SheetSettings = USUAL_SETTINGS,
    booklet: Booklet | None = None,
) -> Pages:
    """Return the pages of a sheet or booklet, laid out as well as they can be.

    They are as few as can be; where no size was asked for, staves may be a little smaller for that.
    In large print they are as small as the widest bar needs, so that its equal notes stand evenly.
    Else print is as large as they have room for, and lines may be broken anew.

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
    if settings.imposition is Imposition.CARDS:
        return _fewest(trials.each(trials.scale))[0]
    fewest = trials.fewest()
    if settings.size is not None:
        return fewest[0]
    unlike = [trials.unlike(pages.exercises) for pages in fewest]
    best = [one for one, count in zip(fewest, unlike, strict=True) if count == min(unlike)]
    return max(map(trials.enlarged, best), key=lambda pages: pages.settings.scale)


def pages_of(exercise: Exercise, settings: SheetSettings = USUAL_SETTINGS) -> int:
    """Return how many pages the sheet of an exercise has.

    Raises a `RungwiseError` if an ornament cannot be printed as asked.
    """
    return _Trials([material_of(exercise, settings)], settings, None).fewest()[0].count()


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
    whole = _Trials([material_of(exercise, settings)], settings, None).fewest()[0]
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
