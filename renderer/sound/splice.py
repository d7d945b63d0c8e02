"""The chanter's part: timed events to stretches of frames, each a steady tone or a change.

A change is centred on the frame at which the new note begins. From note to note it is what
`renderer.sound.note_change` makes of the two tones; from and to silence a raised cosine.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property, lru_cache
from itertools import islice

import numpy as np

from renderer.sound.fingers import FingeredEvent, Sounding, is_lower
from renderer.sound.frames import frame_at
from renderer.sound.note_change import CHANGE_S, UNEVEN, Change, Samples, Side, note_changes
from renderer.sound.seeded import share

SILENCE_CHANGE_S = 0.006
"""How long the chanter takes to start or to stop."""

FIRST_CHANGE_S = 0.001
"""How long it takes to start at the track's first frame. The change cannot begin before, so its
middle is half of this late; the slope is still gentler than those of the tone itself."""

_AT_A_TIME = 48
"""How many stretches are taken beforehand, to work out the changes among them together."""


@dataclass(frozen=True, slots=True)
class Stretch:
    """Frames `start` to `stop` (excluded) of the chanter's part.

    It fades from `before` to `after`, or stays steady where they are the same; None is silence.
    `before_since` and `after_since` are the frames at which they began to sound.
    """

    start: int
    stop: int
    before: Sounding | None
    after: Sounding | None
    before_since: int
    after_since: int


def stretches(events: Iterable[FingeredEvent], rate: int, frames: int) -> Iterator[Stretch]:
    """Yield the chanter's part as stretches that tile frames 0 to `frames`.

    Parameters
    ----------
    events:
        The chanter's events in order, tiling the track.
    rate, frames:
        The track's rate and length.
    """
    silence_change = round(SILENCE_CHANGE_S * rate) // 2
    first_change = round(FIRST_CHANGE_S * rate) // 2
    sounding: Sounding | None = None
    at = since = end = 0
    for one in events:
        start, end = end, frame_at(one.end, rate)
        if end <= start or one.sounding == sounding:
            continue
        half = silence_change
        if sounding is not None and one.sounding is not None:
            uneven = 1 + UNEVEN * (2 * share(start) - 1)
            half = round(CHANGE_S * uneven * rate / 2)
        if start:
            half = min(half, (end - start) // 2, start - at)
            first = start - half
        else:
            # Nothing comes before the track: the whole change comes after its first frame.
            half = min(first_change, (end - start) // 4)
            first = 0
        stop = first + 2 * half
        if first > at:
            yield Stretch(at, first, sounding, sounding, since, since)
        if half:
            yield Stretch(first, stop, sounding, one.sounding, since, first)
        at, since = stop, first
        sounding = one.sounding
    if frames > at:
        yield Stretch(at, frames, sounding, sounding, since, since)


@lru_cache(maxsize=64)
def rising_gain(frames: int) -> Samples:
    """Return the gain of what fades in over so many frames, from 0 to 1, shape (frames, 1)."""
    turn = np.pi * (np.arange(frames) + 0.5) / frames
    gain = (0.5 - 0.5 * np.cos(turn)).astype(np.float32)[:, np.newaxis]
    gain.flags.writeable = False
    return gain


@lru_cache(maxsize=64)
def falling_gain(frames: int) -> Samples:
    """Return the gain of what fades out meanwhile: 1 less the rising one, shape (frames, 1)."""
    gain = 1 - rising_gain(frames)
    gain.flags.writeable = False
    return gain


@dataclass(frozen=True, eq=False)
class EndlessTone:
    """A loop that can be read from any frame of the track onwards.

    Parameters
    ----------
    samples:
        Shape (frames, channels).
    shift:
        The frame of the loop that the track's first frame has.
    lag:
        By how many frames a frame the loop falls behind what it should stay in phase with.
    low:
        What of the first channel lies below `note_change.PARTING_HZ`, shape (frames,).
    pan:
        What each channel has of the first.
    """

    samples: Samples
    shift: int = 0
    lag: float = 0.0
    low: Samples | None = None
    pan: tuple[float, ...] = (1.0,)

    @cached_property
    def _largest(self) -> tuple[float, float]:
        one = np.ascontiguousarray(self.samples[:, 0])
        steps = np.diff(one)
        step = max(steps.max(), -steps.min(), abs(one[0] - one[-1]))
        return float(step), float(max(one.max(), -one.min()))

    @property
    def step(self) -> float:
        """The largest step from frame to frame, over the seam too, in the first channel."""
        return self._largest[0]

    @property
    def peak(self) -> float:
        """The highest peak in the first channel."""
        return self._largest[1]

    def made_louder(self, by: float) -> EndlessTone:
        """Return it so many times as loud, in its own place: this one is not to be read again."""
        gain = np.float32(by)
        np.multiply(self.samples, gain, out=self.samples)
        if self.low is not None:
            np.multiply(self.low, gain, out=self.low)
        return EndlessTone(self.samples, self.shift, self.lag, self.low, self.pan)

    def side(self, start: int, frames: int) -> Side:
        """Return so many frames of the first channel from frame `start` on, for a change."""
        low = self.samples[:, 0] if self.low is None else self.low
        at = start % len(low)
        whole, part = self.samples[at : at + frames, 0], low[at : at + frames]
        if len(part) < frames:
            where = np.arange(start, start + frames) % len(low)
            whole, part = self.samples[where, 0], low[where]
        return Side(whole, part, self.step, self.peak)

    def frame(self, start: int, since: int) -> int:
        """Return where to read what sounds at frame `start`, having begun at frame `since`.

        What the loop is behind by then is made up for where the note begins, never while it
        sounds.
        """
        return start + self.shift + round(self.lag * since)

    def copy_to(self, out: Samples, start: int) -> None:
        """Fill `out` (n, channels) with the loop from frame `start` on, however large that is."""
        length = len(self.samples)
        done, position = 0, start % length
        while done < len(out):
            count = min(len(out) - done, length - position)
            out[done : done + count] = self.samples[position : position + count]
            done += count
            position = 0

    def add_to(self, out: Samples, start: int) -> None:
        """Add to `out` (n, channels) the loop from frame `start` on, however large that is."""
        length = len(self.samples)
        done, position = 0, start % length
        while done < len(out):
            count = min(len(out) - done, length - position)
            part = out[done : done + count]
            np.add(part, self.samples[position : position + count], out=part)
            done += count
            position = 0

    def add_faded(self, out: Samples, start: int, gain: Samples) -> None:
        """Add the same multiplied by `gain` (n, 1); meant for short stretches."""
        position = start % len(self.samples)
        part = self.samples[position : position + len(out)]
        if len(part) < len(out):
            # A loop may be shorter than the stretch and come round more than once.
            frames = np.arange(position, position + len(out))
            part = self.samples.take(frames, axis=0, mode="wrap")
        out += part * gain


def with_changes(
    part: Iterable[Stretch], tones: Mapping[Sounding, EndlessTone], noise: Samples
) -> Iterator[tuple[Stretch, Samples | None]]:
    """Yield stretches, and what sounds during those that go from note to note, shape (frames,).

    Parameters
    ----------
    part:
        In order; some are taken beforehand.
    tones:
        What notes and fingerings sound, at their level in the mix.
    noise:
        A loop of noise whose peak is 1, shape (frames,), for the sound of fingers.
    """
    coming = iter(part)
    while some := [(one, _change(one, tones)) for one in islice(coming, _AT_A_TIME)]:
        changes = [change for _, change in some if change is not None]
        sounds = iter(note_changes(changes, noise) if changes else ())
        for one, change in some:
            yield one, None if change is None else next(sounds)


def _change(stretch: Stretch, tones: Mapping[Sounding, EndlessTone]) -> Change | None:
    """Return a stretch as a change from note to note; None if it is none."""
    before, after = stretch.before, stretch.after
    if before == after or before is None or after is None:
        return None
    one, two = tones[before], tones[after]
    early, frames = stretch.start - 1, stretch.stop - stretch.start + 2
    return Change(
        one.side(one.frame(early, stretch.before_since), frames),
        two.side(two.frame(early, stretch.after_since), frames),
        seed=stretch.start,
        falls=is_lower(after, before),
    )


def add_stretch(
    out: Samples,
    first: int,
    stretch: Stretch,
    tones: Mapping[Sounding, EndlessTone],
    change: Samples | None,
) -> None:
    """Add to a block the part of a stretch that falls into it.

    Parameters
    ----------
    out:
        The block, shape (n, channels), whose first frame is frame `first` of the track.
    stretch, change:
        Any stretch of the track, and what sounds during it where it goes from note to note, both
        from `with_changes`.
    tones:
        What notes and fingerings sound, at their level in the mix.
    """
    start = max(stretch.start, first)
    stop = min(stretch.stop, first + len(out))
    if start >= stop:
        return
    part = out[start - first : stop - first]
    before, after = stretch.before, stretch.after
    length = stretch.stop - stretch.start
    inside = slice(start - stretch.start, stop - stretch.start)
    if change is not None and before is not None:
        for channel, share_of in enumerate(tones[before].pan):
            if share_of:
                part[:, channel] += np.float32(share_of) * change[inside]
    elif before == after:
        if before is not None:
            tone = tones[before]
            tone.add_to(part, tone.frame(start, stretch.before_since))
    elif before is None and after is not None:
        tone = tones[after]
        tone.add_faded(part, tone.frame(start, stretch.after_since), rising_gain(length)[inside])
    elif before is not None:
        tone = tones[before]
        tone.add_faded(part, tone.frame(start, stretch.before_since), falling_gain(length)[inside])
