"""A track that climbs, as it is heard: where rungs begin, clicks between, and nothing else."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise

import numpy as np
import pytest
from numpy.typing import NDArray

from renderer.notation.pitch import Note
from renderer.order.tracks import expand
from renderer.sound.mix_settings import Mix
from renderer.sound.tuning import Chanter
from renderer.timing.timeline import SectionKind
from tests.sound.measuring import Samples, onsets_s
from tests.sound.playing import ALONE, doubled, exercise, instrument, levels, mixing, rendered

RATE = 44_100
RUNGS = [Fraction(90), Fraction(100), Fraction(120)]
CLIMB = expand(exercise(doubled(Note.LOW_A, Note.E, Note.B)), climb=RUNGS, repeats=2)
BEGIN_S = {
    tempo: [
        float(section.start)
        for section in CLIMB.sections
        if section.tempo == tempo and section.kind is SectionKind.LINE
    ]
    for tempo in RUNGS
}
"""When the two rounds of each rung begin."""


@pytest.fixture(scope="module")
def heard() -> Samples:
    pipes = instrument(chanter=Chanter.PIPE)
    return rendered(CLIMB, ALONE, pipes)[:, 0]


def near(found: NDArray[np.float64], at: float) -> float:
    return float(found[np.argmin(np.abs(found - at))])


def test_each_round_is_heard_to_begin_where_its_rung_says_within_3_ms(heard: Samples) -> None:
    found = onsets_s(heard, RATE)
    off_ms = [
        1000 * (near(found, begin) - begin) for begins in BEGIN_S.values() for begin in begins
    ]
    assert len(off_ms) == 6
    assert np.abs(off_ms).max() < 3, off_ms


def test_a_rung_in_a_climb_has_the_onsets_that_it_has_by_itself(heard: Samples) -> None:
    alone = expand(exercise(doubled(Note.LOW_A, Note.E, Note.B)), 120, repeats=2)
    sound = rendered(alone, ALONE, instrument(chanter=Chanter.PIPE))
    by_itself = onsets_s(sound.mean(axis=1).astype(np.float32), RATE)
    later = BEGIN_S[RUNGS[-1]][0] - float(alone.sections[1].start)
    found = onsets_s(heard, RATE)
    found = found[found > later + 1.4] - later
    by_itself = by_itself[by_itself > 1.4]
    assert len(found) == len(by_itself) > 20
    assert np.abs(found - by_itself).max() < 0.002


def test_a_bar_of_clicks_is_heard_between_rungs_at_the_tempo_that_comes(heard: Samples) -> None:
    for before, tempo in pairwise(RUNGS):
        begins = BEGIN_S[tempo][0]
        ends = BEGIN_S[before][1] + 3 * 60 / float(before)
        assert begins - ends == pytest.approx(3 * 60 / float(tempo))
        gap = heard[round(ends * RATE) : round(begins * RATE)]
        chanter_rms = np.sqrt(np.mean(heard[round((begins + 0.3) * RATE) :][: RATE // 4] ** 2))
        for beat in range(3):
            at = round(beat * 60 / float(tempo) * RATE)
            stroke, rest = gap[at : at + RATE // 40], gap[at + RATE // 4 : at + RATE // 4 + 500]
            # The loudest 25 ms of a click come near the chanter, and silence follows.
            assert np.sqrt(np.mean(stroke**2)) > 0.25 * chanter_rms
            assert np.abs(rest).max(initial=0) < 0.05 * np.abs(stroke).max()


def test_nothing_clicks_where_one_rung_goes_over_into_the_next() -> None:
    for gap in (0, 1):
        joined = expand(
            exercise(doubled(Note.LOW_A, Note.E, Note.B)), climb=RUNGS, repeats=1, gap=gap
        )
        quiet = mixing(mix=Mix.FULL, layout="mono", levels=levels(metronome=-60.0))
        sound = rendered(joined, quiet, instrument())[:, 0]
        steps = np.abs(np.diff(sound))
        joins = [
            round(float(section.start) * RATE)
            for before, section in pairwise(joined.sections)
            if before.tempo != section.tempo
        ]
        assert len(joins) == 2
        at_joins = np.zeros(len(steps), bool)
        for join in joins:
            at_joins[join - RATE // 50 : join + RATE // 50] = True
        assert steps[at_joins].max() <= 1.05 * steps[~at_joins][RATE:].max()
