"""The steady part of a played note: samples to its pitch and to a loop that repeats without a seam.

Frames are counted at the rate the note was played at; frequencies are in hertz, intervals in
cents. A tone's period is measured by how far it must be moved to lie on itself again: first by one
period, then by ever more of them, so that all partials have their say and the error shrinks with
the distance.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Samples = NDArray[np.float32]

WIDEST_MISTUNING = 2 ** (3.5 / 12)
"""The factor within which a preset's pitch is looked for around that of its key."""

HIGHEST_PARTIAL_OF_RATE = 0.45
"""No partial lies above this share of the sample rate: room for any player's converter."""

EXACT_ENOUGH = 0.003 / 1731.2
"""How far rounding to whole frames may mistune a loop: 0.003 cent as a share of the frequency."""

MOST_REPEATS = 8
"""How many times over a loop may be taken to come as near as that."""

LEAST_LIKENESS = 0.8
"""How like itself a tone must be, a period or many on, for its period to be measured there."""

_LEVEL_WINDOW_S = 0.05
_STEADY_DB = 1.5
_MEASURED_FRAMES = 131_072
_SLACK_STEPS = 9
_STRIDE = 8
_LARGEST_OFFSET_FRAMES = 0.3


class NotSteadyError(ValueError):
    """A note of which no steady part with a pitch can be found; the message says why."""


def steady_start(note: Samples, rate: int) -> int:
    """Return the frame at which a held note has settled after its attack.

    Settled means that its level stays within 1.5 dB of the level it goes on with. Raises
    `NotSteadyError` if the note is silent, or dies away although it is held.
    """
    window = round(_LEVEL_WINDOW_S * rate)
    count = len(note) // window
    levels = np.sqrt(np.mean(note[: count * window].reshape(count, window) ** 2, axis=1))
    loudest = float(levels.max())
    if loudest < 1e-5:
        raise NotSteadyError("is silent")
    half = levels[count // 2 :]
    if float(half.min()) < 0.1 * loudest:
        raise NotSteadyError("dies away while it is held")
    settled = float(np.median(half[: max(1, len(half) // 2)]))
    apart = np.abs(20 * np.log10(np.maximum(levels, 1e-9) / settled)) > _STEADY_DB
    first = int(np.argmin(apart[: count // 2]))
    # Two more windows: the level settles before the sound does.
    return (first + 2) * window


def stays(note: Samples, rate: int) -> bool:
    """Whether a note that has been held for long neither is silent nor goes on dying away."""
    window = round(_LEVEL_WINDOW_S * rate)
    count = len(note) // window
    levels = np.sqrt(np.mean(note[: count * window].reshape(count, window) ** 2, axis=1))
    early, late = (float(np.median(part)) for part in np.array_split(levels, 2))
    return min(early, late) > 1e-5 and 20 * math.log10(early / late) < _STEADY_DB


@dataclass(frozen=True, slots=True)
class Measured:
    """The period of a tone in frames, and how like itself the tone still is many periods on (1: the
    same).
    """

    period: float
    steadiness: float


def measure_period(tone: Samples, near_frames: float) -> Measured:
    """Measure the period of a held tone.

    Parameters
    ----------
    tone:
        Shape (frames,), at least some hundreds of periods.
    near_frames:
        What the period should be; what is found lies within 3.5 semitones of it.

    Raises
    ------
    NotSteadyError
        If the tone does not repeat itself at any such distance.
    """
    likeness = _likeness(tone[:_MEASURED_FRAMES])
    lowest, highest = near_frames / WIDEST_MISTUNING, near_frames * WIDEST_MISTUNING
    period, steadiness = _peak(likeness, lowest, highest)
    if steadiness < LEAST_LIKENESS:
        raise NotSteadyError("has no pitch near that of its key")
    periods = 1
    # Twice as far at each step, while the error of the step before is far below a period. Two
    # periods less than there are: room for the search around the longest distance.
    while (longest := int(len(likeness) / period) - 2) > periods:
        periods = min(2 * periods, longest)
        reach = max(2.0, 0.1 * period)
        lag, height = _peak(likeness, periods * period - reach, periods * period + reach)
        steadiness = min(steadiness, height)
        # Where vibrato or a second source has blurred the tone, no peak is its own any more.
        if steadiness < LEAST_LIKENESS:
            break
        period = lag / periods
    return Measured(period, steadiness)


def _likeness(tone: Samples) -> NDArray[np.float64]:
    """Return how like itself the tone is at lags 0 to half its length: 1 is the same."""
    size = 1 << (2 * len(tone) - 1).bit_length()
    spectrum = np.fft.rfft(tone, size)
    products = np.fft.irfft(spectrum.real**2 + spectrum.imag**2, size)[: len(tone) // 2]
    mean = products.astype(np.float64) / (len(tone) - np.arange(len(products)))
    return np.asarray(mean / mean[0], np.float64)


def _peak(likeness: NDArray[np.float64], lowest: float, highest: float) -> tuple[float, float]:
    """Return the lag in frames, fractional, of the greatest likeness between two lags, and it."""
    first = max(1, math.floor(lowest))
    last = min(len(likeness) - 2, math.ceil(highest))
    top = first + int(np.argmax(likeness[first : last + 1]))
    before, here, after = (float(value) for value in likeness[top - 1 : top + 2])
    if not before < here >= after:
        return float(top), here  # at the edge of what was searched: no peak to interpolate
    shift = 0.5 * (before - after) / (before - 2 * here + after)
    return top + shift, here - 0.25 * (before - after) * shift


@dataclass(frozen=True, slots=True, eq=False)
class Loop:
    """A stretch of a tone that repeats without a seam.

    Parameters
    ----------
    samples:
        Shape (frames,); the last frame is followed by the first.
    periods:
        How many periods it holds: a whole number.
    """

    samples: Samples
    periods: int


def seamless_loop(
    tone: Samples, period: float, counts: range, seam: int, *, slack: float = 0.0
) -> Loop:
    """Cut a loop of whole periods out of a steady tone.

    Of the numbers of periods offered, the loop takes one after which the tone is most like itself;
    whatever difference is left is faded over `seam` frames. A tone that itself comes from a loop
    (as SoundFont samples do) is thus cut at the length of that loop, and stays as it was.

    Parameters
    ----------
    tone:
        Shape (frames,), at least `seam` frames more than the longest loop offered.
    period:
        In frames.
    counts:
        The numbers of periods that the loop may hold.
    seam:
        How many frames the ends are faded over.
    slack:
        By what share of a period the length may differ from whole periods, for tones that are not
        steady enough to have one.
    """
    before = tone[:seam]
    rough = before[::_STRIDE]
    shifts = np.linspace(-slack, slack, _SLACK_STEPS) if slack else np.zeros(1)
    numbers = np.repeat(np.array(counts), len(shifts))
    lags = np.add.outer(np.array(counts), shifts).ravel() * period
    lags = np.clip(lags, seam, len(tone) - seam)
    whole = np.round(lags).astype(int)
    offsets = np.abs(lags - whole)
    # A loop has whole frames: those lengths serve that are nearly whole anyway.
    near = offsets <= max(_LARGEST_OFFSET_FRAMES, float(offsets.min()))
    numbers, whole, offsets = numbers[near], whole[near], offsets[near]
    unlike = np.array(
        [float(np.sum((tone[lag : lag + seam : _STRIDE] - rough) ** 2)) for lag in whole]
    )
    # Among equals one that a Fourier transform takes quickly, then the most nearly whole one, then
    # the shortest.
    slow = np.array([not _is_smooth(int(lag)) for lag in whole])
    scale = float(np.sum(rough**2)) or 1.0
    best = int(np.argmin(unlike / scale + 2e-4 * slow + 1e-4 * offsets + 1e-9 * numbers))
    frames = int(whole[best])
    samples = tone[seam : seam + frames].copy()
    rise = (0.5 - 0.5 * np.cos(np.pi * (np.arange(seam) + 0.5) / seam)).astype(np.float32)
    samples[-seam:] += rise * (before - samples[-seam:])
    return Loop(samples, int(numbers[best]))


def _is_smooth(number: int) -> bool:
    """Whether a number has no prime factor above 19."""
    for prime in (2, 3, 5, 7, 11, 13, 17, 19):
        while number % prime == 0:
            number //= prime
    return number == 1


def smooth_length(frames: int) -> int:
    """Return the largest number up to `frames` that a Fourier transform takes quickly."""
    return next(number for number in range(frames, 0, -1) if _is_smooth(number))


@dataclass(frozen=True, slots=True, eq=False)
class LoopSpectrum:
    """A loop as the Fourier series that it is: what `retuned` lays onto other numbers of frames.

    Parameters
    ----------
    bins:
        Shape (frames // 2 + 1,), complex: `numpy.fft.rfft` of the loop divided by its length.
    periods:
        How many periods the loop holds: the fundamental is bin `periods`.
    frames:
        The loop's length.
    """

    bins: NDArray[np.complex64]
    periods: int
    frames: int


def spectrum_of(loop: Loop) -> LoopSpectrum:
    """Return the Fourier series of a loop."""
    bins = np.fft.rfft(loop.samples.astype(np.float64)) / len(loop.samples)
    return LoopSpectrum(bins.astype(np.complex64), loop.periods, len(loop.samples))


def retuned(
    spectrum: LoopSpectrum, frames_per_period: float, *, most_repeats: int = MOST_REPEATS
) -> Loop:
    """Make a loop of a given period, exactly, as only a loop can be resampled: on the circle.

    The spectrum is laid onto another number of frames, so there are no edges, no filter to choose
    and no aliasing; what would lie above 0.45 of the rate is left out. The new number of frames is
    whole as well; if rounding it would mistune the loop by more than 0.003 cent, the loop is taken
    several times over.

    Parameters
    ----------
    spectrum:
        Of the loop to be resampled.
    frames_per_period:
        The new period in frames.
    most_repeats:
        How many times over the loop may be taken.
    """
    exact = spectrum.periods * frames_per_period
    repeats = range(1, most_repeats + 1)
    errors = [abs(round(k * exact) / (k * exact) - 1) for k in repeats]
    near = [k for k, error in zip(repeats, errors, strict=True) if error < EXACT_ENOUGH]
    times = near[0] if near else 1 + int(np.argmin(errors))
    frames = round(times * exact)
    spread = np.zeros(frames // 2 + 1, np.complex64)
    keep = min(len(spectrum.bins), int(HIGHEST_PARTIAL_OF_RATE * frames / times) + 1)
    spread[: keep * times : times] = spectrum.bins[:keep]
    samples = np.fft.irfft(spread * np.float32(frames), frames).astype(np.float32)
    return Loop(samples, times * spectrum.periods)
