"""Frequency words against the table of the MIDI Tuning Standard.

Source: MIDI Tuning Standard, table of frequency words in the specification (from memory; each row
is confirmed by the specification's formula, 100 / 2^14 cents a step from 8.1758 Hz).
"""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from renderer.sound.midi_tuning import NO_CHANGE, bend_of, frequency_word, word_hz

TABLE = [
    ("00 00 00", 8.1758),
    ("01 00 00", 8.6620),
    ("0C 00 00", 16.3516),
    ("3C 00 00", 261.6256),
    ("3D 00 00", 277.1827),
    ("44 7F 7F", 439.9984),
    ("45 00 00", 440.0000),
    ("45 00 01", 440.0016),
    ("78 00 00", 8372.0181),
    ("7F 7F 7E", 13289.7300),
]
PRINTED_TO_HZ = 0.0001

TOP_ROW_CENTS = 0.01
"""By the formula the top row is 13289.6566 Hz: the table is 0.0096 cent (1.6 steps) above it."""


def _word(text: str) -> tuple[int, int, int]:
    high, middle, low = bytes.fromhex(text)
    return high, middle, low


@pytest.mark.parametrize(("text", "hz"), TABLE)
def test_a_word_of_the_standards_table_names_its_frequency(text: str, hz: float) -> None:
    found = word_hz(_word(text))
    if text == "7F 7F 7E":
        assert abs(1200 * math.log2(found / hz)) < TOP_ROW_CENTS
    else:
        assert found == pytest.approx(hz, abs=PRINTED_TO_HZ)


@pytest.mark.parametrize("text", [text for text, _ in TABLE])
def test_the_exact_frequency_of_a_word_is_written_as_that_word(text: str) -> None:
    high, middle, low = _word(text)
    cents = ((high << 14) + (middle << 7) + low) * 100 / 2**14
    lowest = 440 * 2 ** (-69 / 12)
    assert frequency_word(lowest * 2 ** (cents / 1200)) == _word(text)


@given(st.floats(20, 12000))
def test_a_word_is_within_half_a_step_of_the_pitch(hz: float) -> None:
    word = frequency_word(hz)
    assert word != NO_CHANGE
    assert abs(1200 * math.log2(word_hz(word) / hz)) <= 100 / 2**14 / 2 + 1e-6


def test_pitches_that_no_word_has_are_refused() -> None:
    for hz in (8.17, 13290.0):
        with pytest.raises(ValueError, match="outside the range"):
            frequency_word(hz)


def test_a_full_bend_up_stops_one_step_short_of_its_range() -> None:
    """Pitch bend is 14 bits with its centre at 8192 (MIDI 1.0 specification)."""
    assert bend_of(0, 2) == 0
    assert bend_of(-200, 2) == -8192
    assert bend_of(100, 2) == 4096
    with pytest.raises(ValueError, match="beyond"):
        bend_of(200, 2)
