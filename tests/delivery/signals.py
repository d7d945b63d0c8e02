"""Signals that tests put into encoders, and independent ways to get them out again."""

from __future__ import annotations

import subprocess
from pathlib import Path
from typing import Any

import imageio_ffmpeg
import numpy as np
import pytest
import soundfile
from numpy.typing import NDArray

from renderer.delivery import lame, mp3
from renderer.programs import ffmpegs
from tests.limits import HANG_S

Samples = NDArray[np.float32]


def drone(frames: int, *, rate: int = 44_100, channels: int = 2, hertz: float = 233.0) -> Samples:
    """Return a steady tone of six partials, shape (frames, channels), with 0.3 as its peak."""
    time = np.arange(frames) / rate
    wave = sum(np.sin(2 * np.pi * hertz * k * time + k * k) / k for k in range(1, 7))
    wave = np.asarray(wave) * 0.3 / 2.5
    return np.repeat(wave[:, np.newaxis], channels, axis=1).astype(np.float32)


def click_at(frame: int, frames: int, *, channels: int = 2) -> Samples:
    """Return silence with a short click that begins at `frame`."""
    samples = np.zeros((frames, channels), np.float32)
    decay = np.exp(-np.arange(200) / 30) * np.sin(np.arange(200) * 0.5)
    samples[frame : frame + 200] = 0.8 * decay[:, np.newaxis]
    return samples


def decoded(path: Path, *, channels: int = 2) -> Samples:
    """Return what ffmpeg, an independent decoder, makes of a file: shape (frames, channels).

    Of M4A files what the system's and a newer one both make.
    """
    found = decoded_by(ffmpegs()[0], path, channels=channels)
    if path.suffix == ".m4a":
        newer = decoded_by(imageio_ffmpeg.get_ffmpeg_exe(), path, channels=channels)
        assert np.abs(found - newer).max(initial=0.0) < 1e-4
    return found


def decoded_by(program: str, path: Path, *, channels: int = 2) -> Samples:
    """Return what one ffmpeg makes of a file."""
    command = [
        program,
        "-v",
        "error",
        "-i",
        str(path),
        "-map",
        "0:a",
        "-f",
        "f32le",
        "-ac",
        str(channels),
        "-",
    ]
    if path.suffix == ".opus":
        # Opus decoders give 48,000 frames a second unless asked for what the file states.
        command[-1:-1] = ["-ar", str(soundfile.info(path).samplerate)]
    result = subprocess.run(command, capture_output=True, check=True, timeout=HANG_S)
    assert result.stderr == b""
    return np.frombuffer(result.stdout, np.float32).reshape(-1, channels)


def frames_in(path: Path) -> int:
    """Return how many frames libsndfile, or of M4A ffmpeg, finds in a file."""
    if path.suffix == ".m4a":
        return len(decoded(path, channels=1))
    return int(soundfile.info(path).frames)


def metadata_seen_by_ffmpeg(path: Path) -> str:
    """Return what ffmpeg prints about a file, tags and streams."""
    command = [ffmpegs()[0], "-hide_banner", "-i", str(path)]
    return subprocess.run(command, capture_output=True, check=False, timeout=HANG_S).stderr.decode()


def streams_encoded(monkeypatch: pytest.MonkeyPatch) -> list[object]:
    """Every MP3 stream that is encoded from now on."""
    begun: list[object] = []

    class Counted(lame.Lame):
        def __init__(self, **how: Any) -> None:
            begun.append(how)
            super().__init__(**how)

    monkeypatch.setattr(mp3, "Lame", Counted)
    return begun
