"""Reading a tone between its frames loses nothing that anybody hears."""

from __future__ import annotations

import numpy as np
import pytest

from renderer.sound.vibrato import REACH, read_between

RATE = 44_100


@pytest.mark.parametrize("hz", [110.0, 466.16, 2_000.0, 8_000.0, RATE / 4])
def test_a_tone_read_between_its_frames_is_the_tone_that_it_was(hz: float) -> None:
    frames = np.arange(RATE)
    tone = np.sin(2 * np.pi * hz * frames / RATE).astype(np.float32)
    places = frames[REACH:-REACH] + 0.7 * np.sin(frames[REACH:-REACH] / 1_000.0)
    places = np.clip(places, REACH, RATE - 1 - REACH)
    error = read_between(tone, places) - np.sin(2 * np.pi * hz * places / RATE)
    assert 20 * np.log10(np.abs(error).max()) < -80


def test_a_tone_read_at_its_frames_is_unchanged() -> None:
    tone = np.random.default_rng(1).normal(size=1_000).astype(np.float32)
    places = np.arange(REACH, 1_000 - REACH)
    again = read_between(tone, places.astype(float))
    assert np.array_equal(again.astype(np.float32), tone[REACH:-REACH])
