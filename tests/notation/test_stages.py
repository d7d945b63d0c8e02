"""Movements that close within a track: a ladder's row of inner lengths is read, kept and played."""

from __future__ import annotations

from pathlib import Path

import pytest
from typer.testing import CliRunner

from renderer.commands.app import app
from renderer.errors import RungwiseError
from renderer.notation.source_file import Source
from renderer.order.tracks import expand, timeline_of
from renderer.reading.exercise import read_exercise
from tests.delivery.larkmoor import asked

CLOSING = """
title = "Closing"
meter = "2/4"
[[lines]]
run = "B, C"
ornament = "grip"
[ladder]
tempos = [60, 70]
repeats = 2
inner = ["even", "1/4 beat", "120 ms, 100 ms", "book"]
"""
ROW = ["even", "1/4 beat", "120 ms, 100 ms", "book"]


def test_a_definition_can_close_its_movements_round_by_round() -> None:
    exercise = read_exercise(Source("closing.toml", CLOSING.encode()))
    assert exercise.ladder is not None
    assert list(map(str, exercise.ladder.inner)) == ROW
    track = timeline_of(exercise, asked(), exercise.ladder.tempos[0])
    assert [str(one.inner) for one in track.sections if one.turn == 2] == ROW
    plain = read_exercise(Source("plain.toml", CLOSING.replace("inner =", "# inner").encode()))
    same = expand(plain, 60, open_to_close=ROW, repeats=2)
    assert list(track) == list(same)
    # Who asks for one length gets it.
    settings = asked(inner="50 ms", tempo=60)
    once = timeline_of(settings.applied_to(exercise), settings)
    assert {one.inner for one in once.sections} == {None}


@pytest.mark.parametrize("form", ["toml", "abc", "musicxml"])
def test_every_score_keeps_the_row(form: str, tmp_path: Path) -> None:
    (tmp_path / "closing.toml").write_text(CLOSING, "utf-8")
    target = tmp_path / f"written.{form}"
    run = CliRunner().invoke(app, ["convert", str(tmp_path / "closing.toml"), str(target)])
    assert run.exit_code == 0, run.output
    assert "ladder" not in run.output
    again = read_exercise(target)
    assert again.ladder is not None
    assert list(map(str, again.ladder.inner)) == ROW


def test_a_row_that_is_none_is_refused_at_its_place() -> None:
    for wrong, said in (('["even"]', "1 lengths"), ('["even", "5 miles"]', "5 miles")):
        text = CLOSING.replace(CLOSING.split("inner = ")[1], f"{wrong}\n")
        with pytest.raises(RungwiseError, match=said) as caught:
            read_exercise(Source("closing.toml", text.encode()))
        assert "ladder.inner" in str(caught.value)
