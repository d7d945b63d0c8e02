"""Our MIDI as FluidSynth's own player sounds it, against our own rendering of the same track.

FluidSynth's player keeps time in whole milliseconds, and acts at the beginning of the block of 64
frames after the next. So it runs here at 96 kHz, the highest rate that it has, where both tracks
count from their first sound; and once more slowed down by the player itself, where its lag is
small beside the file's own times, and nothing is taken off. Its pitches are whole cents, rounded
down, and a bend is counted 0.8 per cent short.
"""

from __future__ import annotations

import functools
import tempfile
from dataclasses import replace
from fractions import Fraction

import fluidsynth
import numpy as np
import pytest
from numpy.typing import NDArray

from renderer.delivery.midi_writer import BAGPIPE_PROGRAM, MidiSound, write_midi
from renderer.notation.abc.reader import read_abc_line
from renderer.notation.score import Exercise, Line, Meter
from renderer.order.tracks import expand
from renderer.shipped import shipped_folder
from renderer.sound.midi_tuning import Tuning
from renderer.sound.tuning import Chanter, parse_pitch, scale_named
from renderer.timing.expand import Timeline
from tests.sound.measuring import cents, pitch_by_phase
from tests.sound.playing import ALONE, instrument, rendered

PITCH, SCALE = "478", "harmonic"
RATE, HIGHEST_RATE = 44_100, 96_000
SLOWED = 8
Samples = NDArray[np.float32]


@functools.cache
def _timeline() -> Timeline:
    """A bar of clicks, and every note once out of silence, at a tempo that no block divides."""
    code = "z2 A>z B>z c>z | d>z e>z f>z g>z | a>z G>z A>z c>z |"
    exercise = Exercise("Test", (Line(read_abc_line(code, Meter(4, 4))),), tempo=Fraction(97))
    return expand(exercise, 97, count_in=1, gap=0)


def _sound(tuning: Tuning) -> MidiSound:
    return MidiSound(
        parse_pitch(PITCH), scale_named(SCALE), Chanter.PIPE, tuning, drones=False,
        metronome=False, melody=True,
    )  # fmt: skip


@functools.cache
def _by_us(rate: int = RATE) -> Samples:
    # MIDI knows nine steady tones.
    played_on = instrument(PITCH, SCALE, Chanter.PIPE, rate, steady=True)
    return np.asarray(
        rendered(_timeline(), replace(ALONE, pure_gracenotes=True), played_on).mean(axis=1),
        np.float32,
    )


@functools.cache
def _by_fluidsynth(tuning: Tuning, rate: int = RATE, slowed: int = 1) -> Samples:
    synth = fluidsynth.Synth(
        0.5, float(rate), **{"synth.reverb.active": 0, "synth.chorus.active": 0}
    )
    timeline = _timeline()
    with tempfile.NamedTemporaryFile(suffix=".mid") as file:
        file.write(write_midi(timeline, _sound(tuning)))
        file.flush()
        font = synth.sfload(str(shipped_folder("soundfonts") / "rungwise.sf2"))
        assert synth.sfpreset_name(font, 0, BAGPIPE_PROGRAM) == "Bag pipe"
        synth.play_midi_file(file.name)
        fluidsynth.fluid_player_set_tempo(
            synth.player, fluidsynth.FLUID_PLAYER_TEMPO_INTERNAL, 1 / slowed
        )
        samples = synth.get_samples(int(rate * timeline.duration * slowed))
    synth.delete()
    return np.asarray(samples.reshape(-1, 2).mean(axis=1) / 32768, np.float32)


def _onsets(samples: Samples, rate: int, slowed: int = 1) -> NDArray[np.float64]:
    """When each sound reaches half of its level, in ms of the track: the first click, the notes."""
    frames_per_s = rate * slowed
    starts = [Fraction(0)] + [event.start for event in _timeline() if event.note is not None]
    onsets = []
    for start in starts:
        first = max(0, int((start - Fraction(1, 100)) * frames_per_s))
        near = np.abs(samples[first : int((start + Fraction(1, 5)) * frames_per_s)])
        onsets.append((first + int(np.argmax(near > near.max() / 2))) / frames_per_s * 1000)
    return np.array(onsets)


def test_onsets_of_fluidsynths_player_agree_with_our_rendering() -> None:
    ours = _onsets(_by_us(HIGHEST_RATE), HIGHEST_RATE)
    theirs = _onsets(_by_fluidsynth("mts", HIGHEST_RATE), HIGHEST_RATE)
    assert len(ours) == 12
    assert np.abs((theirs - theirs[0]) - (ours - ours[0])).max() < 2


def test_onsets_agree_without_any_lag_where_fluidsynths_player_is_slowed_down() -> None:
    """Its lag of 2 to 5 ms stays as it is while all times grow."""
    ours = _onsets(_by_us(), RATE)
    theirs = _onsets(_by_fluidsynth("mts", slowed=SLOWED), RATE, SLOWED)
    assert np.abs(theirs - ours).max() < 1


@pytest.mark.parametrize(("tuning", "most_cents"), [("mts", 1.0), ("bend", 1.5)])
def test_pitches_of_fluidsynths_player_agree_with_our_rendering(
    tuning: Tuning, most_cents: float
) -> None:
    ours, theirs = _by_us(), _by_fluidsynth(tuning)
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
