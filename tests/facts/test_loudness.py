"""Loudness as worked out from spectra: ITU-R BS.1770, EBU Tech 3341, a reference library."""

from __future__ import annotations

import numpy as np
import pyloudnorm
import pytest
from numpy.typing import NDArray

from renderer.sound.loudness import (
    integrated_lufs,
    k_energy,
    k_weighting,
    loop_power,
    lufs,
    pieces_energy,
)

RATE = 48_000


def sine(hz: float, peak_dbfs: float, seconds: float = 1.0) -> NDArray[np.float32]:
    time = np.arange(round(seconds * RATE)) / RATE
    return (10 ** (peak_dbfs / 20) * np.sin(2 * np.pi * hz * time)).astype(np.float32)


def test_a_full_scale_sine_of_997_hz_in_one_channel_reads_minus_3_01() -> None:
    # ITU-R BS.1770-5, annex 1: such a sine reads -3.01 LKFS.
    assert lufs(loop_power(sine(997, 0.0), RATE)) == pytest.approx(-3.01, abs=0.01)


def tech_3341(*levels: tuple[float, float]) -> float:
    """Read a stereo sine of 1 kHz at (dBFS, seconds) one after another, in 100 ms steps."""
    unit = 2 * loop_power(sine(1000, 0.0), RATE)
    cells = np.concatenate(
        [np.full(round(10 * seconds), unit * 10 ** (dbfs / 10)) for dbfs, seconds in levels]
    )
    return integrated_lufs(np.convolve(cells, np.ones(4) / 4, "valid"))


@pytest.mark.parametrize(
    ("levels", "expected"),
    [
        # EBU Tech 3341 (2016), table 1, cases 1 to 5, each to within 0.1 LU.
        ([(-23, 20)], -23.0),
        ([(-33, 20)], -33.0),
        ([(-36, 10), (-23, 60), (-36, 10)], -23.0),
        ([(-72, 10), (-36, 10), (-23, 60), (-36, 10), (-72, 10)], -23.0),
        ([(-26, 20), (-20, 20.1), (-26, 20)], -23.0),
    ],
)
def test_gating_meets_the_ebus_minimum_requirements(
    levels: list[tuple[float, float]], expected: float
) -> None:
    assert tech_3341(*levels) == pytest.approx(expected, abs=0.1)


@pytest.mark.parametrize("rate", [44_100, 48_000])
def test_a_tone_is_as_loud_as_a_reference_library_says(rate: int) -> None:
    # pyloudnorm, an implementation of ITU-R BS.1770-4 in the time domain.
    hz = 440.0
    time = np.arange(2 * rate) / rate
    partials = [np.sin(2 * np.pi * hz * k * time + k * k) / k for k in range(1, 20)]
    tone = (0.1 * np.sum(partials, axis=0)).astype(np.float32)
    meter = pyloudnorm.Meter(rate)
    expected = meter.integrated_loudness(np.tile(tone, 5).astype(np.float64))
    assert lufs(loop_power(tone, rate)) == pytest.approx(expected, abs=0.05)


def test_noise_is_as_loud_as_a_reference_library_says() -> None:
    noise = np.random.default_rng(1).normal(0, 0.05, 5 * RATE).astype(np.float32)
    expected = pyloudnorm.Meter(RATE).integrated_loudness(noise.astype(np.float64))
    assert lufs(k_energy(noise, RATE) / len(noise)) == pytest.approx(expected, abs=0.05)


def test_the_weighting_is_flat_in_the_middle_and_raises_the_top_by_4_db() -> None:
    # ITU-R BS.1770-5, annex 1, figure 2: the shelf rises by about 4 dB.
    gains = 10 * np.log10(k_weighting(np.array([20.0, 500.0, 10_000.0])))
    assert gains[0] < -10
    assert abs(gains[1]) < 0.5
    assert gains[2] == pytest.approx(4.0, abs=0.2)


def test_silence_has_no_loudness() -> None:
    assert integrated_lufs(np.zeros(100)) == -np.inf


def test_pieces_have_the_energy_of_the_loops_that_each_would_be() -> None:
    tone = sine(997, 0.0)
    pieces = np.stack((tone, tone / 2, 0 * tone)).astype(np.float32)
    # ITU-R BS.1770-5, annex 1: the first reads -3.01 LKFS; the second has a quarter of its power.
    assert lufs(pieces_energy(pieces, RATE) / 1.25 / RATE) == pytest.approx(-3.01, abs=0.01)
