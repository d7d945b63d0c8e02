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

from dataclasses import dataclass
from functools import lru_cache

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
def _fades(frames: int) -> tuple[Samples, Samples, Samples, Samples, Samples]:
    """Return, over `frames` frames and one at either end, what a change is made of.

    The rising share of the plain fade; falling and rising gains of low and of high partials, as
    two arrays (2, frames + 2); the window of a noise and the thump.
    """
    turn = np.pi / 2 * np.clip((np.arange(frames + 2) - 0.5) / frames, 0, 1)
    high_turn = np.clip((turn - np.pi / 4) / HIGH_SHARE + np.pi / 4, 0, np.pi / 2)
    window = np.sin(2 * high_turn)
    thump = np.sin(2 * turn) ** 2 * np.sin(4 * THUMP_PERIODS * turn)
    made = (
        np.sin(turn) ** 2,
        np.stack((np.cos(turn), np.sin(turn))),
        np.stack((np.cos(high_turn), np.sin(high_turn))),
        window * window,
        thump,
    )
    rising, low, high, burst, knock = (part.astype(np.float32) for part in made)
    return rising, low, high, burst, knock


def note_change(before: Side, after: Side, noise: Samples, seed: int, *, falls: bool) -> Samples:
    """Return what sounds during a change, shape (frames,): two less than its sides have.

    Parameters
    ----------
    before, after:
        The two tones.
    noise:
        A loop of noise whose peak is 1.
    seed:
        Which of all strokes it is; no two have the same noise.
    falls:
        Whether fingers come down, to a lower note.
    """
    frames = len(before.whole) - 2
    rising, low, high, burst, knock = _fades(frames)
    plain = before.whole + rising * (after.whole - before.whole)
    wished = low[0] * before.low + low[1] * after.low
    wished += high[0] * (before.whole - before.low) + high[1] * (after.whole - after.low)
    at = mixed(seed) % (len(noise) - frames - 2)
    loud = np.float32(after.peak * 10 ** ((STROKE_DB if falls else LIFT_DB) / 20))
    wished += loud * burst * noise[at : at + frames + 2]
    if falls:
        wished += np.float32(after.peak * 10 ** (THUMP_DB / 20)) * knock
    step, peak = max(before.step, after.step), max(before.peak, after.peak)
    return within_promise(plain, wished, step, peak)[1:-1]


def within_promise(plain: Samples, wished: Samples, step: float, peak: float) -> Samples:
    """Return as much of what is wished for as a promise allows that the plain fade keeps.

    Parameters
    ----------
    plain, wished:
        Shape (frames,), alike at both ends.
    step, peak:
        No step from frame to frame, and no sample, shall be larger.
    """
    more = wished - plain
    kept = np.concatenate((plain, plain[1:] - plain[:-1]))
    added = np.concatenate((more, more[1:] - more[:-1]))
    limit = np.full(len(added), step, np.float32)
    limit[: len(plain)] = peak
    # |kept + share * added| reaches the limit at the share (limit - kept's part towards it) / size.
    size = np.maximum(np.abs(added), np.float32(1e-9))
    share = float(np.min((limit - np.sign(added) * kept) / size))
    return plain + np.float32(min(1.0, max(0.0, share))) * more
