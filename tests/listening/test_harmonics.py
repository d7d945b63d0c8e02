"""The pitch of a steady stretch, against the physical limit of any estimate."""

from __future__ import annotations

import numpy as np
import pytest

from renderer.listening.combs import fast_size
from renderer.listening.harmonics import estimate, least_deviation_cents

FALLING = 1 / np.arange(1, 13)


def test_the_cramer_rao_bound_of_twelve_partials_that_fall_as_1_over_k() -> None:
    """Computed once by hand from the formula of Nehorai and Porat (1986), 40 ms at 44.1 kHz."""
    power = float(np.sum(FALLING**2) / 2)
    for snr_db, cents in ((20, 0.044), (0, 0.44)):
        noise = power / 10 ** (snr_db / 10)
        bound = least_deviation_cents(FALLING, noise, 0.04, 44_100, 466.0)
        assert bound == pytest.approx(cents, rel=0.02)


def tone(hz: float, seconds: float, rate: int, snr_db: float, seed: int) -> np.ndarray:
    rng = np.random.default_rng(seed)
    t = np.arange(int(seconds * rate)) / rate
    sound = sum(
        a * np.sin(2 * np.pi * k * hz * t + rng.uniform(0, 7))
        for k, a in enumerate(FALLING, 1)
        if k * hz < rate / 2
    )
    noise = np.sqrt(np.sum(FALLING**2) / 2 / 10 ** (snr_db / 10))
    return np.asarray(sound + rng.normal(0, noise, len(t)), np.float32)


@pytest.mark.parametrize(("seconds", "most"), [(0.04, 2.1), (0.1, 1.6), (0.3, 1.35)])
@pytest.mark.parametrize("snr_db", [20, 10])
def test_an_estimate_is_nearly_as_exact_as_noise_allows(
    seconds: float, most: float, snr_db: float
) -> None:
    rate, errors = 24_000, []
    for seed in range(120):
        rng = np.random.default_rng(1_000 + seed)
        hz = 466 * 2 ** (rng.uniform(-100, 100) / 1200)
        near = hz * 2 ** (rng.uniform(-20, 20) / 1200)
        found = estimate(tone(hz, seconds, rate, snr_db, seed), rate, near)
        errors.append(1200 * np.log2(found.hz / hz))
    noise = float(np.sum(FALLING**2)) / 2 / 10 ** (snr_db / 10)
    bound = least_deviation_cents(FALLING, noise, seconds, rate, 466)
    assert np.sqrt(np.mean(np.square(errors))) < most * bound
    assert abs(np.mean(errors)) < 0.4 * bound


def test_a_tone_that_breaks_off_is_not_coherent() -> None:
    sound = tone(466, 0.3, 24_000, 30, 1)
    assert estimate(sound, 24_000, 466).coherence > 0.99
    sound[3_000:] = tone(466, 0.3, 24_000, 30, 2)[3_000:]
    sound[2_600:3_400] = 0
    assert estimate(sound, 24_000, 466).coherence < 0.9


def test_sizes_of_fast_transforms_are_the_least_that_have_no_factor_above_5() -> None:
    def is_fast(size: int) -> bool:
        for factor in (2, 3, 5):
            while size % factor == 0:
                size //= factor
        return size == 1

    for least in (*range(1, 300), 21_600, 21_601, 1_000_001):
        expected = next(size for size in range(least, 2 * least + 1) if is_fast(size))
        assert fast_size(least) == expected
