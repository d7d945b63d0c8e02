"""What sounds of the drones in any frames of a track."""

from __future__ import annotations

import numpy as np
import pytest

from renderer.sound.drones_part import drones_part

LOOP = np.random.default_rng(3).standard_normal((7_000, 2)).astype(np.float32)
START, RATE = 500, 8_000


@pytest.mark.parametrize("steady", [True, False])
def test_frames_looked_at_are_those_that_fill_a_block(*, steady: bool) -> None:
    part = drones_part(LOOP, START, RATE, steady=steady)
    # Silence, the beginning, the loop inside, over its seam, and twice round.
    for start, frames in ((0, 400), (300, 900), (9_000, 3_000), (13_000, 2_500), (9_000, 20_000)):
        block = np.full((frames, 2), np.nan, np.float32)
        part.fill(block, start)
        np.testing.assert_array_equal(part.during(start, frames), block)


def test_frames_inside_the_loop_are_looked_at_where_they_are() -> None:
    part = drones_part(LOOP, START, RATE, steady=False)
    assert np.shares_memory(part.during(9_000, 3_000), part.tone.samples)
    np.testing.assert_array_equal(part.during(9_000, 3_000), LOOP[2_000:5_000])
