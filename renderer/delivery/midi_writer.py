"""A timeline to a standard MIDI file: what a player, a sequencer or a notation program opens.

Format 1, with a track each for the conductor, the chanter, the drones and the metronome. Events lie
on the tick nearest to their exact time, and a tick is below 0.1 ms at every tempo: very slow music
is written in longer note values (3/4 as 3/2), since MIDI counts at most 32,767 ticks to a quarter.
Instruments are General MIDI's bagpipe and its percussion. The tuning is sent as MIDI Tuning
Standard messages, or as pitch bend for players that ignore those, or left out.
"""

from __future__ import annotations

import io
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction

import mido

from renderer.notation.kept_settings import (
    MIDI_SHIFT,
    MIDI_STRETCH,
    MIDI_TEMPOS,
    MOVEMENTS,
    MOVEMENTS_TOLD,
    decimal_text,
    setting_text,
    settings_of,
)
from renderer.notation.line_names import line_name, tunes_of
from renderer.notation.midi.grid import tempos_told
from renderer.notation.midi.marks import BAR_MARK, NOTE_MARK, PLAIN_UNDER_MS, NoteMark
from renderer.notation.note_parts import parts_of
from renderer.notation.pitch import Note
from renderer.notation.score import Bar, Exercise, MelodyNote, Meter
from renderer.order.settings import Settings
from renderer.sound.midi_tuning import Tuning, bend_of, frequency_word
from renderer.sound.tuning import (
    Chanter,
    PitchStandard,
    Scale,
    bass_drone_hz,
    frequency_hz,
    tenor_drone_hz,
    transposition,
)
from renderer.sound.units import hz_to_key
from renderer.timing.expand import ROLL_COUNT, Timeline
from renderer.timing.timeline import Click, ClickKind, Section, SectionKind

TICK_SECONDS = Fraction(1, 10_000)
"""A tick is shorter than this."""

_TICK_FACTORS = 2520
"""Ticks to a quarter are a multiple of this (2^3 * 3^2 * 5 * 7), so that tuplets fall on ticks."""

_MOST_TICKS = 32_767 // _TICK_FACTORS * _TICK_FACTORS
_LONGEST_GAP_TICKS = 1 << 27
"""A delta time has 28 bits; longer gaps are broken by a harmless message."""

CHANTER_CHANNEL, DRONE_CHANNEL, PERCUSSION_CHANNEL = 0, 1, 9
"""Counted from 0 as mido does; General MIDI's percussion is channel 10 counted from 1."""

BAGPIPE_PROGRAM = 109
"""General MIDI instrument 110 (Bag pipe), counted from 0."""

STANDARD_KIT = 0
"""The first kit, of which General MIDI's percussion keys are."""

CLICK_KEYS = {ClickKind.ACCENT: 76, ClickKind.BEAT: 77, ClickKind.SUBDIVISION: 77}
CLICK_VELOCITIES = {ClickKind.ACCENT: 120, ClickKind.BEAT: 100, ClickKind.SUBDIVISION: 50}
"""General MIDI percussion: high and low wood block. The velocities are a judgement."""

SNARE_KEY = 38
ROLL_STROKES_PER_SECOND = 20
"""General MIDI's acoustic snare, its roll written as single strokes, about so many; they divide
each beat evenly, and the one on the beat stands out (judgement)."""

_CHANTER_VELOCITY, _DRONE_VELOCITY = 100, 60
_ROLL_VELOCITY, _ROLL_BEAT_VELOCITY = 70, 110
_CLICK_SECONDS = Fraction(1, 20)
_BEND_RANGE_SEMITONES = 2


@dataclass(frozen=True, slots=True)
class MidiSound:
    """What the chanter and drones sound.

    Parameters
    ----------
    pitch, scale, chanter:
        As for rendering.
    tuning:
        `mts`, `bend` or `none` (equal temperament at the nearest semitone).
    drones, metronome:
        Whether the drones sound, and whether the metronome is heard during the lines (the count-in
        always is).
    melody:
        Whether the chanter plays.
    """

    pitch: PitchStandard
    scale: Scale
    chanter: Chanter
    tuning: Tuning
    drones: bool
    metronome: bool
    melody: bool

    @property
    def shift(self) -> int:
        """Semitones from a concert A pipe chanter's keys to the keys that are written."""
        semitones, _ = transposition(self.pitch, self.chanter)
        return semitones

    def key(self, note: Note) -> int:
        """The key that a note is written on."""
        return note.midi + self.shift

    def hz(self, note: Note) -> float:
        """What a note sounds."""
        return frequency_hz(note, self.pitch, self.scale, self.chanter)

    @property
    def drone_hz(self) -> dict[int, float]:
        """The drones' keys and what they sound: bass and tenor."""
        tones = (bass_drone_hz(self.pitch), tenor_drone_hz(self.pitch))
        return {round(hz_to_key(hz)): hz for hz in tones}


def midi_sound(settings: Settings) -> MidiSound:
    """Return what chanter and drones sound as settings have it; of their mixes, the first."""
    mixing = settings.mixing
    return MidiSound(
        settings.pitch[0],
        settings.scale,
        settings.chanter,
        settings.tuning,
        drones=mixing.has_drones,
        metronome=mixing.has_click(SectionKind.LINE),
        melody=mixing.has_chanter,
    )


@dataclass(frozen=True, slots=True)
class _GridBar:
    """A bar line in time: where it is, its length in whole notes, its meter and its beat."""

    start: Fraction
    length: Fraction
    meter: Meter
    seconds_per_beat: Fraction

    @property
    def quarter_seconds(self) -> Fraction:
        return self.seconds_per_beat / (self.meter.beat_value * 4)


def _lead_in(section: Section, bar: Bar, spb: Fraction, beats: int) -> Iterator[_GridBar]:
    """Yield the bar lines before a line, so many beats apart."""
    meter = bar.meter
    whole = beats * spb
    start, end = section.start, section.start + section.length
    while start < end:
        # What is short of a bar before a pickup forms one bar with it.
        yield _GridBar(start, beats * meter.beat_value, meter, spb)
        start += whole


def _grid(timeline: Timeline) -> Iterator[_GridBar]:
    """Yield the bar lines of a track; bars of the count-in take in a pickup that follows."""
    filled_to = Fraction(0)
    for section in timeline.sections:
        line = timeline.exercise.lines[section.line - 1]
        chain = timeline.chains[section.line - 1]
        spb = timeline.seconds_per_beat
        bars: Iterable[_GridBar]
        if section.kind in (SectionKind.COUNT_IN, SectionKind.GAP):
            rolled = bool(timeline.rolls) and section.kind is SectionKind.COUNT_IN
            beats = ROLL_COUNT if rolled else line.bars[0].meter.beats
            bars = _lead_in(section, line.bars[0], spb * chain.stretch[0], beats)
        else:
            bars = (
                _GridBar(
                    section.start + start * spb,
                    bar.beats * bar.meter.beat_value,
                    bar.meter,
                    spb * stretch,
                )
                for bar, start, stretch in zip(
                    line.bars, chain.bar_starts, chain.stretch, strict=False
                )
            )
        for bar in bars:
            if bar.start >= filled_to:
                yield bar
            filled_to = max(
                filled_to, bar.start + bar.length / bar.meter.beat_value * bar.seconds_per_beat
            )


def _signature(bar: _GridBar) -> Meter:
    """The meter that the bar fills: its own where it is shorter or longer than written."""
    if bar.length == bar.meter.length:
        return bar.meter
    # In the meter's own unit where it can be, so that a reader counts the same beats.
    unit = max(bar.meter.unit, bar.length.denominator)
    count = bar.length * unit
    if unit & (unit - 1) or unit > 64 or count > 127:
        return bar.meter
    return Meter(int(count), unit)


@dataclass(frozen=True, slots=True)
class _TempoSegment:
    """From a tick on, so many microseconds to a quarter; `seconds` is where MIDI puts the tick."""

    start: Fraction
    tick: int
    seconds: Fraction
    microseconds: int


class _Clock:
    """Turns exact seconds into ticks, with the tempos that MIDI can say."""

    def __init__(self, bars: Sequence[_GridBar]) -> None:
        slowest = max(bar.quarter_seconds for bar in bars)
        self.stretch = 1
        while slowest / self.stretch >= _MOST_TICKS * TICK_SECONDS:
            self.stretch *= 2
        needed = slowest / self.stretch / TICK_SECONDS
        self.ticks_per_quarter = (needed // _TICK_FACTORS + 1) * _TICK_FACTORS
        self.segments: list[_TempoSegment] = []
        for bar in bars:
            microseconds = round(bar.quarter_seconds / self.stretch * 1_000_000)
            if not self.segments:
                self.segments.append(_TempoSegment(Fraction(0), 0, Fraction(0), microseconds))
            elif microseconds != self.segments[-1].microseconds:
                last = self.segments[-1]
                tick = self._tick(bar.start, last)
                seconds = last.seconds + (tick - last.tick) * self._tick_seconds(last)
                self.segments.append(_TempoSegment(bar.start, tick, seconds, microseconds))
        self._at = 0

    def _tick_seconds(self, segment: _TempoSegment) -> Fraction:
        return Fraction(segment.microseconds, 1_000_000 * self.ticks_per_quarter)

    def _tick(self, time: Fraction, segment: _TempoSegment) -> int:
        return segment.tick + round((time - segment.seconds) / self._tick_seconds(segment))

    def tick(self, time: Fraction) -> int:
        """The tick nearest to a time in seconds; fastest for times that rise."""
        segments = self.segments
        if time < segments[self._at].start:
            self._at = 0
        while self._at + 1 < len(segments) and segments[self._at + 1].start <= time:
            self._at += 1
        # A tick before its segment would last as long as the tempo before says.
        return max(segments[self._at].tick, self._tick(time, segments[self._at]))


class _Track:
    """Collects messages at ticks that never fall."""

    def __init__(self, name: str, channel: int | None = None) -> None:
        self._track = mido.MidiTrack()
        self._now = 0
        self._channel = channel
        self.add(0, mido.MetaMessage("track_name", name=name))

    def add(self, tick: int, message: mido.Message | mido.MetaMessage) -> None:
        gap = max(0, tick - self._now)
        while gap > _LONGEST_GAP_TICKS:
            filler = (
                mido.MetaMessage("text", text="")
                if self._channel is None
                else mido.Message("control_change", channel=self._channel, control=7, value=100)
            )
            filler.time = _LONGEST_GAP_TICKS
            self._track.append(filler)
            gap -= _LONGEST_GAP_TICKS
        message.time = gap
        self._track.append(message)
        self._now = max(self._now, tick)

    def note(self, start: int, end: int, key: int, velocity: int) -> None:
        self.add(start, mido.Message("note_on", channel=self._channel, note=key, velocity=velocity))
        self.add(end, mido.Message("note_off", channel=self._channel, note=key, velocity=0))

    def end(self, tick: int) -> mido.MidiTrack:
        self.add(tick, mido.MetaMessage("end_of_track"))
        return self._track


def _parameter(channel: int, number: int, value: int) -> Iterator[mido.Message]:
    """Set a registered parameter (MIDI 1.0: 0 is the bend range, 3 the tuning program)."""
    for control, data in ((101, 0), (100, number), (6, value), (38, 0), (101, 127), (100, 127)):
        yield mido.Message("control_change", channel=channel, control=control, value=data)


def _tuning_messages(tones: dict[int, float]) -> Iterator[mido.Message]:
    """Yield a single note tuning change of tuning program 0 (MTS, real time)."""
    words = [byte for key, hz in sorted(tones.items()) for byte in (key, *frequency_word(hz))]
    yield mido.Message("sysex", data=(0x7F, 0x7F, 0x08, 0x02, 0x00, len(tones), *words))


def _voice_setup(channel: int, sound: MidiSound) -> Iterator[mido.Message]:
    yield mido.Message("program_change", channel=channel, program=BAGPIPE_PROGRAM)
    if sound.tuning == "bend":
        yield from _parameter(channel, 0, _BEND_RANGE_SEMITONES)
    elif sound.tuning == "mts":
        yield from _parameter(channel, 3, 0)


def _cents_off(key: int, hz: float) -> float:
    return 100 * (hz_to_key(hz) - key)


def _conductor(
    timeline: Timeline, sound: MidiSound, clock: _Clock, bars: Sequence[_GridBar]
) -> _Track:
    exercise = timeline.exercise
    track = _Track(exercise.title)
    settings = {
        **settings_of(exercise),
        MOVEMENTS: MOVEMENTS_TOLD,
        MIDI_SHIFT: str(sound.shift),
        MIDI_STRETCH: str(clock.stretch),
    }
    if told := tempos_told(bar.quarter_seconds / clock.stretch * 1_000_000 for bar in bars):
        settings[MIDI_TEMPOS] = told
    if "tempo" in settings:
        settings["tempo"] = decimal_text(timeline.tempo)
    for name, value in settings.items():
        track.add(0, mido.MetaMessage("text", text=setting_text(name, value)))
    marks: list[tuple[int, int, mido.MetaMessage]] = [
        (segment.tick, 0, mido.MetaMessage("set_tempo", tempo=segment.microseconds))
        for segment in clock.segments
    ]
    meter: Meter | None = None
    before: _GridBar | None = None
    for bar in bars:
        follows_on = before is not None and before.length == before.meter.length
        if before is None or bar.meter != before.meter or not follows_on:
            text = setting_text(BAR_MARK, str(bar.meter))
            marks.append((clock.tick(bar.start), 1, mido.MetaMessage("text", text=text)))
        here = _signature(bar)
        # A bar that no signature holds ends where the next one stands.
        was_cut = before is not None and before.length != _signature(before).length
        before = bar
        if here != meter or was_cut:
            meter = here
            unit = max(1, here.unit // clock.stretch)
            count = here.count * unit * clock.stretch // here.unit
            message = mido.MetaMessage(
                "time_signature",
                numerator=min(count, 255),
                denominator=unit,
                clocks_per_click=min(255, int(bar.meter.beat_value * 96 * clock.stretch)),
            )
            marks.append((clock.tick(bar.start), 1, message))
    tunes = tunes_of(timeline.written)
    for section in timeline.sections:
        if section.kind is SectionKind.LINE and section.turn == 1:
            written = timeline.order.line_number(section.line)
            number = timeline.exercise.number_of(section.line - 1)
            text = section.heading or line_name(tunes, written, number)
            marks.append((clock.tick(section.start), 2, mido.MetaMessage("marker", text=text)))
    for tick, _, message in sorted(marks, key=lambda mark: mark[:2]):
        track.add(tick, message)
    return track


def _shortest_plain(exercise: Exercise) -> Fraction:
    """The length in seconds from which on nobody takes a plain note for part of an ornament."""
    inner = [exercise.inner_of(line) for line in exercise.lines]
    lengths = (length for one in inner for length in one.lengths if not length.is_share_of_beat)
    longest = max((length.value for length in lengths), default=0)
    return max(Fraction(PLAIN_UNDER_MS), longest * Fraction(11, 10)) / 1000


def _chanter(timeline: Timeline, sound: MidiSound, clock: _Clock) -> _Track:
    track = _Track("Chanter", CHANTER_CHANNEL)
    if sound.tuning == "mts":
        tones = {sound.key(note): sound.hz(note) for note in Note}
        for message in _tuning_messages(sound.drone_hz | tones):
            track.add(0, message)
    for message in _voice_setup(CHANTER_CHANNEL, sound):
        track.add(0, message)
    bent = 0
    shortest = _shortest_plain(timeline.exercise)
    written: tuple[int, ...] = ()
    for event in timeline:
        if event.note is None or not sound.melody:
            continue
        start, end = clock.tick(event.start), clock.tick(event.end)
        before, written = written, (event.line, event.turn, event.bar, event.item)
        if written != before:
            item = timeline.written.lines[event.line - 1].bars[event.bar - 1].items[event.item - 1]
            if isinstance(item, MelodyNote) and (item.group or event.length < shortest):
                line = timeline.written.lines[event.line - 1]
                mark = NoteMark(item.slots, parts_of(timeline.written, line, item).anchor)
                text = setting_text(NOTE_MARK, str(mark))
                track.add(start, mido.MetaMessage("text", text=text))
        key = sound.key(event.note)
        if sound.tuning == "bend":
            bend = bend_of(_cents_off(key, sound.hz(event.note)), _BEND_RANGE_SEMITONES)
            if bend != bent:
                track.add(start, mido.Message("pitchwheel", channel=CHANTER_CHANNEL, pitch=bend))
                bent = bend
        track.note(start, end, key, _CHANTER_VELOCITY)
    return track


def _drones(timeline: Timeline, sound: MidiSound, clock: _Clock) -> _Track:
    track = _Track("Drones", DRONE_CHANNEL)
    for message in _voice_setup(DRONE_CHANNEL, sound):
        track.add(0, message)
    tones = sound.drone_hz
    if sound.tuning == "bend":
        # The drones are octaves apart, so that one bend tunes them all.
        key, hz = next(iter(tones.items()))
        bend = bend_of(_cents_off(key, hz), _BEND_RANGE_SEMITONES)
        track.add(0, mido.Message("pitchwheel", channel=DRONE_CHANNEL, pitch=bend))
    start, end = clock.tick(timeline.drones_start), clock.tick(timeline.duration)
    for message, tick, velocity in (
        ("note_on", start, _DRONE_VELOCITY),
        ("note_off", end, 0),
    ):
        for key in tones:
            track.add(
                tick, mido.Message(message, channel=DRONE_CHANNEL, note=key, velocity=velocity)
            )
    return track


def _strokes(timeline: Timeline) -> Iterator[tuple[Fraction, int, int]]:
    """Yield the strokes of rolls: start, key and velocity."""
    for roll in timeline.rolls:
        beat = roll.length / roll.beats
        to_a_beat = max(2, round(beat * ROLL_STROKES_PER_SECOND))
        for index in range(to_a_beat * roll.beats):
            velocity = _ROLL_VELOCITY if index % to_a_beat else _ROLL_BEAT_VELOCITY
            yield roll.start + beat * index / to_a_beat, SNARE_KEY, velocity


def _is_heard(click: Click, sound: MidiSound) -> bool:
    return sound.metronome or click.section in (SectionKind.COUNT_IN, SectionKind.GAP)


def _percussion(timeline: Timeline, sound: MidiSound, clock: _Clock) -> _Track:
    track = _Track("Metronome", PERCUSSION_CHANNEL)
    # Some players load no kit until they are asked for one.
    track.add(0, mido.Message("program_change", channel=PERCUSSION_CHANNEL, program=STANDARD_KIT))
    beats = [
        (click.start, CLICK_KEYS[click.kind], CLICK_VELOCITIES[click.kind])
        for click in timeline.clicks()
        if _is_heard(click, sound)
    ]
    beats += _strokes(timeline)
    beats.sort()
    last = Fraction(timeline.duration)
    for index, (start, key, velocity) in enumerate(beats):
        after = beats[index + 1][0] if index + 1 < len(beats) else last
        end = max(start, min(start + _CLICK_SECONDS, after, last))
        track.note(clock.tick(start), clock.tick(end), key, velocity)
    return track


def write_midi(timeline: Timeline, sound: MidiSound) -> bytes:
    """Return a track as a standard MIDI file, format 1.

    Parameters
    ----------
    timeline:
        The track; its events keep their times to within half a tick.
    sound:
        The tuning, and what else sounds.
    """
    bars = list(_grid(timeline))
    clock = _Clock(bars)
    file = mido.MidiFile(type=1, ticks_per_beat=clock.ticks_per_quarter, charset="utf-8")
    end = clock.tick(timeline.duration)
    tracks = [_conductor(timeline, sound, clock, bars), _chanter(timeline, sound, clock)]
    if sound.drones:
        tracks.append(_drones(timeline, sound, clock))
    tracks.append(_percussion(timeline, sound, clock))
    file.tracks.extend(track.end(end) for track in tracks)
    out = io.BytesIO()
    file.save(file=out)
    return out.getvalue()
