"""How sheets are laid out: paper, direction and print size, in millimetres and points.

The one place for the defaults of sheets; command line, packs and the Python interface share it.
"""

from __future__ import annotations

import enum
from dataclasses import dataclass
from fractions import Fraction

from renderer.notation.printed import Opened


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

    NORMAL = "normal"
    LARGE = "large"

    @property
    def space_mm(self) -> float:
        """The distance between two staff lines.

        Normal is the rastral size of 7 mm a staff that printed parts have (common practice); large
        is meant to be read from two metres away (judgement).
        """
        return 1.75 if self is PrintSize.NORMAL else 2.9

    @property
    def text_pt(self) -> float:
        """The size of the running text."""
        return 9.0 if self is PrintSize.NORMAL else 13.5


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


MARGIN_MM = 15.0
"""Of the page, on every side; office printers leave about 5 mm white themselves (judgement)."""

LONGEST_LINK = 400
"""Bytes of a web address; its QR code stays coarse enough to be read from paper (judgement)."""

UNITS_A_SPACE = 180
"""How many of the engraver's units lie between two staff lines."""


@dataclass(frozen=True, slots=True)
class SheetSettings:
    """How a sheet is printed.

    Parameters
    ----------
    paper, landscape, size:
        The page.
    form:
        How ornaments are printed.
    fingering:
        Whether a strip of finger changes stands under each line.
    link:
        A web address printed as a QR code; empty for none.
    dated:
        Seconds since 1970 to date the file with; None for no date, so that the same exercise gives
        the same bytes.
    """

    paper: Paper = Paper.A4
    landscape: bool = False
    size: PrintSize = PrintSize.NORMAL
    form: Form = Form.AS_WRITTEN
    fingering: bool = False
    link: str = ""
    dated: int | None = None

    @property
    def page_mm(self) -> tuple[float, float]:
        """Width and height of the page."""
        width, height = self.paper.size_mm
        return (height, width) if self.landscape else (width, height)

    @property
    def system_units(self) -> int:
        """How wide a whole system is, in the engraver's units."""
        return int((self.page_mm[0] - 2 * MARGIN_MM) / self.size.space_mm * UNITS_A_SPACE)


USUAL_SETTINGS = SheetSettings()


def clock_text(seconds: Fraction) -> str:
    """Return a duration as a track list has it: `1:05`, rounded to whole seconds."""
    whole = round(seconds)
    minutes, rest = divmod(whole, 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours}:{minutes:02d}:{rest:02d}" if hours else f"{minutes}:{rest:02d}"
