"""The page as a file: one, small, the same each time, and a job like any other."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest

from renderer.delivery.carrying_out import carry_out
from renderer.delivery.page.contents import page_contents
from renderer.delivery.page.one_file import html_of
from renderer.errors import RungwiseError
from renderer.order.documents import Document
from renderer.order.jobs import job_from_json, job_json
from renderer.order.order import Order
from renderer.order.settings import read_settings
from renderer.reading.exercise import read_exercise, source_of
from tests.page.pages import WIDE, data_of, page_of

TWELVE = """
title = "Twelve lines"
meter = "4/4"
tempo = 80
[[lines]]
runs = { span = "fourth", direction = "rising", limit = 6 }
ornament = "doubling"
[[lines]]
runs = { span = "fifth", direction = "rising", among = "low A to F", limit = 6 }
ornament = "grip"
[ladder]
from = 40
to = 80
step = 10
"""


def test_twelve_lines_five_rungs_and_two_pitches_are_under_three_megabytes(tmp_path: Path) -> None:
    page = page_of(TWELVE, tmp_path, "--pitch", "A", "--pitch", "B flat")
    (exercise,) = data_of(page)["exercises"]
    assert len(exercise["lines"]) == 12
    assert len(exercise["rungs"]) == 5
    assert page.stat().st_size < 3_000_000


def rows_of(table: Any) -> list[dict[str, Any]]:
    """Return a table of a page as rows by their keys."""
    return [dict(zip(table["keys"], row, strict=True)) for row in table["rows"]]


PLAYED = (
    "doublings-over-a-wide-step",
    "movements-off-the-beat",
    "two-four-march-full",
    "crunluaths",
    "birls-in-time",
)


def test_what_is_drawn_is_what_sounds_in_each_form_of_a_line() -> None:
    """All notes and gracenotes that sound stand on the staff: opened as notes, closed as groups."""
    settings = read_settings({})
    exercises = [settings.applied_to(read_exercise(name)) for name in PLAYED]
    contents = page_contents(exercises, settings, lambda _: None)
    opened = 0
    for line in (line for exercise in contents["exercises"] for line in exercise["lines"]):
        assert set(line["drawn"]) == set(line["forms"])
        large = {}
        for form, music in line["forms"].items():
            sounding = rows_of(music["soundings"])
            names = {one[key] for one in sounding for key in ("id", "gracenote_id") if one[key]}
            written = {bar["written"] for bar in rows_of(music["bars"])}
            for layout in line["staves"][line["drawn"][form]].values():
                drawn = "".join(one["svg"] for one in layout["systems"])
                assert names <= set(re.findall(r'id="([^"]+)"', drawn)), (form, names)
                assert {bar for one in layout["systems"] for bar, _, _ in one["bars"]} == written
                large[form] = len(re.findall(r'class="note"', drawn))
        if "opened" in large and "parts 120" in large:
            assert large["opened"] > large["parts 120"]
            opened += 1
    assert opened > 10


def test_a_page_is_a_job_that_another_process_makes_to_the_same_bytes(tmp_path: Path) -> None:
    definition = tmp_path / "wide.toml"
    definition.write_text(WIDE)
    order = Order((source_of(str(definition)),), read_settings({"pitch": "B flat"}))
    job = order.document(Document.PAGE, tmp_path / "one.html")
    again = job_from_json(job_json(job).replace("one.html", "two.html"))
    assert again.digest == job.digest
    carry_out(job)
    carry_out(again)
    assert (tmp_path / "one.html").read_bytes() == (tmp_path / "two.html").read_bytes()
    other = Order(order.sources, read_settings({"pitch": "A"}))
    assert other.document(Document.PAGE, tmp_path / "one.html").digest != job.digest


def test_a_page_has_another_name_than_a_sheet(tmp_path: Path) -> None:
    definition = tmp_path / "wide.toml"
    definition.write_text(WIDE)
    order = Order((source_of(str(definition)),), read_settings({}))
    with pytest.raises(RungwiseError, match=r"page\.pdf.*ends? in \.html"):
        carry_out(order.document(Document.PAGE, tmp_path / "page.pdf"))
    assert [path.name for path in tmp_path.iterdir()] == ["wide.toml"]


def test_nothing_written_ends_the_data_or_fills_a_place() -> None:
    wicked = "</script><script>{{script}} <!-- \u2028 & 'x'"
    contents = {"exercises": [{"title": wicked}], "glyphs": []}
    text = html_of(contents).decode()
    data = re.search(r'id="data">(.*?)</script>', text, re.DOTALL)
    assert data is not None
    assert json.loads(data[1])["exercises"][0]["title"] == wicked
    assert text.count("<script") == 2
    assert text.count("</script>") == 2
    assert "&lt;/script&gt;" in text.split("<title>")[1].split("</title>")[0]
