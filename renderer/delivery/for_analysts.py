"""A timeline for those who go on with it in Python: numpy arrays, and pretty_midi's objects.

Times are seconds from the start of the track, as floats; keys are MIDI's, at concert A, where the
chanter's low A is 69. pretty_midi is an optional extra: `pip install 'rungwise[pretty-midi]'`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from renderer.delivery.midi_writer import BAGPIPE_PROGRAM, CLICK_KEYS, CLICK_VELOCITIES
from renderer.errors import failure
from renderer.timing.expand import Timeline
from renderer.timing.timeline import Role

CHANTER_VELOCITY = 100
"""A chanter has one loudness."""

CLICK_SECONDS = 0.05


@dataclass(frozen=True, eq=False, slots=True)
class SoundingArrays:
    """What the chanter of a track sounds, one element a note; rests are left out.

    Parameters
    ----------
    onsets, lengths:
        Seconds, 64-bit floats, shape (n,).
    keys:
        MIDI keys at concert A, integers, shape (n,).
    roles:
        `melody`, `inner`, `gracenote` and so on, strings, shape (n,).
    ids:
        The names of the written notes that scores and sheets share, strings, shape (n,); empty for
        what nobody wrote.
    """

    onsets: NDArray[np.float64]
    lengths: NDArray[np.float64]
    keys: NDArray[np.int64]
    roles: NDArray[np.str_]
    ids: NDArray[np.str_]


def to_arrays(timeline: Timeline) -> SoundingArrays:
    """Return the onsets, lengths, keys and roles of a track's notes.

    Parameters
    ----------
    timeline:
        From `renderer.expand`.
    """
    events = [(event, event.note) for event in timeline if event.note is not None]
    return SoundingArrays(
        onsets=np.array([float(event.start) for event, _ in events], dtype=np.float64),
        lengths=np.array([float(event.length) for event, _ in events], dtype=np.float64),
        keys=np.array([note.midi for _, note in events], dtype=np.int64),
        roles=np.array([event.role.value for event, _ in events], dtype=np.str_),
        ids=np.array([event.note_id for event, _ in events], dtype=np.str_),
    )


def to_pretty_midi(timeline: Timeline, *, gracenotes: bool = True) -> Any:
    """Return a track as a `pretty_midi.PrettyMIDI`: a chanter, and a metronome as drums.

    Parameters
    ----------
    timeline:
        From `renderer.expand`.
    gracenotes:
        Whether gracenotes are notes of their own; otherwise each is part of the note that it leads.

    Returns
    -------
    With the times of the track, exact to the float; no tuning, no drones.

    Raises
    ------
    RungwiseError
        Without pretty_midi.
    """
    try:
        import pretty_midi
    except ImportError:
        raise failure(
            "pretty_midi is not there", "install it: pip install 'rungwise[pretty-midi]'"
        ) from None
    first = timeline.exercise.lines[0].bars[0].meter
    file = pretty_midi.PrettyMIDI(
        initial_tempo=float(timeline.tempo * first.beat_value * 4), resolution=960
    )
    file.time_signature_changes.append(pretty_midi.TimeSignature(first.count, first.unit, 0.0))
    chanter = pretty_midi.Instrument(BAGPIPE_PROGRAM, name="Chanter")
    lead = None
    for event in timeline:
        if event.note is None:
            lead = None
            continue
        begin = float(event.start if lead is None else lead)
        lead = None
        if event.role is Role.GRACENOTE and not gracenotes:
            lead = event.start
            continue
        chanter.notes.append(
            pretty_midi.Note(CHANTER_VELOCITY, event.note.midi, begin, float(event.end))
        )
    metronome = pretty_midi.Instrument(0, is_drum=True, name="Metronome")
    for click in timeline.clicks():
        start = float(click.start)
        metronome.notes.append(
            pretty_midi.Note(
                CLICK_VELOCITIES[click.kind], CLICK_KEYS[click.kind], start, start + CLICK_SECONDS
            )
        )
    file.instruments += [chanter, metronome]
    return file
