"""The page places what it plays as `expand` does: to the sample, in thousands of cases."""

from __future__ import annotations

import itertools
import random
from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from renderer.errors import RungwiseError
from renderer.notation.limits import FASTEST_TEMPO
from renderer.notation.pitch import Note
from renderer.notation.score import Exercise
from renderer.order.settings import read_settings
from renderer.order.tracks import crossing_noises, expand
from renderer.reading.exercise import read_exercise
from renderer.reading.library import shipped_exercises
from renderer.sound.frames import frame_at
from renderer.timing.loop_data import LeadIn, fits, loop_data
from renderer.timing.timeline import Role
from tests.page.node import needs_node, run

RATE = 44_100


ONE_BAR = LeadIn(1, "clicks", None)


def cases_of(
    exercise: Exercise,
    number: int,
    tempos: list[Fraction],
    rounds: int,
    *,
    lead_in: LeadIn = ONE_BAR,
    gracenotes: tuple[str, ...] = ("",),
    noises: bool = False,
    subdivide: bool = False,
) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """Return a line at tempos at which it fits, as the page gets it and as `expand` places it.

    Each with gracenotes of some lengths in milliseconds besides; nothing stands for its own.
    """
    asked, expected = [], []
    line = loop_data(exercise, number, lead_in, crossing_noises(exercise.only(number)))
    for tempo, gracenote in itertools.product(tempos, gracenotes):
        if not fits(line, tempo):
            continue
        timeline = expand(
            exercise.only(number),
            tempo,
            count_in=lead_in.bars,
            count_in_style=lead_in.style,
            introduction="none" if lead_in.introduction is None else "E",
            repeats=rounds // 2 if noises else rounds,
            show_crossing=noises,
            subdivide=subdivide,
            **({"gracenote": f"{gracenote} ms"} if gracenote else {}),
        )
        asked.append(
            {
                "line": line,
                "tempo": str(tempo),
                "rounds": rounds,
                "subdivide": subdivide,
                "gracenote": f"{gracenote}/1000" if gracenote else "",
                "noises": noises,
                "count_in": {
                    "bars": lead_in.bars,
                    "rolls": lead_in.style == "rolls",
                    "introduction": lead_in.introduction,
                },
            }
        )
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
                "rolls": [frame_at(one.start, RATE) for one in timeline.rolls],
                "drones": frame_at(timeline.drones_start, RATE),
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
        assert (theirs["rolls"], theirs["drones"]) == (ours["rolls"], ours["drones"]), where
    return sum(len(one["events"]) for one in expected)


LEAD_INS = [
    ONE_BAR,
    LeadIn(2, "clicks", None),
    LeadIn(0, "clicks", None),
    LeadIn(1, "clicks", Note.E),
    LeadIn(1, "rolls", None),
    LeadIn(1, "rolls", Note.E),
]


def whatever_a_learner_chooses(
    names: Sequence[str], tempos: int, seed: int
) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """Return lines at odd tempos, gracenotes of any length, every count-in, crossing noises."""
    odd = random.Random(seed)
    asked: list[Any] = []
    expected: list[Any] = []
    for name in names:
        exercise = read_exercise(name)
        for number in range(1, min(len(exercise.lines), 3) + 1):
            some = [Fraction(odd.randint(1_000, 20_000), 100) for _ in range(tempos)]
            some += [exercise.tempo, Fraction(odd.randint(70, 1_400), 7)]
            for tempo in some:
                found = cases_of(
                    exercise,
                    number,
                    [tempo],
                    2,
                    lead_in=odd.choice(LEAD_INS),
                    gracenotes=(odd.choice(("", str(odd.randint(20, 250)))),),
                    noises=odd.random() < 0.3,
                    subdivide=odd.random() < 0.3,
                )
                asked += found[0]
                expected += found[1]
    return asked, expected


NAMES = [one.name for one in shipped_exercises()]


@needs_node
def test_lines_are_placed_as_expand_places_them_whatever_a_learner_chooses(tmp_path: Path) -> None:
    asked, expected = whatever_a_learner_chooses(NAMES[::4], 1, 20_261_126)
    assert len(asked) > 150
    assert placed_alike(asked, expected, tmp_path) > 7_000
    roles = {role for one in expected for _, _, role, _ in one["events"]}
    assert roles == {role.value for role in Role}


@needs_node
@pytest.mark.long
def test_every_shipped_line_is_so_in_thousands_of_cases(tmp_path: Path) -> None:
    asked, expected = whatever_a_learner_chooses(NAMES, 8, 1_126)
    assert len(asked) > 3_000
    assert placed_alike(asked, expected, tmp_path) > 150_000


@needs_node
def test_notes_that_give_way_come_off_their_beats_in_the_page_too(tmp_path: Path) -> None:
    """At every tempo between the rungs, up to the fastest at which a line can be played at all."""
    odd = random.Random(19)
    asked: list[Any] = []
    expected: list[Any] = []
    moved = 0
    for shipped in shipped_exercises():
        exercise = read_exercise(shipped.name)
        for number in range(1, min(len(exercise.lines), 3) + 1):
            lead_in = odd.choice(LEAD_INS)
            line = loop_data(exercise, number, lead_in, {})
            if line["fastest"] == line["on_the_beat"]:
                continue
            slowest, fastest = Fraction(line["on_the_beat"]), Fraction(line["fastest"])
            shares = [Fraction(odd.randint(1, 99), 100), Fraction(1)]
            most = min(fastest, Fraction(FASTEST_TEMPO))
            tempos = [slowest + share * (most - slowest) for share in shares if most > slowest]
            gracenote = str(odd.randint(20, 90))
            found = cases_of(
                exercise, number, tempos, 2, lead_in=lead_in, gracenotes=("", gracenote)
            )
            asked += found[0]
            expected += found[1]
            moved += bool(found[0])
    assert moved > 40
    assert len(asked) > 120
    assert placed_alike(asked, expected, tmp_path) > 5_000


@needs_node
def test_a_page_plays_as_fast_as_a_track_can_be_and_no_faster() -> None:
    """Between the fastest tempo of a line and one a hair above it lies what `expand` refuses."""
    for name in ("reel-full", "jig-full", "reel-pointed", "two-four-march-full"):
        exercise = read_exercise(name)
        line = loop_data(exercise, 1, ONE_BAR, {})
        fastest = Fraction(line["fastest"])
        expand(exercise.only(1), fastest, repeats=2)
        with pytest.raises(RungwiseError):
            expand(exercise.only(1), fastest * Fraction(1001, 1000), repeats=2)


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
    for shipped in shipped_exercises()[::9]:
        written = read_exercise(shipped.name)
        exercise = read_settings(changed).applied_to(written)
        for number in range(1, min(len(exercise.lines), 3) + 1):
            line = loop_data(exercise, number, ONE_BAR, {})
            fastest = Fraction(line["fastest"] or 300)
            # Near the fastest tempo all that can give way does.
            tempos = [min(fastest, Fraction(300)) * Fraction(share, 100) for share in (60, 85, 100)]
            found = cases_of(exercise, number, [one for one in tempos if one >= 10], 2)
            asked += found[0]
            expected += found[1]
    assert len(asked) > 30
    assert placed_alike(asked, expected, tmp_path) > 1_500


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
