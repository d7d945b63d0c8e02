"""MIDI files: onsets, tempos, meters, markers and tuning, read by mido and pretty_midi."""

from __future__ import annotations

import io
import math
import tempfile
from fractions import Fraction
from pathlib import Path

import mido
import pretty_midi
import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from renderer.delivery.midi import MidiSound, Tuning, write_midi
from renderer.notation.abc import read_abc_line
from renderer.notation.compare import music_of
from renderer.notation.length import Length
from renderer.notation.midi import read_midi
from renderer.notation.pitch import Note
from renderer.notation.score import Exercise, Gracenotes, Line, MelodyNote, Meter
from renderer.sound.midi_tuning import word_hz
from renderer.sound.pitch import Chanter, parse_pitch, scale_named
from renderer.timing.expand import Timeline, expand
from tests.notation.strategies import written_exercises

TUNINGS: list[Tuning] = ["mts", "bend", "none"]


def _sound(pitch: str = "A", scale: str = "harmonic", **options: object) -> MidiSound:
    return MidiSound(parse_pitch(pitch), scale_named(scale), **options)  # type: ignore[arg-type]


def _exercise(abc: str = "{g}A2 {d}A2 {gBd}B2 | {gcd}c>d {gef}e2 f2", tempo: int = 60) -> Exercise:
    meter = Meter(3, 4)
    lines = (Line(read_abc_line(abc, meter), "First"), Line(read_abc_line("G6", meter), ""))
    return Exercise("Test", lines, Fraction(tempo))


def _opened(data: bytes) -> mido.MidiFile:
    return mido.MidiFile(file=io.BytesIO(data), charset="utf-8")


def _pretty(data: bytes) -> pretty_midi.PrettyMIDI:
    return pretty_midi.PrettyMIDI(io.BytesIO(data))


def _check_onsets(timeline: Timeline, data: bytes) -> None:
    found = _pretty(data)
    chanter = next(i for i in found.instruments if i.name == "Chanter")
    events = [event for event in timeline if event.note is not None]
    starts = sorted(note.start for note in chanter.notes)
    assert len(starts) == len(events)
    for event, start in zip(events, starts, strict=True):
        assert abs(float(event.start) - start) < 0.0001


@pytest.mark.parametrize("tempo", [10, 17, 59, 60, 73, 120, 400])
def test_pretty_midi_finds_each_onset_within_a_tick_of_its_event(tempo: int) -> None:
    exercise = _exercise("A2 {d}A2 B2 | {g}c2 e4" if tempo > 60 else "{gBd}B4 {g}c2 | A>B e4")
    timeline = expand(exercise, tempo, repeats=3)
    data = write_midi(timeline, _sound())
    _check_onsets(timeline, data)
    file = _opened(data)
    slowest = max(m.tempo for m in file.tracks[0] if m.type == "set_tempo")
    assert slowest / file.ticks_per_beat < 100, "a tick is below 0.1 ms"
    assert file.ticks_per_beat < 32768


def test_an_hour_of_midi_does_not_drift() -> None:
    timeline = expand(_exercise(tempo=70), 70, repeats=500)
    assert timeline.duration > 3600
    # By mido: pretty_midi refuses files of more than ten million ticks, which is 16 minutes here.
    file = _opened(write_midi(timeline, _sound(drones=False)))
    (tempo,) = (m.tempo for m in file.tracks[0] if m.type == "set_tempo")
    tick = 0
    starts = []
    for message in file.tracks[1]:
        tick += message.time
        if message.type == "note_on":
            starts.append(mido.tick2second(tick, file.ticks_per_beat, tempo))
    events = [event for event in timeline if event.note is not None]
    assert len(events) == len(starts)
    worst = max(abs(float(e.start) - start) for e, start in zip(events, starts, strict=True))
    assert worst < 0.0001


@settings(max_examples=25, deadline=None)
@given(written_exercises())
def test_onsets_agree_for_random_exercises(exercise: Exercise) -> None:
    tempo = Fraction(10)
    exercise = Exercise(exercise.title, exercise.lines, tempo, inner=Length(Fraction(100), "ms"))
    timeline = expand(exercise, tempo, gap=1)
    _check_onsets(timeline, write_midi(timeline, _sound()))


def test_the_file_is_format_1_with_tempo_meter_and_a_marker_for_each_line() -> None:
    timeline = expand(_exercise(), 60)
    file = _opened(write_midi(timeline, _sound()))
    assert file.type == 1
    assert [track.name for track in file.tracks] == ["Test", "Chanter", "Drones", "Metronome"]
    conductor = file.tracks[0]
    tick = 0
    markers = []
    for message in conductor:
        tick += message.time
        if message.type == "marker":
            seconds = mido.tick2second(tick, file.ticks_per_beat, 1_000_000)
            markers.append((message.text, round(seconds, 4)))
    # A bar of count-in, two bars of music, a bar of clicks.
    assert markers == [("First", 3.0), ("Line 2", 12.0)]
    meters = [(m.numerator, m.denominator) for m in conductor if m.type == "time_signature"]
    assert meters == [(3, 4)]
    assert [m.tempo for m in conductor if m.type == "set_tempo"] == [1_000_000]


def test_chanter_and_drones_are_general_midis_bagpipe_and_clicks_its_percussion() -> None:
    """General MIDI Level 1: instrument 110 is Bag pipe; percussion is on channel 10."""
    file = _opened(write_midi(expand(_exercise(), 60), _sound()))
    programs = {
        track.name: (m.channel, m.program)
        for track in file.tracks
        for m in track
        if m.type == "program_change"
    }
    assert programs == {"Chanter": (0, 109), "Drones": (1, 109), "Metronome": (9, 0)}
    clicks = [m for m in file.tracks[-1] if m.type == "note_on"]
    # 3 beats of count-in, 6 of the first line, 3 of clicks, 3 of the second.
    assert len(clicks) == 15
    assert {m.channel for m in clicks} == {9}


def _clicks(sound: MidiSound) -> int:
    file = _opened(write_midi(expand(_exercise(), 60), sound))
    return sum(m.type == "note_on" for m in file.tracks[-1])


def test_without_the_metronome_the_count_in_is_still_heard() -> None:
    assert _clicks(_sound(metronome=False)) == 6


@pytest.mark.parametrize("pitch", ["A", "B flat", "478"])
@pytest.mark.parametrize("chanter", list(Chanter))
def test_bends_tune_every_note_to_within_a_twentieth_of_a_cent(
    pitch: str, chanter: Chanter
) -> None:
    timeline = expand(_exercise("GABcde | fgaGa2"), 60)
    sound = _sound(pitch, chanter=chanter, tuning="bend")
    file = _opened(write_midi(timeline, sound))
    bend = 0
    heard = []
    for message in file.tracks[1]:
        if message.type == "pitchwheel":
            bend = message.pitch
        elif message.type == "note_on":
            key = message.note + 2 * bend / 8192
            heard.append(440 * 2 ** ((key - 69) / 12))
    wanted = [sound.hz(event.note) for event in timeline if event.note is not None]
    assert len(heard) == len(wanted)
    for one, other in zip(heard, wanted, strict=True):
        assert abs(1200 * math.log2(one / other)) < 0.05


@pytest.mark.parametrize("scale", ["equal", "MacNeill", "harmonic"])
def test_tuning_messages_tune_every_key_to_within_a_hundredth_of_a_cent(scale: str) -> None:
    sound = _sound("478", scale, tuning="mts")
    file = _opened(write_midi(expand(_exercise(), 60), sound))
    (message,) = [m for m in file.tracks[1] if m.type == "sysex"]
    head, count, rows = message.data[:5], message.data[5], message.data[6:]
    # MTS, universal real time: F0 7F <all devices> 08 02 <program> <count> ...
    assert head == (0x7F, 0x7F, 0x08, 0x02, 0x00)
    assert len(rows) == 4 * count
    tuned = {rows[i]: word_hz(rows[i + 1 : i + 4]) for i in range(0, len(rows), 4)}
    wanted = {sound.key(note): sound.hz(note) for note in Note} | sound.drone_hz
    assert set(tuned) == set(wanted)
    for key, hz in wanted.items():
        assert abs(1200 * math.log2(tuned[key] / hz)) < 0.01


def test_without_tuning_there_are_neither_bends_nor_tuning_messages() -> None:
    file = _opened(write_midi(expand(_exercise(), 60), _sound("478", tuning="none")))
    assert not [m for t in file.tracks for m in t if m.type in ("sysex", "pitchwheel")]


def test_drones_sound_an_octave_and_two_below_the_pipe_chanters_low_a() -> None:
    """Common practice: tenor drones an octave below the pipe chanter's low A, the bass two."""
    file = _opened(write_midi(expand(_exercise(), 60), _sound("A")))
    drones = next(track for track in file.tracks if track.name == "Drones")
    assert sorted(m.note for m in drones if m.type == "note_on") == [45, 57]


def test_the_same_track_gives_the_same_bytes() -> None:
    one, other = (write_midi(expand(_exercise(), 60), _sound()) for _ in range(2))
    assert one == other


def _fits(exercise: Exercise) -> bool:
    """Whether every ornament leaves its note longer than the longest gracenote that is read."""
    return all(
        isinstance(item, MelodyNote)
        and (len(item.slots) == 1 or item.beats >= 1)
        and item.beats >= Fraction(1, 3)
        for line in exercise.lines
        for bar in line.bars
        for item in bar.items
        if isinstance(item, MelodyNote)
    )


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.filter_too_much])
@given(
    written_exercises(),
    st.sampled_from(TUNINGS),
    st.sampled_from(list(Chanter)),
    st.sampled_from(["A", "478"]),
)
def test_midi_read_back_keeps_notes_gracenotes_bars_and_headings(
    exercise: Exercise, tuning: Tuning, chanter: Chanter, pitch: str
) -> None:
    assume(_fits(exercise))
    placement = exercise.gracenotes.placement
    exercise = Exercise(
        exercise.title,
        exercise.lines,
        Fraction(40),
        Gracenotes(Length(Fraction(35), "ms"), placement),
        Length(Fraction(100), "ms"),
    )
    timeline = expand(exercise, 40, count_in=0, gap=0)
    sound = _sound(pitch, tuning=tuning, chanter=chanter)
    with tempfile.NamedTemporaryFile(suffix=".mid") as file:
        file.write(write_midi(timeline, sound))
        file.flush()
        again = read_midi(Path(file.name))
    music = [[(b.meter, music_of(b)) for b in line.bars] for line in exercise.lines]
    assert [[(b.meter, music_of(b)) for b in line.bars] for line in again.lines] == music
    assert [line.heading for line in again.lines] == [line.heading for line in exercise.lines]
    assert again.gracenotes.length == exercise.gracenotes.length
    assert again.tempo == exercise.tempo


def test_movements_opened_to_fifths_of_a_beat_come_back_at_their_places() -> None:
    lines = (Line(read_abc_line("A2 {GdGefA}e2 c2 {GdGefA}e2", Meter(4, 4))),)
    share = Length(Fraction(1, 5), "beat")
    exercise = Exercise("Opened", lines, Fraction(60), inner=share)
    slots = [len(note.slots) for line in exercise.lines for note in line.melody_notes]
    assert max(slots) == 5
    timeline = expand(exercise, 60, count_in=0, gap=0)
    with tempfile.NamedTemporaryFile(suffix=".mid") as file:
        file.write(write_midi(timeline, _sound("A")))
        file.flush()
        again = read_midi(Path(file.name))
    heard = [(e.start, e.length, e.note) for e in expand(again, 60, count_in=0, gap=0)]
    assert heard == [(event.start, event.length, event.note) for event in timeline]
