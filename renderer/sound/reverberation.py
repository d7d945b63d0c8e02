"""The room: blocks of a track to the same with what walls send back.

What comes back is a noise that dies away, high frequencies sooner, computed once; a track is
convolved with it by Fourier transforms, some blocks at a time, so that memory stays bounded. That
is done at a sixth of usual rates, so that nothing above some 3.3 kHz comes back: a room swallows
high frequencies sooner anyway, and transforms are most of what it costs. Rates are changed by
products of matrices, which are fast. The sound itself stays what and where it was; what comes back
is added to it.

Left and right get the same noise and its own delayed copy, added on one side and subtracted on the
other (H. Lauridsen's network, from memory), so that they differ and their sum has no copy. In a
`split` track each channel has a room of its own, so that chanter and drones stay apart; only the
chanter's is worked out as the track goes, since a loop is put into a room once (`alone_in_room`).
After the music the track goes on until the room is silent: `tail`.

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

LEAST_RATE = 7_350
"""What comes back is worked out at this many frames a second or more."""

PARTING_HZ = 2_000.0
SIDES_APART_S = 0.0073
_DROP_DB = 60.0
_HIGHEST_OF_RATE = (0.36, 0.46)
_SEED = 7

_LARGEST_HOP = 73_728
"""How many frames of the lower rate are taken at a time, at most: up to ten seconds of a track."""

_SLOWER_TIMES = (48, 32, 24, 16, 12, 8, 6, 4, 3, 2, 1)
"""By what a track's rate may be divided; blocks have frames for each."""

_LOBES = 8
"""How many frames of the lower rate the filter lasts that rates are changed with."""

_ROW = 8
"""How many frames of the lower rate a row of a matrix has."""


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
    times:
        How many frames of the track are one of those.
    rate:
        The track's rate.
    late:
        By how many frames of the track changing rates delays a sound; `samples` begins so much
        sooner.
    """

    samples: NDArray[np.float64]
    times: int
    rate: int
    late: int

    @property
    def energy(self) -> float:
        """The power that comes back, for a power of 1, in each channel."""
        return float(np.sum(self.samples**2))


@lru_cache(maxsize=8)
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
    times = next(times for times in _SLOWER_TIMES if times == 1 or rate >= LEAST_RATE * times)
    own_rate = rate / times
    late = (_LOBES - 1) * times - 1 if times > 1 else 0
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
    return Impulse(samples, times, rate, late)


def in_room(
    blocks: Iterable[Samples], room: Room, rate: int, layout: Layout, block_frames: int
) -> Iterator[Samples]:
    """Yield the blocks of a track in a room; they are changed in place.

    Parameters
    ----------
    blocks:
        Each (`block_frames`, channels), with frames in a row, but the last, which may be shorter.
        The last `tail` seconds should be silent. Of a `split` track the first is put into the room.
    room:
        Any but `none`.
    rate, layout:
        Of the track.
    block_frames:
        A multiple of 768: of whole rows at every rate.
    """
    back = impulse(room, rate)
    together = _together(len(back.samples), block_frames // back.times)
    source = _Source(_EARS[layout], back, block_frames, layout.channels, together)
    waiting: list[Samples] = []
    for block in blocks:
        source.hear(block, len(waiting))
        waiting.append(block)
        if len(waiting) == together:
            yield from _with_back(waiting, source)
            waiting = []
    yield from _with_back(waiting, source)


def _with_back(blocks: list[Samples], source: _Source) -> Iterator[Samples]:
    """Yield blocks, which follow those of the last call, with what comes back."""
    if blocks:
        source.convolved.move_on(len(blocks))
    for number, block in enumerate(blocks):
        source.add_to(block, number)
        yield block


def alone_in_room(sound: Samples, room: Room, rate: int, block_frames: int) -> Samples:
    """Return a sound (frames, 1) in a room, silence before it, until what comes back is silent."""
    whole = np.concatenate((sound, np.zeros((round(tail(room) * rate), 1), np.float32)))
    blocks = (whole[at : at + block_frames] for at in range(0, len(whole), block_frames))
    for _ in in_room(blocks, room, rate, Layout.MONO, block_frames):
        pass
    return whole


def _together(impulse_frames: int, own_block: int) -> int:
    """Return how many blocks of `own_block` frames are convolved fastest at a time."""

    def cost(blocks: int) -> float:
        size = fast_size(blocks * own_block + impulse_frames - 1)
        return size * float(np.log2(size)) / blocks

    return min(range(1, max(1, _LARGEST_HOP // own_block) + 1), key=cost)


def fast_size(least: int) -> int:
    """Return the least size of `least` frames or more that is 1, 3 or 5 times a power of two."""
    return min(factor << max(0, (-(-least // factor) - 1).bit_length()) for factor in (1, 3, 5))


class _Convolved:
    """What comes back of what is heard, both at the lower rate, some blocks at a time.

    Parameters
    ----------
    samples:
        What comes back of one frame, shape (frames,).
    own_block, together:
        Frames of a block, and how many blocks are taken at a time.
    """

    def __init__(self, samples: NDArray[np.float64], own_block: int, together: int) -> None:
        self._own_block, self._hop = own_block, own_block * together
        size = fast_size(self._hop + len(samples) - 1)
        self._series = np.fft.rfft(samples, size).astype(np.complex64)
        # Numpy transforms doubles faster than floats, and back the other way round.
        self._heard = np.zeros(size)
        self._back = np.zeros(size, np.float32)
        self._left_over = np.zeros(len(samples) - 1, np.float32)

    def place(self, number: int) -> NDArray[np.float64]:
        """Return where a block's sound is to be put, shape (frames,)."""
        return self._heard[number * self._own_block : (number + 1) * self._own_block]

    def back(self, number: int) -> Samples:
        """Return what comes back during a block, shape (frames,)."""
        return self._back[number * self._own_block : (number + 1) * self._own_block]

    def move_on(self, count: int) -> None:
        """Work out what comes back during `count` blocks, whose sound is in its places."""
        self._heard[count * self._own_block :] = 0.0
        series = np.fft.rfft(self._heard).astype(np.complex64)
        series *= self._series
        back = np.fft.irfft(series, len(self._back))
        self._back = back.astype(np.float32, copy=False)
        self._back[: len(self._left_over)] += self._left_over
        self._left_over[:] = self._back[self._hop : self._hop + len(self._left_over)]


@dataclass(frozen=True, slots=True)
class _Ear:
    """What one source hears of the track, and where what comes back of that goes.

    Parameters
    ----------
    channels:
        Which channels it hears, all alike, and gives back to.
    has_sides:
        Whether the two channels get what comes back and its delayed copy, added and subtracted.
    """

    channels: slice
    has_sides: bool = False


_EARS = {
    Layout.MONO: _Ear(slice(0, 1)),
    Layout.STEREO: _Ear(slice(0, 2), has_sides=True),
    Layout.SPLIT: _Ear(slice(0, 1)),
}
"""Who hears what."""


class _Source:
    """One ear in the room: takes blocks of a track and adds to them what comes back of it.

    Rates are changed by products of matrices: a row is `_ROW` frames of the lower rate, a column
    one frame and channel of the track in the time of those.

    Parameters
    ----------
    ear, back, block_frames:
        What it hears, what comes back of that, and frames of a block.
    channels, together:
        Channels of the track, and how many blocks are taken at a time.
    """

    def __init__(
        self, ear: _Ear, back: Impulse, block_frames: int, channels: int, together: int
    ) -> None:
        times = back.times
        self.convolved = _Convolved(back.samples, block_frames // times, together)
        self._back_to = ear.channels
        self._shape = (block_frames, channels)
        self._rows, self._ages = block_frames // times // _ROW, _LOBES - 1
        row, early = _ROW * times, (_LOBES - 1) * times
        taps = _filter(times)
        # Frame f of a row of the track weighs in frame c of the lower rate by how old it is then.
        age = (np.arange(_ROW) + 1) * times - 1 - (np.arange(row + early)[:, np.newaxis] - early)
        weights = np.where((age >= 0) & (age < len(taps)), taps.take(age, mode="clip"), 0.0)
        heard = np.zeros(channels)
        heard[ear.channels] = 1 / len(heard[ear.channels])
        slow = np.einsum("fc,k->fkc", weights, heard).reshape(-1, _ROW).astype(np.float32)
        self._slow_early, self._slow = np.split(slow, [early * channels])
        self._before = np.zeros(early * channels, np.float32)
        at = np.arange(row) - (np.arange(-self._ages, _ROW) * times)[:, np.newaxis]
        weights = np.where((at >= 0) & (at < len(taps)), times * taps.take(at, mode="clip"), 0.0)
        sides = np.array([[1.0, 1.0], [1.0, -1.0]]) * np.sqrt(0.5) if ear.has_sides else np.eye(1)
        fast = np.einsum("cf,sk->scfk", weights, sides)
        self._fast = fast.reshape(-1, row * len(sides)).astype(np.float32)
        self._delays = (0, round(SIDES_APART_S * back.rate / times))[: len(sides)]
        self._late = np.zeros(self._ages + self._delays[-1], np.float32)
        self._windows = np.empty((len(sides), self._ages + _ROW, self._rows), np.float32)
        self._sound = np.empty((self._rows, row * len(sides)), np.float32)

    def hear(self, block: Samples, number: int) -> None:
        """Hear the block that is so many after the first of those that are taken together."""
        if len(block) < self._shape[0]:
            whole = np.zeros(self._shape, np.float32)
            whole[: len(block)] = block
            block = whole
        rows = block.reshape(self._rows, -1)
        ends = rows[:, -len(self._before) :]
        slowed = rows @ self._slow
        slowed[0] += self._before @ self._slow_early
        slowed[1:] += ends[:-1] @ self._slow_early
        self._before = ends[-1].copy()
        self.convolved.place(number)[:] = slowed.ravel()

    def add_to(self, block: Samples, number: int) -> None:
        """Add to that block what comes back during it."""
        whole = np.concatenate((self._late, self.convolved.back(number)))
        self._late = whole[-len(self._late) :].copy()
        wide, step = len(self._windows[0]), whole.strides[0]
        for window, delay in zip(self._windows, self._delays, strict=True):
            first = self._delays[-1] - delay
            window[:] = np.lib.stride_tricks.as_strided(
                whole[first:], (wide, self._rows), (step, step * _ROW), writeable=False
            )
        np.matmul(self._windows.reshape(-1, self._rows).T, self._fast, out=self._sound)
        sound = self._sound.reshape(self._shape[0], -1)
        block[:, self._back_to] += sound[: len(block)]


def _filter(times: int) -> NDArray[np.float64]:
    """Return the low-pass filter between two rates, the one so many times the other.

    A sinc in a Kaiser window, shape (`_LOBES` * times,), symmetrical about its frame 4 * times - 1;
    from 0.6 of the lower rate on it lets less than -40 dB through. Between a rate and itself it is
    one frame.
    """
    if times == 1:
        return np.concatenate((np.ones(1), np.zeros(_LOBES - 1)))
    away = (np.arange(_LOBES * times) - (4 * times - 1)) / times
    window = np.i0(4.5 * np.sqrt(np.maximum(0.0, 1 - (away / 4) ** 2)))
    weights = np.sinc(0.85 * away) * window
    return np.asarray(weights / weights.sum(), np.float64)
