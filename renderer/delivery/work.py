"""How long files take to be made on this machine: measured in former runs, told beforehand.

Each run notes what it made of every kind (seconds of sound in a format, sheets, plans), how long a
thread took for it and how many bytes came of it. The sums are kept in the user's folder for caches,
those of former runs counting half as much with each run since. Where nothing was measured yet there
is a first guess. Nothing depends on any of it but what is said.
"""

from __future__ import annotations

import json
import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from threading import Lock

from renderer.delivery.files import part_beside
from renderer.order.formats import AudioFormat
from renderer.order.track_job import TrackJob

_FORM, _VERSION = "rungwise-work", 1
_FORMER_RUNS = 0.5
"""How much what was measured before counts with each run."""

PARCEL = "a file to send"
"""The kind of ZIP files, whose amount is megabytes."""

_GUESSES = {
    **{str(one): (0.012, 0) for one in AudioFormat},
    str(AudioFormat.WAV): (0.002, 0),
    str(AudioFormat.FLAC): (0.005, 0),
    "a sheet": (0.5, 35_000),
    "a plan": (0.1, 36_000),
    "a practice page": (2.5, 850_000),
    "an overview": (0.1, 45_000),
    "a playlist": (0.002, 1_500),
    "a cue sheet": (0.01, 700),
    PARCEL: (0.01, 0),
}
"""Seconds and bytes of one of each kind (of a second of sound, of a file, of a megabyte): first
guesses, of the size that they had on a machine with two busy cores."""


@dataclass(frozen=True, slots=True)
class Rate:
    """What was made of a kind: seconds that it took, how much it was, how many bytes came of it."""

    seconds: float
    amount: float
    bytes: float


def _path() -> Path:
    import platformdirs

    return platformdirs.user_cache_path("rungwise", appauthor=False) / "work.json"


def _read() -> dict[str, Rate]:
    found: dict[str, Rate] = {}
    with suppress(
        AttributeError, KeyError, OSError, RecursionError, RuntimeError, TypeError, ValueError
    ):
        kept = json.loads(_path().read_bytes())
        if kept[_FORM] == _VERSION:
            for kind, one in kept["kinds"].items():
                rate = Rate(*map(float, one))
                if rate.amount > 0 and 0 <= rate.seconds < float("inf"):
                    found[str(kind)] = rate
    return found


def kind_of(job: TrackJob) -> str:
    """Return which kind of work a track is."""
    return str(job.audio_format)


@dataclass
class WorkDone:
    """What a run makes, and how long that takes; from any thread."""

    _kinds: dict[str, Rate] = field(default_factory=dict)
    _adding: Lock = field(default_factory=Lock)

    @contextmanager
    def timed(self, kind: str, amount: float) -> Iterator[None]:
        """Note how long what is done within takes, unless it fails."""
        begin = time.perf_counter()
        yield
        self.add(kind, amount, time.perf_counter() - begin)

    def add(self, kind: str, amount: float, seconds: float = 0, size: int = 0) -> None:
        """Note so much of a kind, the seconds that it took and the bytes that came of it."""
        with self._adding:
            was = self._kinds.get(kind, Rate(0, 0, 0))
            self._kinds[kind] = Rate(was.seconds + seconds, was.amount + amount, was.bytes + size)

    def keep(self) -> None:
        """Keep it for what later runs say; no error stops anything."""
        kinds = _read()
        for kind, new in self._kinds.items():
            was, by = kinds.get(kind, Rate(0, 0, 0)), _FORMER_RUNS
            kinds[kind] = Rate(
                by * was.seconds + new.seconds,
                by * was.amount + new.amount,
                by * was.bytes + new.bytes,
            )
        plain = {kind: [one.seconds, one.amount, one.bytes] for kind, one in kinds.items()}
        with suppress(OSError, RuntimeError):
            path = _path()
            path.parent.mkdir(parents=True, exist_ok=True)
            part = part_beside(path)
            try:
                part.write_text(json.dumps({_FORM: _VERSION, "kinds": plain}), "utf-8")
                part.replace(path)
            finally:
                part.unlink(missing_ok=True)


@dataclass(frozen=True)
class Rates:
    """What is known of how long things take here, and how large they become."""

    measured: Mapping[str, Rate]

    def seconds(self, kind: str, amount: float = 1) -> float:
        """Return how long a thread takes for so much of a kind."""
        if (rate := self.measured.get(kind)) is not None:
            return amount * rate.seconds / rate.amount
        return amount * _GUESSES.get(kind, (0.0, 0))[0]

    def bytes(self, kind: str) -> int:
        """Return about how many bytes a file of a kind has."""
        rate = self.measured.get(kind)
        if rate is not None and rate.bytes:
            return round(rate.bytes / rate.amount)
        return _GUESSES.get(kind, (0.0, 0))[1]


def rates_here() -> Rates:
    """Return what former runs on this machine have measured."""
    return Rates(_read())


@dataclass(frozen=True, slots=True)
class Work:
    """How long work will take: about so many seconds, and whether that is a first guess."""

    seconds: float
    is_guess: bool

    def __str__(self) -> str:
        rounded = max(1, round(self.seconds))
        spoken = f"{rounded} s" if rounded < 100 else f"{round(rounded / 60)} minutes"
        return f"about {spoken} of work" + (" (a first guess)" if self.is_guess else "")


def work_of(
    jobs: Sequence[TrackJob],
    workers: int,
    *,
    pages: Sequence[str] = (),
    parcel_bytes: int = 0,
    rates: Rates | None = None,
) -> Work:
    """Return how long it will take to make files.

    Parameters
    ----------
    jobs:
        The tracks.
    workers:
        How many of them at a time.
    pages:
        The kinds of the other files, which one thread makes beside them.
    parcel_bytes:
        Of what is packed up at the end.
    rates:
        From `rates_here`, where they are at hand.
    """
    known = rates or rates_here()
    tracks = [known.seconds(kind_of(job), float(job.duration)) for job in jobs]
    printing = sum(known.seconds(kind) for kind in pages)
    at_once = max(1, min(workers, len(tracks) + bool(pages)))
    longest = max((printing, *tracks), default=0.0)
    seconds = max(longest, (sum(tracks) + printing) / at_once)
    kinds = {*map(kind_of, jobs), *pages}
    if parcel_bytes:
        seconds += known.seconds(PARCEL, parcel_bytes / 1e6)
        kinds.add(PARCEL)
    return Work(seconds, is_guess=bool(kinds - known.measured.keys()))
