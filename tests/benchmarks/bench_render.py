"""How fast tracks are made on one core, and how much memory a long one takes.

Run it with `python -m tests.benchmarks.bench_render`. Every figure is taken in one run: seconds of
audio to seconds of processor time, or the memory of a long track beside that of a short one. Of
each 13 seconds of a track the best of some rounds counts, so that what else the machine does is
left out as far as can be; of shorter pieces a room, which is worked out for as many seconds at a
time, would have fewer that are left alone.
"""

from __future__ import annotations

import os
import resource
import subprocess
import sys
import tempfile
import time
from fractions import Fraction
from pathlib import Path

import numpy as np
import pretty_midi
from numpy.typing import NDArray

from renderer.delivery.audio import write_audio
from renderer.delivery.tags import Tags
from renderer.notation.pitch import Note
from renderer.notation.score import Bar, Exercise, Line, MelodyNote, Meter, Slot
from renderer.order.formats import AudioFormat
from renderer.order.tracks import expand
from renderer.sound.bank import drone_bank, tone_bank
from renderer.sound.instrument import make_instrument
from renderer.sound.loops import drones, nine_notes
from renderer.sound.mix import Track, mix_track
from renderer.sound.mix_settings import Layout, Room
from renderer.sound.tuning import Chanter, parse_pitch, scale_named
from renderer.sound.voices import Voice
from tests.sound.playing import mixing

RATE = 44_100
ROUNDS = 9
BLOCKS_TOGETHER = 24
"""How many blocks of a track are timed as one: as many as go into a room at a time."""


def track(minutes: int, layout: Layout, room: Room = "none") -> Track:
    """Doublings on four notes at 60 beats a minute, chanter, drones and metronome."""
    row = (Note.LOW_A, Note.B, Note.C, Note.LOW_A)
    notes = tuple(
        MelodyNote(Fraction(1), (Slot(note, Note.HIGH_G), Slot(note, Note.D))) for note in row
    )
    exercise = Exercise("Benchmark", (Line((Bar(notes, Meter(4, 4)),)),))
    timeline = expand(exercise, 60, repeats=minutes * 15)
    instrument = make_instrument(
        parse_pitch(478), scale_named(), Chanter.PRACTICE, rate=44_100, steady=False
    )
    return mix_track(timeline, instrument, mixing(layout=layout, room=room))


def write(one: Track, path: Path) -> NDArray[np.float64]:
    """Write a track to a WAV file; return the processor time of each so many blocks."""
    moments = [time.process_time()]
    write_audio(
        one,
        path,
        audio_format=AudioFormat.WAV,
        rate=one.rate,
        channels=one.channels,
        frames=one.frames,
        tags=Tags("Benchmark"),
        on_progress=lambda _: moments.append(time.process_time()),
    )
    return np.diff([*moments[:-1:BLOCKS_TOGETHER], time.process_time()])


def speed(folder: Path, minutes: int = 10) -> None:
    """Ten minutes, after start-up, in each layout and room."""
    start = time.perf_counter()
    track(1, Layout.STEREO)
    print(f"start-up (tone bank, drones, clicks): {time.perf_counter() - start:.2f} s")
    rooms: tuple[Room, ...] = ("none", "small", "hall")
    for layout in Layout:
        rounds: dict[Room, list[NDArray[np.float64]]] = {room: [] for room in rooms}
        lasts: dict[Room, float] = {}
        # In turn, so that what else the machine does meets all alike.
        for room in rooms * ROUNDS:
            one = track(minutes, layout, room)
            lasts[room] = one.frames / one.rate
            rounds[room].append(write(one, folder / "track.wav"))
        speeds = {
            room: lasts[room] / float(np.min(each, axis=0).sum()) for room, each in rounds.items()
        }
        for room in rooms:
            print(
                f"{minutes} min {layout}, room {room}: to WAV at "
                f"{speeds[room]:.0f} times real time, "
                f"{speeds[room] / speeds['none']:.2f} of the speed without a room",
                flush=True,
            )


def presets() -> None:
    """Foreign presets, made and from the cache; and our own instrument likewise."""
    with tempfile.TemporaryDirectory() as caches:
        os.environ["XDG_CACHE_HOME"] = caches
        for name, make in (
            ("oboe of General MIDI", lambda: _preset(68)),
            ("bagpipe of General MIDI", lambda: _preset(109)),
            ("our own voices", lambda: track(1, Layout.STEREO)),
        ):
            spent = []
            for _ in range(2):
                for one in (nine_notes, drones, tone_bank, drone_bank):
                    one.cache_clear()
                start = time.process_time()
                make()
                spent.append(time.process_time() - start)
            first, again = spent
            print(f"{name}: {first:.1f} s of processor time, from the cache {again:.1f} s")


def _preset(program: int) -> None:
    voice = Voice(Path(pretty_midi.__file__).parent / "TimGM6mb.sf2", 0, program)
    tone_bank(voice, parse_pitch(478), scale_named(), Chanter.PIPE, RATE, steady=False)


def peak_megabytes(minutes: int) -> float:
    """The peak memory of a process of its own that writes so long a track."""
    command = [sys.executable, "-m", "tests.benchmarks.bench_render", str(minutes)]
    run = subprocess.run(command, capture_output=True, text=True, check=True)
    return float(run.stdout)


def main() -> None:
    """Print the figures, or with an argument render that many minutes and print the peak."""
    if hasattr(os, "sched_setaffinity"):
        os.sched_setaffinity(0, {max(os.sched_getaffinity(0))})
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        if len(sys.argv) > 1:
            write(track(int(sys.argv[1]), Layout.STEREO), folder / "track.wav")
            print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)
            return
        speed(folder)
    presets()
    short, long = peak_megabytes(3), peak_megabytes(180)
    print(f"peak memory: {short:.0f} MB for 3 minutes, {long:.0f} MB for 3 hours")


if __name__ == "__main__":
    main()
