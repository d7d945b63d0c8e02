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
    rising, adds, burst, knock = _fades(frames)
    tones = np.concatenate((before.whole, before.low, after.whole, after.low))
    more = (tones.reshape(4, -1) * adds).sum(axis=0)
    at = mixed(seed) % (len(noise) - frames - 2)
    finger = noise[at : at + frames + 2] * burst
    finger *= np.float32(after.peak * 10 ** ((STROKE_DB if falls else LIFT_DB) / 20))
    more += finger
    if falls:
        more += np.float32(after.peak * 10 ** (THUMP_DB / 20)) * knock
    plain = after.whole - before.whole
    plain *= rising
    plain += before.whole
    step, peak = max(before.step, after.step), max(before.peak, after.peak)
    step, peak = step * (1 + SLACK), peak * (1 + SLACK)
    return within_promise(plain, more, step, peak)[1:-1]


def within_promise(plain: Samples, more: Samples, step: float, peak: float) -> Samples:
    """Return a plain fade and as much of what is wished for more as a promise that it keeps allows.

    Parameters
    ----------
    plain, more:
        Shape (frames,); the second is next to nothing at both ends.
    step, peak:
        No step from frame to frame, and no sample, shall be larger.
    """
    frames = len(plain)
    kept, added = both = np.empty((2, 2 * frames - 1), np.float32)
    kept[:frames], added[:frames] = plain, more
    np.subtract(both[:, 1:frames], both[:, : frames - 1], out=both[:, frames:])
    # |kept + share * added| reaches the limit at the share (limit - kept's part towards it) / size.
    kept *= np.sign(added)
    size = np.maximum(np.abs(added), np.float32(1e-9))
    left = np.subtract(np.float32(peak), kept)
    left[frames:] += np.float32(step - peak)
    left /= size
    share = float(left.min())
    return plain + np.float32(min(1.0, max(0.0, share))) * more
