"""Pitches as MIDI says them: MIDI Tuning Standard frequency words and pitch bend.

Frequencies are in hertz, distances in cents; key numbers are General MIDI's, 69 being 440 Hz.
Source: MIDI Tuning Standard (MIDI 1.0, RP-012 and RP-020): a frequency word is three bytes of seven
bits, the equal-tempered key below the pitch and the rest in steps of 100 / 2^14 cents.
"""

from __future__ import annotations

from typing import Literal

from renderer.sound.units import hz_to_key, key_to_hz

Tuning = Literal["mts", "bend", "none"]
"""How a MIDI file is tuned: tuning messages, pitch bend, or equal temperament."""

STEPS_PER_SEMITONE = 1 << 14
NO_CHANGE = (0x7F, 0x7F, 0x7F)
"""The word that leaves a key as it is, hence no pitch has it."""

BEND_CENTER = 8192
"""Of pitch bend's 14 bits; mido counts from it, from -8192 to 8191."""


def frequency_word(hz: float) -> tuple[int, int, int]:
    """Return the frequency word nearest to a pitch.

    Raises `ValueError` for a pitch outside the words' range, 8.18 to 13,289.73 Hz.
    """
    steps = round(hz_to_key(hz) * STEPS_PER_SEMITONE)
    if not 0 <= steps < 128 * STEPS_PER_SEMITONE - 1:
        raise ValueError(f"{hz:g} Hz is outside the range of MIDI tuning")
    return steps >> 14, steps >> 7 & 0x7F, steps & 0x7F


def word_hz(word: tuple[int, int, int]) -> float:
    """Return the pitch that a frequency word names."""
    steps = word[0] << 14 | word[1] << 7 | word[2]
    return key_to_hz(steps / STEPS_PER_SEMITONE)


def bend_of(cents: float, range_semitones: int) -> int:
    """Return the pitch bend, -8192 to 8191, that moves a key by `cents`.

    Parameters
    ----------
    cents:
        Up or down.
    range_semitones:
        What the receiver was told a full bend is.

    Raises
    ------
    ValueError
        If the range does not reach so far.
    """
    bend = round(cents / (100 * range_semitones) * BEND_CENTER)
    if not -BEND_CENTER <= bend < BEND_CENTER:
        raise ValueError(f"a bend of {cents:g} cents is beyond {range_semitones} semitones")
    return bend
