"""What the rendered tracks sound, measured by estimators that know nothing of how they are made.

Pitches are those of steady tracks; what breath does to them is in `test_breath.py`.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import numpy as np
import parselmouth
import pytest

from renderer.notation.pitch import Note
from renderer.notation.score import Rest
from renderer.order.tracks import expand
from renderer.sound.instrument import Instrument
from renderer.sound.mix_settings import Layout, Mix
from renderer.sound.tuning import (
    Chanter,
    bass_drone_hz,
    frequency_hz,
    parse_pitch,
    scale_named,
    scales,
    tenor_drone_hz,
)
from tests.sound.measuring import Samples, cents, pitch_by_phase
from tests.sound.playing import ALONE, exercise, instrument, levels, mixing, plain, rendered

RATE = 44_100
DRONES_ALONE = mixing(mix=Mix.BACKING, metronome=False, layout=Layout.MONO)


def nine_notes(played_on: Instrument, seconds: int = 2) -> list[Samples]:
    """Each note's steady middle, cut from a rendered track of the nine."""
    timeline = expand(exercise(plain(*Note, beats=seconds)), count_in=0)
    track = rendered(timeline, ALONE, played_on)[:, 0]
    rate = played_on.rate
    margin = rate // 10
    return [
        track[index * seconds * rate + margin : (index + 1) * seconds * rate - margin]
        for index in range(len(Note))
    ]


@pytest.mark.parametrize("chanter", Chanter)
@pytest.mark.parametrize("pitch", ["A", "B flat", "478"])
@pytest.mark.parametrize("scale", scales())
def test_every_note_of_a_track_is_in_tune_within_a_twentieth_of_a_cent(
    scale: str, pitch: str, chanter: Chanter
) -> None:
    played_on = instrument(pitch, scale, chanter, steady=True)
    for note, tone in zip(Note, nine_notes(played_on), strict=True):
        wanted = frequency_hz(note, parse_pitch(pitch), scale_named(scale), chanter)
        for partial in (1, 3):
            heard = pitch_by_phase(tone, wanted, RATE, partial=partial)
            assert abs(cents(heard, wanted)) < 0.05, f"{note}, partial {partial}"


@pytest.mark.parametrize("chanter", Chanter)
def test_praat_hears_every_note_in_tune(chanter: Chanter) -> None:
    # Praat's autocorrelation method (P. Boersma, 1993), through parselmouth.
    for note, tone in zip(Note, nine_notes(instrument(chanter=chanter, steady=True)), strict=True):
        sound = parselmouth.Sound(tone.astype(np.float64), RATE)
        track = sound.to_pitch_ac(
            time_step=0.1, pitch_floor=75, very_accurate=True, pitch_ceiling=1200
        )
        heard = float(np.median(track.selected_array["frequency"]))
        wanted = frequency_hz(note, parse_pitch(478), scale_named(), chanter)
        assert abs(cents(heard, wanted)) < 0.05, note


@pytest.mark.parametrize("rate", [8_000, 22_050, 48_000, 96_000, 192_000])
def test_notes_are_in_tune_at_any_sample_rate(rate: int) -> None:
    for note, tone in zip(Note, nine_notes(instrument(rate=rate, steady=True)), strict=True):
        wanted = frequency_hz(note, parse_pitch(478), scale_named(), Chanter.PRACTICE)
        assert abs(cents(pitch_by_phase(tone, wanted, rate), wanted)) < 0.05, note


@pytest.mark.parametrize("pitch", ["A", "B flat", "478"])
def test_drones_sound_an_octave_and_two_below_low_a(pitch: str) -> None:
    timeline = expand(exercise((Rest(Fraction(6)),)), count_in=0)
    track = rendered(timeline, DRONES_ALONE, instrument(pitch, steady=True))[
        RATE // 2 : -RATE // 2, 0
    ]
    standard = parse_pitch(pitch)
    bass = bass_drone_hz(standard)
    # Odd partials belong to the bass alone, even ones to both: they must agree.
    for partial in (1, 3, 5):
        heard = pitch_by_phase(track, bass, RATE, partial=partial)
        assert abs(cents(heard, bass)) < 0.05
    for partial in (2, 4, 6):
        heard = pitch_by_phase(track, bass, RATE, partial=partial) * 2
        assert abs(cents(heard, tenor_drone_hz(standard))) < 0.05


def strongest_beat_db(note: Note, scale: str, played_on: Instrument) -> float:
    """Return the strongest modulation of the lowest partial that a note shares with the tenors.

    In dB of that partial, among modulations faster than one in 20 seconds.
    """
    seconds = 60
    timeline = expand(exercise(plain(note, beats=seconds)), count_in=0)
    # As loud as each other, so that a beat could not hide.
    settings = mixing(metronome=False, layout=Layout.MONO, levels=levels(chanter=0, drone=0))
    track = rendered(timeline, settings, played_on)[RATE : -RATE // 2, 0]
    ratio = Fraction(scale_named("harmonic").ratio(note)).limit_denominator(20)
    shared_hz = ratio.numerator * tenor_drone_hz(parse_pitch(478))
    turned = track * np.exp(-2j * np.pi * shared_hz * np.arange(len(track)) / RATE)
    slow = turned[: len(turned) // 4410 * 4410].reshape(-1, 4410).mean(axis=1)
    spectrum = np.abs(np.fft.fft(slow * np.blackman(len(slow)), 8 * len(slow)))
    beat_hz = np.abs(np.fft.fftfreq(len(spectrum), 0.1))
    # A Blackman window of a minute is three bins of 1/60 Hz wide to either side.
    faster = (beat_hz > 1 / 20 + 3 / seconds) & (beat_hz < 4.5)
    return float(20 * np.log10(spectrum[faster].max() / spectrum[~faster & (beat_hz < 0.1)].max()))


@pytest.mark.parametrize("note", Note)
def test_just_intervals_do_not_beat_against_the_drones(note: Note) -> None:
    # What is left are the natural fluctuations of both voices.
    assert strongest_beat_db(note, "harmonic", instrument(steady=True)) < -25


@pytest.mark.parametrize("note", [Note.D, Note.E])
def test_intervals_two_cents_off_do_beat_so_the_measurement_would_show_it(note: Note) -> None:
    assert strongest_beat_db(note, "equal", instrument(scale="equal", steady=True)) > -16


def test_the_second_tenor_differs_from_the_first_in_colour_but_not_in_pitch() -> None:
    drones = instrument(steady=True).drones
    first, second = drones.blend(1, 0, 0), drones.blend(0, 1, 0)
    assert first.periods * len(second.samples) == second.periods * len(first.samples)
    likeness = np.corrcoef(first.samples, second.samples)[0, 1]
    assert 0.3 < likeness < 0.95
    only_bass = replace(drones, tenor=replace(drones.tenor, bins=0 * drones.tenor.bins))
    assert only_bass.blend(1, 0, 1).power == pytest.approx(drones.blend(0, 0, 1).power)
