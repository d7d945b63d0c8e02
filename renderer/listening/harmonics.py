"""A steady stretch of sound to its fundamental: the maximum-likelihood estimate of one pitch.

Samples are an array of floats (frames,), full scale 1; frequencies are in hertz, and an estimate's
deviation is the standard deviation that noise alone gives it, in hertz.

In noise, the likelihood of a fundamental is the power of the spectrum at its partials, each over
the noise around it. It is looked for on a grid first. Then each partial is brought down to 0 Hz and
cut into blocks: the phases of the blocks, laid on a line through all partials at once, weighted by
what each partial is worth, give the rest (phase regression, S. A. Tretter, Estimating the frequency
of a noisy sinusoid by linear regression, 1985). Both reach the Cramér-Rao bound where noise does
not hide the partials. Deviations from the textbook are numbered:

1. The ends of a stretch are faded in and out, so that partials do not leak into each other. It
   costs as much precision as a stretch shorter by the length of one fade.
2. A partial that disagrees with the others by far more than noise explains (a drone under it, the
   last note's reverberation) loses its weight (P. J. Huber, Robust estimation, 1964).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from renderer.listening.combs import fast_size

Samples = NDArray[np.float32]

MOST_PARTIALS = 20
"""Partials beyond are too weak in chanters to say more (judgement)."""

HIGHEST_PARTIAL_OF_RATE = 0.47

_FADE_S = 0.012
_BLOCKS = 16
_TURNS = 96
_GRID_STEP = 0.15
"""Of the width of the highest partial's peak in the spectrum, 1 / length."""
_CLEAR = 6.0
"""A partial is heard where its power is so many times that of the noise around it."""
_FAINTEST = 1e-4
"""Of the strongest partial's power: what is less has no say."""
_HUBER = 2.0
_STEP_S = 0.010
_HIGHEST_WAVERING_HZ = 2_300.0
"""A partial so high that wavers by half a semitone turns by less than half a turn in a step."""


@dataclass(frozen=True, slots=True, eq=False)
class Harmonics:
    """What a steady stretch sounds.

    Parameters
    ----------
    hz:
        Its fundamental.
    deviation_hz:
        What noise alone does to it: one standard deviation.
    amplitudes:
        The partials' amplitudes, the fundamental's first, shape (partials,); full scale 1.
    noise:
        The amplitude of a partial that would be as strong as the noise around each.
    coherence:
        1 where the tone goes on through the whole stretch, less where it jumps or breaks off.
    """

    hz: float
    deviation_hz: float
    amplitudes: NDArray[np.float64]
    noise: NDArray[np.float64]
    coherence: float

    @property
    def heard(self) -> NDArray[np.bool_]:
        """Which partials stand out of the noise."""
        return np.asarray(self.amplitudes**2 > _CLEAR * self.noise**2)


def least_deviation_cents(
    amplitudes: NDArray[np.float64], noise_power: float, seconds: float, rate: float, hz: float
) -> float:
    """Return the Cramér-Rao bound of a fundamental in white noise, in cents.

    Parameters
    ----------
    amplitudes:
        Of the partials, shape (partials,).
    noise_power:
        Mean square of the noise, in the whole band up to half the rate.
    seconds, rate:
        How long the stretch is, and its frames a second.
    hz:
        The fundamental.

    Source: D. C. Rife and R. R. Boorstyn, Single-tone parameter estimation from discrete-time
    observations (1974), extended to partials by A. Nehorai and B. Porat, Adaptive comb filtering
    for harmonic signal enhancement (1986): the variance of the angular frequency is
    24 * noise / (N**3 * sum of (k * amplitude)**2) for N frames.
    """
    frames = seconds * rate
    orders = np.arange(1, len(amplitudes) + 1)
    worth = float(np.sum((orders * amplitudes) ** 2))
    radians = math.sqrt(24 * noise_power / (frames**3 * worth))
    return radians * rate / (2 * math.pi) / hz * 1200 / math.log(2)


@dataclass(frozen=True, slots=True, eq=False)
class _Cut:
    """What all stretches of one length have in common: the fade, and the blocks they are cut into.

    `spread` and `noise_spread` are the mean square of the blocks' times, weighted as a tone's and
    as noise's power is, in square seconds.
    """

    window: NDArray[np.float32]
    scale: float
    firsts: NDArray[np.intp]
    times: NDArray[np.float64]
    spread: float
    noise_spread: float


@lru_cache(maxsize=64)
def _cut(frames: int, rate: int) -> _Cut:
    fade = min(round(_FADE_S * rate), frames // 3)
    window = np.ones(frames)
    slope = 0.5 - 0.5 * np.cos(np.pi * (np.arange(fade) + 0.5) / fade)
    window[:fade], window[frames - fade :] = slope, slope[::-1]
    edges = np.linspace(0, frames, _BLOCKS + 1).astype(int)
    times = ((edges[:-1] + edges[1:] - 1) / 2 - (frames - 1) / 2) / rate
    weights = np.add.reduceat(window, edges[:-1])
    return _Cut(
        window.astype(np.float32),
        2 / float(window.sum()),
        edges[:-1],
        times,
        float(np.sum(weights * times**2) / np.sum(weights)),
        float(np.sum(weights**2 * times**2) / np.sum(weights**2)),
    )


def partials_within(hz: float, rate: float) -> int:
    """Return how many partials of `hz` are looked at, at that rate."""
    return max(1, min(MOST_PARTIALS, int(HIGHEST_PARTIAL_OF_RATE * rate / hz)))


def estimate(
    samples: Samples, rate: int, near_hz: float, *, reach_cents: float = 40.0
) -> Harmonics:
    """Return the fundamental of a steady stretch.

    Parameters
    ----------
    samples:
        Shape (frames,), at least 20 ms and ten periods or so.
    rate:
        Frames a second.
    near_hz:
        Where the fundamental is looked for.
    reach_cents:
        So far around it.
    """
    frames = len(samples)
    cut = _cut(frames, rate)
    tapered = samples * cut.window
    count = partials_within(near_hz * 2 ** (reach_cents / 1200), rate)
    orders = np.arange(1, count + 1)
    size = fast_size(3 * frames)
    spectrum = np.fft.rfft(tapered, size)
    power = spectrum.real**2 + spectrum.imag**2
    hz_per_bin = rate / size
    noise = _noise_power(power, hz_per_bin, near_hz, count)
    hz = _on_a_grid(power, noise, hz_per_bin, near_hz, orders, rate / frames, reach_cents)
    return _refined(tapered, cut, rate, hz, noise)


def mean_hz(samples: Samples, rate: int, near_hz: float) -> float:
    """Return the mean over time of a fundamental that wavers, as one with vibrato does.

    What is most likely of one pitch leans to where the tone is loudest or turns. Here the phases of
    the partials go on from one short block to the next, and each step counts alike.

    Parameters
    ----------
    samples:
        Shape (frames,), a tenth of a second or more.
    rate:
        Frames a second.
    near_hz:
        What it wavers around.
    """
    # Whole periods, so that other partials leave nothing in a block.
    periods = max(2, round(_STEP_S * near_hz))
    count = int(len(samples) / rate * near_hz / periods)
    edges = np.rint(np.arange(count + 1) * periods * rate / near_hz).astype(int)
    times = np.arange(edges[-1]) / rate
    turn = np.exp(-2j * np.pi * near_hz * times)
    down = samples[: edges[-1]].astype(np.complex128)
    off, worth = np.zeros(count - 1), np.zeros(count - 1)
    for order in range(1, max(1, int(_HIGHEST_WAVERING_HZ / near_hz)) + 1):
        down *= turn
        blocks = np.add.reduceat(down, edges[:-1])
        steps = blocks[1:] * np.conj(blocks[:-1])
        weight = order**2 * np.abs(steps)
        off += weight * np.angle(steps) / order
        worth += weight
    step_s = periods / near_hz
    return near_hz + float(np.mean(off / (worth + 1e-30))) / (2 * math.pi * step_s)


def _noise_power(
    power: NDArray[np.float64], hz_per_bin: float, hz: float, count: int
) -> NDArray[np.float64]:
    """Return the noise's power in a bin around each partial: the median of what is between them."""
    found = np.empty(count)
    for order in range(1, count + 1):
        sides = [
            power[max(1, int((order + a) * hz / hz_per_bin)) : int((order + b) * hz / hz_per_bin)]
            for a, b in ((-0.75, -0.25), (0.25, 0.75))
        ]
        between = np.concatenate(sides)
        # The median of exponentially spread powers is ln 2 of their mean.
        found[order - 1] = _median(between) / math.log(2) if len(between) else 0.0
    return found + 1e-12 * float(power.max()) + 1e-30


def _median(values: NDArray[np.float64]) -> float:
    # A tenth of the time that numpy's own takes for so few values.
    half = len(values) // 2
    return float(np.partition(values, half)[half])


def _on_a_grid(
    power: NDArray[np.float64],
    noise: NDArray[np.float64],
    hz_per_bin: float,
    near_hz: float,
    orders: NDArray[np.int_],
    width_hz: float,
    reach_cents: float,
) -> float:
    reach_hz = near_hz * (2 ** (reach_cents / 1200) - 1)
    # The upper partials are the sharper ones: first the lower ones say where to look.
    best = near_hz
    # In tones without noise (loops of samples) what is far below the strongest means nothing.
    quiet = _CLEAR * noise + _FAINTEST * float(power.max())
    for most in (4, len(orders)):
        used = orders[:most]
        step = _GRID_STEP * width_hz / used[-1]
        grid = best + np.arange(-reach_hz, reach_hz + step / 2, step)
        grid = grid[grid > 0]
        bins = np.minimum(np.rint(grid[:, None] * used / hz_per_bin).astype(int), len(power) - 1)
        likelihood = np.log1p(power[bins] / quiet[used - 1]).sum(axis=1)
        best = float(grid[int(np.argmax(likelihood))])
        reach_hz = min(reach_hz, 0.6 * width_hz)
    return best


def _turn(hz: float, frames: int, rate: int) -> NDArray[np.complex64]:
    """Return a tone at minus `hz` whose phase is 0 in the middle, shape (frames,)."""
    # Of every angle's two parts there are few: so few sines are worked out, and multiplied.
    radians = -2 * math.pi * hz / rate
    coarse = np.exp(1j * radians * (np.arange(0, frames, _TURNS) - (frames - 1) / 2))
    fine = np.exp(1j * radians * np.arange(_TURNS))
    turn = np.multiply.outer(coarse, fine).reshape(-1)[:frames]
    return np.asarray(turn, np.complex64)


def _phasors(
    tapered: Samples, cut: _Cut, rate: int, hz: float, count: int
) -> NDArray[np.complex128]:
    """Return the partials' sums over blocks, shape (partials, blocks)."""
    turn = _turn(hz, len(tapered), rate)
    found = np.empty((count, _BLOCKS), np.complex128)
    down = tapered.astype(np.complex64)
    for order in range(count):
        down *= turn
        found[order] = np.add.reduceat(down, cut.firsts)
    return found


def _refined(
    tapered: Samples, cut: _Cut, rate: int, hz: float, noise: NDArray[np.float64]
) -> Harmonics:
    count = len(noise)
    orders = np.arange(1, count + 1)
    blocks = _phasors(tapered, cut, rate, hz, count)
    turns = -2j * np.pi * np.outer(orders, cut.times)
    spread = cut.spread * orders
    least = 1e-3 * noise
    faint = _CLEAR * noise
    offset = 0.0
    deviation = math.inf
    for _ in range(4):
        turned = blocks * np.exp(offset * turns)
        sums = turned.sum(axis=1)
        slopes = turned @ cut.times
        power = sums.real**2 + sums.imag**2
        signal = np.maximum(power - noise, least)
        each = (np.conj(sums) * slopes).imag / (power * spread) / (2 * math.pi)
        variance = noise * cut.noise_spread / (2 * signal * spread**2)
        deviations = np.sqrt(variance) / (2 * math.pi)
        heard = power > np.maximum(faint, _FAINTEST * power.max())
        if not heard.any():
            heard = power == power.max()
        step, deviation = _agreed(each[heard], deviations[heard], orders[heard])
        offset += step
        if abs(step) < 0.02 * deviation:
            break
    turned = blocks * np.exp(offset * turns)
    amplitudes = np.abs(turned.sum(axis=1))
    power = amplitudes**2
    strong = power >= 0.05 * power.max()
    whole = np.abs(turned[strong]).sum()
    coherence = float(amplitudes[strong].sum() / whole)
    return Harmonics(
        hz + offset,
        deviation,
        np.sqrt(np.maximum(power - noise, 0)) * cut.scale,
        np.sqrt(noise) * cut.scale,
        coherence,
    )


def _agreed(
    values: NDArray[np.float64], deviations: NDArray[np.float64], orders: NDArray[np.int_]
) -> tuple[float, float]:
    """Return the mean of what partials say of the fundamental, and its deviation.

    Where they disagree by more than noise explains (the tone wavers, a room answers), what they
    have in common is a phase that wanders by as much in each, so that the higher ones still say
    more (R. DerSimonian and N. Laird, Meta-analysis in clinical trials, 1986).
    """
    variance = deviations**2 + 1e-16
    if len(values) < 3:
        sure = 1 / variance
        return float(values @ sure / sure.sum()), 1 / math.sqrt(sure.sum())
    mean = _weighted_median(values, 1 / variance)
    apart = np.abs(values - mean)
    # What half of them disagree by beyond noise, as a phase that is the same for all.
    excess = _median(((apart / 0.6745) ** 2 - variance) * orders**2)
    known = np.sqrt(variance + max(0.0, excess) / orders**2)
    weights = sure = 1 / known**2
    reach = _HUBER * known
    for _ in range(3):
        weights = sure * np.minimum(1.0, reach / np.maximum(np.abs(values - mean), 1e-12 * known))
        mean = float(values @ weights / weights.sum())
    return mean, 1 / math.sqrt(weights.sum())


def _weighted_median(values: NDArray[np.float64], weights: NDArray[np.float64]) -> float:
    order = np.argsort(values)
    running = np.cumsum(weights[order])
    return float(values[order][int(np.searchsorted(running, running[-1] / 2))])
