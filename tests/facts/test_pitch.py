"""Pitch standards and conversions against the standards that define them."""

from __future__ import annotations

import pretty_midi
import pytest

from renderer.notation.pitch import Note
from renderer.sound.tuning import (
    Chanter,
    PitchStandard,
    bass_drone_hz,
    frequency_hz,
    parse_pitch,
    scale_named,
    tenor_drone_hz,
)
from renderer.sound.units import hz_to_key, key_to_hz


def test_a_is_440_hz() -> None:
    # ISO 16:1975.
    assert parse_pitch("A").low_a_hz == 440.0


def test_b_flat_is_466_16_hz() -> None:
    # A semitone of equal temperament above the A of ISO 16:1975, as published to two decimals.
    assert round(parse_pitch("B flat").low_a_hz, 2) == 466.16
    assert parse_pitch("B flat").low_a_hz == pytest.approx(440 * 2 ** (1 / 12), rel=1e-15)


@pytest.mark.parametrize("key", [0, 21, 45, 57, 60, 67, 69, 81, 108, 127])
def test_midi_keys_sound_what_a_reference_library_says(key: int) -> None:
    # pretty_midi: the MIDI 1.0 convention, key 69 at 440 Hz.
    assert key_to_hz(key) == pytest.approx(pretty_midi.note_number_to_hz(key), rel=1e-12)
    assert hz_to_key(key_to_hz(key)) == pytest.approx(key, abs=1e-9)


@pytest.mark.parametrize(
    ("hertz", "what"),
    [
        (441, "one chanter measured in 1885"),
        (459, "average of several in the mid 1950s"),
        (470, "modern chanters, from"),
        (480, "modern chanters, to"),
    ],
)
def test_every_pitch_of_the_published_history_is_accepted(hertz: int, what: str) -> None:
    # E. Macpherson, The Pitch and Scale of the Great Highland Bagpipe (1998): low A by period.
    assert parse_pitch(hertz) == PitchStandard(float(hertz), f"{hertz} Hz"), what


def test_a_practice_chanter_sounds_an_octave_below_the_pipe_chanter() -> None:
    # Common practice.
    pitch, scale = parse_pitch(478), scale_named("harmonic")
    for note in Note:
        pipe = frequency_hz(note, pitch, scale, Chanter.PIPE)
        assert frequency_hz(note, pitch, scale, Chanter.PRACTICE) == pipe / 2


def test_tenor_drones_sound_one_octave_below_low_a_and_the_bass_two() -> None:
    # Common practice.
    pitch = parse_pitch(478)
    assert tenor_drone_hz(pitch) == 239.0
    assert bass_drone_hz(pitch) == 119.5
