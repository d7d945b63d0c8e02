"""The pictures of sheets in the README: shipped exercises in, small PNG files out.

`python -m renderer.delivery.sheet.pictures` writes them anew into `examples/` beside this module.
Each shows the first page.
"""

from __future__ import annotations

import io
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from PIL import Image

from renderer.delivery.files import make_folder, write_whole
from renderer.delivery.sheet.content import material_of
from renderer.delivery.sheet.fitting import fitted
from renderer.delivery.sheet.layout import USUAL_SETTINGS, Form, PrintSize, SheetSettings
from renderer.reading.exercise import read_exercise

FOLDER = Path(__file__).parent / "examples"
_PIXELS_PER_INCH = 110
_GREYS = 16
_EDGE_PIXELS = 24


@dataclass(frozen=True, slots=True)
class Picture:
    """A picture's name and what it shows."""

    name: str
    exercise: str
    settings: SheetSettings


PICTURES = (
    Picture("whole-page", "every-doubling-from-low-g-to-f", USUAL_SETTINGS),
    Picture("opened-and-closed", "doublings-over-a-wide-step", USUAL_SETTINGS),
    Picture("both-forms", "closing-doublings", replace(USUAL_SETTINGS, form=Form.BOTH)),
    Picture("fingering", "shakes", replace(USUAL_SETTINGS, fingering=True)),
    Picture("large-print", "crossing-noises", replace(USUAL_SETTINGS, size=PrintSize.LARGE)),
    Picture("explained", "grips-and-taorluaths", replace(USUAL_SETTINGS, explain=True)),
    Picture(
        "compact-print",
        "fourteen-lines-of-doublings",
        replace(USUAL_SETTINGS, size=PrintSize.COMPACT),
    ),
    Picture("children", "first-strikes", replace(USUAL_SETTINGS, size=PrintSize.CHILDREN)),
)


def picture(one: Picture) -> bytes:
    """Return a picture as a PNG in shades of grey, its white edges cut off."""
    exercise = read_exercise(one.exercise)
    pages = fitted([material_of(exercise, one.settings)], one.settings)
    png = pages.pngs(_PIXELS_PER_INCH)[0]
    page = np.asarray(Image.open(io.BytesIO(png)).convert("L"))
    rows = np.flatnonzero(page.min(axis=1) < 200)
    page = page[max(0, rows[0] - _EDGE_PIXELS) : rows[-1] + _EDGE_PIXELS]
    out = io.BytesIO()
    Image.fromarray(page).quantize(_GREYS).save(out, "PNG", optimize=True)
    return out.getvalue()


def main() -> None:
    """Write the pictures."""
    make_folder(FOLDER)
    for one in PICTURES:
        write_whole(FOLDER / f"{one.name}.png", picture(one))


if __name__ == "__main__":
    main()
