"""How exactly chanters are heard, against the physical limit and against others' estimators.

Run with `python -m tests.benchmarks.bench_listening [SEEDS]`. Each row has so many chanters of its
own (20 if left out, so more than 300 in all): random tunings, synthesised by
`tests.listening.chanters`, whose errors note by note are printed in cents (median and 95th
percentile) and as a multiple of the Cramér-Rao bound for 12 partials that fall as 1/k, the note
heard in pieces of 0.3 s. `wrong` are soundings taken for another note, `octave` chanters of the
wrong octave. Speed is seconds of sound to seconds of the processor, reading included.
"""

from __future__ import annotations

import math
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from renderer.errors import WrongValueError
from renderer.listening.harmonics import least_deviation_cents
from renderer.listening.hearing import listen
from renderer.listening.recording import open_recording
from renderer.notation.pitch import Note
from tests.listening.chanters import Case, Sounding, write
from tests.listening.compared import compared, heard_in
from tests.listening.others import Track, estimators, tracks

FALLING = 1 / np.arange(1, 13)
PIECE_S = 0.3

ROWS: tuple[tuple[str, Case, str], ...] = (
    ("40 dB", Case(0, snr_db=40), ""),
    ("30 dB", Case(0, snr_db=30), ""),
    ("20 dB", Case(0, snr_db=20), ""),
    ("10 dB", Case(0, snr_db=10), ""),
    ("20 dB, room 0.3 s", Case(0, room_s=0.3), ""),
    ("20 dB, hall 1 s", Case(0, room_s=1.0), ""),
    ("20 dB, hall 2 s", Case(0, room_s=2.0), ""),
    ("20 dB, drones", Case(0, drones=True), ""),
    ("15 dB, drones", Case(0, drones=True, snr_db=15), ""),
    ("15 dB, drones, hall 1 s", Case(0, drones=True, snr_db=15, room_s=1.0), ""),
    ("20 dB, 22.05 kHz", Case(0, rate=22_050), ""),
    ("20 dB, 8 kHz", Case(0, rate=8_000), ""),
    ("20 dB, MP3 96 kbit/s", Case(0), ".mp3"),
    ("20 dB, AAC 64 kbit/s", Case(0), ".m4a"),
    ("20 dB, Opus 32 kbit/s", Case(0), ".opus"),
    ("20 dB, AMR 12.2 kbit/s", Case(0, rate=8_000), ".3gp"),
    ("10 dB, AAC 64 kbit/s", Case(0, snr_db=10), ".m4a"),
)


def bound_cents(case: Case, hz: float, seconds: float) -> float:
    """The Cramér-Rao bound of a note heard for so long, in pieces."""
    partials = FALLING[: max(1, int(0.5 * case.rate / hz))]
    noise = float(np.sum(FALLING**2)) / 2 / 10 ** (case.snr_db / 10)
    one = least_deviation_cents(partials, noise, PIECE_S, case.rate, hz)
    return one / math.sqrt(max(1.0, seconds / PIECE_S))


def print_row(name: str, case: Case, suffix: str, first_seed: int, seeds: int) -> None:
    errors: list[float] = []
    multiples: list[float] = []
    wrong = soundings = octaves = refused = missing = 0
    with tempfile.TemporaryDirectory() as folder:
        for seed in range(first_seed, first_seed + seeds):
            by = Path(folder) / f"chanter{suffix}" if suffix else None
            try:
                result = compared(replace(case, seed=seed, least_seconds=12.0), by=by)
            except WrongValueError as error:
                refused += 1
                print(f"    seed {seed} refused: {error.cause}")
                continue
            is_practice = result.tuning.is_practice
            octaves += is_practice != result.chanter.is_practice
            wrong += result.wrong
            soundings += result.soundings
            heard = [one for one in result.chanter.notes if one.is_heard]
            missing += 9 - len(heard)
            for note, off in zip(heard, result.errors, strict=True):
                hz = result.tuning.hz[note.note]
                errors.append(abs(float(off)))
                multiples.append(abs(float(off)) / bound_cents(case, hz, note.seconds))
    median, high = np.percentile(errors, [50, 95])
    times, times_high = np.percentile(multiples, [50, 95])
    print(
        f"{name:26} {seeds:3} {median:8.4f} {high:8.4f} {max(errors):8.3f} {times:8.1f} "
        f"{times_high:8.1f} {100 * wrong / max(1, soundings):6.2f} {octaves:6} {missing:7} "
        f"{refused:7}",
        flush=True,
    )


def print_table(seeds: int) -> None:
    print("Errors in cents, and as a multiple of the Cramér-Rao bound (CRB)")
    print(
        f"{'':26} {'n':>3} {'median':>8} {'95 %':>8} {'most':>8} {'x CRB':>8} {'95 %':>8} "
        f"{'wrong%':>6} {'octave':>6} {'missing':>7} {'refused':>7}"
    )
    for number, (name, case, suffix) in enumerate(ROWS):
        try:
            print_row(name, case, suffix, 10_000 + 1_000 * number, seeds)
        except OSError as error:
            print(f"{name:26} left out: {error}")


def print_others(seeds: int) -> None:
    print("\nSteady tones of half a second, 12 partials: errors in cents, median and 95 %")
    for snr_db in (20, 10):
        print(f"  {snr_db} dB")
        for name, estimator in estimators().items():
            errors = []
            for seed in range(seeds):
                rng = np.random.default_rng(seed)
                hz = 466 * 2 ** (rng.uniform(-600, 600) / 1200)
                t = np.arange(22_050) / 44_100
                power = float(np.sum(FALLING**2)) / 2
                tone = sum(
                    a * np.sin(2 * np.pi * k * hz * t + rng.uniform(0, 7))
                    for k, a in enumerate(FALLING, 1)
                )
                tone = tone + rng.normal(0, math.sqrt(power / 10 ** (snr_db / 10)), len(t))
                found = estimator((0.1 * tone).astype(np.float32), 44_100, hz)
                errors.append(abs(1200 * math.log2(found / hz)))
            median, high = np.percentile(errors, [50, 95])
            print(f"    {name:24} {median:8.4f} {high:8.4f}", flush=True)


def by_frames(
    track: Track, times: list[tuple[float, float]], played: list[Sounding]
) -> dict[Note, float]:
    """What a track of pitches says of each note: the median where the note is known to sound."""
    seconds, hz = track
    found: dict[Note, list[NDArray[np.float64]]] = {}
    for (start, end), one in zip(times, played, strict=True):
        if one.note is not None and not one.is_gracenote and end - start > 0.2:
            inside = (seconds > start + 0.05) & (seconds < end - 0.05) & (hz > 0)
            found.setdefault(one.note, []).append(hz[inside])
    medians = {note: np.concatenate(each) for note, each in found.items()}
    return {note: float(np.median(each)) for note, each in medians.items() if len(each)}


def print_others_on_recordings(seeds: int) -> None:
    """Whole recordings; the others are told when which note sounds, and which octave to look in."""
    print("\nWhole recordings, notes of one each: errors in cents, median and 95 %")
    for name, case in (
        ("20 dB", Case(0, least_seconds=12)),
        ("10 dB", Case(0, snr_db=10, least_seconds=12)),
        ("20 dB, hall 1 s", Case(0, room_s=1.0, least_seconds=12)),
        ("15 dB, drones", Case(0, drones=True, snr_db=15, least_seconds=12)),
    ):
        errors: dict[str, list[float]] = {"ours": []}
        for seed in range(70_000, 70_000 + seeds):
            sound, tuning, played, times = replace(case, seed=seed).make()
            octave = 2 if tuning.is_practice else 1
            ours = {one.note: one.hz / octave for one in heard_in(sound, case.rate).notes
                    if one.is_heard}  # fmt: skip
            told = {"ours": ours}
            for other, track_of in tracks().items():
                track = track_of(sound, case.rate, 0.8 * min(tuning.hz), 1.2 * max(tuning.hz))
                told[other] = by_frames(track, times, played)
            for who, notes in told.items():
                errors.setdefault(who, []).extend(
                    abs(1200 * math.log2(hz / tuning.hz[note])) for note, hz in notes.items()
                )
        print(f"  {name}, {seeds} recordings")
        for who, each in errors.items():
            median, high = np.percentile(each, [50, 95])
            print(f"    {who:24} {median:8.4f} {high:8.4f}", flush=True)


def print_speed() -> None:
    print("\nSeconds of sound to a second of the processor")
    for name, case in (("alone", Case(1)), ("with drones", Case(3, drones=True))):
        with tempfile.TemporaryDirectory() as folder:
            sound, *_ = replace(case, least_seconds=120).make()
            path = write(Path(folder) / "chanter.m4a", sound, case.rate)
            begun = time.process_time()
            recording = open_recording(path)
            listen(recording, recording.rate).chanter()
            spent = time.process_time() - begun
        print(f"    two minutes {name:12} {recording.seconds / spent:6.0f}")


if __name__ == "__main__":
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 20
    print_others(8 * count)
    print_others_on_recordings(max(1, count // 2))
    print_speed()
    print_table(count)
