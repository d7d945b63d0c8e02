"""The room: what comes back, how long, and that the sound itself stays where and what it was."""

from __future__ import annotations

import tracemalloc
from fractions import Fraction
from functools import partial
from pathlib import Path

import numpy as np
import pytest

from renderer.notation.pitch import Note
from renderer.order.tracks import expand
from renderer.sound.mix import BLOCK_FRAMES, mix_track
from renderer.sound.mix_settings import Layout, Mix, Room
from renderer.sound.reverberation import alone_in_room, in_room, tail
from renderer.sound.tuning import Chanter
from tests.sound.measuring import Samples, cents, metered, onsets_s, pitch_by_phase
from tests.sound.playing import ALONE, doubled, exercise, instrument, mixing, plain, rendered

RATE = 44_100
ROOMS: tuple[Room, ...] = ("small", "hall")


def heard(sound: Samples, room: Room, *, rate: int = RATE, stereo: bool = False) -> Samples:
    """A sound (frames, 1) in a room."""
    blocks = (sound[at : at + BLOCK_FRAMES].copy() for at in range(0, len(sound), BLOCK_FRAMES))
    return np.concatenate(list(in_room(blocks, room, rate, BLOCK_FRAMES, stereo=stereo)))


def response(room: Room, seconds: float = 2.0, rate: int = RATE, at: int = 0) -> Samples:
    """What comes back of one frame, shape (frames,)."""
    click = np.zeros((round(seconds * rate) + at, 1), np.float32)
    click[at] = 1.0
    back = heard(click, room, rate=rate)[at:, 0]
    back[0] -= 1.0
    return back


@pytest.mark.parametrize("room", ROOMS)
@pytest.mark.parametrize("rate", [8_000, 44_100, 96_000])
def test_a_long_sound_is_in_a_room_the_sum_of_what_each_frame_is(room: Room, rate: int) -> None:
    """However it is cut into blocks: by a convolution in one go."""
    rng = np.random.default_rng(5)
    sound = rng.standard_normal((rate * 14 + 77, 1)).astype(np.float32)
    # Rates are changed by whole frames of the lowest: every frame that is one of them is alike.
    sound[np.arange(len(sound)) % 48 != 0] = 0.0
    back = response(room, rate=rate)
    size = 1 << (len(sound) + len(back)).bit_length()
    summed = np.fft.irfft(
        np.fft.rfft(sound[:, 0].astype(float), size) * np.fft.rfft(back.astype(float), size)
    )[: len(sound)]
    found = heard(sound, room, rate=rate)[:, 0] - sound[:, 0]
    assert np.abs(found - summed).max() < 1e-5 * np.abs(summed).max() + 1e-6


@pytest.mark.parametrize("room", ROOMS)
def test_what_left_and_right_have_apart_is_added_to_the_one_and_taken_from_the_other(
    room: Room,
) -> None:
    rng = np.random.default_rng(6)
    sound, apart = rng.standard_normal((2, RATE * 15 + 77, 1)).astype(np.float32)

    def cut(whole: Samples) -> list[Samples]:
        return [whole[at : at + BLOCK_FRAMES].copy() for at in range(0, len(whole), BLOCK_FRAMES)]

    put = partial(in_room, room=room, rate=RATE, block_frames=BLOCK_FRAMES, stereo=True)
    alone = np.concatenate(list(put(cut(sound))))
    both = np.concatenate(list(put(cut(sound), apart=cut(apart))))
    np.testing.assert_allclose(both - alone, apart * [1.0, -1.0], atol=1e-5)


@pytest.mark.parametrize(("room", "lasts_s"), [("small", 0.3), ("hall", 1.5)])
def test_what_comes_back_falls_by_60_db_in_the_time_of_the_room(room: Room, lasts_s: float) -> None:
    """By backward integration (ISO 3382-1) between -5 and -25 dB, around 600 Hz."""
    back = response(room, 2.0)
    series = np.fft.rfft(back.astype(float))
    hz = np.fft.rfftfreq(len(back), 1 / RATE)
    smooth = np.exp(-((np.log2(np.maximum(hz, 1) / 600) / 0.7) ** 2))
    low = np.fft.irfft(series * smooth, len(back))
    left = np.cumsum(low[::-1] ** 2)[::-1]
    db = 10 * np.log10(left / left[0] + 1e-12)
    five, more = np.argmax(db < -5), np.argmax(db < -25)
    assert 3 * (more - five) / RATE == pytest.approx(lasts_s, rel=0.15)


@pytest.mark.parametrize("room", ROOMS)
def test_the_sound_itself_is_untouched_until_the_first_wall_answers(room: Room) -> None:
    tone = np.zeros((RATE, 1), np.float32)
    tone[RATE // 2 :, 0] = np.sin(np.arange(RATE // 2) * 0.1)
    first = RATE // 2 + round(0.002 * RATE)
    assert np.abs(heard(tone, room)[:first] - tone[:first]).max() < 1e-6


def test_left_and_right_hear_different_walls() -> None:
    click = np.zeros((RATE, 1), np.float32)
    click[0] = 1.0
    left, right = heard(click, "hall", stereo=True)[1:].T
    together = float(left @ right) / np.sqrt(float(left @ left) * float(right @ right))
    assert abs(together) < 0.2
    assert float(left @ left) == pytest.approx(float(right @ right), rel=0.2)


@pytest.mark.parametrize("room", ROOMS)
@pytest.mark.parametrize("chanter", list(Chanter))
def test_a_track_is_as_loud_in_a_room_as_without(
    room: Room, chanter: Chanter, tmp_path: Path
) -> None:
    tune = exercise(
        doubled(Note.LOW_A, Note.B, Note.C, Note.E), plain(*Note), doubled(Note.E, Note.D), tempo=70
    )
    for layout in Layout:
        settings = mixing(layout=layout, room=room)
        track = mix_track(expand(tune, 70), instrument(chanter=chanter), settings)
        sound = np.concatenate(list(track))
        found = metered(sound, RATE, tmp_path)
        assert found.loudness_lufs == pytest.approx(track.loudness_lufs, abs=0.4)
        assert found.loudness_lufs == pytest.approx(-16, abs=0.4)
        assert found.true_peak_dbtp < -1


@pytest.mark.parametrize("room", ROOMS)
def test_a_room_goes_on_after_the_music_until_it_is_silent(room: Room) -> None:
    timeline = expand(exercise(plain(Note.LOW_A, Note.E)), 90)
    track = mix_track(timeline, instrument(), mixing(room=room))
    sound = np.concatenate(list(track))
    music = round(timeline.duration * RATE)
    assert len(sound) == track.frames == round((timeline.duration + tail(room)) * RATE)
    assert tail(room) == {"small": Fraction(3, 10), "hall": Fraction(3, 2)}[room]

    def db(part: Samples) -> float:
        return 10 * float(np.log10(np.mean(np.square(part, dtype=np.float64)) + 1e-20))

    playing, after = sound[music - RATE // 2 : music - RATE // 4], sound[music:]
    assert db(after[: RATE // 20]) > db(playing) - 20
    assert db(after[-RATE // 100 :]) < db(playing) - 55


@pytest.mark.parametrize("room", ROOMS)
def test_notes_begin_in_a_room_when_they_do_without(room: Room) -> None:
    notes = [Note.LOW_A, Note.E, Note.LOW_G, Note.HIGH_A, Note.C, Note.F]
    timeline = expand(exercise(plain(*notes)), 60, count_in=0)
    settings = mixing(mix=Mix.CHANTER, layout=Layout.MONO, room=room)
    sound = rendered(timeline, settings, instrument(chanter=Chanter.PIPE))[:, 0]
    found = onsets_s(sound, RATE)
    for at in range(1, 6):
        assert np.abs(found - at).min() < 0.002


@pytest.mark.parametrize("room", ROOMS)
def test_a_room_changes_no_pitch(room: Room) -> None:
    timeline = expand(exercise(plain(Note.E, beats=12)), 60, count_in=0)
    settings = mixing(mix=Mix.CHANTER, layout=Layout.MONO, room=room)
    steady = instrument(steady=True)
    plain_hz, hz = (
        pitch_by_phase(rendered(timeline, each, steady)[2 * RATE : 11 * RATE, 0], 478 * 0.75, RATE)
        for each in (ALONE, settings)
    )
    assert abs(cents(hz, plain_hz)) < 0.01


def test_chanter_and_drones_stay_apart_in_a_split_track() -> None:
    timeline = expand(exercise(plain(Note.LOW_A, Note.E)), 60, count_in=0)
    settings = mixing(drone=False, metronome=False, layout=Layout.SPLIT, room="hall")
    sound = rendered(timeline, settings)
    assert sound[:, 0].any()
    assert not sound[:, 1].any()


@pytest.mark.parametrize("room", ROOMS)
@pytest.mark.parametrize("beats", [2, 24], ids=["shorter than their loop", "longer"])
@pytest.mark.parametrize("steady", [True, False])
def test_drones_put_into_the_room_once_sound_as_if_they_had_been_all_along(
    room: Room, beats: int, *, steady: bool
) -> None:
    """From their first frame until the room is silent, but for what changing rates leaves over."""
    timeline = expand(exercise(plain(Note.LOW_A, beats=beats)), 60, count_in=0)
    played_on = instrument(steady=steady)
    dry, wet = (
        mix_track(timeline, played_on, mixing(metronome=False, layout=Layout.SPLIT, room=each))
        for each in ("none", room)
    )
    right = np.concatenate(list(dry))[:, 1:]
    right *= np.float32(wet.balance.gains.drones / dry.balance.gains.drones)
    wanted = alone_in_room(right, room, RATE, BLOCK_FRAMES)[:, 0]
    found = np.concatenate(list(wet))[:, 1]
    assert len(found) == len(wanted)
    back = wanted.copy()
    back[: len(right)] -= right[:, 0]
    assert np.std(found - wanted) < 0.01 * np.std(back)
    assert np.abs(found - wanted).max() < 0.03 * np.abs(back).max()


@pytest.mark.parametrize("room", ROOMS)
def test_rolls_and_clicks_of_a_split_track_sound_on_the_right_alone(room: Room) -> None:
    timeline = expand(exercise(plain(Note.LOW_A)), 60, count_in_style="rolls")
    begins = min(float(one.start) for one in timeline if one.note is not None)
    before = round((begins - 0.1) * RATE)
    tracks = {}
    for each in ("none", room):
        settings = mixing(drone=False, layout=Layout.SPLIT, room=each)
        tracks[each] = mix_track(timeline, instrument(), settings)
    dry, wet = (np.concatenate(list(one))[:before] for one in tracks.values())
    # Transforms leave next to nothing of what comes after.
    assert np.abs(wet[:, 0]).max() < 1e-6
    gains = [one.balance.gains.rolls for one in tracks.values()]
    louder = np.std(wet[:, 1]) / gains[1] / (np.std(dry[:, 1]) / gains[0])
    # What comes back has at most an eighth of a sound's power, -9 dB, and none of its highest part.
    assert 1.0 < louder < np.sqrt(1.125) + 0.02


@pytest.mark.parametrize("room", ROOMS)
def test_of_clicks_a_room_has_next_to_nothing(room: Room) -> None:
    for click in instrument().percussion.clicks.values():
        sound = click.samples[:, np.newaxis]
        back = alone_in_room(sound, room, RATE, BLOCK_FRAMES)
        back[: len(sound)] -= sound
        db = 10 * np.log10(np.sum(back**2) / np.sum(sound**2))
        assert db < -20


@pytest.mark.parametrize("room", ROOMS)
def test_the_same_track_in_a_room_is_the_same_to_the_bit(room: Room) -> None:
    track = mix_track(expand(exercise(plain(*Note)), 90), instrument(), mixing(room=room))
    first, second = (np.concatenate(list(track)) for _ in range(2))
    assert first.tobytes() == second.tobytes()


def test_memory_does_not_grow_with_the_length_of_a_track_in_a_hall() -> None:
    def peak_bytes(repeats: int) -> int:
        timeline = expand(exercise(plain(Note.LOW_A, Note.E), tempo=30), repeats=repeats)
        track = mix_track(timeline, instrument(), mixing(layout=Layout.MONO, room="hall"))
        assert track.balance.loudness_lufs
        tracemalloc.start()
        for _ in track:
            pass
        peak = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        return peak

    minute, ten_minutes = peak_bytes(15), peak_bytes(150)
    assert ten_minutes < minute + 1_000_000
