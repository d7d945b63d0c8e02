"""Tempo ladders as they are written, and back."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from renderer.notation.ladder import ladder_text, parse_ladder

HUNDREDTHS = st.integers(1_000, 40_000).map(lambda number: Fraction(number, 100))


@pytest.mark.parametrize(
    ("tempos", "text"),
    [
        ((50, 60, 70, 80), "50:80:10"),
        ((80, 70, 60), "80:60:10"),
        ((50, 60), "50,60"),
        ((50, 60, 75), "50,60,75"),
        ((60, 60, 60), "60,60,60"),
        ((50, 52.5, 55), "50:55:2.5"),
    ],
)
def test_a_ladder_is_written_by_its_steps_where_it_has_even_ones(
    tempos: tuple[float, ...], text: str
) -> None:
    assert ladder_text([Fraction(tempo) for tempo in tempos]) == text


@given(st.lists(HUNDREDTHS, min_size=1, max_size=20))
def test_what_is_written_of_a_ladder_reads_back(tempos: list[Fraction]) -> None:
    assert list(parse_ladder(ladder_text(tempos)).tempos) == tempos
