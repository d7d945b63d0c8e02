"""How exactly chanters are heard, against the physical limit and against others' estimators.

Run with `python -m tests.benchmarks.bench_listening [SEEDS]`. Each row has so many chanters of its
own (20 if left out, so more than 300 in all): random tunings, synthesised by
`tests.listening.chanters`, whose errors note by note are printed in cents (median and 95th
percentile) and as a multiple of the Cramér-Rao bound for 12 partials that fall as 1/k, the note
heard in pieces of 0.3 s. `wrong` are soundings taken for another note, `octave` chanters of the
wrong octave. Speed is seconds of sound to seconds of the processor, ffmpeg's included, the
best of three.
"""

from __future__ import annotations

import math
import os
import sys
import tempfile
from dataclasses import replace
from pathlib import Path

import numpy as np

from renderer.errors import WrongValueError
from renderer.listening.harmonics import least_deviation_cents
from renderer.listening.hearing import listen
from renderer.listening.recording import open_recording
from renderer.notation.pitch import Note
from tests.listening.chanters import Case, random_tuning, write
from tests.listening.compared import beside_others, compared
from tests.listening.others import estimators
from tests.listening.test_live import latencies

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


def print_others_on_recordings(seeds: int) -> None:
    """Whole recordings; the others are told when which note sounds, and about where."""
    print("\nWhole recordings, nine notes of each: errors in cents, median and 95 %, and how many")
    print("times ours")
    for name, case in (
        ("20 dB", Case(0, least_seconds=12)),
        ("10 dB", Case(0, snr_db=10, least_seconds=12)),
        ("20 dB, hall 1 s", Case(0, room_s=1.0, least_seconds=12)),
        ("15 dB, drones", Case(0, drones=True, snr_db=15, least_seconds=12)),
    ):
        errors = beside_others(case, range(70_000, 70_000 + seeds))
        ours = np.percentile(errors["ours"], [50, 95])
        print(f"  {name}, {seeds} recordings, {len(errors['ours'])} notes")
        for who, each in errors.items():
            own = np.percentile(each, [50, 95])
            (median, high), (times, times_high) = own, own / ours
            print(
                f"    {who:12} {median:8.4f} {high:8.4f} {times:8.1f} {times_high:8.1f}", flush=True
            )


def print_speed() -> None:
    print("\nSeconds of sound to a second of the processor")
    for name, case in (("alone", Case(1)), ("with drones", Case(3, drones=True))):
        with tempfile.TemporaryDirectory() as folder:
            sound, *_ = replace(case, least_seconds=120).make()
            path = write(Path(folder) / "chanter.m4a", sound, case.rate)
            least = math.inf
            for _ in range(3):
                begun = _processor_s()
                recording = open_recording(path)
                listen(recording, recording.rate).chanter()
                least = min(least, _processor_s() - begun)
        print(f"    two minutes {name:12} {recording.seconds / least:6.0f}")


def _processor_s() -> float:
    """Seconds that the processor has worked for this process and for the ffmpegs that it ran."""
    spent = os.times()
    return spent.user + spent.system + spent.children_user + spent.children_system


def print_latency(seeds: int) -> None:
    """By samples given, as in `tests.listening.test_live`: not by any clock."""
    found = []
    for seed in range(seeds):
        for practice in (False, True):
            tuning = random_tuning(np.random.default_rng(seed), practice=practice)
            found += latencies(tuning, [*Note, *reversed(Note)], 0.4, seed)
    median, high, most = 1000 * np.percentile(found, [50, 95, 100])
    print("\nLive, from a note's beginning to the line that shows it, milliseconds of sound")
    print(f"    {len(found)} notes: median {median:.0f}, 95 % {high:.0f}, most {most:.0f}")


if __name__ == "__main__":
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 20
    print_others(8 * count)
    print_others_on_recordings(count)
    print_latency(max(1, count // 4))
    print_speed()
    print_table(count)
