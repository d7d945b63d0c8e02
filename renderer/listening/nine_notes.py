"""Soundings to the nine notes of one chanter: the most likely path over all of them at once.

A sounding's pitch alone does not say which note it is: nobody knows yet where low A is, and F of
one chanter is high G of another. So low A, the scale that the chanter is nearest to, the nine
pitches and the note of every sounding are found together. For each low A and published scale that
the chanter may have, notes lie around the scale as reeds put them, soundings closely around their
note, squeaks anywhere; the most likely path of notes (A. J. Viterbi, Error bounds for convolutional
codes, 1967) and the nine pitches are found in turn until neither changes, and the most likely
chanter of all is taken. Pitches are in hertz as they sound, distances in cents.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from renderer.notation.pitch import Note
from renderer.sound.tuning import HIGHEST_LOW_A_HZ, LOWEST_LOW_A_HZ, Scale, scales

STRAY = -1
"""The note of a squeak."""

_STEP_CENTS = 8.0
_REED_CENTS = 24.0
"""How far notes stand from a published scale: one standard deviation (judgement; reeds and tape
move single notes by so much)."""
_HELD_CENTS = 5.0
"""How far soundings of one note stand from each other, likewise."""
_FARTHEST_CENTS = 75.0
_USUAL_LOW_A_HZ = 468.0
_USUAL_CENTS = 90.0
"""Where low A usually is, and one standard deviation of that: 441 to 480 Hz are published (E.
Macpherson, The Pitch and Scale of the Great Highland Bagpipe, 1998), practice chanters at A and B
flat lie among them (common practice)."""
_STRAY_SHARE = 0.03
_STRAY_RANGE_CENTS = 2400.0
_KEPT = 24
_ROUNDS = 6


@dataclass(frozen=True, slots=True, eq=False)
class Assigned:
    """Which note each sounding is.

    Parameters
    ----------
    notes:
        Of each sounding, 0 (low G) to 8 (high A), or `STRAY`; shape (soundings,).
    low_a_hz:
        Low A in the pipe chanter's octave.
    is_practice:
        Whether the chanter sounds an octave lower.
    scale:
        The published scale that it is nearest to.
    log_likelihood:
        Of the whole.
    """

    notes: NDArray[np.int_]
    low_a_hz: float
    is_practice: bool
    scale: Scale
    log_likelihood: float


def scale_cents(scale: Scale) -> NDArray[np.float64]:
    """Return the nine notes of a scale in cents above low A."""
    return np.asarray(1200 * np.log2(np.array(scale.ratios)))


def assign(
    hz: NDArray[np.float64],
    seconds: NDArray[np.float64],
    *,
    near_low_a_hz: float | None = None,
    is_practice: bool | None = None,
) -> Assigned:
    """Return which of the nine notes each sounding is, and of which chanter.

    Parameters
    ----------
    hz:
        What each sounding sounds, in the order in which they come; at least one.
    seconds:
        How long each is.
    near_low_a_hz:
        Low A in the pipe chanter's octave as drones have it, which are in tune with it within a
        semitone.
    is_practice:
        Whether it is a practice chanter, where that is known.
    """
    cents = 1200 * np.log2(hz)
    weight = np.clip(seconds / 0.15, 0.4, 2.0)
    found = _likely_chanters(cents, weight, near_low_a_hz, is_practice)
    return max(_settled(cents, weight, found), key=lambda one: one.log_likelihood)


def _prior(low_a_cents: NDArray[np.float64], near_hz: float | None) -> NDArray[np.float64]:
    """Return the log of how usual a low A is, in the pipe chanter's octave."""
    middle = _USUAL_LOW_A_HZ if near_hz is None else near_hz
    wide = _USUAL_CENTS if near_hz is None else 25.0
    apart = np.abs(low_a_cents - 1200 * math.log2(middle)) / wide
    # Far out it is unusual, not impossible.
    return np.asarray(-np.minimum(0.5 * apart**2, 2.0 * apart))


def _likely_chanters(
    cents: NDArray[np.float64],
    weight: NDArray[np.float64],
    near_hz: float | None,
    known_practice: bool | None,
) -> list[tuple[float, bool, Scale]]:
    """Return the chanters that fit the soundings best, each sounding by itself."""
    low, high = 1200 * math.log2(LOWEST_LOW_A_HZ), 1200 * math.log2(HIGHEST_LOW_A_HZ)
    grid = np.arange(low, high + _STEP_CENTS, _STEP_CENTS)
    # Alike soundings count together: an hour has thousands.
    lowest = float(cents.min()) - _STEP_CENTS
    counts = np.bincount(((cents - lowest) / _STEP_CENTS).astype(int), weight)
    places = np.flatnonzero(counts)
    values = lowest + (places + 0.5) * _STEP_CENTS
    ranked: list[tuple[float, float, bool, Scale]] = []
    for is_practice in (False, True) if known_practice is None else (known_practice,):
        for scale in scales().values():
            notes = scale_cents(scale) - (1200 if is_practice else 0)
            apart = values[None, None, :] - grid[:, None, None] - notes[None, :, None]
            fits = np.exp(-0.5 * (apart / _REED_CENTS) ** 2) / (_REED_CENTS * 2.5066 * 9)
            stray = _STRAY_SHARE / _STRAY_RANGE_CENTS
            each = np.log(fits.sum(axis=1) * (1 - _STRAY_SHARE) + stray)
            total = each @ counts[places] + _prior(grid, near_hz)
            for place in np.argsort(total)[::-1][:_KEPT]:
                ranked.append((float(total[place]), float(grid[place]), is_practice, scale))
    ranked.sort(key=lambda one: one[0], reverse=True)
    kept: list[tuple[float, bool, Scale]] = []
    for _, low_a, is_practice, scale in ranked:
        near = any(
            abs(low_a - other) < 3 * _STEP_CENTS and is_practice == lower and scale is same
            for other, lower, same in kept
        )
        if not near:
            kept.append((low_a, is_practice, scale))
        if len(kept) == _KEPT:
            break
    return kept


def _steps() -> NDArray[np.float64]:
    """Return the log of how likely one note follows another; the tenth is a squeak.

    Players go by step more often than they leap (common practice).
    """
    index = np.arange(9)
    apart = np.abs(index[:, None] - index[None, :])
    likely = np.where(apart == 0, 0.3, np.exp(-apart / 3.0))
    likely = (1 - _STRAY_SHARE) * likely / likely.sum(axis=1, keepdims=True)
    whole = np.full((10, 10), _STRAY_SHARE)
    whole[:9, :9] = likely
    whole[9, :9] = (1 - _STRAY_SHARE) / 9
    return np.asarray(np.log(whole), np.float64)


_STEPS = _steps()


def _paths(
    cents: NDArray[np.float64],
    weight: NDArray[np.float64],
    notes: NDArray[np.float64],
    spread: NDArray[np.float64],
) -> NDArray[np.int_]:
    """Return the most likely path through the notes of each chanter, shape (chanters, soundings).

    `notes`, where they stand in cents, and `spread` have the shape (chanters, 9). All chanters go
    along side by side: step by step in Python, one at a time took as long as the chanters are many.
    """
    apart = cents[:, None, None] - notes
    fits = -0.5 * (apart / spread) ** 2 - np.log(spread * 2.5066)
    # Beyond all doubt it is no more unlikely to be the note than to be none.
    fits = np.where(np.abs(apart) > _FARTHEST_CENTS, -1e6, fits)
    stray = np.full((len(cents), len(notes), 1), -math.log(_STRAY_RANGE_CENTS))
    emitted = weight[:, None, None] * np.concatenate([fits, stray], axis=2)
    best = emitted[0]
    back = np.zeros((len(cents), len(notes), 10), int)
    for row in range(1, len(cents)):
        through = best[:, :, None] + _STEPS
        back[row] = through.argmax(axis=1)
        best = through.max(axis=1) + emitted[row]
    chanters = np.arange(len(notes))
    paths = np.empty((len(notes), len(cents)), int)
    paths[:, -1] = best.argmax(axis=1)
    for row in range(len(cents) - 1, 0, -1):
        paths[:, row - 1] = back[row, chanters, paths[:, row]]
    return np.where(paths == 9, STRAY, paths)


def _settled(
    cents: NDArray[np.float64],
    weight: NDArray[np.float64],
    chanters: list[tuple[float, bool, Scale]],
) -> list[Assigned]:
    """Return each likely chanter with its path, its pitches moved to where the path has them."""
    lower = np.array([1200.0 if is_practice else 0.0 for _, is_practice, _ in chanters])
    scales_cents = np.array([scale_cents(scale) for *_, scale in chanters])
    low_a = np.array([low_a for low_a, *_ in chanters])
    expected = (low_a - lower)[:, None] + scales_cents
    notes, spread = expected.copy(), np.full(expected.shape, _REED_CENTS)
    paths = _paths(cents, weight, notes, spread)
    moving = np.arange(len(chanters))
    for _ in range(_ROUNDS):
        for one in moving:
            notes[one], spread[one] = _places(cents, weight, paths[one], expected[one])
        again = _paths(cents, weight, notes[moving], spread[moving])
        changed = (again != paths[moving]).any(axis=1)
        paths[moving] = again
        moving = moving[changed]
        if not len(moving):
            break
        for one in moving:
            heard = paths[one] == int(Note.LOW_A)
            if heard.any():
                expected[one] = _middle(cents[heard], weight[heard]) + scales_cents[one]
    return [
        _weighed(cents, weight, path, places, low_a, 1200.0 if is_practice else 0.0, scale)
        for path, places, (low_a, is_practice, scale) in zip(paths, notes, chanters, strict=True)
    ]


def _places(
    cents: NDArray[np.float64],
    weight: NDArray[np.float64],
    path: NDArray[np.int_],
    expected: NDArray[np.float64],
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return where the nine notes stand on a path, and how far their soundings stray."""
    notes, spread = expected.copy(), np.full(9, _REED_CENTS)
    for note in range(9):
        mine = path == note
        if mine.any():
            middle = _middle(cents[mine], weight[mine])
            trust = weight[mine].sum() / _HELD_CENTS**2
            notes[note] = (trust * middle + expected[note] / _REED_CENTS**2) / (
                trust + 1 / _REED_CENTS**2
            )
            apart = np.abs(cents[mine] - middle)
            spread[note] = min(4.0 + 2.0 * _middle(apart, weight[mine]), 3 * _HELD_CENTS)
    return notes, spread


def _middle(values: NDArray[np.float64], weight: NDArray[np.float64]) -> float:
    order = np.argsort(values)
    running = np.cumsum(weight[order])
    return float(values[order][int(np.searchsorted(running, running[-1] / 2))])


def _weighed(
    cents: NDArray[np.float64],
    weight: NDArray[np.float64],
    path: NDArray[np.int_],
    notes: NDArray[np.float64],
    low_a: float,
    lower: float,
    scale: Scale,
) -> Assigned:
    """Return the assignment with its likelihood: of the notes' places, the path, the soundings."""
    heard = np.array([bool(np.any(path == note)) for note in range(9)])
    places = notes - scale_cents(scale)
    # Low A is where all notes that were heard put it on the whole, or where it is itself.
    if heard[Note.LOW_A]:
        low_a_here = float(notes[Note.LOW_A])
    elif heard.any():
        low_a_here = float(np.median(places[heard]))
    else:
        low_a_here = low_a - lower
    off = (places - low_a_here)[heard]
    total = float(np.sum(-0.5 * (off / _REED_CENTS) ** 2 - math.log(_REED_CENTS * 2.5066)))
    total += float(_prior(np.array([low_a_here + lower]), None)[0])
    stray = path == STRAY
    apart = cents - notes[np.maximum(path, 0)]
    # Soundings stray from their note further than a bell curve says: two of them, one wide.
    near = np.exp(-0.5 * (apart / _HELD_CENTS) ** 2) / (_HELD_CENTS * 2.5066)
    far = np.exp(-0.5 * (apart / (3 * _HELD_CENTS)) ** 2) / (3 * _HELD_CENTS * 2.5066)
    fits = np.log(0.85 * near + 0.15 * far + 1e-9)
    total += float(np.sum(weight * np.where(stray, -math.log(_STRAY_RANGE_CENTS), fits)))
    states = np.where(stray, 9, path)
    total += float(_STEPS[states[:-1], states[1:]].sum())
    hz = 2 ** ((low_a_here + lower) / 1200)
    return Assigned(path, hz, lower > 0, scale, total)
