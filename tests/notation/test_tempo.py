"""A tempo is the number that was typed, wherever it was typed."""

from __future__ import annotations

import json
from fractions import Fraction
from pathlib import Path

import pytest
from typer.testing import CliRunner

from renderer.commands.app import app
from renderer.delivery.render import render
from renderer.errors import RungwiseError
from renderer.notation.tempo import exact_tempo, number_of_digits
from renderer.order.jobs import plan_tracks
from renderer.order.settings import read_settings
from renderer.order.tracks import expand
from renderer.reading.exercise import read_exercise
from tests.delivery.larkmoor import asked, rungs

ODD = Fraction(333_333, 10_000)
"""33.3333 beats a minute: as a float it is some other number, and 100/3 is another again."""

TUNE = """
title = "Odd"
meter = "2/4"
tempo = 33.3333
[[lines]]
abc = "A4 B4"
[ladder]
tempos = [33.3333, 60]
"""


@pytest.fixture
def odd(tmp_path: Path) -> Path:
    path = tmp_path / "odd.toml"
    path.write_text(TUNE)
    return path


def test_a_tempo_is_one_number_in_a_definition_a_script_an_option_and_a_name(
    odd: Path, tmp_path: Path
) -> None:
    exercise = read_exercise(odd)
    assert exercise.tempo == ODD
    assert rungs(exercise) == (ODD, 60)
    assert asked(ladder="33.3333,60").tempos_of(exercise) == (ODD, 60)
    for typed in (33.3333, "33.3333", "333333/10000", ODD):
        assert exact_tempo(typed) == ODD
    assert expand(exercise, 33.3333).tempo == ODD
    # Two beats of count-in and two of music, 60 / 33.3333 seconds each.
    assert expand(exercise).duration == 4 * 60 / ODD
    (track,) = render(exercise, tmp_path / "out", tempo=33.3333, format="wav", rate=8_000)
    assert (track.tempo, track.duration) == (ODD, 4 * 60 / ODD)
    assert "033.3333 bpm" in track.path.name
    settings = read_settings({"tempo": "33.3333", "format": "wav"})
    (job,) = plan_tracks(exercise, tmp_path, settings)
    assert job.tempo == ODD


def test_the_same_number_behind_an_option_gives_the_same_events(odd: Path) -> None:
    run = CliRunner()
    own = run.invoke(app, ["events", str(odd), "--format", "json"])
    asked = run.invoke(app, ["events", str(odd), "--format", "json", "--tempo", "33.3333"])
    assert own.exit_code == asked.exit_code == 0
    assert json.loads(own.stdout) == json.loads(asked.stdout)


def test_a_third_is_kept_as_a_third_where_a_script_says_so(odd: Path) -> None:
    assert expand(read_exercise(odd), Fraction(100, 3)).tempo == Fraction(100, 3)
    assert exact_tempo(33.3333) != Fraction(100, 3)


@pytest.mark.parametrize("typed", ["", "fast", "1e2", "nan", "60 70", "-60", "1/0", "6" * 99])
def test_a_text_that_is_no_tempo_is_refused(typed: str) -> None:
    with pytest.raises(RungwiseError, match=r"is no tempo\. Write one number of beats a minute"):
        exact_tempo(typed)


@pytest.mark.parametrize("typed", [9.999, "400.001", "1/2", 0, -1, 10_000])
def test_a_tempo_that_nobody_plays_is_refused(typed: str | float) -> None:
    with pytest.raises(RungwiseError, match=r"out of range\. Choose one from 10 to 400"):
        exact_tempo(typed)


@pytest.mark.parametrize("form", ["abc", "musicxml", "mxl", "toml", "mid"])
@pytest.mark.parametrize("meter", ["2/4", "6/8", "3/16"])
def test_a_tempo_is_one_number_in_every_written_form(form: str, meter: str, odd: Path) -> None:
    odd.write_text(
        TUNE.replace("2/4", meter).replace(
            "A4 B4", "A3" if "/16" in meter else "A6" if "/8" in meter else "A4"
        )
    )
    target = odd.with_name(f"converted.{form}")
    run = CliRunner().invoke(app, ["convert", str(odd), str(target)])
    assert run.exit_code == 0, run.output
    again = read_exercise(target)
    assert again.tempo == ODD
    if form in ("musicxml", "mxl", "toml"):  # ABC and MIDI hold no ladder
        assert rungs(again) == (ODD, 60)
    assert expand(again).duration == expand(read_exercise(odd)).duration


@pytest.mark.parametrize(
    ("digits", "number"),
    [
        ("33.3333", ODD),
        ("66.667", Fraction(66_667, 1_000)),
        ("120.000001", Fraction(120_000_001, 1_000_000)),
        # What programs divide, they write with all the digits that a float has.
        ("66.66666666666667", Fraction(200, 3)),
        ("119.99999999999999", 120),
        ("171.42857142857142", Fraction(1_200, 7)),
        ("133.333333333333", Fraction(133_333_333_333_333, 10**12)),
    ],
)
def test_a_score_says_the_number_that_is_typed_in_it(
    digits: str, number: Fraction, tmp_path: Path
) -> None:
    assert number_of_digits(digits) == number
    tune = tmp_path / "tune.abc"
    tune.write_text(f"X:1\nT:Odd\nM:2/4\nL:1/8\nQ:1/4={digits}\nK:HP\nA4 B4|\n")
    assert read_exercise(tune).tempo == number
