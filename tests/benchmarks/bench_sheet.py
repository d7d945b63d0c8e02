"""Printing the full book of doublings: time by lines, and where it goes.

Run it with `python -m tests.benchmarks.bench_sheet`. The ratio of 70 lines to 7 is taken in one
run; 10 would be printing at the same speed a line.
"""

from __future__ import annotations

import time
from dataclasses import replace

from renderer.delivery.sheet.content import material_of
from renderer.delivery.sheet.fitting import fitted, lines_that_fit
from renderer.delivery.sheet.layout import USUAL_SETTINGS, SheetSettings
from renderer.notation.score import Exercise
from renderer.reading.exercise import read_exercise


def printing(exercise: Exercise, settings: SheetSettings) -> tuple[float, float, float, int]:
    """Seconds of engraving, of laying out and of writing the PDF, and the number of pages."""
    start = time.perf_counter()
    material = material_of(exercise, settings)
    engraved = time.perf_counter()
    pages = fitted([material], settings)
    laid_out = time.perf_counter()
    pages.pdf()
    return engraved - start, laid_out - engraved, time.perf_counter() - laid_out, pages.count()


def main() -> None:
    """Print the figures."""
    book = read_exercise("every-doubling-from-low-g-to-f")
    few = replace(book, lines=book.lines[:7])
    printing(few, USUAL_SETTINGS)  # fonts and packages are read by now
    for name, settings in (
        ("plain", USUAL_SETTINGS),
        ("with fingering", replace(USUAL_SETTINGS, fingering=True)),
    ):
        total = {}
        for exercise in (few, book):
            engraving, layout, writing, pages = printing(exercise, settings)
            count = len(exercise.lines)
            total[count] = engraving + layout + writing
            print(
                f"{name}, {count} lines on {pages} pages: engraving {engraving:.2f} s, layout "
                f"{layout:.2f} s, PDF {writing:.2f} s, together {total[count]:.2f} s"
            )
        print(f"{name}: 70 lines take {total[70] / total[7]:.1f} times as long as 7")
    start = time.perf_counter()
    lines = lines_that_fit(book, 1)
    print(f"finding that {lines} lines fit a page: {time.perf_counter() - start:.2f} s")


if __name__ == "__main__":
    main()
