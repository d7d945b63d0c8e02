"""The mix: a timeline and an instrument to the blocks of a track.

Blocks are 32-bit float arrays (frames, channels), full scale 1, each `BLOCK_FRAMES` long but the
last. They are made one after another from the tone bank, so memory does not grow with the length
of a track, and no second pass is needed: the gain that brings a track to -16 LUFS is known
beforehand (`renderer.sound.balance`).

What sounds:

| mix | chanter | drones | clicks of count-in and gaps, rolls | metronome in the lines |
|---|---|---|---|---|
| full | yes | yes | yes | yes |
| echo | in its turns | yes | yes | yes |
| backing | no | yes | yes | yes |
| chanter | yes | no | yes | no |

Drones and the metronome in the lines can each be switched off. Every mix comes to the same
loudness, so that nobody has to reach for the volume between tracks.

In a room (`renderer.sound.reverberation`) what comes back is added to all that, and the track goes
on until it has died away.

Samples never pass full scale: the gain keeps the peaks of all parts together below -1 dBTP even
where they coincide, so there is no limiter. Nothing is dithered: blocks are floats, and under a
chanter that never falls silent the rounding to 16 bits stays 80 dB below it.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property, partial
from itertools import islice

import numpy as np
from numpy.typing import NDArray

from renderer.sound.balance import TARGET_LUFS, Balance, TrackTimeline, balance, shortfall_lu
from renderer.sound.drones_part import DronesPart, drones_part, standing_in_room
from renderer.sound.fingers import Sounding, fingered_events
from renderer.sound.frames import frame_at
from renderer.sound.instrument import Instrument
from renderer.sound.loudness import block_energy
from renderer.sound.mix_settings import Layout, MixSettings, Room
from renderer.sound.noise import noise_loop
from renderer.sound.reverberation import alone_in_room, in_room, tail
from renderer.sound.splice import (
    EndlessTone,
    Stretch,
    add_stretch,
    falling_gain,
    stretches,
)

Block = NDArray[np.float32]

BLOCK_FRAMES = 24_576
"""Frames in a block: few enough that a stereo block stays in a processor's cache."""

CUT_OFF_S = 0.04
"""How long everything takes to stop at the end of the track. Judgement."""

_REPORTED_SHORTFALL_LU = 0.5
_MEASURED_S, _MEASURED_FRAMES = 20.0, 4_096
"""How much of a track tells what a room does to its power, and how many frames of each block."""


@dataclass(frozen=True, eq=False)
class Track:
    """A track ready to be rendered; iterating yields its blocks, each time anew.

    Parameters
    ----------
    timeline:
        What happens when.
    instrument:
        What it sounds like.
    settings:
        How it is mixed.
    """

    timeline: TrackTimeline
    instrument: Instrument
    settings: MixSettings

    @property
    def rate(self) -> int:
        """Frames a second."""
        return self.instrument.rate

    @property
    def channels(self) -> int:
        """Channels of each block."""
        return self.settings.layout.channels

    @property
    def frames(self) -> int:
        """The length of the track in frames: its music, and what the room adds to it."""
        return frame_at(self.timeline.duration + tail(self.settings.room), self.rate)

    @property
    def loudness_lufs(self) -> float:
        """The integrated loudness that the track will have; minus infinity if nothing sounds."""
        return self.balance.loudness_lufs

    @property
    def remarks(self) -> tuple[str, ...]:
        """Sentences that the user should know about the sound."""
        said = list(self.instrument.remarks)
        if shortfall_lu(self.loudness_lufs) > _REPORTED_SHORTFALL_LU:
            said.append(
                f"The track comes to {self.loudness_lufs:.1f} LUFS instead of {TARGET_LUFS:g}: "
                "its peaks leave no room for more."
            )
        if (softer_db := self.balance.strokes_softer_db) > 0:
            said.append(
                f"Clicks and drum are {softer_db:g} dB softer than asked: the peaks of the track "
                "leave no room for more."
            )
        return tuple(said)

    @cached_property
    def balance(self) -> Balance:
        """Its parts at their final levels: what any player of the same track sounds."""
        power = None if self.settings.room == "none" else self._room_power
        return balance(self.timeline, self.instrument, self.settings, room_power=power)

    def __iter__(self) -> Iterator[Block]:
        return self._in_room(self._parts(self.balance, self.settings.room))

    def _in_room(self, blocks: Iterator[Block]) -> Iterator[Block]:
        room = self.settings.room
        if room == "none":
            return blocks
        return in_room(blocks, room, self.rate, self.settings.layout, BLOCK_FRAMES)

    def _room_power(self, levels: Balance) -> float:
        """Return by what the room multiplies the power of the track, measured on its beginning.

        What comes back of a tone may strengthen or weaken it, by how long it lasts and what sounded
        before it, so that it cannot be told from the notes alone.
        """
        most = round(_MEASURED_S * self.rate / BLOCK_FRAMES)
        plain = 0.0

        def energy(block: Block) -> float:
            return block_energy(block[:_MEASURED_FRAMES], self.rate)

        def measured() -> Iterator[Block]:
            nonlocal plain
            for block in islice(self._parts(levels, "none"), most):
                plain += energy(block)
                yield block

        heard = measured()
        if self.settings.layout is Layout.SPLIT:
            for _ in heard:
                pass
            heard = islice(self._parts(levels, self.settings.room), most)
        changed = sum(energy(block) for block in self._in_room(heard))
        return changed / plain if plain else 1.0

    def _parts(self, levels: Balance, room: Room) -> Iterator[Block]:
        """Yield the blocks of all parts; in a `split` track all but the chanter in the room."""
        frames, music = self.frames, frame_at(self.timeline.duration, self.rate)
        cut_off = min(music, round(CUT_OFF_S * self.rate))
        part = fingered_events(self.timeline, pure=self.settings.pure_gracenotes)
        chanter = _Chanter(stretches(part, self.rate, music), levels.tones, noise_loop(self.rate))
        drones, rolls = self._drones(levels), levels.rolls
        if room != "none" and self.settings.layout is Layout.SPLIT:
            put = partial(_right_in_room, room=room, rate=self.rate)
            rolls = tuple(put(roll) for roll in rolls)
            if drones is not None:
                drones = standing_in_room(
                    drones, music, cut_off, frame_at(tail(room), self.rate), put
                )
        strokes = _Strokes(self._strokes(levels, rolls))
        for start in range(0, frames, BLOCK_FRAMES):
            block = np.empty((min(BLOCK_FRAMES, frames - start), self.channels), np.float32)
            if drones is None:
                block.fill(0.0)
            else:
                drones.fill(block, start)
            chanter.add_to(block, start)
            strokes.add_to(block, start)
            first, end = max(0, music - cut_off - start), max(0, music - start)
            if first < len(block):
                done = start + first - (music - cut_off)
                ending = block[first:end]
                ending *= falling_gain(cut_off)[done : done + len(ending)]
                block[end:] = 0.0
                if drones is not None:
                    drones.add_ending(block[first:], done)
            yield block

    def _drones(self, levels: Balance) -> DronesPart | None:
        if levels.drones is None:
            return None
        start = frame_at(self.timeline.drones_start, self.rate)
        return drones_part(levels.drones, start, self.rate, steady=self.instrument.steady)

    def _strokes(self, levels: Balance, rolls: tuple[Block, ...]) -> Iterator[tuple[int, Block]]:
        """Yield clicks and rolls in order: first frame and sound."""
        rate, settings = self.rate, self.settings
        rolled = (
            (frame_at(roll.start, rate), sound)
            for roll, sound in zip(self.timeline.rolls, rolls, strict=True)
        )
        clicks = (
            (frame_at(click.start, rate), levels.clicks[click.kind])
            for click in self.timeline.clicks()
            if settings.has_click(click.section)
        )
        return heapq.merge(rolled, clicks, key=_first_frame)


def _first_frame(stroke: tuple[int, Block]) -> int:
    return stroke[0]


def _right_in_room(sound: Block, room: Room, rate: int) -> Block:
    """Return a sound of the right channel alone in a room, until what comes back is silent."""
    heard = alone_in_room(sound[:, 1:], room, rate, BLOCK_FRAMES)
    return np.concatenate((np.zeros_like(heard), heard), axis=1)


class _Chanter:
    """Adds the chanter's part to one block after another."""

    def __init__(
        self, part: Iterator[Stretch], tones: dict[Sounding, EndlessTone], noise: Block
    ) -> None:
        self._tones = tones
        self._noise = noise
        self._stretches = part if tones else iter(())
        self._stretch = next(self._stretches, None)

    def add_to(self, block: Block, start: int) -> None:
        stop = start + len(block)
        while self._stretch is not None and self._stretch.start < stop:
            add_stretch(block, start, self._stretch, self._tones, self._noise)
            if self._stretch.stop > stop:
                break
            self._stretch = next(self._stretches, None)


class _Strokes:
    """Adds clicks and rolls to one block after another."""

    def __init__(self, strokes: Iterator[tuple[int, Block]]) -> None:
        self._coming = strokes
        self._next = next(strokes, None)
        self._sounding: list[tuple[int, Block]] = []

    def add_to(self, block: Block, start: int) -> None:
        stop = start + len(block)
        while self._next is not None and self._next[0] < stop:
            self._sounding.append(self._next)
            self._next = next(self._coming, None)
        if not self._sounding:
            return
        for at, sound in self._sounding:
            first, last = max(at, start), min(at + len(sound), stop)
            block[first - start : last - start] += sound[first - at : last - at]
        self._sounding = [s for s in self._sounding if s[0] + len(s[1]) > stop]


def mix_track(timeline: TrackTimeline, instrument: Instrument, settings: MixSettings) -> Track:
    """Prepare a track; iterating over it yields its blocks.

    Parameters
    ----------
    timeline:
        What happens when (`renderer.timing.expand.expand`).
    instrument:
        What it sounds like (`renderer.sound.instrument.make_instrument`).
    settings:
        How it is mixed.
    """
    return Track(timeline, instrument, settings)
