"""What is no recording of a chanter is refused, and why is said."""

from __future__ import annotations

import shutil
import struct
from pathlib import Path

import numpy as np
import pytest

from renderer.errors import RungwiseError, WrongValueError
from renderer.listening.hearing import listen
from renderer.listening.recording import open_recording
from tests.listening.chanters import Case, write
from tests.listening.compared import heard_in, heard_in_file
from tests.listening.other_sounds import RATE, melody, noise, piano_chords, speech_like
from tests.listening.presets import FLUID

needs_fluid = pytest.mark.skipif(
    not FLUID.exists(), reason="the package fluid-soundfont-gm is not installed"
)


@pytest.fixture(scope="module")
def chanter() -> np.ndarray:
    return Case(1, least_seconds=10).make()[0]


def test_silence_is_refused() -> None:
    with pytest.raises(WrongValueError, match="silent"):
        heard_in(np.zeros(5 * RATE, np.float32), RATE)


def test_a_second_of_sound_is_refused(chanter: np.ndarray) -> None:
    with pytest.raises(WrongValueError, match="too short"):
        heard_in(chanter[:RATE], RATE)


@pytest.mark.parametrize("hz", [120.0, 220.0])
def test_speech_is_refused(hz: float) -> None:
    with pytest.raises(WrongValueError, match="hold a pitch as a chanter does"):
        heard_in(speech_like(hz=hz), RATE)


def test_noise_is_refused() -> None:
    with pytest.raises(WrongValueError, match="hold a pitch as a chanter does"):
        heard_in(noise(), RATE)


def test_a_recording_cut_off_at_full_scale_is_refused(chanter: np.ndarray) -> None:
    with pytest.raises(WrongValueError, match="clipped"):
        heard_in(np.clip(8 * chanter, -1, 1), RATE)


@needs_fluid
@pytest.mark.parametrize("program", [0, 19, 24, 48])
def test_chords_of_other_instruments_are_refused(program: int) -> None:
    with pytest.raises(WrongValueError):
        heard_in(piano_chords(program), RATE)


@needs_fluid
@pytest.mark.parametrize("program", [0, 40, 56, 68, 73])
def test_melodies_of_other_instruments_are_refused(program: int) -> None:
    with pytest.raises(WrongValueError, match="other music"):
        heard_in(melody(program, lowest=67), RATE)


def test_a_text_called_a_recording_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "chanter.m4a"
    path.write_text("Low A is 476 this week.\n" * 100)
    with pytest.raises(RungwiseError, match="no recording that can be read"):
        open_recording(path)


def test_a_list_of_files_called_a_recording_opens_none_of_them(tmp_path: Path) -> None:
    write(tmp_path / "other.wav", Case(1).make()[0], RATE)
    for text in ("#EXTM3U\n#EXTINF:5,\nother.wav\n", "ffconcat version 1.0\nfile other.wav\n"):
        path = tmp_path / "chanter.m4a"
        path.write_text(text)
        with pytest.raises(RungwiseError, match="no recording"):
            open_recording(path)


def test_a_broken_off_mpeg_4_file_is_refused(tmp_path: Path, chanter: np.ndarray) -> None:
    whole = write(tmp_path / "whole.m4a", chanter, RATE)
    broken = tmp_path / "broken.m4a"
    broken.write_bytes(whole.read_bytes()[: whole.stat().st_size // 2])
    with pytest.raises(RungwiseError, match="broken off"):
        open_recording(broken)


@pytest.mark.parametrize("ending", [".mp3", ".opus", ".m4a"])
def test_a_broken_off_file_is_refused_however_little_is_lost(
    tmp_path: Path, chanter: np.ndarray, ending: str
) -> None:
    """An MP3 says how many bytes it has, an Ogg page and an MPEG-4 box how many follow it."""
    whole = write(tmp_path / f"whole{ending}", chanter, RATE)
    assert heard_in_file(whole).notes[0].is_heard
    broken = tmp_path / f"broken{ending}"
    for share in (0.02, 0.3, 0.5, 0.8, 0.9, 0.99):
        broken.write_bytes(whole.read_bytes()[: int(whole.stat().st_size * share)])
        with pytest.raises(RungwiseError, match="broken off"):
            open_recording(broken)


def test_a_recording_whose_index_stands_first_is_told_to_be_broken_off(
    tmp_path: Path, chanter: np.ndarray
) -> None:
    import subprocess

    if shutil.which("ffmpeg") is None:
        pytest.skip("no ffmpeg on the path")
    last = write(tmp_path / "last.m4a", chanter, RATE)
    first, broken = tmp_path / "first.m4a", tmp_path / "broken.m4a"
    command = ["ffmpeg", "-loglevel", "error", "-i", str(last), "-c", "copy"]
    subprocess.run([*command, "-movflags", "+faststart", str(first)], check=True)
    assert open_recording(first).stated.seconds == open_recording(last).stated.seconds
    broken.write_bytes(first.read_bytes()[: int(0.95 * first.stat().st_size)])
    with pytest.raises(RungwiseError, match="broken off"):
        open_recording(broken)


def test_tags_before_and_after_an_mp3_are_no_part_of_its_sound(
    tmp_path: Path, chanter: np.ndarray
) -> None:
    """ID3v2.4, section 3.1: ten bytes, the last four the tag's length in seven bits each."""
    whole = write(tmp_path / "whole.mp3", chanter, RATE).read_bytes()
    assert whole[:3] == b"ID3"
    length = sum((byte & 0x7F) << 7 * place for place, byte in enumerate(reversed(whole[6:10])))
    sound = whole[10 + length :]
    tagged = tmp_path / "tagged.mp3"
    long_tag = b"ID3\x04\x00\x00\x00\x00\x02\x01" + bytes(257)
    for before, after in ((b"", b""), (long_tag, b"TAG" + bytes(125))):
        tagged.write_bytes(before + sound + after)
        assert open_recording(tagged).stated.rate == RATE
        tagged.write_bytes(before + sound[:-1])
        with pytest.raises(RungwiseError, match="broken off"):
            open_recording(tagged)


@pytest.mark.parametrize("share", [0.5, 0.9])
def test_a_broken_off_wave_file_is_refused(
    tmp_path: Path, chanter: np.ndarray, share: float
) -> None:
    whole = write(tmp_path / "whole.wav", chanter, RATE)
    broken = tmp_path / "broken.wav"
    broken.write_bytes(whole.read_bytes()[: int(whole.stat().st_size * share)])
    with pytest.raises(RungwiseError, match="broken off or damaged"):
        heard_in_file(broken)


@pytest.mark.parametrize("factor", [0.2, 5.0])
def test_a_header_that_lies_about_the_length_is_refused(
    tmp_path: Path, chanter: np.ndarray, factor: float
) -> None:
    path = write(tmp_path / "chanter.wav", chanter, RATE)
    data = bytearray(path.read_bytes())
    at = data.index(b"data") + 4
    (size,) = struct.unpack_from("<I", data, at)
    struct.pack_into("<I", data, at, int(size * factor))
    path.write_bytes(bytes(data))
    with pytest.raises(RungwiseError, match="says that it is"):
        heard_in_file(path)


def test_a_film_without_a_chanter_is_refused(tmp_path: Path) -> None:
    import subprocess

    if shutil.which("ffmpeg") is None:
        pytest.skip("no ffmpeg on the path")
    silent, spoken = tmp_path / "silent.mp4", tmp_path / "spoken.mp4"
    picture = ["-f", "lavfi", "-i", "testsrc=duration=6:size=64x64:rate=5"]
    command = ["ffmpeg", "-loglevel", "error", "-y", *picture]
    subprocess.run([*command, "-pix_fmt", "yuv420p", str(silent)], check=True)
    with pytest.raises(RungwiseError, match="no sound in it"):
        open_recording(silent)
    sound = write(tmp_path / "speech.wav", speech_like(6.0), RATE)
    command += ["-i", str(sound), "-c:a", "aac", "-pix_fmt", "yuv420p", str(spoken)]
    subprocess.run(command, check=True)
    with pytest.raises(WrongValueError, match="hold a pitch"):
        heard_in_file(spoken)


def test_a_hundred_megabytes_of_noise_are_refused(tmp_path: Path) -> None:
    path = tmp_path / "chanter.mp3"
    path.write_bytes(np.random.default_rng(5).bytes(100_000_000))
    with pytest.raises((RungwiseError, WrongValueError)):
        recording = open_recording(path)
        listen(recording, recording.rate).chanter()


@pytest.mark.parametrize("name", ["", "missing.m4a"])
def test_folders_and_files_that_are_not_there_are_refused(tmp_path: Path, name: str) -> None:
    with pytest.raises(RungwiseError):
        open_recording(tmp_path / name)
