"""The snare drum's rolls: a length in seconds to one sound at the track's rate.

A buzz roll is a row of strokes by alternating hands, each let bounce until the next one takes
over. Each beat begins with a plain stroke that stands out of the buzz, so that a learner can count
through the roll. Rates and levels are judgement.
"""

from __future__ import annotations

from fractions import Fraction

import numpy as np

from renderer.sound.bank import Percussion, Stroke
from renderer.sound.frames import frame_at
from renderer.sound.loudness import k_energy
from renderer.sound.units import db_to_gain
from renderer.timing.timeline import Roll

BUZZES_A_SECOND = 13
"""Between the 8 and 13 strokes a second of a closed roll (from memory)."""

BUZZ_DB = -5.0
ROUND_FROM = 0.5
"""From which share of its highest peak a roll's peaks are rounded off (`tanh`): the strokes on the
beats stand out by some 5 dB, and the whole need not be softer for their peaks' sake."""

LEFT_HAND_DB = -0.8
LIVELINESS_DB = 1.2


def roll_sound(roll: Roll, percussion: Percussion) -> Stroke:
    """Return a whole roll, from its first stroke until the last one has died away.

    The buzzes divide each beat evenly; a plain stroke marks each beat.
    """
    rate = percussion.rate
    buzz = percussion.snare_buzz.samples
    plain = percussion.snare_right.samples
    beat = roll.length / roll.beats
    sound = np.zeros(frame_at(roll.length, rate) + max(len(buzz), len(plain)), np.float32)

    def strike(time: Fraction, stroke: np.ndarray, level_db: float) -> None:
        at = frame_at(time, rate)
        sound[at : at + len(stroke)] += np.float32(db_to_gain(level_db)) * stroke

    buzzes = max(2, round(float(beat) * BUZZES_A_SECOND))
    for index in range(buzzes * roll.beats):
        start = beat * index / buzzes
        if index % buzzes == 0:
            strike(start, plain, 0.0)
            continue
        # No two buzzes alike, nor a pattern: fractional parts of multiples of the golden ratio.
        lively = LIVELINESS_DB * ((index * 0.6180339887) % 1.0 - 0.5)
        strike(start, buzz, BUZZ_DB + lively + (LEFT_HAND_DB if index % 2 else 0.0))
    round_from = np.float32(ROUND_FROM * np.abs(sound).max())
    sound = round_from * np.tanh(sound / round_from)
    return Stroke(sound, k_energy(sound, rate), float(np.abs(sound).max()))
