"""`rungwise sheet` on the command line: what it writes, and what it refuses in one message."""

from __future__ import annotations

from pathlib import Path

import pytest
from pypdf import PdfReader
from typer.testing import CliRunner, Result

from renderer.commands.app import app
from renderer.errors import RungwiseError
from renderer.reading.exercise import read_exercise
from tests.delivery.disks import made_in, make_read_only, small_disk


def sheet(*arguments: str | Path) -> Result:
    return CliRunner().invoke(app, ["sheet", *map(str, arguments)])


def refused(result: Result) -> str:
    """The one message of a refused call, as the command line prints it with exit code 2."""
    assert isinstance(result.exception, RungwiseError)
    assert len(result.exception.problems) == 1
    return str(result.exception)


def test_a_sheet_is_written_and_named(tmp_path: Path) -> None:
    target = tmp_path / "shakes.pdf"
    result = sheet("shakes", "-o", target, "--fingering", "--size", "large")
    assert result.exit_code == 0
    assert str(target) in result.stdout.replace("\n", "")
    assert len(PdfReader(target).pages) > 1
    assert made_in(tmp_path) == ["shakes.pdf"]


def test_several_exercises_make_a_booklet_for_the_class_they_share(tmp_path: Path) -> None:
    target = tmp_path / "book.pdf"
    result = sheet("shakes", "crunluaths", "-o", target, "--booklet", "Winter term")
    assert result.exit_code == 0
    reader = PdfReader(target)
    assert len(reader.pages) == 4
    assert reader.metadata is not None
    assert reader.metadata.title == "Winter term"
    assert reader.metadata.author == "Larkmoor evening class"


def test_a_gracenote_length_of_ones_own_is_printed(tmp_path: Path) -> None:
    target = tmp_path / "shakes.pdf"
    assert sheet("shakes", "-o", target, "--gracenote", "38 ms").exit_code == 0
    assert "Gracenotes 38 ms" in PdfReader(target).pages[0].extract_text()


def test_one_line_alone_is_printed_under_its_own_number(tmp_path: Path) -> None:
    target = tmp_path / "line.pdf"
    assert sheet("crossing-noises", "-o", target, "--line", "3").exit_code == 0
    exercise = read_exercise("crossing-noises")
    (page,) = PdfReader(target).pages
    text = page.extract_text()
    assert f"{exercise.title}, line 3" in text
    assert f"3  {exercise.lines[2].heading}" in text
    for number in (1, 2, 4, 5):
        assert f"{number}  {exercise.lines[number - 1].heading}" not in text


def test_a_roomy_page_is_printed_larger_unless_the_size_is_given(tmp_path: Path) -> None:
    pages: list[bytes] = []
    for options in ((), ("--size", "normal"), ("--size", "large")):
        target = tmp_path / f"{len(pages)}.svg"
        assert sheet("first-strikes", "-o", target, *options).exit_code == 0
        pages.append(target.read_bytes())
    assert len(set(pages)) == 3


def test_opened_closed_and_both_print_different_staves(tmp_path: Path) -> None:
    written = {}
    for option in ("open", "closed", "both"):
        target = tmp_path / f"{option}.svg"
        result = sheet("doublings-over-a-wide-step", "-o", target, "--ornaments", option)
        assert result.exit_code == 0
        written[option] = target.read_bytes()
    assert len(set(written.values())) == 3
    assert len(written["both"]) > max(len(written["open"]), len(written["closed"]))


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("shakes", "-o", "sheet.doc"), ".pdf, .svg, .png"),
        (("shakes", "-o", "sheet"), "no ending"),
        (("shakes", "-o", "sheet.pdf", "--ornaments", "upside down"), "no form of ornaments"),
        (("shakes", "-o", "sheet.pdf", "--date", "soon"), "2026-11-25"),
        (("shakes", "-o", "sheet.pdf", "--link", "https://example.org/" + "x" * 400), "--link"),
        (("shakes", "-o", "sheet.pdf", "--link", "https://example.org/{bar}"), "{line}"),
        (("shakes", "-o", "sheet.pdf", "--link", "https://example.org/{line}" + "x" * 120), "120"),
        (("shakes", "-o", "sheet.pdf", "--landscape", "--imposition", "folded"), "landscape"),
        (("shakes", "-o", "sheet.pdf", "--line", "4"), "Choose one from 1 to 3"),
        (("shaeks", "-o", "sheet.pdf"), "'shakes'"),
    ],
)
def test_what_is_wrong_is_said_in_one_message_and_nothing_is_written(
    arguments: tuple[str, ...], says: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    assert says in refused(sheet(*arguments))
    assert not list(tmp_path.iterdir())


def test_a_read_only_disk_keeps_the_sheet_that_is_on_it(tmp_path: Path) -> None:
    with small_disk(tmp_path / "disk", kilobytes=512) as disk:
        assert sheet("shakes", "-o", disk / "shakes.pdf").exit_code == 0
        before = (disk / "shakes.pdf").read_bytes()
        make_read_only(disk)
        assert "read-only" in refused(sheet("birls", "-o", disk / "shakes.pdf"))
        assert (disk / "shakes.pdf").read_bytes() == before


def test_a_full_disk_keeps_the_sheet_that_is_on_it(tmp_path: Path) -> None:
    with small_disk(tmp_path / "disk", kilobytes=60) as disk:
        (disk / "sheet.pdf").write_bytes(b"what was there")
        assert "full" in refused(sheet("every-doubling-from-low-g-to-f", "-o", disk / "sheet.pdf"))
        assert [path.name for path in disk.iterdir()] == ["sheet.pdf"]
        assert (disk / "sheet.pdf").read_bytes() == b"what was there"
