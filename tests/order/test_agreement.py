"""Whatever is asked for, what is said of a track is what the track plays."""

from __future__ import annotations

import csv
import io
from fractions import Fraction
from pathlib import Path
from typing import Any

import mido
import pytest
from typer.testing import CliRunner

from renderer.commands.app import app
from renderer.commands.options import option_of
from renderer.delivery.sheet.content import content_of
from renderer.delivery.sheet.layout import sheet_settings
from renderer.notation.source_file import Source
from renderer.order.order import Order
from renderer.order.planning import practice_of
from renderer.order.settings import BY_NAME
from renderer.order.tracks import timeline_of
from renderer.reading.exercise import read_exercise
from renderer.timing.data import timeline_data
from renderer.timing.practice import Break
from tests.delivery.larkmoor import asked, planned
from tests.order.test_orders import WIDE


def options(**given: Any) -> list[str]:
    words = []
    for name, value in given.items():
        option = option_of(BY_NAME[name])
        if isinstance(value, bool):
            words.append(option if value else option.replace("--", "--no-", 1))
        else:
            words += [option, str(value)]
    return words


@pytest.fixture
def wide(tmp_path: Path) -> Path:
    path = tmp_path / "wide.toml"
    path.write_bytes(WIDE)
    return path


@pytest.mark.parametrize(
    "given",
    [
        {"tempo": 60},
        {"tempo": "33.3333", "count_in": 3, "gap": 0},
        {"tempo": 60, "count_in_style": "rolls", "mix": "echo"},
        {"tempo": 50, "repeats": 2, "show_crossing": True, "gap": 2},
        {"tempo": 72, "gracenote": "30 ms", "placement": "before the beat"},
        {"tempo": 48, "inner": "1/3 beat", "line": 2, "subdivide": True},
        {"tempo": 60, "inner": "100 ms", "count_in": 0, "mix": "backing"},
    ],
    ids=lambda given: " ".join(options(**given)),
)
def test_printed_events_are_those_of_the_track_with_the_same_settings(
    wide: Path, given: dict[str, Any]
) -> None:
    run = CliRunner().invoke(app, ["events", str(wide), *options(**given)])
    assert run.exit_code == 0, run.output
    rows = list(csv.DictReader(io.StringIO(run.stdout)))
    order = Order((Source("wide.toml", WIDE),), asked(**given))
    (job,) = order.jobs(wide.parent)
    events = list(job.timeline())
    assert [(row["note"] or None, row["role"]) for row in rows] == [
        (None if event.note is None else event.note.label, event.role.value) for event in events
    ]
    for row, event in zip(rows, events, strict=True):
        assert Fraction(row["start_ms"]) == round(event.start * 1000, 6)
    last = Fraction(rows[-1]["start_ms"]) + Fraction(rows[-1]["length_ms"])
    assert last == pytest.approx(float(job.duration * 1000), abs=1e-6)


def test_events_are_those_of_one_track(wide: Path) -> None:
    run = CliRunner().invoke(app, ["events", str(wide), "--mix", "full", "--mix", "echo"])
    assert "give --mix once" in str(run.exception).casefold()


def test_a_midi_file_of_a_mix_has_what_the_mix_has(wide: Path) -> None:
    played: dict[str, set[str]] = {}
    for mix in ("full", "backing", "chanter"):
        target = wide.with_name(f"{mix}.mid")
        run = CliRunner().invoke(app, ["convert", str(wide), str(target), "--mix", mix])
        assert run.exit_code == 0, run.output
        played[mix] = {
            track.name
            for track in mido.MidiFile(target).tracks
            if any(message.type == "note_on" for message in track)
        }
    assert played["full"] == {"Chanter", "Drones", "Metronome"}
    assert played["backing"] == {"Drones", "Metronome"}
    assert played["chanter"] == {"Chanter"}


def test_a_score_has_the_tempo_that_was_asked_for_and_what_it_lacks_is_said(wide: Path) -> None:
    asked_for = options(tempo=72, drone=False, mix="backing", pitch="B flat")
    for form, lacking in (
        ("abc", {"pitch B flat", "mix backing", "drone off"}),
        ("musicxml", {"mix backing", "drone off"}),
    ):
        target = wide.with_name(f"score.{form}")
        run = CliRunner().invoke(app, ["convert", str(wide), str(target), *asked_for])
        assert run.exit_code == 0, run.output
        said = {line.partition("tracks alone have: ")[2] for line in run.output.splitlines()}
        assert said - {""} == lacking
        assert read_exercise(target).tempo == 72


@pytest.mark.parametrize(
    "given",
    [
        {},
        {"count_in": 3, "repeats": 2},
        {"count_in_style": "rolls", "mix": "echo"},
        {"show_crossing": True, "count_in": 0, "tempo": 50},
    ],
    ids=str,
)
def test_a_block_of_a_plan_lasts_as_the_track_of_its_line(given: dict[str, Any]) -> None:
    exercise = read_exercise(Source("wide.toml", WIDE))
    plan = planned(exercise, 20, 5, **given)
    for day in plan.days:
        for block in day.items:
            if isinstance(block, Break):
                continue
            same = asked(**given).changed(tempo=block.tempo, repeats=block.repeats)
            assert block.seconds == timeline_of(exercise.only(block.line), same).duration


@pytest.mark.parametrize(
    "given", [{"tempo": 60, "repeats": 3}, {"climb": "50:70:10"}], ids=["alone", "with the tempo"]
)
def test_name_sheet_plan_and_events_of_a_track_say_alike_how_its_movements_close(
    given: dict[str, Any],
) -> None:
    settings = asked(line=1, open_to_close=["even", "1/4 beat", "80 ms"], **given)
    order = Order((Source("wide.toml", WIDE),), settings)
    (job,) = order.jobs(Path())
    assert "inner notes even, then 1-4 beat, then 80 ms" in job.path.name
    said = "Movements close within each track: inner notes even, then 1/4 beat, then 80 ms"
    sheet = content_of(job.exercise, sheet_settings(settings), settings)
    assert said in sheet.directions
    plan = practice_of(job.exercise, settings)
    assert f"{said}." in plan.tracks
    sections = timeline_data(job.timeline())["sections"]
    told = [one["inner"] for one in sections if one["line"]]
    assert list(dict.fromkeys(told)) == ["even", "1/4 beat", "80 ms"]
    usual = asked(tempo=60)
    plain = content_of(job.exercise, sheet_settings(usual), usual)
    assert not any("close" in one for one in plain.directions)
