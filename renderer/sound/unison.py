"""The chanter over the drones: loops in tune with each other to the frame at which each begins.

Where a partial of a note and one of the drones have the same frequency, their phases decide whether
the sum is stronger or weaker than the two apart: low A of the practice chanter, in unison with the
tenors, was once 1.5 LU louder than its neighbours for no other reason. Over all the moments of a
period at which a note's loop could begin, that excess averages to nothing, so at some moments it is
nothing: there the loops are made to begin, and to that they keep.

Powers are K-weighted mean squares (`renderer.sound.loudness`), moments whole frames.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from renderer.sound.bank import Tone
from renderer.sound.loudness import k_weighting

_FRAMES_TRIED = 1_024
"""How many moments are tried: a period of low G at the highest rate. At lower rates these are
several periods, and whole frames fall elsewhere in each of them."""

_SAME_FREQUENCY = 1e-6
_LEAST_SHARE = 1e-3
_UNCERTAIN_TURNS = 0.01


@dataclass(frozen=True, slots=True)
class Beginning:
    """Where a tone's loop begins over the drones.

    Parameters
    ----------
    shift:
        The frame of the loop that the track's first frame has.
    lag:
        By how many frames a frame the loop falls behind the drones. Loops have whole frames, so
        each misses its frequency by some thousandths of a cent: nothing to be heard, but after
        some minutes the phases are others.
    excess_power:
        What is left of the power that the two together have beyond that of the two apart, summed
        over channels, both at gain 1.
    """

    shift: int = 0
    lag: float = 0.0
    excess_power: float = 0.0


def beginning_over(
    drones: Sequence[Tone | None], tone: Tone, chanter_pan: Sequence[float]
) -> Beginning:
    """Find where a tone has to begin for its power just to add to that of the drones.

    Parameters
    ----------
    drones:
        What the drones sound in each channel; at least one is not None. They begin at their first
        frame.
    tone:
        A note of the chanter.
    chanter_pan:
        The share of the chanter that each channel has.
    """
    one = next(drone for drone in drones if drone is not None)
    orders, others = _shared_partials(tone, one)
    if not len(orders):
        return Beginning()
    # |c + d|^2 is |c|^2 + |d|^2 and twice the real part of c d*; a series has each bin twice.
    weights = k_weighting(np.asarray(orders * tone.nominal_hz, np.float64))
    weighted = 4 * weights * tone.partials[orders - 1].astype(np.complex128)
    # All channels together: what is right for them is nearly right for each of the two tenors, and
    # for the channels of a split track when a telephone or a room adds them up.
    conjugates = np.stack(
        [
            np.zeros(len(others)) if drone is None else np.conj(drone.partials[others - 1])
            for drone in drones
        ]
    )
    together = conjugates.sum(axis=0)
    shift = _neutral_shift(orders, weighted * together, len(tone.samples) / tone.periods)
    heard = np.asarray(chanter_pan) @ conjugates
    turns = np.exp(2j * np.pi * orders * (shift * tone.periods / len(tone.samples)))
    sounds_now = tone.periods * len(one.samples) / (one.periods * len(tone.samples))
    return Beginning(
        shift,
        tone.nominal_hz / one.nominal_hz / sounds_now - 1,
        float(np.sum(weighted * turns * heard).real),
    )


def _shared_partials(tone: Tone, other: Tone) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return the numbers, in each of two tones, of the partials that have the same frequency.

    Only those count that stay in phase. Partials that beat, as they do in equal temperament, add
    nothing on average.
    """
    orders = np.arange(1, len(tone.partials) + 1)
    places = orders * (tone.nominal_hz / other.nominal_hz)
    others = np.round(places).astype(np.int64)
    same = (np.abs(places - others) < _SAME_FREQUENCY * places) & (others <= len(other.partials))
    return orders[same], others[same]


def _neutral_shift(orders: NDArray[np.int64], excess: NDArray[np.complex128], period: float) -> int:
    """Return a frame at which next to no power is in excess.

    Of those, one around which the excess changes slowly, so that little depends on a frame.
    """
    sizes = np.abs(excess)
    heard = sizes > _LEAST_SHARE * sizes.sum()
    orders, excess = orders[heard], excess[heard]
    waves = np.exp(2j * np.pi / period * np.outer(np.arange(_FRAMES_TRIED), orders))
    slope = (waves @ (2j * np.pi * orders * excess)).real
    return int(np.argmin(np.abs((waves @ excess).real) + _UNCERTAIN_TURNS * np.abs(slope)))
