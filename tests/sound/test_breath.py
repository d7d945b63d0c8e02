"""Breath and reed: pitch that wanders a little, noise between partials, drones that strike in."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest
from numpy.typing import NDArray

from renderer.notation.pitch import Note
from renderer.notation.score import Rest
from renderer.order.tracks import expand
from renderer.sound.breath import CHANTER, FASTEST_HZ
from renderer.sound.mix import CUT_OFF_S
from renderer.sound.mix_settings import Layout, Mix
from renderer.sound.strike_in import STRIKE_S, UNSETTLED_S
from renderer.sound.tuning import Chanter, frequency_hz, parse_pitch, scale_named, tenor_drone_hz
from tests.sampling import sampled
from tests.sound.measuring import Samples, cents
from tests.sound.playing import ALONE, exercise, instrument, mixing, plain, rendered

RATE = 44_100
DRONES_ALONE = mixing(mix=Mix.BACKING, metronome=False, layout=Layout.MONO)


def tone(note: Note, chanter: Chanter, *, steady: bool = False) -> Samples:
    """Two loops of a note: its wandering has come back to where it began."""
    return np.tile(instrument(chanter=chanter, steady=steady).chanter.tones[note].samples, 2)


def wandering(sound: Samples, hz: float) -> NDArray[np.float64]:
    """How far the fundamental is from `hz`, in cents, twenty times a second."""
    turned = sound * np.exp(-2j * np.pi * hz * np.arange(len(sound)) / RATE)
    window = np.hanning(RATE // 10)
    phases = np.unwrap(np.angle(np.convolve(turned, window / window.sum(), "valid")[:: RATE // 20]))
    return np.asarray(1200 * np.log2(1 + np.diff(phases) / (2 * np.pi) * 20 / hz), np.float64)


def between_db(sound: Samples, hz: float, low: float, high: float) -> float:
    """All that lies 30 Hz or more from any partial, beside all there is."""
    power = np.abs(np.fft.rfft(sound * np.blackman(len(sound)))) ** 2
    at = np.fft.rfftfreq(len(sound), 1 / RATE)
    off = np.abs(at / hz - np.round(at / hz)) * hz
    beside = (off > 30) & (at > low) & (at < high)
    return float(10 * np.log10(power[beside].sum() / power.sum()))


@pytest.mark.parametrize("chanter", sampled(reversed(Chanter), 2))
def test_pitch_wanders_by_one_to_two_cents_slower_than_three_a_second(chanter: Chanter) -> None:
    for note in Note:
        hz = frequency_hz(note, parse_pitch(478), scale_named(), chanter)
        course = wandering(tone(note, chanter), hz)
        assert 1.0 < course.std() < 2.0, note
        spectrum = np.abs(np.fft.rfft((course - course.mean()) * np.hanning(len(course)))) ** 2
        fast = np.fft.rfftfreq(len(course), 1 / 20) > FASTEST_HZ + 1.0
        assert spectrum[fast].sum() < 0.03 * spectrum.sum()
        assert wandering(tone(note, chanter, steady=True), hz).std() < 0.1


@pytest.mark.parametrize("chanter", Chanter)
def test_the_mean_pitch_holds_to_a_twentieth_of_a_cent(chanter: Chanter) -> None:
    for note in Note:
        hz = frequency_hz(note, parse_pitch(478), scale_named(), chanter)
        played = instrument(chanter=chanter).chanter.tones[note]
        # The fundamental's phase after one whole loop: what it has gained or lost over it.
        long = np.tile(played.samples, 3)
        window = RATE // 5
        first, last = (
            np.angle(np.dot(long[at : at + window], np.exp(-2j * np.pi * hz * where / RATE)))
            for at in (0, len(played.samples))
            for where in (np.arange(at, at + window),)
        )
        lost = ((last - first + np.pi) % (2 * np.pi) - np.pi) / (2 * np.pi)
        heard = hz + lost * RATE / len(played.samples)
        assert abs(cents(heard, hz)) < 0.05, note


def test_drones_wander_less_than_the_chanter_and_the_pair_never_beats_in_ten_seconds() -> None:
    drones = instrument().drones
    hz = tenor_drone_hz(parse_pitch(478))
    first, second = drones.blend(1, 0, 0), drones.blend(0, 1, 0)
    courses = [wandering(np.tile(one.samples, 2), hz) for one in (first, second)]
    for course in courses:
        assert 0.02 < course.std() < CHANTER.wandering_cents - 0.5
        assert abs(course.mean()) < 0.05
    assert len(first.samples) / RATE > 10
    apart = np.cumsum(courses[0] - courses[1]) / 1731.2 * hz / 20
    # Phases of the pair, in turns: they part and come back, by less than half a beat.
    assert 0.02 < np.ptp(apart) < 0.5


def test_two_tenors_together_live_as_one_does_not() -> None:
    """Upper partials of the pair swell and fade in ten seconds, the fundamental hardly does."""
    drones = instrument().drones
    hz, periods = drones.tenor_hz, drones.tenor.periods
    assert periods / hz > 10

    def swell_db(tenor: float, second: float, order: int) -> float:
        tone = np.asarray(drones.blend(tenor, second, 0).samples, np.float64)
        turned = tone * np.exp(-2j * np.pi * order * hz * np.arange(len(tone)) / RATE)
        size = RATE // 5
        stretches = turned[: len(turned) // size * size].reshape(-1, size)
        return float(np.ptp(20 * np.log10(np.abs(stretches @ np.hanning(size)))))

    assert swell_db(1, 1, 1) < 1.5
    assert max(swell_db(1, 1, order) for order in (6, 8, 12)) > 10
    assert max(swell_db(1, 0, order) for order in (6, 8, 12)) < 4


@pytest.mark.parametrize("chanter", Chanter)
def test_noise_lies_between_the_partials_above_2_khz(chanter: Chanter) -> None:
    for note in (Note.LOW_G, Note.E, Note.HIGH_A):
        hz = frequency_hz(note, parse_pitch(478), scale_named(), chanter)
        live, still = (tone(note, chanter, steady=steady) for steady in (False, True))
        assert between_db(live, hz, 2000, 9000) == pytest.approx(-45, abs=4)
        assert between_db(still, hz, 2000, 9000) < -70
        assert between_db(live, hz, 100, 1600) < -52


def test_noise_is_in_step_with_the_tone() -> None:
    hz = frequency_hz(Note.LOW_A, parse_pitch(478), scale_named(), Chanter.PRACTICE)
    live = tone(Note.LOW_A, Chanter.PRACTICE)
    spectrum = np.fft.rfft(live)
    at = np.fft.rfftfreq(len(live), 1 / RATE)
    off = np.abs(at / hz - np.round(at / hz)) * hz
    noise = np.fft.irfft(np.where((off > 30) & (at > 2000), spectrum, 0), len(live))
    envelope = noise**2
    swing = np.abs(np.dot(envelope, np.exp(-2j * np.pi * hz * np.arange(len(live)) / RATE)))
    assert swing / envelope.sum() > 0.3


def drones_alone(*, steady: bool = False) -> Samples:
    rest = expand(exercise((Rest(Fraction(4)),)), count_in=0)
    return rendered(rest, DRONES_ALONE, instrument(steady=steady))[:, 0]


def test_drones_strike_in_flat_rough_and_bright_and_settle_in_a_quarter_of_a_second() -> None:
    sound, hz = drones_alone(), tenor_drone_hz(parse_pitch(478))
    turned = sound * np.exp(-2j * np.pi * hz * np.arange(len(sound)) / RATE)
    window = np.hanning(RATE // 25)
    phase = np.unwrap(np.angle(np.convolve(turned[:RATE], window / window.sum(), "valid")))
    course = 1200 * np.log2(1 + np.gradient(phase) / (2 * np.pi) * RATE / hz)
    assert np.median(course[RATE // 50 : RATE // 20]) < -15
    settled = round((UNSETTLED_S + 0.1) * RATE)
    assert abs(np.median(course[settled : settled + RATE // 4])) < 5

    def bright_db(part: Samples) -> float:
        power = np.abs(np.fft.rfft(part * np.hanning(len(part)))) ** 2
        at = np.fft.rfftfreq(len(part), 1 / RATE)
        return float(10 * np.log10(power[at > 2000].sum() / power.sum()))

    assert bright_db(sound[RATE // 20 : RATE // 6]) > bright_db(sound[RATE : 2 * RATE]) + 2
    # They begin at once, not after a swell.
    level = np.sqrt(np.mean(sound[RATE // 10 : RATE // 5] ** 2))
    assert level > 0.5 * np.sqrt(np.mean(sound[RATE : 2 * RATE] ** 2))
    steps = np.abs(np.diff(sound))
    assert steps[: RATE // 2].max() < 2.5 * steps[RATE:].max()
    assert np.abs(sound[: RATE // 2]).max() <= 1.1 * np.abs(sound[RATE : 3 * RATE]).max()


@pytest.mark.parametrize("layout", Layout)
def test_drones_that_have_settled_go_on_at_the_level_they_came_to(layout: Layout) -> None:
    rest = expand(exercise((Rest(Fraction(4)),)), count_in=0)
    asked = mixing(mix=Mix.BACKING, metronome=False, layout=layout)
    sound = rendered(rest, asked, instrument())[:, -1].astype(np.float64)
    window = RATE // 20
    levels_db = 10 * np.log10(np.mean(sound[: 2 * RATE].reshape(-1, window) ** 2, axis=1))
    settled = levels_db[round(UNSETTLED_S * RATE / window) + 1 :]
    assert np.ptp(settled) < 1.0
    assert np.abs(np.diff(settled)).max() < 0.7
    assert np.abs(sound[: round(STRIKE_S * RATE)]).max() <= 1.01 * np.abs(sound[RATE:]).max()


def test_chanter_and_drones_stop_together() -> None:
    timeline = expand(exercise(plain(Note.LOW_A, Note.B, Note.C)), count_in=0)
    split = rendered(timeline, mixing(metronome=False, layout=Layout.SPLIT))
    cut = round(CUT_OFF_S * RATE)
    for side in (0, 1):
        before = np.sqrt(np.mean(split[-3 * cut : -cut, side] ** 2))
        middle = np.sqrt(np.mean(split[-cut * 6 // 10 : -cut * 4 // 10, side] ** 2))
        assert middle / before == pytest.approx(0.5, abs=0.2)
        assert np.abs(split[-20:, side]).max() < 0.02 * before


def test_steady_is_what_is_said_to_be_steady() -> None:
    timeline = expand(exercise(plain(Note.LOW_A, beats=4)), count_in=0)
    live, still = (
        rendered(timeline, ALONE, instrument(steady=steady))[:, 0] for steady in (False, True)
    )
    assert not np.array_equal(live, still)
    period = RATE / frequency_hz(Note.LOW_A, parse_pitch(478), scale_named(), Chanter.PRACTICE)
    lag = round(100 * period)

    def unlike(sound: Samples) -> float:
        one, two = sound[RATE : 2 * RATE], sound[RATE + lag : 2 * RATE + lag]
        return float(np.mean((one - two) ** 2) / np.mean(one**2))

    assert unlike(still) < unlike(live)
