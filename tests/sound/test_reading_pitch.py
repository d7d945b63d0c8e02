"""How a pitch is read from what a player writes."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from renderer.errors import RungwiseError
from renderer.sound.tuning import chanter_named, parse_pitch, scale_named


@pytest.mark.parametrize("text", ["B flat", "b flat", "Bb", "bb", "B-flat", "b♭", " BFLAT "])
def test_b_flat_may_be_spelt_as_players_spell_it(text: str) -> None:
    assert parse_pitch(text).label == "B flat"


@pytest.mark.parametrize("text", ["478", "478 Hz", "478hz", " 478.0 ", "478,0 hertz"])
def test_hertz_may_be_spelt_as_players_spell_them(text: str) -> None:
    assert parse_pitch(text) == parse_pitch(478)
    assert parse_pitch(text).remark == ""


def test_a_practice_chanters_own_octave_is_doubled_and_said() -> None:
    pitch = parse_pitch("239")
    assert pitch.low_a_hz == 478.0
    assert pitch.label == "478 Hz"
    assert "239" in pitch.remark
    assert "478" in pitch.remark


@pytest.mark.parametrize(
    "text", ["", "C", "B", "A flat", "loud", "0", "-478", "169.9", "300", "561", "99999", "4 78"]
)
def test_what_is_no_pitch_is_refused_with_what_would_be(text: str) -> None:
    with pytest.raises(RungwiseError, match=r"B flat.*478"):
        parse_pitch(text)


@pytest.mark.parametrize("number", [float("nan"), float("inf"), 0, -440, 1e300])
def test_numbers_that_no_chanter_has_are_refused(number: float) -> None:
    with pytest.raises(RungwiseError):
        parse_pitch(number)


@given(st.text(max_size=12))
def test_no_text_makes_parsing_fall_over(text: str) -> None:
    try:
        pitch = parse_pitch(text)
    except RungwiseError:
        return
    assert 340 <= pitch.low_a_hz <= 560


def test_names_of_scales_and_chanters_are_free_in_case() -> None:
    assert scale_named("macneill").name == "MacNeill"
    assert chanter_named("Pipe") == "pipe"


def test_unknown_scales_and_chanters_are_refused_with_the_known_ones() -> None:
    with pytest.raises(RungwiseError, match="equal, MacNeill, harmonic"):
        scale_named("pythagorean")
    with pytest.raises(RungwiseError, match="practice or pipe"):
        chanter_named("border")
