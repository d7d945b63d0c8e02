"""The drones' part: their loop to what sounds of them in any frames of a track.

They begin as drones do, then stand, and stop with everything else. Since they stand, a room is
worked out for their beginning, once round their loop, and for their end, and never again. Samples
are arrays (frames, channels).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from renderer.sound.splice import EndlessTone, falling_gain, rising_gain
from renderer.sound.strike_in import struck_in

Samples = NDArray[np.float32]

DRONES_SWELL_S = 0.35
"""How long the drones take to come up where they begin settled. Judgement."""

_HALF = np.float32(0.5)


@dataclass(frozen=True, slots=True, eq=False)
class DronesPart:
    """What sounds of the drones.

    Parameters
    ----------
    start:
        The frame of the track at which `beginning` begins; before it they are silent.
    beginning:
        What sounds first.
    tone:
        What sounds from there on.
    ending:
        What is left of them in a room from the frame at which the track begins to stop.
    """

    start: int
    beginning: Samples
    tone: EndlessTone
    ending: Samples

    def fill(self, block: Samples, start: int) -> None:
        """Fill a block whose first frame is frame `start` of the track."""
        silent = min(len(block), max(0, self.start - start))
        block[:silent] = 0.0
        sounding = block[silent:]
        done = max(0, start - self.start)
        beginning = self.beginning[done : done + len(sounding)]
        sounding[: len(beginning)] = beginning
        self.tone.copy_to(sounding[len(beginning) :], start + silent + len(beginning))

    def during(self, start: int, frames: int) -> Samples:
        """Return what fills so many frames from frame `start` on; it is not to be changed."""
        standing = self.start + len(self.beginning)
        at = start % len(self.tone.samples)
        if start >= standing and at + frames <= len(self.tone.samples):
            return self.tone.samples[at : at + frames]
        block = np.empty((frames, self.tone.samples.shape[1]), np.float32)
        self.fill(block, start)
        return block

    def louder(self, by: float) -> DronesPart:
        """Return the same so many times as loud."""
        gain = np.float32(by)
        return self._changed(lambda samples: samples * gain)

    @property
    def middle(self) -> DronesPart:
        """What both channels of two have alike, in one channel."""

        def alike(samples: Samples) -> Samples:
            middle = samples[:, :1] + samples[:, 1:]
            middle *= _HALF
            return middle

        return self._changed(alike)

    @property
    def apart(self) -> DronesPart:
        """What the left channel of two has besides, in one channel; the right has its opposite."""

        def apart(samples: Samples) -> Samples:
            half = samples[:, :1] - samples[:, 1:]
            half *= _HALF
            return half

        return self._changed(apart)

    @property
    def right(self) -> DronesPart:
        """What the right channel of two has, in one channel."""
        return self._changed(lambda samples: np.ascontiguousarray(samples[:, 1:]))

    def _changed(self, change: Callable[[Samples], Samples]) -> DronesPart:
        tone = EndlessTone(change(self.tone.samples))
        return DronesPart(self.start, change(self.beginning), tone, change(self.ending))

    def add_ending(self, block: Samples, done: int) -> None:
        """Add what is left of them so many frames after the track began to stop."""
        left = self.ending[done : done + len(block)]
        block[: len(left)] += left


def drones_part(loop: Samples, start: int, rate: int, *, steady: bool) -> DronesPart:
    """Return the drones' part in no room.

    Parameters
    ----------
    loop:
        All drones together.
    start:
        The frame of the track at which they begin.
    rate:
        Frames a second.
    steady:
        Whether they begin settled.
    """
    tone = EndlessTone(loop)
    if steady:
        swell = rising_gain(round(DRONES_SWELL_S * rate))
        beginning = np.empty((len(swell), loop.shape[1]), np.float32)
        tone.copy_to(beginning, start)
        beginning *= swell
    else:
        beginning = struck_in(loop, start, rate)
    return DronesPart(start, beginning, tone, np.zeros((0, loop.shape[1]), np.float32))


def standing_in_room(
    part: DronesPart, music: int, cut_off: int, tail: int, in_room: Callable[[Samples], Samples]
) -> DronesPart:
    """Return the drones in a room.

    Parameters
    ----------
    part:
        The drones in no room.
    music, cut_off:
        How many frames of the track have music, and how many of these it takes to stop.
    tail, in_room:
        How many frames something is heard of a sound after it, and what makes of a sound, silence
        before it, what is heard of it until then.
    """
    stop, around = music - cut_off, len(part.tone.samples)
    settled = part.start + len(part.beginning) + tail
    if part.start >= stop:
        return part
    if settled + around + tail < stop:
        sound = in_room(_sounding(part, part.start, settled + around))
        beginning, once = sound[: settled - part.start], sound[settled - part.start :][:around]
        tone = EndlessTone(np.roll(once, settled % around, axis=0))
        ending = in_room(_stopping(part, stop - tail, music, cut_off))[tail:]
    else:
        sound = in_room(_stopping(part, part.start, music, cut_off))
        beginning, ending = np.split(sound, [stop - part.start])
        tone = part.tone
    heard = DronesPart(part.start, beginning, tone, ending)
    # The track fades all that fills its blocks.
    ending[:cut_off] -= _stopping(heard, stop, music, cut_off)
    return heard


def _sounding(part: DronesPart, first: int, end: int) -> Samples:
    """Return what fills frames `first` to `end` of the track."""
    sound = np.empty((end - first, part.tone.samples.shape[1]), np.float32)
    part.fill(sound, first)
    return sound


def _stopping(part: DronesPart, first: int, music: int, cut_off: int) -> Samples:
    """Return what fills frames from `first` on, and how it stops."""
    sound = _sounding(part, first, music)
    sound[-cut_off:] *= falling_gain(cut_off)
    return sound
