"""What is played is shown while it sounds: a recording fed block by block as a microphone would."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator

import numpy as np
import pytest
import soxr

from renderer.commands.tune_live import line_of, readings_of, shown
from renderer.listening.live import LATENCY_S, Reading
from renderer.notation.pitch import Note
from tests.limits import HANG_S
from tests.listening.chanters import Sounding, Tuning, random_tuning, sound_of, with_noise

RATE, BLOCK = 24_000, 240


def fed(tuning: Tuning, notes: list[Note], seconds: float) -> tuple[list[Reading], list[float]]:
    """The readings of notes fed in blocks of 10 ms, and when each note ends."""
    rng = np.random.default_rng(2)
    played = [Sounding(note, tuning.hz[note], seconds) for note in notes]
    sound, times = sound_of(played, 44_100, rng)
    samples = soxr.resample(with_noise(sound, rng, 25), 44_100, RATE).astype(np.float32)

    def blocks() -> Iterator[np.ndarray]:
        for first in range(0, len(samples), BLOCK):
            yield samples[first : first + BLOCK]

    return list(readings_of(blocks(), RATE)), [end for _, end in times]


@pytest.mark.parametrize("practice", [False, True])
def test_a_new_note_shows_within_a_tenth_of_a_second(practice: bool) -> None:
    tuning = random_tuning(np.random.default_rng(4), practice=practice)
    notes = [*Note, *reversed(Note)]
    readings, ends = fed(tuning, notes, 0.5)
    for note, began in zip(notes[1:], ends, strict=False):
        if note is notes[notes.index(note) - 1]:
            continue
        hz = tuning.hz[note]
        first = next(
            one.second
            for one in readings
            if one.second > began and one.hz and abs(1200 * np.log2(one.hz / hz)) < 30
        )
        assert first - began < LATENCY_S, note


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
