"""How long files take to be made on this machine: measured in former runs, told beforehand.

Each run notes what it made of every kind (seconds of sound in a format, sheets, plans), how long a
thread took for it and how many bytes came of it. Sums over files are kept in the user's folder for
caches, from which follows what a file takes by itself and what each second of sound adds: a line
through all that was measured. Former runs count the less the more was made since. Where nothing was
measured yet there is a first guess. Nothing depends on any of it but what is said.
"""

from __future__ import annotations

import json
import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import astuple, dataclass, field
from pathlib import Path
from threading import Lock

from renderer.delivery.files import part_beside
from renderer.order.formats import AudioFormat
from renderer.order.track_job import TrackJob

_FORM, _VERSION = "rungwise-work", 2
_LEAST_OF_FORMER_RUNS = 0.5
"""How much what was measured before counts at least beside a run."""

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


_GUESS_COUNTS = 100.0
"""How much the guess of what a second of sound adds counts, as the sum of the squares by which
lengths in seconds differ from their mean: files all of one length say nothing of it."""


@dataclass(frozen=True, slots=True)
class Sums:
    """What was made of a kind: files, and sums over them.

    Parameters
    ----------
    files:
        How many.
    amount, seconds, bytes:
        How much they are (seconds of sound, megabytes), how long they took, what came of them.
    squares, products:
        Of amounts, and of amounts with seconds.
    """

    files: float = 0
    amount: float = 0
    seconds: float = 0
    bytes: float = 0
    squares: float = 0
    products: float = 0

    def __add__(self, other: Sums) -> Sums:
        return Sums(*(a + b for a, b in zip(astuple(self), astuple(other), strict=True)))

    def times(self, factor: float) -> Sums:
        """Return them as if so many times as much had been measured."""
        return Sums(*(factor * one for one in astuple(self)))

    def line(self, guess: float) -> tuple[float, float]:
        """Return what a file takes by itself in seconds, and what each of its amount adds."""
        ratio = self.seconds / self.amount
        squares = self.squares - self.amount**2 / self.files + _GUESS_COUNTS
        products = self.products - self.amount * self.seconds / self.files + _GUESS_COUNTS * guess
        slope = min(max(products / squares, 0.0), ratio)
        return (self.seconds - slope * self.amount) / self.files, slope


def _path() -> Path:
    import platformdirs

    return platformdirs.user_cache_path("rungwise", appauthor=False) / "work.json"


def _read() -> dict[str, Sums]:
    found: dict[str, Sums] = {}
    with suppress(AttributeError, LookupError, OSError, RuntimeError, TypeError, ValueError):
        kept = json.loads(_path().read_bytes())
        if kept[_FORM] == _VERSION:
            for kind, one in kept["kinds"].items():
                sums = Sums(*map(float, one))
                is_sound = all(0 <= part < float("inf") for part in astuple(sums))
                if is_sound and sums.files and sums.amount:
                    found[str(kind)] = sums
    return found


def kind_of(job: TrackJob) -> str:
    """Return which kind of work a track is."""
    return str(job.audio_format)


@dataclass
class WorkDone:
    """What a run makes, and how long that takes; from any thread."""

    _kinds: dict[str, Sums] = field(default_factory=dict)
    _adding: Lock = field(default_factory=Lock)

    @contextmanager
    def timed(self, kind: str, amount: float) -> Iterator[None]:
        """Note how long the file that is made within takes, unless that fails."""
        begin = time.perf_counter()
        yield
        self.add(kind, amount, time.perf_counter() - begin)

    def add(self, kind: str, amount: float, seconds: float) -> None:
        """Note a file of a kind, how much it is, and the seconds that it took."""
        self._note(kind, Sums(1, amount, seconds, 0, amount**2, amount * seconds))

    def came_of(self, kind: str, size: int) -> None:
        """Note how many bytes a file of a kind has."""
        self._note(kind, Sums(bytes=size))

    def _note(self, kind: str, sums: Sums) -> None:
        with self._adding:
            self._kinds[kind] = self._kinds.get(kind, Sums()) + sums

    def keep(self) -> None:
        """Keep it for what later runs say; no error stops anything."""
        kinds = _read()
        for kind, new in self._kinds.items():
            before = kinds.get(kind, Sums())
            if new.files:
                by = before.amount / (before.amount + new.amount)
                kinds[kind] = before.times(max(by, _LEAST_OF_FORMER_RUNS)) + new
        plain = {kind: astuple(one) for kind, one in kinds.items()}
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

    measured: Mapping[str, Sums]

    def seconds(self, kind: str, amount: float = 1) -> float:
        """Return how long a thread takes for a file of a kind that is so much."""
        guess = _GUESSES.get(kind, (0.0, 0))[0]
        if (sums := self.measured.get(kind)) is None:
            return amount * guess
        by_itself, adds = sums.line(guess)
        return by_itself + amount * adds

    def bytes(self, kind: str) -> int:
        """Return about how many bytes a file of a kind has."""
        sums = self.measured.get(kind)
        if sums is not None and sums.bytes:
            return round(sums.bytes / sums.files)
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
