"""Sheets in the page: the same bytes as `rungwise sheet` writes, page by page."""

from __future__ import annotations

import base64
from pathlib import Path

import pytest
from typer.testing import CliRunner

from renderer.commands.app import app
from renderer.errors import RungwiseError
from renderer.workbench.application import Bench
from renderer.workbench.folder import Folder
from renderer.workbench.sheet_answers import answers
from tests.workbench.benches import WIDE


def test_a_sheet_is_what_the_command_line_prints(tmp_path: Path) -> None:
    (tmp_path / "wide.toml").write_text(WIDE)
    sheet = answers(Bench(Folder(tmp_path)))["sheet"]
    (made,) = sheet({"name": "wide.toml", "form": "pdf"})["files"]
    assert (made["name"], made["kind"]) == ("wide.pdf", "application/pdf")
    out = tmp_path / "out" / "wide.pdf"
    run = CliRunner().invoke(app, ["sheet", str(tmp_path / "wide.toml"), "-o", str(out)])
    assert run.exit_code == 0, run.output
    assert base64.b64decode(made["data"]) == out.read_bytes()


def test_a_text_that_is_not_saved_is_laid_out_in_pages(tmp_path: Path) -> None:
    sheet = answers(Bench(Folder(tmp_path)))["sheet"]
    text = WIDE + WIDE[WIDE.index("[[lines]]") : WIDE.index("[ladder]")] * 9
    text = text[: text.index("[ladder]")] + text[text.index("step = 10") + 10 :]
    files = sheet({"name": "wide.toml", "text": text, "size": "large"})["files"]
    assert len(files) > 1
    for one in files:
        assert base64.b64decode(one["data"]).startswith(b"\x89PNG")
    assert list(tmp_path.iterdir()) == [], "nothing is written into the folder"


@pytest.mark.parametrize("asked", [{"size": "huge"}, {"form": "exe"}, {"text": "title = 1"}])
def test_what_cannot_be_printed_is_refused(tmp_path: Path, asked: dict[str, str]) -> None:
    sheet = answers(Bench(Folder(tmp_path)))["sheet"]
    with pytest.raises(RungwiseError):
        sheet({"name": "wide.toml", "text": WIDE} | asked)
