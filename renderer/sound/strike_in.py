"""Drones striking in: their loop to the first moments of a track's drones.

A bag that is struck has not its full pressure yet: the reeds begin flat, rough and bright, and have
settled after a quarter of a second or so (common practice; amounts are judgement). The first
moments are the loop itself, read more slowly, its level trembling and its high partials raised;
they end on the frame at which the loop goes on. Samples are arrays (frames, channels).
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from renderer.sound.seeded import turns

Course = NDArray[np.float64]

STRIKE_S = 0.45
"""How long it takes until all is settled."""

UNSETTLED_S = 0.25
"""How long drones are flat, rough and bright."""

RISE_S = 0.06
"""How long their level takes to come up."""

FLAT_CENTS = 40.0
TREMBLING = 0.35
BRIGHT = 1.0
"""At the very start: how flat, by what share the level trembles, and how much is added of what lies
above some 2 kHz."""

TREMBLING_HZ, TREMBLING_LINES = (22.0, 71.0), 9
"""Between which frequencies the level trembles, and at how many."""

SMOOTHING_HZ = 4_400
"""What is above half of this, or so, is rough: how many means a second smooth it out."""

SEED = 11
"""Of the phases of the trembling."""


def struck_in(loop: NDArray[np.float32], start: int, rate: int) -> NDArray[np.float32]:
    """Return the drones' first moments.

    Parameters
    ----------
    loop:
        All drones together, shape (frames, channels).
    start:
        The frame of the loop at which they begin.
    rate:
        Frames a second.
    """
    unsettled, behind, level = _course(rate)
    frames = len(level)
    reach = 8 + int(np.ceil(behind[0]))
    where = (start - 4 + np.arange(frames + reach + 8)) % len(loop)
    piece = loop[where].astype(np.float64)
    at = 4 + np.arange(frames) + behind
    width = max(1, round(rate / SMOOTHING_HZ))
    struck = np.empty((frames, loop.shape[1]), np.float32)
    for channel in range(loop.shape[1]):
        read = np.interp(at, np.arange(len(piece)), piece[:, channel])
        smooth = np.convolve(read, np.ones(width) / width, "same")
        struck[:, channel] = level * (read + BRIGHT * unsettled * (read - smooth))
    return struck * _softer(struck, unsettled, float(np.abs(loop).max()))


@lru_cache(maxsize=4)
def _course(rate: int) -> tuple[Course, Course, Course]:
    """Return how unsettled drones are at each frame, how many frames behind, and their level."""
    time = np.arange(round(STRIKE_S * rate)) / rate
    unsettled = np.cos(np.pi / 2 * np.clip(time / UNSETTLED_S, 0, 1)) ** 2
    slower = 1 - 2 ** (-FLAT_CENTS * unsettled / 1200)
    behind = np.cumsum(slower[::-1])[::-1]
    rate_hz = np.linspace(*TREMBLING_HZ, TREMBLING_LINES)
    phases = 2 * np.pi * (np.outer(time, rate_hz) + turns(SEED, len(rate_hz)))
    trembling = np.sin(phases).sum(axis=1) * np.sqrt(2 / len(rate_hz))
    level = 0.5 - 0.5 * np.cos(np.pi * np.clip(time / RISE_S, 0, 1))
    level = level * (1 + TREMBLING * unsettled * trembling)
    return unsettled, behind, level


def _softer(
    struck: NDArray[np.float32], unsettled: NDArray[np.float64], highest: float
) -> NDArray[np.float32]:
    """Return a gain that keeps peaks under `highest`: least where all is most unsettled, then 1."""
    depth, step = 0.0, 0.5
    peaks, course = np.abs(struck).max(axis=1), np.sqrt(unsettled)
    if peaks.max() <= highest:
        return np.ones((len(struck), 1), np.float32)
    for _ in range(12):
        fits = bool(np.all(peaks * (1 - (depth + step) * course) <= highest))
        depth += 0.0 if fits else step
        step /= 2
    return (1 - min(1.0, depth + 2 * step) * course)[:, np.newaxis].astype(np.float32)
