"""Abridging a book: many lines in, the few that miss as little as possible out.

Three wishes, one after the other: cover as many approaches as possible; of all selections that do,
the one most even over spans and directions (the sum of the squared numbers of lines of each kind
is least); of all those, the easiest (the sum of the lines' difficulties is least). Each is an
integer linear programme, solved to the proven optimum or, on very large books, up to a bound that
is reported.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from renderer.errors import failure
from renderer.notation.definition.lines import RunLine
from renderer.notation.definition.pattern import Direction
from renderer.notation.score import Line
from renderer.technique.coverage import Approach, approaches_of
from renderer.technique.report import line_difficulty
from renderer.technique.runs import direction_of, span_of

if TYPE_CHECKING:
    from numpy.typing import NDArray

MOST_NODES = 1500
"""How many branches each of the three programmes may try. A count, so that a book is abridged alike
on slow machines and fast ones: the full book of 70 lines needs up to 772 (measured), and 1,500 of
a book of 280 lines take about 12 seconds."""

SECONDS_A_STAGE = 60.0
"""After which even a far larger book has to do with what has been found."""


@dataclass(frozen=True, slots=True)
class Candidate:
    """A line as the selection sees it.

    Parameters
    ----------
    approaches:
        What it practises.
    span:
        Steps between its lowest and highest note.
    direction:
        How its run moves.
    difficulty:
        Points a beat.
    """

    approaches: frozenset[Approach]
    span: int
    direction: Direction
    difficulty: float


@dataclass(frozen=True, slots=True)
class Selection:
    """The lines chosen.

    Parameters
    ----------
    lines:
        Their indices in the book, ascending, from 0.
    covered, uncovered:
        The book's approaches that they practise, and those that they leave out.
    most_coverable:
        The solver's bound: no selection of as many lines covers more approaches.
    fewest_lines:
        When everything is to be covered: the solver's bound, no selection has fewer lines. Else
        None.
    unevenness, difficulty:
        The sums that the second and the third wish make least.
    is_proven:
        Whether the solver proved all three to be optimal.
    """

    lines: tuple[int, ...]
    covered: frozenset[Approach]
    uncovered: frozenset[Approach]
    most_coverable: int
    fewest_lines: int | None
    unevenness: int
    difficulty: float
    is_proven: bool


def candidate(line: Line, written: object = None) -> Candidate:
    """Return a line as the selection sees it.

    Parameters
    ----------
    line:
        The music.
    written:
        The definition's line; of a run, span and direction are the run's. Otherwise they are those
        of the whole melody.
    """
    notes = (
        written.notes
        if isinstance(written, RunLine)
        else tuple(note.note for note in line.melody_notes)
    )
    return Candidate(
        approaches_of(line),
        span_of(notes) if notes else 0,
        direction_of(notes),
        line_difficulty(line),
    )


def abridge(candidates: Sequence[Candidate], lines: int) -> Selection:
    """Choose so many lines of a book.

    Parameters
    ----------
    candidates:
        The book's lines.
    lines:
        How many; at least 1. Where the book has fewer, all are chosen.

    Raises
    ------
    RungwiseError
        If `lines` is below 1.
    """
    if lines < 1:
        raise failure(f"{lines} lines are none", "ask for at least 1", place="--lines")
    return _Book(candidates).select(min(lines, len(candidates)), fewest=None)


def cover_all(candidates: Sequence[Candidate]) -> Selection:
    """Choose the fewest lines that cover every approach of the book."""
    book = _Book(candidates)
    solution = book.fewest()
    return book.select(max(1, len(solution.chosen)), fewest=solution)


@dataclass(frozen=True, slots=True)
class _Solution:
    """A programme's answer: which lines, the bound on its objective, and whether it is optimal."""

    chosen: tuple[int, ...]
    bound: float
    is_optimal: bool


class _Book:
    """The book as a programme: one 0/1 variable a line, one a covered approach, then the steps of
    the squares of each kind's number of lines."""

    def __init__(self, candidates: Sequence[Candidate]) -> None:
        self.candidates = candidates
        self.approaches = sorted(frozenset().union(*(c.approaches for c in candidates)))
        kinds: dict[tuple[int, Direction], list[int]] = {}
        for index, one in enumerate(candidates):
            kinds.setdefault((one.span, one.direction), []).append(index)
        self.kinds = list(kinds.values())
        self.count = len(candidates)
        self.steps_start = self.count + len(self.approaches)
        self.size = self.steps_start + self.count

    def select(self, lines: int, fewest: _Solution | None) -> Selection:
        np = _numpy()
        rules = [*self._cover_rules(), *self._kind_rules(), self._exactly(lines)]
        covering = np.zeros(self.size)
        covering[self.count : self.steps_start] = -1
        first = self._solve(covering, rules) or _Solution(tuple(range(lines)), -math.inf, False)
        best, proven = first, first.is_optimal

        reached = len(self._covered(first.chosen))
        rules.append((covering, -math.inf, -reached + 0.5))
        squares = self._squares()
        second = self._solve(squares, rules)
        if second is not None and self._better(second, best):
            best = second
        proven &= second is not None and second.is_optimal

        rules.append((squares, -math.inf, self._unevenness(best.chosen) + 0.5))
        points = np.zeros(self.size)
        points[: self.count] = [one.difficulty for one in self.candidates]
        third = self._solve(points, rules)
        if third is not None and self._better(third, best):
            best = third
        proven &= third is not None and third.is_optimal

        covered = self._covered(best.chosen)
        bound = len(self.approaches)
        if math.isfinite(first.bound):
            bound = min(bound, math.floor(-first.bound + 1e-6))
        return Selection(
            lines=best.chosen,
            covered=covered,
            uncovered=frozenset(self.approaches) - covered,
            most_coverable=bound,
            fewest_lines=None if fewest is None else max(0, math.ceil(fewest.bound - 1e-6)),
            unevenness=self._unevenness(best.chosen),
            difficulty=math.fsum(self.candidates[index].difficulty for index in best.chosen),
            is_proven=proven and (fewest is None or fewest.is_optimal),
        )

    def fewest(self) -> _Solution:
        np = _numpy()
        counting = np.zeros(self.size)
        counting[: self.count] = 1
        everything = np.zeros(self.size)
        everything[self.count : self.steps_start] = 1
        rules = [
            *self._cover_rules(),
            *self._kind_rules(),
            (everything, len(self.approaches) - 0.5, math.inf),
        ]
        found = self._solve(counting, rules)
        # Every line together covers everything, so there always is a selection.
        return found or _Solution(tuple(range(self.count)), 0.0, False)

    def _covered(self, chosen: Sequence[int]) -> frozenset[Approach]:
        return frozenset().union(*(self.candidates[index].approaches for index in chosen))

    def _unevenness(self, chosen: Sequence[int]) -> int:
        return sum(len(set(kind) & set(chosen)) ** 2 for kind in self.kinds)

    def _better(self, one: _Solution, other: _Solution) -> bool:
        def rank(solution: _Solution) -> tuple[int, int, float]:
            points = math.fsum(self.candidates[index].difficulty for index in solution.chosen)
            covered = len(self._covered(solution.chosen))
            return -covered, self._unevenness(solution.chosen), points

        return rank(one) < rank(other)

    def _exactly(self, lines: int) -> _Rule:
        row = _numpy().zeros(self.size)
        row[: self.count] = 1
        return row, lines, lines

    def _cover_rules(self) -> list[_Rule]:
        """An approach counts as covered only where a chosen line has it."""
        rules: list[_Rule] = []
        for position, approach in enumerate(self.approaches, start=self.count):
            row = _numpy().zeros(self.size)
            row[position] = -1
            for index, one in enumerate(self.candidates):
                if approach in one.approaches:
                    row[index] = 1
            rules.append((row, 0, math.inf))
        return rules

    def _kind_rules(self) -> list[_Rule]:
        """As many steps of a kind are taken as lines of it are chosen."""
        rules: list[_Rule] = []
        step = self.steps_start
        for kind in self.kinds:
            row = _numpy().zeros(self.size)
            row[kind] = 1
            row[step : step + len(kind)] = -1
            rules.append((row, 0, 0))
            step += len(kind)
        return rules

    def _squares(self) -> NDArray[Any]:
        """n squared is the sum of the first n odd numbers, and the cheapest steps come first."""
        np = _numpy()
        steps = [2 * np.arange(len(kind)) + 1 for kind in self.kinds]
        row: NDArray[Any] = np.concatenate([np.zeros(self.steps_start), *steps])
        return row

    def _solve(self, objective: NDArray[Any], rules: Sequence[_Rule]) -> _Solution | None:
        import highspy

        np = _numpy()
        weights = [np.flatnonzero(row) for row, _, _ in rules]
        programme = highspy.HighsLp()
        programme.num_col_, programme.num_row_ = self.size, len(rules)
        programme.col_cost_ = objective
        programme.col_lower_, programme.col_upper_ = np.zeros(self.size), np.ones(self.size)
        programme.row_lower_ = np.array([least for _, least, _ in rules], float)
        programme.row_upper_ = np.array([most for _, _, most in rules], float)
        kinds = highspy.HighsVarType
        whole = [kinds.kInteger] * self.count
        programme.integrality_ = whole + [kinds.kContinuous] * (self.size - self.count)
        matrix = programme.a_matrix_
        matrix.format_ = highspy.MatrixFormat.kRowwise
        matrix.start_ = np.cumsum([0, *map(len, weights)])
        matrix.index_ = np.concatenate(weights)
        matrix.value_ = np.concatenate(
            [row[places] for (row, _, _), places in zip(rules, weights, strict=True)]
        )
        solver = highspy.Highs()
        for name, value in _SOLVING.items():
            solver.setOptionValue(name, value)
        solver.passModel(programme)
        solver.run()
        is_optimal = solver.getModelStatus() == highspy.HighsModelStatus.kOptimal
        found = solver.getInfo()
        if found.primal_solution_status != highspy.SolutionStatus.kSolutionStatusFeasible:
            return None
        values = np.asarray(solver.getSolution().col_value)[: self.count]
        chosen = tuple(int(index) for index in np.flatnonzero(values > 0.5))
        bound = found.objective_function_value if is_optimal else found.mip_dual_bound
        return _Solution(chosen, float(bound), is_optimal)


_SOLVING: dict[str, bool | int | float | str] = {
    "output_flag": False,
    "mip_max_nodes": MOST_NODES,
    "time_limit": SECONDS_A_STAGE,
    "mip_rel_gap": 0.0,
    "parallel": "off",  # the same way on every machine
}


_Rule = tuple["NDArray[Any]", float, float]
"""A row of weights, and the least and the most that their sum may come to."""


def _numpy() -> Any:
    # Only this command needs it; `rungwise --help` starts without.
    import numpy

    return numpy
