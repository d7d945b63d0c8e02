"""What a fingering sounds on a chanter: its pitch and its partials, beside those of the nine notes.

A reed plays the lowest resonance of the bore that is not much weaker than the strongest; where that
takes it longer than a gracenote lasts, the table of chanters has what it sounds meanwhile. Of its
flow the openings radiate a part that differs from partial to partial. A reed whose flow did not
depend on the pressure would show all of that, one whose pressure did not depend on the flow only
the radiation; real ones lie between, and half way is taken. Pitches in cents, levels in decibels.
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any

import numpy as np
from numpy.typing import NDArray

from renderer.notation.pitch import Note
from renderer.sound.acoustics.bore import Bore, Hole, response
from renderer.sound.tuning import Chanter, scale_named
from renderer.technique.fingering import Finger, Fingering, fingering, sounding

_MOST_DB = 12.0
"""No partial is moved further than this. Judgement."""

_NEAR_PEAK = 0.5
"""A lower resonance is played if it is at least half as strong as the strongest near by. Judgement;
with the thumb and the little finger up, all else closed, it decides for the lower of two, as pipers
report (`tests/facts/test_chanter_model.py`)."""

_SEARCHED_CENTS = (-480.0, 450.0)
_SEARCHED_PLACES = 156
_REED_EXPONENT = 0.5
_ALIKE_FROM_HZ, _HIGHEST_HZ = 4_000.0, 6_000.0
_SMOOTHING_OCTAVES = 0.35


@dataclass(frozen=True, slots=True, eq=False)
class Fingered:
    """What a fingering sounds.

    Parameters
    ----------
    note:
        The note that it is named by: that of its highest open hole.
    cents:
        How far it is above that note; exactly 0 for the note's own fingering.
    levels_db:
        How far each partial, the fundamental first, lies over those of the nine notes on average.
    """

    note: Note
    cents: float
    levels_db: NDArray[np.float64]


@cache
def _table() -> dict[str, Any]:
    text = (resources.files(__package__) / "chanters.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def notes_hz(chanter: Chanter) -> NDArray[np.float64]:
    """Return what the nine notes of the modelled chanter sound, shape (9,), from low G up."""
    row = _table()[chanter.value]
    return np.array(scale_named("harmonic").ratios) * float(row["low_a_hz"])


def bore_of(chanter: Chanter, places: Iterable[float] = (), foot: float = 0.0) -> Bore:
    """Return the bore of a chanter.

    Parameters
    ----------
    chanter:
        Which one.
    places, foot:
        Metres from the reed to the eight holes, from the top, and to where low G sounds from;
        those of the table if left out.
    """
    row = _table()[chanter.value]
    at = list(places) or [place / 1000 for place in row["places"]]
    foot = foot or row["foot"] / 1000
    holes = [
        Hole(place, diameter / 2000, row["heights"] / 1000, finger)
        for place, diameter, finger in zip(at, row["diameters"], Finger, strict=True)
    ]
    if row["below_foot"]:
        holes.append(Hole(foot, row["foot_diameter"] / 2000, row["foot_height"] / 1000, None))
    return Bore(
        foot + row["below_foot"] / 1000,
        row["diameter_at_reed"] / 2000,
        row["widening"] / 2,
        row["reed_volume"] * 1e-6,
        tuple(holes),
    )


def played_hz(bore: Bore, closed: Fingering, near_hz: float) -> float:
    """Return what a reed plays on a bore with these holes closed, looked for around `near_hz`."""
    low, high = (near_hz * 2 ** (cents / 1200) for cents in _SEARCHED_CENTS)
    hz = np.linspace(low, high, _SEARCHED_PLACES)
    size = np.abs(response(bore, closed, hz).impedance)
    inner = size[1:-1]
    tops = 1 + np.flatnonzero((size[:-2] < inner) & (inner >= size[2:]))
    if not len(tops):
        return near_hz
    top = int(tops[size[tops] >= _NEAR_PEAK * size[tops].max()][0])
    for _ in range(3):
        step = hz[1] - hz[0]
        before, here, after = np.log(size[top - 1 : top + 2])
        found = hz[top] + step * 0.5 * (before - after) / (before - 2 * here + after)
        hz = found + step * np.linspace(-1, 1, 5)
        size = np.abs(response(bore, closed, hz).impedance)
        top = 1 + int(np.argmax(size[1:-1]))
    return float(found)


def _heard_db(bore: Bore, closed: Fingering, hz: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return what the bore makes of partials at `hz`, in dB, the reed taken into account."""
    heard = response(bore, closed, hz)
    resisted = np.abs(heard.impedance) ** (2 * _REED_EXPONENT)
    return np.asarray(10 * np.log10(heard.radiated(hz) / resisted), np.float64)


@cache
def _mean_curves(chanter: Chanter) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return what the nine notes' partials have in common: at odd and at even orders.

    Each over octaves above 100 Hz in steps of a twelfth. A cone makes no such difference.
    """
    bore, grid = bore_of(chanter), np.arange(0, 80) / 12
    octaves, levels, odd = [], [], []
    for note, note_hz in zip(Note, notes_hz(chanter), strict=True):
        orders = np.arange(1.0, int(_HIGHEST_HZ / note_hz) + 1)
        octaves.append(np.log2(orders * note_hz / 100))
        levels.append(_heard_db(bore, fingering(note), orders * note_hz))
        odd.append(orders % 2 == 1)
    at, db, is_odd = (np.concatenate(part) for part in (octaves, levels, odd))

    def curve(chosen: NDArray[np.bool_]) -> NDArray[np.float64]:
        apart = (grid[:, np.newaxis] - at[chosen]) / _SMOOTHING_OCTAVES
        weights = np.exp(-0.5 * apart**2) + 1e-9
        return np.asarray(weights @ db[chosen] / weights.sum(axis=1), np.float64)

    every = np.ones_like(is_odd)
    both = (is_odd, ~is_odd) if chanter is Chanter.PRACTICE else (every, every)
    return curve(both[0]), curve(both[1])


def _undecided_cents(chanter: Chanter, closed: Fingering) -> float | None:
    """Return what a reed sounds until it has settled, where it takes long; None elsewhere."""
    for row in _table()[chanter.value].get("undecided", ()):
        signs = row["closed"].replace(" ", "")
        if closed == {finger for finger, sign in zip(Finger, signs, strict=True) if sign == "x"}:
            return float(row["cents"])
    return None


@cache
def fingered(chanter: Chanter, closed: Fingering) -> Fingered:
    """Return what a set of closed holes sounds on a chanter.

    Partials are given up to 6 kHz, and from 4 kHz on grow like the average: high above the cutoff
    of the row of holes all openings radiate.
    """
    note = sounding(closed)
    note_hz = float(notes_hz(chanter)[note])
    bore = bore_of(chanter)
    cents = 0.0
    if (undecided := _undecided_cents(chanter, closed)) is not None:
        cents = undecided
    elif closed != fingering(note):
        # To the hundredth, so that the last bits of a logarithm cannot be heard of.
        cents = round(1200 * math.log2(played_hz(bore, closed, note_hz) / note_hz), 2)
    hz = note_hz * 2 ** (cents / 1200)
    orders = np.arange(1.0, int(_HIGHEST_HZ / hz) + 1)
    odd, even = _mean_curves(chanter)
    octaves = np.log2(orders * hz / 100)
    grid = np.arange(len(odd)) / 12
    usual = np.where(orders % 2 == 1, np.interp(octaves, grid, odd), np.interp(octaves, grid, even))
    levels = np.clip(_heard_db(bore, closed, orders * hz) - usual, -_MOST_DB, _MOST_DB)
    levels *= np.interp(orders * hz, (_ALIKE_FROM_HZ, _HIGHEST_HZ), (1.0, 0.0))
    return Fingered(note, cents, np.round(levels, 3))
