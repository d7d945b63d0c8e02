"""What is said of tracks beforehand is what they then are, and `--dry-run` stops there."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from renderer.commands import announce
from renderer.commands.app import app
from renderer.delivery.forecast import Forecast, forecast
from renderer.delivery.render import RenderedTrack, render_jobs
from renderer.order.formats import AudioFormat
from renderer.order.jobs import plan_tracks
from renderer.order.settings import read_settings
from renderer.reading.exercise import read_exercise
from tests.sampling import sampled

EXACT, CLOSE = 0.01, 0.05
"""Shares of a file's size: of formats whose size their length tells, and of the others."""

COVER_BYTES = 5_000
"""How far a cover's size is from the usual one."""


def rungwise(*words: str | Path) -> Result:
    return CliRunner().invoke(app, [*map(str, words)])


def assert_right(told: Sequence[Forecast], made: Sequence[RenderedTrack]) -> None:
    assert [one.path for one in told] == [track.path for track in made]
    for one, track in zip(told, made, strict=True):
        known = track.audio_format in (AudioFormat.WAV, AudioFormat.MP3)
        assert one.duration == track.duration
        off = max(0, abs(one.bytes - track.bytes) - COVER_BYTES) / track.bytes
        assert off < (EXACT if known else CLOSE), (track.path.name, off)


@pytest.mark.parametrize("audio_format", sampled(AudioFormat, 2))
@pytest.mark.parametrize(
    "asked", sampled([{}, {"drone": False, "layout": "mono", "chanter": "pipe"}])
)
def test_size_and_length_of_every_rung_are_told_before_it_is_made(
    audio_format: AudioFormat, asked: dict[str, object], tmp_path: Path
) -> None:
    settings = read_settings(
        {"format": audio_format, "mix": ["full", "backing"], "ladder": [50, 75], "line": 1, **asked}
    )
    jobs = plan_tracks(read_exercise("doublings-over-a-wide-step"), tmp_path / "out", settings)
    told = forecast(jobs)
    assert list(tmp_path.iterdir()) == []
    assert_right(told, render_jobs(jobs))


def test_small_files_for_sending_are_told_small(tmp_path: Path) -> None:
    settings = read_settings({"share": True, "tempo": 60})
    jobs = plan_tracks(read_exercise("birls"), tmp_path, settings)
    assert_right(forecast(jobs), render_jobs(jobs))


@pytest.mark.parametrize(
    "asked",
    sampled(
        [
            {},
            {"mix": "backing", "drone": False},
            {"mix": "chanter", "drone": False, "layout": "mono"},
        ]
    ),
    ids=["all of it", "clicks alone", "chanter alone"],
)
@pytest.mark.parametrize(
    "audio_format", sampled([AudioFormat.OGG, AudioFormat.M4A, AudioFormat.FLAC, AudioFormat.OPUS])
)
def test_a_long_track_is_told_by_parts_of_it(
    audio_format: AudioFormat, asked: dict[str, object], tmp_path: Path
) -> None:
    settings = read_settings({"format": audio_format, "tempo": 60, "repeats": 5, **asked})
    jobs = plan_tracks(read_exercise("doublings-over-a-wide-step"), tmp_path, settings)
    assert jobs[0].duration > 150
    assert_right(forecast(jobs), render_jobs(jobs))


def test_of_many_exercises_some_stand_for_the_rest(tmp_path: Path) -> None:
    exercise = read_exercise("birls")
    settings = read_settings({"format": "flac", "tempo": 90, "line": 1})
    jobs = plan_tracks([exercise] * 20, tmp_path, settings)
    samples: list[int] = []
    told = forecast(jobs, samples.append)
    assert len(told) == 20
    assert len(samples) == max(samples) < 20
    assert len({one.bytes for one in told}) == 1


@pytest.mark.parametrize(
    "words",
    [
        ("render", "birls", "--ladder", "50,60", "--format", "mp3", "-o", "out"),
        ("demo", "-o", "out"),
        ("audition", "-o", "out/tour.mp3"),
    ],
    ids=lambda words: words[0],
)
def test_a_dry_run_says_what_would_be_made_and_makes_nothing(
    words: tuple[str, ...], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    result = rungwise(*words, "--dry-run")
    assert result.exit_code == 0, result.exception
    assert "Nothing was written." in result.stdout
    assert "MB" in result.stdout
    assert list(tmp_path.iterdir()) == []


def test_a_dry_run_refuses_what_the_run_would_refuse(tmp_path: Path) -> None:
    result = rungwise("render", "birls", "--line", "99", "-o", tmp_path / "out", "--dry-run")
    assert result.exit_code != 0
    assert "has no line 99" in str(result.exception)


def test_long_work_says_beforehand_what_it_will_make(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    words = ("render", "birls", "--tempo", "60", "--line", "1", "--format", "mp3", "-o")
    short = rungwise(*words, tmp_path / "short")
    assert "Going to make" not in short.stderr
    monkeypatch.setattr(announce, "LONG_S", 1)
    long = rungwise(*words, tmp_path / "long")
    beforehand = long.stderr.partition("Going to make 1 track, ")[2]
    made = long.stdout.splitlines()[-1].removeprefix("1 track, ")
    assert beforehand.split(",")[0] == made.split(",")[0], (long.stderr, long.stdout)
    assert "about" in beforehand


def test_what_is_there_and_unchanged_is_neither_foretold_nor_made(tmp_path: Path) -> None:
    words = ("render", "birls", "--line", "1", "--format", "wav", "--rate", "8000")
    out = ("-o", tmp_path / "out")
    assert rungwise(*words, "--tempo", "100", *out).exit_code == 0
    again = rungwise(*words, "--tempo", "100", *out)
    assert again.stdout.splitlines()[-1].endswith("; it was there, unchanged")
    told = rungwise(*words, "--tempo", "100", *out, "--dry-run")
    assert told.stdout.splitlines()[-1].endswith("Nothing is to be made: 1 track is there already.")
    more = rungwise(*words, "--ladder", "100,120", *out, "--dry-run").stdout
    assert "It would be 2 tracks, " in more, "its place among its rungs is another"
