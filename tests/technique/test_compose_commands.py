"""`rungwise expand`, `coverage`, `abridge`, `plan` and `list` as a user runs them."""

from __future__ import annotations

import csv
import json
import os
import subprocess
import sys
from pathlib import Path

import icalendar
import pytest

from renderer.delivery.sheet.fitting import pages_of
from renderer.reading.exercise import read_exercise
from renderer.reading.library import shipped_exercises
from tests.limits import HANG_S

BOOK = """
title = "Thirds [Larkmoor]"
meter = "4/4"
tempo = 60
[[lines]]
runs = { span = "third" }
ornament = "doubling"
walk = true
[ladder]
from = 40
to = 60
step = 10
"""


def rungwise(*arguments: str | Path, folder: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "renderer.cli", *map(str, arguments)],
        cwd=folder,
        capture_output=True,
        text=True,
        check=False,
        timeout=HANG_S,
        env={**os.environ, "COLUMNS": "200"},
    )


def succeeds(*arguments: str | Path, folder: Path) -> str:
    run = rungwise(*arguments, folder=folder)
    assert (run.returncode, run.stderr) == (0, ""), run.stderr
    return run.stdout


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "book.toml").write_text(BOOK, "utf-8")
    return tmp_path


def test_expand_prints_a_definition_that_plays_the_same(folder: Path) -> None:
    (folder / "again.toml").write_text(succeeds("expand", "book.toml", folder=folder))
    once = succeeds("events", "book.toml", folder=folder)
    assert succeeds("events", "again.toml", folder=folder) == once
    assert "runs" not in (folder / "again.toml").read_text()


def test_expand_writes_a_score_in_another_form_as_a_definition(folder: Path) -> None:
    tune = "X:1\nT:Tune\nM:2/4\nL:1/8\nQ:1/4=60\nK:HP\n{g}B4 | {GdG}A4 |\n"
    (folder / "tune.abc").write_text(tune)
    succeeds("expand", "tune.abc", "-o", "tune.toml", folder=folder)
    mine, theirs = (succeeds("events", f"tune.{form}", folder=folder) for form in ("toml", "abc"))
    assert mine == theirs


def test_coverage_prints_what_is_practised_and_what_is_missing(folder: Path) -> None:
    out = succeeds("coverage", "book.toml", "--among", "low G to F", folder=folder)
    # Six steps and five thirds, each way.
    assert "doubling: 30 played, 22 of 42 ways in" in out
    assert "Missing: on low G from C, D, E, F; on low A from D, E, F" in out
    heads = next(line for line in out.splitlines() if line.strip().startswith("from"))
    assert " ".join(heads.split()) == "from \\ on low G low A B C D E F"
    assert "high" not in out
    every = succeeds("coverage", "book.toml", folder=folder)
    assert "high A" in every and "high G" in every


def test_coverage_as_json_agrees_with_the_table_and_draws_a_map(folder: Path) -> None:
    out = succeeds(
        "coverage", "book.toml", "first-strikes", "--format", "json", "-o", "m.svg", folder=folder
    )
    found = {one["ornament"]: one for one in json.loads(out)}
    assert set(found) == {"doubling", "strike"}
    assert sum(row["count"] for row in found["doubling"]["counts"]) == 30
    assert len(found["doubling"]["missing"]) == found["doubling"]["possible"] - 22
    assert "ways in" in (folder / "m.svg").read_text("utf-8")


def test_coverage_of_one_movement_that_is_not_there_is_none_of_its_ways_in(folder: Path) -> None:
    out = succeeds("coverage", "book.toml", "--ornament", "D throw", folder=folder)
    assert "throw on D: 0 played, 0 of" in out


def test_abridge_writes_the_lines_chosen_and_says_what_they_leave_out(folder: Path) -> None:
    out = succeeds("abridge", "book.toml", "--lines", "4", "-o", "short.toml", folder=folder)
    assert "4 of 10 lines cover 12 of 22 ways into the movements." in out
    assert "No choice of 4 lines covers more than 12." in out
    assert "Left uncovered: doubling on" in out
    assert len(read_exercise(folder / "short.toml").lines) == 4


def test_abridge_to_the_screen_keeps_definition_and_report_apart(folder: Path) -> None:
    run = rungwise("abridge", "book.toml", "--cover", "all", folder=folder)
    assert run.returncode == 0
    (folder / "short.toml").write_text(run.stdout)
    lines = len(read_exercise(folder / "short.toml").lines)
    assert f"No choice of fewer than {lines} lines covers them all." in run.stderr


def test_abridge_to_a_page_fills_the_page(folder: Path) -> None:
    succeeds("abridge", "book.toml", "--pages", "1", "-o", "page.toml", folder=folder)
    page = read_exercise(folder / "page.toml")
    assert pages_of(page) == 1
    assert pages_of(read_exercise(folder / "book.toml")) == 2
    assert 4 <= len(page.lines) < 10


def test_plan_prints_days_and_writes_calendar_and_table(folder: Path) -> None:
    options = ("--minutes", "8", "--days", "5", "--start", "2026-02-27")
    out = succeeds("plan", "book.toml", *options, "-o", "p.ics", folder=folder)
    assert "Fri 27 Feb" in out and "Tue 03 Mar" in out
    assert "at 40" in out and "at 50 and back to 40" in out
    assert "goes on to its next tempo once it was clean" in out
    calendar = icalendar.Calendar.from_ical((folder / "p.ics").read_bytes())
    assert len(calendar.walk("VEVENT")) == 5
    succeeds("plan", "book.toml", *options, "-o", "p.csv", folder=folder)
    rows = list(csv.DictReader((folder / "p.csv").read_text("utf-8").splitlines()))
    assert {row["line"] for row in rows if row["what"] == "play"} == {
        str(number) for number in range(1, 11)
    }
    assert {row["date"] for row in rows} == {
        "2026-02-27", "2026-02-28", "2026-03-01", "2026-03-02", "2026-03-03",
    }  # fmt: skip


def test_list_names_every_exercise_that_ships(folder: Path) -> None:
    out = succeeds("list", folder=folder)
    assert all(one.name in out for one in shipped_exercises())
    beginner = succeeds("list", "--level", "beginner", folder=folder)
    assert "first-strikes" in beginner and "crunluaths" not in beginner


def test_no_name_is_folded_in_a_terminal_of_80_columns(folder: Path) -> None:
    pty = pytest.importorskip("pty", reason="terminals of Unix")
    try:
        ours, theirs = pty.openpty()
    except OSError as error:
        pytest.skip(f"this system gives no terminals: {error}")
    env = {**os.environ, "COLUMNS": "80", "TERM": "dumb"}
    command = [sys.executable, "-m", "renderer.cli", "list"]
    with subprocess.Popen(command, cwd=folder, stdout=theirs, env=env) as process:
        os.close(theirs)
        shown = b""
        while part := _read(ours):
            shown += part
    os.close(ours)
    assert process.returncode == 0
    lines = shown.decode().splitlines()
    assert max(map(len, lines)) <= 80
    names = {line.split()[0] for line in lines if line.strip()}
    assert {one.name for one in shipped_exercises()} <= names


def _read(terminal: int) -> bytes:
    try:
        return os.read(terminal, 4096)
    except OSError:  # Linux says so when the other end has gone
        return b""


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("expand", "none.toml"), "no such file"),
        (("expand", "no-such-exercise"), "rungwise list"),
        (("coverage", "book.toml", "--among", "H"), "--among"),
        (("coverage", "book.toml", "--ornament", "dubling"), "doubling"),
        (("coverage", "book.toml", "-o", "map.bmp"), ".png or .svg"),
        (("coverage", "book.toml", "none.toml", "none.abc"), "none.abc"),
        (("abridge", "book.toml"), "--cover all"),
        (("abridge", "book.toml", "--lines", "2", "--pages", "1"), "one of --lines, --pages"),
        (("abridge", "book.toml", "--lines", "0"), "at least 1"),
        (("abridge", "book.toml", "--pages", "0"), "at least 1"),
        (("abridge", "book.toml", "--cover", "some"), "--cover all"),
        (("abridge", "book.toml", "--lines", "2", "-o", "book.toml/a"), "book.toml/a"),
        (("plan", "book.toml", "--minutes", "0"), "from 1 to 480"),
        (("plan", "book.toml", "--minutes", "1", "--days", "1"), "rungwise abridge"),
        (("plan", "book.toml", "--repeats", "0"), "--repeats"),
        (("plan", "book.toml", "-o", "plan.txt"), ".ics or .csv"),
        (("plan", "book.toml", "--minutes", "8", "--playings", "900"), "900 times does not fit"),
        (("plan", "book.toml", "--start", "9999-12-31"), "--start"),
        (("list", "--level", "expert"), "beginner"),
    ],
)
def test_what_cannot_be_done_is_said_in_a_line_and_leaves_nothing_behind(
    arguments: tuple[str, ...], says: str, folder: Path
) -> None:
    run = rungwise(*arguments, folder=folder)
    assert run.returncode == 2
    assert says in run.stderr
    assert "Traceback" not in run.stderr
    assert sorted(path.name for path in folder.iterdir()) == ["book.toml"]
