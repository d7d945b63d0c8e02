"""Loops in the cache: what was once made of a preset, kept for the next time.

Playing a preset, measuring it and cutting its loops takes seconds; reading them back takes a
hundredth of one (`renderer.sound.kept_files`).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from renderer.sound.kept_files import LOOPS, Kept, kept_or_made
from renderer.sound.steady import LoopSpectrum


@dataclass(frozen=True, slots=True, eq=False)
class PlayedLoops:
    """Notes as FluidSynth plays them on their keys, cut to loops at `SYNTH_RATE`."""

    spectra: tuple[LoopSpectrum, ...]
    remarks: tuple[str, ...]


def kept_or_played(
    what: str, soundfonts: list[Path], play: Callable[[], PlayedLoops]
) -> PlayedLoops:
    """Return the loops that are kept under a name, or make and keep them.

    Parameters
    ----------
    what:
        Which loops of which presets, in words that no others have.
    soundfonts:
        The files that they come from.
    play:
        Makes them; what it raises is passed on.
    """
    return _from_kept(kept_or_made(what, LOOPS, soundfonts, lambda: _to_kept(play())))


def _to_kept(loops: PlayedLoops) -> Kept:
    told = {
        "loops": [(one.periods, one.frames) for one in loops.spectra],
        "remarks": loops.remarks,
    }
    return Kept(told, [one.bins.astype(np.complex64) for one in loops.spectra])


def _from_kept(kept: Kept) -> PlayedLoops:
    spectra = (
        LoopSpectrum(bins.copy(), periods, frames)
        for bins, (periods, frames) in zip(kept.arrays, kept.told["loops"], strict=True)
    )
    return PlayedLoops(tuple(spectra), tuple(kept.told["remarks"]))
