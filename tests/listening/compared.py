"""Listening to synthesised recordings, and laying what is heard beside what was played."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import soxr
from numpy.typing import NDArray

from renderer.listening.hearing import HeardChanter, listen
from renderer.listening.recording import HIGHEST_RATE, open_recording
from renderer.notation.pitch import Note
from tests.listening.chanters import Case, Tuning, write
from tests.listening.others import told_of_notes, tracks

Samples = NDArray[np.float32]


def heard_in(sound: Samples, rate: int) -> HeardChanter:
    """What is heard in samples as they come from a microphone."""
    own = min(rate, HIGHEST_RATE)
    samples = sound if own == rate else soxr.resample(sound, rate, own).astype(np.float32)
    full = float(np.mean(np.abs(sound) >= 0.97))
    return listen([samples], own).chanter(full_scale_share=full)


def heard_in_file(path: Path) -> HeardChanter:
    recording = open_recording(path)
    hearing = listen(recording, recording.rate)
    return hearing.chanter(full_scale_share=recording.full_scale_share)


@dataclass(frozen=True)
class Compared:
    """How far what was heard is from what was played.

    `errors` are in cents, one a note that was heard; `wrong` soundings were taken for another note,
    out of `soundings`.
    """

    chanter: HeardChanter
    tuning: Tuning
    errors: NDArray[np.float64]
    wrong: int
    soundings: int


def compared(case: Case, *, by: Path | None = None) -> Compared:
    """Synthesise a recording, listen to it (through a file if named), and compare."""
    sound, tuning, played, times = case.make()
    if by is None:
        chanter = heard_in(sound, case.rate)
    else:
        chanter = heard_in_file(write(by, sound, case.rate))
    octave = 2 if tuning.is_practice else 1
    errors = [
        1200 * np.log2(one.hz / (octave * tuning.hz[one.note]))
        for one in chanter.notes
        if one.is_heard
    ]
    ends = np.array([end for _, end in times])
    wrong = count = 0
    for one, note in zip(chanter.soundings, chanter.notes_of_soundings, strict=True):
        middle = one.start + one.seconds / 2
        truth = played[min(int(np.searchsorted(ends, middle)), len(played) - 1)]
        # Gracenotes and squeaks are no melody notes, whatever they lie near to.
        if truth.note is not None and not truth.is_gracenote and note >= 0:
            count += 1
            wrong += int(truth.note) != note
    return Compared(chanter, tuning, np.array(errors), wrong, count)


def beside_others(case: Case, seeds: Sequence[int]) -> dict[str, NDArray[np.float64]]:
    """Return how far ours and the others' estimates are off, in cents, every note of every seed.

    Shape (notes,) each, in the same order; notes that one of them does not hear are left out.
    """
    errors: dict[str, list[float]] = {}
    for seed in seeds:
        sound, tuning, played, times = replace(case, seed=seed).make()
        octave = 2 if tuning.is_practice else 1
        notes = heard_in(sound, case.rate).notes
        told = {"ours": {one.note: one.hz / octave for one in notes if one.is_heard}}
        for name, track_of in tracks().items():
            told[name] = told_of_notes(track_of, sound, case.rate, times, played)
        for note in Note:
            if all(note in heard for heard in told.values()):
                for name, heard in told.items():
                    off = 1200 * np.log2(heard[note] / tuning.hz[note])
                    errors.setdefault(name, []).append(float(abs(off)))
    return {name: np.array(each) for name, each in errors.items()}
