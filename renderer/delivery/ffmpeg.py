"""The ffmpeg program: finding one that encodes a format, and streaming float samples into it.

A system ffmpeg comes first, the one that `imageio-ffmpeg` ships second. Samples go in as 32-bit
floats over a pipe, so that a track of any length takes no memory.
"""

from __future__ import annotations

import errno
import os
import subprocess
from collections import deque
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from threading import Thread

import numpy as np
from numpy.typing import NDArray

from renderer.delivery.files import part_beside
from renderer.delivery.tags import Tags, ffmetadata
from renderer.errors import failure
from renderer.order.formats import AudioFormat
from renderer.programs import ffmpegs

_OWN_GROUP: int = getattr(subprocess, "CREATE_NEW_PROCESS_GROUP", 0)
"""What `start_new_session` is on Windows, which has no sessions."""


@dataclass(frozen=True, slots=True)
class _Encoder:
    """How ffmpeg writes a format: its encoder, how people call that, and what it is told."""

    name: str
    spoken: str
    told: tuple[str, ...]


BY_FFMPEG = {
    AudioFormat.M4A: _Encoder(
        "aac",
        "an AAC encoder",
        # Its usual way of choosing costs twice the time, for 1.2 dB less noise (measured).
        ("-aac_coder", "fast", "-movflags", "+faststart", "-fflags", "+bitexact", "-f", "ipod"),
    ),
    AudioFormat.OPUS: _Encoder(
        "libopus", "the Opus encoder", ("-fflags", "+bitexact", "-f", "opus")
    ),
}
"""The formats that ffmpeg writes."""


@cache
def _encodes(program: str, encoder: str) -> bool:
    try:
        answer = subprocess.run(
            [program, "-hide_banner", "-h", f"encoder={encoder}"],
            stdin=subprocess.DEVNULL,
            capture_output=True,
            timeout=30,
            check=False,
        )
    except (OSError, subprocess.TimeoutExpired):
        return False
    return f"Encoder {encoder}".encode() in answer.stdout


def find_ffmpeg(audio_format: AudioFormat) -> str:
    """Return the path of an ffmpeg that can encode a format.

    Raises
    ------
    RungwiseError
        If there is none, with how to install it.
    """
    encoder = BY_FFMPEG[audio_format]
    candidates = ffmpegs()
    program = next((one for one in candidates if _encodes(one, encoder.name)), None)
    if program is None:
        found = f" (found {', '.join(candidates)})" if candidates else ""
        raise failure(
            f"writing {audio_format} needs an ffmpeg with {encoder.spoken}, and there is "
            f"none{found}",
            "install it with 'apt install ffmpeg' (Debian, Ubuntu), 'brew install ffmpeg' (macOS) "
            "or 'pip install imageio-ffmpeg', or choose mp3, ogg, flac or wav",
        )
    return program


class _LastLines:
    """What a process says on its standard error: read as it comes, so that it never blocks."""

    def __init__(self, process: subprocess.Popen[bytes]) -> None:
        assert process.stderr is not None
        self._lines: deque[str] = deque(maxlen=20)
        self._stream = process.stderr
        self._thread = Thread(target=self._drain, daemon=True)
        self._thread.start()

    def _drain(self) -> None:
        with self._stream:
            for line in self._stream:
                if text := line.decode(errors="replace").strip():
                    self._lines.append(text)

    def read(self) -> tuple[str, ...]:
        self._thread.join(timeout=10)
        return tuple(self._lines)


def _disk_error(lines: tuple[str, ...], path: Path) -> OSError | None:
    for number in (errno.ENOSPC, errno.EDQUOT, errno.EFBIG, errno.EIO):
        if any(os.strerror(number) in line for line in lines):
            return OSError(number, os.strerror(number), str(path))
    return None


def _failed(lines: tuple[str, ...], code: int, path: Path) -> Exception:
    said = lines[-1] if lines else f"it ended with code {code} and said nothing"
    return _disk_error(lines, path) or failure(
        f"the encoder (ffmpeg) failed: {said.rstrip('.')}",
        "try again, or choose mp3, ogg, flac or wav",
    )


@contextmanager
def ffmpeg_encoder(
    path: Path, audio_format: AudioFormat, *, rate: int, channels: int, kbit: int, tags: Tags
) -> Iterator[Callable[[NDArray[np.float32]], None]]:
    """Open an encoder that writes to `path`, tags included, chapters and cover but in Opus.

    Opus notes its delay and padding, so that decoders that trim give back every sample and no more;
    M4A has an edit list for that, which counts single frames.

    Parameters
    ----------
    path:
        The file to write; it is replaced.
    audio_format, rate, channels, kbit:
        One of `BY_FFMPEG`; frames per second that it has; 1 or 2; kbit/s.
    tags:
        What a player shows.

    Yields
    ------
    A function that takes a block of shape (frames, channels).

    Raises
    ------
    RungwiseError
        If there is no ffmpeg, or it fails. `OSError` if the disk is full.
    """
    encoder = BY_FFMPEG[audio_format]
    command = [find_ffmpeg(audio_format), "-hide_banner", "-loglevel", "error"]
    command += ["-f", "f32le", "-ar", str(rate), "-ac", str(channels), "-i", "pipe:0"]
    metadata = part_beside(path)
    picture = part_beside(path)
    command += ["-f", "ffmetadata", "-i", f"file:{metadata.absolute()}"]
    has_picture = bool(tags.picture) and audio_format is not AudioFormat.OPUS
    if has_picture:
        command += ["-f", "png_pipe", "-i", f"file:{picture.absolute()}", "-map", "0:a"]
        command += ["-map", "2:v", "-c:v", "copy", "-disposition:v", "attached_pic"]
        command += ["-metadata:s:v", "comment=Cover (front)"]
    command += ["-map_metadata", "1", "-map_chapters", "1"]
    command += ["-c:a", encoder.name, "-b:a", f"{kbit}k"]
    if audio_format is AudioFormat.M4A:
        command += ["-movie_timescale", str(rate)]
    command += [*encoder.told, "-y", f"file:{path.absolute()}"]
    try:
        metadata.write_text(ffmetadata(tags, audio_format), "utf-8")
        if has_picture:
            picture.write_bytes(tags.picture)
        with _encoder(command, path) as write:
            yield write
    finally:
        metadata.unlink(missing_ok=True)
        picture.unlink(missing_ok=True)


@contextmanager
def _encoder(command: list[str], path: Path) -> Iterator[Callable[[NDArray[np.float32]], None]]:
    process = subprocess.Popen(
        command,
        stdin=subprocess.PIPE,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        env={**os.environ, "LC_ALL": "C"},
        # Ctrl-C is for us: we end the encoder and clear up behind it.
        start_new_session=True,
        creationflags=_OWN_GROUP,
    )
    assert process.stdin is not None
    messages = _LastLines(process)

    def write(block: NDArray[np.float32]) -> None:
        assert process.stdin is not None
        process.stdin.write(np.ascontiguousarray(block, dtype="<f4").data)

    try:
        try:
            yield write
            process.stdin.close()
        except BrokenPipeError:
            # It has died; what it said on the way is the better message.
            process.wait(timeout=60)
            raise _failed(messages.read(), process.returncode, path) from None
        code = process.wait()
        lines = messages.read()
        if code:
            raise _failed(lines, code, path)
        # ffmpeg 5 ends well even where it could not write the last bytes, and only says so.
        if error := _disk_error(lines, path):
            raise error
    finally:
        if process.poll() is None:
            process.kill()
            process.wait()
        with suppress(OSError):
            process.stdin.close()
