"""How many runs there are.

Source: elementary combinatorics (`math.comb`); the counts of three-note runs between low G and F,
35 rising and 35 falling, 5, 8, 9, 8 and 5 by span, counted by hand.
"""

from __future__ import annotations

import math
from itertools import pairwise, permutations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from renderer.notation.definition.pattern import INTERVALS, Direction, Runs
from renderer.notation.pitch import Note
from renderer.technique.runs import enumerate_runs

SEVEN = tuple(Note(index) for index in range(7))
ALL_SPANS = tuple(INTERVALS.values())
DIRECTIONS: tuple[Direction, ...] = ("rising", "falling", "turning")


def turns(notes: tuple[Note, ...]) -> int:
    rises = [b > a for a, b in pairwise(notes)]
    return sum(a != b for a, b in pairwise(rises))


@pytest.mark.parametrize("direction", ["rising", "falling"])
def test_thirty_five_three_note_runs_lie_between_low_g_and_f(direction: Direction) -> None:
    by_span = [
        len(enumerate_runs(Runs((INTERVALS[name],), (direction,), 3, SEVEN)))
        for name in ("third", "fourth", "fifth", "sixth", "seventh")
    ]
    assert by_span == [5, 8, 9, 8, 5]
    assert sum(by_span) == math.comb(7, 3) == 35


@pytest.mark.parametrize("size", range(3, 10))
@pytest.mark.parametrize("count", range(3, 7))
def test_runs_are_counted_by_binomial_coefficients(size: int, count: int) -> None:
    among = tuple(Note(index) for index in range(size))
    ways_of: dict[Direction, int] = {"rising": 1, "falling": 1, "turning": 2**count - 4}
    for direction, ways in ways_of.items():
        choice = Runs(ALL_SPANS, (direction,), count, among)
        assert len(enumerate_runs(choice)) == ways * math.comb(size, count)


@pytest.mark.parametrize("count", range(3, 7))
@pytest.mark.parametrize("span", range(2, 9))
def test_runs_of_one_span_choose_their_inner_notes(count: int, span: int) -> None:
    choice = Runs((span,), ("rising",), count, tuple(Note))
    assert len(enumerate_runs(choice)) == (9 - span) * math.comb(span - 1, count - 2)


@given(
    st.sets(st.sampled_from(Note), min_size=3, max_size=7),
    st.integers(3, 5),
    st.sets(st.sampled_from(ALL_SPANS), min_size=1),
    st.sampled_from(DIRECTIONS),
    st.sets(st.sampled_from(Note), max_size=4),
    st.sets(st.sampled_from(Note), max_size=4),
)
def test_runs_are_those_of_all_permutations_that_are_asked_for(
    among: set[Note],
    count: int,
    spans: set[int],
    direction: Direction,
    start: set[Note],
    end: set[Note],
) -> None:
    def asked(notes: tuple[Note, ...]) -> bool:
        if turns(notes) != (1 if direction == "turning" else 0):
            return False
        if direction != "turning" and (notes[1] > notes[0]) != (direction == "rising"):
            return False
        return (
            max(notes) - min(notes) in spans
            and (not start or notes[0] in start)
            and (not end or notes[-1] in end)
        )

    choice = Runs(tuple(spans), (direction,), count, tuple(among), tuple(start), tuple(end))
    found = enumerate_runs(choice)
    assert len(set(found)) == len(found)
    assert set(found) == {notes for notes in permutations(among, count) if asked(notes)}
