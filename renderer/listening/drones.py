"""Drones in a recording: whether any sound, at which pitches, and how they beat.

Drones sound all the time, an octave and two below the pipe chanter's low A (common practice), and
so below all its notes: only what lies under 750 Hz is looked at. Samples are floats (frames,) at
`LOW_RATE` frames a second; pitches are in hertz, beats in beats a second.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from renderer.listening.combs import fast_size
from renderer.sound.tuning import HIGHEST_LOW_A_HZ, LOWEST_LOW_A_HZ

Samples = NDArray[np.float32]

LOW_RATE = 1_500

_FRAME_S = 0.5
_PROMINENT_DB = 12.0
_BASS_STEADY_DB, _TENOR_STEADY_DB = 8.0, 18.0
"""How far a line's soft moments lie below its loud ones: tenors that beat have deep ones."""
_LONGEST_FIT_S = 30.0
_REACH_HZ = 5.0
_SECOND_DB = 16.0
"""A second tenor is not more so many dB softer than the first."""


@dataclass(frozen=True, slots=True)
class Drones:
    """The pitches of drones.

    Parameters
    ----------
    tenors_hz:
        One, or two that could be told apart.
    bass_hz:
        None where no bass was heard.
    """

    tenors_hz: tuple[float, ...]
    bass_hz: float | None


def _long_spectra(low: Samples) -> tuple[NDArray[np.float64], float]:
    frames = int(_FRAME_S * LOW_RATE)
    if len(low) < 2 * frames:
        return np.empty((0, 0)), 1.0
    shifted = np.lib.stride_tricks.sliding_window_view(low, frames)[:: frames // 2]
    size = 2 * fast_size(frames)
    spectrum = np.fft.rfft(shifted * np.hanning(frames).astype(np.float32), size, axis=1)
    return np.abs(spectrum).astype(np.float64) ** 2 + 1e-14, LOW_RATE / size


def tenor_near(low: Samples) -> tuple[float, bool] | None:
    """Return about where tenor drones sound, and whether a bass does too; None for no drones.

    Parameters
    ----------
    low:
        The beginning of a recording, from ten seconds on at best.
    """
    power, hz_per_bin = _long_spectra(low)
    if len(power) < 4:
        return None
    softest, soft, usual, loud = np.percentile(power, [4, 20, 50, 80], axis=0)

    def line(hz: float, soft: NDArray[np.float64]) -> tuple[float, float]:
        """Return how far a line stands out in its soft moments, and how far they lie below."""
        middle = round(hz / hz_per_bin)
        reach = max(2, round(2.0 / hz_per_bin))
        at = middle - reach + int(np.argmax(usual[middle - reach : middle + reach + 1]))
        around = np.concatenate(
            [
                usual[max(0, middle - round(45 / hz_per_bin)) : middle - round(14 / hz_per_bin)],
                usual[middle + round(14 / hz_per_bin) : middle + round(45 / hz_per_bin)],
            ]
        )
        out = 10 * math.log10(soft[at] / float(np.median(around)))
        return out, 10 * math.log10(loud[at] / soft[at])

    best: tuple[float, float, bool] | None = None
    for tenor in np.arange(LOWEST_LOW_A_HZ / 2, HIGHEST_LOW_A_HZ / 2, hz_per_bin / 2):
        out, swing = line(tenor, soft)
        if out < _PROMINENT_DB or swing > _TENOR_STEADY_DB:
            continue
        lows = [line(tenor * part, soft) for part in (0.5, 1.5)]
        has_bass = any(o >= _PROMINENT_DB and s <= _BASS_STEADY_DB for o, s in lows)
        if not has_bass:
            # A held note of other music is near, unless it goes on through the softest moments.
            least, swing = line(tenor, softest)
            if least < _PROMINENT_DB or swing > _BASS_STEADY_DB:
                continue
        score = min(out, 40.0) + sum(min(max(o, 0.0), 30.0) for o, _ in lows)
        score += 10 * math.log10(float(usual[round(tenor / hz_per_bin)]) / float(usual.max())) / 2
        if best is None or score > best[0]:
            best = (score, float(tenor), has_bass)
    return None if best is None else (best[1], best[2])


def drones_of(low: Samples, near_hz: float, *, has_bass: bool) -> Drones:
    """Return the pitches of the drones of a whole recording.

    Parameters
    ----------
    low:
        Shape (frames,), at least a second.
    near_hz, has_bass:
        From `tenor_near`.
    """
    pieces = max(1, math.ceil(len(low) / LOW_RATE / _LONGEST_FIT_S))
    edges = np.linspace(0, len(low), pieces + 1).astype(int)
    parts = [low[a:b] for a, b in itertools.pairwise(edges)]
    bass = None
    if has_bass:
        bass = float(np.median([_bass(part, near_hz / 2) for part in parts]))
    found = [_tenors(part, near_hz, None if bass is None else 2 * bass) for part in parts]
    count = max(1, round(float(np.median([len(one) for one in found]))))
    of_count = [sorted(one) for one in found if len(one) == count]
    if not of_count:
        return Drones((near_hz,), bass)
    return Drones(tuple(float(v) for v in np.median(np.array(of_count), axis=0)), bass)


def _baseband(low: Samples, hz: float) -> tuple[NDArray[np.complex128], NDArray[np.float64]]:
    """Return what is around a pitch, brought down to 0 Hz and thinned out to 50 a second."""
    step = LOW_RATE // 50
    times = (np.arange(len(low)) - (len(low) - 1) / 2) / LOW_RATE
    down = low * np.exp(-2j * np.pi * hz * times)
    # Two boxes: their zeros lie where other lines would fold back.
    box = np.ones(step) / step
    smooth = np.convolve(np.convolve(down, box, "same"), box, "same")
    return smooth[::step], times[::step]


def _peak_hz(values: NDArray[np.complex128], times: NDArray[np.float64], reach_hz: float) -> float:
    window = np.hanning(len(values) + 2)[1:-1]
    size = 1 << (8 * len(values)).bit_length()
    power = np.abs(np.fft.fft(values * window, size)) ** 2
    hz = np.fft.fftfreq(size, times[1] - times[0])
    power[np.abs(hz) > reach_hz] = 0
    best = int(np.argmax(power))
    below, top, above = (np.log(power[(best + by) % size] + 1e-30) for by in (-1, 0, 1))
    bend = below - 2 * top + above
    shift = 0.5 * (below - above) / bend if bend < 0 else 0.0
    return float(hz[best] + np.clip(shift, -0.5, 0.5) * (hz[1] - hz[0]))


def _bass(low: Samples, near_hz: float) -> float:
    """Return the bass drone's pitch from its first and third partial, which no other sound has."""
    found, sure = [], []
    for order in (1, 3):
        values, times = _baseband(low, order * near_hz)
        offset = _peak_hz(values, times, _REACH_HZ * order / 2)
        tone = np.exp(2j * np.pi * offset * times)
        amplitude = np.vdot(tone, values) / len(values)
        rest = float(np.mean(np.abs(values - amplitude * tone) ** 2)) + 1e-14
        found.append(near_hz + offset / order)
        sure.append(order**2 * abs(amplitude) ** 2 / rest)
    return float(np.average(found, weights=sure))


def _tenors(low: Samples, near_hz: float, bass_partial_hz: float | None) -> list[float]:
    """Return one or two pitches: the tenors', fitted together with the bass's second partial."""
    values, times = _baseband(low, near_hz)
    fixed = [] if bass_partial_hz is None else [bass_partial_hz - near_hz]
    window = np.hanning(len(values) + 2)[1:-1]
    resolved = 1.5 / (times[-1] - times[0])
    found: list[float] = []
    first_amplitude = 0.0
    for _ in range(2):
        rest = values - _fitted(values, times, window, [*fixed, *found])[0]
        offset = _peak_hz(rest, times, _REACH_HZ)
        if found and abs(offset - found[0]) < resolved:
            break
        trial = _together(values, times, window, fixed, [*found, offset])
        amplitudes = np.abs(_fitted(values, times, window, [*fixed, *trial])[1][len(fixed) :])
        if found and amplitudes[1] < first_amplitude * 10 ** (-_SECOND_DB / 20):
            break
        first_amplitude = float(amplitudes[0])
        found = trial
    return [near_hz + offset for offset in found]


def _fitted(
    values: NDArray[np.complex128],
    times: NDArray[np.float64],
    window: NDArray[np.float64],
    offsets: list[float],
) -> tuple[NDArray[np.complex128], NDArray[np.complex128]]:
    if not offsets:
        return np.zeros_like(values), np.empty(0, complex)
    tones = np.exp(2j * np.pi * np.outer(times, offsets))
    amplitudes, *_ = np.linalg.lstsq(tones * window[:, None], values * window, rcond=1e-6)
    return np.asarray(tones @ amplitudes), np.asarray(amplitudes)


def _together(
    values: NDArray[np.complex128],
    times: NDArray[np.float64],
    window: NDArray[np.float64],
    fixed: list[float],
    free: list[float],
) -> list[float]:
    """Move free lines to where all of them together leave least over (Gauss-Newton)."""
    free = list(free)
    longest_step = 0.5 / (times[-1] - times[0])
    for _ in range(12):
        offsets = [*fixed, *free]
        modelled, amplitudes = _fitted(values, times, window, offsets)
        rest = (values - modelled) * window
        tones = np.exp(2j * np.pi * np.outer(times, offsets)) * window[:, None]
        slopes = 2j * np.pi * times[:, None] * tones * amplitudes
        columns = np.hstack([slopes[:, len(fixed) :], tones, 1j * tones])
        real = np.vstack([columns.real, columns.imag])
        step, *_ = np.linalg.lstsq(real, np.concatenate([rest.real, rest.imag]), rcond=1e-9)
        moves = np.clip(step[: len(free)], -longest_step, longest_step)
        free = [a + float(m) for a, m in zip(free, moves, strict=True)]
        if np.max(np.abs(moves)) < 1e-7:
            break
    return free


@dataclass(frozen=True, slots=True)
class Beat:
    """How fast two sounds beat.

    Parameters
    ----------
    first, second:
        What they are called: `bass`, `tenor`, `first tenor`, `second tenor`, `low A`.
    rate_hz:
        Beats a second where their lowest partials meet.
    """

    first: str
    second: str
    rate_hz: float


def names_of(drones: Drones) -> dict[str, tuple[float, int]]:
    """Return the drones by name: pitch, and which of their partials meets low A."""
    found: dict[str, tuple[float, int]] = {}
    if len(drones.tenors_hz) == 1:
        found["tenor"] = (drones.tenors_hz[0], 2)
    else:
        for name, hz in zip(("lower tenor", "higher tenor"), drones.tenors_hz, strict=True):
            found[name] = (hz, 2)
    if drones.bass_hz is not None:
        found["bass"] = (drones.bass_hz, 4)
    return found


def beats_of(drones: Drones, low_a_hz: float) -> tuple[Beat, ...]:
    """Return how drones beat against low A and against each other.

    Parameters
    ----------
    drones:
        Their pitches.
    low_a_hz:
        The chanter's low A, in the pipe chanter's octave.
    """
    named = names_of(drones)
    found = [Beat(name, "low A", abs(hz * order - low_a_hz)) for name, (hz, order) in named.items()]
    names = list(named)
    for place, one in enumerate(names):
        for other in names[place + 1 :]:
            (hz, order), (other_hz, other_order) = named[one], named[other]
            least = min(order, other_order)
            found.append(Beat(one, other, abs(hz * order / least - other_hz * other_order / least)))
    return tuple(found)
