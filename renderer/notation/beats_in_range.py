"""Tempos and meters of a score that no player needs, made ones that can be counted.

A mark of 1600 quarter notes a minute is passed over. A bar of 2/64 has a beat that would come 960
times a minute where a quarter note comes 60 times; such a bar is counted in another meter. Tempos
are in quarter notes a minute.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from math import ceil

from renderer.notation.limits import FASTEST_TEMPO, LARGEST_COUNT, SLOWEST_TEMPO
from renderer.notation.score import Meter
from renderer.notation.written import QUARTER, Measure

USUAL_TEMPO = Fraction(60)
"""Beats per minute of a score without a tempo mark."""
MOST_NAMED = 5
"""Marks and meters that are named one by one."""
_FINEST_USUAL_UNIT = 16
"""Of a meter that gives a score without a tempo mark its beat (judgement)."""


def _is_in_range(quarters: Fraction, beat: Fraction) -> bool:
    return SLOWEST_TEMPO <= quarters * QUARTER / beat <= FASTEST_TEMPO


def _first_capital(place: str) -> str:
    return place[:1].upper() + place[1:]


class _Suiter:
    def __init__(self, usual_quarters: Fraction) -> None:
        self.remarks: list[str] = []
        self._usual_quarters = usual_quarters
        self._counts = {"marks": 0, "meters": 0}
        self._quarters: Fraction | None = None
        self._before: Meter | None = None

    def _say(self, kind: str, said: str, more: str) -> None:
        self._counts[kind] += 1
        self.remarks.append(said if self._counts[kind] <= MOST_NAMED else more)

    def _is_playable(self, quarters: Fraction, measure: Measure) -> bool:
        beat = QUARTER if measure.meter is None else measure.meter.beat_value
        if _is_in_range(quarters, beat) or _is_in_range(quarters, QUARTER):
            return True
        self._say(
            "marks",
            f"The tempo mark in {measure.place}, {float(quarters):g} quarter notes a minute, is "
            f"passed over: tempos are {SLOWEST_TEMPO} to {FASTEST_TEMPO} beats a minute.",
            "More tempo marks that are out of range are passed over.",
        )
        return False

    def _with_playable_marks(self, measure: Measure) -> Measure:
        if measure.tempo is not None and not self._is_playable(measure.tempo, measure):
            measure = replace(measure, tempo=None)
        if measure.tempos_inside:
            inside = tuple(
                mark for mark in measure.tempos_inside if self._is_playable(mark[1], measure)
            )
            measure = replace(measure, tempos_inside=inside)
        return measure

    def _in_countable_meter(self, measure: Measure) -> Measure:
        meter, length = measure.meter, measure.length
        quarters = [self._quarters, *(mark for _, mark in measure.tempos_inside)]
        tempos = [tempo for tempo in quarters if tempo is not None]
        beat = QUARTER if meter is None else meter.beat_value
        if meter is None or all(_is_in_range(tempo, beat) for tempo in tempos):
            return measure
        before = self._before
        if before is not None and length <= before.length:
            found = before
        else:
            found = Meter(max(1, ceil(max(length, meter.length) / QUARTER)), 4)
        if found.count > LARGEST_COUNT or not all(
            _is_in_range(tempo, found.beat_value) for tempo in tempos
        ):
            return measure
        self._say(
            "meters",
            f"{_first_capital(measure.place)}, in {meter}, is counted in {found}: at this tempo "
            f"a beat of {meter} is none that one counts.",
            "More bars are counted in another meter, for the sake of their beat.",
        )
        return replace(measure, meter=found)

    def add(self, measure: Measure) -> Measure:
        measure = self._with_playable_marks(measure)
        self._quarters = measure.tempo or self._quarters
        if measure.notes:
            if self._quarters is None:
                self.remarks.append("The score has no tempo mark: 60 beats a minute are taken.")
                self._quarters = self._usual_quarters
                measure = replace(measure, tempo=self._quarters)
            measure = self._in_countable_meter(measure)
            self._before = measure.meter
        if measure.tempos_inside:
            self._quarters = measure.tempos_inside[-1][1]
        return measure


def _usual_quarters(measures: Sequence[Measure]) -> Fraction:
    """The tempo of a score that has no mark: 60 beats of its first usual meter."""
    meters = [measure.meter for measure in measures if measure.notes and measure.meter]
    usual = (meter for meter in meters if meter.unit <= _FINEST_USUAL_UNIT)
    beat = next((meter.beat_value for meter in usual), QUARTER)
    return USUAL_TEMPO * beat / QUARTER


def with_beats_in_range(measures: Sequence[Measure]) -> tuple[list[Measure], list[str]]:
    """Return measures whose tempo marks and beats can be played, and what was changed, as remarks.

    The first notes have a tempo mark: the usual one where the score has none there.
    """
    suiter = _Suiter(_usual_quarters(measures))
    return [suiter.add(measure) for measure in measures], suiter.remarks
