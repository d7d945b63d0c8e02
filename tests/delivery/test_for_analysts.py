"""A track for who goes on with it in Python: arrays and pretty_midi say what the events say."""

from __future__ import annotations

import io

import numpy as np
import pretty_midi

import renderer
from renderer.notation.source_file import Source
from renderer.timing.expand import Timeline
from renderer.timing.timeline import Role

TUNE = "X:1\nT:Tune\nM:2/4\nL:1/8\nQ:1/4=66\nK:HP\n|:{g}A2 {gcd}c2|{Gdc}d2 z2:|\n"


def timeline() -> Timeline:
    return renderer.expand(renderer.read_exercise(Source("tune.abc", TUNE.encode())), count_in=1)


def test_arrays_hold_what_the_chanter_sounds_and_when() -> None:
    track = timeline()
    arrays = renderer.to_arrays(track)
    sounding = [event for event in track if event.note is not None]
    assert arrays.onsets.dtype == arrays.lengths.dtype == np.float64
    assert len(arrays.onsets) == len(sounding) > 10
    assert arrays.onsets.tolist() == [float(event.start) for event in sounding]
    assert arrays.lengths.tolist() == [float(event.length) for event in sounding]
    assert arrays.ids.tolist() == [event.note_id for event in sounding]
    # Concert A, common practice: low A is MIDI's 69, C sounds C sharp.
    assert set(arrays.keys[arrays.roles == "melody"].tolist()) == {69, 73, 74}
    # Low G, the lowest of the nine, is a note too: the throw on D begins with it.
    assert 67 in arrays.keys[arrays.roles == "inner"]
    assert np.all(np.diff(arrays.onsets) > 0)
    graces = arrays.lengths[arrays.roles == "gracenote"]
    assert np.allclose(graces, 0.045, atol=1e-12)


def test_pretty_midi_plays_the_same_times() -> None:
    track = timeline()
    file = renderer.to_pretty_midi(track)
    arrays = renderer.to_arrays(track)
    chanter, metronome = file.instruments
    assert [note.start for note in chanter.notes] == arrays.onsets.tolist()
    assert [note.pitch for note in chanter.notes] == arrays.keys.tolist()
    assert np.allclose(
        [note.end - note.start for note in chanter.notes], arrays.lengths, atol=1e-12
    )
    assert metronome.is_drum
    starts = [float(click.start) for click in track.clicks()]
    assert [note.start for note in metronome.notes] == starts
    # A count-in of a bar and twice two bars of two crotchets, at 66 a minute.
    assert np.allclose(starts, np.arange(10) * 60 / 66)
    # A beat of 66 a minute is no whole number of microseconds.
    assert np.isclose(file.get_tempo_changes()[1][0], 66, atol=1e-3)


def test_pretty_midi_writes_a_file_that_reads_back() -> None:
    file = renderer.to_pretty_midi(timeline())
    written = io.BytesIO()
    file.write(written)
    again = pretty_midi.PrettyMIDI(io.BytesIO(written.getvalue()))
    one, other = file.instruments[0].notes, again.instruments[0].notes
    assert [note.pitch for note in one] == [note.pitch for note in other]
    assert np.allclose([note.start for note in one], [note.start for note in other], atol=1e-3)


def test_a_gracenote_can_be_part_of_the_note_that_it_leads() -> None:
    track = timeline()
    plain = renderer.to_pretty_midi(track, gracenotes=False).instruments[0].notes
    kept = [(event.note, event.role) for event in track if event.note is not None]
    pitches = [note.midi for note, role in kept if role is not Role.GRACENOTE]
    assert [note.pitch for note in plain] == pitches
    whole = sum(float(event.length) for event in track if event.note is not None)
    assert np.isclose(sum(note.end - note.start for note in plain), whole)
