"""How sheets are laid out: paper, direction and print size, in millimetres and points.

What settings ask for stands in the table of settings (`renderer.order.settings`); here is what that
means on paper.
"""

from __future__ import annotations

import enum
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from fractions import Fraction

from renderer.notation.printed import Opened
from renderer.order.settings import Settings, usual_settings
from renderer.order.web_addresses import LINE_FIELD


class Paper(enum.StrEnum):
    """Paper sizes, by the names that printers use."""

    A4 = "a4"
    LETTER = "letter"

    @property
    def size_mm(self) -> tuple[float, float]:
        """Width and height upright: ISO 216 for A4, ANSI/ASME Y14.1 for Letter."""
        return (210.0, 297.0) if self is Paper.A4 else (215.9, 279.4)


class PrintSize(enum.StrEnum):
    """How large notes and text are printed."""

    COMPACT = "compact"
    NORMAL = "normal"
    LARGE = "large"
    CHILDREN = "children"

    @property
    def space_mm(self) -> float:
        """The distance between two staff lines.

        Normal is the rastral size of 7 mm a staff that printed parts have, compact that of the 5 mm
        of pocket scores (common practice); large is meant to be read from two metres away, and
        children get a staff of 12 mm (judgement).
        """
        return {"compact": 1.25, "normal": 1.75, "large": 2.9, "children": 3.0}[self]

    @property
    def text_pt(self) -> float:
        """The size of the running text."""
        return {"compact": 8.5, "normal": 10.0, "large": 13.5, "children": 14.0}[self]

    @property
    def small_pt(self) -> float:
        """The size of advice and ladders, the smallest print that is read while playing.

        9.5 points are the least for a page on a music stand; compact print is for books that are
        read from the hand (judgement).
        """
        return {"compact": 7.5, "normal": 9.5, "large": 11.5, "children": 12.0}[self]

    @property
    def foot_pt(self) -> float:
        """The size of the footer and of the contents' small print, which is read at a desk."""
        return {"compact": 7.5, "normal": 8.5, "large": 11.0, "children": 11.0}[self]


class Form(enum.StrEnum):
    """How ornaments are printed."""

    AS_WRITTEN = "as written"
    OPEN = "open"
    CLOSED = "closed"
    BOTH = "both"

    @property
    def staves(self) -> tuple[Opened, ...]:
        """The forms to print, from the top staff down."""
        by_form: dict[Form, tuple[Opened, ...]] = {
            Form.AS_WRITTEN: ("as written",),
            Form.OPEN: ("open",),
            Form.CLOSED: ("closed",),
            Form.BOTH: ("open", "closed"),
        }
        return by_form[self]


class Counting(enum.StrEnum):
    """How the beats are shown under a staff."""

    RULER = "ruler"
    NUMBERS = "numbers"
    NONE = "none"


class Shown(enum.StrEnum):
    """Which advice stands under the lines of a sheet, and which marks over their notes."""

    ALL = "all"
    FIRST = "first"
    NONE = "none"


class Imposition(enum.StrEnum):
    """How leaves come onto sheets of paper."""

    SINGLE = "single"
    PAIRS = "pairs"
    FOLDED = "folded"
    CARDS = "cards"

    @property
    def halves(self) -> bool:
        """Whether a leaf is half a sheet."""
        return self in (Imposition.PAIRS, Imposition.FOLDED)


SIDE_MM = 15.0
HEAD_MM = 12.0
"""Margins of the page at its sides, wide enough for punched holes, and at its head and foot; office
printers leave about 5 mm white themselves (judgement)."""

_SMALL_SIDE_MM = 11.0
_SMALL_HEAD_MM = 9.0
"""The same of leaves of half a sheet."""

GUTTER_MM = 6.5
"""Between two lines that share a row."""

_PANEL_SPACES = 31
"""How many staff spaces wide a movement of the strip is at least (judgement)."""

CODE_MM = 18.0
"""A line's QR code with its quiet zone. At 120 bytes it has 53 modules a side then, each of a third
of a millimetre, which phones read from paper (judgement)."""

_BESIDE_CODE_MM = 3.0
_CARD_PAD_MM = 4.0
"""Between a card's edge and what stands on it."""

LABEL_SIZE = 0.82
"""Of bar numbers and labels, as a share of the small print's size."""

UNITS_A_SPACE = 180
"""How many of the engraver's units lie between two staff lines."""


@dataclass(frozen=True, slots=True)
class SheetSettings:
    """How a sheet is printed.

    Parameters
    ----------
    paper, landscape:
        The page.
    size:
        How large it is printed; None for normal, and larger where a page has room for it.
    form:
        How ornaments are printed.
    fingering:
        Whether a strip of finger changes stands under each line.
    advice:
        What stands under the lines: each sentence where it first occurs, and with `ALL` also where
        it holds again (`As line 2.`).
    counting:
        How beats are shown under the staves; None for numbers for beginners and children, and else
        a ruler under opened movements.
    marks:
        Which crossing noises are marked over the notes: each where it first occurs, all, or none.
    link:
        A web address printed as a QR code, empty for none. `{exercise}` and `{line}` in it stand
        for what is linked: each exercise, each line.
    dated:
        Seconds since 1970 to date the file with; None for no date, so that the same exercise gives
        the same bytes.
    imposition:
        How leaves come onto sheets of paper.
    explain:
        Whether a strip at the end explains each movement once.
    is_strip:
        Whether that strip is laid out; see `for_strip`.
    scale, paired, alike:
        How many times as large as `size` says (text is never smaller), whether short lines share
        rows although they could fill one each, and whether lines of the same bars are broken alike;
        all are found by `fitting.fitted`.
    """

    paper: Paper
    landscape: bool
    size: PrintSize | None
    form: Form
    fingering: bool
    advice: Shown
    marks: Shown
    counting: Counting | None
    link: str
    dated: int | None
    imposition: Imposition
    explain: bool
    scale: float = 1.0
    paired: bool = False
    alike: bool = False
    is_strip: bool = False

    @property
    def sheet_mm(self) -> tuple[float, float]:
        """Width and height of a sheet of paper."""
        width, height = self.paper.size_mm
        across = self.landscape or self.imposition.halves
        return (height, width) if across else (width, height)

    @property
    def page_mm(self) -> tuple[float, float]:
        """Width and height of a leaf."""
        width, height = self.sheet_mm
        return (width / 2, height) if self.imposition.halves else (width, height)

    @property
    def side_mm(self) -> float:
        """The margin at either side of a leaf."""
        return _SMALL_SIDE_MM if self.imposition.halves else SIDE_MM

    @property
    def head_mm(self) -> float:
        """The margin at the head and the foot of a leaf."""
        return _SMALL_HEAD_MM if self.imposition.halves else HEAD_MM

    @property
    def has_line_codes(self) -> bool:
        """Whether each line has a QR code of its own."""
        return LINE_FIELD in self.link

    @property
    def print_size(self) -> PrintSize:
        """The size that is asked for, or the usual one."""
        return PrintSize.NORMAL if self.size is None else self.size

    @property
    def phrase(self) -> int:
        """How many bars of a tune stand in a row where its source does not say."""
        return 2 if self.print_size in (PrintSize.LARGE, PrintSize.CHILDREN) else 4

    @property
    def is_for_children(self) -> bool:
        """Whether every line has two bars a system, its notes' names, and no milliseconds."""
        return self.print_size is PrintSize.CHILDREN

    @property
    def space_mm(self) -> float:
        """The distance between two staff lines."""
        return self.print_size.space_mm * self.scale

    @property
    def text_pt(self) -> float:
        """The size of the running text."""
        return self.print_size.text_pt * max(1.0, self.scale)

    @property
    def small_pt(self) -> float:
        """The size of the small print."""
        return self.print_size.small_pt * max(1.0, self.scale)

    @property
    def foot_pt(self) -> float:
        """The size of the footer, whatever the scale."""
        return self.print_size.foot_pt

    @property
    def text_units(self) -> float:
        """The height of the text over staves, in the engraver's units."""
        return self.small_pt * 25.4 / 72 / self.space_mm * UNITS_A_SPACE

    @property
    def text_mm(self) -> float:
        """How wide what is printed is."""
        return self.page_mm[0] - 2 * self.side_mm

    @property
    def pad_mm(self) -> float:
        """How far from the edge of its row a line begins."""
        return _CARD_PAD_MM if self.imposition is Imposition.CARDS else 0.0

    @property
    def beside_mm(self) -> float:
        """What a line's QR code and the gap before it take at the end of a line."""
        return CODE_MM + _BESIDE_CODE_MM if self.has_line_codes else 0.0

    @property
    def for_strip(self) -> SheetSettings:
        """How the strip is printed that explains movements: opened, closed and fingered."""
        return replace(
            self,
            size=None if self.is_for_children else self.size,
            form=Form.BOTH,
            fingering=True,
            advice=Shown.NONE,
            marks=Shown.NONE,
            counting=Counting.NONE,
            link="",
            imposition=Imposition.SINGLE
            if self.imposition is Imposition.CARDS
            else self.imposition,
            explain=False,
            paired=False,
            alike=False,
            is_strip=True,
        )

    @property
    def strip_columns(self) -> int:
        """How many movements stand beside each other in the strip."""
        return max(1, int((self.text_mm + GUTTER_MM) / (_PANEL_SPACES * self.space_mm + GUTTER_MM)))

    @property
    def strip_mm(self) -> float:
        """How wide a movement is in the strip."""
        return (self.text_mm + GUTTER_MM) / self.strip_columns - GUTTER_MM

    @property
    def line_mm(self) -> float:
        """How wide a line is that has its row for itself."""
        if self.is_strip:
            return self.strip_mm
        return self.text_mm - 2 * self.pad_mm - self.beside_mm

    @property
    def second_mm(self) -> float:
        """Where the second of two lines that share a row begins, from the first one on."""
        gutter = 0.0 if self.imposition is Imposition.CARDS else GUTTER_MM
        return (self.text_mm + gutter) / 2

    @property
    def half_mm(self) -> float:
        """How wide a line is that shares its row."""
        if self.is_strip:
            return self.strip_mm
        return self.text_mm - self.second_mm - 2 * self.pad_mm - self.beside_mm

    @property
    def small_units(self) -> float:
        """The height of bar numbers and of staves' labels, in the engraver's units."""
        return self.text_units * LABEL_SIZE

    @property
    def system_units(self) -> int:
        """How wide a whole system is, in the engraver's units."""
        return int(self.line_mm / self.space_mm * UNITS_A_SPACE)

    @property
    def half_units(self) -> int:
        """How wide a system is that shares its row, in the engraver's units."""
        return int(self.half_mm / self.space_mm * UNITS_A_SPACE)


def sheet_settings(settings: Settings) -> SheetSettings:
    """Return how sheets are printed as settings have it."""
    day = settings.date
    midnight = None if day is None else datetime(day.year, day.month, day.day, tzinfo=UTC)
    return SheetSettings(
        paper=Paper(settings.paper),
        landscape=settings.landscape,
        size=None if settings.size is None else PrintSize(settings.size),
        form=Form(settings.ornaments),
        fingering=settings.fingering,
        advice=Shown(settings.advice),
        marks=Shown(settings.marks),
        counting=None if settings.counting is None else Counting(settings.counting),
        link=settings.link,
        imposition=Imposition(settings.imposition),
        explain=settings.explain,
        dated=None if midnight is None else int(midnight.timestamp()),
    )


USUAL_SETTINGS = sheet_settings(usual_settings("sheet"))


def clock_text(seconds: Fraction) -> str:
    """Return a duration as a track list has it: `1:05`, rounded to whole seconds."""
    whole = round(seconds)
    minutes, rest = divmod(whole, 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours}:{minutes:02d}:{rest:02d}" if hours else f"{minutes}:{rest:02d}"
