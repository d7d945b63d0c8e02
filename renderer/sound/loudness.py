"""How loud a sound is to a loudness meter: spectra and power to LUFS (ITU-R BS.1770-5).

Powers are K-weighted mean squares, full scale being 1. Loudness is
-0.691 + 10 log10(sum over channels of power), all channels weighing 1 (left, right, mono).
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

OFFSET_LU = -0.691
ABSOLUTE_GATE_LUFS = -70.0
RELATIVE_GATE_LU = -10.0
BLOCK_S = 0.4
"""Gating blocks last 400 ms and overlap by 75 %. Source: ITU-R BS.1770-5, annex 1."""

# The two stages of the K weighting at 48 kHz, numerators and denominators.
# Source: ITU-R BS.1770-5, annex 1, tables 1 and 2.
_STAGE_RATE = 48_000.0
_STAGES = (
    (
        (1.53512485958697, -2.69169618940638, 1.19839281085285),
        (1.0, -1.69065929318241, 0.73248077421585),
    ),
    ((1.0, -2.0, 1.0), (1.0, -1.99004745483398, 0.99007225036621)),
)


def k_weighting(hz: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the power response of the K weighting at frequencies `hz` (any shape).

    Frequencies above 24 kHz weigh as 24 kHz does.
    """
    z = np.exp(-2j * np.pi * np.minimum(hz, _STAGE_RATE / 2) / _STAGE_RATE)
    response = np.ones_like(hz)
    for (b0, b1, b2), (a0, a1, a2) in _STAGES:
        numerator = b0 + b1 * z + b2 * z * z
        denominator = a0 + a1 * z + a2 * z * z
        response *= np.abs(numerator / denominator) ** 2
    return response


def series_power(bins: NDArray[np.complex64] | NDArray[np.complex128], hz_per_bin: float) -> float:
    """Return the K-weighted mean square of a loop, given its Fourier series.

    `bins`, shape (frames // 2 + 1,), is `numpy.fft.rfft` of the loop divided by its length.
    """
    power = np.square(bins.real, dtype=np.float64) + np.square(bins.imag, dtype=np.float64)
    hz = np.arange(len(bins), dtype=np.float64) * hz_per_bin
    return float(2 * np.dot(power, _weights_at(hz)))


def loop_power(loop: NDArray[np.float32], rate: int) -> float:
    """Return the K-weighted mean square of a loop (frames,) that repeats without a seam."""
    return series_power(np.fft.rfft(loop) / len(loop), rate / len(loop))


def k_energy(sound: NDArray[np.float32], rate: int) -> float:
    """Return the K-weighted sum of squares of a sound (frames,), silence before and after it."""
    padded = np.concatenate((sound, np.zeros(len(sound), np.float32)))
    return loop_power(padded, rate) * len(padded)


def pieces_energy(pieces: NDArray[np.float32], rate: int) -> float:
    """Return the K-weighted sum of squares of pieces of a sound, as if each repeated.

    Parameters
    ----------
    pieces:
        Shape (pieces, frames).
    rate:
        Frames a second.
    """
    # With this norm Numpy transforms floats as floats, which is exact enough and twice as fast.
    series = np.fft.rfft(pieces, norm="ortho")
    power = np.square(series.real) + np.square(series.imag)
    return 2 * float((power @ _piece_weights(pieces.shape[1], rate)).sum(dtype=np.float64))


@lru_cache(maxsize=4)
def _piece_weights(frames: int, rate: int) -> NDArray[np.float32]:
    hz = np.asarray(np.fft.rfftfreq(frames, 1 / rate), np.float64)
    return _weights_at(hz).astype(np.float32)


def _weights_at(hz: NDArray[np.float64]) -> NDArray[np.float64]:
    # Smooth enough to be read off a fine grid, which saves a complex exponential for each bin.
    grid = np.linspace(0.0, 24_000.0, 4_801)
    return np.interp(hz, grid, k_weighting(grid))


def lufs(power: float) -> float:
    """Return the loudness in LUFS of a K-weighted power summed over channels (above 0)."""
    return OFFSET_LU + 10.0 * math.log10(power)


def power_at(loudness_lufs: float) -> float:
    """Return the K-weighted power, summed over channels, of a loudness in LUFS."""
    return math.pow(10.0, (loudness_lufs - OFFSET_LU) / 10.0)


def integrated_lufs(block_powers: NDArray[np.float64], gain: float = 1.0) -> float:
    """Return the gated loudness of a programme whose 400 ms blocks have these powers.

    Parameters
    ----------
    block_powers:
        K-weighted power of each block, summed over channels, shape (blocks,).
    gain:
        Amplitude factor that the programme is to be played with.

    Returns
    -------
    float
        LUFS; minus infinity if every block falls under the absolute gate.
    """
    powers = block_powers * gain**2
    heard = powers[powers > power_at(ABSOLUTE_GATE_LUFS)]
    if not len(heard):
        return -math.inf
    gate = power_at(lufs(float(heard.mean())) + RELATIVE_GATE_LU)
    return lufs(float(heard[heard > gate].mean()))
