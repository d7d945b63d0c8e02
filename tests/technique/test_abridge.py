"""Abridging: the lines chosen are the best there are, in the order of the wishes."""

from __future__ import annotations

import math
from itertools import combinations
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import Bounds, LinearConstraint, milp

from renderer.errors import RungwiseError
from renderer.notation.definition.lines import RunLine
from renderer.notation.definition.pattern import Direction
from renderer.notation.definition.reader import read_definition
from renderer.notation.pitch import Note
from renderer.reading.library import find_exercise
from renderer.technique.abridge import (
    Candidate,
    Selection,
    _Book,
    _Solution,
    abridge,
    candidate,
    cover_all,
)
from renderer.technique.coverage import Approach
from renderer.technique.realise import expand_definition, realise
from tests.sampling import examples

APPROACHES = [Approach("doubling", before, note) for before in Note for note in Note][:9]
DIRECTIONS: tuple[Direction, ...] = ("rising", "falling", "turning")

candidates_lists = st.lists(
    st.builds(
        Candidate,
        st.frozensets(st.sampled_from(APPROACHES), max_size=4),
        st.integers(2, 3),
        st.sampled_from(DIRECTIONS[:2]),
        st.integers(0, 20).map(lambda tenths: tenths / 10),
    ),
    min_size=1,
    max_size=8,
)


def wishes(candidates: list[Candidate], chosen: tuple[int, ...]) -> tuple[int, int, float]:
    """What is wished for, smallest first: lines missed, unevenness, difficulty."""
    picked = [candidates[index] for index in chosen]
    covered = {approach for one in picked for approach in one.approaches}
    kinds = [(one.span, one.direction) for one in picked]
    uneven = sum(kinds.count(kind) ** 2 for kind in set(kinds))
    return -len(covered), uneven, math.fsum(one.difficulty for one in picked)


def by_brute_force(candidates: list[Candidate], lines: int) -> tuple[int, int, float]:
    return min(wishes(candidates, chosen) for chosen in combinations(range(len(candidates)), lines))


def agrees(selection: Selection, candidates: list[Candidate]) -> None:
    covered, uneven, points = by_brute_force(candidates, len(selection.lines))
    assert len(selection.covered) == -covered
    assert selection.unevenness == uneven
    assert selection.difficulty == pytest.approx(points, abs=1e-6)
    assert wishes(candidates, selection.lines)[:2] == (covered, uneven)
    assert selection.is_proven


@given(candidates_lists, st.integers(1, 8))
@examples(60)
def test_a_selection_is_as_good_as_the_best_of_all_selections(
    candidates: list[Candidate], lines: int
) -> None:
    selection = abridge(candidates, lines)
    assert len(selection.lines) == min(lines, len(candidates))
    assert selection.most_coverable == len(selection.covered)
    agrees(selection, candidates)


@given(candidates_lists)
@examples(60)
def test_covering_all_takes_the_fewest_lines_there_are(candidates: list[Candidate]) -> None:
    everything = {approach for one in candidates for approach in one.approaches}
    fewest = next(
        count
        for count in range(1, len(candidates) + 1)
        if by_brute_force(candidates, count)[0] == -len(everything)
    )
    selection = cover_all(candidates)
    assert selection.covered == everything
    assert selection.uncovered == frozenset()
    assert len(selection.lines) == fewest
    # A book without any ornament is covered by no line at all; one is chosen all the same.
    assert selection.fewest_lines == (fewest if everything else 0)
    agrees(selection, candidates)


def book() -> list[Candidate]:
    definition = expand_definition(read_definition(find_exercise("every-doubling-from-low-g-to-f")))
    music = realise(definition)
    return [
        candidate(line, written)
        for line, written in zip(music.lines, definition.lines, strict=True)
    ]


def test_the_full_book_is_abridged_to_a_proven_optimum() -> None:
    candidates = book()
    selection = abridge(candidates, 10)
    # Each line has three approaches, so ten cannot cover more than thirty of the forty-two.
    assert len(selection.covered) == selection.most_coverable == 30
    assert len(selection.uncovered) == 12
    assert selection.unevenness == 10, "one line of each span and direction"
    assert selection.is_proven


def test_the_fewest_lines_that_cover_the_full_book_are_fourteen() -> None:
    selection = cover_all(book())
    # 42 approaches, three a line: fewer than fourteen lines are impossible.
    assert len(selection.lines) == selection.fewest_lines == 14
    assert not selection.uncovered


def test_the_shipped_abridged_edition_is_what_abridging_the_full_book_gives() -> None:
    full = expand_definition(read_definition(find_exercise("every-doubling-from-low-g-to-f")))
    short = read_definition(find_exercise("fourteen-lines-of-doublings"))
    chosen = tuple(full.lines.index(line) for line in short.lines)
    candidates = book()
    selection = cover_all(candidates)
    assert len(chosen) == len(selection.lines)
    mine, best = wishes(candidates, chosen), wishes(candidates, selection.lines)
    assert mine[:2] == best[:2]
    assert mine[2] == pytest.approx(best[2])


def test_the_span_and_direction_of_a_walk_are_those_of_its_run() -> None:
    (one,) = expand_definition(read_definition(find_exercise("fourteen-lines-of-doublings"))).lines[
        :1
    ]
    assert isinstance(one, RunLine)
    music = realise(read_definition(find_exercise("fourteen-lines-of-doublings")))
    seen = candidate(music.lines[0], one)
    assert seen.direction == "rising"
    assert seen.span == max(one.notes) - min(one.notes)
    assert candidate(music.lines[0]).direction == "turning", "passes taken together turn"


def test_no_lines_are_refused() -> None:
    with pytest.raises(RungwiseError, match="at least 1"):
        abridge(book()[:3], 0)


class BySciPy(_Book):
    """The same programmes, solved by another build of a solver."""

    def _solve(self, objective: Any, rules: Any) -> _Solution:
        result = milp(
            objective,
            integrality=np.arange(self.size) < self.count,
            bounds=Bounds(0, 1),
            constraints=LinearConstraint(
                np.array([row for row, _, _ in rules]),
                [least for _, least, _ in rules],
                [most for _, _, most in rules],
            ),
            options={"mip_rel_gap": 0.0},
        )
        chosen = tuple(int(index) for index in np.flatnonzero(result.x[: self.count] > 0.5))
        return _Solution(chosen, float(result.fun), result.status == 0)


@pytest.mark.parametrize("lines", [3, 8, 14, 25])
def test_another_solver_proves_the_same_of_the_full_book(lines: int) -> None:
    candidates = book()
    one, other = abridge(candidates, lines), BySciPy(candidates).select(lines, fewest=None)
    assert one.is_proven
    assert other.is_proven
    assert one.most_coverable == other.most_coverable
    assert wishes(candidates, one.lines)[:2] == wishes(candidates, other.lines)[:2]
    assert one.difficulty == pytest.approx(other.difficulty)


def test_the_solver_says_nothing_among_our_output(capfd: pytest.CaptureFixture[str]) -> None:
    abridge(book()[:5], 2)
    assert capfd.readouterr() == ("", "")
