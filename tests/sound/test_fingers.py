"""Gracenotes as fingers make them: what each sounds, in a timeline and in a track."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest

from renderer.notation.length import Length
from renderer.notation.pitch import Note
from renderer.notation.playing import Inner
from renderer.notation.score import MelodyNote, Slot
from renderer.order.tracks import expand
from renderer.sound.acoustics.fingering_tone import fingered
from renderer.sound.fingers import fingered_events
from renderer.sound.frames import frame_at
from renderer.sound.tuning import Chanter, frequency_hz, parse_pitch, scale_named
from renderer.technique.fingering import Finger, fingering, written
from renderer.timing.timeline import Event, Role
from tests.sound.measuring import cents, pitch_by_phase
from tests.sound.playing import ALONE, doubled, exercise, instrument, rendered

RATE = 44_100


def soundings(*events: tuple[Note | None, Role]) -> list[str]:
    """What these events sound, each a second long: a note's name, or a fingering as written."""
    row = [Event(Fraction(i), Fraction(1), note, role) for i, (note, role) in enumerate(events)]
    return [
        "" if one.sounding is None
        else one.sounding.label if isinstance(one.sounding, Note)
        else written(one.sounding)
        for one in fingered_events(row)
    ]  # fmt: skip


def test_a_gracenote_is_one_finger_lifted_from_what_its_neighbours_share() -> None:
    # By hand, from the chart of fingerings (common practice).
    melody, grace = Role.MELODY, Role.GRACENOTE
    assert soundings((Note.LOW_A, melody), (Note.HIGH_G, grace), (Note.LOW_A, melody)) == [
        "low A", "x -xx | xxx-", "low A",
    ]  # fmt: skip
    # C to E: the little finger, the left ring and the left index are up together.
    assert soundings((Note.C, melody), (Note.HIGH_G, grace), (Note.E, melody))[1] == "x -x- | x---"
    # A strike on E: the left ring closes, low A sounds.
    assert soundings((Note.E, melody), (Note.LOW_A, grace), (Note.E, melody))[1] == "low A"
    # The first note of a line has its own fingers down before its gracenote.
    assert soundings((None, Role.REST), (Note.D, grace), (Note.B, melody)) == [
        "", "x xxx | -x--", "B",
    ]  # fmt: skip


def test_gracenotes_that_are_a_notes_own_fingering_sound_that_note() -> None:
    melody, grace = Role.MELODY, Role.GRACENOTE
    for note, gracenote in ((Note.F, Note.HIGH_G), (Note.C, Note.D), (Note.LOW_A, Note.E)):
        found = soundings((note, melody), (gracenote, grace), (note, melody))
        assert found[1] == gracenote.label


def test_a_crossing_noise_sounds_with_one_hand_moved_and_the_other_not() -> None:
    # C to E with the right hand first: all of it closed but the little finger, the left not yet up.
    noise = (Note.LOW_A, Role.CROSSING_NOISE)
    assert soundings((Note.C, Role.MELODY), noise, (Note.E, Role.MELODY))[1] == "low A"


@pytest.mark.parametrize("chanter", Chanter)
def test_a_long_gracenote_sounds_the_pitch_of_its_fingering_in_a_track(chanter: Chanter) -> None:
    line = tuple(
        MelodyNote(Fraction(1), (Slot(note, Note.HIGH_G),))
        for note in (Note.LOW_A, Note.B, Note.C, Note.D, Note.E, Note.F)
    )
    timeline = expand(exercise(line, gracenote_ms=250), count_in=0)
    played_on = instrument(chanter=chanter, steady=True)
    fingered_track, pure_track = (
        rendered(timeline, replace(ALONE, pure_gracenotes=pure), played_on)[:, 0]
        for pure in (False, True)
    )
    high_g = frequency_hz(Note.HIGH_G, parse_pitch(478), scale_named(), chanter)
    for one in fingered_events(timeline):
        if one.event.role is not Role.GRACENOTE or one.event.start == 0:
            continue
        start, stop = frame_at(one.event.start, RATE), frame_at(one.event.end, RATE)
        middle = slice(start + RATE // 40, stop - RATE // 40)
        flat = 0.0
        if not isinstance(one.sounding, Note):
            assert one.sounding is not None
            flat = fingered(chanter, one.sounding).cents
        heard = pitch_by_phase(fingered_track[middle], high_g, RATE)
        assert cents(heard, high_g) == pytest.approx(flat, abs=1.5)
        pure = pitch_by_phase(pure_track[middle], high_g, RATE)
        assert cents(pure, high_g) == pytest.approx(0, abs=1.5)


def test_a_fingering_has_the_level_and_the_partials_that_the_model_says() -> None:
    bank = instrument(chanter=Chanter.PIPE, steady=True).chanter
    closed = fingering(Note.LOW_A) - {Finger.LEFT_INDEX}
    made, own = bank.tone(closed), bank.tones[Note.HIGH_G]
    wanted = fingered(Chanter.PIPE, closed).levels_db
    usual = fingered(Chanter.PIPE, fingering(Note.HIGH_G)).levels_db
    known = min(len(wanted), len(usual))
    assert known >= 6
    moved = 20 * np.log10(np.abs(made.partials[:known] / own.partials[:known]))
    # No fingering is let have a higher peak than the nine notes: all of it may be a little softer.
    softer = np.asarray(wanted[:known] - usual[:known] - moved)
    assert np.ptp(softer) < 0.01
    assert -0.01 < softer.mean() < 3
    assert np.sqrt(np.mean(moved**2)) > 0.5
    assert bank.tone(closed) is made


def test_pure_gracenotes_sound_the_nine_notes_and_nothing_else() -> None:
    timeline = expand(
        exercise(doubled(Note.LOW_A, Note.B), inner=Inner((Length(Fraction(1, 2), "beat"),)))
    )
    soundings = {one.sounding for one in fingered_events(timeline, pure=True)}
    assert soundings == {None, Note.HIGH_G, Note.LOW_A, Note.B, Note.D}
