"""Loops of a line, of bars, of a movement with its neighbours: no gap, no drift, no seam."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from renderer.order.tracks import expand
from renderer.reading.exercise import read_exercise
from renderer.sound.frames import frame_at
from renderer.timing.loop_data import LeadIn, fits, loop_data
from tests.page.node import needs_node, run
from tests.page.pages import difference_db, matched, page_of, track_of

RATE = 44_100
COUNT_IN = {"bars": 1, "rolls": False, "introduction": None}
ROUNDS = 5
LINES = [
    ("doublings-opened", 1),
    ("movements-off-the-beat", 1),
    ("two-four-march-full", 2),
    ("jig-full", 1),
    ("crunluaths", 1),
    ("birls-in-time", 2),
]


def told(cases: list[dict[str, Any]], tmp_path: Path) -> Any:
    common = {"rounds": ROUNDS, "subdivide": False, "gracenote": "", "noises": False}
    asked = [common | {"count_in": COUNT_IN} | one for one in cases]
    return run("places.mjs", {"cases": asked, "rate": RATE}, tmp_path)


@needs_node
def test_a_loop_of_bars_is_placed_as_a_track_of_those_bars_is(tmp_path: Path) -> None:
    """To the sample, ornaments that lead into the loop's first bar included."""
    cases: list[dict[str, Any]] = []
    expected = []
    for name, number in LINES:
        exercise = read_exercise(name)
        line = loop_data(exercise, number, LeadIn(1, "clicks", None), {})
        count = max(bar["written"] for bar in line["bars"])
        for first, last in {(1, 1), (1, 2), (2, 2), (2, count), (count, count)}:
            if not 1 <= first <= last <= count:
                continue
            for tempo in (Fraction(46), Fraction(173, 3)):
                cases.append({"line": line, "tempo": str(tempo), "bars": [first, last]})
                timeline = expand(
                    exercise, tempo, line=number, bars=f"{first}-{last}", repeats=ROUNDS
                )
                expected.append(
                    [[frame_at(one.start, RATE), one.role.value, one.note_id] for one in timeline]
                )
    assert len(cases) > 40
    for case, ours, theirs in zip(cases, expected, told(cases, tmp_path), strict=True):
        found = [[start, role, name] for start, _, role, name in theirs["events"]]
        assert found == ours, (case["line"]["soundings"][0]["id"], case["bars"], case["tempo"])


@needs_node
def test_a_movement_is_looped_with_its_neighbours_and_nothing_else(tmp_path: Path) -> None:
    cases: list[dict[str, Any]] = []
    for name, number in LINES:
        line = loop_data(read_exercise(name), number, LeadIn(1, "clicks", None), {})
        written = {at: bar["written"] for at, bar in enumerate(line["bars"], start=1)}
        for tempo in (Fraction(53), Fraction(1_210, 13)):
            if fits(line, tempo):
                cases += [
                    {"line": line, "tempo": str(tempo), "note": [written[bar], item]}
                    for bar, item, _ in line["items"]
                ]
    assert len(cases) > 100
    for case, theirs in zip(cases, told(cases, tmp_path), strict=True):
        items = case["line"]["items"]
        bars = case["line"]["bars"]
        at = next(
            n
            for n, (bar, item, _) in enumerate(items)
            if [bars[bar - 1]["written"], item] == case["note"]
        )
        neighbours = items[max(0, at - 1) : at + 2]
        names = {
            one["id"]
            for one in case["line"]["soundings"]
            if [one["bar"], one["item"]] in [[bar, item] for bar, item, _ in neighbours]
        }
        events = theirs["events"]
        # Nothing is missing between them, and nothing overlaps.
        assert all(one[1] == then[0] for one, then in pairwise(events))
        assert {name for _, _, role, name in events if role not in ("gracenote", "rest")} <= names
        # Each round is as long as its notes are written, to the sample.
        end = items[at + 2][2] if at + 2 < len(items) else case["line"]["beats"]
        beats = Fraction(end) - Fraction(neighbours[0][2])
        lasts = 60 * beats / Fraction(case["tempo"])
        (_, counted_in), *rounds = theirs["sections"]
        first = Fraction(counted_in, RATE)
        for n, (start, stop) in enumerate(rounds):
            assert abs(start - frame_at(first + n * lasts, RATE)) <= 1
            assert stop == (rounds[n + 1][0] if n + 1 < len(rounds) else events[-1][1])
        # The same in each round.
        turns: list[list[tuple[int, str]]] = [
            [(end_ - begin, name) for begin, end_, _, name in events if start <= begin < stop]
            for start, stop in rounds[1:-1]
        ]
        for turn in turns[1:]:
            assert [name for _, name in turn] == [name for _, name in turns[0]]
            assert all(
                abs(one[0] - other[0]) <= 1 for one, other in zip(turn, turns[0], strict=True)
            )


def heard_of(
    page: Path, tmp_path: Path, tempo: str, rounds: int, uneven: int
) -> tuple[Any, NDArray[np.float32], NDArray[np.float32]]:
    """Return what the page's modules tell of a line, the whole (frames, 2), and the chanter."""
    out, chanter = tmp_path / "out.f32", tmp_path / "chanter.f32"
    usual = {"page": str(page), "form": "written", "tempo": tempo, "cents": 0}
    asked = {"rounds": rounds, "uneven": uneven, "out": str(out), "chanter": str(chanter)}
    plain = run("play.mjs", usual | asked, tmp_path)
    return plain, np.fromfile(out, "<f4").reshape(-1, 2), np.fromfile(chanter, "<f4")


SHORT = """
title = "A short turn"
meter = "2/4"
tempo = 171.3
[[lines]]
abc = "{gBd}B4{g}c4 |]"
"""
TURNS = 200


@needs_node
def test_two_hundred_rounds_sound_as_a_track_of_them_without_gap_or_drift(tmp_path: Path) -> None:
    page = page_of(SHORT, tmp_path)
    ours = track_of(SHORT, tmp_path, "--repeats", str(TURNS))
    plain, theirs, chanter = heard_of(page, tmp_path, "171.3", TURNS, 1_777)
    # However it is cut into pieces, no sample differs.
    _, again, _ = heard_of(page, tmp_path, "171.3", 20, 40_009)
    same = plain["sections"][20]
    assert np.array_equal(again[:same], theirs[:same])
    assert len(theirs) == len(ours)
    # The count-in, then round after round at its very frame.
    beat = 60 / Fraction("171.3")
    assert plain["sections"] == [0] + [frame_at((2 + 2 * n) * beat, RATE) for n in range(TURNS)]
    # The last rounds are as near to the track's as the first: nothing has drifted.
    for first, last in ((0, 10), (95, 105), (190, 199)):
        piece = slice(plain["sections"][1 + first], plain["sections"][1 + last])
        heard, louder_db = matched(theirs[piece].astype(np.float64), ours[piece])
        assert abs(louder_db) < 1.5
        assert difference_db(heard, ours[piece]) < -60, first
    # The chanter never stops: in any 4 ms it is heard about as much as in any other.
    sounding = chanter[plain["sections"][1] + 500 :].astype(np.float64)
    size = len(sounding) // 176 * 176
    power = np.mean(sounding[:size].reshape(-1, 176) ** 2, axis=1)
    assert power.min() > 0.05 * np.median(power)


@needs_node
@pytest.mark.parametrize("tempo", ["60", "171.3"])
def test_where_a_line_wraps_its_tones_are_in_phase(tempo: str, tmp_path: Path) -> None:
    """A note that is held over the seam of 20 rounds has none: its tone runs on to the sample.

    No round is a whole number of its periods, so a loop of one round would have to jump there.
    """
    text = SHORT.replace("{gBd}B4{g}c4", "B8").replace("171.3", tempo)
    plain, _, chanter = heard_of(page_of(text, tmp_path), tmp_path, tempo, 20, 1_777)
    loop = plain["loops"]["B"]
    begins = plain["sections"][1] + 200
    ends = plain["sections"][20]
    assert all((then - one) % loop for one, then in pairwise(plain["sections"][1:]))
    assert ends - begins > 2 * loop
    held = chanter[begins:ends]
    assert np.array_equal(held[loop:], held[:-loop])
