"""The cache of loops: the same loops sooner, and never worse than none."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import numpy as np
import pytest

from renderer.sound import kept_files, loops
from renderer.sound.kept_loops import PlayedLoops, kept_or_played
from renderer.sound.own_soundfont import shipped_soundfont
from renderer.sound.steady import LoopSpectrum
from renderer.sound.tuning import Chanter
from renderer.sound.voices import Voice

MADE = PlayedLoops(
    (
        LoopSpectrum((np.arange(5) * (1 + 2j)).astype(np.complex64), 3, 8),
        LoopSpectrum(np.ones(3, np.complex64), 1, 4),
    ),
    ("It is out of tune: “low G” -4.",),
)


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty folder for caches."""
    place = tmp_path / "caches"
    monkeypatch.setattr(kept_files, "_folder", lambda: place)
    return place


class Making:
    """Makes loops, and counts how often it was asked to."""

    def __init__(self) -> None:
        self.times = 0

    def __call__(self) -> PlayedLoops:
        self.times += 1
        return MADE


def alike(one: PlayedLoops, other: PlayedLoops) -> bool:
    return one.remarks == other.remarks and all(
        a.bins.tobytes() == b.bins.tobytes() and (a.periods, a.frames) == (b.periods, b.frames)
        for a, b in zip(one.spectra, other.spectra, strict=True)
    )


def soundfont(tmp_path: Path, content: bytes = b"one") -> Path:
    path = tmp_path / "reeds.sf2"
    path.write_bytes(content)
    return path


def test_what_was_made_once_is_read_back_to_the_bit(folder: Path, tmp_path: Path) -> None:
    make, file = Making(), soundfont(tmp_path)
    for _ in range(3):
        assert alike(kept_or_played("nine notes", [file], make), MADE)
    assert make.times == 1
    assert len(list(folder.iterdir())) == 1


def test_a_shipped_chanter_from_the_cache_is_the_one_that_fluidsynth_plays(folder: Path) -> None:
    voice = Voice(shipped_soundfont(), 0, 0)
    loops.nine_notes.cache_clear()
    first = loops.nine_notes(voice, Chanter.PRACTICE)
    loops.nine_notes.cache_clear()
    assert alike(loops.nine_notes(voice, Chanter.PRACTICE), first)
    assert len(list(folder.iterdir())) == 1


def test_other_notes_other_bytes_or_another_program_are_made_anew(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    make, file = Making(), soundfont(tmp_path)
    kept_or_played("nine notes", [file], make)
    kept_or_played("drones", [file], make)
    assert make.times == 2
    # Of the same length, within the same second: by its time of change in nanoseconds.
    before = file.stat()
    file.write_bytes(b"two")
    os.utime(file, ns=(before.st_atime_ns, before.st_mtime_ns + 1))
    kept_or_played("drones", [file], make)
    assert make.times == 3
    monkeypatch.setattr(kept_files, "_program", lambda: b"another")
    kept_or_played("drones", [file], make)
    assert make.times == 4


def test_a_file_damaged_anywhere_costs_time_only(folder: Path, tmp_path: Path) -> None:
    make, file = Making(), soundfont(tmp_path)
    kept_or_played("nine notes", [file], make)
    (kept,) = folder.iterdir()
    whole = kept.read_bytes()
    damaged = [whole[:at] for at in range(0, len(whole), 7)]
    damaged += [whole[:at] + bytes([whole[at] ^ 1]) + whole[at + 1 :] for at in range(len(whole))]
    for content in [*damaged, whole + b"x", b"\0" * 500]:
        kept.write_bytes(content)
        times = make.times
        assert alike(kept_or_played("nine notes", [file], make), MADE)
        assert make.times == times + 1
        assert kept.read_bytes() == whole


def test_without_a_place_to_keep_them_loops_are_made_each_time(
    folder: Path, tmp_path: Path
) -> None:
    folder.write_text("a file where the folder should be")
    make, file = Making(), soundfont(tmp_path)
    for times in (1, 2):
        assert alike(kept_or_played("nine notes", [file], make), MADE)
        assert make.times == times


def test_what_goes_wrong_is_not_kept(folder: Path, tmp_path: Path) -> None:
    def fails() -> PlayedLoops:
        raise ValueError("no pitch")

    with pytest.raises(ValueError, match="no pitch"):
        kept_or_played("nine notes", [soundfont(tmp_path)], fails)
    assert not folder.exists()


def test_the_oldest_go_once_there_are_too_many(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    make, file = Making(), soundfont(tmp_path)
    for number in range(4):
        kept_or_played(f"preset {number}", [file], make)
        for age, one in enumerate(sorted(folder.iterdir(), key=lambda one: one.stat().st_mtime_ns)):
            os.utime(one, ns=(age, age))
    size = next(folder.iterdir()).stat().st_size
    # What was used last counts, not what was made last.
    kept_or_played("preset 0", [file], make)
    monkeypatch.setattr(kept_files, "MOST_BYTES", 3 * size)
    kept_or_played("preset 4", [file], make)
    assert len(list(folder.iterdir())) == 3
    assert make.times == 5
    kept_or_played("preset 0", [file], make)
    assert make.times == 5
    shutil.rmtree(folder)
