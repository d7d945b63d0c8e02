"""Presets of other people's SoundFonts: what is wrong with them, and what is made of it."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pretty_midi
import pytest
from numpy.typing import NDArray

from renderer.errors import RungwiseError
from renderer.notation.pitch import Note
from renderer.order.tracks import expand
from renderer.sound.bank import tone_bank
from renderer.sound.instrument import make_instrument
from renderer.sound.loudness import lufs
from renderer.sound.own_soundfont import shipped_soundfont
from renderer.sound.steady import measure_period
from renderer.sound.synthesis.riff import Preset, Sample, Zone, soundfont_bytes
from renderer.sound.tuning import Chanter, frequency_hz, parse_pitch, scale_named
from renderer.sound.units import cents_to_ratio, key_to_hz
from renderer.sound.voices import Voice, parse_preset
from tests.limits import HANG_S
from tests.sampling import sampled
from tests.sound.measuring import Samples, cents, metered, pitch_by_phase
from tests.sound.playing import exercise, plain, rendered

RATE = 44_100
GENERAL_MIDI = Path(pretty_midi.__file__).parent / "TimGM6mb.sf2"
"""A General MIDI SoundFont of recorded instruments that comes with pretty_midi."""

FLUID = Path("/usr/share/sounds/sf2/FluidR3_GM.sf2")
"""Where Debian's package fluid-soundfont-gm puts it."""

SECONDS = 8
Wave = Callable[[float], NDArray[np.float64]]
TIME = np.arange(SECONDS * RATE) / RATE


def partials(turns: NDArray[np.float64]) -> NDArray[np.float64]:
    """A reedy wave, given how many periods have gone by."""
    waves = [np.sin(2 * np.pi * k * turns + k * k) / k for k in range(1, 12)]
    return np.asarray(np.sum(waves, axis=0) / 4, np.float64)


def steady(hz: float) -> NDArray[np.float64]:
    """A tone without fault."""
    return partials(hz * TIME)


def soundfont(folder: Path, wave: Wave, *, broken: dict[int, Wave] | None = None) -> Path:
    """Write a SoundFont with one preset, 0:0, whose nine notes sound as `wave` makes them.

    The samples are not looped, so all that is wrong with them is heard as it is.
    """
    zones = []
    for note in Note:
        key = note.midi
        made = (broken or {}).get(key, wave)(key_to_hz(key))
        frames = np.round(made * 20_000).astype(np.int16)
        zones.append(Zone(Sample(f"key {key}", frames, RATE, key), key, key, -7973))
    path = folder / "foreign.sf2"
    preset = Preset("Foreign", 0, 0, tuple(zones), velocity_sensitive=False)
    info = {"isng": "EMU8000", "INAM": "Foreign"}
    path.write_bytes(soundfont_bytes([preset], info))
    return path


def heard(path: Path, program: int = 0) -> tuple[list[Samples], tuple[str, ...]]:
    """The nine loops that are made of a preset at 478 Hz, equal temperament, and the remarks."""
    bank = tone_bank(
        Voice(path, 0, program),
        parse_pitch(478),
        scale_named("equal"),
        Chanter.PIPE,
        RATE,
        steady=False,
    )
    return [np.tile(tone.samples, 2)[: 2 * RATE] for tone in bank.tones], bank.remarks


def wanted_hz(note: Note) -> float:
    return frequency_hz(note, parse_pitch(478), scale_named("equal"), Chanter.PIPE)


def test_a_preset_out_of_tune_is_corrected_and_the_correction_reported(tmp_path: Path) -> None:
    flat = soundfont(tmp_path, lambda hz: steady(hz * cents_to_ratio(-23.4)))
    tones, remarks = heard(flat)
    for note, tone in zip(Note, tones, strict=True):
        assert abs(cents(pitch_by_phase(tone, wanted_hz(note), RATE), wanted_hz(note))) < 0.05
    assert len(remarks) == 1
    assert "low G -23.4, low A -23.4" in remarks[0]


def test_a_preset_in_tune_has_nothing_to_report(tmp_path: Path) -> None:
    assert heard(soundfont(tmp_path, steady))[1] == ()


def test_vibrato_is_taken_out_and_the_mean_pitch_kept(tmp_path: Path) -> None:
    def vibrato(hz: float) -> NDArray[np.float64]:
        deep = hz * (cents_to_ratio(30) - 1)
        return partials(hz * TIME - deep / (2 * np.pi * 5.2) * np.cos(2 * np.pi * 5.2 * TIME))

    tones, remarks = heard(soundfont(tmp_path, vibrato))
    assert any("vibrato" in remark and "low A 29" in remark for remark in remarks)
    for note, tone in zip(Note, tones, strict=True):
        # In windows far shorter than the vibrato was, the pitch is now the same everywhere.
        periods = [
            measure_period(tone[start : start + 6000], RATE / wanted_hz(note)).period
            for start in range(0, len(tone) - 6000, 6000)
        ]
        assert all(abs(cents(RATE / period, wanted_hz(note))) < 1.5 for period in periods)


def test_an_attack_is_left_out(tmp_path: Path) -> None:
    def attack(hz: float) -> NDArray[np.float64]:
        rise = np.minimum(1.0, TIME / 0.4) ** 2
        hiss = np.random.default_rng(1).normal(0, 0.2, len(TIME)) * np.exp(-TIME / 0.05)
        return np.asarray(steady(hz) * rise * 0.7 + hiss * 0.5, np.float64)

    for tone in heard(soundfont(tmp_path, attack))[0]:
        level = np.sqrt(np.mean(tone[: len(tone) // 441 * 441].reshape(-1, 441) ** 2, axis=1))
        assert np.ptp(20 * np.log10(level)) < 2.0


def test_a_slow_decay_is_levelled_and_reported(tmp_path: Path) -> None:
    fading = soundfont(tmp_path, lambda hz: steady(hz) * np.exp(-TIME / 6))
    tones, remarks = heard(fading)
    assert any("levelled" in remark for remark in remarks)
    for tone in tones:
        halves = [float(np.mean(half**2)) for half in np.array_split(tone, 2)]
        assert 10 * np.log10(halves[0] / halves[1]) == pytest.approx(0, abs=0.3)


def test_uneven_notes_are_brought_to_one_loudness(tmp_path: Path) -> None:
    path = soundfont(tmp_path, steady, broken={74: lambda hz: steady(hz) * 0.25})
    bank = tone_bank(
        Voice(path, 0, 0), parse_pitch("A"), scale_named(), Chanter.PIPE, RATE, steady=False
    )
    assert np.ptp([lufs(tone.power) for tone in bank.tones]) < 0.01
    assert "LU apart" in bank.remarks[-1]


def test_the_shipped_notes_differ_by_less_than_one_loudness_unit() -> None:
    for chanter in Chanter:
        bank = make_instrument(
            parse_pitch("A"), scale_named(), chanter, rate=RATE, steady=False
        ).chanter
        assert np.ptp([lufs(tone.power) for tone in bank.tones]) < 1
        assert bank.remarks == ()


def test_silent_notes_are_named_all_at_once(tmp_path: Path) -> None:
    silence = {key: (lambda hz: 0 * TIME) for key in (71, 79)}
    path = soundfont(tmp_path, steady, broken=silence)
    with pytest.raises(RungwiseError) as caught:
        heard(path)
    (problem,) = caught.value.problems
    assert problem.cause == "preset 0:0 cannot play B and high G: each is silent"
    assert problem.file == str(path)


def test_a_plucked_preset_is_refused_in_one_sentence(tmp_path: Path) -> None:
    path = soundfont(tmp_path, lambda hz: steady(hz) * np.exp(-TIME / 0.3))
    with pytest.raises(RungwiseError) as caught:
        heard(path)
    (problem,) = caught.value.problems
    assert problem.cause == (
        "preset 0:0 cannot play low G, low A, B, C, D, E, F, high G and high A: "
        "each dies away while it is held"
    )


def test_notes_that_die_away_and_noises_are_refused(tmp_path: Path) -> None:
    noise = np.random.default_rng(1).normal(0, 0.2, len(TIME))
    broken: dict[int, Wave] = {
        69: lambda hz: steady(hz) * np.exp(-TIME / 0.3),
        81: lambda hz: noise,
    }
    with pytest.raises(RungwiseError) as caught:
        heard(soundfont(tmp_path, steady, broken=broken))
    message = str(caught.value)
    assert "cannot play low A: it dies away" in message
    assert "cannot play high A: it has no pitch near that of its key" in message
    assert "B" not in [problem.cause.split()[4] for problem in caught.value.problems]


def test_an_oboe_whose_loop_begins_after_seven_seconds_plays_in_tune_and_evenly() -> None:
    """Until then its D, E and F fall by 17 dB, as a recording does that was made too short."""
    tones, remarks = heard(GENERAL_MIDI, 68)
    for note, tone in zip(Note, tones, strict=True):
        assert abs(cents(pitch_by_phase(tone, wanted_hz(note), RATE), wanted_hz(note))) < 0.05
        level = np.sqrt(
            np.mean(tone[: len(tone) // 11_025 * 11_025].reshape(-1, 11_025) ** 2, axis=1)
        )
        assert np.ptp(20 * np.log10(level)) < 3
    assert any("LU apart; they have been brought to one loudness" in one for one in remarks)


@pytest.mark.skipif(not FLUID.is_file(), reason="fluid-soundfont-gm is not installed")
@pytest.mark.parametrize("program", sampled([68, 20, 109, 70], 2))
def test_reeds_of_another_general_midi_soundfont_play_evenly(program: int) -> None:
    for chanter in Chanter:
        voice = Voice(FLUID, 0, program)
        bank = tone_bank(voice, parse_pitch(478), scale_named(), chanter, RATE, steady=False)
        assert np.ptp([lufs(tone.power) for tone in bank.tones]) < 1.5
        for note, tone in zip(Note, bank.tones, strict=True):
            wanted = frequency_hz(note, parse_pitch(478), scale_named(), chanter)
            assert abs(cents(tone.hz(RATE), wanted)) < 0.05


def test_a_preset_that_the_file_lacks_is_refused() -> None:
    with pytest.raises(RungwiseError, match="no preset 0:99"):
        heard(shipped_soundfont(), 99)


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"RIFF",
        b"not a SoundFont at all",
        b"RIFF\x10\x00\x00\x00sfbkgarbage!",
        b"RIFF\xff\xff\xff\xffsfbkLIST\xff\xff\xff\xffINFO" + bytes(range(256)) * 8,
    ],
)
def test_what_is_no_soundfont_is_refused_without_a_word_from_fluidsynth(
    content: bytes, tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "broken.sf2"
    path.write_bytes(content)
    with pytest.raises(RungwiseError, match=r"broken\.sf2.*SoundFont"):
        heard(path)
    assert capfd.readouterr() == ("", "")


def test_files_that_are_missing_or_folders_are_refused(tmp_path: Path) -> None:
    with pytest.raises(RungwiseError, match="no such SoundFont"):
        heard(tmp_path / "missing.sf2")
    with pytest.raises(RungwiseError, match="this is no file"):
        heard(tmp_path)


def test_a_damaged_soundfont_never_ends_in_a_crash(tmp_path: Path) -> None:
    whole = soundfont(tmp_path, steady).read_bytes()
    for size in (200, len(whole) // 2, len(whole) - 100):
        path = tmp_path / f"cut{size}.sf2"
        path.write_bytes(whole[:size])
        with pytest.raises(RungwiseError):
            heard(path)


def test_a_recorded_bagpipe_plays_in_tune_at_the_same_loudness(tmp_path: Path) -> None:
    voice = Voice(GENERAL_MIDI, 0, 109)
    played_on = make_instrument(
        parse_pitch(478), scale_named(), Chanter.PIPE, rate=RATE, voice=voice, steady=False
    )
    timeline = expand(exercise(plain(*Note)), count_in=1)
    track = rendered(timeline, played_on=played_on)
    measured = metered(track, RATE, tmp_path)
    assert measured.loudness_lufs == pytest.approx(-16, abs=0.3)
    assert measured.true_peak_dbtp < -1
    assert played_on.remarks


def test_any_preset_of_the_drones_locks_to_the_chanter() -> None:
    # A reed organ, 3 cents sharp by itself.
    voice = Voice(GENERAL_MIDI, 0, 20)
    played_on = make_instrument(
        parse_pitch(478),
        scale_named(),
        Chanter.PRACTICE,
        rate=RATE,
        drone_voice=voice,
        steady=False,
    )
    tone = played_on.drones.blend(0, 0, 1)
    heard_hz = pitch_by_phase(np.tile(tone.samples, 2)[: 6 * RATE], 119.5, RATE)
    assert abs(cents(heard_hz, 119.5)) < 0.05
    assert any("drone" in remark for remark in played_on.remarks)


@pytest.mark.parametrize("text", ["", "9", "0:", "0:128", "a:b", "0:1:2", "-1:0", "99999:0"])
def test_presets_are_written_as_bank_and_program(text: str) -> None:
    assert parse_preset(" 0:109 ") == (0, 109)
    with pytest.raises(RungwiseError, match="0:109"):
        parse_preset(text)


MISSING = """
import ctypes.util
ctypes.util.find_library = lambda name: None
from renderer.errors import RungwiseError
from renderer.sound.instrument import make_instrument
from renderer.sound.tuning import Chanter, parse_pitch, scale_named
from tests.sampling import sampled
try:
    make_instrument(
        parse_pitch("A"), scale_named(), Chanter.PRACTICE, rate=44_100, steady=False
    )
except RungwiseError as error:
    print(error)
"""


def test_a_missing_fluidsynth_is_said_in_one_sentence_with_the_way_to_get_it(
    tmp_path: Path,
) -> None:
    # The search for the library is what fails where it is not installed; no instrument is kept yet.
    environment = {**os.environ, "HOMEBREW_PREFIX": "", "CI": "true"}
    environment |= {"XDG_CACHE_HOME": str(tmp_path)}
    run = subprocess.run(
        [sys.executable, "-c", MISSING],
        capture_output=True,
        text=True,
        check=True,
        timeout=HANG_S,
        env=environment,
    )
    assert run.stderr == ""
    assert run.stdout.count("\n") == 1
    assert "apt install libfluidsynth3" in run.stdout
    assert "brew install fluid-synth" in run.stdout


def test_nothing_is_printed_while_an_instrument_is_made() -> None:
    code = (
        "from renderer.sound.instrument import make_instrument\n"
        "from renderer.sound.tuning import Chanter, parse_pitch, scale_named\n"
        "make_instrument(\n"
        "    parse_pitch('A'), scale_named(), Chanter.PRACTICE, rate=44_100, steady=False\n"
        ")\n"
    )
    run = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        text=True,
        check=True,
        timeout=HANG_S,
        env={**os.environ, "CI": "true"},
    )
    assert (run.stdout, run.stderr) == ("", "")
