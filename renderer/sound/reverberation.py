"""The room: blocks of a sound to the same with what walls send back.

What comes back is a noise that dies away, high frequencies sooner, computed once; a track is
convolved with it by Fourier transforms, some blocks at a time, so that memory stays bounded. That
is done at a sixth of usual rates, so that nothing above some 3.3 kHz comes back: a room swallows
high frequencies sooner anyway, and transforms are most of what it costs. Rates are changed by
products of matrices, which are fast. The sound itself stays what and where it was; what comes back
is added to it.

A room hears one channel. Left and right get the same noise and its own delayed copy, added on one
side and subtracted on the other (H. Lauridsen's network, from memory), so that they differ and
their sum has no copy. In a `split` track each channel has a room of its own, so that chanter and
drones stay apart; only the chanter's is worked out as the track goes, since a loop is put into a
room once (`alone_in_room`). After the music the track goes on until the room is silent: `tail`.

Arrays are (frames,) or (frames, channels), levels in dB.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from renderer.sound.mix_settings import Room
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

_TRANSFORMS = 4
"""How many transforms of one size are done together: as many floats as Numpy takes at once."""

_AT_A_TIME = 24_576
"""How many frames of the lower rate each of them takes, at most: some three seconds of a track."""

_SLOWER_TIMES = (48, 32, 24, 16, 12, 8, 6, 4, 3, 2, 1)
"""By what a track's rate may be divided; blocks have frames for each."""

_LOBES = 8
"""How many frames of the lower rate the filter lasts that rates are changed with."""

_ROW = 16
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


@lru_cache(maxsize=8)
def _series(room: Room, rate: int, size: int) -> NDArray[np.complex64]:
    return np.fft.rfft(impulse(room, rate).samples, size).astype(np.complex64)


def in_room(
    blocks: Iterable[Samples],
    room: Room,
    rate: int,
    block_frames: int,
    *,
    stereo: bool,
    apart: Iterable[Samples] = (),
) -> Iterator[Samples]:
    """Yield the blocks of a sound in a room, (frames, 2) if `stereo`, else (frames, 1).

    Parameters
    ----------
    blocks:
        Each (`block_frames`, 1) but the last, which may be shorter. The last `tail` seconds should
        be silent. They are changed.
    room:
        Any but `none`.
    rate:
        Frames a second.
    block_frames:
        A multiple of 768: of whole rows at every rate.
    stereo:
        Whether left and right hear different walls; the sound itself is in the middle.
    apart:
        If `stereo`, blocks of what the left channel has besides, in no room, and the right channel
        the opposite of; as long as `blocks`, or none at all. Each is taken when it is needed.
    """
    beside = iter(apart)
    back = impulse(room, rate)
    convolved = _Convolved(room, rate, block_frames // back.times)
    ears = _Ears(back.times, block_frames)
    walls = _Walls(back, block_frames, stereo=stereo)
    waiting: list[Samples] = []

    def answered() -> Iterator[Samples]:
        if waiting:
            convolved.move_on(len(waiting))
        for number, block in enumerate(waiting):
            yield walls.answer(block, convolved.place(number), next(beside, None))
        waiting.clear()

    for block in blocks:
        # While it is at hand still.
        ears.hear(block, convolved.place(len(waiting)))
        waiting.append(block)
        if len(waiting) == convolved.together:
            yield from answered()
    yield from answered()


def alone_in_room(sound: Samples, room: Room, rate: int, block_frames: int) -> Samples:
    """Return a sound (frames, 1) in a room, silence before it, until what comes back is silent."""
    whole = np.concatenate((sound, np.zeros((round(tail(room) * rate), 1), np.float32)))
    blocks = (whole[at : at + block_frames] for at in range(0, len(whole), block_frames))
    for _ in in_room(blocks, room, rate, block_frames, stereo=False):
        pass
    return whole


def _blocks_a_transform(longer: int, own_block: int) -> int:
    """Return how many blocks of `own_block` frames are convolved fastest by one transform.

    They last as long at least as the `longer` frames that come back after them.
    """

    def cost(blocks: int) -> float:
        size = fast_size(blocks * own_block + longer)
        return size * float(np.log2(size)) / blocks

    least = -(-longer // own_block)
    return min(range(least, max(least, _AT_A_TIME // own_block) + 1), key=cost)


def fast_size(least: int) -> int:
    """Return the least size of `least` frames or more: a power of two, or 3, 5, 9 or 15 of one."""
    factors = (1, 3, 5, 9, 15)
    return min(factor << max(0, (-(-least // factor) - 1).bit_length()) for factor in factors)


class _Convolved:
    """What comes back of what is heard, both at the lower rate, some blocks at a time.

    Parameters
    ----------
    room, rate:
        Whose `impulse`.
    own_block:
        Frames of a block.
    """

    def __init__(self, room: Room, rate: int, own_block: int) -> None:
        self._longer = len(impulse(room, rate).samples) - 1
        self._blocks = _blocks_a_transform(self._longer, own_block)
        self._own_block, self._hop = own_block, own_block * self._blocks
        self._size = fast_size(self._hop + self._longer)
        self.together = _TRANSFORMS * self._blocks
        self._series = _series(room, rate, self._size)
        # A row for each transform: what is heard, silence after it; then what comes back of it.
        self._sound: NDArray[Any] = np.zeros((_TRANSFORMS, self._size), np.float32)
        self._spectra: NDArray[Any] = np.empty((_TRANSFORMS, self._size // 2 + 1), np.complex64)
        self._left_over = np.zeros(self._longer, np.float32)

    def place(self, number: int) -> Samples:
        """Return where a block's sound is to be put, shape (frames,).

        After `move_on` what comes back during the block is there.
        """
        row, column = divmod(number, self._blocks)
        return self._sound[row, column * self._own_block : (column + 1) * self._own_block]

    def move_on(self, count: int) -> None:
        """Work out what comes back during `count` blocks, whose sound is in its places."""
        last, hop = -(-count // self._blocks) - 1, self._hop
        for number in range(count, self.together):
            self.place(number)[:] = 0.0
        # With this norm Numpy transforms floats as floats both ways, not one way as doubles.
        series = np.fft.rfft(self._sound, norm="ortho", out=self._spectra)
        series *= self._series
        back = np.fft.irfft(series, self._size, norm="ortho", out=self._sound)
        # What is left over of each row, and of all before, comes back during the next.
        back[0, : self._longer] += self._left_over
        back[1:, : self._longer] += back[:-1, hop : hop + self._longer]
        self._left_over[:] = back[last, hop : hop + self._longer]
        back[:, hop:] = 0.0


class _Ears:
    """Hears a sound at the lower rate.

    Rates are changed by products of matrices: a row is `_ROW` frames of the lower rate, a column
    one frame of the sound in the time of those.

    Parameters
    ----------
    times, block_frames:
        How many frames of the sound are one of the lower rate, and frames of a block.
    """

    def __init__(self, times: int, block_frames: int) -> None:
        self._block_frames = block_frames
        self._rows = block_frames // times // _ROW
        row, early = _ROW * times, (_LOBES - 1) * times
        taps = _filter(times)
        # Frame f of a row of the track weighs in frame c of the lower rate by how old it is then.
        age = (np.arange(_ROW) + 1) * times - 1 - (np.arange(row + early)[:, np.newaxis] - early)
        weights = np.where((age >= 0) & (age < len(taps)), taps.take(age, mode="clip"), 0.0)
        self._early, self._slow = np.split(weights.astype(np.float32), [early])
        self._own = np.empty((self._rows, _ROW), np.float32)
        # What is heard in each row of the end of the one before, and in the next block's first.
        self._over = np.zeros((self._rows + 1, _ROW), np.float32)

    def hear(self, block: Samples, place: Samples) -> None:
        """Put what is heard of the next block into a place, shape (frames of the lower rate,)."""
        if len(block) < self._block_frames:
            whole = np.zeros((self._block_frames, 1), np.float32)
            whole[: len(block)] = block
            block = whole
        rows, over = block.reshape(self._rows, -1), self._over
        np.matmul(rows, self._slow, out=self._own)
        over[0] = over[-1]
        np.matmul(rows[:, -len(self._early) :], self._early, out=over[1:])
        np.add(self._own, over[:-1], out=place.reshape(self._rows, _ROW))


class _Walls:
    """Adds to a sound what comes back, worked out at the lower rate.

    Parameters
    ----------
    back, block_frames:
        What comes back of one frame, and frames of a block.
    stereo:
        Whether left and right get different sounds back.
    """

    def __init__(self, back: Impulse, block_frames: int, *, stereo: bool) -> None:
        times, ages = back.times, _LOBES - 1
        row, rows = _ROW * times, block_frames // times // _ROW
        self._is_stereo = stereo
        taps = _filter(times)
        at = np.arange(row) - (np.arange(-ages, _ROW) * times)[:, np.newaxis]
        weights = np.where((at >= 0) & (at < len(taps)), times * taps.take(at, mode="clip"), 0.0)
        if stereo:
            weights *= np.sqrt(0.5)
        self._fast = weights.astype(np.float32)
        # Each column is a row of what comes back, after the last frames of the row before it.
        self._columns = np.zeros((ages + _ROW, rows), np.float32)
        self._apart = round(SIDES_APART_S * back.rate / times) * times if stereo else 0
        self._sound = np.zeros(self._apart + block_frames, np.float32)
        self._now = self._sound[self._apart :].reshape(rows, row)

    def answer(self, block: Samples, back: Samples, beside: Samples | None) -> Samples:
        """Return the next block, which is changed, with what comes back during it.

        What left and right have apart without walls is taken along, if there is any, so that each
        is written once.
        """
        columns, ages, apart = self._columns, _LOBES - 1, self._apart
        columns[:ages, 0] = columns[-ages:, -1]
        columns[ages:] = back.reshape(-1, _ROW).T
        columns[:ages, 1:] = columns[-ages:, :-1]
        if apart:
            self._sound[:apart] = self._sound[-apart:]
        np.matmul(columns.T, self._fast, out=self._now)
        now = self._sound[apart:]
        middle, before = block[:, 0], self._sound[: len(block)]
        middle += now[: len(block)]
        if not self._is_stereo:
            return block
        if beside is not None:
            before += beside[:, 0]
        sides = np.empty((len(block), 2), np.float32)
        np.add(middle, before, out=sides[:, 0])
        np.subtract(middle, before, out=sides[:, 1])
        return sides


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
