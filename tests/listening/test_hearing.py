"""Chanters of known tuning, synthesised, and what is heard of them: a sample of the benchmark's."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest

from renderer.errors import WrongValueError
from renderer.listening.drones import beats_of
from renderer.notation.pitch import Note
from tests.listening.chanters import Case, Sounding, Tuning, random_tuning, sound_of
from tests.listening.compared import compared, heard_in

CASES = {
    "at 40 dB": Case(1, snr_db=40),
    "at 10 dB": Case(2, snr_db=10),
    "with drones at 15 dB": Case(4, snr_db=15, drones=True),
    "a practice chanter at 8 kHz": Case(9, rate=8_000, practice=True),
    "in a hall": Case(5, room_s=2.0),
    "in a hall with drones": Case(16, room_s=1.0, drones=True, snr_db=15),
}


@pytest.mark.parametrize("name", CASES)
def test_every_note_of_a_chanter_is_heard_at_its_pitch(name: str) -> None:
    case = CASES[name]
    result = compared(case)
    assert result.chanter.is_practice == result.tuning.is_practice
    assert len(result.errors) == 9
    allowed = 2.0 if case.drones else 0.5 if case.snr_db <= 10 else 0.1
    assert np.median(np.abs(result.errors)) < allowed
    assert np.max(np.abs(result.errors)) < 3 * allowed
    assert result.wrong <= 0.02 * result.soundings


@pytest.mark.parametrize("suffix", [".mp3", ".m4a", ".opus"])
def test_phones_formats_cost_less_than_a_tenth_of_a_cent(suffix: str, tmp_path: Path) -> None:
    result = compared(Case(3, snr_db=20), by=tmp_path / f"chanter{suffix}")
    assert np.median(np.abs(result.errors)) < 0.1
    assert np.max(np.abs(result.errors)) < 0.3
    assert result.wrong == 0


def test_drones_are_heard_to_a_hundredth_of_a_hertz_and_so_are_their_beats() -> None:
    result = compared(Case(21, drones=True, snr_db=15))
    drones, (bass, *tenors) = result.chanter.drones, result.tuning.drones_hz
    assert drones is not None and drones.bass_hz is not None
    assert drones.bass_hz == pytest.approx(bass, abs=0.01)
    assert drones.tenors_hz == pytest.approx(sorted(tenors), abs=0.01)
    beats = {(b.first, b.second): b.rate_hz for b in beats_of(drones, result.chanter.low_a_hz)}
    assert beats["lower tenor", "higher tenor"] == pytest.approx(
        abs(tenors[0] - tenors[1]), abs=0.02
    )
    assert beats["bass", "low A"] == pytest.approx(abs(4 * bass - result.tuning.low_a_hz), abs=0.05)


def one_by_one(tuning: Tuning, notes: Sequence[Note], seconds: float = 1.5) -> np.ndarray:
    played = [Sounding(note, tuning.hz[note], seconds) for note in notes]
    sound, _ = sound_of(played, 44_100, np.random.default_rng(7))
    return sound


def test_low_a_alone_is_enough_for_a_pitch() -> None:
    tuning = random_tuning(np.random.default_rng(11), practice=False)
    heard = heard_in(one_by_one(tuning, [Note.LOW_A] * 2), 44_100)
    assert heard.low_a_hz == pytest.approx(tuning.low_a_hz, rel=1e-5)
    assert [one.note for one in heard.notes if one.is_heard] == [Note.LOW_A]
    assert heard.scale.name == "harmonic"
    assert "Not heard: low G, B, C, D, E, F, high G, high A" in heard.remarks[0]


def test_a_note_that_is_missing_is_taken_from_the_nearest_scale_and_that_is_said() -> None:
    tuning = random_tuning(np.random.default_rng(12), practice=False)
    notes = [note for note in Note if note is not Note.F]
    heard = heard_in(one_by_one(tuning, notes + notes[::-1]), 44_100)
    missing = heard.notes[Note.F]
    assert missing.confidence == "missing"
    assert missing.hz == pytest.approx(heard.low_a_hz * heard.scale.ratio(Note.F))
    assert "Not heard: F" in heard.remarks[0]


def test_notes_too_few_to_tell_which_they_are_are_refused() -> None:
    tuning = random_tuning(np.random.default_rng(13), practice=False)
    with pytest.raises(WrongValueError, match="low A is not"):
        heard_in(one_by_one(tuning, [Note.D, Note.HIGH_G] * 3), 44_100)


def test_an_hour_takes_no_more_memory_than_a_minute() -> None:
    from renderer.listening.hearing import Hearing

    sound, *_ = Case(8, rate=8_000, least_seconds=24).make()
    hearing = Hearing(8_000)
    held = []
    for _ in range(6):
        hearing.take(sound)
        held.append(hearing.held_frames)
    assert max(held) < 6 * 8_000


def test_high_a_over_drones_is_not_taken_for_low_a() -> None:
    result = compared(Case(16_000, drones=True, snr_db=15, least_seconds=12.0))
    assert result.wrong == 0
    assert np.max(np.abs(result.errors)) < 0.1


def test_a_note_whose_octave_below_is_filled_by_the_tail_of_the_last_is_heard_as_it_is() -> None:
    # In a hall of 2 s: high G after low G, which is 29 cents from half of it.
    result = compared(Case(16_013, room_s=2.0, least_seconds=12.0))
    assert result.wrong == 0
    assert np.max(np.abs(result.errors)) < 0.3
