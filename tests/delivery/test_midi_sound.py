"""Our MIDI as FluidSynth's own player sounds it, against our own rendering of the same track.

FluidSynth's player keeps time in whole milliseconds and acts every 64 frames (1.45 ms), always on
the late side, and its envelope takes a moment: a lag that is the same for all notes is its own.
Its pitches are whole cents, rounded down, and a bend is counted 0.8 per cent short.
"""

from __future__ import annotations

import functools
import tempfile
from fractions import Fraction

import fluidsynth
import numpy as np
import pytest
from numpy.typing import NDArray

from renderer.delivery.midi import MidiSound, Tuning, write_midi
from renderer.notation.abc import read_abc_line
from renderer.notation.score import Exercise, Line, Meter
from renderer.shipped import shipped_folder
from renderer.sound.pitch import Chanter, parse_pitch, scale_named
from renderer.timing.expand import Timeline, expand
from tests.sound.measuring import cents, pitch_by_phase
from tests.sound.playing import instrument, rendered

RATE = 44_100
PITCH, SCALE = "478", "harmonic"
Samples = NDArray[np.float32]


@functools.cache
def _timeline() -> Timeline:
    """Every note once out of silence, at a tempo that no block of frames divides."""
    code = "z2 A>z B>z c>z | d>z e>z f>z g>z | a>z G>z A>z c>z |"
    exercise = Exercise("Test", (Line(read_abc_line(code, Meter(4, 4))),), tempo=Fraction(97))
    return expand(exercise, 97, count_in=0, gap=0)


def _sound(tuning: Tuning) -> MidiSound:
    return MidiSound(
        parse_pitch(PITCH), scale_named(SCALE), Chanter.PRACTICE, tuning, drones=False,
        metronome=False,
    )  # fmt: skip


@functools.cache
def _by_fluidsynth(tuning: Tuning) -> Samples:
    # The SoundFont has no General MIDI bagpipe, and FluidSynth falls back to its first preset,
    # which is the practice chanter.
    synth = fluidsynth.Synth(
        0.5, float(RATE), **{"synth.reverb.active": 0, "synth.chorus.active": 0}
    )
    timeline = _timeline()
    with tempfile.NamedTemporaryFile(suffix=".mid") as file:
        file.write(write_midi(timeline, _sound(tuning)))
        file.flush()
        synth.sfload(str(shipped_folder("soundfonts") / "rungwise.sf2"))
        synth.play_midi_file(file.name)
        samples = synth.get_samples(int(RATE * timeline.duration))
    synth.delete()
    return np.asarray(samples.reshape(-1, 2).mean(axis=1) / 32768, np.float32)


def _onsets_ms(samples: Samples) -> list[float]:
    """How long after its event each note reaches half of its level."""
    lags = []
    for event in _timeline():
        if event.note is None:
            continue
        start, end = int(event.start * RATE), int(event.end * RATE)
        level = np.abs(samples[start + RATE // 10 : end - RATE // 20]).max()
        early = RATE // 100
        heard = np.argmax(np.abs(samples[start - early : start + RATE // 10]) > level / 2)
        lags.append((int(heard) - early) / RATE * 1000)
    return lags


def test_onsets_of_fluidsynths_player_agree_with_our_rendering() -> None:
    ours = rendered(_timeline(), played_on=instrument(PITCH, SCALE)).mean(axis=1)
    theirs = _by_fluidsynth("mts")
    lags = np.array(_onsets_ms(theirs)) - np.array(_onsets_ms(ours))
    assert len(lags) == 11
    assert 0 < np.median(lags) < 5, "FluidSynth's own lag"
    assert np.abs(lags - np.median(lags)).max() < 2


@pytest.mark.parametrize(("tuning", "most_cents"), [("mts", 1.0), ("bend", 1.5)])
def test_pitches_of_fluidsynths_player_agree_with_our_rendering(
    tuning: Tuning, most_cents: float
) -> None:
    ours = rendered(_timeline(), played_on=instrument(PITCH, SCALE)).mean(axis=1)
    theirs = _by_fluidsynth(tuning)
    for event in _timeline():
        if event.note is None:
            continue
        hz = _sound(tuning).hz(event.note)
        steady = slice(int((event.start + Fraction(1, 10)) * RATE), int(event.end * RATE) - 1000)
        one, other = (pitch_by_phase(s[steady], hz, RATE) for s in (theirs, ours))
        assert abs(cents(one, other)) < most_cents


def test_without_tuning_the_player_sounds_equal_temperament() -> None:
    """So that the tests above can fail: 478 Hz is 43 cents above the nearest semitone."""
    event = next(event for event in _timeline() if event.note is not None)
    assert event.note is not None
    samples = _by_fluidsynth("none")
    steady = samples[int((event.start + Fraction(1, 10)) * RATE) : int(event.end * RATE) - 1000]
    hz = _sound("none").hz(event.note)
    assert cents(pitch_by_phase(steady, hz, RATE), hz) == pytest.approx(-43.4, abs=1)
