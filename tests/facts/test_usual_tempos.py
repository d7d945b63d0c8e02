"""The shipped marches, strathspeys, reels and jigs at the tempos that pipers play them.

Source: common practice, beats a minute: march in 2/4 60 to 70, in 6/8 70 to 88, strathspey 110 to
124, reel 70 to 84 (minims), jig 100 to 120. `tests.benchmarks.bench_tunes` counts the same for
folders of tunes: all of 535 tunes of three public collections play at the upper of these tempos.
"""

from __future__ import annotations

from fractions import Fraction

import pytest

from renderer.notation.limits import LEAST_GRACENOTE_MS, LEAST_SOUNDING_MS
from renderer.order.tracks import expand
from renderer.reading.exercise import read_exercise
from renderer.timing.timeline import Role

MS = Fraction(1, 1000)


@pytest.mark.parametrize(
    ("name", "tempo"),
    [
        ("two-four-march-full", 70),
        ("six-eight-march-full", 88),
        ("strathspey-full", 124),
        ("strathspey-snaps", 124),
        ("reel-full", 84),
        ("reel-pointed", 84),
        ("jig-full", 120),
    ],
)
def test_dance_music_plays_at_its_usual_tempo(name: str, tempo: int) -> None:
    exercise = read_exercise(name)
    timeline = expand(exercise, tempo)
    asked = exercise.gracenotes.length.value * MS
    for event in timeline:
        if event.role is Role.GRACENOTE:
            assert LEAST_GRACENOTE_MS * MS <= event.length <= asked
        elif event.note is not None:
            assert event.length >= LEAST_SOUNDING_MS * MS
    said = [remark for remark in timeline.remarks if "shortened" in remark]
    assert len(said) <= 1
    lengths = {event.length for event in timeline if event.role is Role.GRACENOTE}
    assert lengths == {asked} or said


def test_at_the_tempo_of_the_class_every_gracenote_has_its_full_length() -> None:
    exercise = read_exercise("reel-full")
    events = [event for event in expand(exercise) if event.role is Role.GRACENOTE]
    assert {event.length for event in events} == {exercise.gracenotes.length.value * MS}
