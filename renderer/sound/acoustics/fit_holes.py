"""Moves the holes of both chanters until the nine notes have their pitches, and prints where."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from renderer.notation.pitch import Note
from renderer.sound.acoustics.fingering_tone import bore_of, notes_hz, played_hz
from renderer.sound.tuning import Chanter
from renderer.technique.fingering import fingering

_FIRST_GUESS = {
    Chanter.PRACTICE: [140.0, 167, 178, 198, 231, 248, 278, 314, 371],
    Chanter.PIPE: [79.0, 102, 109, 126, 158, 170, 200, 235, 283],
}


def fitted_places(chanter: Chanter) -> NDArray[np.float64]:
    """Return millimetres from the reed to the eight holes, from the top, and to the foot."""
    targets = notes_hz(chanter)

    def off_cents(places_mm: NDArray[np.float64]) -> list[float]:
        bore = bore_of(chanter, places_mm[:8] / 1000, places_mm[8] / 1000)
        return [
            1200 * float(np.log2(played_hz(bore, fingering(note), target) / target))
            for note, target in zip(Note, targets, strict=True)
        ]

    found = least_squares(off_cents, _FIRST_GUESS[chanter], diff_step=1e-4)
    return np.asarray(found.x, np.float64)


if __name__ == "__main__":
    for chanter in Chanter:
        *places, foot = np.round(fitted_places(chanter), 2).tolist()
        print(f"[{chanter}]\nplaces = {places}\nfoot = {foot}")
