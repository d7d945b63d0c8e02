"""An instrument that is not wanted any more is broken off between two notes, in all its parts."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from renderer.delivery.render import (
    Handle,
    RenderingStoppedError,
    StoppedError,
    render_jobs,
    render_track,
)
from renderer.order.jobs import plan_tracks
from renderer.sound import bank, kept_files, loops
from renderer.sound.bank import drone_bank, percussion, tone_bank
from renderer.sound.instrument import make_instrument
from renderer.sound.loops import drones, nine_notes
from renderer.sound.synth import SoundFontPlayer
from renderer.sound.tuning import Chanter, parse_pitch, scale_named
from tests.delivery.disks import names_in
from tests.delivery.larkmoor import asked, doublings

CACHED = (tone_bank, drone_bank, percussion, nine_notes, drones)
PLAYED = 9 + 2 + 6
"""Notes, drones and strokes."""


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """An empty folder for caches, and nothing in this process's memory."""
    place = tmp_path / "caches"
    monkeypatch.setattr(kept_files, "_folder", lambda: place)
    for one in CACHED:
        one.cache_clear()
    yield place
    for one in CACHED:
        one.cache_clear()


@pytest.fixture
def played(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """The keys that FluidSynth plays, as they come."""
    keys: list[int] = []
    play = SoundFontPlayer.play

    def noted(self: SoundFontPlayer, bank: int, program: int, key: int, frames: int) -> Any:
        keys.append(key)
        return play(self, bank, program, key, frames)

    monkeypatch.setattr(SoundFontPlayer, "play", noted)
    return keys


class EnoughError(Exception):
    """What ends the work."""


def instrument(go_on: Any) -> None:
    make_instrument(
        parse_pitch("A"), scale_named(), Chanter.PRACTICE, rate=8_000, steady=False, go_on=go_on
    )


@pytest.mark.parametrize("enough", [0, 1, 8, 9, 10, 11, 12, PLAYED - 1])
def test_no_note_is_played_once_the_instrument_is_not_wanted(
    enough: int, folder: Path, played: list[int]
) -> None:
    def go_on() -> None:
        if len(played) >= enough:
            raise EnoughError

    with pytest.raises(EnoughError):
        instrument(go_on)
    assert len(played) == enough
    instrument(lambda: None)
    if enough >= 12:
        assert len(played) == enough + 6, "notes and drones were whole, and are kept"


def test_no_tone_is_made_of_a_loop_once_the_instrument_is_not_wanted(
    folder: Path, played: list[int], monkeypatch: pytest.MonkeyPatch
) -> None:
    instrument(lambda: None)
    assert len(played) == PLAYED
    for path in folder.glob("*.bank"):
        path.unlink()
    made: list[str] = []
    for module, name in ((bank, "retuned"), (bank, "breathing"), (loops, "spectrum_of")):
        before = getattr(module, name)

        def noted(*given: Any, before: Any = before, name: str = name, **more: Any) -> Any:
            made.append(name)
            return before(*given, **more)

        monkeypatch.setattr(module, name, noted)

    def broken_off_after(asked_for: int) -> int:
        for one in CACHED:
            one.cache_clear()
        made.clear()
        left = iter(range(asked_for))

        def go_on() -> None:
            if next(left, None) is None:
                made.append("enough")
                raise EnoughError

        with pytest.raises(EnoughError):
            instrument(go_on)
        assert made.pop() == "enough"
        return len(made)

    counts = [broken_off_after(number) for number in range(12)]
    assert counts[0] == 0
    assert all(later - earlier <= 2 for earlier, later in pairwise(counts))
    assert counts[-1] > 5


@pytest.mark.parametrize("enough", [10, 100, 1_000])
def test_the_events_of_a_long_track_are_gone_through_no_further(
    enough: int, tmp_path: Path
) -> None:
    settings = asked(format="wav", rate=8_000, repeats=200)
    (job,) = plan_tracks(doublings(), tmp_path, settings)
    assert sum(1 for _ in job.timeline()) > 1_000
    asks = 0

    def is_stopped() -> bool:
        nonlocal asks
        asks += 1
        return asks > enough

    with pytest.raises(StoppedError):
        render_track(job, is_stopped, lambda frames: None)
    assert asks == enough + 1
    assert names_in(tmp_path) == []


def test_a_track_that_is_cancelled_while_its_instrument_is_made_is_made_no_further(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    handle, keys = Handle(), []
    play = SoundFontPlayer.play

    def cancelled_at_the_third(
        self: SoundFontPlayer, bank: int, program: int, key: int, frames: int
    ) -> Any:
        keys.append(key)
        if len(keys) == 3:
            handle.cancel()
        return play(self, bank, program, key, frames)

    monkeypatch.setattr(SoundFontPlayer, "play", cancelled_at_the_third)
    settings = asked(pitch=["A", "B flat"], format="wav", rate=8_000)
    jobs = plan_tracks(doublings(), tmp_path / "out", settings)
    with pytest.raises(RenderingStoppedError):
        render_jobs(jobs, workers=2, handle=handle)
    assert len(keys) == 3, "neither this track's other notes nor the other track's"
    assert names_in(tmp_path / "out") == []
    assert not folder.exists()
