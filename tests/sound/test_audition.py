"""The tour of every voice."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import numpy as np
import pretty_midi
import soundfile

from renderer.sound.tour import tour
from renderer.sound.tuning import parse_pitch, scale_named
from tests.limits import HANG_S
from tests.sound.measuring import metered
from tests.sound.playing import mixing

RATE = 44_100
GENERAL_MIDI = Path(pretty_midi.__file__).parent / "TimGM6mb.sf2"


def audition(*options: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "renderer.cli", "audition", *options]
    return subprocess.run(command, capture_output=True, text=True, check=False, timeout=HANG_S)


def test_the_tour_lets_every_voice_be_heard_at_one_loudness(tmp_path: Path) -> None:
    heard = tour(parse_pitch(478), scale_named(), mixing(), rate=44_100, steady=False)
    samples = np.concatenate(list(heard))
    assert samples.shape == (heard.frames, 2)
    labels = " ".join(stop.label for stop in heard.stops)
    for voice in ("practice chanter", "pipe chanter", "tenor", "bass", "accent", "rolls"):
        assert voice in labels
    for stop, start in zip(heard.stops, heard.starts, strict=True):
        assert samples[start : start + stop.track.frames].any()
        if "metronome:" not in stop.label:
            part = samples[start : start + stop.track.frames]
            # Drones that strike in are a little softer over their first three seconds.
            off = metered(part, RATE, tmp_path).loudness_lufs + 16
            assert -0.45 < off < 0.3, stop.label
    assert heard.frames < 120 * RATE


def test_the_command_writes_the_tour_and_says_where_each_voice_begins(tmp_path: Path) -> None:
    output = tmp_path / "tour.wav"
    run = audition("-o", str(output), "--pitch", "239", "--rate", "22050")
    assert run.returncode == 0, run.stderr
    assert "0:00.0" in run.stdout
    assert "bass drone" in run.stdout
    assert "practice chanter's own octave" in run.stdout.replace("\n", " ")
    information = soundfile.info(output)
    assert (information.samplerate, information.channels) == (22_050, 2)


def test_another_soundfont_can_be_heard(tmp_path: Path) -> None:
    output = tmp_path / "tour.flac"
    run = audition("-o", str(output), "--soundfont", str(GENERAL_MIDI), "--preset", "0:111")
    assert run.returncode == 0, run.stderr
    assert "TimGM6mb.sf2 0:111" in run.stdout
    assert output.exists()


def test_mistakes_end_in_a_message_and_leave_nothing_behind(tmp_path: Path) -> None:
    output = str(tmp_path / "tour.wav")
    for options in (
        ("-o", str(tmp_path / "tour.txt")),
        ("-o", f"{__file__}/tour.wav"),
        ("-o", output, "--pitch", "300"),
        ("-o", output, "--rate", "7"),
        ("-o", output, "--soundfont", str(GENERAL_MIDI)),
        ("-o", output, "--soundfont", str(GENERAL_MIDI), "--preset", "0:0"),
        ("-o", output, "--soundfont", __file__, "--preset", "0:0"),
    ):
        run = audition(*options)
        assert run.returncode == 2, options
        assert "Traceback" not in run.stderr
        assert run.stderr.strip()
        assert list(tmp_path.iterdir()) == []
