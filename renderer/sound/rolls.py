"""The snare drum's rolls: a length in seconds to one sound at the track's rate.

A buzz roll is a row of strokes by alternating hands, each let bounce until the next one takes over;
it begins with a plain stroke that marks the beat. Rates and levels are the project's judgement.
"""

from __future__ import annotations

import numpy as np

from renderer.sound.bank import Percussion, Stroke
from renderer.sound.frames import frame_at
from renderer.sound.loudness import k_energy
from renderer.sound.units import db_to_gain
from renderer.timing.timeline import Roll

BUZZES_A_SECOND = 11
"""Between the 8 and 13 strokes a second of a closed roll (from memory)."""

_BUZZ_DB = -2.0
_SWELL_DB = 3.0
_LEFT_HAND_DB = -0.8
_LIVELINESS_DB = 1.2


def roll_sound(roll: Roll, percussion: Percussion) -> Stroke:
    """Return a whole roll, from its first stroke until the last one has died away.

    The buzzes divide the roll evenly; it swells by 3 dB towards its end.
    """
    rate = percussion.rate
    buzz = percussion.snare_buzz.samples
    opening = percussion.snare_right.samples
    sound = np.zeros(frame_at(roll.length, rate) + max(len(buzz), len(opening)), np.float32)
    sound[: len(opening)] = opening
    count = max(2, round(float(roll.length) * BUZZES_A_SECOND))
    for index in range(1, count):
        # No two buzzes alike, nor a pattern: fractional parts of multiples of the golden ratio.
        lively = _LIVELINESS_DB * ((index * 0.6180339887) % 1.0 - 0.5)
        hand = _LEFT_HAND_DB if index % 2 else 0.0
        gain = db_to_gain(_BUZZ_DB + _SWELL_DB * index / count + lively + hand)
        at = frame_at(roll.length * index / count, rate)
        sound[at : at + len(buzz)] += np.float32(gain) * buzz
    return Stroke(sound, k_energy(sound, rate), float(np.abs(sound).max()))
