"""Sound to short frames: what pitch each has, if any, from the comb of its partials.

Samples are arrays of floats (frames,), full scale 1; pitches are in hertz, the moment of a short
frame is its middle, in seconds. A short frame is a Hann window of 85 ms, so that two notes of a
chanter never share a peak in its spectrum. What is looked for is a comb: a candidate scores by the
peaks at its partials, and loses by those half way between them, which is what keeps it from the
octave below (whose odd partials are missing) and above (whose gaps are filled).
"""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

Samples = NDArray[np.float32]

WINDOW_S = 0.085
LOWEST_HZ, HIGHEST_HZ = 135.0, 1230.0
"""From a practice chanter's low G, low A at 170 Hz, to a pipe chanter's high A, low A at 560 Hz,
and a little more on either side."""

_STEP_CENTS = 12.0
_PARTIALS = 10
_LOUDEST = 60.0
"""Peaks count by their dB above the noise, so many at most."""
_FAINTEST = np.float32(1e-6)
"""Of the loudest peak's power: in tones without noise, what is fainter would fill every comb."""
_LEAST_SCORE = 0.27
"""A frame has a pitch from this score on: 1 is a perfect comb, noise stays below 0.2."""
_QUIETEST_DB = -66.0
_LEAST_CHANTER_SHARE = 0.2
"""Where less of the power is above what sounds all the time, only drones sound."""


@dataclass(frozen=True, slots=True, eq=False)
class Frames:
    """Short frames in a row.

    Parameters
    ----------
    seconds:
        Their middles, shape (frames,).
    hz:
        The pitch of each; 0 where there is none.
    score:
        How much of a comb each is, from 0 to 1.
    level_db:
        Mean square, full scale 0 dB.
    """

    seconds: NDArray[np.float64]
    hz: NDArray[np.float64]
    score: NDArray[np.float64]
    level_db: NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class _Comb:
    candidates: NDArray[np.float64]
    teeth: NDArray[np.intp]
    weights: NDArray[np.float32]
    bins: int

    def scores(self, level: NDArray[np.float32]) -> NDArray[np.float64]:
        """Return the score of each candidate for levels (frames, bins): (frames, candidates)."""
        found = np.zeros((len(level), len(self.candidates)))
        for tooth, weight in zip(self.teeth.T, self.weights.T, strict=True):
            found += level[:, tooth] * weight
        return found


@lru_cache(maxsize=8)
def _hann(frames: int) -> NDArray[np.float32]:
    return np.hanning(frames + 2)[1:-1].astype(np.float32)


@lru_cache(maxsize=1)
def _fast_sizes() -> list[int]:
    """Return all numbers without a prime factor above 5, up to what a recording of days has."""
    most = 1 << 40
    found = [1]
    for factor in (2, 3, 5):
        for one in found:
            # The list grows while it is gone through: every power of the factor comes by.
            if one * factor <= most:
                found.append(one * factor)
    return sorted(found)


def fast_size(least: int) -> int:
    """Return the smallest number of at least `least` that has no prime factor above 5.

    Fourier transforms of such sizes are fast.
    """
    fast = _fast_sizes()
    return fast[bisect_left(fast, least)]


def sizes(rate: int) -> tuple[int, int]:
    """Return the frames of a window at that rate, and of its Fourier transform."""
    window = round(WINDOW_S * rate)
    return window, 1 << (2 * window - 1).bit_length()


@lru_cache(maxsize=8)
def _comb(rate: int) -> _Comb:
    _, size = sizes(rate)
    count = int(1200 / _STEP_CENTS * np.log2(HIGHEST_HZ / LOWEST_HZ)) + 1
    candidates = LOWEST_HZ * 2 ** (np.arange(count) * _STEP_CENTS / 1200)
    orders = np.arange(1, _PARTIALS + 1)
    hz_per_bin = rate / size
    last = size // 2

    teeth, weights = [], []
    for places, sign in ((orders.astype(float), 1.0), (orders - 0.5, -1.0)):
        at = np.rint(candidates[:, None] * places / hz_per_bin).astype(int)
        share = np.where(at < last, 1 / np.sqrt(orders), 0.0)
        weights.append(sign * share / share.sum(axis=1, keepdims=True))
        teeth.append(np.where(at < last, at, 0))
    places_of = np.concatenate(teeth, axis=1)
    return _Comb(
        candidates,
        places_of,
        np.concatenate(weights, axis=1).astype(np.float32),
        int(places_of.max()) + 1,
    )


def spectra(samples: Samples, rate: int, hop: int) -> NDArray[np.float32]:
    """Return the power spectra of all whole windows, one every `hop` frames: (frames, bins)."""
    window, size = sizes(rate)
    if len(samples) < window:
        return np.empty((0, size // 2 + 1), np.float32)
    shifted = np.lib.stride_tricks.sliding_window_view(samples, window)[::hop]
    spectrum = np.fft.rfft(shifted * _hann(window), size, axis=1)
    return np.asarray(spectrum.real**2 + spectrum.imag**2, np.float32)


def pitches(
    power: NDArray[np.float32],
    rate: int,
    drones: NDArray[np.float32] | None = None,
    lowest_hz: float = LOWEST_HZ,
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return pitch (0 for none) and score of each power spectrum of `spectra`.

    Parameters
    ----------
    power:
        Shape (frames, bins).
    rate:
        Frames a second of the sound.
    drones:
        The most power that sounds all the time, shape (bins,), which is no part of any note.
    lowest_hz:
        No pitch is looked for below.
    """
    comb = _comb(rate)
    used = power[:, : comb.bins]
    sample = used[:, 1::4]
    half = sample.shape[1] // 2
    floor = np.partition(sample, half, axis=1)[:, half : half + 1] + np.float32(1e-12)
    floor = np.maximum(floor, _FAINTEST * used.max(axis=1, keepdims=True))
    is_drones_only = np.zeros(len(power), bool)
    if drones is not None:
        left = np.maximum(used - drones[: comb.bins], 0)
        is_drones_only = left.sum(axis=1) < _LEAST_CHANTER_SHARE * used.sum(axis=1)
        used = left
    # Peaks reach 12 dB above the median by chance alone.
    level = np.clip(10 * np.log10(used / floor + np.float32(1e-12)) - 12, 0, _LOUDEST)
    loudest = level.max(axis=1, keepdims=True)
    level = level / np.maximum(loudest, 20.0)
    scores = comb.scores(level)
    first = max(1, int(np.searchsorted(comb.candidates, lowest_hz)))
    best = np.argmax(scores[:, first:-1], axis=1) + first
    rows = np.arange(len(best))
    below, top, above = (scores[rows, best + by] for by in (-1, 0, 1))
    bend = below - 2 * top + above
    shift = np.where(bend < 0, 0.5 * (below - above) / np.minimum(bend, -1e-12), 0.0)
    hz = comb.candidates[best] * 2 ** (np.clip(shift, -0.5, 0.5) * _STEP_CENTS / 1200)
    has_pitch = (top >= _LEAST_SCORE) & ~is_drones_only
    return np.where(has_pitch, hz, 0.0), top


def frames_of(
    samples: Samples,
    rate: int,
    hop: int,
    *,
    first_second: float = 0.0,
    drones: NDArray[np.float32] | None = None,
    lowest_hz: float = LOWEST_HZ,
) -> Frames:
    """Return the short frames of some sound, one every `hop` frames of its samples.

    Parameters
    ----------
    samples, rate:
        Shape (frames,), and how many of them are a second.
    hop:
        From one to the next.
    first_second:
        When the first sample sounds.
    drones, lowest_hz:
        As in `pitches`.
    """
    window, _ = sizes(rate)
    power = spectra(samples, rate, hop)
    if not len(power):
        nothing = np.empty(0)
        return Frames(nothing, nothing, nothing, nothing)
    hz, score = pitches(power, rate, drones, lowest_hz)
    shifted = np.lib.stride_tricks.sliding_window_view(samples, window)[::hop]
    squares = np.einsum("fw,fw->f", shifted, shifted, dtype=np.float64) / window
    level = 10 * np.log10(squares + 1e-12)
    hz = np.where(level < _QUIETEST_DB, 0.0, hz)
    seconds = first_second + (np.arange(len(power)) * hop + (window - 1) / 2) / rate
    return Frames(seconds, hz, score, level)
