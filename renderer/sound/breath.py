"""Breath and reed: a steady loop to one that lives, its mean pitch untouched.

A piper's arm is steady, not rigid: pitch wanders by a cent or two, slowly. Air rushing through the
reed is heard between the partials, stronger in the part of each period in which the reed is open.
Both are worked into a loop's Fourier series, so that they cost nothing while a track is rendered
and repeat only with the loop; `sound.seeded` gives the phases. Wandering is a phase modulation
that comes back to where it began, so that over a whole loop the pitch is exactly what it was.

What is in tune, loud and steady without them is with `steady` tracks to the last bit what it was.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from renderer.sound.noise import HIGHEST_HZ, noise_bins
from renderer.sound.seeded import turns
from renderer.sound.steady import LoopSpectrum

SLOWEST_HZ, FASTEST_HZ = 0.3, 3.0
"""Nothing wanders faster: that would be vibrato. Nor slower: the phases of voices in unison would
part for seconds, and a note would be louder or softer for as long."""


@dataclass(frozen=True, slots=True)
class Breath:
    """How alive a voice is.

    Parameters
    ----------
    wandering_cents:
        Standard deviation of the pitch.
    noise_db:
        All the noise between the partials beside the whole tone.
    """

    wandering_cents: float
    noise_db: float


CHANTER = Breath(1.5, -45.0)
DRONE = Breath(0.2, -48.0)
"""Chanters wander more than drones, whose reeds ask for less pressure. That pitch changes with
pressure and moisture: A. R. Carruthers, Pitch changes in the sound of the Highland bagpipe,
Acustica 41 (1978) 46-50 (title only). The amounts are judgement: 1 to 2 cents cannot be told from
none by comparing notes, but are heard against a drone."""

SWING_TURNS = 0.03
"""By how much of its period the second tenor drifts ahead of the first and back in each loop of ten
seconds or more: a hair off, never by a beat in less. Going on to whole beats would let the pair's
fundamental vanish once in each, and take a note in unison with it some 0.8 LU up and down (worked
out from their spectra). Judgement."""


def breathing(spectrum: LoopSpectrum, hz: float, breath: Breath, seed: int) -> LoopSpectrum:
    """Return a loop with breath in it.

    Parameters
    ----------
    spectrum, hz:
        The loop, and what it is to sound.
    breath, seed:
        How alive; and which of all voices it is.
    """
    loop_s = spectrum.periods / hz
    slowest = max(1, round(SLOWEST_HZ * loop_s))
    lines = np.arange(slowest, max(slowest, int(FASTEST_HZ * loop_s)) + 1)
    # As strong at all rates up to one in a second, then falling.
    size = 1 / np.sqrt(1 + (lines / loop_s) ** 2)
    size *= breath.wandering_cents * np.log(2) / 1200 * np.sqrt(2 / np.sum(size**2))
    at = 2 * np.pi * lines * np.arange(spectrum.periods)[:, np.newaxis] / spectrum.periods
    swings = np.sin(at + 2 * np.pi * turns(seed, len(lines)))
    wandered = moved(spectrum, np.asarray(swings @ (size * hz * loop_s / (2 * np.pi * lines))))
    return _with_noise(wandered, hz, breath.noise_db, seed)


def moved(spectrum: LoopSpectrum, ahead_turns: NDArray[np.float64]) -> LoopSpectrum:
    """Return a loop whose periods come sooner or later.

    Parameters
    ----------
    spectrum:
        The loop.
    ahead_turns:
        By how much of a period each of its periods is ahead, shape (periods,); from the last on to
        the first as from any other to the next.
    """
    periods = spectrum.periods
    orders = 1 + (len(spectrum.bins) - 1 - periods // 2) // periods
    below = periods - periods // 2
    padded = np.zeros(below + orders * periods, np.complex128)
    padded[: len(spectrum.bins)] = spectrum.bins[: len(padded)]
    # Each partial with what lies around it, as it changes from period to period.
    courses = np.fft.ifft(padded[below:].reshape(orders, periods), axis=1)
    numbers = np.arange(1, orders + 1)[:, np.newaxis]
    courses *= np.exp(2j * np.pi * numbers * ahead_turns)
    padded[below:] = np.fft.fft(courses, axis=1).ravel()
    return replace(spectrum, bins=padded.astype(np.complex64))


def _with_noise(spectrum: LoopSpectrum, hz: float, noise_db: float, seed: int) -> LoopSpectrum:
    """Return a loop with noise in step with its periods."""
    periods, hz_per_bin = spectrum.periods, hz / spectrum.periods
    count = int(HIGHEST_HZ / hz_per_bin) + periods + 1
    even = noise_bins(np.asarray(np.arange(count) * hz_per_bin, np.float64), seed)
    noise = even.copy()
    # Times 1 + cos of the period: each line gets two beside it, a period's frequency off.
    noise[periods:] += even[:-periods] / 2
    noise[:-periods] += even[periods:] / 2
    bins = np.zeros(max(len(spectrum.bins), count), np.complex128)
    bins[: len(spectrum.bins)] = spectrum.bins
    power = float(np.sum(np.abs(bins) ** 2) / np.sum(np.abs(noise) ** 2))
    bins[:count] += noise * np.sqrt(power * 10 ** (noise_db / 10))
    return replace(spectrum, bins=bins.astype(np.complex64))
