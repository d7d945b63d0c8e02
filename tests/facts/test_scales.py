"""The scales against the published figures."""

from __future__ import annotations

from fractions import Fraction

import pytest

from renderer.notation.pitch import Note
from renderer.sound.tuning import scale_named
from renderer.sound.units import ratio_to_cents

# E. Macpherson, The Pitch and Scale of the Great Highland Bagpipe (1998), page of tunings: ratios
# above low A, and the difference from equal temperament in cents to one decimal.
PUBLISHED: dict[str, dict[Note, tuple[str, float]]] = {
    "MacNeill": {
        Note.HIGH_A: ("2/1", 0.0),
        Note.HIGH_G: ("9/5", 17.6),
        Note.F: ("5/3", -15.6),
        Note.E: ("3/2", 2.0),
        Note.D: ("27/20", 19.6),
        Note.C: ("5/4", -13.7),
        Note.B: ("9/8", 3.9),
        Note.LOW_A: ("1/1", 0.0),
        Note.LOW_G: ("8/9", -3.9),
    },
    "harmonic": {
        Note.HIGH_A: ("2/1", 0.0),
        Note.HIGH_G: ("7/4", -31.2),
        Note.F: ("5/3", -15.6),
        Note.E: ("3/2", 2.0),
        Note.D: ("4/3", -2.0),
        Note.C: ("5/4", -13.7),
        Note.B: ("9/8", 3.9),
        Note.LOW_A: ("1/1", 0.0),
        Note.LOW_G: ("7/8", -31.2),
    },
}

EQUAL_CENTS = dict(zip(Note, (-200, 0, 200, 400, 500, 700, 900, 1000, 1200), strict=True))
"""A mixolydian in twelve-tone equal temperament, low G below (ISO 16:1975 and the same page)."""


@pytest.mark.parametrize("name", PUBLISHED)
@pytest.mark.parametrize("note", Note)
def test_a_note_has_its_published_ratio_and_its_published_distance_from_equal(
    name: str, note: Note
) -> None:
    ratio, difference = PUBLISHED[name][note]
    ours = scale_named(name).ratio(note)
    assert ours == pytest.approx(float(Fraction(ratio)), rel=1e-15)
    assert round(ratio_to_cents(ours) - EQUAL_CENTS[note], 1) == pytest.approx(difference)


@pytest.mark.parametrize("note", Note)
def test_the_equal_scale_is_the_mixolydian_of_equal_temperament(note: Note) -> None:
    ours = scale_named("equal").ratio(note)
    assert ratio_to_cents(ours) == pytest.approx(EQUAL_CENTS[note], abs=1e-9)
    # The nine MIDI numbers of the trade say the same in semitones.
    assert note.midi - Note.LOW_A.midi == EQUAL_CENTS[note] // 100
