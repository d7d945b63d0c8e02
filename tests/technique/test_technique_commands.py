"""`rungwise ornaments`, `check` and `fingering` as a user runs them."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path
from types import FrameType

import pytest
from typer.testing import CliRunner

from renderer.commands.app import app
from renderer.reading.exercise import read_exercise
from renderer.technique.text_tables import FINGERING_HEADINGS, fingering_rows
from tests.benchmarks.bench_check import walked_lines
from tests.limits import HANG_S

DEFINITION = """
title = "Wide steps [Larkmoor]"
meter = "3/4"
tempo = 60

[ornaments]
inner = "1/2 beat"

[[lines]]
heading = "Low A to D"
run = "low A, E, D"
ornament = "doubling"
walk = true

[[lines]]
heading = "Still fingers"
run = "low A, B, low A"
"""


def rungwise(*arguments: str | Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "renderer.cli", *map(str, arguments)],
        capture_output=True,
        text=True,
        check=False,
        timeout=HANG_S,
        env={"COLUMNS": "160", "PATH": "", "HOME": "/nonexistent"},
    )


@pytest.fixture
def exercise(tmp_path: Path) -> Path:
    path = tmp_path / "steps.toml"
    path.write_text(DEFINITION, "utf-8")
    return path


def test_the_book_lists_every_movement() -> None:
    run = rungwise("ornaments")
    assert run.returncode == 0
    for name in ("G gracenote", "throw on D", "crunluath", "shake", "G-D-E gracenotes"):
        assert name in run.stdout


def test_a_movement_shows_its_slots_and_finger_moves() -> None:
    run = rungwise("ornaments", "leumluath")
    assert run.returncode == 0
    assert "G {d}G B" in run.stdout
    assert "{GdG}B" in run.stdout
    assert "lift right index (D); close right index (low G)" in run.stdout


def test_a_movement_coming_from_a_note_shows_what_is_played_instead() -> None:
    run = rungwise("ornaments", "doubling", "--from", "high A")
    assert run.returncode == 0
    assert "half doubling instead" in run.stdout


def test_a_wrong_name_suggests_the_nearest_and_ends_with_2() -> None:
    run = rungwise("ornaments", "doublin")
    assert run.returncode == 2
    assert "'doubling'" in run.stderr
    assert "Traceback" not in run.stderr
    assert rungwise("ornaments", "doubling", "--from", "H").returncode == 2


def test_the_book_includes_a_definitions_own_movements(tmp_path: Path) -> None:
    path = tmp_path / "own.toml"
    own = '[ornament-book."knock on E".fragments]\nE = "{g}e {A}e"\n'
    path.write_text(DEFINITION.replace("[ornaments]", own + "[ornaments]"), "utf-8")
    run = rungwise("ornaments", "knock on E", "--file", path)
    assert run.returncode == 0, run.stderr
    assert "{g}e {A}e" in run.stdout


def test_check_reports_flags_difficulty_speed_and_advice(exercise: Path) -> None:
    run = rungwise("check", exercise)
    assert run.returncode == 0, run.stderr
    assert "Wide steps [Larkmoor]" in run.stdout
    assert "doubling on low A, D and E; 12 notes in 4 bars" in run.stdout
    assert "Bar 1: E to D: right hand away" in run.stdout
    assert "fits at every tempo" in run.stdout
    assert "Lines from easy to hard: 2, 1" in run.stdout


def test_check_as_json_has_the_same_for_machines(exercise: Path) -> None:
    run = rungwise("check", exercise, "--format", "json")
    assert run.returncode == 0, run.stderr
    report = json.loads(run.stdout)
    first, second = report["lines"]
    flag = first["flags"][0]
    assert (flag["kind"], flag["bar"], flag["beat"], flag["heard"]) == (
        "crossing noise", 1, 3, ["low A", "low G"],
    )  # fmt: skip
    assert first["difficulty"] > second["difficulty"]
    assert first["fastest_tempo"] > 60
    assert first["fits"] is second["fits"] is True
    assert [one["bar"] for one in first["advice"]] == [2, 1, 2]
    assert report["totals"]["notes"] == 15
    assert report["totals"]["crossing noise"] == sum(
        flag["kind"] == "crossing noise" for line in report["lines"] for flag in line["flags"]
    )


def test_check_ends_with_1_where_a_line_does_not_fit_at_its_own_tempo(exercise: Path) -> None:
    exercise.write_text(DEFINITION.replace("tempo = 60", "tempo = 380"), "utf-8")
    run = rungwise("check", exercise, "--inner", "1/5 beat")
    assert run.returncode == 1, run.stderr
    assert "Not every line fits at 380 beats a minute" in run.stdout
    machine = rungwise("check", exercise, "--inner", "1/5 beat", "--format", "json")
    assert machine.returncode == 1
    assert [line["fits"] for line in json.loads(machine.stdout)["lines"]] == [False, True]


def test_fingering_prints_a_line_change_by_change(exercise: Path) -> None:
    run = rungwise("fingering", exercise, "--line", "1")
    assert run.returncode == 0, run.stderr
    assert "E to D" in run.stdout
    assert "x xxx | ---x" in run.stdout
    assert "crossing noise" in run.stdout


def test_a_line_change_by_change_fits_on_a_narrow_terminal() -> None:
    for line in read_exercise("doublings-over-a-wide-step").lines:
        columns = zip(FINGERING_HEADINGS, *fingering_rows(line), strict=True)
        # Between columns, and before and after them, a table has three characters at most.
        assert sum(max(map(len, column)) + 3 for column in columns) <= 80


def test_a_line_that_is_not_there_is_refused(exercise: Path) -> None:
    for line, cause in (("0", "0 is out of range"), ("3", f"{exercise.name} has no line 3")):
        run = rungwise("fingering", exercise, "--line", line)
        assert run.returncode == 2
        assert run.stderr.startswith(f"--line: {cause}. Choose ")


def test_check_speaks_of_no_tempo_that_nobody_plays(exercise: Path) -> None:
    assert rungwise("check", exercise).stdout.count("fits at every tempo") == 2
    slower = rungwise("check", exercise, "--inner", "1/5 beat").stdout
    # A gracenote of 20 ms and 15 ms to be heard in a fifth of a beat.
    assert slower.count("fits up to 342 beats a minute") == 1
    assert slower.count("fits at every tempo") == 1


@pytest.mark.parametrize(
    ("inner", "why"),
    [
        ("2 beats", "the parts of an opened movement are longer together than its note"),
        ("1.5 beats", "the parts of an opened movement are longer together than its note"),
    ],
)
def test_check_says_why_a_line_fits_at_no_tempo(exercise: Path, inner: str, why: str) -> None:
    exercise.write_text(DEFINITION.replace("1/2 beat", inner), "utf-8")
    run = rungwise("check", exercise)
    assert run.returncode == 1
    assert f"fits at no tempo: {why}" in run.stdout


def test_totals_are_counted_in_words(exercise: Path) -> None:
    exercise.write_text('[[lines]]\nrun = "B, C"\n', "utf-8")
    said = rungwise("check", exercise).stdout.splitlines()
    at = said.index("Totals: 1 line, 2 notes")
    assert said[at + 1] == "Places to watch for: 1 false fingering"


def test_what_is_too_long_for_a_track_is_checked_all_the_same(exercise: Path) -> None:
    run = rungwise("check", exercise, "--repeats", "999", "--tempo", "10")
    assert run.returncode == 0, run.stderr
    assert "Totals: 2 lines" in run.stdout
    assert "No tracks can be made with these settings: " in run.stdout
    assert "hours" in run.stdout
    run = rungwise("check", exercise, "--repeats", "999", "--tempo", "10", "--format", "json")
    told = json.loads(run.stdout)
    assert told["tracks"] == []
    assert "hours" in told["remarks"][-1]


def test_e_and_f_gracenotes_have_their_article(exercise: Path) -> None:
    exercise.write_text('[[lines]]\nrun = "B, C"\nornament = "E gracenote"\n', "utf-8")
    assert "B to C by an E gracenote" in rungwise("fingering", exercise).stdout


def test_a_mistake_in_a_definitions_own_movement_names_the_file(tmp_path: Path) -> None:
    path = tmp_path / "own.toml"
    path.write_text('[ornament-book.knock.fragmets]\nE = "{g}e"\n' + DEFINITION, "utf-8")
    run = rungwise("ornaments", "--file", path)
    assert run.returncode == 2
    assert run.stderr.startswith(f"{path}: ornament-book.knock.fragmets: ")
    assert "Write 'fragments'." in run.stderr


def calls_of_checking(folder: Path, lines: int) -> int:
    """How many functions of Python are called while so many walked lines are checked."""
    path = folder / f"{lines}.toml"
    path.write_text(walked_lines(lines), "utf-8")
    calls = 0

    def count(_frame: FrameType, event: str, _of: object) -> None:
        nonlocal calls
        calls += event == "call"

    sys.setprofile(count)
    try:
        result = CliRunner().invoke(app, ["check", str(path)])
    finally:
        sys.setprofile(None)
    assert result.exit_code == 0
    return calls


def test_the_work_of_checking_grows_with_the_lines_and_no_faster(tmp_path: Path) -> None:
    calls_of_checking(tmp_path, 30)  # what is made once
    few, some, many = (calls_of_checking(tmp_path, lines) for lines in (60, 120, 240))
    assert many - some < 2.2 * (some - few)
    # 5,300 a line; 7,250 before alike notes were asked once, 10,600 before they were divided once.
    assert many - some < 6_500 * 120


def test_a_long_report_asks_for_the_width_of_the_terminal_a_few_times(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked = 0
    get_size = os.get_terminal_size

    def counted(*descriptor: int) -> os.terminal_size:
        nonlocal asked
        asked += 1
        return get_size(*descriptor)

    monkeypatch.setattr(os, "get_terminal_size", counted)
    calls_of_checking(tmp_path, 150)
    assert asked < 150
