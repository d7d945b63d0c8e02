"""The heat map of a coverage: a picture that shows what was counted."""

from __future__ import annotations

import io
import os
import subprocess
import sys
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
    assert text.split().count("7") == sum(
        count == 7
        for one in covered()
        for (before, _), count in one.counts.items()
        if before is not None
    )


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
