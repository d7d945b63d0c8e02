"""Note changes: where they are, how long they take, and that none of them clicks."""

from __future__ import annotations

import math
from collections import deque
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise, permutations
from pathlib import Path

import numpy as np
import pytest
import soundfile
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from renderer.notation.pitch import Note
from renderer.order.tracks import expand
from renderer.sound.fingers import fingered_events
from renderer.sound.frames import frame_at
from renderer.sound.mix import mix_track
from renderer.sound.mix_settings import Layout
from renderer.sound.note_change import CHANGE_S, UNEVEN
from renderer.sound.splice import EndlessTone, falling_gain, rising_gain, stretches
from renderer.sound.tuning import Chanter
from renderer.timing.expand import Timeline
from renderer.timing.timeline import Event, Role
from tests.sound.measuring import Samples, onsets_s
from tests.sound.playing import ALONE, doubled, exercise, instrument, mixing, plain, rendered

RATE = 44_100
PURE = replace(ALONE, pure_gracenotes=True)


def changes(timeline: Timeline) -> list[Event]:
    """The events at which the chanter changes to another note, or begins or stops."""
    found = []
    note: Note | None = None
    for event in timeline:
        if event.note is not note:
            found.append(event)
        note = event.note
    return found


notes = st.one_of(st.none(), st.sampled_from(list(Note)))
lengths = st.fractions(min_value=Fraction(1, 1000), max_value=2, max_denominator=10_000)


@given(
    st.lists(st.tuples(notes, lengths), min_size=1, max_size=30),
    st.sampled_from([8000, 11025, 44100]),
)
def test_the_chanters_part_tiles_any_track(
    part: list[tuple[Note | None, Fraction]], rate: int
) -> None:
    events, now = [], Fraction(0)
    for note, length in part:
        events.append(Event(now, length, note, Role.MELODY))
        now += length
    frames = frame_at(now, rate)
    found = list(stretches(fingered_events(events), rate, frames))
    assert sum(one.stop - one.start for one in found) == frames
    if found:
        assert found[0].start == 0
        assert found[-1].stop == frames
    for one, two in pairwise(found):
        assert one.stop == two.start
        assert one.after is two.before
    assert all(type(frame) is int for one in found for frame in (one.start, one.stop))
    # Wherever there is room for it, a change is centred on the frame at which its note begins.
    begins = {frame_at(event.start, rate) for event in events}
    for one in found:
        if one.before is not one.after and one.start:
            assert (one.start + one.stop) // 2 in begins


def test_outside_its_changes_a_note_is_its_tone_to_the_sample() -> None:
    timeline = expand(exercise(doubled(Note.B, Note.LOW_A, Note.C)), count_in=0)
    track = mix_track(timeline, instrument(), PURE)
    samples = np.concatenate(list(track))[:, 0]
    # The tones at this track's gain, read off the note that sounds for longest.
    tones = [tone.samples for tone in instrument().chanter.tones]
    at = np.arange(RATE // 8, RATE // 4)
    gain = float(samples[at[0]] / tones[Note.B][at[0] % len(tones[Note.B])])

    def always(note: Note, where: NDArray[np.int64]) -> Samples:
        return np.asarray(gain * tones[note][where % len(tones[note])], np.float32)

    half = math.ceil(CHANGE_S * (1 + UNEVEN) * RATE / 2)
    for before, event in pairwise(changes(timeline)):
        if before.note is None or event.note is None:
            continue
        start = frame_at(event.start, RATE)
        early, late = (
            np.arange(start - half - 200, start - half),
            np.arange(half, half + 200) + start,
        )
        assert np.allclose(samples[early], always(before.note, early), atol=1e-6)
        assert np.allclose(samples[late], always(event.note, late), atol=1e-6)
        within = np.arange(start - half, start + half)
        assert not np.allclose(samples[within], always(before.note, within), atol=1e-3)


@pytest.mark.parametrize("chanter", Chanter)
@pytest.mark.parametrize("note", Note)
def test_a_track_without_a_count_in_begins_within_a_millisecond_and_without_a_click(
    chanter: Chanter, note: Note
) -> None:
    played_on = instrument(chanter=chanter)
    samples = rendered(expand(exercise(plain(note)), count_in=0), ALONE, played_on)[:, 0]
    tone = played_on.chanter.tones[note].samples
    where = np.arange(len(samples) // 4)
    always = tone[where % len(tone)]
    settled = np.median(samples[2000:4000] / always[2000:4000])
    share = samples[where] / (settled * always)
    assert share[round(0.0006 * RATE) : round(0.001 * RATE)].min() >= 0.5
    assert np.allclose(share[round(0.001 * RATE) + 1 :], 1, atol=1e-3)
    largest = np.abs(np.diff(settled * tone)).max()
    assert abs(samples[0]) <= largest
    assert np.abs(np.diff(samples[:100])).max() <= 1.001 * largest


@pytest.mark.parametrize("chanter", Chanter)
def test_no_note_change_makes_a_larger_step_than_the_steady_tones_do(chanter: Chanter) -> None:
    played_on = instrument(chanter=chanter)
    row = [note for pair in permutations(Note, 2) for note in pair]
    timeline = expand(exercise(plain(*row, beats=Fraction(1, 5))), count_in=0)
    samples = rendered(timeline, ALONE, played_on)[:, 0]
    tones = [tone.samples for tone in played_on.chanter.tones]
    at = np.arange(1000, 2000)
    gain = float(np.median(samples[at] / tones[Note.LOW_G][at]))
    largest = [gain * float(np.abs(np.diff(tone)).max()) for tone in tones]
    peaks = [gain * float(np.abs(tone).max()) for tone in tones]
    half = math.ceil(CHANGE_S * (1 + UNEVEN) * RATE / 2)
    for before, event in pairwise(changes(timeline)):
        assert before.note is not None
        assert event.note is not None
        start = frame_at(event.start, RATE)
        join = samples[start - half - 1 : start + half + 1]
        steady = max(largest[before.note], largest[event.note])
        assert np.abs(np.diff(join)).max() <= 1.001 * steady, f"{before.note} to {event.note}"
        assert np.abs(join).max() <= 1.001 * max(peaks[before.note], peaks[event.note])


@pytest.mark.parametrize("chanter", Chanter)
def test_a_gracenote_of_25_ms_stands_at_its_tones_level_for_more_than_half_its_length(
    chanter: Chanter,
) -> None:
    # Measured on the part that is the gracenote's alone: its fundamental's neighbourhood holds
    # other notes' partials, so the level is that of the gain it is played with.
    timeline = expand(
        exercise(doubled(Note.LOW_A, Note.B, Note.C, Note.E), gracenote_ms=25), count_in=0
    )
    played_on = instrument(chanter=chanter)
    samples = rendered(timeline, PURE, played_on)[:, 0]
    for event in timeline:
        if event.role is not Role.GRACENOTE:
            continue
        assert event.note is not None
        tone = played_on.chanter.tones[event.note].samples
        start, stop = frame_at(event.start, RATE), frame_at(event.end, RATE)
        where = np.arange(start, stop)
        heard, alone = samples[where], tone[where % len(tone)]
        # Level of the gracenote's own tone in a window of 3 ms that moves through it.
        size = 132
        level = [
            float(np.dot(heard[i : i + size], alone[i : i + size]))
            / float(np.dot(alone[i : i + size], alone[i : i + size]))
            for i in range(len(where) - size + 1)
        ]
        settled = float(np.median(level))
        within = np.abs(20 * np.log10(np.maximum(level, 1e-6) / settled)) < 1
        assert within.sum() > 0.5 * len(where)


@pytest.mark.parametrize("chanter", Chanter)
@pytest.mark.parametrize("with_drones", [False, True], ids=["chanter alone", "over drones"])
def test_onsets_heard_in_a_file_are_the_events_within_3_ms(
    chanter: Chanter, with_drones: bool, tmp_path: Path
) -> None:
    lines = (
        doubled(Note.LOW_A, Note.B, Note.C, Note.E, Note.LOW_A),
        plain(*Note, *reversed(Note), beats=Fraction(1, 2)),
    )
    timeline = expand(exercise(*lines), count_in=0, gap=0)
    settings = mixing(metronome=False, layout=Layout.MONO) if with_drones else ALONE
    path = tmp_path / "track.wav"
    soundfile.write(path, rendered(timeline, settings, instrument(chanter=chanter)), RATE)
    samples, rate = soundfile.read(path, dtype="float32")
    heard = onsets_s(samples, rate)
    wanted = np.array([float(event.start) for event in changes(timeline)])
    # Whoever looks at windows cannot see what begins with the file itself.
    wanted = wanted[wanted > 0.05]
    heard = heard[heard > 0.6]
    for onset in wanted[wanted > 0.6]:
        assert np.abs(heard - onset).min() < 0.003, f"nothing heard at {onset:.3f} s"
    for onset in heard:
        assert np.abs(wanted - onset).min() < 0.003, f"nothing happens at {onset:.3f} s"


def test_an_hour_of_one_line_drifts_by_no_sample() -> None:
    # 7 notes at 61 beats a minute: no beat falls on a whole frame.
    row = (Note.LOW_A, Note.B, Note.C, Note.D, Note.E, Note.F, Note.HIGH_G)
    timeline = expand(exercise(plain(*row), tempo=61), repeats=523, count_in=0)
    assert timeline.duration > 3600
    track = mix_track(timeline, instrument(), ALONE)
    frames = 0
    kept: deque[Samples] = deque(maxlen=4)
    for block in track:
        frames += len(block)
        kept.append(block[:, 0])
    last = np.concatenate(kept)
    assert frames == track.frames == (523 * 7 * 60 * RATE * 2 + 61) // (2 * 61)
    starts = [
        one
        for one in stretches(fingered_events(timeline), RATE, track.frames)
        if one.before != one.after
    ]
    # The first begins with the track; all others are centred on their beat.
    for index, change in enumerate(starts[1:], 1):
        exact = Fraction(index * 60 * RATE, 61)
        assert abs((change.start + change.stop) // 2 - exact) <= Fraction(1, 2)
    # The last change, heard in the last blocks, is where arithmetic says it is.
    change = starts[-1]
    first = track.frames - len(last)
    assert first < change.start - 500
    tones = [tone.samples for tone in instrument().chanter.tones]
    before = np.arange(change.start - 500, change.start)
    after = np.arange(change.stop, change.stop + 500)
    low, high = tones[Note.F][before % len(tones[Note.F])], tones[Note.HIGH_G]
    gain = float(np.dot(last[before - first], low) / np.dot(low, low))
    assert np.allclose(last[before - first], gain * low, atol=1e-5)
    assert np.allclose(last[after - first], gain * high[after % len(high)], atol=1e-5)


@pytest.mark.parametrize("frames", [1, 5, 131, 132, 400])
def test_a_fade_may_be_longer_than_the_loop_that_it_fades(frames: int) -> None:
    loop = np.arange(2 * frames, dtype=np.float32).reshape(frames, 2)
    out = np.zeros((132, 2), np.float32)
    EndlessTone(loop).add_faded(out, 3, np.ones((132, 1), np.float32))
    np.testing.assert_array_equal(out, loop[(3 + np.arange(132)) % frames])


def test_the_chanter_takes_6_ms_to_start_and_to_stop_and_1_ms_at_the_first_frame() -> None:
    parts = [Note.E, None, Note.E, None]
    events = [Event(Fraction(at), Fraction(1), note, Role.MELODY) for at, note in enumerate(parts)]
    found = list(stretches(fingered_events(events), 48_000, 4 * 48_000))
    changing = [(one.start, one.stop) for one in found if one.before != one.after]
    # At 48 kHz 6 ms are 288 frames, half of them before the second begins; 1 ms is 48 frames.
    assert changing == [(0, 48), (47_856, 48_144), (95_856, 96_144), (143_856, 144_144)]


def test_a_note_change_takes_4_to_6_ms_and_5_in_the_mean() -> None:
    row = [Note.LOW_A, Note.E] * 40
    events = [Event(Fraction(at), Fraction(1), note, Role.MELODY) for at, note in enumerate(row)]
    found = list(stretches(fingered_events(events), 48_000, 80 * 48_000))
    lengths = [one.stop - one.start for one in found[1:] if one.before != one.after]
    # 5 ms at 48 kHz are 240 frames; drawn evenly from 192 to 288, 79 of them come near both ends.
    assert len(lengths) == 79
    assert 192 <= min(lengths) <= 200
    assert 280 <= max(lengths) <= 288
    assert 230 <= sum(lengths) / 79 <= 250


def test_a_note_shorter_than_a_change_is_changed_to_within_its_half() -> None:
    # 101 frames of E between two of low A, then the same at the head of a track.
    low_a, e, after = Fraction(1), Fraction(101, 48_000), Fraction(1)
    events = [
        Event(Fraction(0), low_a, Note.LOW_A, Role.MELODY),
        Event(low_a, e, Note.E, Role.MELODY),
        Event(low_a + e, after, Note.LOW_A, Role.MELODY),
    ]
    found = list(stretches(fingered_events(events), 48_000, 96_101))
    changing = [(one.start, one.stop) for one in found if one.before != one.after]
    assert changing[1] == (48_000 - 50, 48_000 + 50)
    # What comes next begins where the first change ends, 51 frames before its own middle.
    assert changing[2] == (48_050, 48_152)
    events = [replace(one, start=one.start - low_a) for one in events[1:]]
    found = list(stretches(fingered_events(events), 48_000, 48_101))
    changing = [(one.start, one.stop) for one in found if one.before != one.after]
    # At the head half of the change may last a quarter of the note, so that it ends in its middle;
    # 1 ms are 48 frames, so that there 24 are asked for and 25 are free.
    assert changing[0] == (0, 48)
    events = [replace(events[0], length=Fraction(41, 48_000))]
    found = list(stretches(fingered_events(events), 48_000, 41))
    assert [(one.start, one.stop) for one in found] == [(0, 20), (20, 41)]


@pytest.mark.parametrize("start", [0, 1, 6, 7, 50])
@pytest.mark.parametrize("frames", [1, 6, 7, 8, 30])
def test_a_loop_goes_round_without_a_frame_lost_or_twice(start: int, frames: int) -> None:
    loop = np.arange(1, 15, dtype=np.float32).reshape(7, 2)
    wanted = loop[(start + np.arange(frames)) % 7]
    copied, added = np.full((2, frames, 2), 100, np.float32)
    EndlessTone(loop).copy_to(copied, start)
    EndlessTone(loop).add_to(added, start)
    np.testing.assert_array_equal(copied, wanted)
    np.testing.assert_array_equal(added, 100 + wanted)


def test_a_change_takes_the_low_partials_from_where_they_stand() -> None:
    whole, low = np.arange(20, dtype=np.float32)[:, np.newaxis], np.arange(20, 40, dtype=np.float32)
    side = EndlessTone(whole, low=low).side(18, 5)
    np.testing.assert_array_equal(side.whole, [18, 19, 0, 1, 2])
    np.testing.assert_array_equal(side.low, [38, 39, 20, 21, 22])
    alone = EndlessTone(whole).side(3, 4)
    np.testing.assert_array_equal(alone.low, [3, 4, 5, 6])
    np.testing.assert_array_equal(alone.whole, alone.low)


def test_gains_that_many_changes_share_cannot_be_written_to() -> None:
    for gain in (rising_gain(96), falling_gain(96)):
        with pytest.raises(ValueError, match="read-only"):
            gain[0] = 1


def test_a_fade_is_a_raised_cosine_by_the_figures() -> None:
    rising, falling = rising_gain(288)[:, 0], falling_gain(288)[:, 0]
    # (1 - cos x) / 2 at a quarter, a third, the half and three quarters of a turn by 180 degrees,
    # read half a frame off.
    for frame, gain in ((72, 0.146447), (96, 0.25), (144, 0.5), (216, 0.853553)):
        assert (rising[frame - 1] + rising[frame]) / 2 == pytest.approx(gain, abs=1e-4)
        assert (falling[frame - 1] + falling[frame]) / 2 == pytest.approx(1 - gain, abs=1e-4)
