"""A recording to soundings: its steady stretches, each with its pitch, while it goes by.

Samples come in blocks of floats (frames,), full scale 1, at one rate. Nothing of them is kept that
is not being worked on, so that an hour takes no more memory than a minute; what is found is
a few numbers a sounding. Moments and lengths are in seconds, pitches in hertz.
"""

from __future__ import annotations

import itertools
import math
import statistics
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from renderer.listening.combs import HIGHEST_HZ, WINDOW_S, Frames
from renderer.listening.harmonics import Harmonics, estimate, mean_hz

Samples = NDArray[np.float32]

HOP_S = 0.0213
_LEAST_FRAMES = 5
"""A stretch of fewer short frames (106 ms) has no pitch of its own: gracenotes, note changes."""
_SAME_CENTS = 40.0
_LONGEST_S = 4.0
_PIECE_S, _SHORT_PIECE_S = 0.3, 0.06
_TRIM_S = 0.008
_LEAST_COHERENCE = 0.9
_LEAST_WAVERING_SHARE = 0.5
"""So much of a note with vibrato holds its pitch for a short piece (judgement)."""
_JUMP_CENTS = 12.0
"""A held note wavers by less from one piece to the next (judgement)."""
_LEAST_ODD_SHARE = 0.03
"""Reeds have their odd partials at least so strong beside the even ones, in power (judgement)."""
_LEAST_FIRST_SHARE, _LEAST_FIRST_HELD = 0.25, 0.7
"""A first partial is the tone's own where it is so strong beside the even ones, in power, and stays
so strong: the tail of another note loses more than half in each piece, in a hall of 2 s."""


@dataclass(frozen=True, slots=True)
class Sounding:
    """A steady stretch of a recording.

    Parameters
    ----------
    start, seconds:
        When it begins and how long it is.
    hz:
        What it sounds.
    deviation_hz:
        How exactly that is known: one standard deviation, from the noise and from how far its
        pieces are apart.
    level_db:
        Mean square; full scale is 0 dB.
    clear_db:
        How far its partials stand above the noise around them, on the whole.
    partials:
        How many do.
    """

    start: float
    seconds: float
    hz: float
    deviation_hz: float
    level_db: float
    clear_db: float
    partials: int


def runs_of(frames: Frames) -> Iterator[tuple[int, int]]:
    """Yield first and last index of frames in a row whose pitch stays."""
    # As floats, of which statistics.median is ten times as fast as numpy's for so few.
    hz: list[float] = _without_lone_octaves(frames.hz).tolist()
    first = 0
    count = len(hz)
    while first < count:
        if hz[first] <= 0:
            first += 1
            continue
        last = first
        middle = hz[first]
        longest = first + int(_LONGEST_S / HOP_S)
        while last + 1 < count and last < longest and hz[last + 1] > 0:
            if abs(1200 * math.log2(hz[last + 1] / middle)) > _SAME_CENTS:
                break
            last += 1
            middle = statistics.median(hz[max(first, last - 6) : last + 1])
        yield first, last
        first = last + 1


def _without_lone_octaves(hz: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return pitches of frames without those that lie an octave off between two that agree.

    No note is so short: where vibrato turns, what lies between partials may look like some.
    """
    found = hz.copy()
    before, now, after = hz[:-2], hz[1:-1], hz[2:]
    with np.errstate(divide="ignore", invalid="ignore"):
        apart = 1200 * np.log2(after / before)
        off = np.abs(1200 * np.log2(now / before))
    lone = (np.abs(apart) < _SAME_CENTS) & (np.abs(off - 1200) < _SAME_CENTS)
    found[1:-1][lone] = np.sqrt(before * after)[lone]
    return found


def soundings_of(
    samples: Samples,
    rate: int,
    frames: Frames,
    *,
    first_second: float = 0.0,
    until: float = math.inf,
    over_drones: bool = False,
) -> tuple[list[Sounding], float]:
    """Return the soundings of a chunk that end before `until`, and from when on samples are needed.

    Parameters
    ----------
    samples, rate:
        The chunk.
    frames:
        Its short frames.
    first_second:
        When its first sample sounds.
    until:
        A run that reaches so far may go on in the next chunk.
    over_drones:
        Whether drones sound, whose partials may be taken for a note's.
    """
    found: list[Sounding] = []
    needed = first_second + len(samples) / rate
    for first, last in runs_of(frames):
        start, end = float(frames.seconds[first]), float(frames.seconds[last])
        if end >= until - 1.5 * HOP_S and end - start < _LONGEST_S - 2 * HOP_S:
            needed = start - WINDOW_S
            break
        if last - first + 1 < _LEAST_FRAMES:
            continue
        near = float(np.median(frames.hz[first : last + 1]))
        a = round((start + _TRIM_S - first_second) * rate)
        b = round((end - _TRIM_S - first_second) * rate)
        part = samples[max(0, a) : b]
        found += _soundings_in(part, rate, near, first_second + a / rate, over_drones=over_drones)
    return found, needed


@dataclass(frozen=True, slots=True, eq=False)
class _Piece:
    """A piece of a stretch, from its first frame on, and what it sounds."""

    first: int
    frames: int
    sounds: Harmonics


def _pieces_of(samples: Samples, rate: int, near_hz: float) -> list[_Piece]:
    """Return the pieces of a steady stretch, those left out that sound no one pitch."""
    found: list[_Piece] = []
    for first, piece in _cut(samples, rate, _PIECE_S):
        whole = estimate(piece, rate, near_hz)
        if whole.coherence >= _LEAST_COHERENCE:
            found.append(_Piece(first, len(piece), whole))
        elif len(piece) > 2 * _SHORT_PIECE_S * rate:
            # It wavers or breaks off: what is shorter than the wavering has a pitch.
            parts = [
                _Piece(first + later, len(part), estimate(part, rate, near_hz))
                for later, part in _cut(piece, rate, _SHORT_PIECE_S)
            ]
            steady = [one for one in parts if one.sounds.coherence >= _LEAST_COHERENCE]
            if len(steady) < _LEAST_WAVERING_SHARE * len(parts) or _is_a_jump(parts):
                found += steady
            else:
                wavers = np.array([one.sounds.hz for one in steady])
                mean = mean_hz(piece, rate, float(np.median(wavers)))
                deviation = float(np.std(wavers)) / math.sqrt(len(wavers))
                sounds = replace(whole, hz=mean, deviation_hz=deviation)
                found.append(_Piece(first, len(piece), sounds))
    return found


def _is_a_jump(pieces: list[_Piece]) -> bool:
    """Whether the pitch stays at one place, then at another, as no vibrato does."""
    cents = 1200 * np.log2([one.sounds.hz for one in pieces])
    for at, piece in enumerate(pieces[1:], 1):
        # In the piece that the jump is in there is neither pitch.
        is_in_it = piece.sounds.coherence < _LEAST_COHERENCE and at + 1 < len(pieces)
        before, after = cents[:at], cents[at + is_in_it :]
        if (
            np.ptp(before) < _JUMP_CENTS
            and np.ptp(after) < _JUMP_CENTS
            and abs(np.median(after) - np.median(before)) > _JUMP_CENTS
        ):
            return True
    return False


def _cut(samples: Samples, rate: int, longest_s: float) -> Iterator[tuple[int, Samples]]:
    count = max(1, math.ceil(len(samples) / rate / longest_s))
    edges = np.linspace(0, len(samples), count + 1).astype(int)
    return ((int(a), samples[a:b]) for a, b in itertools.pairwise(edges))


def _apart_at_jumps(pieces: list[_Piece], rate: int) -> list[list[_Piece]]:
    """Return the pieces in groups that have one pitch each; what is too short for one is left out.

    In a hall the octave below a note is filled by the tail of the note before it, so that both are
    one stretch where that octave is near to it.
    """
    groups: list[list[_Piece]] = []
    for piece in pieces:
        if groups:
            middle = statistics.median(one.sounds.hz for one in groups[-1])
        if not groups or abs(1200 * math.log2(piece.sounds.hz / middle)) > _JUMP_CENTS:
            groups.append([])
        groups[-1].append(piece)
    least = _LEAST_FRAMES * HOP_S * rate
    long_enough = [group for group in groups if sum(one.frames for one in group) >= least]
    return groups if len(groups) == 1 else long_enough


def _soundings_in(
    samples: Samples, rate: int, near_hz: float, start: float, *, over_drones: bool
) -> Iterator[Sounding]:
    """Yield what a stretch of one pitch sounds; several things where that pitch jumps in it."""
    groups = _apart_at_jumps(_pieces_of(samples, rate, near_hz), rate)
    for group in groups:
        first, end = group[0].first, group[-1].first + group[-1].frames
        part = samples if len(groups) == 1 else samples[first:end]
        pieces = group
        is_higher = _is_an_octave_higher(group) and (over_drones or not _has_its_first(group))
        if 2 * near_hz < HIGHEST_HZ and is_higher:
            pieces = _pieces_of(part, rate, 2 * group[0].sounds.hz)
        if pieces:
            begins = start if len(groups) == 1 else start + first / rate
            yield _sounding([one.sounds for one in pieces], part, rate, begins)


def _sounding(pieces: list[Harmonics], samples: Samples, rate: int, start: float) -> Sounding:
    hz = np.array([one.hz for one in pieces])
    middle, deviation = agreed(hz, np.array([one.deviation_hz for one in pieces]))
    clear = statistics.median(
        10 * math.log10(float(np.sum(one.amplitudes**2) / np.sum(one.noise**2)) + 1e-9)
        for one in pieces
    )
    heard = int(statistics.median(int(one.heard.sum()) for one in pieces))
    level = 10 * math.log10(float(np.mean(samples.astype(np.float64) ** 2)) + 1e-12)
    return Sounding(start, len(samples) / rate, middle, deviation, level, clear, heard)


def _is_an_octave_higher(pieces: list[_Piece]) -> bool:
    """Whether the odd partials are not the tone's own but a drone's, or what a hall has left.

    The first is not asked: a drone's partial under it may be strong.
    """
    odd = sum(float(np.sum(one.sounds.amplitudes[2::2] ** 2)) for one in pieces)
    even = sum(float(np.sum(one.sounds.amplitudes[1::2] ** 2)) for one in pieces)
    return odd < _LEAST_ODD_SHARE * even


def _has_its_first(pieces: list[_Piece]) -> bool:
    """Whether the first partial is strong and stays so, as in some reeds the only odd one does."""
    first = np.array([float(one.sounds.amplitudes[0]) for one in pieces])
    even = sum(float(np.sum(one.sounds.amplitudes[1::2] ** 2)) for one in pieces)
    is_strong = float(np.sum(first**2)) > _LEAST_FIRST_SHARE * even
    return is_strong and len(first) > 1 and first[-1] > _LEAST_FIRST_HELD * first[0]


def agreed(values: NDArray[np.float64], deviations: NDArray[np.float64]) -> tuple[float, float]:
    """Return the mean of measurements, wild ones left out, and its deviation.

    Parameters
    ----------
    values, deviations:
        Shape (measurements,), at least one; what noise alone does to each.
    """
    apart = np.abs(values - np.median(values))
    scatter = 1.4826 * float(np.median(apart))
    known = np.sqrt(deviations**2 + scatter**2 + 1e-9)
    kept = apart <= 3.0 * known
    sure = 1 / known[kept] ** 2
    mean = float(np.sum(values[kept] * sure) / np.sum(sure))
    return mean, float(1 / math.sqrt(np.sum(sure)))


def chunks(blocks: Iterable[Samples], frames: int) -> Iterator[Samples]:
    """Yield the same samples in blocks of so many frames; the last may be shorter."""
    waiting: list[Samples] = []
    count = 0
    for block in blocks:
        waiting.append(block)
        count += len(block)
        while count >= frames:
            together = np.concatenate(waiting)
            yield together[:frames]
            waiting, count = [together[frames:]], count - frames
    if count:
        yield np.concatenate(waiting)
