"""What the page knows of lines: what `rungwise check` says of them."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from renderer.commands.app import app
from renderer.delivery.sheet.content import marks_of
from renderer.delivery.sheet.layout import Shown
from renderer.errors import RungwiseError
from renderer.notation.pitch import Note
from renderer.notation.source_file import Source
from renderer.reading.exercise import read_exercise
from renderer.technique.fingering import fingering, sounding
from renderer.workbench.application import Bench
from renderer.workbench.folder import Folder
from renderer.workbench.knowing_answers import answers
from tests.workbench.benches import WIDE, waited_for


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
    # The notes that are marked on the staves, and the way in which each mark points.
    exercise = read_exercise(tmp_path / "wide.toml")
    marks = [[one.hand_first.value for one in line] for line in marks_of(exercise, Shown.ALL)]
    assert [[one["first"] for one in line["noises"]] for line in known] == marks and any(marks)


def test_it_is_of_movements_as_they_are_opened_meanwhile(tmp_path: Path) -> None:
    know = answers(Bench(Folder(tmp_path)))["know"]
    text = '[[lines]]\nrun = "C, E, F, C"\nornament = "grip"\nnotes-per-beat = 4\n'
    closed = know({"name": "a.toml", "text": text})["lines"][0]
    opened = know({"name": "a.toml", "text": text, "inner": "even"})["lines"][0]
    assert 30 < float(closed["fastest"]) < 400
    assert closed["fastest"] != opened["fastest"]


BOOK = """title = "A book"  # of three kinds
meter = "4/4"

# rising ones
[[lines]]
heading = "Thirds"
runs = { span = "third", among = "low G to E" }
ornament = "doubling"
walk = true

# by hand
[[lines]]
run = "D, B, low A"
ornament = "grip"
"""


def asked(folder: Path, what: str, **told: Any) -> dict[str, Any]:
    bench = Bench(Folder(folder))
    found = answers(bench)[what]({"name": "book.toml", "text": BOOK} | told)
    if "job" not in found:
        return found

    def ended() -> dict[str, Any] | None:
        told = bench.jobs.told(found["job"])
        return None if told["state"] == "running" else told

    outcome = waited_for(ended)
    assert outcome["state"] == "done", outcome
    result: dict[str, Any] = outcome["result"]
    return result


def printed(*command: str) -> str:
    run = CliRunner().invoke(app, list(command))
    assert run.exit_code == 0, run.output
    return run.output


def test_ways_in_are_those_that_the_command_line_counts(tmp_path: Path) -> None:
    (tmp_path / "book.toml").write_text(BOOK)
    told = json.loads(printed("coverage", str(tmp_path / "book.toml"), "--format", "json"))
    found = asked(tmp_path, "book")["movements"]
    assert [one["name"] for one in found] == [one["ornament"] for one in told]
    names = [note.label for note in Note]
    for one, expected in zip(found, told, strict=True):
        assert (one["covered"], one["possible"]) == (expected["covered"], expected["possible"])
        ways = [{"from": names[a], "on": names[b]} for a, b in one["missing"]]
        assert ways == expected["missing"]
        counts = {(a if a is None else names[a], names[b]): n for a, b, n in one["counts"]}
        assert counts == {(row["from"], row["on"]): row["count"] for row in expected["counts"]}
    fewer = asked(tmp_path, "book", among="low A to E")["movements"]
    assert fewer[0]["possible"] < found[0]["possible"]
    with pytest.raises(RungwiseError, match="among"):
        asked(tmp_path, "book", among="low Z")


def test_a_short_version_is_that_of_the_command_line_and_keeps_remarks(tmp_path: Path) -> None:
    (tmp_path / "book.toml").write_text(BOOK)
    short = asked(tmp_path, "abridge", lines=4)
    assert len(short["lines"]) == 4
    assert short["covered"] + len(short["uncovered"]) == short["ways"]
    printed("abridge", str(tmp_path / "book.toml"), "--lines", "4", "-o", str(tmp_path / "s.toml"))
    text = asked(tmp_path, "shortened", lines=short["lines"])["text"]
    assert text.startswith('title = "A book"  # of three kinds\n')
    mine = read_exercise(Source("a.toml", text.encode()))
    assert mine.lines == read_exercise(tmp_path / "s.toml").lines
    name = asked(tmp_path, "keep-short", lines=short["lines"])["name"]
    kept = (tmp_path / name).read_text()
    assert name == "book (abridged).toml"
    assert kept == text.replace('"A book"', '"A book (abridged)"')


def test_a_short_version_covers_everything_or_fills_its_pages(tmp_path: Path) -> None:
    again = f'{BOOK}\n[[lines]]\nrun = "D, B, low A, B"\nornament = "grip"\n'
    everything = asked(tmp_path, "abridge", text=again)
    assert everything["uncovered"] == []
    assert everything["fewest"] == len(everything["lines"]) < everything["of"]
    pages = asked(tmp_path, "pages", text=again)["pages"]
    assert len(asked(tmp_path, "abridge", text=again, pages=pages)["lines"]) == everything["of"]


def test_a_whole_entry_stays_as_it_was_typed(tmp_path: Path) -> None:
    count = len(asked(tmp_path, "know")["lines"])
    text = asked(tmp_path, "shortened", lines=list(range(count - 1)))["text"]
    assert text == BOOK[: BOOK.index("\n# by hand")]


def test_a_short_version_leaves_the_order_of_playing_out_as_the_command_does(
    tmp_path: Path,
) -> None:
    count = len(asked(tmp_path, "know")["lines"])
    order = f"order = [{count}, 1]  # the last one first\n"
    text = BOOK.replace("\n", f"\n{order}", 1)
    short = asked(tmp_path, "shortened", text=text, lines=[0, 1])["text"]
    assert short.startswith('title = "A book"  # of three kinds\n# the last one first\n')
    assert "order" not in short
    (tmp_path / "ordered.toml").write_text(text)
    out = str(tmp_path / "s.toml")
    printed("abridge", str(tmp_path / "ordered.toml"), "--lines", "2", "-o", out)
    assert read_exercise(out).order == read_exercise(Source("a.toml", short.encode())).order == ()


def test_a_score_is_shortened_as_a_copy(tmp_path: Path) -> None:
    (tmp_path / "tune.abc").write_text("X:1\nT:Two\nM:2/4\nL:1/4\nK:HP\nA B|c d|\ne f|e d|\n")
    bench = Bench(Folder(tmp_path))
    name = answers(bench)["keep-short"]({"name": "tune.abc", "lines": [0]})["name"]
    assert len(read_exercise(tmp_path / name).lines) == 1
    with pytest.raises(RungwiseError, match="the lines are others by now"):
        answers(bench)["keep-short"]({"name": "tune.abc", "lines": [7]})


def test_fingers_move_as_the_chart_has_them(tmp_path: Path) -> None:
    """Source: the check values of common practice: C to E by way of a G gracenote."""
    text = '[[lines]]\nabc = "c2 {g}e2 | {g}e2 c2 | {g}e2 e2"\n'
    changes = asked(tmp_path, "fingers", text=text, line=0)["changes"]
    way = next(one for one in changes if (one["from"], one["by"], one["to"]) == (3, 7, 5))
    assert (way["times"], way["number"]) == (2, "1")
    began, lifted, closed = way["stations"]
    assert began["closed"] == "xxxxx--x" and lifted["closed"] == "x-x-x---"
    assert closed["closed"] == "xxx-xxx-"
    assert lifted["moves"]["en"] == "lift left index, ring; right little"
    assert closed["moves"]["en"] == "close left index; right middle, ring"
    assert "kleinen Finger heben" in lifted["moves"]["de"]
    assert [one["sounds"] for one in way["stations"]] == [3, 7, 5]
    assert way["cautions"][0]["is_crossing"], "the hands cross from C to E"
    for one in changes:
        assert one["stations"][-1]["closed"].count("x") == len(fingering(Note(one["to"])))
        assert sounding(fingering(Note(one["to"]))) is Note(one["to"])


def test_a_line_that_is_gone_has_no_fingers(tmp_path: Path) -> None:
    with pytest.raises(RungwiseError, match="no such line any more"):
        asked(tmp_path, "fingers", line=99)
