"""Conversions between the measures of pitch: frequency in hertz, interval in cents, MIDI key.

Pure functions of numbers. A cent is 1/1200 of an octave; MIDI key 69 is A at 440 Hz (ISO 16:1975,
MIDI 1.0), and keys may be fractional.
"""

from __future__ import annotations

import math

CONCERT_A_HZ = 440.0
"""A above middle C. Source: ISO 16:1975."""

CONCERT_A_KEY = 69
"""The MIDI key of that A. Source: MIDI 1.0 Detailed Specification."""


def ratio_to_cents(ratio: float) -> float:
    """Return the interval of a frequency ratio (above 0) in cents."""
    return 1200.0 * math.log2(ratio)


def cents_to_ratio(cents: float) -> float:
    """Return the frequency ratio of an interval in cents."""
    return math.exp2(cents / 1200.0)


def hz_to_key(hz: float) -> float:
    """Return the MIDI key, fractional, that sounds `hz` in equal temperament."""
    return CONCERT_A_KEY + 12.0 * math.log2(hz / CONCERT_A_HZ)


def key_to_hz(key: float) -> float:
    """Return the frequency in hertz of a MIDI key in equal temperament."""
    return CONCERT_A_HZ * math.exp2((key - CONCERT_A_KEY) / 12.0)


def db_to_gain(db: float) -> float:
    """Return the amplitude factor of a level change in dB."""
    return math.pow(10.0, db / 20.0)


def gain_to_db(gain: float) -> float:
    """Return the level change in dB of an amplitude factor (above 0)."""
    return 20.0 * math.log10(gain)
