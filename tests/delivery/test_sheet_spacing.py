"""Rods and springs: laws that hold for every width."""

from __future__ import annotations

import itertools
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from renderer.delivery.sheet.engraving import EngravedBar, engrave
from renderer.delivery.sheet.spacing import room, share_out, spacing_of
from tests.delivery.larkmoor import doublings

WIDTHS = st.lists(st.tuples(st.floats(1, 1000), st.floats(0.1, 10)), min_size=1, max_size=12)


def engraved_bars() -> tuple[EngravedBar, ...]:
    return engrave(doublings()).lines[0].bars


@given(bars=WIDTHS, extra=st.floats(0, 1000))
def test_widths_fill_the_system_and_none_is_below_its_least(
    bars: list[tuple[float, float]], extra: float
) -> None:
    least, weights = [bar[0] for bar in bars], [bar[1] for bar in bars]
    width = sum(least) + extra
    widths = share_out(width, least, weights)
    assert sum(widths) == pytest.approx(width)
    assert all(one >= needed - 1e-6 for one, needed in zip(widths, least, strict=True))


@given(bars=WIDTHS)
def test_where_there_is_no_room_every_bar_gets_its_least(bars: list[tuple[float, float]]) -> None:
    least, weights = [bar[0] for bar in bars], [bar[1] for bar in bars]
    assert share_out(sum(least) / 2, least, weights) == pytest.approx(least)


@given(count=st.integers(1, 12), width=st.floats(100, 10_000))
def test_bars_of_equal_weight_with_room_enough_are_equally_wide(count: int, width: float) -> None:
    widths = share_out(width, [width / count / 2] * count, [1.0] * count)
    assert widths == pytest.approx([width / count] * count)


@given(stretch=st.floats(1, 4))
def test_notes_fill_a_bar_of_any_width_in_order(stretch: float) -> None:
    for bar in engraved_bars():
        spacing = spacing_of([bar])
        width = spacing.least * stretch
        places = list(spacing.filling(width).values())
        assert all(before < after for before, after in itertools.pairwise(places))
        assert places[-1] == pytest.approx(width, abs=1)


@given(stretch=st.floats(1.0, 4))
def test_a_wider_bar_brings_no_two_notes_closer_together(stretch: float) -> None:
    for bar in engraved_bars():
        spacing = spacing_of([bar])
        narrow = list(spacing.filling(spacing.comfortable).values())
        wide = list(spacing.filling(spacing.comfortable * stretch).values())
        for (a, b), (c, d) in zip(
            itertools.pairwise(narrow), itertools.pairwise(wide), strict=True
        ):
            assert d - c >= b - a - 1


def test_twice_the_note_value_gets_more_room_but_not_twice_as_much() -> None:
    quarter, half = room(Fraction(1, 4)), room(Fraction(1, 2))
    assert 1.3 * quarter < half < 1.7 * quarter
