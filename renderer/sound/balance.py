"""How loud each part of a track is to be: a timeline, an instrument and settings to gains.

A track's loudness is worked out without rendering it: the loops' K-weighted powers are known, and
what they add to each other where they share partials; the timeline's events say which of them
sounds when, and the gating of ITU-R BS.1770 is applied to the powers of 100 ms cells. Powers are
K-weighted mean squares summed over channels, gains are amplitude factors.

A second player of the same track needs what `Balance` holds: the loops at their final levels, or
the `Gains` that bring the instrument's own loops to them, with the shares of `CHANTER_PAN` and
`STROKES_PAN` in each channel, and the `Beginning` of each note.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import lru_cache
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from renderer.notation.pitch import Note
from renderer.sound.bank import DroneBank, Stroke, Tone, ToneBank
from renderer.sound.breaking_off import asking
from renderer.sound.fingers import Sounding, fingered_events
from renderer.sound.instrument import Instrument
from renderer.sound.loudness import BLOCK_S, integrated_lufs, power_at
from renderer.sound.mix_settings import Layout, MixSettings
from renderer.sound.reverberation import impulse
from renderer.sound.rolls import roll_sound
from renderer.sound.splice import EndlessTone
from renderer.sound.unison import Beginning, beginning_over
from renderer.sound.units import db_to_gain
from renderer.timing.timeline import Click, ClickKind, Event, Roll, SectionKind

TARGET_LUFS = -16.0
"""Loudness of every track. Our choice; within the -20 to -16 LUFS that AES TD1004 asks of
programmes for headphones (from memory)."""

HIGHEST_PEAK_DBTP = -1.0
"""No true peak lies above this. Source: EBU R 128."""

_TENOR_SPREAD_DEGREES = 22.0
# Less by what may pass between the samples of a click; loops are sampled at all their phases.
_CEILING = 10 ** ((HIGHEST_PEAK_DBTP - 0.3) / 20)
# By how much clicks and rolls give way, in steps: enough for the usual levels of an echo track in
# mono, the most crowded of all. Judgement.
_STROKES_GIVE_WAY_DB = tuple(-0.5 * step for step in range(13))
_CREST_IN_ROOM = 1.5
_CELL_S = BLOCK_S / 4
_CLICK_REFERENCE_S = 0.05

CHANTER_PAN = {Layout.MONO: (1.0,), Layout.STEREO: (1.0, 1.0), Layout.SPLIT: (1.0, 0.0)}
STROKES_PAN = {Layout.MONO: (1.0,), Layout.STEREO: (1.0, 1.0), Layout.SPLIT: (0.0, 1.0)}
"""What share of the chanter, and of clicks and rolls, each channel of a layout has."""


class TrackTimeline(Protocol):
    """What a mix needs to know of a timeline (`renderer.timing.expand.Timeline`)."""

    @property
    def duration(self) -> Fraction:
        """The track's length in seconds."""

    @property
    def rolls(self) -> tuple[Roll, ...]:
        """The snare drum's rolls."""

    @property
    def drones_start(self) -> Fraction:
        """When the drones strike in, in seconds."""

    def __iter__(self) -> Iterator[Event]:
        """Yield the chanter's events."""

    def clicks(self) -> Iterator[Click]:
        """Yield the metronome's clicks."""


@dataclass(frozen=True, slots=True)
class Gains:
    """By what the loops and strokes of an instrument are multiplied in a track.

    Parameters
    ----------
    chanter:
        The nine notes; times the layout's share (`CHANTER_PAN`) in each channel.
    drones:
        The drones of each channel (`drone_channels`).
    clicks, rolls:
        The metronome's and the drum's strokes; times the layout's share (`STROKES_PAN`).
    """

    chanter: float
    drones: float
    clicks: float
    rolls: float


@dataclass(frozen=True, slots=True, eq=False)
class Balance:
    """The parts of a track at their final levels, every array and loop (frames, channels).

    In a room tones, clicks and rolls have one channel: a room hears one. Of the drones it has the
    gain alone (`drones_loop`).

    Parameters
    ----------
    gains:
        What brought them there.
    beginnings:
        Where the loop of each of the nine notes begins; the same as in `tones`.
    tones:
        The loop of each note and fingering that sounds in the track; empty if the chanter is not
        heard.
    clicks:
        The clicks.
    rolls:
        The rolls in the order of the timeline.
    loudness_lufs:
        The integrated loudness that the track will have; minus infinity if nothing sounds.
    strokes_softer_db:
        By how much clicks and rolls are softer than asked, so that the track is as loud as others.
    """

    gains: Gains
    beginnings: tuple[Beginning, ...]
    tones: dict[Sounding, EndlessTone]
    clicks: dict[ClickKind, NDArray[np.float32]]
    rolls: tuple[NDArray[np.float32], ...]
    loudness_lufs: float
    strokes_softer_db: float


@dataclass(frozen=True, slots=True)
class _Part:
    """The chanter's part: when each sounding ends, in seconds, and what it is."""

    ends: tuple[float, ...]
    soundings: tuple[Sounding | None, ...]

    @classmethod
    def of(cls, timeline: TrackTimeline, settings: MixSettings) -> _Part:
        """Return the part as it is fingered; nothing where the chanter is not heard."""
        if not settings.has_chanter:
            return cls((), ())
        played = [
            (float(one.end), one.sounding)
            for one in asking(fingered_events(timeline, pure=settings.pure_gracenotes))
        ]
        return cls(tuple(end for end, _ in played), tuple(sounding for _, sounding in played))

    @property
    def heard(self) -> tuple[Sounding, ...]:
        """All that sounds, each once."""
        return tuple(one for one in dict.fromkeys(self.soundings) if one is not None)

    @property
    def levelled(self) -> tuple[Sounding, ...]:
        """What decides how loud the chanter is: all that sounds, and if anything, all nine notes.

        So two lines of an exercise are as loud as each other, whichever notes they have.
        """
        return tuple(dict.fromkeys((*Note, *self.heard))) if self.soundings else ()


@dataclass(frozen=True, slots=True)
class _Levels:
    """Gains of the parts relative to one another, and the drones of each channel."""

    chanter: float
    drones: float
    clicks: float
    rolls: float
    drone_channels: tuple[Tone | None, ...]
    drone_power: float
    beginnings: tuple[Beginning, ...]

    def with_strokes(self, db: float) -> _Levels:
        """The same with clicks and rolls louder by so many decibels."""
        factor = db_to_gain(db)
        return replace(self, clicks=self.clicks * factor, rolls=self.rolls * factor)


def balance(
    timeline: TrackTimeline,
    instrument: Instrument,
    settings: MixSettings,
    *,
    room_power: Callable[[Balance], float] | None = None,
) -> Balance:
    """Bring the parts of a track to their levels and the whole of it to -16 LUFS.

    The parts stand to each other as the settings ask. The peaks of all of them together stay below
    -1 dBTP even where they coincide. Where that leaves no room, clicks and rolls are softer than
    asked, by up to 6 dB; then the whole track is quieter. Of a track in a
    room, `room_power` returns by what that multiplies the power of the parts at their levels.
    """
    rolls = tuple(roll_sound(roll, instrument.percussion) for roll in timeline.rolls)
    part = _Part.of(timeline, settings)
    sounded = {sounding: instrument.chanter.tone(sounding) for sounding in part.levelled}
    gains = _relative_gains(instrument, settings, tuple(zip(timeline.rolls, rolls, strict=True)))

    steady, struck = _block_powers(timeline, instrument, settings, gains, rolls, part)

    def fitted(power: float, struck_db: float) -> _Fitted:
        softer = gains.with_strokes(struck_db)
        powers = power * (steady + struck * db_to_gain(struck_db) ** 2)
        room = _CEILING / max(_highest_peak(instrument, settings, softer, rolls, sounded), 1e-12)
        return _Fitted(softer, powers, _gain_to_target(powers), room, -struck_db)

    def chosen(power: float) -> _Fitted:
        each = (fitted(power, db) for db in _STROKES_GIVE_WAY_DB)
        found = next((one for one in each if one.to_target <= one.room), None)
        return found or fitted(power, _STROKES_GIVE_WAY_DB[-1])

    found = chosen(1.0)
    heard = {sounding: sounded[sounding] for sounding in part.heard}
    balanced = _balanced(found, instrument, settings, rolls, heard)
    if room_power is None:
        return balanced
    changed = chosen(room_power(balanced))
    if changed.softer_db == found.softer_db:
        return _made_louder(balanced, changed.gain / found.gain, changed)
    return _balanced(changed, instrument, settings, rolls, heard)


@dataclass(frozen=True, slots=True)
class _Fitted:
    """Parts that stand to each other as they are to.

    `powers` are those of each gating block, `to_target` the gain that makes the track loud enough,
    `room` that which its peaks allow; `softer_db` by how much clicks and rolls gave way.
    """

    gains: _Levels
    powers: NDArray[np.float64]
    to_target: float
    room: float
    softer_db: float

    @property
    def gain(self) -> float:
        """What brings the parts to their levels in the track."""
        return min(self.to_target, self.room)

    @property
    def loudness_lufs(self) -> float:
        """What the track will have then."""
        return integrated_lufs(self.powers, self.gain)


def _balanced(
    found: _Fitted,
    instrument: Instrument,
    settings: MixSettings,
    rolls: Sequence[Stroke],
    heard: Mapping[Sounding, Tone],
) -> Balance:
    """Bring every part to its level."""
    gains, layout = found.gains, settings.layout
    gain = found.gain
    in_room = settings.room != "none"
    chanter_pan = (1.0,) if in_room else CHANTER_PAN[layout]
    pan = (1.0,) if in_room else STROKES_PAN[layout]
    tones = {}
    for sounding, tone in heard.items():
        beginning = gains.beginnings[sounding] if isinstance(sounding, Note) else Beginning()
        level = gain * gains.chanter
        samples = _panned(tone.samples, level, chanter_pan)
        low = None if tone.low is None else np.float32(level) * tone.low
        tones[sounding] = EndlessTone(samples, beginning.shift, beginning.lag, low, chanter_pan)
    clicks = instrument.percussion.clicks.items()
    return Balance(
        Gains(gain * gains.chanter, gain * gains.drones, gain * gains.clicks, gain * gains.rolls),
        gains.beginnings,
        tones,
        {kind: _panned(stroke.samples, gain * gains.clicks, pan) for kind, stroke in clicks},
        tuple(_panned(roll.samples, gain * gains.rolls, pan) for roll in rolls),
        found.loudness_lufs,
        found.softer_db,
    )


def _made_louder(levels: Balance, by: float, found: _Fitted) -> Balance:
    """Return the parts so many times as loud as they were, in their own place: nothing is copied.

    `levels` are not to be read again.
    """
    by = float(np.float32(by))
    for sound in (*levels.clicks.values(), *levels.rolls):
        np.multiply(sound, np.float32(by), out=sound)
    gains = (levels.gains.chanter, levels.gains.drones, levels.gains.clicks, levels.gains.rolls)
    return replace(
        levels,
        gains=Gains(*(by * gain for gain in gains)),
        tones={sounding: tone.made_louder(by) for sounding, tone in levels.tones.items()},
        loudness_lufs=found.loudness_lufs,
    )


def drone_shares() -> tuple[float, float, float]:
    """Return what a channel of two has of the tenor near to it, of the far one, and of the bass."""
    near = math.cos(math.radians(45 - _TENOR_SPREAD_DEGREES))
    far = math.sin(math.radians(45 - _TENOR_SPREAD_DEGREES))
    return near, far, math.sqrt(0.5)


@lru_cache(maxsize=8)
def drone_channels(drones: DroneBank, layout: Layout) -> tuple[Tone | None, ...]:
    """Return what the three drones sound together in each channel; None in a channel without."""
    if layout is Layout.STEREO:
        near, far, middle = drone_shares()
        return drones.blend(near, far, middle), drones.blend(far, near, middle)
    together = drones.blend(1.0, 1.0, 1.0)
    return (together,) if layout is Layout.MONO else (None, together)


@lru_cache(maxsize=8)
def _beginnings(
    chanter: ToneBank, drones: DroneBank | None, layout: Layout
) -> tuple[Beginning, ...]:
    if drones is None:
        return tuple(Beginning() for _ in chanter.tones)
    channels = drone_channels(drones, layout)
    return tuple(beginning_over(channels, tone, CHANTER_PAN[layout]) for tone in chanter.tones)


def _weight(pan: Iterable[float]) -> float:
    return sum(gain**2 for gain in pan)


def _relative_gains(
    instrument: Instrument, settings: MixSettings, rolls: Sequence[tuple[Roll, Stroke]] = ()
) -> _Levels:
    """Give every part its level relative to the mean power of the chanter's nine notes.

    In a track without a chanter clicks and rolls stand to the drones, so that they are about as
    loud in a backing track as in any other.
    """
    layout, levels = settings.layout, settings.levels
    mean = float(np.mean([tone.power for tone in instrument.chanter.tones]))
    reference = mean * _weight(CHANTER_PAN[layout])
    channels: tuple[Tone | None, ...] = ()
    drone_gain = drone_power = 0.0
    if settings.has_drones:
        channels = drone_channels(instrument.drones, layout)
        power = sum(tone.power for tone in channels if tone is not None)
        drone_gain = math.sqrt(reference / power) * db_to_gain(levels.drone)
        drone_power = power * drone_gain**2
    steady = drone_power if drone_power and not settings.has_chanter else reference
    weight = _weight(STROKES_PAN[layout]) / instrument.rate
    beat_power = instrument.percussion.clicks[ClickKind.BEAT].energy * weight / _CLICK_REFERENCE_S
    roll_power = max(
        (sound.energy * weight / float(roll.length) for roll, sound in rolls), default=1.0
    )
    return _Levels(
        db_to_gain(levels.chanter),
        drone_gain,
        math.sqrt(steady / beat_power) * db_to_gain(levels.metronome),
        math.sqrt(steady / roll_power) * db_to_gain(levels.drum),
        channels,
        drone_power,
        _beginnings(instrument.chanter, instrument.drones if settings.has_drones else None, layout),
    )


def _block_powers(
    timeline: TrackTimeline,
    instrument: Instrument,
    settings: MixSettings,
    gains: _Levels,
    rolls: tuple[Stroke, ...],
    part: _Part,
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the power of each 400 ms gating block, all parts at their gains.

    First that of chanter and drones, then that of clicks and rolls.
    """
    duration = float(timeline.duration)
    edges = np.arange(max(4, int(duration / _CELL_S)) + 1) * _CELL_S
    energy = np.zeros(len(edges))

    if settings.has_drones:
        start = min(float(timeline.drones_start), duration)
        energy += np.interp(edges, (start, duration), (0.0, gains.drone_power * (duration - start)))

    if settings.has_chanter:
        weight = gains.chanter**2 * _weight(CHANTER_PAN[settings.layout])
        powers: dict[Sounding | None, float] = {None: 0.0}
        for sounding in part.levelled:
            powers[sounding] = weight * instrument.chanter.tone(sounding).power
        for note, beginning in zip(Note, gains.beginnings, strict=True):
            powers[note] += gains.chanter * gains.drones * beginning.excess_power
        ends = np.array([0.0, *part.ends])
        given = np.cumsum(np.diff(ends) * [powers[sounding] for sounding in part.soundings])
        energy += np.interp(edges, ends, np.concatenate(([0.0], given)))

    struck = np.zeros(len(edges) - 1)
    clicks = instrument.percussion.clicks
    for click in timeline.clicks():
        if settings.has_click(click.section):
            cell = min(int(float(click.start) / _CELL_S), len(struck) - 1)
            struck[cell] += clicks[click.kind].energy * gains.clicks**2
    for roll, sound in zip(timeline.rolls, rolls, strict=True):
        span = (float(roll.start), float(roll.start + roll.length))
        struck += np.diff(np.interp(edges, span, (0.0, sound.energy * gains.rolls**2)))
    struck *= _weight(STROKES_PAN[settings.layout]) / instrument.rate
    return _blocks(np.diff(energy)), _blocks(struck)


def _blocks(cells: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the mean powers of overlapping blocks of four cells, given each cell's energy."""
    return np.asarray(np.convolve(cells, np.ones(4), "valid") / BLOCK_S, np.float64)


def _gain_to_target(powers: NDArray[np.float64]) -> float:
    loudest = float(powers.max())
    if loudest <= 0.0:
        return 1.0
    gain = math.sqrt(power_at(TARGET_LUFS) / loudest)
    # The absolute gate depends on the gain; it settles at once.
    for _ in range(3):
        gain *= db_to_gain(TARGET_LUFS - integrated_lufs(powers, gain))
    return gain


def _highest_peak(
    instrument: Instrument,
    settings: MixSettings,
    gains: _Levels,
    rolls: tuple[Stroke, ...],
    sounded: Mapping[Sounding, Tone],
) -> float:
    """Return the highest peak that the parts at their gains can make together in any channel."""
    layout = settings.layout
    chanter = max((tone.peak for tone in sounded.values()), default=0.0) * gains.chanter
    loudest = max((_mean_square(tone) for tone in sounded.values()), default=0.0)
    back = 0.0 if settings.room == "none" else impulse(settings.room, instrument.rate).energy
    click = max(stroke.peak for stroke in instrument.percussion.clicks.values()) * gains.clicks
    struck = max(click, max((sound.peak for sound in rolls), default=0.0) * gains.rolls)
    highest = 0.0
    for channel in range(layout.channels):
        tone = gains.drone_channels[channel] if gains.drone_channels else None
        drones = 0.0 if tone is None else tone.peak * gains.drones
        stroke_share = STROKES_PAN[layout][channel]
        steady = loudest * (gains.chanter * CHANTER_PAN[layout][channel]) ** 2
        steady += 0.0 if tone is None else _mean_square(tone) * gains.drones**2
        # What comes back in a room is like noise, whose peaks rarely meet the highest of the tones;
        # with this true peaks of all mixes and layouts stayed under -3 dBTP.
        drones += _CREST_IN_ROOM * math.sqrt(back * steady)
        if settings.has_chanter:
            metronome = click if settings.has_click(SectionKind.LINE) else 0.0
            playing = drones + chanter * CHANTER_PAN[layout][channel] + metronome * stroke_share
            highest = max(highest, playing)
        # Outside the lines the chanter rests.
        highest = max(highest, drones + struck * stroke_share)
    return highest


def _mean_square(tone: Tone) -> float:
    return 2 * float(np.sum(np.abs(tone.partials) ** 2, dtype=np.float64))


def _panned(
    samples: NDArray[np.float32], gain: float, pan: tuple[float, ...]
) -> NDArray[np.float32]:
    panned = np.empty((len(samples), len(pan)), np.float32)
    for channel, share in enumerate(pan):
        np.multiply(samples, np.float32(gain * share), out=panned[:, channel])
    return panned


def drones_loop(channels: Sequence[Tone | None], gain: float) -> NDArray[np.float32]:
    """Return the loop of all drones (frames, channels), `gain` times as loud as `channels`.

    Parameters
    ----------
    channels, gain:
        What the drones sound together in each channel (`drone_channels`), and the factor.
    """
    frames = max(len(tone.samples) for tone in channels if tone is not None)
    loop = np.zeros((frames, len(channels)), np.float32)
    for channel, tone in enumerate(channels):
        if tone is not None:
            np.multiply(tone.samples, np.float32(gain), out=loop[:, channel])
    return loop


def shortfall_lu(loudness_lufs: float) -> float:
    """Return by how much a track stays under the target, 0 if it reaches it or is silent."""
    return max(0.0, TARGET_LUFS - loudness_lufs) if math.isfinite(loudness_lufs) else 0.0
