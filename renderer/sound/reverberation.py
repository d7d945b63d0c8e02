"""The room: blocks of a track to the same with what walls send back.

What comes back is a noise that dies away, high frequencies sooner, computed once; a track is
convolved with it by Fourier transforms, some blocks at a time, so that memory stays bounded. That
is done at a quarter of usual rates, so that nothing above some 5 kHz comes back: a room swallows
high frequencies sooner anyway, and transforms are what it costs. The sound itself stays what and
where it was; what comes back is added to it.

Left and right get the same noise and its own delayed copy, added on one side and subtracted on the
other (H. Lauridsen's network, from memory), so that they differ and their sum has no copy. In a
`split` track each channel has a room of its own, so that chanter and drones stay apart. After the
music the track goes on until the room is silent: `tail`.

Arrays are (frames,) or (frames, channels), levels in dB.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from renderer.sound.mix_settings import Layout, Room
from renderer.sound.seeded import turns

Samples = NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class Walls:
    """What a room does to a sound; all amounts are judgement.

    Parameters
    ----------
    lasts_s:
        How long until what comes back has fallen by 60 dB.
    high_lasts_s:
        The same for what lies above `PARTING_HZ`.
    first_s:
        When the first of it comes back.
    level_db:
        Its whole power in each channel, beside that of the sound.
    """

    lasts_s: Fraction
    high_lasts_s: float
    first_s: float
    level_db: float


ROOMS = {
    "small": Walls(Fraction(3, 10), 0.2, 0.004, -9.0),
    "hall": Walls(Fraction(3, 2), 0.8, 0.018, -9.0),
}
"""A furnished living room and a village hall with some people in it."""

LEAST_RATE = 11_025
"""What comes back is worked out at this many frames a second, or up to twice as many."""

PARTING_HZ = 2_000.0
SIDES_APART_S = 0.0073
_DROP_DB = 60.0
_HIGHEST_OF_RATE = (0.36, 0.46)
_LARGEST_TRANSFORM = 16_384
_SEED = 7

_LOBES = 8
"""How many frames of the lower rate the filter lasts that rates are changed with."""


def tail(room: Room) -> Fraction:
    """Return how long a track goes on after its music, in seconds: until the room is silent."""
    return ROOMS[room].lasts_s if room in ROOMS else Fraction(0)


@dataclass(frozen=True, slots=True, eq=False)
class Impulse:
    """What comes back of one frame.

    Parameters
    ----------
    samples:
        Shape (frames,), at the rate that it is worked out at.
    halvings:
        How often the track's rate is halved to give that.
    rate:
        The track's rate.
    late:
        By how many frames of the track changing rates delays a sound; `samples` begins so much
        sooner.
    """

    samples: NDArray[np.float64]
    halvings: int
    rate: int
    late: int

    @property
    def energy(self) -> float:
        """The power that comes back, for a power of 1, in each channel."""
        return float(np.sum(self.samples**2))


@lru_cache(maxsize=4)
def impulse(room: Room, rate: int) -> Impulse:
    """Return what comes back in a room, at a track's rate.

    Parameters
    ----------
    room:
        Any but `none`.
    rate:
        Frames a second of the track.
    """
    walls = ROOMS[room]
    halvings = max(0, int(np.log2(rate / LEAST_RATE)))
    own_rate = rate / (1 << halvings)
    late = (7 << halvings) - 1 if halvings else 0
    first = max(0, round((walls.first_s - late / rate) * own_rate))
    last = int((float(walls.lasts_s) - SIDES_APART_S - late / rate) * own_rate)
    time = np.arange(last - first) / own_rate
    noise = np.fft.rfft(2 * turns(_SEED, last - first) - 1)
    hz = np.fft.rfftfreq(last - first, 1 / own_rate)
    low = 1 / (1 + (hz / PARTING_HZ) ** 4)
    begins, ends = (share * own_rate for share in _HIGHEST_OF_RATE)
    heard = 0.5 + 0.5 * np.cos(np.pi * np.clip((hz - begins) / (ends - begins), 0, 1))
    samples = np.zeros(last)
    for band, lasts_s in ((low, float(walls.lasts_s)), (1 - low, walls.high_lasts_s)):
        falls = 10 ** (-_DROP_DB / 20 * time / lasts_s)
        samples[first:] += falls * np.fft.irfft(noise * band * heard, last - first)
    samples *= np.sqrt(10 ** (walls.level_db / 10) / np.sum(samples**2))
    samples.flags.writeable = False
    return Impulse(samples, halvings, rate, late)


def in_room(
    blocks: Iterable[Samples], room: Room, rate: int, layout: Layout, block_frames: int
) -> Iterator[Samples]:
    """Yield the blocks of a track in a room; they are changed in place.

    Parameters
    ----------
    blocks:
        Each (`block_frames`, channels) but the last, which may be shorter. The last `tail` seconds
        should be silent.
    room:
        Any but `none`.
    rate, layout:
        Of the track.
    block_frames:
        A power of two.
    """
    back = impulse(room, rate)
    plan = _plan(len(back.samples), block_frames >> back.halvings)
    if layout is Layout.STEREO:
        sides: list[_Side] = [_Sides(back, plan)]
    else:
        channels = np.eye(layout.channels, dtype=np.float32)
        sides = [_Side(back, plan, heard) for heard in channels]
    waiting: list[Samples] = []
    for block in blocks:
        waiting.append(block)
        if len(waiting) == plan.blocks:
            for side in sides:
                side.add_to(waiting)
            yield from waiting
            waiting = []
    if waiting:
        for side in sides:
            side.add_to(waiting)
        yield from waiting


@dataclass(frozen=True, slots=True)
class _Plan:
    """How many blocks are convolved at a time, their frames, the transform's size, its parts."""

    blocks: int
    hop: int
    size: int
    parts: int


def _plan(impulse_frames: int, own_block: int) -> _Plan:
    """Return the fastest way to convolve blocks of `own_block` frames with an impulse.

    With one part the transform holds blocks and impulse; with several, each as long as the blocks
    that are taken, half of the transform is the impulse's. Larger transforms than
    `_LARGEST_TRANSFORM` leave the processor's cache, and were slower.
    """
    found = []
    size = 2 * own_block
    while size <= max(_LARGEST_TRANSFORM, 2 * own_block):
        room = (size - impulse_frames + 1) // own_block
        for blocks in {room, size // 2 // own_block}:
            if blocks < 1:
                continue
            hop = blocks * own_block
            parts = -(-impulse_frames // (size - hop))
            if parts == 1 or 2 * hop == size:
                cost = size * (np.log2(size) + parts) / blocks
                found.append((cost, blocks, hop, size, parts))
        size *= 2
    return _Plan(*min(found)[1:])


class _Side:
    """Adds to one channel what comes back of it.

    Parameters
    ----------
    back, plan:
        What comes back, and how it is worked out.
    heard:
        What of each channel is heard, shape (channels,).
    """

    def __init__(self, back: Impulse, plan: _Plan, heard: Samples) -> None:
        self._channel = int(np.argmax(heard))
        self._plan = plan
        hop, size = plan.hop, plan.size
        step = size - hop
        parts = (back.samples[at * step : (at + 1) * step] for at in range(plan.parts))
        self._series = [np.fft.rfft(part, size).astype(np.complex64) for part in parts]
        self._coming = [np.zeros(size // 2 + 1, np.complex64) for _ in range(plan.parts)]
        self._left_over = np.zeros(step, np.float32)
        self._slower = _Slower(1 << back.halvings, heard)
        self._faster = _Faster(1 << back.halvings)

    def add_to(self, blocks: list[Samples]) -> None:
        """Add to blocks that follow those of the last call."""
        heard = np.concatenate([self._slower.slowed(block) for block in blocks])
        back, at = self._comes_back(heard), 0
        for block in blocks:
            frames = -(-len(block) // self._slower.times)
            self._add(block, back[at : at + frames])
            at += frames

    def _comes_back(self, heard: Samples) -> Samples:
        hop, size = self._plan.hop, self._plan.size
        # Numpy transforms doubles faster than floats, and back the other way round.
        series = np.fft.rfft(heard.astype(np.float64), size).astype(np.complex64)
        for at, part in enumerate(self._series):
            self._coming[at] += part * series
        now = self._coming.pop(0)
        whole = np.fft.irfft(now, size).astype(np.float32, copy=False)
        now[:] = 0.0
        self._coming.append(now)
        whole[: len(self._left_over)] += self._left_over
        self._left_over = np.zeros(size - hop, np.float32)
        self._left_over[: size - hop] = whole[hop:]
        return whole[:hop]

    def _add(self, block: Samples, back: Samples) -> None:
        block[:, self._channel] += self._faster.hastened(back)[: len(block)]


class _Sides(_Side):
    """Adds to the left and the right what comes back of both together."""

    def __init__(self, back: Impulse, plan: _Plan) -> None:
        super().__init__(back, plan, np.full(2, 0.5, np.float32))
        self._series = [part * np.float32(np.sqrt(0.5)) for part in self._series]
        own_rate = back.rate / (1 << back.halvings)
        self._before = np.zeros(round(SIDES_APART_S * own_rate), np.float32)
        self._right = _Faster(1 << back.halvings)

    def _add(self, block: Samples, back: Samples) -> None:
        both = np.concatenate((self._before, back))
        copy = both[: len(back)]
        self._before = both[len(back) :].copy()
        block[:, 0] += self._faster.hastened(back + copy)[: len(block)]
        block[:, 1] += self._right.hastened(back - copy)[: len(block)]


def _filter(times: int) -> NDArray[np.float64]:
    """Return the low-pass filter between two rates, the one so many times the other.

    A sinc in a Kaiser window, shape (`_LOBES` * times,), symmetrical about its frame 4 * times - 1;
    from 0.6 of the lower rate on it lets less than -40 dB through.
    """
    away = (np.arange(_LOBES * times) - (4 * times - 1)) / times
    window = np.i0(4.5 * np.sqrt(np.maximum(0.0, 1 - (away / 4) ** 2)))
    weights = np.sinc(0.85 * away) * window
    return np.asarray(weights / weights.sum(), np.float64)


class _Slower:
    """Takes a sound that comes in pieces to a lower rate, late by three of its frames."""

    def __init__(self, times: int, heard: Samples) -> None:
        self.times = times
        self._heard = heard
        # Frame by frame from the latest, a row for each frame of the lower rate, a column for each
        # frame and channel of a piece of that length.
        taps = _filter(times).reshape(_LOBES, times)[:, ::-1]
        self._taps = (taps[:, :, np.newaxis] * heard).reshape(_LOBES, -1).astype(np.float32)
        self._before = np.zeros((_LOBES, _LOBES - 1), np.float32)

    def slowed(self, block: Samples) -> Samples:
        if self.times == 1:
            return np.asarray(block @ self._heard, np.float32)
        if short := -len(block) % self.times:
            block = np.concatenate((block, np.zeros((short, block.shape[1]), np.float32)))
        shares = self._taps @ block.reshape(-1, self._taps.shape[1]).T
        both = np.concatenate((self._before, shares), axis=1)
        self._before = both[:, -(_LOBES - 1) :].copy()
        frames = shares.shape[1]
        out = both[0, _LOBES - 1 :].copy()
        for age in range(1, _LOBES):
            start = _LOBES - 1 - age
            out += both[age, start : start + frames]
        return out


class _Faster:
    """Takes a sound that comes in pieces to a higher rate, late by 4 `times` - 1 frames of it."""

    def __init__(self, times: int) -> None:
        self._times = times
        taps = times * _filter(times).reshape(_LOBES, times)
        self._taps = taps.astype(np.float32)
        self._before = np.zeros(_LOBES - 1, np.float32)

    def hastened(self, sound: Samples) -> Samples:
        if self._times == 1:
            return sound
        both = np.concatenate((self._before, sound))
        self._before = both[-(_LOBES - 1) :].copy()
        count = len(sound)
        rows = np.empty((_LOBES, count), np.float32)
        for age in range(_LOBES):
            start = _LOBES - 1 - age
            rows[age] = both[start : start + count]
        return np.asarray((rows.T @ self._taps).ravel(), np.float32)
