"""Encoding speed by format, what rendering over the cores gains, and memory over length.

Run it with `python -m tests.benchmarks.bench_delivery`. Every figure is a ratio taken in one run:
seconds of audio to seconds of work, or one way of rendering to another.
"""

from __future__ import annotations

import resource
import tempfile
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from renderer.delivery.audio import write_audio
from renderer.delivery.render import cores, render_jobs
from renderer.delivery.tags import Tags
from renderer.order.formats import AudioFormat
from renderer.order.jobs import plan_tracks
from tests.delivery.larkmoor import asked, doublings, ladder

RATE = 44_100
MINUTES = 10


def real_blocks() -> list[NDArray[np.float32]]:
    """A minute of a real track, already mixed."""
    (job,) = plan_tracks(doublings(), Path(), asked(repeats=10))
    return list(job.track())


def endless(blocks: list[NDArray[np.float32]], frames: int) -> Iterator[NDArray[np.float32]]:
    """The blocks over and over, `frames` in all."""
    left = frames
    while left:
        for block in blocks:
            yield block[:left]
            left -= min(left, len(block))


def encoding(folder: Path) -> None:
    """Encoding alone: the samples are there already."""
    blocks = real_blocks()
    frames = MINUTES * 60 * RATE
    for audio_format in AudioFormat:
        start = time.perf_counter()
        written = write_audio(
            endless(blocks, frames),
            folder / "track",
            audio_format=audio_format,
            rate=RATE,
            channels=2,
            frames=frames,
            tags=Tags("Benchmark"),
        )
        seconds = time.perf_counter() - start
        kbit = written.bytes * 8 / (MINUTES * 60) / 1000
        print(
            f"  {audio_format:5} {MINUTES * 60 / seconds:7.0f} times real time, {kbit:.0f} kbit/s"
        )


def over_the_cores(folder: Path) -> None:
    """A ladder of four rungs, one track at a time and one a core."""
    for name in AudioFormat:
        settings = asked(ladder=ladder(50, 60, 70, 80), format=(name.value,), repeats=60)
        jobs = plan_tracks(doublings(), folder, settings)
        jobs[0].track()
        audio_s = float(sum(job.duration for job in jobs))
        taken = {}
        for workers in (1, cores()):
            start = time.perf_counter()
            render_jobs(jobs, workers=workers)
            taken[workers] = time.perf_counter() - start
        one, several = taken[1], taken[cores()]
        print(
            f"  {name:5} {audio_s / one:7.0f} times real time one at a time, "
            f"{audio_s / several:7.0f} on {cores()} cores: {one / several:.2f} times as fast"
        )


def long_track(folder: Path) -> None:
    """Peak memory of a process that goes on to render three hours."""
    short = asked(format=("wav",), repeats=10)
    hours = replace(short, repeats=1_799)
    peaks = []
    for settings in (short, hours):
        (job,) = plan_tracks(doublings(), folder, settings)
        start = time.perf_counter()
        render_jobs([job])
        seconds = time.perf_counter() - start
        peaks.append(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)
        print(
            f"  {float(job.duration) / 60:6.1f} minutes to wav: peak {peaks[-1]:.0f} MB, "
            f"{float(job.duration) / seconds:.0f} times real time"
        )
    print(f"  three hours take {peaks[1] / peaks[0]:.3f} times the memory of a minute")


def main() -> None:
    """Print all of it."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        print("Memory of a track:")
        long_track(folder)
        print("Encoding, samples given:")
        encoding(folder)
        print("Rendering and encoding a ladder:")
        over_the_cores(folder)


if __name__ == "__main__":
    main()
