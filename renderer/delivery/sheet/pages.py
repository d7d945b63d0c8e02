"""From a sheet's content to pages: PDF, SVG or PNG, laid out by Typst.

A PDF is tagged as PDF/UA-1 asks, with its fonts inside, bookmarks and metadata; the same content
gives the same bytes, since nothing of the day or the machine goes in.
"""

from __future__ import annotations

import datetime
import io
import json
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from functools import cache, partial
from importlib import resources
from typing import Any
from urllib.parse import quote

from renderer.delivery.sheet.composing import Composed, Composer, Element, Leaf, Sizes
from renderer.delivery.sheet.content import (
    CAUTION,
    EXERCISES,
    ExerciseContent,
    Fact,
    LegendItem,
    LineContent,
    Staff,
)
from renderer.delivery.sheet.fonts import ending_together, families, printable, unbroken
from renderer.delivery.sheet.inline_svg import Frame, inlined
from renderer.delivery.sheet.layout import (
    UNITS_A_SPACE,
    USUAL_SETTINGS,
    Imposition,
    PrintSize,
    SheetSettings,
)
from renderer.delivery.sheet.typesetting import found_in, typeset
from renderer.order.web_addresses import EXERCISE_FIELD, LINE_FIELD

UNTITLED = "Exercise"
_LONG_TITLE = 60
_PIXELS_PER_INCH = 150
_WHITE_MM = 1.0
"""Around the staves of a drawing that shows them alone."""


@dataclass(frozen=True, slots=True)
class Booklet:
    """The cover of a booklet: its title, and the class or band that it is for."""

    title: str
    audience: str = ""


def _counted(count: int, noun: str) -> str:
    return f"{count} {noun}" if count == 1 else f"{count} {noun}s"


def _summary(exercises: Sequence[ExerciseContent]) -> str:
    """Return what a booklet holds: `2 tunes, 4 exercises, 31 lines`."""
    practised = sum(exercise.kind == EXERCISES for exercise in exercises)
    tunes = len(exercises) - practised
    lines = sum(len(exercise.lines) for exercise in exercises)
    counts = ((tunes, "tune"), (practised, "exercise"), (lines, "line"))
    return ", ".join(_counted(count, noun) for count, noun in counts if count)


def _shortened(title: str, letters: int) -> Iterator[str]:
    """Yield a title and what it is shortened to, word by word, down to so many letters."""
    yield title
    words = title.split()
    while len(title) > letters and len(words) > 1:
        words.pop()
        title = " ".join(words).rstrip(",;:-–—") + "…"
        yield title
    if len(title) > letters:
        yield title[: letters - 1].rstrip("… ") + "…"


def _title_scale(title: str) -> float:
    """How large a title is set: long ones smaller, down to half the size."""
    return max(0.5, min(1.0, math.sqrt(_LONG_TITLE / max(1, len(title)))))


def _legend_fields(item: LegendItem) -> dict[str, Any]:
    return {"sign": item.sign, "text": item.text, "tall": "stroke-linecap" in item.sign}


def _fact_fields(fact: Fact) -> list[dict[str, Any]]:
    return [
        {"text": part, "svg": ""}
        if isinstance(part, str)
        else {"text": part.name, "svg": part.svg, "width": part.width, "height": part.height}
        for part in fact
    ]


def _staff_fields(staff: Staff) -> dict[str, Any]:
    return {
        "svg": staff.svg,
        "width": staff.width,
        "alternative": staff.alternative,
        "labels": staff.labels,
        "texts": [asdict(text) for text in staff.texts],
    }


def _line_fields(line: LineContent) -> dict[str, Any]:
    return {
        "shown": f"{line.number}  {line.heading}" if line.heading else line.name,
        "outlined": bool(line.heading),
        "tune": line.tune,
        "about": line.about,
        "advice": [*map(ending_together, line.advice)],
        "rungs": line.rungs,
        "durations": line.durations,
        "link": _code(line.link),
        "staves": [_staff_fields(staff) for staff in line.staves],
    }


def _exercise_fields(exercise: ExerciseContent) -> dict[str, Any]:
    return {
        "title": exercise.title,
        "title_scale": 1.8 * _title_scale(exercise.title),
        "audience": exercise.audience,
        "level": exercise.level,
        "tune": exercise.tune,
        "notes": exercise.notes,
        "directions": exercise.directions,
        "facts": [_fact_fields(fact) for fact in exercise.facts],
        "purpose": ending_together(exercise.purpose),
        "line_count": len(exercise.lines),
        "lines": [_line_fields(line) for line in exercise.lines],
        "tracks": exercise.tracks,
        "link": _code(exercise.link),
        "explained": [
            {"heading": one.heading, "staff": _staff_fields(one.staff)}
            for one in exercise.explained
        ],
    }


def _has_fields(link: str) -> bool:
    return EXERCISE_FIELD in link or LINE_FIELD in link


def impositions(count: int, imposition: Imposition) -> tuple[tuple[int | None, ...], ...]:
    """Return the leaves on each side of paper, from the left, by their indexes; None for a blank.

    Parameters
    ----------
    count:
        How many leaves there are.
    imposition:
        Folded, the sides are those of sheets that are printed on both sides, laid on each other
        and folded once: the last leaf beside the first, the second beside the last but one.
    """
    if imposition is Imposition.PAIRS:
        filled = [*range(count), *[None] * (count % 2)]
        return tuple(zip(filled[::2], filled[1::2], strict=True))
    if imposition is not Imposition.FOLDED:
        return tuple((leaf,) for leaf in range(count))
    filled = [*range(count), *[None] * (-count % 4)]
    sides = []
    for side in range(len(filled) // 2):
        outer, inner = filled[-1 - side], filled[side]
        sides.append((outer, inner) if side % 2 == 0 else (inner, outer))
    return tuple(sides)


_ADDRESS_MARKS = ":/?#[]@!$&'()*+,;=%"
"""What RFC 3986 reserves in addresses (section 2.2), and its sign for escapes."""


def _code(link: str) -> dict[str, str] | None:
    """The link and its QR code (ISO/IEC 18004), or None without a link."""
    if not link:
        return None
    import segno

    out = io.BytesIO()
    segno.make(link, error="m", micro=False).save(
        out, kind="svg", border=4, xmldecl=False, svgns=True, omitsize=True, nl=False
    )
    # What stands in no address (RFC 3986) is escaped, as < is; `inlined` does the same for &.
    return {
        "address": quote(link, safe=_ADDRESS_MARKS),
        "shown": printable(link),
        "svg": out.getvalue().decode(),
    }


def _date(seconds: int | None) -> dict[str, int] | None:
    if seconds is None:
        return None
    date = datetime.datetime.fromtimestamp(seconds, tz=datetime.UTC)
    return {"year": date.year, "month": date.month, "day": date.day}


def _shown_date(seconds: int | None) -> str:
    date = _date(seconds)
    return "" if date is None else "{year}-{month:02d}-{day:02d}".format(**date)


class _Document:
    """A document's data for the template, without and with its leaves."""

    def __init__(
        self,
        exercises: Sequence[ExerciseContent],
        settings: SheetSettings,
        booklet: Booklet | None,
        groups: Sequence[str] = (),
    ) -> None:
        self.settings, self.booklet = settings, booklet
        first = exercises[0]
        title = unbroken(printable(booklet.title) if booklet else first.title) or UNTITLED
        self.title = title
        audience = printable(booklet.audience) if booklet else first.audience
        width, height = settings.page_mm
        letters = int(40 * PrintSize.NORMAL.foot_pt / settings.foot_pt)
        self.fields: dict[str, Any] = {
            "title": title,
            # Cards of several exercises say themselves which one they belong to.
            "short_titles": [*_shortened(title, letters)] if booklet or not exercises[1:] else [""],
            "authors": [unbroken(audience)] if audience else [],
            "description": _summary(exercises) if booklet else unbroken(first.purpose),
            "keywords": ["Highland pipes", "practice", *filter(None, [unbroken(first.level)])],
            "date": _date(settings.dated),
            "shown_date": _shown_date(settings.dated),
            "text_pt": settings.text_pt,
            "small_pt": settings.small_pt,
            "foot_pt": settings.foot_pt,
            "space_mm": settings.space_mm,
            "units_a_space": UNITS_A_SPACE,
            "head_mm": settings.head_mm,
            "sheet_mm": settings.sheet_mm,
            "width_mm": width,
            "height_mm": height,
            "text_mm": settings.text_mm,
            "caution": ending_together(CAUTION),
            "link": None if _has_fields(settings.link) else _code(settings.link),
            "booklet": booklet is not None,
            "cover": {
                "title": title if booklet is None else printable(booklet.title) or title,
                "audience": audience,
                "title_scale": _title_scale(title),
                "summary": _summary(exercises),
            },
            "exercises": [_exercise_fields(exercise) for exercise in exercises],
            "groups": groups,
        }
        self.fields["families"] = families(json.dumps(self.fields, ensure_ascii=False))

    def measure(
        self,
        legend: Sequence[LegendItem],
        elements: Sequence[Element],
        *,
        with_staves: bool = False,
    ) -> Sizes:
        """Return how wide and tall elements are, set over a legend; staves only where asked."""
        asked = {
            "measured": [asdict(element) for element in elements],
            "legends": [[_legend_fields(item) for item in legend]],
            # As wide as any numbers of leaves.
            "leaves": [],
            "sheets": [],
            "first_leaves": [888] * len(self.fields["exercises"]),
        }
        exercises = (
            self.fields["exercises"]
            if with_staves
            else [
                {**one, "lines": [{**line, "staves": []} for line in one["lines"]]}
                for one in self.fields["exercises"]
            ]
        )
        source = _source({**self.fields, **asked, "exercises": exercises})
        (found,) = found_in(source, "<sizes>")
        pairs = zip(elements, found, strict=True)
        return {element: (size["width"], size["height"]) for element, size in pairs}

    def source(self, composed: Composed) -> dict[str, bytes]:
        """Return the files that Typst makes pages of."""
        legends = list(dict.fromkeys(leaf.legend for leaf in composed.leaves if leaf.legend))
        leaves = [
            {
                "placed": [{**asdict(one.element), "x": one.x, "y": one.y} for one in leaf.placed],
                "foot": leaf.legend is not None,
                "cautioned": leaf.is_cautioned,
                "legend": legends.index(leaf.legend) if leaf.legend else None,
            }
            for leaf in composed.leaves
        ]
        return _source(
            {
                **self.fields,
                "measured": [],
                "legends": [[_legend_fields(item) for item in legend] for legend in legends],
                "leaves": leaves,
                "sheets": impositions(len(leaves), self.settings.imposition),
                "first_leaves": composed.first_leaves,
            }
        )


def _source(fields: Mapping[str, Any]) -> dict[str, bytes]:
    data = json.dumps(fields, ensure_ascii=False, sort_keys=True)
    return {"main.typ": _template(), "data.json": data.encode()}


@dataclass(frozen=True, slots=True)
class Pages:
    """Laid-out pages, ready to be written in one form or another; `lay_out` makes them.

    Parameters
    ----------
    exercises, settings, booklet:
        As for `lay_out`.
    title:
        Of the document.
    composed:
        What stands where.
    source:
        The files that Typst makes pages of.
    music_alone:
        Whether an SVG drawing shows the staves alone, cropped to them.
    """

    exercises: tuple[ExerciseContent, ...]
    settings: SheetSettings
    booklet: Booklet | None
    title: str
    composed: Composed
    source: Mapping[str, bytes]
    music_alone: bool = False

    def pdf(self) -> bytes:
        """Return the pages as a tagged PDF."""
        options: dict[str, Any] = {"pdf_standards": ["ua-1"]}
        if self.settings.dated is not None:
            options["timestamp"] = self.settings.dated
        (content,) = typeset(self.source, "pdf", **options)
        return content

    def svgs(self) -> list[bytes]:
        """Return each page as an SVG drawing of paths alone; letters are outlines there."""
        if not self.music_alone:
            return [inlined(page) for page in typeset(self.source, "svg")]
        leaves = []
        for leaf in self.composed.leaves:
            staves = tuple(one for one in leaf.placed if one.element.kind == "staff")
            leaves += [Leaf(staves, None)] if staves else []
        single = replace(self.settings, imposition=Imposition.SINGLE)
        document = _Document(self.exercises, single, self.booklet)
        pages = typeset(document.source(replace(self.composed, leaves=tuple(leaves))), "svg")
        return [inlined(page, self._frame(leaf)) for page, leaf in zip(pages, leaves, strict=True)]

    def _frame(self, leaf: Leaf) -> Frame:
        """Return the part of a page that its staves take, and a little white around them."""
        unit = self.settings.space_mm / UNITS_A_SPACE
        edges = []
        for one in leaf.placed:
            element = one.element
            staff = self.exercises[element.exercise].lines[element.index].staves[element.staff]
            scale = min(unit, (element.width or self.settings.text_mm) / staff.width)
            right, foot = one.x + staff.width * scale, one.y + staff.height * scale
            edges.append((one.x, one.y, right, foot))
        lefts, tops, rights, feet = zip(*edges, strict=True)
        left, top = min(lefts) - _WHITE_MM, min(tops) - _WHITE_MM
        width, height = max(rights) + _WHITE_MM - left, max(feet) + _WHITE_MM - top
        return Frame(*(mm * 72 / 25.4 for mm in (left, top, width, height)))

    def pngs(self, pixels_per_inch: float = _PIXELS_PER_INCH) -> list[bytes]:
        """Return each page as a PNG picture."""
        return typeset(self.source, "png", ppi=pixels_per_inch)

    def line_pages(self) -> tuple[tuple[int, ...], ...]:
        """Return, for each exercise, the page that each of its lines ends on, from 1."""
        return self.composed.line_leaves

    def filled(self) -> tuple[int, float]:
        """Return the number of pages, and the share of its height that the last one fills."""
        return self.count(), self.composed.filled

    def count(self) -> int:
        """Return how many pages there are."""
        return len(self.composed.leaves)

    @property
    def music_pages(self) -> int:
        """How many pages there are without cover and contents."""
        return self.count() + 1 - self.composed.first_leaves[0]


def lay_out(
    exercises: Sequence[ExerciseContent],
    settings: SheetSettings = USUAL_SETTINGS,
    booklet: Booklet | None = None,
) -> Pages:
    """Return the pages of a sheet or booklet, at the size that the settings have.

    Parameters
    ----------
    exercises:
        What is printed, in order; at least one.
    settings:
        How.
    booklet:
        The cover, if there are to be a cover and contents.
    """
    composer = Composer(exercises, settings, is_booklet=booklet is not None)
    groups = [group.heading for group in composer.groups]
    document = _Document(exercises, settings, booklet, groups)
    composed = composer.composed(partial(document.measure, composer.legend))
    return Pages(
        tuple(exercises), settings, booklet, document.title, composed, document.source(composed)
    )


def size_of(pages: Pages, elements: Sequence[Element]) -> Sizes:
    """Return how wide and tall elements of laid-out pages are as Typst sets them, in mm."""
    document = _Document(pages.exercises, pages.settings, pages.booklet)
    return document.measure((), elements, with_staves=True)


@cache
def _template() -> bytes:
    return (resources.files(__package__) / "sheet.typ").read_bytes()
