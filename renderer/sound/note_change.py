"""A note change: what two tones sound while a finger uncovers its hole or comes down on it.

High partials, which a small opening already lets out, follow sooner than low ones: what lies above
`PARTING_HZ` goes over in half the time of what lies below. The squares of the gains add up to 1,
since two notes are unrelated sounds, whose power then stays. The finger itself is heard as a short
noise, and one that closes the chanter down to a lower note as a thump.

All that is what is wished for. What is promised is that a change makes no larger step from frame to
frame, and no higher peak, than the larger of the two tones. A fade of the whole tones whose gains
add up to 1 keeps that promise by construction, being an average of them. A change is that fade and
so much of the difference to what is wished for, from none to all, as the promise allows
(`within_promise`).

Samples are arrays (frames,) at the track's rate.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import accumulate

import numpy as np
from numpy.typing import NDArray

from renderer.sound.seeded import mixed

Samples = NDArray[np.float32]

CHANGE_S = 0.005
"""How long low partials take from note to note. Keys of flutes were measured to move for 10 ms (A.
Almeida, R. Chow, J. Smith, J. Wolfe, The kinetics and acoustics of fingering and note transitions
on the flute, J. Acoust. Soc. Am. 126 (2009) 1521-1529); a finger need not go so far for a bare hole
to sound open. Half of it is judgement; more would take the middle out of a gracenote of 25 ms."""

UNEVEN = 0.2
"""By what share of itself a change is longer or shorter than usual: 4 to 6 ms. Judgement."""

HIGH_SHARE = 0.5
"""The share of a change that partials above `PARTING_HZ` take: 2 to 3 ms. Judgement."""

PARTING_HZ = 1_200.0
"""Between low and high partials: rows of open holes of woodwinds let waves through from 1 to 2 kHz
on (A. H. Benade, from memory)."""

LIFT_DB, STROKE_DB, THUMP_DB = -40.0, -32.0, -22.0
"""The peaks of a finger's noise as it lifts and as it comes down, and of the thump, under that of
the new note. Judgement."""

THUMP_PERIODS = 1
"""Of the thump there is room for one period within a change: about 200 Hz, where the air in a whole
chanter sounds."""

_LIFT, _STROKE, _THUMP = (10 ** (db / 20) for db in (LIFT_DB, STROKE_DB, THUMP_DB))

SLACK = 0.0005
"""By what share a change may have larger steps and peaks than its tones: where a change begins at a
tone's very peak, no more than rounding would decide else how much of it is heard, and no second
player that rounds otherwise would play the same."""


@dataclass(frozen=True, slots=True, eq=False)
class Side:
    """One of the two tones of a change, over its frames with one more at either end.

    Parameters
    ----------
    whole, low:
        The tone, and what of it lies below `PARTING_HZ`.
    step, peak:
        Its largest step from frame to frame, and its highest peak, over its whole loop.
    """

    whole: Samples
    low: Samples
    step: float
    peak: float


@lru_cache(maxsize=1024)
def _fades(frames: int) -> tuple[Samples, Samples, Samples, Samples]:
    """Return, over `frames` frames and one at either end, what a change is made of.

    The rising share of the plain fade, shape (frames + 2,); what is wished for more than that fade
    of the tone before, of what is low in it, and of the tone after and its low, shape (4, frames +
    2); the window of a noise and the thump.
    """
    turn = np.pi / 2 * np.clip((np.arange(frames + 2) - 0.5) / frames, 0, 1)
    high_turn = np.clip((turn - np.pi / 4) / HIGH_SHARE + np.pi / 4, 0, np.pi / 2)
    rising = np.sin(turn) ** 2
    more = (
        np.cos(high_turn) - (1 - rising),
        np.cos(turn) - np.cos(high_turn),
        np.sin(high_turn) - rising,
        np.sin(turn) - np.sin(high_turn),
    )
    window = np.sin(2 * high_turn) ** 2
    thump = np.sin(2 * turn) ** 2 * np.sin(4 * THUMP_PERIODS * turn)
    made = (rising, np.stack(more), window, thump)
    rises, adds, burst, knock = (part.astype(np.float32) for part in made)
    return rises, adds, burst, knock


@dataclass(frozen=True, slots=True, eq=False)
class Change:
    """A change from note to note.

    Parameters
    ----------
    before, after:
        The two tones, equally long.
    seed:
        Which of all strokes it is; no two have the same noise.
    falls:
        Whether fingers come down, to a lower note.
    """

    before: Side
    after: Side
    seed: int
    falls: bool


def note_changes(changes: Sequence[Change], noise: Samples) -> list[Samples]:
    """Return what sounds during each of some changes, shape (frames,): two less than its sides.

    They are worked out together, one after the other in one row, since each alone is so short that
    calling for the arithmetic takes longer than it does.

    Parameters
    ----------
    changes:
        At least one.
    noise:
        A loop of noise whose peak is 1.
    """
    lengths = [len(one.before.whole) for one in changes]
    fades = zip(*(_fades(length - 2) for length in lengths), strict=True)
    rising, adds, burst, knock = (np.concatenate(parts, axis=-1) for parts in fades)
    befores, afters = [one.before for one in changes], [one.after for one in changes]
    rows = [
        *(one.whole for one in befores),
        *(one.low for one in befores),
        *(one.whole for one in afters),
        *(one.low for one in afters),
    ]
    tones = np.concatenate(rows).reshape(4, -1)
    before, _, after, _ = tones
    more = (tones * adds).sum(axis=0)
    begins = [
        mixed(one.seed) % (len(noise) - length)
        for one, length in zip(changes, lengths, strict=True)
    ]
    finger = np.concatenate(
        [noise[at : at + length] for at, length in zip(begins, lengths, strict=True)]
    )
    finger *= burst
    finger *= _each(
        [one.after.peak * (_STROKE if one.falls else _LIFT) for one in changes], lengths
    )
    more += finger
    more += (
        _each([one.after.peak * _THUMP if one.falls else 0.0 for one in changes], lengths) * knock
    )
    plain = after - before
    plain *= rising
    plain += before
    sides = [(one.before, one.after) for one in changes]
    steps = [max(one.step, two.step) * (1 + SLACK) for one, two in sides]
    peaks = [max(one.peak, two.peak) * (1 + SLACK) for one, two in sides]
    sound = within_promise(plain, more, lengths, steps, peaks)
    ends = accumulate(lengths)
    return [sound[end - length + 1 : end - 1] for end, length in zip(ends, lengths, strict=True)]


def note_change(before: Side, after: Side, noise: Samples, seed: int, *, falls: bool) -> Samples:
    """Return what sounds during a single change, as `note_changes` does."""
    (sound,) = note_changes([Change(before, after, seed, falls)], noise)
    return sound


def within_promise(
    plain: Samples,
    more: Samples,
    lengths: Sequence[int],
    steps: Sequence[float],
    peaks: Sequence[float],
) -> Samples:
    """Return plain fades and as much of what is wished for more as a promise that they keep allows.

    Parameters
    ----------
    plain, more:
        One fade after the other, shape (sum of `lengths`,); the second is next to nothing at both
        ends of each.
    lengths:
        How many frames each fade has, 2 or more.
    steps, peaks:
        No step from frame to frame within a fade, and no sample, shall be larger.
    """
    begins = np.cumsum([0, *lengths[:-1]])
    highest = _each(peaks, lengths)
    # |kept + share * added| reaches the limit at the share (limit - kept's part towards it) / size.
    share = np.minimum.reduceat(_left(highest, plain, more), begins)
    further = _each([step - peak for step, peak in zip(steps, peaks, strict=True)], lengths)
    left = _left(highest[1:], np.diff(plain), np.diff(more), further[1:])
    # From one fade to the next is no step.
    left[begins[1:] - 1] = np.inf
    share = np.minimum(share, np.minimum.reduceat(left, begins)).clip(0, 1)
    return plain + _each(share, lengths) * more


def _left(limit: Samples, kept: Samples, added: Samples, further: Samples | float = 0.0) -> Samples:
    """Return how often `added` may be added to `kept` up to a limit, which is `further` off."""
    left: Samples = limit - kept * np.sign(added)
    left += further
    left /= np.maximum(np.abs(added), np.float32(1e-9))
    return left


def _each(values: Sequence[float] | Samples, lengths: Sequence[int]) -> Samples:
    """Return each value as often as its length says."""
    return np.repeat(np.asarray(values, np.float32), lengths)
