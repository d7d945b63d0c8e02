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
on until it has died away. What the room hears is mixed first, in one channel; what is beside it is
added to each block as it is handed out, so that as little as can be waits for the room.

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

from renderer.sound.balance import (
    TARGET_LUFS,
    Balance,
    TrackTimeline,
    balance,
    drone_channels,
    drones_loop,
    shortfall_lu,
)
from renderer.sound.drones_part import DronesPart, drones_part, standing_in_room
from renderer.sound.fingers import Sounding, fingered_events
from renderer.sound.frames import frame_at
from renderer.sound.instrument import Instrument
from renderer.sound.loudness import pieces_energy
from renderer.sound.mix_settings import Layout, MixSettings, Room
from renderer.sound.noise import noise_loop
from renderer.sound.reverberation import alone_in_room, in_room, tail
from renderer.sound.splice import (
    EndlessTone,
    Stretch,
    add_stretch,
    falling_gain,
    stretches,
    with_changes,
)

Block = NDArray[np.float32]

BLOCK_FRAMES = 24_576
"""Frames in a block: few enough that a stereo block stays in a processor's cache."""

CUT_OFF_S = 0.04
"""How long everything takes to stop at the end of the track. Judgement."""

_REPORTED_SHORTFALL_LU = 0.5
_MEASURED_S, _MEASURED_FRAMES = 13.4, 4_096
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
        levels, room = self.balance, self.settings.room
        if room == "none":
            drones = self._drones_at(levels.gains.drones) if self.settings.has_drones else None
            strokes = self._strokes(levels, levels.rolls)
            return self._blocks(self.channels, levels.tones, drones, strokes)
        return self._in_room(self._heard(levels), self._beside(levels, room))

    def _heard(self, levels: Balance) -> Iterator[Block]:
        """Yield what the room hears, in one channel: of a `split` track the chanter, else all."""
        if self.settings.layout is Layout.SPLIT:
            return self._blocks(1, levels.tones, None, iter(()))
        drones = self._louder(self._plain_drones[0], levels)
        return self._blocks(1, levels.tones, drones, self._strokes(levels, levels.rolls))

    def _beside(self, levels: Balance, room: Room) -> Iterator[Block]:
        """Yield what is added to that, in one channel.

        Of a stereo track it is what its drones have apart, of a `split` track its right channel, in
        the room; of a mono track there is nothing.
        """
        layout = self.settings.layout
        if layout is not Layout.SPLIT:
            apart = self._louder(self._plain_drones[1], levels)
            return iter(()) if apart is None else self._drones_alone(apart)
        if room == "none":
            right, rolls = self._plain_drones[1], levels.rolls
        else:
            right = self._standing
            put = partial(alone_in_room, room=room, rate=self.rate, block_frames=BLOCK_FRAMES)
            rolls = tuple(put(roll) for roll in levels.rolls)
        return self._blocks(1, {}, self._louder(right, levels), self._strokes(levels, rolls))

    def _in_room(self, heard: Iterator[Block], beside: Iterator[Block]) -> Iterator[Block]:
        """Yield the track, given what the room hears and what is beside that."""
        put = partial(in_room, room=self.settings.room, rate=self.rate, block_frames=BLOCK_FRAMES)
        if self.settings.layout is not Layout.SPLIT:
            is_stereo = self.settings.layout is Layout.STEREO
            yield from put(heard, stereo=is_stereo, apart=beside)
            return
        # What is beside is made no sooner than it is needed.
        for left, right in zip(put(heard, stereo=False), beside, strict=False):
            block = np.empty((len(left), 2), np.float32)
            block[:, :1], block[:, 1:] = left, right
            yield block

    def _room_power(self, levels: Balance) -> float:
        """Return by what the room multiplies the power of the track, measured on its beginning.

        What comes back of a tone may strengthen or weaken it, by how long it lasts and what sounded
        before it, so that it cannot be told from the notes alone.
        """
        most = round(_MEASURED_S * self.rate / BLOCK_FRAMES)
        room, layout = self.settings.room, self.settings.layout
        plain = _Power(self.rate)

        def measured(blocks: Iterator[Block]) -> Iterator[Block]:
            for block in islice(blocks, most):
                plain.take(block)
                yield block

        heard = measured(self._heard(levels))
        beside = self._beside(levels, room)
        if layout is Layout.SPLIT:
            # It has been in the room.
            for _ in measured(self._beside(levels, "none")):
                pass
        else:
            beside = measured(beside)
        changed = _Power(self.rate)
        for block in self._in_room(heard, beside):
            changed.take(block)
        # Of a stereo track both channels have the middle, the one with what is apart and the other
        # with its opposite: their powers add up.
        twice = 2 if layout is Layout.STEREO else 1
        before = twice * plain.energy()
        return changed.energy() / before if before else 1.0

    def _blocks(
        self,
        channels: int,
        tones: dict[Sounding, EndlessTone],
        drones: DronesPart | None,
        coming: Iterator[tuple[int, Block]],
        since: int = 0,
    ) -> Iterator[Block]:
        """Yield the blocks of some parts: the chanter's tones, drones, and strokes as they come.

        They begin with frame `since` of the track, before which no tone and no stroke sounds.
        """
        frames, music, cut_off = self.frames, self._music, self._cut_off
        part = fingered_events(self.timeline, pure=self.settings.pure_gracenotes)
        chanter = _Chanter(stretches(part, self.rate, music), tones, noise_loop(self.rate))
        strokes = _Strokes(coming)
        for start in range(since, frames, BLOCK_FRAMES):
            block = np.empty((min(BLOCK_FRAMES, frames - start), channels), np.float32)
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

    def _drones_alone(self, drones: DronesPart) -> Iterator[Block]:
        """Yield the blocks of drones of one channel, which are not to be changed."""
        ends = (self._music - self._cut_off) // BLOCK_FRAMES * BLOCK_FRAMES
        for start in range(0, ends, BLOCK_FRAMES):
            yield drones.during(start, BLOCK_FRAMES)
        yield from self._blocks(1, {}, drones, iter(()), ends)

    @property
    def _music(self) -> int:
        """How many frames of the track have music; what comes after is the room's."""
        return frame_at(self.timeline.duration, self.rate)

    @property
    def _cut_off(self) -> int:
        """How many of these it takes to stop."""
        return min(self._music, round(CUT_OFF_S * self.rate))

    def _drones_at(self, gain: float) -> DronesPart:
        """The drones of each channel, so many times as loud as the instrument has them."""
        loop = drones_loop(drone_channels(self.instrument.drones, self.settings.layout), gain)
        start = frame_at(self.timeline.drones_start, self.rate)
        return drones_part(loop, start, self.rate, steady=self.instrument.steady)

    @cached_property
    def _plain_drones(self) -> tuple[DronesPart | None, DronesPart | None]:
        """The drones in the middle, and beside it, at the level that the instrument has them.

        Each has one channel. They are made once, since a track in a room takes them twice.
        """
        if not self.settings.has_drones:
            return None, None
        drones, layout = self._drones_at(1.0), self.settings.layout
        if layout is Layout.MONO:
            return drones, None
        return (drones.middle, drones.apart) if layout is Layout.STEREO else (None, drones.right)

    @cached_property
    def _standing(self) -> DronesPart | None:
        """The drones of a `split` track in its room, at the level that the instrument has them."""
        drones, room, rate = self._plain_drones[1], self.settings.room, self.rate
        if drones is None:
            return None
        put = partial(alone_in_room, room=room, rate=rate, block_frames=BLOCK_FRAMES)
        after = frame_at(tail(room), rate)
        return standing_in_room(drones, self._music, self._cut_off, after, put)

    @staticmethod
    def _louder(drones: DronesPart | None, levels: Balance) -> DronesPart | None:
        return None if drones is None else drones.louder(levels.gains.drones)

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


class _Power:
    """Measures the power of blocks by the beginning of each."""

    def __init__(self, rate: int) -> None:
        self._rate = rate
        self._pieces: list[Block] = []

    def take(self, block: Block) -> None:
        """Remember a block's beginning, silence after it if it is short."""
        piece = np.zeros((block.shape[1], _MEASURED_FRAMES), np.float32)
        beginning = block[:_MEASURED_FRAMES].T
        piece[:, : beginning.shape[1]] = beginning
        self._pieces.append(piece)

    def energy(self) -> float:
        """Return their K-weighted sum of squares, over all channels."""
        return pieces_energy(np.concatenate(self._pieces), self._rate) if self._pieces else 0.0


def _first_frame(stroke: tuple[int, Block]) -> int:
    return stroke[0]


class _Chanter:
    """Adds the chanter's part to one block after another."""

    def __init__(
        self, part: Iterator[Stretch], tones: dict[Sounding, EndlessTone], noise: Block
    ) -> None:
        self._tones = tones
        self._coming = with_changes(part if tones else (), tones, noise)
        self._next = next(self._coming, None)

    def add_to(self, block: Block, start: int) -> None:
        stop = start + len(block)
        while self._next is not None and self._next[0].start < stop:
            stretch, change = self._next
            add_stretch(block, start, stretch, self._tones, change)
            if stretch.stop > stop:
                break
            self._next = next(self._coming, None)


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
