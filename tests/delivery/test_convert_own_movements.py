"""A file's own movements, and lengths that it gives those of the book, go along to other forms."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from renderer.delivery.convert import convert
from renderer.notation.definition.writer import write_definition
from renderer.notation.musicxml.writer import write_musicxml
from renderer.order.settings import usual_settings
from renderer.order.tracks import expand
from renderer.reading.exercise import read_exercise

SETTINGS = usual_settings("convert")

OWN = """
title = "Own lengths"
meter = "4/4"

[ornament-book.grip]
beat = "first"
inner = "70 ms"
least = "40 ms"

[ornament-book."Larkmoor throw"]
inner = ["90 ms", "60 ms", "50 ms"]
fragments = { D = "{g}G {d}c d" }

[[lines]]
run = "B, C, B, C"
ornament = "grip"

[[lines]]
run = "B, D, B, D"
ornament = "Larkmoor throw"
on = "D"
"""


@pytest.fixture
def own(tmp_path: Path) -> Path:
    path = tmp_path / "own.toml"
    path.write_text(OWN, "utf-8")
    return path


@pytest.mark.parametrize("form", ["toml", "abc", "musicxml", "mxl", "mid"])
def test_a_converted_file_plays_its_own_movements_as_before(own: Path, form: str) -> None:
    path = own.with_name(f"other.{form}")
    assert convert(read_exercise(own), path, SETTINGS) == []
    before, after = read_exercise(own), read_exercise(path)
    assert after.own_movements == before.own_movements
    names = [note.ornament for line in after for note in line.melody_notes]
    assert names.count("Larkmoor throw") == 2
    played = [
        [(event.start, event.length, event.note) for event in expand(one, 60)]
        for one in (before, after)
    ]
    assert played[0] == played[1]
    lengths = {float(e.length) for e in expand(after, 60) if e.line == 1 and e.role == "inner"}
    assert lengths == {0.07}


@pytest.mark.parametrize(
    "wrong",
    [
        "{",
        "[1]",
        "[" * 20_000,
        '{"grip": 3}',
        '{"throw": {"fragments": {"D": "{x}H"}}}',
        "x" * 30_000,
    ],
)
def test_own_movements_that_make_no_sense_are_left_out_and_said(own: Path, wrong: str) -> None:
    text = write_musicxml(read_exercise(own)).decode()
    kept = json.dumps(json.loads(read_exercise(own).own_movements), sort_keys=True)
    escaped = kept.replace("&", "&amp;").replace('"', "&quot;")
    place = next(one for one in (kept, escaped) if one in text)
    path = own.with_name("wrong.musicxml")
    path.write_text(text.replace(place, wrong.replace("&", "&amp;")), "utf-8")
    exercise = read_exercise(path)
    assert exercise.own_movements == ""
    assert [remark for remark in exercise.remarks if "left out" in remark]
    assert write_definition(exercise)
