"""The cache of tone banks: the same tones sooner, to the bit, and never worse than none."""

from __future__ import annotations

from dataclasses import fields, replace
from pathlib import Path

import numpy as np
import pytest

from renderer.notation.pitch import Note
from renderer.sound import bank, kept_files
from renderer.sound.bank import Stroke, Tone, drone_bank, percussion, tone_bank
from renderer.sound.instrument import Instrument, make_instrument
from renderer.sound.steady import LoopSpectrum
from renderer.sound.tuning import Chanter, parse_pitch, scale_named
from renderer.technique.fingering import Finger, fingering

RATE = 22_050


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty folder for caches."""
    place = tmp_path / "caches"
    monkeypatch.setattr(kept_files, "_folder", lambda: place)
    return place


def instrument(pitch: object = 478, *, steady: bool = False) -> Instrument:
    """One that is not in this process's memory."""
    for one in (tone_bank, drone_bank, percussion):
        one.cache_clear()
    return make_instrument(
        parse_pitch(pitch),  # type: ignore[arg-type]
        scale_named(),
        Chanter.PRACTICE,
        rate=RATE,
        steady=steady,
    )


def bits(one: object) -> object:
    """Everything that a tone, a stroke or a spectrum holds, arrays as their bytes."""
    if isinstance(one, np.ndarray):
        return one.dtype.str, one.tobytes()
    if isinstance(one, Tone | Stroke | LoopSpectrum):
        return [bits(getattr(one, field.name)) for field in fields(one)]
    return one


def all_bits(one: Instrument) -> object:
    """Everything that an instrument sounds with."""
    drones, struck = one.drones, one.percussion
    parts = [*one.chanter.tones, drones.tenor, drones.second_tenor, drones.bass]
    parts += [struck.snare_left, struck.snare_right, struck.snare_buzz, drones.blend(1, 0.5, 0.7)]
    clicks = {kind.value: bits(stroke) for kind, stroke in struck.clicks.items()}
    return [bits(part) for part in parts], clicks, drones.tenor_hz, one.remarks


@pytest.mark.parametrize("steady", [False, True])
def test_a_bank_from_the_cache_is_the_one_that_was_made_to_the_bit(
    steady: bool, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = all_bits(instrument(steady=steady))
    assert len(list(folder.glob("*.bank"))) == 4

    def refuse(*_: object, **__: object) -> None:
        raise AssertionError("it is in the cache")

    for name in ("_tone_bank", "_drone_bank", "_percussion", "_tone"):
        monkeypatch.setattr(bank, name, refuse)
    assert all_bits(instrument(steady=steady)) == made


def test_a_fingering_from_the_cache_is_the_one_that_was_made_to_the_bit(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    crossing = [fingering(note) - {Finger.LEFT_RING} for note in (Note.B, Note.E)]
    made = [bits(instrument().chanter.tone(one)) for one in crossing]
    assert made[0] != made[1]

    def refuse(*_: object, **__: object) -> None:
        raise AssertionError("it is in the cache")

    with monkeypatch.context() as without:
        without.setattr(bank, "_tone", refuse)
        chanter = instrument().chanter
        assert [bits(chanter.tone(one)) for one in crossing] == made
    # Whoever changes the notes has other fingerings, too.
    silent = [replace(tone, unbreathed=tone.partials * 0) for tone in chanter.tones]
    changed = replace(chanter, tones=tuple(silent), _fingered={})
    assert not np.any(changed.tone(crossing[0]).samples)


def test_another_pitch_is_another_bank(folder: Path) -> None:
    first = all_bits(instrument("A"))
    assert all_bits(instrument("B flat")) != first
    assert all_bits(instrument("A")) == first
    assert len(list(folder.glob("*.bank"))) == 7, "two of tones, four of drones, one of strokes"


def test_drones_with_one_voice_changed_are_blended_anew(folder: Path) -> None:
    drones = instrument().drones
    whole = bits(drones.blend(1, 1, 1))
    silent = replace(drones.bass, bins=np.zeros_like(drones.bass.bins))
    assert bits(replace(drones, bass=silent).blend(1, 1, 1)) == bits(drones.blend(1, 1, 0)) != whole


def test_a_damaged_bank_is_made_anew(folder: Path) -> None:
    made = all_bits(instrument())
    for path in folder.glob("*.bank"):
        whole = path.read_bytes()
        for damaged in (whole[:40], whole[:-1], whole[:100] + b"x" + whole[101:], b""):
            path.write_bytes(damaged)
            assert all_bits(instrument()) == made
            assert path.read_bytes() == whole
