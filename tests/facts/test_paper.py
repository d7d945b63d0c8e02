"""Paper sizes of printed sheets: ISO 216 (A4, 210 by 297 mm) and ANSI/ASME Y14.1 (8.5 by 11 in)."""

from __future__ import annotations

import io
from dataclasses import replace

import pytest
from pypdf import PdfReader

from renderer.delivery.sheet.content import content_of
from renderer.delivery.sheet.layout import USUAL_SETTINGS, Paper
from renderer.delivery.sheet.pages import lay_out
from tests.delivery.larkmoor import doublings

INCH_MM = 25.4
A4 = (210 / INCH_MM, 297 / INCH_MM)
LETTER = (8.5, 11.0)


@pytest.mark.parametrize(("paper", "inches"), [(Paper.A4, A4), (Paper.LETTER, LETTER)])
@pytest.mark.parametrize("landscape", [False, True])
def test_pages_have_the_size_that_the_standard_gives(
    paper: Paper, inches: tuple[float, float], landscape: bool
) -> None:
    settings = replace(USUAL_SETTINGS, paper=paper, landscape=landscape)
    pdf = lay_out([content_of(doublings(), settings)], settings).pdf()
    (page,) = PdfReader(io.BytesIO(pdf)).pages
    size = [float(side) / 72 for side in page.mediabox[2:]]
    wanted = inches[::-1] if landscape else inches
    assert size == pytest.approx(wanted, abs=0.01)
