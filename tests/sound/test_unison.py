"""Notes over the drones: none is louder or softer for being in unison with them."""

from __future__ import annotations

from collections import deque
from pathlib import Path

import numpy as np
import pyloudnorm
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from renderer.notation.pitch import Note
from renderer.order.tracks import expand
from renderer.sound.bank import Tone
from renderer.sound.instrument import Instrument, make_instrument
from renderer.sound.loudness import loop_power
from renderer.sound.mix import mix_track
from renderer.sound.mix_settings import Layout, MixSettings
from renderer.sound.tuning import Chanter, parse_pitch, scale_named
from renderer.sound.unison import beginning_over
from renderer.sound.voices import Voice
from tests.sampling import examples
from tests.sound.measuring import Samples, metered
from tests.sound.playing import doubled, exercise, instrument, levels, mixing, plain, rendered
from tests.sound.test_presets import GENERAL_MIDI

RATE = 44_100
SECONDS = 4


def lufs(sound: Samples, rate: int = RATE) -> float:
    return float(pyloudnorm.Meter(rate).integrated_loudness(sound.astype(np.float64)))


def nine_notes_lufs(played_on: Instrument, asked: MixSettings) -> NDArray[np.float64]:
    """How loud each of the nine notes is in one track, off its changes."""
    timeline = expand(exercise(plain(*Note, beats=SECONDS)), count_in=0, gap=0)
    track, rate = rendered(timeline, asked, played_on), played_on.rate
    starts = [round((SECONDS * note + 0.5) * rate) for note in Note]
    return np.array([lufs(track[start : start + (SECONDS - 1) * rate], rate) for start in starts])


@pytest.mark.parametrize("layout", Layout)
@pytest.mark.parametrize("chanter", Chanter)
def test_no_note_jumps_out_of_the_full_mix(chanter: Chanter, layout: Layout) -> None:
    heard = nine_notes_lufs(instrument(chanter=chanter), mixing(layout=layout))
    assert np.ptp(heard) < 1.0
    assert np.abs(heard + 16).max() < 0.5


@pytest.mark.parametrize("scale", ["equal", "MacNeill"])
@pytest.mark.parametrize("pitch", ["A", "B flat"])
def test_no_note_jumps_out_in_any_scale_at_any_pitch(pitch: str, scale: str) -> None:
    heard = nine_notes_lufs(instrument(pitch, scale), mixing(metronome=False))
    assert np.ptp(heard) < 1.0
    assert np.abs(heard + 16).max() < 0.5


def test_no_note_jumps_out_over_drones_as_loud_as_the_chanter() -> None:
    as_loud = mixing(metronome=False, levels=levels(drone=0))
    heard = nine_notes_lufs(instrument(), as_loud)
    assert np.ptp(heard) < 1.0
    assert np.abs(heard + 16).max() < 0.5


@pytest.mark.parametrize("chanter", Chanter)
def test_no_note_of_other_peoples_reeds_jumps_out(chanter: Chanter) -> None:
    clarinet, reed_organ = Voice(GENERAL_MIDI, 0, 71), Voice(GENERAL_MIDI, 0, 20)
    played_on = make_instrument(
        parse_pitch("A"),
        scale_named(),
        chanter,
        rate=RATE,
        voice=clarinet,
        drone_voice=reed_organ,
        steady=False,
    )
    heard = nine_notes_lufs(played_on, mixing(metronome=False))
    assert np.ptp(heard) < 1.0
    assert np.abs(heard + 16).max() < 0.5


@pytest.mark.parametrize("layout", [Layout.STEREO, Layout.MONO])
@pytest.mark.parametrize("note", [Note.LOW_A, Note.E, Note.HIGH_A])
@pytest.mark.parametrize("chanter", Chanter)
def test_a_track_of_one_note_comes_to_minus_16_lufs(
    chanter: Chanter, note: Note, layout: Layout, tmp_path: Path
) -> None:
    timeline = expand(exercise(plain(*[note] * 8), tempo=80))
    track = rendered(timeline, mixing(layout=layout), instrument(chanter=chanter))
    assert metered(track, RATE, tmp_path).loudness_lufs == pytest.approx(-16, abs=0.2)


@pytest.mark.parametrize("steady", [True, False])
@pytest.mark.parametrize("pitch", ["A", "B flat", "478"])
def test_no_note_jumps_out_at_8_khz(pitch: str, steady: bool) -> None:
    """Where a frame is a thirtieth of low A's period, so that loops have few places to begin at."""
    for chanter in Chanter:
        played_on = instrument(pitch, chanter=chanter, rate=8_000, steady=steady)
        heard = nine_notes_lufs(played_on, mixing(metronome=False))
        assert np.ptp(heard) < 1.0
        assert np.abs(heard + 16).max() < 0.5


@pytest.mark.parametrize("rate", [16_000, 48_000])
def test_a_track_of_low_a_comes_to_minus_16_lufs_at_any_sample_rate(
    rate: int, tmp_path: Path
) -> None:
    timeline = expand(exercise(doubled(*[Note.LOW_A] * 8)))
    track = rendered(timeline, mixing(), instrument(rate=rate))
    assert metered(track, rate, tmp_path).loudness_lufs == pytest.approx(-16, abs=0.3)


def test_low_a_is_as_loud_after_half_an_hour_as_at_the_start() -> None:
    # Left to itself, its loop would fall a third of a period behind the drones' in half an hour.
    rate, played_on = 22_050, instrument(rate=22_050)
    timeline = expand(exercise(plain(Note.LOW_A, Note.E, beats=3)), count_in=0, repeats=300)
    assert timeline.duration == 1_800
    blocks: deque[Samples] = deque(maxlen=9)
    asked = mixing(metronome=False, layout=Layout.MONO)
    for block in mix_track(timeline, played_on, asked):
        blocks.append(block)
    low_a = np.concatenate(blocks)[-round(5.7 * rate) : -round(3.3 * rate)]
    assert lufs(low_a, rate) == pytest.approx(-16, abs=0.3)


def made(partials: list[complex], periods: int, hz: float) -> Tone:
    """A loop of 589 frames with these partials."""
    bins = np.zeros(295, np.complex128)
    orders = np.arange(1, len(partials) + 1)
    bins[orders * periods] = partials
    samples = np.fft.irfft(bins * 589, 589).astype(np.float32)
    power = loop_power(samples, RATE)
    return Tone(samples, periods, power, 1.0, hz, np.array(partials, np.complex64))


amplitudes = st.builds(
    lambda size, turns: complex(size * np.exp(2j * np.pi * turns)),
    st.floats(0.01, 1),
    st.floats(0, 1),
)


@examples(50)
@given(
    st.lists(amplitudes, min_size=1, max_size=8),
    st.lists(amplitudes, min_size=2, max_size=16),
)
def test_two_tones_in_unison_have_the_power_of_both(
    chanter: list[complex], drone: list[complex]
) -> None:
    hz = RATE / 589
    tone, drones = made(chanter, 4, 4 * hz), made(drone, 2, 2 * hz)
    found = beginning_over((drones,), tone, (1.0,))
    together = loop_power(np.roll(tone.samples, -found.shift) + drones.samples, RATE)
    excess = together - tone.power - drones.power
    assert found.excess_power == pytest.approx(excess, abs=1e-4 * together)
    assert abs(excess) < 0.06 * together
    assert found.lag == pytest.approx(0, abs=1e-12)


def test_tones_without_a_partial_in_common_begin_together() -> None:
    found = beginning_over((None, made([1, 1], 4, 200.0)), made([1, 1], 5, 251.3), (1.0, 0.0))
    assert (found.shift, found.excess_power) == (0, 0.0)
