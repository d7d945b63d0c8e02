"""Pitch, loops and conversions of single tones."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from renderer.sound.frames import frame_at
from renderer.sound.steady import (
    NotSteadyError,
    Samples,
    measure_period,
    retuned,
    seamless_loop,
    spectrum_of,
)
from renderer.sound.units import (
    cents_to_ratio,
    db_to_gain,
    gain_to_db,
    hz_to_key,
    key_to_hz,
    ratio_to_cents,
)
from tests.sampling import examples
from tests.sound.measuring import cents, pitch_by_phase

RATE = 44_100
SEAM = RATE // 10


def tone(hz: float, *, seconds: float = 5, fundamental: float = 1.0, partials: int = 15) -> Samples:
    time = np.arange(round(seconds * RATE)) / RATE
    waves = [np.sin(2 * np.pi * k * hz * time + k * k) / k for k in range(1, partials)]
    waves[0] = waves[0] * fundamental
    return np.asarray(np.sum(waves, axis=0) / 3, np.float32)


@examples(30)
@given(
    hz=st.floats(100, 1000),
    mistuned=st.floats(-250, 250),
    fundamental=st.sampled_from([1.0, 0.1, 0.0]),
)
def test_a_period_is_measured_within_a_hundredth_of_a_cent(
    hz: float, mistuned: float, fundamental: float
) -> None:
    near = RATE / (hz * cents_to_ratio(mistuned))
    measured = measure_period(tone(hz, fundamental=fundamental), near)
    assert abs(cents(RATE / measured.period, hz)) < 0.01
    assert measured.steadiness > 0.95


def test_noise_and_tones_far_from_their_key_have_no_pitch() -> None:
    noise = np.random.default_rng(2).normal(0, 0.1, 5 * RATE).astype(np.float32)
    with pytest.raises(NotSteadyError, match="no pitch"):
        measure_period(noise, 100.0)
    with pytest.raises(NotSteadyError, match="no pitch"):
        measure_period(tone(440 * cents_to_ratio(600)), RATE / 440)


@pytest.mark.parametrize("rate", [8_000, 44_100, 48_000, 192_000])
@pytest.mark.parametrize("hz", [117.3, 261.1, 880.9])
def test_a_loop_repeats_without_a_seam_at_exactly_the_pitch_asked_for(hz: float, rate: int) -> None:
    played = tone(hz)
    loop = seamless_loop(played, RATE / hz, range(int(2 * hz), int(4 * hz)), SEAM)
    wanted = hz * cents_to_ratio(61.7)
    new = retuned(spectrum_of(loop), rate / wanted)
    assert abs(cents(new.periods * rate / len(new.samples), wanted)) < 0.005
    twice = np.tile(new.samples, 3)[: 4 * rate + len(new.samples)]
    assert abs(cents(pitch_by_phase(twice[-4 * rate :], wanted, rate), wanted)) < 0.01
    steps = np.abs(np.diff(np.tile(new.samples, 2)))
    seam = len(new.samples)
    assert steps[seam - 3 : seam + 3].max() <= 1.01 * steps[: seam - 10].max()
    # The level is the same as before, seam included.
    level = np.sqrt(np.mean(new.samples**2) / np.mean(played**2))
    if rate > 10_000:
        assert gain_to_db(float(level)) == pytest.approx(0, abs=0.05)


def test_a_tone_that_comes_from_a_loop_is_cut_at_that_loop() -> None:
    # 2.9 s with a slow fluctuation that belongs to the loop.
    length, periods = 127_890, 1_276
    turn = np.arange(length) / length
    wave = (1 + 0.1 * np.sin(2 * np.pi * 3 * turn)) * np.sin(2 * np.pi * periods * turn)
    wave += 0.3 * np.sin(2 * np.pi * 3 * periods * turn + 0.2 * np.sin(2 * np.pi * 5 * turn))
    played = np.tile(wave, 3)[: 7 * RATE].astype(np.float32)
    period = measure_period(played, length / periods).period
    assert period == pytest.approx(length / periods, rel=1e-5)
    loop = seamless_loop(played, period, range(970, 2200), SEAM)
    assert (len(loop.samples), loop.periods) == (length, periods)
    assert np.allclose(loop.samples, played[SEAM : SEAM + length], atol=1e-6)


def test_retuning_upwards_makes_no_aliases() -> None:
    loop = seamless_loop(tone(900, partials=24), RATE / 900, range(1800, 3600), SEAM)
    high = retuned(spectrum_of(loop), 44_100 / 1100)
    spectrum = np.abs(np.fft.rfft(high.samples))
    spectrum /= spectrum.max()
    bins = np.arange(len(spectrum))
    # Beside whole multiples of the pitch there is nothing.
    off = np.abs((bins / high.periods + 0.5) % 1 - 0.5) * high.periods > 200
    assert 20 * np.log10(spectrum[off].max()) < -90
    assert 20 * np.log10(spectrum[int(0.452 * len(high.samples)) :].max()) < -90


@given(st.fractions(0, 40_000, max_denominator=10**7), st.integers(8_000, 192_000))
def test_a_time_becomes_the_nearest_frame(time: Fraction, rate: int) -> None:
    frame = frame_at(time, rate)
    assert abs(frame - time * rate) <= Fraction(1, 2)
    assert frame_at(time + Fraction(1, rate), rate) == frame + 1


@given(st.floats(-4800, 4800))
def test_conversions_lead_back_to_where_they_began(number: float) -> None:
    assert ratio_to_cents(cents_to_ratio(number)) == pytest.approx(number, abs=1e-6)
    assert gain_to_db(db_to_gain(number / 100)) == pytest.approx(number / 100, abs=1e-6)
    assert hz_to_key(key_to_hz(number / 100)) == pytest.approx(number / 100, abs=1e-6)
