"""What tests bound instead of the clock on the wall, which shows how busy a machine is.

A test that asks whether work comes to an end counts the work, or bounds the processor's time with
room for a slow machine. How long things take is printed by `tests/benchmarks/`.
"""

from __future__ import annotations

import signal
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType

HANG_S = 900
"""Seconds after which a process that a test has started hangs, however busy the machine is."""

ENDLESS_CPU_S = 90
"""Seconds of the processor for reading one file that means harm: each takes less than 15, or twice
that beside jobs that share the caches. Work that grows with the square of the file takes hours."""


@contextmanager
def cpu_time(most_s: float = ENDLESS_CPU_S) -> Iterator[None]:
    """Fail the test as soon as this process has worked for `most_s` seconds of processor time."""

    def stop(_signal: int, _frame: FrameType | None) -> None:
        raise AssertionError(f"still working after {most_s} s of processor time")

    before = signal.signal(signal.SIGPROF, stop)
    signal.setitimer(signal.ITIMER_PROF, most_s)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
        signal.signal(signal.SIGPROF, before)
