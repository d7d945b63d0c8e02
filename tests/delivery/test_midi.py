"""MIDI files: onsets, tempos, meters, markers and tuning, read by mido and pretty_midi."""

from __future__ import annotations

import io
import math
import re
import tempfile
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import mido
import numpy as np
import pretty_midi
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from renderer.delivery.midi_writer import MidiSound, midi_sound, write_midi
from renderer.errors import RungwiseError
from renderer.notation.abc.reader import read_abc_line
from renderer.notation.compare import differences
from renderer.notation.length import Length
from renderer.notation.midi.reader import read_midi
from renderer.notation.pitch import Note
from renderer.notation.playing import BOOK, EVEN, Inner
from renderer.notation.score import Bar, Exercise, Gracenotes, Line, MelodyNote, Meter, Slot
from renderer.notation.written import Reading
from renderer.order.tracks import expand
from renderer.reading.exercise import with_movements
from renderer.sound.midi_tuning import Tuning, word_hz
from renderer.sound.tuning import Chanter
from renderer.technique.fragments import parse_fragment
from renderer.technique.ornaments import load_book
from renderer.technique.realise import recognise_bars
from renderer.timing.expand import Timeline
from tests.delivery.larkmoor import asked
from tests.notation.strategies import written_exercises
from tests.sampling import examples

TUNINGS: list[Tuning] = ["mts", "bend", "none"]


def _sound(pitch: str = "A", scale: str = "harmonic", **options: object) -> MidiSound:
    return midi_sound(asked(pitch=pitch, scale=scale, **options))


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
    file = _opened(write_midi(timeline, _sound(drone=False)))
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


@examples(25)
@given(written_exercises())
def test_onsets_agree_for_random_exercises(exercise: Exercise) -> None:
    tempo = Fraction(10)
    exercise = Exercise(
        exercise.title, exercise.lines, tempo, inner=Inner((Length(Fraction(100), "ms"),))
    )
    timeline = expand(exercise, tempo, gap=1, repeats=1)
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


@pytest.mark.parametrize("tempo", [60, 90, 117])
@pytest.mark.parametrize("meter", [Meter(3, 4), Meter(2, 4), Meter(6, 8)])
def test_rolls_are_strokes_of_the_snare_that_let_their_beats_be_heard(
    meter: Meter, tempo: int
) -> None:
    """As bands start (common practice): in every meter two rolls of three beats, each with its beat
    of rest, counted in four; drones on the second. General MIDI: key 38 is the acoustic snare.
    """
    exercise = Exercise("Test", (Line(read_abc_line(f"G{meter.count}", meter), ""),), Fraction(60))
    timeline = expand(exercise, tempo, count_in_style="rolls")
    data, beat = write_midi(timeline, _sound()), 60 / tempo
    drum = next(i for i in _pretty(data).instruments if i.is_drum)
    snare = sorted((note.start, note.velocity) for note in drum.notes if note.pitch == 38)
    strokes, velocities = np.array(snare).T
    accented = strokes[velocities > 100]
    assert accented == pytest.approx(beat * np.array([0, 1, 2, 4, 5, 6]), abs=0.001)
    assert velocities[velocities < 100].max() <= 80
    for begins in (0, 4):
        roll = strokes[np.abs(strokes / beat - begins - 1.5) <= 1.501]
        assert np.diff(roll) == pytest.approx(np.diff(roll).mean(), abs=0.001)
        assert 15 < 1 / np.diff(roll).mean() < 25
        assert begins + 2.88 < roll[-1] / beat < begins + 3
    drones = next(i for i in _pretty(data).instruments if i.name == "Drones")
    assert min(note.start for note in drones.notes) == pytest.approx(4 * beat, abs=0.001)
    meters = [m for track in _opened(data).tracks for m in track if m.type == "time_signature"]
    assert meters[0].numerator == (12 if meter.is_compound else 4)
    assert float(timeline.sections[0].length) == pytest.approx(8 * beat)


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


def _timeline(exercise: Exercise) -> Timeline | None:
    """The track at the fastest of some tempos that leaves room for everything, if one does.

    Where notes give way, their written places are not told by MIDI, and `convert` says so.
    """
    for tempo in (300, 143, 60, 20, 10):
        try:
            at = replace(exercise, tempo=Fraction(tempo))
            timeline = expand(at, count_in=0, gap=0, repeats=1)
        except RungwiseError:
            continue
        if not any(re.search(r" ms (late|early)", said) for said in timeline.remarks):
            return timeline
    return None


def _read_back(data: bytes) -> Exercise:
    with tempfile.NamedTemporaryFile(suffix=".mid") as file:
        file.write(data)
        file.flush()
        return read_midi(Path(file.name))


def _through_midi(exercise: Exercise) -> Exercise:
    return _read_back(write_midi(expand(exercise, count_in=0, gap=0, repeats=1), _sound()))


@examples(80)
@given(
    written_exercises(),
    st.sampled_from(TUNINGS),
    st.sampled_from(list(Chanter)),
    st.sampled_from(["A", "478"]),
)
def test_midi_read_back_keeps_everything_of_an_exercise(
    exercise: Exercise, tuning: Tuning, chanter: Chanter, pitch: str
) -> None:
    timeline = _timeline(exercise)
    assume(timeline is not None)
    assert timeline is not None
    _check_onsets(timeline, write_midi(timeline, _sound()))
    again = _read_back(write_midi(timeline, _sound(pitch, tuning=tuning, chanter=chanter)))
    assert differences(timeline.exercise, again) == []
    assert not again.remarks


@pytest.mark.parametrize("share", ["1/2", "1/3", "1/4", "1/5", "3/8", "1/8"])
@pytest.mark.parametrize("code", ["A2 {GdGefA}e4 c2", "A2 {GAG}A4 c2", "B{GdG}A5 {gcd}c2"])
def test_opened_movements_come_back_whatever_their_share(code: str, share: str) -> None:
    line = Line(read_abc_line(code, Meter(4, 4)))
    # Where there is no room for the share, it is the most that there is room for.
    most = min(note.beats / len(note.slots) for note in line.melody_notes)
    inner = Inner((Length(min(Fraction(share), most), "beat"),))
    exercise = Exercise("Opened", (line,), Fraction(60), inner=inner)
    assert differences(exercise, _through_midi(exercise)) == []


def test_plain_notes_that_spell_a_movement_stay_plain() -> None:
    codes = ("{g}B{d}B{g}c{d}c GAGA", "{gBd}B4{gcd}c4")
    bars = (read_abc_line(code, Meter(4, 4)) for code in codes)
    lines = tuple(Line(recognise_bars(line, load_book())) for line in bars)
    for inner in (Inner((Length(Fraction(1, 2), "beat"),)), BOOK, EVEN):
        exercise = Exercise("Drill", lines, inner=inner)
        assert differences(exercise, with_movements(_through_midi(exercise))) == []


def test_short_notes_are_no_gracenotes_where_the_file_says_so() -> None:
    code = "A/B/c/d/ e/f/g/a/ G2 {g}A/{d}B/{e}c/B/"
    exercise = Exercise("Quick", (Line(read_abc_line(code, Meter(4, 4))),), Fraction(300))
    exercise = replace(exercise, gracenotes=Gracenotes(Length(Fraction(20), "ms")))
    assert differences(exercise, _through_midi(exercise)) == []


@pytest.mark.parametrize(
    "codes",
    [
        ["A2/3 | B4 c4 | d8 | B2 c2 d10/3"],
        ["[M:6/8]A | B3 c3 | B3 c2", "[M:2/2]A4 B4 | [M:6/16]c3"],
        ["[Q:1/4=20]A4 B4 | [Q:1/4=240]c2d2e2f2 | [Q:1/4=37]g8 | z2 a6"],
        ["[M:5/8](7:4:7ABcdefgA | [M:4/4](5:4:5ABcde f2 z2", "B8"],
    ],
)
def test_pickups_meters_tempos_and_tuplets_come_back_from_midi(codes: list[str]) -> None:
    lines = tuple(Line(read_abc_line(code, Meter(4, 4))) for code in codes)
    exercise = Exercise("Odd", lines, Fraction(53))
    assert differences(exercise, _through_midi(exercise)) == []


def test_thousands_of_beats_at_a_tempo_that_midi_rounds_are_read_exactly() -> None:
    lines = tuple(
        Line(read_abc_line("A2B2c2d2 | e2(3fedc4 | " * 50, Meter(4, 4))) for _ in range(10)
    )
    exercise = Exercise("Long", lines, Fraction(190))
    assert differences(exercise, _through_midi(exercise)) == []


def test_notes_after_a_change_to_a_much_faster_tempo_lie_on_their_ticks() -> None:
    tempos = (21, 290, 23, 280, 19, 300)
    code = "".join(f"[Q:1/4={tempo}](3A2B2c2 (5:4:5ABcde | " for tempo in tempos)
    exercise = Exercise("Changing", (Line(read_abc_line(code, Meter(4, 4))),))
    timeline = expand(exercise, repeats=1)
    _check_onsets(timeline, write_midi(timeline, _sound()))


def test_a_heading_that_only_looks_like_a_number_is_kept() -> None:
    exercise = _exercise()
    lines = (replace(exercise.lines[0], heading="Line 7"), exercise.lines[1])
    again = _through_midi(replace(exercise, lines=lines))
    assert [line.heading for line in again.lines] == ["Line 7", ""]


def test_a_first_tempo_mark_stays_beside_the_exercises_tempo() -> None:
    line = Line(read_abc_line("[Q:1/4=80]A8 | [Q:1/4=40]B8", Meter(4, 4)))
    exercise = Exercise("Marked", (line,), Fraction(60))
    assert differences(exercise, _through_midi(exercise)) == []
    half = _read_back(write_midi(expand(exercise, 30, count_in=0), _sound()))
    assert half.tempo == 30
    assert [bar.tempo for bar in half.lines[0].bars] == [40, 20]


def _edited(data: bytes, change: Callable[[mido.Message], mido.Message]) -> bytes:
    file = _opened(data)
    track = file.tracks[1]
    track[:] = [change(m) if m.type in ("note_on", "note_off") else m for m in track]
    out = io.BytesIO()
    file.save(file=out)
    return out.getvalue()


def _opened_birl() -> tuple[Exercise, bytes]:
    birl = MelodyNote(Fraction(2), parse_fragment("G A G A"), "birl")
    bar = Bar((MelodyNote(Fraction(2), (Slot(Note.C),)), birl), Meter(4, 4))
    exercise = Exercise("Birl", (Line((bar,)),), inner=Inner((Length(Fraction(1, 2), "beat"),)))
    return exercise, write_midi(expand(exercise, count_in=0, repeats=1), _sound(tuning="none"))


def test_marks_hold_in_a_track_that_was_moved_to_another_key() -> None:
    exercise, data = _opened_birl()
    with tempfile.NamedTemporaryFile(suffix=".mid") as file:
        file.write(_edited(data, lambda message: message.copy(note=message.note + 12)))
        file.flush()
        again = read_midi(Path(file.name), Reading(transpose="auto"))
    assert with_movements(again).lines == exercise.lines


def test_a_mark_is_not_believed_once_its_notes_have_been_changed() -> None:
    _, data = _opened_birl()
    low_g = Note.LOW_G.midi - 12
    changed = _edited(data, lambda m: m.copy(note=Note.B.midi - 12) if m.note == low_g else m)
    (bar,) = _read_back(changed).lines[0].bars
    notes = [note for note in bar.items if isinstance(note, MelodyNote)]
    assert [(note.note.abc, note.beats) for note in notes] == [
        ("c", 2), ("B", Fraction(1, 2)), ("A", Fraction(1, 2)), ("B", Fraction(1, 2)),
        ("A", Fraction(1, 2)),
    ]  # fmt: skip
