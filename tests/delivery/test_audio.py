"""Audio files: every sample arrives, and nothing half-written stays."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import textwrap
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
import soundfile
from hypothesis import given
from hypothesis import strategies as st

from renderer.delivery import audio
from renderer.delivery.audio import Written, write_audio
from renderer.delivery.tags import Tags
from renderer.errors import RungwiseError
from renderer.order.formats import MP3_RATES, AudioFormat, format_named, mp3_kbit_per_s, rate_in
from tests.delivery.disks import make_read_only, names_in, small_disk
from tests.delivery.signals import (
    Samples,
    click_at,
    decoded,
    drone,
    frames_in,
    metadata_seen_by_ffmpeg,
)
from tests.limits import HANG_S
from tests.sampling import examples

TAGS = Tags(
    title="Grips over the scale, 62.5 bpm",
    album="Grips over the scale, B flat, full",
    artist="Larkmoor juniors",
    track=2,
    tracks=4,
    tempo=Fraction(125, 2),
    comment="Pitch B flat; gracenotes 45 ms",
)
every_format = pytest.mark.parametrize("audio_format", list(AudioFormat))


def in_blocks(samples: Samples, size: int = 10_000) -> Iterator[Samples]:
    return (samples[first : first + size] for first in range(0, len(samples), size))


def write(samples: Samples, path: Path, *, rate: int = 44_100, block: int = 10_000) -> Written:
    """Write samples, in Opus at the nearest rate that it has."""
    audio_format = format_named(path.suffix)
    return write_audio(
        in_blocks(samples, block),
        path,
        audio_format=audio_format,
        rate=rate_in(audio_format, rate),
        channels=samples.shape[1],
        frames=len(samples),
        tags=TAGS,
    )


@every_format
@pytest.mark.parametrize("channels", [1, 2])
@pytest.mark.parametrize("rate", [8_000, 22_050, 44_100, 48_000])
def test_a_decoder_gives_back_exactly_the_frames_that_went_in(
    audio_format: AudioFormat, channels: int, rate: int, tmp_path: Path
) -> None:
    # ffmpeg trims no Ogg stream that fits into a single page, so it must not be too short.
    frames = 4 * rate + 37
    path = tmp_path / f"track{audio_format.ending}"
    written = write(drone(frames, rate=rate, channels=channels), path, rate=rate)
    assert written == Written(frames, path.stat().st_size)
    assert decoded(path, channels=channels).shape == (frames, channels)
    assert frames_in(path) == frames


@examples(25)
@given(frames=st.integers(1, 4 * 1152), channels=st.sampled_from([1, 2]))
def test_an_mp3_of_any_length_is_trimmed_to_the_sample_by_two_decoders(
    frames: int, channels: int, tmp_path_factory: pytest.TempPathFactory
) -> None:
    path = tmp_path_factory.mktemp("mp3") / "track.mp3"
    write(drone(frames, channels=channels), path)
    assert len(decoded(path, channels=channels)) == frames
    assert soundfile.info(path).frames == frames


@pytest.mark.parametrize("rate", MP3_RATES)
def test_a_click_in_an_mp3_of_any_rate_comes_out_where_it_went_in(
    rate: int, tmp_path: Path
) -> None:
    samples = click_at(30_011, 60_000)
    write(samples, tmp_path / "track.mp3", rate=rate)
    got = decoded(tmp_path / "track.mp3")[:, 0].astype(float)
    lags = np.correlate(got[29_000:32_000], samples[30_000:31_000, 0].astype(float), "valid")
    assert int(np.argmax(lags)) + 29_000 == 30_000


@every_format
def test_a_click_comes_out_at_the_frame_where_it_went_in(
    audio_format: AudioFormat, tmp_path: Path
) -> None:
    path = tmp_path / f"track{audio_format.ending}"
    samples = click_at(30_011, 60_000)
    write(samples, path)
    got = decoded(path)[:, 0].astype(float)
    lags = np.correlate(got[29_000:32_000], samples[30_000:31_000, 0].astype(float), "valid")
    assert int(np.argmax(lags)) + 29_000 == 30_000


@every_format
def test_the_size_of_the_blocks_does_not_change_the_file(
    audio_format: AudioFormat, tmp_path: Path
) -> None:
    samples = drone(50_000)
    files = []
    for block in (50_000, 777):
        path = tmp_path / f"{block}{audio_format.ending}"
        write(samples, path, block=block)
        files.append(path.read_bytes())
    assert files[0] == files[1]


@pytest.mark.parametrize("rate", MP3_RATES)
@pytest.mark.parametrize("channels", [1, 2])
def test_an_mp3_is_as_loud_as_what_went_in(rate: int, channels: int, tmp_path: Path) -> None:
    samples = drone(3 * rate, rate=rate, channels=channels, hertz=200)
    write(samples, tmp_path / "track.mp3", rate=rate)
    got = decoded(tmp_path / "track.mp3", channels=channels)
    gain = float((got * samples).sum() / np.square(samples).sum())
    assert abs(20 * np.log10(gain)) < 0.02


def test_wav_and_flac_round_every_sample_to_the_nearest_of_16_bits(tmp_path: Path) -> None:
    samples = drone(30_000)
    for name in ("track.wav", "track.flac"):
        write(samples, tmp_path / name)
        got, _ = soundfile.read(tmp_path / name, dtype="float32")
        assert np.abs(got - samples).max() <= 0.5 / 32_768


def test_a_sample_over_full_scale_is_clipped_and_does_not_wrap_round(tmp_path: Path) -> None:
    for name in ("track.wav", "track.flac"):
        write(np.full((5_000, 1), 1.5, np.float32), tmp_path / name)
        got, _ = soundfile.read(tmp_path / name)
        assert got.min() > 0.99


def test_an_mp3_has_a_constant_bit_rate_that_its_size_follows(tmp_path: Path) -> None:
    for rate in (16_000, 44_100):
        path = tmp_path / f"{rate}.mp3"
        frames = 5 * rate
        size = write(drone(frames, rate=rate), path, rate=rate).bytes
        expected = 5 * mp3_kbit_per_s(rate, 2) * 125
        assert expected <= size < expected + 8_000


@pytest.mark.parametrize("rate", MP3_RATES)
@pytest.mark.parametrize("channels", [1, 2])
def test_an_mp3_has_the_bit_rate_that_we_name(rate: int, channels: int, tmp_path: Path) -> None:
    path = tmp_path / "track.mp3"
    write(drone(rate, rate=rate, channels=channels), path, rate=rate)
    kind = "mono" if channels == 1 else "stereo"
    stream = f"{rate} Hz, {kind}, fltp, {mp3_kbit_per_s(rate, channels)} kb/s"
    assert stream in metadata_seen_by_ffmpeg(path)


def test_a_rate_that_mp3_lacks_is_refused_with_those_that_it_has(tmp_path: Path) -> None:
    with pytest.raises(RungwiseError, match=r"no sample rate of 96000\. Choose 48000 \(mp3 has"):
        write(drone(100), tmp_path / "track.mp3", rate=96_000)
    assert names_in(tmp_path) == []


def test_a_wav_too_large_for_riff_becomes_rf64(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # The real limit takes a file of 4 GB; the code path is the same.
    monkeypatch.setattr(audio, "LARGEST_WAV_BYTES", 100_000)
    path = tmp_path / "long.wav"
    samples = drone(30_000)
    write(samples, path)
    assert path.read_bytes()[:4] == b"RF64"
    assert soundfile.info(path).format == "RF64"
    assert len(decoded(path)) == 30_000
    assert TAGS.title in metadata_seen_by_ffmpeg(path)


@every_format
def test_progress_adds_up_to_the_frames_of_the_track(
    audio_format: AudioFormat, tmp_path: Path
) -> None:
    seen: list[int] = []
    samples = drone(25_000)
    write_audio(
        in_blocks(samples),
        tmp_path / "track",
        audio_format=audio_format,
        rate=48_000,
        channels=2,
        frames=25_000,
        tags=TAGS,
        on_progress=seen.append,
    )
    assert seen == [audio.FRAMES_A_WRITE, 25_000 - audio.FRAMES_A_WRITE]


@every_format
@pytest.mark.parametrize("blow", [KeyboardInterrupt, ValueError, RungwiseError, MemoryError])
def test_whatever_stops_the_samples_leaves_the_old_file_and_nothing_else(
    audio_format: AudioFormat, blow: type[BaseException], tmp_path: Path
) -> None:
    path = tmp_path / "track"
    path.write_bytes(b"what was there before")

    def blocks() -> Iterator[Samples]:
        yield drone(100_000)
        raise blow(())

    with pytest.raises(blow):
        write_audio(
            blocks(),
            path,
            audio_format=audio_format,
            rate=48_000,
            channels=2,
            frames=200_000,
            tags=TAGS,
        )
    assert path.read_bytes() == b"what was there before"
    assert names_in(tmp_path) == ["track"]


@every_format
@pytest.mark.parametrize(
    ("block", "frames", "said"),
    [
        (np.zeros((10, 2), np.float32), 11, "10 frames came and 11 were announced"),
        (np.zeros((10, 1), np.float32), 10, r"shape \(10, 1\)"),
        (np.full((10, 2), np.nan, np.float32), 10, "not finite numbers"),
    ],
)
def test_blocks_that_are_not_as_announced_are_refused(
    audio_format: AudioFormat, block: Samples, frames: int, said: str, tmp_path: Path
) -> None:
    with pytest.raises(ValueError, match=said):
        write_audio(
            [block],
            tmp_path / "track",
            audio_format=audio_format,
            rate=48_000,
            channels=2,
            frames=frames,
            tags=TAGS,
        )
    assert names_in(tmp_path) == []


@every_format
@pytest.mark.parametrize("kilobytes", [4, 64, 180])
def test_a_full_disk_keeps_the_old_file_and_says_so(
    audio_format: AudioFormat, kilobytes: int, tmp_path: Path
) -> None:
    with small_disk(tmp_path / "disk", kilobytes=kilobytes) as disk:
        path = disk / f"track{audio_format.ending}"
        path.write_bytes(b"old")
        noise = np.random.default_rng(1).standard_normal((1_000_000, 2)).astype(np.float32) * 0.1
        with pytest.raises(RungwiseError, match=r"the disk is full\. Free some space on it"):
            write(noise, path)
        assert names_in(disk) == [path.name]
        assert path.read_bytes() == b"old"


@every_format
def test_a_disk_of_any_size_gives_a_complete_file_or_an_error(
    audio_format: AudioFormat, tmp_path: Path
) -> None:
    # The last kilobytes (header, tags, trailer) are where errors get lost.
    samples = drone(22_050)
    whole = tmp_path / f"whole{audio_format.ending}"
    size = write(samples, whole).bytes
    page = os.sysconf("SC_PAGE_SIZE") // 1024
    outcomes = []
    for kilobytes in range(max(page, size // 1024 - 4 * page), size // 1024 + 6 * page, page):
        with small_disk(tmp_path / f"disk{kilobytes}", kilobytes=kilobytes) as disk:
            path = disk / f"track{audio_format.ending}"
            try:
                write(samples, path)
            except RungwiseError as error:
                assert "the disk is full" in str(error)
                assert names_in(disk) == []
                outcomes.append("full")
            else:
                assert path.read_bytes() == whole.read_bytes()
                outcomes.append("complete")
    assert set(outcomes) == {"full", "complete"}
    assert outcomes == sorted(outcomes, reverse=True)


def test_a_read_only_disk_is_named_with_what_to_do(tmp_path: Path) -> None:
    with small_disk(tmp_path / "disk", kilobytes=400) as disk:
        make_read_only(disk)
        with pytest.raises(RungwiseError, match=r"read-only disk\. Choose another folder"):
            write(drone(100), disk / "track.wav")


@pytest.mark.skipif(os.name != "posix" or os.geteuid() == 0, reason="root may write everywhere")
def test_a_folder_without_permission_is_named_with_what_to_do(tmp_path: Path) -> None:
    tmp_path.chmod(0o500)
    with pytest.raises(RungwiseError, match="no permission to write here"):
        write(drone(100), tmp_path / "track.wav")


def test_an_encoder_that_is_killed_is_reported_and_leaves_nothing(tmp_path: Path) -> None:
    psutil = pytest.importorskip("psutil")

    def blocks() -> Iterator[Samples]:
        yield drone(200_000)
        (encoder,) = psutil.Process().children()
        encoder.send_signal(signal.SIGKILL)
        encoder.wait(HANG_S)
        for _ in range(20):
            yield drone(200_000)

    with pytest.raises(RungwiseError, match=r"encoder \(ffmpeg\) failed.*choose mp3, ogg, flac"):
        write_audio(
            blocks(),
            tmp_path / "track.m4a",
            audio_format=AudioFormat.M4A,
            rate=44_100,
            channels=2,
            frames=21 * 200_000,
            tags=TAGS,
        )
    assert names_in(tmp_path) == []


def test_an_encoder_that_talks_without_end_does_not_block(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    chatty = tmp_path / "bin" / "ffmpeg"
    chatty.parent.mkdir()
    chatty.write_text(
        textwrap.dedent(
            f"""\
            #!{sys.executable}
            import sys
            if "-h" in sys.argv:
                print("Encoder aac")
                sys.exit()
            for number in range(20_000):
                print("complaint", number, file=sys.stderr)
            sys.stdin.buffer.read()
            sys.exit(3)
            """
        )
    )
    chatty.chmod(0o755)
    monkeypatch.setenv("PATH", f"{chatty.parent}{os.pathsep}{os.environ['PATH']}")
    out = tmp_path / "out"
    out.mkdir()
    with pytest.raises(RungwiseError, match="failed: complaint 19999"):
        write(drone(500_000), out / "track.m4a")
    assert names_in(out) == []


def test_without_ffmpeg_what_it_writes_is_refused_and_the_message_says_how_to_install_it(
    tmp_path: Path,
) -> None:
    script = """
        import sys
        import numpy as np
        from pathlib import Path
        from renderer.delivery.audio import write_audio
        from renderer.order.formats import AudioFormat
        from renderer.delivery.tags import Tags
        from renderer.errors import RungwiseError
        for audio_format in AudioFormat:
            try:
                write_audio([np.zeros((9, 1), np.float32)], Path(sys.argv[1]) / audio_format,
                            audio_format=audio_format, rate=48000, channels=1, frames=9,
                            tags=Tags("x"))
            except RungwiseError as error:
                print(audio_format, error)
    """
    answer = subprocess.run(
        [sys.executable, "-c", textwrap.dedent(script), str(tmp_path)],
        env={"PATH": "", "IMAGEIO_FFMPEG_EXE": "/nowhere/ffmpeg", "PYTHONPATH": str(Path.cwd())},
        capture_output=True,
        text=True,
        check=False,
        timeout=HANG_S,
    )
    assert answer.stderr == ""
    for name in ("m4a", "opus"):
        assert f"{name} writing {name} needs an ffmpeg" in answer.stdout
    assert "apt install ffmpeg" in answer.stdout
    assert names_in(tmp_path) == ["flac", "mp3", "ogg", "wav"]


def test_ctrl_c_while_a_file_is_written_leaves_nothing(tmp_path: Path) -> None:
    script = """
        import sys
        import numpy as np
        from pathlib import Path
        from renderer.delivery.audio import write_audio
        from renderer.order.formats import AudioFormat
        from renderer.delivery.tags import Tags
        def blocks():
            print("started", flush=True)
            while True:
                yield np.zeros((10_000, 2), np.float32)
        try:
            write_audio(blocks(), Path(sys.argv[1]) / "track.mp3", audio_format=AudioFormat.MP3,
                        rate=44100, channels=2, frames=10**12, tags=Tags("x"))
        except KeyboardInterrupt:
            sys.exit(130)
    """
    process = subprocess.Popen(
        [sys.executable, "-c", textwrap.dedent(script), str(tmp_path)],
        env={**os.environ, "PYTHONPATH": str(Path.cwd())},
        stdout=subprocess.PIPE,
        text=True,
    )
    assert process.stdout is not None
    assert process.stdout.readline() == "started\n"
    assert names_in(tmp_path)
    process.send_signal(signal.SIGINT)
    assert process.wait(timeout=HANG_S) == 130
    process.stdout.close()
    assert names_in(tmp_path) == []


def test_an_unknown_format_is_refused_with_those_there_are() -> None:
    with pytest.raises(RungwiseError, match="Choose one of wav, flac, mp3, ogg, m4a, opus"):
        format_named("aiff")
    assert format_named(".MP3 ") is AudioFormat.MP3
