"""MIDI as others write it: human timing, ornaments by length, tempo maps, chords."""

from __future__ import annotations

import random
from fractions import Fraction
from pathlib import Path

import mido
import pretty_midi
import pytest

from renderer.errors import RungwiseError
from renderer.notation.midi import read_midi
from renderer.notation.pitch import Note
from renderer.notation.score import Exercise, MelodyNote, Meter
from renderer.notation.written import Reading

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
    with pytest.raises(RungwiseError, match="no track plays one note at a time"):
        read_midi(_pretty(tmp_path, chords))


def test_a_track_is_chosen_by_name_or_number(tmp_path: Path) -> None:
    path = _pretty(tmp_path, [(A, 0.0, 0.5)], [(B, 0.0, 0.5)])
    for part in ("2", "track 2"):
        exercise = read_midi(path, Reading(part=part))
        assert next(exercise.lines[0].melody_notes).note is Note.B
    with pytest.raises(RungwiseError, match=r"no track 'x'.*1 \(Track 1\)"):
        read_midi(path, Reading(part="x"))


def test_keys_off_the_chanter_are_one_report(tmp_path: Path) -> None:
    with pytest.raises(RungwiseError) as caught:
        _read(tmp_path, [(60, 1), (A, 1), (72, 1)])
    assert [problem.place for problem in caught.value.problems] == [
        "bar 1, beat 1", "bar 1, beat 3",
    ]  # fmt: skip
    lower = _read(tmp_path, [(A - 12, 1), (C - 12, 1)], Reading(transpose="auto"))
    assert any("up 12 semitones" in remark for remark in lower.remarks)
