"""Whole tracks: their length, what sounds when, how loud, and how they begin and end."""

from __future__ import annotations

import re
import tracemalloc
from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import product
from pathlib import Path

import numpy as np
import pyloudnorm
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from renderer.errors import RungwiseError
from renderer.notation.pitch import Note
from renderer.notation.score import Rest
from renderer.order.tracks import expand
from renderer.sound.drones_part import DRONES_SWELL_S
from renderer.sound.mix import BLOCK_FRAMES, CUT_OFF_S, mix_track
from renderer.sound.mix_settings import Layout, Mix, MixSettings, parse_levels
from renderer.sound.tuning import Chanter
from renderer.timing.expand import Timeline
from renderer.timing.timeline import Click, ClickKind, Event, Role, Roll, SectionKind
from tests.sampling import examples
from tests.sound.measuring import Samples, metered
from tests.sound.playing import doubled, exercise, instrument, levels, mixing, plain, rendered

RATE = 44_100
TUNE = exercise(
    doubled(Note.LOW_A, Note.B, Note.C, Note.E), plain(Note.F, Note.HIGH_G, Note.HIGH_A, Note.E)
)


def level_db(samples: Samples) -> float:
    """Root mean square of all channels in dB of full scale."""
    return float(10 * np.log10(np.mean(np.square(samples, dtype=np.float64)) + 1e-20))


def section(track: Samples, timeline: Timeline, kind: SectionKind) -> Samples:
    """The middle of the first section of that kind, a third of a second off both ends."""
    found = next(one for one in timeline.sections if one.kind is kind)
    start, stop = (float(time) * RATE for time in (found.start, found.start + found.length))
    return track[round(start + RATE / 3) : round(stop - RATE / 3)]


@examples(15)
@given(
    tempo=st.fractions(min_value=30, max_value=240, max_denominator=1000),
    rate=st.sampled_from([8_000, 44_100, 48_000]),
    count_in=st.integers(0, 2),
)
def test_a_track_is_as_long_as_its_beats_to_the_sample(
    tempo: Fraction, rate: int, count_in: int
) -> None:
    timeline = expand(exercise(plain(*list(Note)[:3])), tempo, count_in=count_in)
    track = mix_track(timeline, instrument(rate=rate), mixing())
    exact = (3 + 3 * count_in) * 60 * rate / tempo
    assert abs(track.frames - exact) <= Fraction(1, 2)
    lengths = [len(block) for block in track]
    assert sum(lengths) == track.frames
    assert set(lengths[:-1]) <= {BLOCK_FRAMES}


def test_rendering_again_gives_the_same_samples() -> None:
    track = mix_track(expand(TUNE), instrument(), mixing())
    first, second = (np.concatenate(list(track)) for _ in range(2))
    assert np.array_equal(first, second)


@pytest.mark.parametrize("chanter", Chanter)
@pytest.mark.parametrize(("mix", "layout"), list(product(Mix, Layout)))
def test_every_track_comes_to_minus_16_lufs_with_its_peaks_below_minus_1(
    mix: Mix, layout: Layout, chanter: Chanter, tmp_path: Path
) -> None:
    timeline = expand(TUNE, repeats=2, mix=mix)
    track = mix_track(timeline, instrument(chanter=chanter), mixing(mix=mix, layout=layout))
    samples = np.concatenate(list(track))
    heard = metered(samples, RATE, tmp_path)
    assert heard.loudness_lufs == pytest.approx(-16, abs=0.2)
    assert heard.true_peak_dbtp < -1
    assert track.loudness_lufs == pytest.approx(-16, abs=0.01)
    # A second meter, in case the first is wrong.
    measured = pyloudnorm.Meter(RATE).integrated_loudness(samples.astype(np.float64))
    assert measured == pytest.approx(-16, abs=0.2)
    # Where mono or an echo crowds the parts, clicks give way, and that is said.
    assert all("softer than asked" in remark for remark in track.remarks)
    assert not track.remarks or layout is Layout.MONO or mix is Mix.ECHO


@dataclass(frozen=True)
class Sounded:
    """A track of nothing but what sounds: nobody wrote a score for it."""

    events: tuple[Event, ...]
    rolls: tuple[Roll, ...] = ()
    drones_start: Fraction = Fraction(0)

    @property
    def duration(self) -> Fraction:
        return self.events[-1].end

    def __iter__(self) -> Iterator[Event]:
        return iter(self.events)

    def clicks(self) -> Iterator[Click]:
        return iter(())


def of_notes(*notes: tuple[Note | None, int]) -> Sounded:
    """Notes (None is a rest) and how many seconds each sounds."""
    events, at = [], Fraction(0)
    for note, seconds in notes:
        events.append(Event(at, Fraction(seconds), note, Role.MELODY))
        at += seconds
    return Sounded(tuple(events))


def test_the_level_comes_from_what_sounds_and_not_from_what_is_written(tmp_path: Path) -> None:
    tones = instrument().chanter.tones
    power = {note: tone.power for note, tone in zip(Note, tones, strict=True)}
    loud, soft = max(Note, key=power.__getitem__), min(Note, key=power.__getitem__)
    assert power[loud] > 1.05 * power[soft]
    settings = mixing(mix=Mix.CHANTER, layout=Layout.MONO, drone=False)
    gains = {}
    for seconds in (1, 10, 19):
        track = mix_track(of_notes((loud, seconds), (soft, 20 - seconds)), instrument(), settings)
        gains[seconds] = track.balance.gains.chanter
        mean = (seconds * power[loud] + (20 - seconds) * power[soft]) / 20
        # ITU-R BS.1770: loudness is 10 log10 of the power, less 0.691.
        assert gains[seconds] ** 2 * mean == pytest.approx(10 ** ((-16 + 0.691) / 10), rel=2e-3)
        heard = metered(np.concatenate(list(track)), RATE, tmp_path)
        assert heard.loudness_lufs == pytest.approx(-16, abs=0.1)
    assert gains[1] > gains[10] > gains[19]


@pytest.mark.parametrize(
    "asked",
    [
        mixing(levels=levels(metronome=-12)),
        mixing(levels=levels(chanter=-6, drone=0), layout=Layout.STEREO),
        mixing(drone=False, metronome=False, mix=Mix.ECHO),
    ],
)
def test_levels_change_the_balance_but_not_the_loudness(asked: MixSettings, tmp_path: Path) -> None:
    timeline = expand(TUNE, repeats=2, mix=asked.mix, count_in_style="rolls")
    heard = metered(rendered(timeline, asked), RATE, tmp_path)
    assert heard.loudness_lufs == pytest.approx(-16, abs=0.2)
    assert heard.true_peak_dbtp < -1


def test_clicks_alone_keep_below_the_peak_and_the_shortfall_is_said() -> None:
    track = mix_track(expand(TUNE), instrument(), mixing(mix=Mix.BACKING, drone=False))
    assert np.abs(np.concatenate(list(track))).max() < 10 ** (-1 / 20)
    assert "LUFS" in track.remarks[0]


def test_a_track_without_any_sound_is_silence() -> None:
    rest = expand(exercise((Rest(Fraction(4)),)), count_in=0)
    track = mix_track(rest, instrument(), mixing(drone=False, metronome=False))
    assert not np.concatenate(list(track)).any()
    assert track.remarks == ()


def test_drones_lie_so_many_decibels_below_the_chanter() -> None:
    timeline = expand(TUNE, count_in=0, gap=0)
    quiet = mixing(metronome=False, layout=Layout.SPLIT)
    for drone in (-20.0, -9.0, 0.0):
        track = rendered(timeline, replace(quiet, levels=levels(drone=drone)))[RATE // 2 :]
        chanter, drones = (
            pyloudnorm.Meter(RATE).integrated_loudness(track[:, side].astype(np.float64))
            for side in (0, 1)
        )
        assert drones - chanter == pytest.approx(drone, abs=0.6)


def k_weighted(samples: Samples) -> NDArray[np.float64]:
    """One channel through the two filters of a loudness meter (pyloudnorm's)."""
    meter = pyloudnorm.Meter(RATE, "DeMan")
    heard = samples.astype(np.float64)
    for stage in meter._filters.values():
        heard = stage.apply_filter(heard)
    return heard


@pytest.mark.parametrize("metronome", [-40.0, -12.0, -6.0, 0.0, 6.0, 12.0, 20.0])
def test_the_metronome_lies_where_it_is_asked_to_over_the_whole_range(metronome: float) -> None:
    timeline = expand(TUNE, repeats=2)
    asked = mixing(drone=False, layout=Layout.SPLIT, levels=levels(metronome=metronome))
    track = mix_track(timeline, instrument(), asked)
    samples = np.concatenate(list(track))
    line = next(one for one in timeline.sections if one.kind is SectionKind.LINE)
    playing = slice(*(round(float(at) * RATE) for at in (line.start, line.start + line.length)))
    chanter = np.mean(k_weighted(samples[:, 0])[playing] ** 2)
    clicks = k_weighted(samples[:, 1])
    beats = [
        np.sum(clicks[round(float(click.start) * RATE) :][: round(0.1 * RATE)] ** 2)
        for click in timeline.clicks()
        if click.kind is ClickKind.BEAT and click.section is SectionKind.LINE
    ]
    level = 10 * np.log10(np.median(beats) / (0.05 * RATE) / chanter)
    # What is asked for is done, or said not to be: clicks give way, or the whole track does.
    softer = [re.search(r"are ([\d.]+) dB softer than asked", remark) for remark in track.remarks]
    given_way = sum(float(found[1]) for found in softer if found)
    assert level == pytest.approx(metronome - given_way, abs=0.4)
    assert given_way <= 6
    quieter = [remark for remark in track.remarks if "LUFS instead" in remark]
    assert bool(quieter) == (track.loudness_lufs < -16.5)
    assert not quieter or given_way == 6


def test_mixes_have_the_parts_that_they_promise() -> None:
    timeline = expand(TUNE, mix="echo")
    line, echo, gap = SectionKind.LINE, SectionKind.ECHO, SectionKind.GAP

    def quiet(mix: Mix) -> Samples:
        return rendered(timeline, mixing(mix=mix, metronome=False), instrument(steady=True))

    full, backing, chanter = quiet(Mix.FULL), quiet(Mix.BACKING), quiet(Mix.CHANTER)
    assert level_db(section(full, timeline, line)) > level_db(section(full, timeline, echo)) + 6
    in_line, in_echo = (level_db(section(backing, timeline, kind)) for kind in (line, echo))
    assert in_line == pytest.approx(in_echo, abs=0.2)
    assert level_db(section(chanter, timeline, line)) > -25
    assert not section(chanter, timeline, echo).any()
    # Whoever plays along to the chanter alone is still counted in to the next line.
    assert section(chanter, timeline, gap).any()


@pytest.mark.parametrize("mix", [Mix.FULL, Mix.BACKING, Mix.ECHO])
def test_the_metronome_can_be_switched_off_within_the_lines_only(mix: Mix) -> None:
    timeline = expand(exercise((Rest(Fraction(4)),)), mix=mix)
    without = rendered(timeline, mixing(mix=mix, metronome=False, drone=False))
    with_it = rendered(timeline, mixing(mix=mix, drone=False))
    assert section(without, timeline, SectionKind.COUNT_IN).any()
    assert not section(without, timeline, SectionKind.LINE).any()
    assert section(with_it, timeline, SectionKind.LINE).any()


def test_clicks_sound_on_their_beats_to_the_sample() -> None:
    rest = exercise((Rest(Fraction(4)),), tempo=73)
    timeline = expand(rest, subdivide=True)
    track = rendered(timeline, mixing(mix=Mix.BACKING, drone=False, layout=Layout.MONO))[:, 0]
    clicks = list(timeline.clicks())
    assert len(clicks) == 12
    strength = []
    for click in clicks:
        start = round(float(click.start) * RATE)
        assert not track[max(0, start - 100) : start].any() or start == 0
        after = np.abs(track[start : start + 2000])
        assert after[:88].max() > 0.1 * after.max()
        strength.append(after.max())
    assert strength[0] > strength[1] > strength[5]


def test_split_puts_the_chanter_left_and_everything_else_right() -> None:
    timeline = expand(TUNE)
    split = mixing(layout=Layout.SPLIT)
    track = rendered(timeline, split)
    assert not section(track, timeline, SectionKind.COUNT_IN)[:, 0].any()
    assert section(track, timeline, SectionKind.COUNT_IN)[:, 1].any()
    line = section(track, timeline, SectionKind.LINE)
    assert level_db(line[:, 0]) > level_db(line[:, 1]) + 3
    backing = rendered(timeline, replace(split, mix=Mix.BACKING))
    assert not backing[:, 0].any()


def test_tenor_drones_are_spread_and_the_chanter_is_not() -> None:
    rest = expand(exercise((Rest(Fraction(4)),)), count_in=0)
    drones = rendered(rest, mixing(mix=Mix.BACKING, metronome=False))[RATE:-RATE]
    likeness = float(np.corrcoef(drones[:, 0], drones[:, 1]).item(1))
    assert 0.8 < likeness < 0.995
    both_sides = rendered(expand(TUNE), mixing(mix=Mix.CHANTER))
    assert np.array_equal(both_sides[:, 0], both_sides[:, 1])


def test_steady_drones_swell_up_and_everything_is_cut_off_cleanly() -> None:
    timeline = expand(TUNE)
    played_on = instrument(steady=True)
    track = rendered(timeline, mixing(metronome=False, layout=Layout.MONO), played_on)[:, 0]
    assert abs(track[0]) < 1e-4
    assert abs(track[-1]) < 1e-4
    # Half way through the swell the drones are half as loud.
    rest = expand(exercise((Rest(Fraction(4)),)), count_in=0)
    drones = rendered(rest, mixing(mix=Mix.BACKING, metronome=False), played_on)
    middle = round(DRONES_SWELL_S * RATE / 2)
    early = level_db(drones[middle - 400 : middle + 400])
    assert early - level_db(drones[RATE : 2 * RATE]) == pytest.approx(-6, abs=1.5)
    # The last note stands at its full level until it is cut off.
    cut = round(CUT_OFF_S * RATE)
    last, before = track[-cut - 2000 : -cut], track[-cut - RATE // 2 : -cut - 2000]
    assert level_db(last) == pytest.approx(level_db(before), abs=0.5)
    steps = np.abs(np.diff(track))
    assert steps[-cut:].max() <= 1.01 * steps[-cut - RATE // 2 : -cut].max()


def test_a_pipe_band_start_has_two_rolls_and_drones_on_the_second() -> None:
    timeline = expand(TUNE, count_in_style="rolls")
    settings = mixing(metronome=False, layout=Layout.SPLIT)
    track = rendered(timeline, settings, instrument(chanter=Chanter.PIPE))
    first, second = timeline.rolls
    right = track[:, 1]

    def at(time: Fraction, length_s: float) -> Samples:
        start = round(float(time) * RATE)
        return right[start : start + round(length_s * RATE)]

    assert np.abs(at(first.start, 0.01)).max() > 0.01
    assert level_db(at(first.start + first.length / 2, 1.0)) > -40
    # Between the rolls, once the first has died away, there is nothing; after the second, drones.
    assert level_db(at(second.start - Fraction(1, 4), 0.2)) < -70
    assert level_db(at(second.start + second.length + Fraction(1, 2), 0.2)) > -40
    left_before = track[: round(float(timeline.sections[1].start) * RATE) - 200, 0]
    assert not left_before.any()


@pytest.mark.parametrize("tempo", [50, 80])
@pytest.mark.parametrize("chanter", list(Chanter))
def test_rolls_are_as_loud_as_the_tune_within_3_lu(chanter: Chanter, tempo: int) -> None:
    """By pyloudnorm, each stretch of the track by itself."""
    timeline = expand(exercise(doubled(*[Note.LOW_A, Note.B] * 4)), tempo, count_in_style="rolls")
    settings = mixing(metronome=False)
    track = rendered(timeline, settings, instrument(chanter=chanter))
    meter = pyloudnorm.Meter(RATE)

    def loudness(start: Fraction, end: Fraction) -> float:
        sound = track[round(float(start) * RATE) : round(float(end) * RATE)]
        return float(meter.integrated_loudness(sound))

    first, second = timeline.rolls
    tune = loudness(timeline.sections[1].start, timeline.duration)
    for roll in (first, second):
        assert abs(loudness(roll.start, roll.start + roll.length) - tune) < 3


@pytest.mark.parametrize("tempo", [60, 90])
def test_each_beat_of_a_roll_stands_out_of_the_buzz_by_4_db(tempo: int) -> None:
    """So that a learner can count: in 10 ms, the softest beat over the loudest of the rest."""
    timeline = expand(TUNE, tempo, count_in_style="rolls")
    track = rendered(timeline, mixing(drone=False, layout=Layout.MONO))[:, 0]
    window = RATE // 100
    for roll in timeline.rolls:
        start, length = (round(float(time) * RATE) for time in (roll.start, roll.length))
        sound = track[start : start + length // window * window].reshape(-1, window)
        levels = 10 * np.log10(np.mean(np.square(sound, dtype=np.float64), axis=1))
        beats = [round(beat * length / 3 / window) for beat in range(3)]
        softest = min(levels[max(0, beat - 1) : beat + 2].max() for beat in beats)
        near_beats = [beat + n for beat in beats for n in range(-1, 6) if beat + n >= 0]
        assert softest - np.delete(levels, near_beats).max() > 4


def test_long_drones_neither_pump_nor_drift_over_a_minute() -> None:
    rest = expand(exercise((Rest(Fraction(64)),)), count_in=0)
    drones = rendered(rest, mixing(mix=Mix.BACKING, metronome=False, layout=Layout.MONO))
    steady = drones[RATE : -RATE // 2, 0]
    windows = steady[: len(steady) // 4410 * 4410].reshape(-1, 4410)
    level = 10 * np.log10(np.mean(np.square(windows, dtype=np.float64), axis=1))
    assert np.ptp(level) < 1.5
    # No one rate of change stands out: pumping would be a line in the spectrum of the level.
    spectrum = np.abs(np.fft.rfft((level - level.mean()) * np.hanning(len(level))))
    hz = np.fft.rfftfreq(len(level), 0.1)
    audible = spectrum[(hz > 0.2) & (hz < 5)] / (len(level) / 4)
    assert audible.max() < 0.15


def test_levels_are_read_as_a_list_of_parts() -> None:
    assert parse_levels("chanter=0, drone=-9,metronome=-6", levels()) == levels()
    assert parse_levels("drone=-12.5 dB", levels()) == levels(drone=-12.5)
    assert parse_levels("", levels()) == levels()


@pytest.mark.parametrize("text", ["drone", "drone=loud", "fiddle=0", "drone=nan", "drone=99", "=3"])
def test_levels_that_are_none_are_refused(text: str) -> None:
    with pytest.raises(RungwiseError, match="drone=-9"):
        parse_levels(text, levels())


def test_memory_does_not_grow_with_the_length_of_a_track() -> None:
    def peak_bytes(repeats: int) -> int:
        timeline = expand(exercise(plain(Note.LOW_A, Note.E), tempo=30), repeats=repeats)
        played_on = instrument(rate=8_000)
        tracemalloc.start()
        for _ in mix_track(timeline, played_on, mixing(layout=Layout.MONO)):
            pass
        peak = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        return peak

    minute, half_an_hour = peak_bytes(15), peak_bytes(450)
    assert half_an_hour < minute + 1_000_000
