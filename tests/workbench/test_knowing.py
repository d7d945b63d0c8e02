"""What the page knows of lines: what `rungwise check` says of them."""

from __future__ import annotations

import json
from pathlib import Path

from typer.testing import CliRunner

from renderer.commands.app import app
from renderer.workbench.application import Bench
from renderer.workbench.folder import Folder
from renderer.workbench.knowing_answers import answers
from tests.workbench.benches import WIDE


def test_it_is_what_the_command_line_says(tmp_path: Path) -> None:
    (tmp_path / "wide.toml").write_text(WIDE)
    know = answers(Bench(Folder(tmp_path)))["know"]
    known = know({"name": "wide.toml"})["lines"]
    assert known == know({"name": "other.toml", "text": WIDE})["lines"]
    run = CliRunner().invoke(app, ["check", str(tmp_path / "wide.toml"), "--format", "json"])
    told = json.loads(run.output)["lines"]
    assert len(told) == len(known) == 3
    for line, expected in zip(known, told, strict=True):
        assert line["difficulty"] == round(expected["difficulty"], 1)
        if expected["fastest_tempo"] >= 400:
            assert line["fastest"] is None, "it fits at whatever tempo can be asked for"
        else:
            assert float(line["fastest"]) == int(expected["fastest_tempo"])
        assert line["played"]["en"] == expected["played"]
    assert any(line["advice"] for line in known)


def test_it_is_of_movements_as_they_are_opened_meanwhile(tmp_path: Path) -> None:
    know = answers(Bench(Folder(tmp_path)))["know"]
    text = '[[lines]]\nrun = "C, E, F, C"\nornament = "grip"\nnotes-per-beat = 4\n'
    closed = know({"name": "a.toml", "text": text})["lines"][0]
    opened = know({"name": "a.toml", "text": text, "inner": "even"})["lines"][0]
    assert 30 < float(closed["fastest"]) < 400
    assert closed["fastest"] != opened["fastest"]
