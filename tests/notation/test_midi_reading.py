"""MIDI as others write it: human timing, ornaments by length, tempo maps, chords."""

from __future__ import annotations

import random
import re
from fractions import Fraction
from itertools import accumulate, pairwise
from pathlib import Path

import mido
import pretty_midi
import pytest

from renderer.errors import RungwiseError
from renderer.notation.midi.reader import read_midi
from renderer.notation.pitch import Note
from renderer.notation.score import Exercise, MelodyNote, Meter
from renderer.notation.written import Reading, Transposition

TICKS = 480


def _file(
    path: Path, notes: list[tuple[int, float]], *, tempo: int = 1_000_000, meter: str = "4/4"
) -> None:
    """Write keys and lengths in beats one after the other; key 0 is silence."""
    count, unit = map(int, meter.split("/"))
    track = mido.MidiTrack()
    track.append(mido.MetaMessage("track_name", name="Tune"))
    track.append(mido.MetaMessage("set_tempo", tempo=tempo))
    track.append(mido.MetaMessage("time_signature", numerator=count, denominator=unit))
    wait = 0
    for key, beats in notes:
        ticks = round(beats * TICKS)
        if key:
            track.append(mido.Message("note_on", note=key, velocity=90, time=wait))
            track.append(mido.Message("note_off", note=key, velocity=0, time=ticks))
            wait = 0
        else:
            wait += ticks
    file = mido.MidiFile(type=0, ticks_per_beat=TICKS)
    file.tracks.append(track)
    file.save(path)


def _read(tmp_path: Path, notes: list[tuple[int, float]], reading: Reading | None = None,
          **options: object) -> Exercise:  # fmt: skip
    path = tmp_path / "tune.mid"
    _file(path, notes, **options)  # type: ignore[arg-type]
    return read_midi(path) if reading is None else read_midi(path, reading)


Sound = tuple[int, float, float]
"""Key, start and end in quarter notes; of 60 to the minute, if nothing else is said."""


def _track(
    sounds: list[Sound], *, ticks: int = TICKS, channel: int = 0, tempo: int = 1_000_000
) -> mido.MidiTrack:
    events = [(round(start * ticks), 1, key) for key, start, _ in sounds]
    events += [(round(end * ticks), 0, key) for key, _, end in sounds]
    track = mido.MidiTrack([mido.MetaMessage("set_tempo", tempo=tempo)])
    now = 0
    for tick, is_on, key in sorted(events):
        velocity = 90 * is_on
        track.append(
            mido.Message("note_on", note=key, velocity=velocity, channel=channel, time=tick - now)
        )
        now = tick
    return track


def _of_tracks(path: Path, *tracks: mido.MidiTrack, ticks: int = TICKS) -> Path:
    file = mido.MidiFile(type=1 if len(tracks) > 1 else 0, ticks_per_beat=ticks)
    file.tracks.extend(tracks)
    file.save(path)
    return path


def _items(exercise: Exercise) -> list[tuple[str, str]]:
    return [
        ("".join(slot.abc for slot in item.slots) if isinstance(item, MelodyNote) else "z",
         str(item.beats))
        for bar in exercise.lines[0].bars
        for item in bar.items
    ]  # fmt: skip


A, B, C, D, E, G5 = (n.midi for n in (Note.LOW_A, Note.B, Note.C, Note.D, Note.E, Note.HIGH_G))


def test_a_short_note_before_a_longer_one_is_its_gracenote_on_the_beat(tmp_path: Path) -> None:
    notes = [(A, 1), (G5, 0.05), (B, 0.95), (G5, 0.05), (C, 0.05), (D, 0.05), (C, 0.85), (E, 1)]
    exercise = _read(tmp_path, notes)
    assert _items(exercise) == [("A", "1"), ("{g}B", "1"), ("{g}c{d}c", "1"), ("e", "1")]
    assert exercise.gracenotes.placement == "on the beat"
    assert exercise.tempo == 60


def test_gracenotes_that_end_on_the_beat_are_placed_before_it(tmp_path: Path) -> None:
    notes = [(A, 0.95), (G5, 0.05), (B, 0.95), (G5, 0.05), (C, 0.95), (D, 0.05), (C, 1)]
    exercise = _read(tmp_path, notes)
    assert _items(exercise) == [("A", "1"), ("{g}B", "1"), ("{g}c", "1"), ("{d}c", "1")]
    assert exercise.gracenotes.placement == "before the beat"


def test_how_short_a_gracenote_is_can_be_said(tmp_path: Path) -> None:
    notes = [(A, 1), (G5, 0.125), (B, 0.875)]
    assert _items(_read(tmp_path, notes)) == [("A", "1"), ("g", "1/8"), ("B", "7/8")]
    read = _read(tmp_path, notes, Reading(gracenote_under_ms=130))
    assert _items(read) == [("A", "1"), ("{g}B", "1")]


def _led(short: float, *, spread: float = 0.0, ahead: bool = False) -> list[Sound]:
    """Thirty crotchets and quavers in beats of a second, every third led by a short note."""
    chance = random.Random(11)
    starts = [0.0]
    for index in range(30):
        starts.append(starts[-1] + (1, 0.5, 0.5)[index % 3])
    moved = [max(0.0, start + chance.gauss(0, spread)) for start in starts]
    sounds: list[Sound] = []
    for index, (start, end) in enumerate(pairwise(moved)):
        begin = start
        if index % 3 == 1:
            length = short * chance.uniform(0.9, 1.1) if spread else short
            if ahead:
                begin = start - length
                sounds[-1] = (*sounds[-1][:2], begin)
            sounds.append((G5, begin, begin + length))
            begin += length
        sounds.append(((A, B, C, D, E)[index % 5], begin, end))
    return sounds


def _said_of_gracenotes(exercise: Exercise) -> str:
    return next((said for said in exercise.remarks if "read as gracenotes" in said), "")


@pytest.mark.parametrize("ahead", [False, True], ids=["on the beat", "before the beat"])
@pytest.mark.parametrize("spread", [0, 0.012])
@pytest.mark.parametrize("short", [0.03, 0.06, 0.1, 0.14])
def test_gracenotes_are_told_by_the_gap_between_short_and_long_notes(
    tmp_path: Path, short: float, spread: float, ahead: bool
) -> None:
    path = _of_tracks(tmp_path / "t.mid", _track(_led(short, spread=spread, ahead=ahead)))
    exercise = read_midi(path)
    notes = [note for note in exercise.lines[0].melody_notes if not note.tied]
    assert [len(note.group) for note in notes] == [0, 1, 0] * 10
    assert exercise.gracenotes.placement == ("before the beat" if ahead else "on the beat")
    said = _said_of_gracenotes(exercise)
    assert re.match(r"Notes up to \d+ ms are read as gracenotes: the next longer ones last", said)
    assert "--gracenote-under" in said


@pytest.mark.parametrize("spread", [0, 0.012])
@pytest.mark.parametrize("graced", [False, True], ids=["plain", "with gracenotes"])
def test_cut_notes_at_full_tempo_stay_notes(tmp_path: Path, spread: float, graced: bool) -> None:
    """Dotted quavers and semiquavers of a strathspey at 120: the semiquaver has 125 ms."""
    chance = random.Random(5)
    quarters = [0.75, 0.25, 0.25, 0.75, 0.5, 0.5, 1] * 5
    starts = list(accumulate(quarters, initial=0.0))
    moved = [max(0.0, start + chance.gauss(0, 2 * spread)) for start in starts]
    sounds: list[Sound] = []
    for index, (start, end) in enumerate(pairwise(moved)):
        begin = start
        if graced and quarters[index] == 0.75:
            begin += 0.08  # 40 ms
            sounds.append((G5, start, begin))
        sounds.append(((A, B, C, D, E)[index % 5], begin, end))
    path = _of_tracks(tmp_path / "t.mid", _track(sounds, tempo=500_000))
    exercise = read_midi(path)
    notes = [note for line in exercise.lines for note in line.melody_notes if not note.tied]
    assert [bool(note.group) for note in notes] == [
        graced and length == 0.75 for length in quarters
    ]
    assert bool(_said_of_gracenotes(exercise)) == graced


def test_where_no_gap_tells_gracenotes_are_as_short_as_usual(tmp_path: Path) -> None:
    lengths = [0.05, 0.06, 0.075, 0.09, 0.11, 0.14, 0.17, 0.21, 0.26, 0.32, 0.4, 0.5]
    notes = [(key, length) for length in lengths for key in (G5, A)]
    exercise = _read(tmp_path, notes)
    assert "Notes under 80 ms are read as gracenotes: no gap" in _said_of_gracenotes(exercise)


def test_a_length_that_is_said_needs_no_telling(tmp_path: Path) -> None:
    path = _of_tracks(tmp_path / "t.mid", _track(_led(0.1)))
    assert _said_of_gracenotes(read_midi(path))
    assert not _said_of_gracenotes(read_midi(path, Reading(gracenote_under_ms=120)))


def test_human_timing_is_laid_on_quarters_and_thirds_with_the_error_said(tmp_path: Path) -> None:
    chance = random.Random(7)
    beats = [1, 0.5, 0.5, 1, 0.25, 0.75, 2, 1, 1] * 3
    played = [max(0.1, beat + chance.gauss(0, 0.015)) for beat in beats]
    # Each error would push all notes after it; a player keeps the beat.
    notes, ahead = [], 0.0
    for beat, length in zip(beats, played, strict=True):
        notes.append((A, length - ahead))
        ahead = length - ahead - beat + ahead
    exercise = _read(tmp_path, notes)
    found = [float(item.beats) for line in exercise.lines for item in line.melody_notes]
    joined = [item for line in exercise.lines for item in line.melody_notes if not item.tied]
    assert sum(found) == sum(beats)
    assert len(joined) == len(beats)
    (said,) = [remark for remark in exercise.remarks if "were moved" in remark]
    assert "ms on average" in said


def test_silence_is_a_rest_and_phrasing_is_not(tmp_path: Path) -> None:
    notes = [(A, 0.95), (0, 0.05), (B, 1), (0, 1), (C, 1)]
    assert _items(_read(tmp_path, notes)) == [("A", "1"), ("B", "1"), ("z", "1"), ("c", "1")]


def test_notes_are_cut_at_bar_lines_and_tied(tmp_path: Path) -> None:
    exercise = _read(tmp_path, [(A, 1), (B, 3), (C, 2)], meter="3/4")
    bars = exercise.lines[0].bars
    assert [[item.beats for item in bar.items] for bar in bars] == [[1, 2], [1, 2]]
    held = bars[1].items[0]
    assert isinstance(held, MelodyNote)
    assert held.tied


def test_the_tempo_map_is_kept(tmp_path: Path) -> None:
    track = mido.MidiTrack()
    for bar, tempo in enumerate((1_000_000, 1_000_000, 857_143, 857_143)):
        track.append(mido.MetaMessage("set_tempo", tempo=tempo))
        for index in range(4):
            key = (A, B, C, D)[(bar + index) % 4]
            track.append(mido.Message("note_on", note=key, velocity=90))
            track.append(mido.Message("note_off", note=key, time=TICKS))
    file = mido.MidiFile(type=0, ticks_per_beat=TICKS)
    file.tracks.append(track)
    file.save(tmp_path / "tempo.mid")
    exercise = read_midi(tmp_path / "tempo.mid")
    assert exercise.tempo == 60
    assert [bar.tempo for bar in exercise.lines[0].bars] == [None, None, 70, None]


def test_a_shorter_first_bar_is_a_pickup(tmp_path: Path) -> None:
    track = mido.MidiTrack()
    track.append(mido.MetaMessage("time_signature", numerator=1, denominator=4))
    for index in range(4):
        if index == 1:
            track.append(mido.MetaMessage("time_signature", numerator=3, denominator=4))
        track.append(mido.Message("note_on", note=A, velocity=90))
        track.append(mido.Message("note_off", note=A, time=TICKS))
    file = mido.MidiFile(type=0, ticks_per_beat=TICKS)
    file.tracks.append(track)
    file.save(tmp_path / "pickup.mid")
    first, second = read_midi(tmp_path / "pickup.mid").lines[0].bars
    assert (first.meter, first.beats) == (Meter(3, 4), Fraction(1))
    assert second.beats == 3


def _pretty(tmp_path: Path, *instruments: list[tuple[int, float, float]]) -> Path:
    file = pretty_midi.PrettyMIDI(initial_tempo=120)
    for number, notes in enumerate(instruments):
        instrument = pretty_midi.Instrument(program=0, name=f"Track {number + 1}")
        instrument.notes = [pretty_midi.Note(90, key, start, end) for key, start, end in notes]
        file.instruments.append(instrument)
    path = tmp_path / "pretty.mid"
    file.write(str(path))
    return path


def test_the_melody_track_is_found_among_chords(tmp_path: Path) -> None:
    chords = [(48, 0.0, 1.0), (52, 0.0, 1.0), (55, 0.0, 1.0)]
    tune = [(A, 0.0, 0.5), (B, 0.5, 1.0)]
    exercise = read_midi(_pretty(tmp_path, chords, tune))
    assert [note.note for note in exercise.lines[0].melody_notes] == [Note.LOW_A, Note.B]
    said = r"bar 1, beat 1: no track plays one note at a time: E3 of Track 1 begins while C3 sounds"
    with pytest.raises(RungwiseError, match=said):
        read_midi(_pretty(tmp_path, chords))


def test_a_track_is_chosen_by_name_or_number(tmp_path: Path) -> None:
    path = _pretty(tmp_path, [(A, 0.0, 0.5)], [(B, 0.0, 0.5)])
    for part in ("2", "track 2"):
        exercise = read_midi(path, Reading(part=part))
        assert next(exercise.lines[0].melody_notes).note is Note.B
    with pytest.raises(RungwiseError, match=r"no track .* called 'x'.*1 \(Track 1\)"):
        read_midi(path, Reading(part="x"))


def test_keys_off_the_chanter_are_one_report(tmp_path: Path) -> None:
    with pytest.raises(RungwiseError) as caught:
        _read(tmp_path, [(60, 1), (A, 1), (72, 1)])
    assert [problem.place for problem in caught.value.problems] == [
        "bar 1, beat 1", "bar 1, beat 3",
    ]  # fmt: skip
    lower = _read(tmp_path, [(A - 12, 1), (C - 12, 1)], Reading(transpose="auto"))
    assert any("up 12 semitones" in remark for remark in lower.remarks)


TUNE: list[Sound] = [(A, 0, 1), (B, 1, 1.5), (C, 1.5, 2), (D, 2, 2.75), (E, 2.75, 3), (A, 3, 4)]
AS_PLAYED = [("A", "1"), ("B", "1/2"), ("c", "1/2"), ("d", "3/4"), ("e", "1/4"), ("A", "1")]


@pytest.mark.parametrize("ticks", [24, 48, 96, 120, 480, 960, 15_360])
def test_any_resolution_is_read(tmp_path: Path, ticks: int) -> None:
    exercise = read_midi(_of_tracks(tmp_path / "t.mid", _track(TUNE, ticks=ticks), ticks=ticks))
    assert _items(exercise) == AS_PLAYED
    assert not exercise.remarks


@pytest.mark.parametrize("overlap", [0.02, 0.06, 0.1])
def test_a_note_held_a_little_into_the_next_is_legato(tmp_path: Path, overlap: float) -> None:
    held = [(key, start, min(end + overlap, 4)) for key, start, end in TUNE]
    assert _items(read_midi(_of_tracks(tmp_path / "t.mid", _track(held)))) == AS_PLAYED


@pytest.mark.parametrize("heard", [0.95, 0.8, 0.7])
def test_notes_parted_by_way_of_phrasing_keep_their_lengths(tmp_path: Path, heard: float) -> None:
    parted = [(key, start, start + (end - start) * heard) for key, start, end in TUNE]
    assert _items(read_midi(_of_tracks(tmp_path / "t.mid", _track(parted)))) == AS_PLAYED


@pytest.mark.parametrize(
    ("meter", "length", "meant"),
    [("4/4", 4.12, 4), ("4/4", 4.2, 4), ("4/4", 3.85, 4), ("4/4", 1.6, 1.5), ("6/8", 2.6, 2.5),
     ("6/8", 3.15, 3), ("4/4", 0.25, 0.25)],
)  # fmt: skip
def test_the_last_note_ends_where_it_was_meant_to(
    tmp_path: Path, meter: str, length: float, meant: float
) -> None:
    exercise = _read(tmp_path, [(A, 1), (B, 2), (C, 1), (D, 1), (E, 1), (C, length)], meter=meter)
    bars = exercise.lines[0].bars
    quarters = [item.beats * bar.meter.beat_value * 4 for bar in bars for item in bar.items]
    assert sum(quarters) == 6 + meant


@pytest.mark.parametrize("name", ["Conductor", "tempo track", "Track 1", "Untitled", "MASTER"])
def test_what_programs_call_their_first_track_is_no_title(tmp_path: Path, name: str) -> None:
    first = mido.MidiTrack([mido.MetaMessage("track_name", name=name)])
    path = _of_tracks(tmp_path / "wide.mid", first, _track(TUNE))
    assert read_midi(path).title == "wide"
    first[0] = mido.MetaMessage("track_name", name="Tempo changes on D")
    assert read_midi(_of_tracks(path, first, _track(TUNE))).title == "Tempo changes on D"


def test_a_drone_in_the_melodys_own_track_is_left_out_and_said(tmp_path: Path) -> None:
    drones: list[Sound] = [(A - 12, 0, 4), (A - 24, 0, 4)]
    exercise = read_midi(_of_tracks(tmp_path / "t.mid", _track(TUNE + drones)))
    assert _items(exercise) == AS_PLAYED
    assert exercise.remarks == ("Notes held below the melody are left out, as drones.",)


def test_a_drone_in_a_track_of_its_own_is_no_melody(tmp_path: Path) -> None:
    tune, drone = _track(TUNE), _track([(A - 12, 0, 4)])
    path = _of_tracks(tmp_path / "t.mid", drone, tune)
    choices: tuple[Transposition, ...] = (0, "auto")
    for transpose in choices:
        exercise = read_midi(path, Reading(transpose=transpose))
        assert _items(exercise) == AS_PLAYED
        assert exercise.remarks == ("Tracks that hold one note are left out, as drones.",)
    basses = _track([(A - 24, 0, 2), (E - 24, 2, 4)])
    remarks = read_midi(_of_tracks(tmp_path / "t.mid", drone, basses, tune)).remarks
    assert remarks[0] == "2 tracks have a melody; number 3 is read."


def test_drums_on_channel_10_are_no_melody(tmp_path: Path) -> None:
    drums = _track([(A, beat, beat + 0.5) for beat in range(4)], channel=9)
    exercise = read_midi(_of_tracks(tmp_path / "t.mid", drums, _track(TUNE)))
    assert _items(exercise) == AS_PLAYED
    assert not exercise.remarks


def _graced(lead: str) -> list[Sound]:
    """A tune with a group of three short notes of 45 ms, and with single ones."""
    sounds: list[Sound] = []
    groups = {1: (G5,), 2: (G5, C, D), 3: (E,), 5: (G5, A, D), 6: (D,)}
    keys = [A, B, C, D, A, B, C, A]
    for beat, key in enumerate(keys):
        group = groups.get(beat, ())
        ahead = 0.045 * {"none": 0, "first": min(1, len(group)), "all": len(group)}[lead]
        start = beat - ahead
        if sounds:
            sounds[-1] = (*sounds[-1][:2], start)
        for small in group:
            sounds.append((small, start, start + 0.045))
            start += 0.045
        sounds.append((key, start, beat + 1))
    return sounds


@pytest.mark.parametrize("late", [0, 0.015])
@pytest.mark.parametrize(
    ("lead", "placement"),
    [("none", "on the beat"), ("first", "before the beat"), ("all", "before the beat")],
)
def test_however_an_ornament_leads_its_note_is_on_the_beat(
    tmp_path: Path, lead: str, placement: str, late: float
) -> None:
    chance = random.Random(3)
    sounds = _graced(lead)
    moved = [0.0, *(chance.uniform(-late, late) for _ in sounds[1:]), 0.0]
    played = [
        (key, start + moved[i], end + moved[i + 1]) for i, (key, start, end) in enumerate(sounds)
    ]
    exercise = read_midi(_of_tracks(tmp_path / "t.mid", _track(played)))
    notes = list(exercise.lines[0].melody_notes)
    assert [(note.note.abc, note.beats) for note in notes] == [(key, 1) for key in "ABcdABcA"]
    assert [len(note.group) for note in notes] == [0, 1, 3, 1, 0, 3, 1, 0]
    assert exercise.gracenotes.placement == placement


def test_a_note_that_nobody_ended_lasts_to_the_end_of_its_track(tmp_path: Path) -> None:
    track = _track(TUNE)
    track[-1] = mido.MetaMessage("end_of_track", time=track[-1].time)
    assert _items(read_midi(_of_tracks(tmp_path / "t.mid", track))) == AS_PLAYED


def test_notes_without_length_are_no_notes(tmp_path: Path) -> None:
    track = _track(TUNE)
    track.insert(3, mido.Message("note_on", note=E, velocity=90))
    track.insert(4, mido.Message("note_off", note=E, velocity=0))
    assert _items(read_midi(_of_tracks(tmp_path / "t.mid", track))) == AS_PLAYED


def test_a_note_that_is_all_but_endless_is_named(tmp_path: Path) -> None:
    endless = [*TUNE, (B, 5.0, 90_000.0)]
    path = _of_tracks(tmp_path / "t.mid", _track(endless))
    with pytest.raises(RungwiseError) as caught:
        read_midi(path)
    (problem,) = caught.value.problems
    assert problem.place == "bar 2, beat 2"
    assert problem.cause == "the note B4 lasts 89,995 quarter notes"
    assert problem.file == str(path)
    silent = [*TUNE, (B, 90_000.0, 90_001.0)]
    with pytest.raises(RungwiseError, match=r"bar 2, beat 1: a silence lasts 89,996 quarter notes"):
        read_midi(_of_tracks(tmp_path / "t.mid", _track(silent)))


def test_more_bars_than_any_tune_has_are_refused_as_such(tmp_path: Path) -> None:
    sounds = [(A, 60.0 * index, 60.0 * index + 60) for index in range(1_400)]
    with pytest.raises(RungwiseError, match=r"its melody has 21,000 bars. Divide it"):
        read_midi(_of_tracks(tmp_path / "t.mid", _track(sounds)))


def test_more_tracks_than_any_piece_has_are_refused(tmp_path: Path) -> None:
    tracks = [_track([(A, 0, 1)]) for _ in range(600)]
    with pytest.raises(RungwiseError, match="more than 500 of its tracks have notes"):
        read_midi(_of_tracks(tmp_path / "t.mid", *tracks))


def test_film_frames_are_refused_with_a_remedy(tmp_path: Path) -> None:
    path = _of_tracks(tmp_path / "t.mid", _track(TUNE))
    data = bytearray(path.read_bytes())
    # Standard MIDI Files 1.0: the division's upper byte is minus the frames a second.
    data[12:14] = (256 - 25, 40)
    path.write_bytes(data)
    with pytest.raises(RungwiseError, match=r"film frames.*beats as ticks"):
        read_midi(path)
