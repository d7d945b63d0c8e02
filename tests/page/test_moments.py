"""The page places what it plays as `expand` does: to the sample, in thousands of cases."""

from __future__ import annotations

import random
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from renderer.errors import RungwiseError
from renderer.notation.score import Exercise
from renderer.order.settings import read_settings
from renderer.order.tracks import expand
from renderer.reading.exercise import read_exercise
from renderer.reading.library import shipped_exercises
from renderer.sound.frames import frame_at
from renderer.timing.loop_data import fits, loop_data
from tests.page.node import needs_node, run

RATE = 44_100


def cases_of(
    exercise: Exercise, number: int, tempos: list[Fraction], rounds: int, *, subdivide: bool = False
) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """Return a line at tempos at which it fits, as the page gets it and as `expand` places it."""
    asked, expected = [], []
    line = loop_data(exercise, number, tempos)
    for tempo in tempos:
        if not fits(line, tempo):
            continue
        timeline = expand(
            exercise.only(number), tempo, count_in=1, repeats=rounds, subdivide=subdivide
        )
        plain = {"line": line, "tempo": str(tempo), "rounds": rounds, "subdivide": subdivide}
        asked.append(plain)
        expected.append(
            {
                "events": [
                    [
                        frame_at(event.start, RATE),
                        frame_at(event.end, RATE),
                        event.role.value,
                        event.note_id,
                    ]
                    for event in timeline
                ],
                "clicks": [
                    [frame_at(one.start, RATE), one.kind.value] for one in timeline.clicks()
                ],
            }
        )
    return asked, expected


def placed_alike(asked: list[Any], expected: list[Any], tmp_path: Path) -> int:
    """Fail at the first case in which the page differs; return how many events were compared."""
    told = run("places.mjs", {"cases": asked, "rate": RATE}, tmp_path)
    for case, ours, theirs in zip(asked, expected, told, strict=True):
        where = f"{case['tempo']} beats a minute, {case['line']['soundings'][0]['id']}"
        assert theirs["events"] == ours["events"], where
        assert sorted(theirs["clicks"]) == sorted(ours["clicks"]), where
    return sum(len(one["events"]) for one in expected)


@needs_node
def test_every_shipped_line_is_placed_as_expand_places_it_at_odd_tempos(tmp_path: Path) -> None:
    odd = random.Random(20_261_126)
    asked: list[Any] = []
    expected: list[Any] = []
    for shipped in shipped_exercises():
        exercise = read_exercise(shipped.name)
        for number in range(1, min(len(exercise.lines), 3) + 1):
            tempos = [Fraction(odd.randint(1_000, 20_000), 100) for _ in range(2)]
            tempos += [exercise.tempo, Fraction(odd.randint(70, 1_400), 7)]
            found = cases_of(exercise, number, tempos, 2, subdivide=odd.random() < 0.3)
            asked += found[0]
            expected += found[1]
    assert len(asked) > 1_000
    assert placed_alike(asked, expected, tmp_path) > 50_000


@needs_node
@pytest.mark.parametrize(
    "changed",
    [
        {"inner": "even"},
        {"inner": "200 ms"},
        {"gracenote": "100 ms", "placement": "before the beat"},
        {"beat": "first"},
        {"beat": "last", "inner": "80 ms"},
    ],
    ids=str,
)
def test_movements_that_are_shortened_to_fit_are_so_in_the_page_too(
    changed: dict[str, str], tmp_path: Path
) -> None:
    asked: list[Any] = []
    expected: list[Any] = []
    for shipped in shipped_exercises()[::5]:
        written = read_exercise(shipped.name)
        exercise = read_settings(changed).applied_to(written)
        for number in range(1, min(len(exercise.lines), 3) + 1):
            try:
                fastest = Fraction(loop_data(exercise, number)["fastest"] or 300)
            except RungwiseError:
                continue
            # Near the fastest tempo all that can give way does.
            tempos = [min(fastest, Fraction(300)) * Fraction(share, 100) for share in (60, 85, 100)]
            found = cases_of(exercise, number, [one for one in tempos if one >= 10], 2)
            asked += found[0]
            expected += found[1]
    assert len(asked) > 60
    assert placed_alike(asked, expected, tmp_path) > 3_000


@needs_node
def test_two_hundred_rounds_drift_by_no_sample(tmp_path: Path) -> None:
    exercise = read_exercise("doublings-opened")
    asked, expected = cases_of(exercise, 1, [Fraction(173, 3)], 200)
    assert placed_alike(asked, expected, tmp_path) > 6_000


TUNE = """
title = "Larkmoor turns"
meter = "2/4"
[[lines]]
abc = "B |: {g}A2 {d}A{e}A | {gBd}B3 c :| [Q:1/4=80] {g}d2 {Gdc}d2 |]"
"""


@needs_node
def test_pickups_repeats_and_changes_of_tempo_are_placed_alike(tmp_path: Path) -> None:
    path = tmp_path / "turns.toml"
    path.write_text(TUNE)
    exercise = read_exercise(str(path))
    tempos = [Fraction(40), Fraction(1_333, 20), Fraction(60)]
    asked, expected = [], []
    for tempo in tempos:
        # A tune is repeated as a whole: one round of it is one turn.
        found = cases_of(exercise, 1, [tempo], 1)
        asked += found[0]
        expected += found[1]
    assert placed_alike(asked, expected, tmp_path) > 30
