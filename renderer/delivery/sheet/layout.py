"""How sheets are laid out: paper, direction and print size, in millimetres and points.

What settings ask for stands in the table of settings (`renderer.order.settings`); here is what that
means on paper.
"""

from __future__ import annotations

import enum
from dataclasses import dataclass
from datetime import UTC, datetime
from fractions import Fraction

from renderer.notation.printed import Opened
from renderer.order.settings import Settings, usual_settings


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

    @property
    def space_mm(self) -> float:
        """The distance between two staff lines.

        Normal is the rastral size of 7 mm a staff that printed parts have, compact that of the 5 mm
        of pocket scores (common practice); large is meant to be read from two metres away
        (judgement).
        """
        return {"compact": 1.25, "normal": 1.75, "large": 2.9}[self]

    @property
    def text_pt(self) -> float:
        """The size of the running text."""
        return {"compact": 8.5, "normal": 10.0, "large": 13.5}[self]

    @property
    def small_pt(self) -> float:
        """The size of advice and ladders, the smallest print that is read while playing.

        9.5 points are the least for a page on a music stand; compact print is for books that are
        read from the hand (judgement).
        """
        return {"compact": 7.5, "normal": 9.5, "large": 11.5}[self]

    @property
    def foot_pt(self) -> float:
        """The size of the footer and of the contents' small print, which is read at a desk."""
        return {"compact": 7.5, "normal": 8.5, "large": 11.0}[self]


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


class Shown(enum.StrEnum):
    """Which advice stands under the lines of a sheet, and which marks over their notes."""

    ALL = "all"
    FIRST = "first"
    NONE = "none"


SIDE_MM = 15.0
HEAD_MM = 12.0
"""Margins of the page at its sides, wide enough for punched holes, and at its head and foot; office
printers leave about 5 mm white themselves (judgement)."""

GUTTER_MM = 6.5
"""Between two lines that share a row."""

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
    marks:
        Which crossing noises are marked over the notes: each where it first occurs, all, or none.
    link:
        A web address printed as a QR code; empty for none.
    dated:
        Seconds since 1970 to date the file with; None for no date, so that the same exercise gives
        the same bytes.
    scale, paired:
        How many times as large as `size` says (text is never smaller), and whether short lines
        share rows although they could fill one each; both are found by `fitting.fitted`.
    """

    paper: Paper
    landscape: bool
    size: PrintSize | None
    form: Form
    fingering: bool
    advice: Shown
    marks: Shown
    link: str
    dated: int | None
    scale: float = 1.0
    paired: bool = False

    @property
    def page_mm(self) -> tuple[float, float]:
        """Width and height of the page."""
        width, height = self.paper.size_mm
        return (height, width) if self.landscape else (width, height)

    @property
    def print_size(self) -> PrintSize:
        """The size that is asked for, or the usual one."""
        return PrintSize.NORMAL if self.size is None else self.size

    @property
    def phrase(self) -> int:
        """How many bars of a tune stand in a row where its source does not say."""
        return 2 if self.print_size is PrintSize.LARGE else 4

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
        return self.page_mm[0] - 2 * SIDE_MM

    @property
    def half_mm(self) -> float:
        """How wide a line is that shares its row."""
        return (self.text_mm - GUTTER_MM) / 2

    @property
    def small_units(self) -> float:
        """The height of bar numbers and of staves' labels, in the engraver's units."""
        return self.text_units * LABEL_SIZE

    @property
    def system_units(self) -> int:
        """How wide a whole system is, in the engraver's units."""
        return int(self.text_mm / self.space_mm * UNITS_A_SPACE)

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
        link=settings.link,
        dated=None if midnight is None else int(midnight.timestamp()),
    )


USUAL_SETTINGS = sheet_settings(usual_settings("sheet"))


def clock_text(seconds: Fraction) -> str:
    """Return a duration as a track list has it: `1:05`, rounded to whole seconds."""
    whole = round(seconds)
    minutes, rest = divmod(whole, 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours}:{minutes:02d}:{rest:02d}" if hours else f"{minutes}:{rest:02d}"
