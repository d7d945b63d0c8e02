"""The clock that the picture follows: even, however coarse the browser's own is."""

from __future__ import annotations

import random
from itertools import pairwise
from pathlib import Path

import pytest

from tests.page.node import needs_node, run

FRAME_MS = 1_000 / 60


def readings(
    buffer_ms: float, seconds: int, held_up: tuple[int, int] = (0, 0)
) -> list[tuple[float, float]]:
    """Return what a browser's clock says (seconds) and when (milliseconds), frame by frame.

    It leaps over a buffer as soon as it plays, told a little late; between the two moments of
    `held_up` the script is, and hears of no leap until it has drawn the first frame after.
    """
    odd = random.Random(19)
    begin, end = held_up
    found: list[tuple[float, float]] = []
    at = 0.0
    while at < 1_000 * seconds:
        at += FRAME_MS + odd.uniform(-2, 2)
        if begin < at < end:
            continue
        told = begin if found and at - found[-1][1] > 100 else at
        played = int(max(0.0, told - odd.uniform(0, 3)) // buffer_ms)
        found.append(((played + 1) * buffer_ms / 1_000, at))
    return found


@needs_node
@pytest.mark.parametrize("buffer_ms", [3, 10, 46, 93, 230])
def test_it_runs_evenly_whatever_buffers_the_browser_s_own_leaps_over(
    buffer_ms: float, tmp_path: Path
) -> None:
    told = readings(buffer_ms, 60)
    (heard,) = run("clock.mjs", [told], tmp_path)
    assert heard == sorted(heard)
    # What plays is what the clock said before it leapt.
    late = [ms - 1_000 * seconds for (_, ms), seconds in zip(told, heard, strict=True)]
    settled = late[round(2 * buffer_ms / FRAME_MS) + 1 :]
    assert max(settled) < 6
    assert min(settled) > -FRAME_MS - 3
    # The browser's own is further off.
    own = [ms - 1_000 * seconds for seconds, ms in told]
    assert max(own) - min(own) > 0.8 * buffer_ms


@needs_node
def test_a_script_that_is_held_up_makes_it_no_later(tmp_path: Path) -> None:
    told = readings(10, 10, held_up=(4_000, 5_500))
    (heard,) = run("clock.mjs", [told], tmp_path)
    for (_, ms), seconds in zip(told, heard, strict=True):
        if ms > 5_500 + 2 * FRAME_MS:
            assert abs(ms - 1_000 * seconds) < 30


@needs_node
def test_it_waits_where_the_sound_does_and_never_runs_back(tmp_path: Path) -> None:
    """Held by a pause, or by a device that lost its breath."""
    even = readings(20, 4)
    last, at = even[-1]
    still = [(last, at + n * FRAME_MS) for n in range(1, 200)]
    after = [(seconds + last, ms + still[-1][1]) for seconds, ms in even]
    told = even + still + after
    (heard,) = run("clock.mjs", [told], tmp_path)
    assert all(one <= then for one, then in pairwise(heard))
    assert heard[len(even) + len(still) - 1] <= last
    # And goes on from there, with the sound.
    for (seconds, _), found in zip(told[-60:], heard[-60:], strict=True):
        assert abs(seconds - found) < 0.04


@needs_node
def test_a_sound_that_catches_up_is_caught_up_with(tmp_path: Path) -> None:
    """A device that is served late for once leaps further the next time."""
    told = [
        (seconds - 0.15 if 3_000 < ms < 3_150 else seconds, ms) for seconds, ms in readings(10, 6)
    ]
    (heard,) = run("clock.mjs", [told], tmp_path)
    for (_, ms), seconds in zip(told, heard, strict=True):
        if ms > 4_500:
            assert abs(ms - 1_000 * seconds) < 20
