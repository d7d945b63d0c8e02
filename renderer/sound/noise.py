"""Noise of breath and fingers: one loop that is the same everywhere.

Above `LOWEST_HZ`, as strong in each octave up to `HIGHEST_HZ`; phases come from `sound.seeded`, so
that another program makes the same loop by an inverse Fourier transform.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from renderer.sound.seeded import turns
from renderer.sound.steady import HIGHEST_PARTIAL_OF_RATE

LOWEST_HZ, HIGHEST_HZ = 2_000.0, 9_000.0
"""Where air rushing through a reed or past a finger is heard over a chanter. Judgement."""

LOOP_FRAMES = 32_768
SEED = 1
"""The loop's length, and the seed of its phases."""


def noise_bins(hz: NDArray[np.float64], seed: int) -> NDArray[np.complex128]:
    """Return a Fourier series of noise at frequencies `hz`, of size 1 where it begins."""
    inside = (hz >= LOWEST_HZ) & (hz <= HIGHEST_HZ)
    size = np.where(inside, np.sqrt(LOWEST_HZ / np.maximum(hz, LOWEST_HZ)), 0.0)
    return np.asarray(size * np.exp(2j * np.pi * turns(seed, len(hz))), np.complex128)


@lru_cache(maxsize=4)
def noise_loop(rate: int) -> NDArray[np.float32]:
    """Return a loop of noise at a rate, shape (frames,), whose highest peak is 1."""
    hz = np.asarray(np.arange(LOOP_FRAMES // 2 + 1) * (rate / LOOP_FRAMES), np.float64)
    bins = np.where(hz <= HIGHEST_PARTIAL_OF_RATE * rate, noise_bins(hz, SEED), 0.0)
    loop = np.fft.irfft(bins, LOOP_FRAMES)
    scaled = np.asarray(loop / np.abs(loop).max(), np.float32)
    scaled.flags.writeable = False
    return scaled
