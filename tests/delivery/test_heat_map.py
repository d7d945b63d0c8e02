"""The heat map of a coverage: a picture that shows what was counted."""

from __future__ import annotations

import io
import os
import subprocess
import sys
from itertools import pairwise
from pathlib import Path
from xml.etree import ElementTree

import pytest
from PIL import Image

from renderer.delivery.heat_map import heat_map
from renderer.errors import RungwiseError
from renderer.notation.definition.reader import parse_definition
from renderer.notation.pitch import Note
from renderer.technique.coverage import Coverage, coverage
from renderer.technique.realise import realise
from tests.limits import HANG_S

RUN = '[[lines]]\nrun = "low A, B, D"\nornament = "doubling"\n'


def covered() -> tuple[Coverage, ...]:
    lines = (
        '[[lines]]\nrun = "low A, B, D"\nornament = "doubling"\nwalk = true\n'
        '[[lines]]\nrun = "low A, B, D, B"\nornament = "grip"\n'
    )
    return coverage([realise(parse_definition(lines * 7))])


def test_the_picture_is_readable_and_wide_enough_for_its_panels() -> None:
    image = Image.open(io.BytesIO(heat_map(covered(), ".png", title="Larkmoor")))
    image.load()
    assert image.width > 1200
    assert len(image.convert("RGB").getcolors(1 << 24) or []) > 10


def test_the_drawing_says_in_text_what_was_counted() -> None:
    svg = heat_map(covered(), ".svg", title="A book of $x$ & <tags>")
    text = " ".join(t for t in ElementTree.fromstring(svg).itertext() if t.strip())
    assert "A book of $x$ & <tags>" in text
    for one in covered():
        assert f"{one.ornament}: {one.covered} of {len(one.possible)} ways in" in text
    counts = [
        count
        for one in covered()
        for (before, _), count in one.counts.items()
        if before is not None
    ]
    # The key names the most.
    assert text.split().count("7") == counts.count(7) + (max(counts) == 7)


def test_one_scale_holds_for_all_panels_and_stands_under_them_with_what_cells_mean() -> None:
    often = '[[lines]]\nrun = "low A, B, D"\nornament = "doubling"\nwalk = true\n' * 4
    seldom = '[[lines]]\nrun = "low A, B, D, B"\nornament = "grip"\n'
    found = coverage([realise(parse_definition(often + seldom))])
    counts = {
        one.ornament: {n for (before, _), n in one.counts.items() if before is not None}
        for one in found
    }
    most = max(max(here) for here in counts.values())
    assert max(counts["grip"]) < most, "a panel whose own most is less"
    root = ElementTree.fromstring(heat_map(found, ".svg"))
    shades: dict[str, set[str]] = {}
    for panel in root.iter("{http://www.w3.org/2000/svg}g"):
        cells = list(panel)
        for cell, label in pairwise(cells):
            if cell.tag.endswith("rect") and (label.text or "").isdigit():
                shades.setdefault(str(label.text), set()).add(cell.get("fill", ""))
    assert len(shades) > 1
    assert all(len(fills) == 1 for fills in shades.values())
    assert len({fill for fills in shades.values() for fill in fills}) == len(shades)
    said = " ".join(root.itertext())
    for words in ("how often: 0", "possible, never played", "no way in"):
        assert words in said


def test_a_long_title_fits_its_picture() -> None:
    (one,) = coverage([realise(parse_definition(RUN))])
    image = Image.open(io.BytesIO(heat_map((one,), ".png", title="W" * 90))).convert("L")
    width, height = image.size
    head = image.crop((0, 0, width, height // 12))
    left, _, right, _ = (
        head.point([255 * (shade < 128) for shade in range(256)]).getbbox() or (0,) * 4
    )
    assert 0 < left < right < width
    assert abs(left + right - width) < 12, "it stands in the middle"


def words_drawn(among: tuple[Note, ...]) -> list[str]:
    found = coverage([realise(parse_definition(RUN))], among=among)
    svg = heat_map(found, ".svg", among=among)
    return " ".join(ElementTree.fromstring(svg).itertext()).split()


def test_notes_that_are_not_in_question_are_drawn_only_where_they_are_played() -> None:
    words = words_drawn((Note.LOW_A, Note.B, Note.C, Note.D))
    assert (words.count("C"), words.count("B")) == (2, 2), "on either axis"
    assert "F" not in words
    words = words_drawn((Note.LOW_A, Note.B))
    assert (words.count("D"), words.count("C")) == (2, 0)


def test_the_same_coverage_gives_the_same_drawing() -> None:
    assert heat_map(covered(), ".svg") == heat_map(covered(), ".svg")


def test_other_endings_and_nothing_to_draw_are_refused() -> None:
    with pytest.raises(RungwiseError, match=r"\.png or \.svg"):
        heat_map(covered(), ".jpeg")
    with pytest.raises(RungwiseError, match="no movements"):
        heat_map((), ".png")


def test_a_title_in_any_script_is_drawn_and_nothing_is_said_or_written_elsewhere(
    tmp_path: Path,
) -> None:
    code = (
        "from tests.delivery.test_heat_map import covered\n"
        "from renderer.delivery.heat_map import heat_map\n"
        "import sys\n"
        "a, b = (heat_map(covered(), '.png', title=t) for t in ('指の練習', '□□□□'))\n"
        "assert a != b\n"
        "assert 'matplotlib' not in sys.modules\n"
    )
    run = subprocess.run(
        [sys.executable, "-c", code],
        env={**os.environ, "HOME": str(tmp_path), "PYTHONPATH": str(Path(__file__).parents[2])},
        capture_output=True,
        text=True,
        check=True,
        timeout=HANG_S,
    )
    assert (run.stdout, run.stderr) == ("", "")
    assert list(tmp_path.iterdir()) == []
