"""Sound as it comes from a microphone to what is being played, moment by moment.

Samples come in blocks of floats (frames,), full scale 1. A reading belongs to the last 85 ms, so it
tells of the moment 43 ms before the last sample; a new note fills the greater half of them 45 ms
after it began. Pitches are in hertz as they sound, distances in cents.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from renderer.listening.combs import WINDOW_S, frames_of
from renderer.listening.harmonics import estimate
from renderer.listening.nine_notes import scale_cents
from renderer.notation.pitch import Note
from renderer.sound.tuning import DEFAULT_SCALE, scale_named

Samples = NDArray[np.float32]

HOP_S = 0.010
LATENCY_S = 0.1
"""What is played shows after so long at most; tests count it in samples."""

_SAME_CENTS = 40.0
_MEMORY_S = 0.5
_STEADY_HOPS = 2
_PIPE_FROM_HZ = 375.0
"""Low G of a pipe chanter with its low A at 430 Hz; a lone note below is a practice chanter's."""


@dataclass(frozen=True, slots=True)
class Reading:
    """What is being played.

    Parameters
    ----------
    second:
        When the last of its samples came.
    hz:
        Its pitch, smoothed while it stays the same note; 0 for none.
    note:
        Which note of the chanter it is; None for none.
    cents:
        How far above that note of the harmonic scale it is.
    """

    second: float
    hz: float
    note: Note | None
    cents: float


class LiveListener:
    """Listens to blocks as they come.

    Parameters
    ----------
    rate:
        Frames a second, 8,000 to 24,000.
    low_a_hz:
        Low A in the pipe chanter's octave, where it is known; else it is learned as the most likely
        for the notes so far, beginning with B flat.
    """

    def __init__(self, rate: int, *, low_a_hz: float | None = None) -> None:
        self.rate = rate
        self._window = round(WINDOW_S * rate)
        self._hop = round(HOP_S * rate)
        self._recent = np.empty(0, np.float32)
        self._taken = 0
        self._held: deque[float] = deque(maxlen=round(_MEMORY_S / HOP_S))
        self._known_low_a_hz = low_a_hz
        self._low_a_hz = low_a_hz or 466.16
        self._is_practice = False
        self._soundings: deque[tuple[float, float]] = deque(maxlen=60)

    def take(self, block: Samples) -> Iterator[Reading]:
        """Yield a reading for every 10 ms of sound that has come."""
        self._recent = np.concatenate([self._recent, block])
        while len(self._recent) >= self._window:
            window = self._recent[: self._window]
            self._recent = self._recent[self._hop :]
            self._taken += self._hop
            yield self._read(window)

    def _read(self, window: Samples) -> Reading:
        second = (self._taken - self._hop + self._window) / self.rate
        frame = frames_of(window, self.rate, self._window)
        hz = float(frame.hz[0])
        if hz <= 0:
            self._end()
            return Reading(second, 0.0, None, 0.0)
        if self._held and abs(1200 * math.log2(hz / self._middle())) > _SAME_CENTS:
            self._end()
        if len(self._held) >= _STEADY_HOPS:
            # The window lies within one note by now.
            hz = estimate(window, self.rate, hz).hz
        self._held.append(hz)
        smooth = self._middle()
        note, cents = self._named(smooth)
        return Reading(second, smooth, note, cents)

    def _middle(self) -> float:
        # The first reading of a note still has the one before in it.
        settled = list(self._held)[_STEADY_HOPS:] or list(self._held)[-1:]
        return float(np.median(settled))

    def _end(self) -> None:
        if len(self._held) > 10:
            self._soundings.append((self._middle(), len(self._held) * HOP_S))
            if self._known_low_a_hz is None:
                self._learn()
        self._held.clear()

    def _learn(self) -> None:
        from renderer.listening.nine_notes import assign

        hz, seconds = np.array(self._soundings).T
        if len({round(17.3 * math.log(one)) for one in hz}) < 3:
            # Of one or two notes the pitch that is nearest to a usual low A is taken for it.
            self._is_practice = bool(np.median(hz) < _PIPE_FROM_HZ)
            return
        found = assign(hz, seconds)
        self._low_a_hz, self._is_practice = found.low_a_hz, found.is_practice

    def _named(self, hz: float) -> tuple[Note, float]:
        octave = 2.0 if self._is_practice or hz < _PIPE_FROM_HZ else 1.0
        above = 1200 * math.log2(hz * octave / self._low_a_hz)
        off = above - scale_cents(scale_named(DEFAULT_SCALE))
        nearest = int(np.argmin(np.abs(off)))
        return Note(nearest), float(off[nearest])
