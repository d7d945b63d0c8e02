"""What is played is shown while it sounds: a recording fed block by block as a microphone would."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator
from itertools import groupby
from pathlib import Path

import numpy as np
import pytest
import soxr

from renderer.commands.tune_live import line_of, readings_of, shown
from renderer.listening.live import LATENCY_S, Reading
from renderer.notation.pitch import Note
from tests.limits import HANG_S
from tests.listening.chanters import Sounding, Tuning, random_tuning, sound_of, with_noise

RATE, BLOCK = 24_000, 240


def sounding(
    tuning: Tuning, notes: list[Note], seconds: float, seed: int = 2
) -> tuple[np.ndarray, list[float]]:
    """The sound of notes, some noise with it, and when each note ends."""
    rng = np.random.default_rng(seed)
    played = [Sounding(note, tuning.hz[note], seconds) for note in notes]
    sound, times = sound_of(played, 44_100, rng)
    samples = soxr.resample(with_noise(sound, rng, 25), 44_100, RATE).astype(np.float32)
    return samples, [end for _, end in times]


def fed(tuning: Tuning, notes: list[Note], seconds: float) -> tuple[list[Reading], list[float]]:
    """The readings of notes fed in blocks of 10 ms, and when each note ends."""
    samples, ends = sounding(tuning, notes, seconds)
    blocks = (samples[first : first + BLOCK] for first in range(0, len(samples), BLOCK))
    return list(readings_of(blocks, RATE)), ends


def latencies(tuning: Tuning, notes: list[Note], seconds: float, seed: int = 2) -> list[float]:
    """Seconds of sound that have come from a note's beginning to the line that shows it.

    Counted in the samples of the blocks, those of the block itself included: no clock is asked.
    """
    samples, ends = sounding(tuning, notes, seconds, seed)
    given = 0

    def blocks() -> Iterator[np.ndarray]:
        nonlocal given
        for first in range(0, len(samples), BLOCK):
            given += BLOCK
            yield samples[first : first + BLOCK]

    lines = [(given / RATE, line) for line in shown(readings_of(blocks(), RATE))]
    found = []
    for note, before, began in zip(notes[1:], notes, ends, strict=False):
        if note is before:
            continue
        found.append(
            next(
                second - began
                for second, line in lines
                if second > began and abs(1200 * np.log2(hz_in(line) / tuning.hz[note])) < 30
            )
        )
    return found


def hz_in(line: str) -> float:
    """The pitch that a line shows, 1 for none."""
    return float(line.partition(" Hz")[0].rpartition(" ")[2]) if " Hz" in line else 1.0


@pytest.mark.parametrize("practice", [False, True])
def test_a_new_note_is_shown_within_a_tenth_of_a_second(practice: bool) -> None:
    tuning = random_tuning(np.random.default_rng(4), practice=practice)
    found = latencies(tuning, [*Note, *reversed(Note)], 0.5)
    assert len(found) == 16
    assert max(found) < LATENCY_S


DEVICE = """
import os
import numpy as np

class PortAudioError(Exception):
    pass

class InputStream:
    def __init__(self, *, blocksize, callback, finished_callback, **_):
        self.blocksize, self.callback, self.ended = blocksize, callback, finished_callback

    def __enter__(self):
        sound = np.load(os.environ["LARKMOOR_SOUND"])
        for first in range(0, len(sound), self.blocksize):
            self.callback(sound[first : first + self.blocksize, None], self.blocksize, None, None)
        self.ended()

    def __exit__(self, *_):
        pass
"""
"""A device that gives what is in a file, and then ends as one that is unplugged."""


def test_a_file_fed_as_the_device_is_shown_note_by_note(tmp_path: Path) -> None:
    tuning = random_tuning(np.random.default_rng(6), practice=False)
    notes = [*Note, *reversed(Note)]
    samples, _ = sounding(tuning, [*notes, *notes], 0.4)
    np.save(tmp_path / "sound.npy", samples)
    (tmp_path / "sounddevice.py").write_text(DEVICE)
    paths = [str(tmp_path), *filter(None, [os.environ.get("PYTHONPATH")])]
    run = subprocess.run(
        [sys.executable, "-m", "renderer.cli", "tune", "--live"],
        capture_output=True,
        text=True,
        check=False,
        timeout=HANG_S,
        env=os.environ
        | {"PYTHONPATH": os.pathsep.join(paths), "LARKMOOR_SOUND": str(tmp_path / "sound.npy")},
    )
    assert run.returncode == 2 and "it was unplugged" in run.stderr
    lines = [line for line in run.stdout.split("\x1b[K") if " Hz" in line]
    shown_notes = [note for note, _ in groupby(line[:7].strip() for line in lines)]
    # Which note is which is known once the scale has been played.
    assert shown_notes[-15:] == [
        note.label for note in (*list(Note)[2:], *reversed(list(Note)[:8]))
    ]


def test_hertz_are_steady_to_a_cent_while_a_note_is_held() -> None:
    tuning = random_tuning(np.random.default_rng(5), practice=False)
    readings, _ = fed(tuning, [Note.E], 3.0)
    held = [one.hz for one in readings if 0.4 < one.second < 2.9]
    off = 1200 * np.log2(np.array(held) / tuning.hz[Note.E])
    assert np.abs(off).max() < 1.0 and off.std() < 0.2


def test_notes_are_named_once_the_scale_has_been_played() -> None:
    tuning = random_tuning(np.random.default_rng(6), practice=True)
    readings, ends = fed(tuning, [*Note, *reversed(Note)], 0.5)
    for note, end in list(zip([*Note, *reversed(Note)], ends, strict=True))[10:]:
        shown_then = next(one for one in readings if one.second > end - 0.1)
        assert shown_then.note == note


def test_silence_shows_no_note() -> None:
    readings = list(readings_of([np.zeros(BLOCK, np.float32)] * 100, RATE))
    assert {one.note for one in readings} == {None}
    assert next(shown(readings)).strip() == "-"


def test_lines_come_at_most_twenty_times_a_second_but_for_new_notes() -> None:
    one = Reading(0.0, 466.0, Note.LOW_A, -3.0)
    assert len(list(shown([one] * 100))) == 20
    assert "low A   466.00 Hz   -3.0 cents" in line_of(one)


def test_where_no_microphone_can_be_had_it_is_said() -> None:
    run = subprocess.run(
        [
            sys.executable,
            "-c",
            "import sys; sys.modules['sounddevice'] = None; sys.argv[1:] = ['tune', '--live']\n"
            "from renderer.cli import main; main()",
        ],
        capture_output=True,
        text=True,
        check=False,
        timeout=HANG_S,
    )
    assert run.returncode == 2
    assert "needs the library sounddevice" in run.stderr and "Traceback" not in run.stderr
