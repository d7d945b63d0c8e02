"""From a sheet's content to pages: PDF, SVG or PNG, laid out by Typst.

A PDF is tagged as PDF/UA-1 asks, with its fonts inside, bookmarks and metadata; the same content
gives the same bytes, since nothing of the day or the machine goes in.
"""

from __future__ import annotations

import datetime
import io
import itertools
import json
import math
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from functools import cache
from importlib import resources
from typing import Any
from urllib.parse import quote

from renderer.delivery.sheet.content import (
    CAUTION,
    ExerciseContent,
    Fact,
    LegendItem,
    LineContent,
)
from renderer.delivery.sheet.drawing import EDGE
from renderer.delivery.sheet.fonts import families, printable, unbroken
from renderer.delivery.sheet.layout import (
    HEAD_MM,
    SIDE_MM,
    UNITS_A_SPACE,
    USUAL_SETTINGS,
    PrintSize,
    SheetSettings,
)
from renderer.delivery.sheet.systems import BETWEEN_HALVES
from renderer.delivery.sheet.typesetting import found_in, typeset

UNTITLED = "Exercise"
LINE_GAPS_EM = (1.6, 1.2, 0.8)
"""Between lines: usually, and where that saves a page (judgement)."""

_LONG_TITLE = 60
_FOOT_GAP_MM = 3.0
_PIXELS_PER_INCH = 150


@dataclass(frozen=True, slots=True)
class Booklet:
    """The cover of a booklet: its title, and the class or band that it is for."""

    title: str
    audience: str = ""


def _counted(count: int, noun: str) -> str:
    return f"{count} {noun}" if count == 1 else f"{count} {noun}s"


def _shortened(title: str, letters: int) -> str:
    return title if len(title) <= letters else title[: letters - 1].rstrip() + "…"


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


def _line_fields(line: LineContent, exercise: int) -> dict[str, Any]:
    return {
        "exercise": exercise,
        "shown": f"{line.number}  {line.heading}" if line.heading else f"Line {line.number}",
        "outlined": bool(line.heading),
        "tune": line.tune,
        "advice": line.advice,
        "rungs": line.rungs,
        "staves": [
            {
                "svg": staff.svg,
                "width": staff.width,
                "alternative": staff.alternative,
                "labels": staff.labels,
                "texts": [asdict(text) for text in staff.texts],
            }
            for staff in line.staves
        ],
    }


def _exercise_fields(
    exercise: ExerciseContent, number: int, page_starts: frozenset[tuple[int, int]]
) -> dict[str, Any]:
    return {
        "title": exercise.title,
        "title_scale": 1.8 * _title_scale(exercise.title),
        "audience": exercise.audience,
        "level": exercise.level,
        "tune": exercise.tune,
        "notes": exercise.notes,
        "directions": exercise.directions,
        "facts": [_fact_fields(fact) for fact in exercise.facts],
        "purpose": exercise.purpose,
        "line_count": len(exercise.lines),
        "rows": [
            {
                "begins_page": any((number, index + 1) in page_starts for index in row),
                "lines": [_line_fields(exercise.lines[index], number) for index in row],
            }
            for row in exercise.rows
        ],
        "tracks": exercise.tracks,
        "legend": [_legend_fields(item) for item in exercise.legend],
    }


_ADDRESS_MARKS = ":/?#[]@!$&'()*+,;=%"
"""What RFC 3986 reserves in addresses (section 2.2), and its sign for escapes."""

_BARE_AMPERSAND = re.compile(rb"&(?!(?:#\d+|#x[0-9A-Fa-f]+|amp|lt|gt|quot|apos);)")


def _code(link: str) -> dict[str, str] | None:
    """The link and its QR code (ISO/IEC 18004), or None without a link."""
    if not link:
        return None
    import segno

    out = io.BytesIO()
    segno.make(link, error="m", micro=False).save(
        out, kind="svg", border=4, xmldecl=False, svgns=True, omitsize=True, nl=False
    )
    # What stands in no address (RFC 3986) is escaped, as < is; svgs() does the same for &.
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


_NUMBERS_LETTERS = 12
"""What page numbers and the gap before them take."""


def _foot_mm(
    exercises: Sequence[ExerciseContent], settings: SheetSettings, short_title: str, caution: str
) -> float:
    """How tall the footer is: its lines, estimated from the letters that they hold."""
    text_mm = settings.foot_pt * 25.4 / 72
    letters = (settings.page_mm[0] - 2 * SIDE_MM) / (text_mm * 0.41)
    # Title, date and page number stand beside the caution.
    beside = len(short_title) + len(_shown_date(settings.dated)) + _NUMBERS_LETTERS
    rows = max(1, math.ceil(len(caution) / max(20.0, letters - beside)))
    legend = max(_legend_rows(exercise.legend, letters) for exercise in exercises)
    return 1.5 + (rows * 1.12 + legend * 1.45) * text_mm


def _legend_rows(legend: Sequence[LegendItem], letters: float) -> int:
    """How many rows of so many letters a legend takes; its items are never broken."""
    rows, taken = 0, letters
    for item in legend:
        # The sign and the gap after the item take about as much as seven letters.
        needed = len(item.text) + 7.0
        if taken + needed > letters:
            rows, taken = rows + 1, 0.0
        taken += needed
    return rows


@dataclass(frozen=True, slots=True)
class Pages:
    """Laid-out pages, ready to be written in one form or another.

    Parameters
    ----------
    exercises:
        What is printed, in order; at least one.
    settings:
        How.
    booklet:
        The cover, if there are to be a cover and contents.
    line_gap_em:
        The room between lines, in heights of the text.
    page_starts:
        The lines that begin a page although there is room before: exercise and line, from 1.
    """

    exercises: tuple[ExerciseContent, ...]
    settings: SheetSettings
    booklet: Booklet | None = None

    line_gap_em: float = LINE_GAPS_EM[0]
    page_starts: frozenset[tuple[int, int]] = frozenset()

    @property
    def title(self) -> str:
        """Of the document."""
        if self.booklet is not None:
            return unbroken(printable(self.booklet.title)) or UNTITLED
        return unbroken(self.exercises[0].title) or UNTITLED

    @property
    def _short_title(self) -> str:
        return _shortened(self.title, int(40 * PrintSize.NORMAL.foot_pt / self.settings.foot_pt))

    @property
    def _foot_mm(self) -> float:
        caution = CAUTION if self.booklet is None else ""
        return _foot_mm(self.exercises, self.settings, self._short_title, caution)

    def _data(self) -> dict[str, Any]:
        settings = self.settings
        first = self.exercises[0]
        audience = printable(self.booklet.audience) if self.booklet else first.audience
        width, height = settings.page_mm
        lines = sum(len(exercise.lines) for exercise in self.exercises)
        count = len(self.exercises)
        title = self.title
        return {
            "title": title,
            "short_title": self._short_title,
            "authors": [unbroken(audience)] if audience else [],
            "description": unbroken(first.purpose)
            if self.booklet is None
            else f"{count} exercises",
            "keywords": ["Highland pipes", "practice", *filter(None, [unbroken(first.level)])],
            "date": _date(settings.dated),
            "shown_date": _shown_date(settings.dated),
            "text_pt": settings.text_pt,
            "small_pt": settings.small_pt,
            "foot_pt": settings.foot_pt,
            "space_mm": settings.space_mm,
            "units_a_space": UNITS_A_SPACE,
            "side_mm": SIDE_MM,
            "head_mm": HEAD_MM,
            "width_mm": width,
            "height_mm": height,
            "foot_mm": self._foot_mm,
            "foot_gap_mm": _FOOT_GAP_MM,
            "between_units": BETWEEN_HALVES - 2 * EDGE,
            "line_gap_em": self.line_gap_em,
            "caution": CAUTION,
            "link": _code(settings.link),
            "booklet": self.booklet is not None,
            "cover": {
                "title": title if self.booklet is None else printable(self.booklet.title) or title,
                "audience": audience,
                "title_scale": _title_scale(title),
                "summary": f"{_counted(count, 'exercise')}, {_counted(lines, 'line')}",
            },
            "exercises": [
                _exercise_fields(exercise, number, self.page_starts)
                for number, exercise in enumerate(self.exercises, start=1)
            ],
        }

    def _source(self) -> dict[str, bytes]:
        fields = self._data()
        fields["families"] = families(json.dumps(fields, ensure_ascii=False))
        data = json.dumps(fields, ensure_ascii=False, sort_keys=True)
        return {"main.typ": _template(), "data.json": data.encode()}

    def pdf(self) -> bytes:
        """Return the pages as a tagged PDF."""
        options: dict[str, Any] = {"pdf_standards": ["ua-1"]}
        if self.settings.dated is not None:
            options["timestamp"] = self.settings.dated
        (content,) = typeset(self._source(), "pdf", **options)
        return content

    def svgs(self) -> list[bytes]:
        """Return each page as an SVG drawing; letters are outlines there."""
        # Typst writes the addresses of links as they are, where & would begin an entity.
        return [_BARE_AMPERSAND.sub(b"&amp;", page) for page in typeset(self._source(), "svg")]

    def pngs(self, pixels_per_inch: float = _PIXELS_PER_INCH) -> list[bytes]:
        """Return each page as a PNG picture."""
        return typeset(self._source(), "png", ppi=pixels_per_inch)

    def _line_ends(self) -> list[dict[str, Any]]:
        """Return the exercise, page and place of the end of each line; the place in mm down."""
        return found_in(self._source(), "<line-end>")

    def line_pages(self) -> tuple[tuple[int, ...], ...]:
        """Return, for each exercise, the page that each of its lines ends on, from 1."""
        found = self._line_ends()
        return tuple(
            tuple(end["page"] for end in found if end["exercise"] == number)
            for number in range(1, len(self.exercises) + 1)
        )

    def filled(self) -> tuple[int, float]:
        """Return the number of pages, and the share of its height that the last one fills."""
        last = self._line_ends()[-1]
        height = self.settings.page_mm[1] - 2 * HEAD_MM
        height -= self._foot_mm + _FOOT_GAP_MM
        return last["page"], (last["down_mm"] - HEAD_MM) / height

    def count(self) -> int:
        """Return how many pages there are; every page has a line that ends on it, or the cover."""
        return self.line_pages()[-1][-1]


def lay_out(
    exercises: Sequence[ExerciseContent],
    settings: SheetSettings = USUAL_SETTINGS,
    booklet: Booklet | None = None,
) -> Pages:
    """Return the pages of a sheet or booklet, laid out as well as they can be.

    Lines stand closer together where that saves a page. Where an exercise's last page would be
    nearly empty, its lines are shared out evenly over its pages.
    """
    pages = Pages(tuple(exercises), settings, booklet)
    ends = pages.line_pages()
    if all(one[0] == one[-1] for one in ends):
        return pages
    for gap in LINE_GAPS_EM[1:]:
        tight = replace(pages, line_gap_em=gap)
        tight_ends = tight.line_pages()
        if tight_ends[-1][-1] < ends[-1][-1]:
            pages, ends = tight, tight_ends
    starts = frozenset(
        (number, line)
        for number, one in enumerate(ends, start=1)
        for line in _even_starts(Counter(one))
    )
    if starts:
        for gap in LINE_GAPS_EM:
            even = replace(pages, page_starts=starts, line_gap_em=gap)
            if even.count() == ends[-1][-1]:
                return even
    return pages


def _even_starts(lines_on: Counter[int]) -> list[int]:
    """Return the lines that begin pages if an exercise's lines are shared out evenly.

    None if its last page is at least half as full as the others, or if it has lines that take
    several pages.
    """
    counts = [lines_on[page] for page in sorted(lines_on)]
    total, pages = sum(counts), max(lines_on) - min(lines_on) + 1
    if pages == 1 or len(counts) < pages or counts[-1] * 2 * pages >= total:
        return []
    # The first page has the title on it, so the fuller pages come last.
    fewer, more = divmod(total, pages)
    sizes = [fewer] * (pages - more) + [fewer + 1] * more
    return [1 + line for line in itertools.accumulate(sizes[:-1])]


@cache
def _template() -> bytes:
    return (resources.files(__package__) / "sheet.typ").read_bytes()
