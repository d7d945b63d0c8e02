"""What the project's SoundFont sounds like, measured on what FluidSynth makes of the file.

Pitch is Praat's (parselmouth) and loudness is pyloudnorm's, both written by others. Partials are
read from a Fourier transform of several seconds.
"""

import functools
import hashlib
import os
import subprocess
import sys
from pathlib import Path

import fluidsynth
import numpy as np
import numpy.typing as npt
import parselmouth
import pyloudnorm
import pytest
from hypothesis import given
from hypothesis import strategies as st

from renderer.sound.synthesis.riff import Preset, Sample, Zone, soundfont_bytes
from renderer.sound.synthesis.soundfont import build_soundfont
from renderer.sound.synthesis.tones import loop_length, loudness_of_partials_lufs
from tests.limits import HANG_S

Floats = npt.NDArray[np.float64]

ROOT = Path(__file__).parents[2]
SOUNDFONT = ROOT / "soundfonts" / "rungwise.sf2"
RATE_HZ = 44100

GENERAL_MIDI_BAGPIPE = (0, 109)
PRACTICE_CHANTER, PIPE_CHANTER, TENOR_DRONE, BASS_DRONE = (0, 0), (0, 1), (0, 2), (0, 3)
DRUM = (128, 0)
PIPE_KEYS = (67, 69, 71, 73, 74, 76, 78, 79, 81)
PRACTICE_KEYS = tuple(key - 12 for key in PIPE_KEYS)
CHANTER_NOTES = [(PRACTICE_CHANTER, key) for key in PRACTICE_KEYS] + [
    (PIPE_CHANTER, key) for key in PIPE_KEYS
]
DRONES = [(TENOR_DRONE, 57), (BASS_DRONE, 45)]
ALL_TONES = CHANTER_NOTES + DRONES
SUBDIVISION, ACCENT, BEAT, SNARE_RIGHT, SNARE_LEFT, SNARE_BUZZ = 75, 76, 77, 38, 40, 39
STROKES = (SUBDIVISION, ACCENT, BEAT, SNARE_RIGHT, SNARE_LEFT, SNARE_BUZZ)


@functools.lru_cache(maxsize=64)
def play(
    preset: tuple[int, int],
    key: int,
    seconds: float,
    *,
    velocity: int = 127,
    held_s: float | None = None,
) -> Floats:
    """The left channel of one note at full gain; full scale is 1."""
    synth = fluidsynth.Synth(gain=1.0, samplerate=float(RATE_HZ))
    synth.setting("synth.reverb.active", 0)
    synth.setting("synth.chorus.active", 0)
    synth.program_select(0, synth.sfload(str(SOUNDFONT)), *preset)
    synth.noteon(0, key, velocity)
    held = round((seconds if held_s is None else held_s) * RATE_HZ)
    played = synth.get_samples(held)
    synth.noteoff(0, key)
    rest = synth.get_samples(round(seconds * RATE_HZ) - held)
    synth.delete()
    left: Floats = np.concatenate((played, rest))[::2] / 32768.0
    return left


def key_hz(key: int) -> float:
    """ISO 16 and the MIDI numbering of keys."""
    return float(440.0 * 2.0 ** ((key - 69) / 12))


def power_spectrum(played: Floats) -> tuple[Floats, Floats]:
    """Frequencies in hertz and power, of everything after the first tenth of a second."""
    steady = played[RATE_HZ // 10 :]
    assert len(steady) % 2 == 0
    power: Floats = np.abs(np.fft.rfft(steady * np.blackman(len(steady)))) ** 2
    hertz: Floats = np.linspace(0.0, RATE_HZ / 2, len(power))
    return hertz, power


def partial_levels_db(preset: tuple[int, int], key: int, count: int) -> Floats:
    """Levels of the first partials, sidebands included, under the strongest."""
    hertz, power = power_spectrum(play(preset, key, 6.0))
    levels = np.array(
        [power[np.abs(hertz - n * key_hz(key)) < 25.0].sum() for n in range(1, count + 1)]
    )
    decibels: Floats = 10.0 * np.log10(levels / levels.max())
    return decibels


def level_curve_db(played: Floats, window_s: float = 0.2) -> Floats:
    """Level in windows, from the mean; the first window is left out."""
    window = round(window_s * RATE_HZ)
    power = (played[window : len(played) // window * window].reshape(-1, window) ** 2).mean(axis=1)
    curve: Floats = 10.0 * np.log10(power / power.mean())
    return curve


def centroid_hz(played: Floats) -> float:
    """Centre of gravity of the power spectrum of a whole sound."""
    power = np.abs(np.fft.rfft(played)) ** 2
    return float(np.sum(np.fft.rfftfreq(len(played), 1.0 / RATE_HZ) * power) / power.sum())


def loudness_lufs(played: Floats) -> float:
    """Integrated loudness by pyloudnorm."""
    return float(pyloudnorm.Meter(RATE_HZ).integrated_loudness(played))


# The file


def test_a_rebuild_gives_the_committed_file_byte_for_byte() -> None:
    assert build_soundfont() == SOUNDFONT.read_bytes()


def test_a_rebuild_does_not_depend_on_hash_seed_processor_or_folder(tmp_path: Path) -> None:
    environment = os.environ | {
        "PYTHONHASHSEED": "4711",
        "OPENBLAS_NUM_THREADS": "1",
        # Other code paths in NumPy round the last bits otherwise, as another machine would.
        "NPY_DISABLE_CPU_FEATURES": "X86_V3 X86_V4 AVX512_ICL",
        "PYTHONPATH": str(ROOT),
        "LC_ALL": "C",
    }
    subprocess.run(
        [sys.executable, "-m", "renderer.sound.synthesis", "-o", "elsewhere"],
        cwd=tmp_path,
        env=environment,
        check=True,
        timeout=HANG_S,
        capture_output=True,
    )
    rebuilt = (tmp_path / "elsewhere" / "rungwise.sf2").read_bytes()
    committed = SOUNDFONT.read_bytes()
    assert hashlib.sha256(rebuilt).digest() == hashlib.sha256(committed).digest()


def test_the_file_is_small_enough_to_be_kept_with_the_source() -> None:
    assert SOUNDFONT.stat().st_size < 8_000_000


# Spectra


@pytest.mark.parametrize("key", PRACTICE_KEYS)
def test_even_partials_of_the_practice_chanter_lie_10_db_under_each_odd_one(key: int) -> None:
    levels_db = partial_levels_db(PRACTICE_CHANTER, key, 6)
    assert levels_db[1::2].max() <= levels_db[0::2].min() - 10.0


def test_the_pipe_chanters_fundamental_is_weaker_than_the_next_two_partials() -> None:
    rows = np.array([partial_levels_db(PIPE_CHANTER, key, 3) for key in PIPE_KEYS])
    # Every note has a next partial that is much stronger; which of the two depends on the note.
    assert np.all(rows[:, 0] < rows[:, 1:].max(axis=1) - 4.0)
    assert rows[:, 0].mean() < rows[:, 1:].mean(axis=0).min() - 2.0


@pytest.mark.parametrize(("preset", "key"), DRONES)
def test_odd_partials_of_a_drone_stand_above_their_even_neighbours(
    preset: tuple[int, int], key: int
) -> None:
    levels_db = partial_levels_db(preset, key, 9)
    for even in (1, 3, 5, 7):
        assert levels_db[even] < min(levels_db[even - 1], levels_db[even + 1]) - 2.0


@pytest.mark.parametrize(("preset", "key"), DRONES)
def test_a_drone_is_rich_in_partials(preset: tuple[int, int], key: int) -> None:
    assert np.count_nonzero(partial_levels_db(preset, key, 40) > -40.0) >= 18


def test_the_practice_chanter_is_darker_and_quieter_than_the_pipe_chanter() -> None:
    for practice_key, pipe_key in zip(PRACTICE_KEYS, PIPE_KEYS, strict=True):
        practice = play(PRACTICE_CHANTER, practice_key, 6.0)
        pipe = play(PIPE_CHANTER, pipe_key, 6.0)
        # An octave lower by itself would halve the centroid.
        assert centroid_hz(practice) < 0.45 * centroid_hz(pipe)
        assert loudness_lufs(practice) < loudness_lufs(pipe) - 4.0


def test_no_two_notes_of_a_chanter_have_the_same_spectrum() -> None:
    for preset, keys in ((PRACTICE_CHANTER, PRACTICE_KEYS), (PIPE_CHANTER, PIPE_KEYS)):
        rows = [partial_levels_db(preset, key, 6) for key in keys]
        for index, row in enumerate(rows):
            for other in rows[:index]:
                assert np.abs(row - other).max() > 0.5


@pytest.mark.parametrize(("preset", "key"), ALL_TONES)
def test_nothing_sounds_above_0_45_of_the_rate_or_between_the_partials(
    preset: tuple[int, int], key: int
) -> None:
    hertz, power = power_spectrum(play(preset, key, 6.0))
    beside = np.abs(hertz / key_hz(key) - np.round(hertz / key_hz(key))) * key_hz(key) > 25.0
    assert 10.0 * np.log10(power[hertz > 0.45 * RATE_HZ].sum() / power.sum()) < -70.0
    assert 10.0 * np.log10(power[beside].sum() / power.sum()) < -70.0


# Level


def test_notes_of_a_chanter_differ_by_less_than_1_lu() -> None:
    for preset, keys in ((PRACTICE_CHANTER, PRACTICE_KEYS), (PIPE_CHANTER, PIPE_KEYS)):
        heard = [loudness_lufs(play(preset, key, 6.0)) for key in keys]
        assert max(heard) - min(heard) < 1.0


@pytest.mark.parametrize(("preset", "key"), ALL_TONES)
def test_a_tone_is_alive_but_does_not_pump_over_a_minute(preset: tuple[int, int], key: int) -> None:
    curve_db = level_curve_db(play(preset, key, 60.0))
    assert 0.03 < curve_db.std() < 0.3
    assert np.abs(curve_db).max() < 0.7
    # A line of amplitude A in the curve is a swell of plus or minus A. The least that is heard is
    # about 0.5 dB (from memory: Fastl and Zwicker, Psychoacoustics, on just-noticeable changes).
    lines_db = 2.0 * np.abs(np.fft.rfft(curve_db)) / len(curve_db)
    assert lines_db.max() < 0.2


def test_partials_fluctuate_each_by_itself() -> None:
    played = play(PIPE_CHANTER, 69, 60.0)[: 20 * RATE_HZ]
    times_s = np.arange(len(played)) / RATE_HZ
    window = RATE_HZ // 5
    curves = []
    for order in (2, 3, 4, 5):
        turned = played * np.exp(-2j * np.pi * 440.0 * order * times_s)
        means = np.abs(turned[: len(turned) // window * window].reshape(-1, window).mean(axis=1))
        curves.append(20.0 * np.log10(means[1:] / means[1:].mean()))
    assert min(curve.std() for curve in curves) > 0.1
    correlations = np.corrcoef(curves)[np.triu_indices(4, 1)]
    assert correlations.max() < 0.7


@pytest.mark.parametrize(("preset", "key"), DRONES)
def test_a_drones_level_does_not_repeat_within_a_minute(preset: tuple[int, int], key: int) -> None:
    curve = level_curve_db(play(preset, key, 60.0))
    curve -= curve.mean()
    at_zero = np.dot(curve, curve) / len(curve)
    for lag in range(20, len(curve) // 2):  # from 4 to 30 seconds
        again = np.dot(curve[lag:], curve[:-lag]) / (len(curve) - lag)
        assert again / at_zero < 0.8


def test_the_peak_factor_is_low_enough_to_leave_room_for_loudness() -> None:
    for preset, key in ALL_TONES:
        played = play(preset, key, 6.0)[RATE_HZ // 10 :]
        assert np.abs(played).max() / np.sqrt(np.mean(played**2)) < 2.2


@pytest.mark.parametrize("preset_and_key", [(PRACTICE_CHANTER, 57), (PIPE_CHANTER, 69), *DRONES])
def test_a_tone_does_not_depend_on_velocity(preset_and_key: tuple[tuple[int, int], int]) -> None:
    preset, key = preset_and_key
    soft, full = (play(preset, key, 2.0, velocity=velocity) for velocity in (1, 127))
    assert np.abs(soft - full).max() < 3 / 32768  # FluidSynth dithers its 16-bit output


def test_the_bagpipe_of_general_midi_is_the_pipe_chanter_and_follows_velocity() -> None:
    full, again = (play(preset, 69, 2.0) for preset in (PIPE_CHANTER, GENERAL_MIDI_BAGPIPE))
    # FluidSynth's curve ends just below full.
    assert np.abs(full * again.std() / full.std() - again).max() < 3 / 32768
    assert 20 * np.log10(again.std() / full.std()) == pytest.approx(0, abs=0.2)
    softer = play(GENERAL_MIDI_BAGPIPE, 69, 2.0, velocity=76)
    # SoundFont 2.04, section 8.4.1: 40 log10(velocity / 127) dB.
    assert 20 * np.log10(softer.std() / again.std()) == pytest.approx(-8.92, abs=0.3)


# Pitch and loops


@pytest.mark.parametrize(("preset", "key"), ALL_TONES)
def test_a_tone_is_in_tune_and_does_not_drift(preset: tuple[int, int], key: int) -> None:
    tone_hz = key_hz(key)
    pitch = parselmouth.Sound(play(preset, key, 6.0), RATE_HZ).to_pitch_ac(
        time_step=0.1, pitch_floor=tone_hz / 8, pitch_ceiling=tone_hz * 1.5, very_accurate=True
    )
    found_hz = pitch.selected_array["frequency"]
    cents = 1200.0 * np.log2(found_hz[found_hz > 0] / tone_hz)
    assert len(cents) > 50
    assert abs(cents.mean()) < 0.02
    assert np.abs(cents).max() < 0.05


@pytest.mark.parametrize(("preset", "key"), [(PRACTICE_CHANTER, 55), (PIPE_CHANTER, 81), *DRONES])
def test_pitch_holds_over_a_minute(preset: tuple[int, int], key: int) -> None:
    # Phase of the fundamental against an exact oscillator; whatever drifts adds up in it.
    played = play(preset, key, 60.0)[RATE_HZ // 2 :]
    turned = played * np.exp(-2j * np.pi * key_hz(key) * np.arange(len(played)) / RATE_HZ)
    window = RATE_HZ // 4
    phases = np.unwrap(
        np.angle(turned[: len(turned) // window * window].reshape(-1, window).mean(axis=1))
    )
    cents = 1200.0 * np.log2(1.0 + np.diff(phases) / (2.0 * np.pi * 0.25) / key_hz(key))
    assert abs(cents.mean()) < 0.01
    assert np.abs(cents).max() < 0.5


@pytest.mark.parametrize(("preset", "key"), ALL_TONES)
def test_no_step_in_a_looping_tone_is_larger_than_inside_its_first_loop(
    preset: tuple[int, int], key: int
) -> None:
    played = play(preset, key, 20.0)
    # Second differences, since a seam is a corner even where it is no jump.
    bends = np.abs(np.diff(played, 2))
    first_loop = bends[RATE_HZ // 50 : int(2.8 * RATE_HZ)].max()
    assert bends[RATE_HZ // 50 :].max() < first_loop * 1.1


@given(tone_hz=st.floats(55.0, 2000.0), about_s=st.floats(2.0, 9.0))
def test_every_loop_holds_its_pitch_within_a_hundredth_of_a_cent(
    tone_hz: float, about_s: float
) -> None:
    length = loop_length(tone_hz, RATE_HZ, about_s)
    cents = 1200.0 * np.log2(length.periods * RATE_HZ / length.frames / tone_hz)
    assert abs(cents) < 0.01
    assert length.frames / RATE_HZ == pytest.approx(about_s, rel=0.03)


# Strokes


@pytest.mark.parametrize("key", STROKES)
def test_a_stroke_peaks_at_once_and_dies_away(key: int) -> None:
    played = play(DRUM, key, 0.6)
    peak = np.abs(played).max()
    onset = int(np.argmax(np.abs(played) > 0.1 * peak))
    assert onset < 0.003 * RATE_HZ
    assert int(np.argmax(np.abs(played))) - onset < 0.006 * RATE_HZ
    assert np.abs(played[int(0.45 * RATE_HZ) :]).max() < 0.001 * peak


def test_accent_beat_and_subdivision_are_told_apart_by_level_and_pitch() -> None:
    accent, beat, subdivision = (play(DRUM, key, 0.6) for key in (ACCENT, BEAT, SUBDIVISION))
    energies = [float(np.sum(sound**2)) for sound in (accent, beat, subdivision)]
    assert energies[0] > 1.15 * energies[1] > 2.5 * energies[2]
    assert centroid_hz(accent) > 1.05 * centroid_hz(beat)
    assert centroid_hz(beat) > 1.05 * centroid_hz(subdivision)


def test_right_and_left_snare_strokes_are_like_but_not_the_same() -> None:
    right, left = play(DRUM, SNARE_RIGHT, 0.6), play(DRUM, SNARE_LEFT, 0.6)
    assert centroid_hz(right) == pytest.approx(centroid_hz(left), rel=0.15)
    assert 0.0 < 10.0 * np.log10(np.sum(right**2) / np.sum(left**2)) < 3.0
    assert abs(np.corrcoef(right, left)[0, 1]) < 0.9


def test_a_buzz_stroke_lasts_long_enough_to_be_joined_into_a_roll() -> None:
    buzz, tap = play(DRUM, SNARE_BUZZ, 0.6), play(DRUM, SNARE_RIGHT, 0.6)

    def sounding_s(played: Floats) -> float:
        level = np.sqrt(np.convolve(played**2, np.ones(441) / 441, "same"))
        return float(np.count_nonzero(level > 0.1 * level.max()) / RATE_HZ)

    assert sounding_s(buzz) > 0.15
    assert sounding_s(buzz) > 2.0 * sounding_s(tap)


def test_a_stroke_rings_on_however_short_its_midi_note_is() -> None:
    cut, held = play(DRUM, SNARE_RIGHT, 0.6, held_s=0.01), play(DRUM, SNARE_RIGHT, 0.6)
    assert 10.0 * np.log10(np.sum(cut**2) / np.sum(held**2)) > -1.0


# Loudness and the writer


def test_loudness_of_partials_agrees_with_an_independent_meter() -> None:
    partials_hz = np.array([110.0, 440.0, 1320.0, 3000.0, 9000.0])
    amplitudes = np.array([0.2, 0.1, 0.1, 0.05, 0.02])
    times_s = np.arange(5 * RATE_HZ) / RATE_HZ
    played = np.sin(2.0 * np.pi * np.outer(times_s, partials_hz)) @ amplitudes
    expected_lufs = loudness_lufs(played)
    assert loudness_of_partials_lufs(partials_hz, amplitudes) == pytest.approx(
        expected_lufs, abs=0.15
    )


def sample_of(name: str = "tone", loop: tuple[int, int] | None = (64, 164)) -> Sample:
    """A sample of 228 frames."""
    return Sample(name, np.zeros(228, np.int16), RATE_HZ, 69, loop)


@pytest.mark.parametrize(
    "zone",
    [
        Zone(sample_of(name="a name of more than twenty characters"), 0, 127, -7973),
        Zone(sample_of(name="été"), 0, 127, -7973),
        Zone(sample_of(loop=(4, 164)), 0, 127, -7973),
        Zone(sample_of(loop=(64, 90)), 0, 127, -7973),
        Zone(sample_of(loop=(64, 224)), 0, 127, -7973),
        Zone(sample_of(), 69, 60, -7973),
        Zone(sample_of(), 0, 128, -7973),
    ],
)
def test_the_writer_refuses_what_the_standard_forbids(zone: Zone) -> None:
    with pytest.raises(ValueError, match=r"characters|loop|keys"):
        soundfont_bytes([Preset("tone", 0, 0, (zone,), velocity_sensitive=False)], {})


def test_a_folder_that_cannot_be_written_is_named_and_nothing_is_left(tmp_path: Path) -> None:
    (tmp_path / "taken").write_text("a file where a folder should be")
    done = subprocess.run(
        [sys.executable, "-m", "renderer.sound.synthesis", "-o", str(tmp_path / "taken")],
        cwd=ROOT,
        check=False,
        timeout=HANG_S,
        capture_output=True,
        text=True,
    )
    assert done.returncode == 2
    assert "taken" in done.stderr
    assert "Traceback" not in done.stderr
    assert [path.name for path in tmp_path.iterdir()] == ["taken"]
