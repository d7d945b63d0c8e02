"""A recording, whatever a phone makes, to blocks of samples.

ffmpeg reads the file and hands its sound over a pipe, so that a recording of any length takes no
memory. Blocks are floats of shape (frames,), one channel, full scale 1.
"""

from __future__ import annotations

import os
import re
import struct
import subprocess
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soxr
from numpy.typing import NDArray

from renderer.errors import failure
from renderer.programs import ffmpegs

Samples = NDArray[np.float32]

HIGHEST_RATE = 24_000
"""Frames a second that are listened to: twelve partials of any chanter's high A lie below half."""

_BLOCK_FRAMES = 1 << 16
_LOWEST_RATE, _MOST_RATE = 4_000, 400_000
_FORMATS = (
    "aac,ac3,aiff,amr,amrnb,amrwb,ape,asf,au,avi,caf,flac,flv,matroska,webm,mov,mp4,m4a,3gp,mp3,"
    "mpeg,mpegts,ogg,w64,wav,wv,tta"
)
"""Containers of sound and film. Others (playlists, pictures, captions) can name further files."""
_READ = ("-format_whitelist", _FORMATS, "-protocol_whitelist", "file")
_LEAST_SHARE, _SLACK_S = 0.03, 1.0
"""So far what is stated and what is there may differ: encoders pad and cut."""
_FULL_SCALE = 0.97
_UNKNOWN_SIZE, _SLACK_BYTES = 0xFFFFFF00, 4_096
_OGG_PAGE, _LARGEST_OGG_PAGE = b"OggS", 65_307
_REMEDY = (
    "name a recording as a phone makes it (m4a, mp3, wav, 3gp, ogg, opus, mp4); "
    "if it was copied from somewhere, copy it again"
)


@dataclass(frozen=True, slots=True)
class Stated:
    """What a file says of itself.

    Parameters
    ----------
    rate:
        Frames a second.
    seconds:
        How long it is; None where it does not say or the reader only guesses.
    """

    rate: int
    seconds: float | None


@dataclass(slots=True)
class Recording:
    """A recording that is being read: iterate over it for its blocks, at `rate` frames a second.

    Raises a `RungwiseError` at its end if the file turns out to be broken off, or longer or shorter
    than it says.
    """

    file: str
    path: Path
    stated: Stated
    seconds: float = 0.0
    full_scale_share: float = 0.0

    @property
    def rate(self) -> int:
        """Frames a second of the blocks."""
        return min(self.stated.rate, HIGHEST_RATE)

    def __iter__(self) -> Iterator[Samples]:
        own = self.stated.rate
        down = soxr.ResampleStream(own, self.rate, 1, dtype="float32") if own > self.rate else None
        frames = loud = 0
        for block in _decoded(self.path, self.file):
            frames += len(block)
            loud += int(np.count_nonzero(np.abs(block) >= _FULL_SCALE))
            self.seconds, self.full_scale_share = frames / own, loud / frames
            yield block if down is None else down.resample_chunk(block)
        if down is not None:
            yield down.resample_chunk(np.empty(0, np.float32), last=True)
        if not frames:
            raise failure("there is no sound in it", _REMEDY, file=self.file)
        self._check_length()

    def _check_length(self) -> None:
        stated = self.stated.seconds
        if stated is None:
            return
        if abs(stated - self.seconds) > _SLACK_S + _LEAST_SHARE * stated:
            raise _of_other_length(stated, self.seconds, self.file)


def open_recording(path: Path) -> Recording:
    """Return a recording, ready to be read.

    Raises
    ------
    RungwiseError
        If it is not there, holds no sound, or there is no ffmpeg to read it.
    """
    file = str(path)
    if path.is_dir():
        raise failure("this is a folder", "name a recording in it", file=file)
    if not path.exists():
        raise failure("there is no such file", "check its name and folder", file=file)
    if not path.is_file():
        raise failure("this is a device or a pipe", "name a file", file=file)
    if not os.access(path, os.R_OK):
        raise failure("the file cannot be read: permission denied", "check it", file=file)
    if not path.stat().st_size:
        raise failure("the file is empty", _REMEDY, file=file)
    _check_wave(path, file)
    _check_ogg(path, file)
    _check_mpeg_4(path, file)
    _check_mp3(path, file)
    said = _run_to_its_end([_ffmpeg(file), "-hide_banner", *_READ, "-i", _url(path)])
    sound = re.search(r"Stream #\S+.*?: Audio: .*?(\d+) Hz", said)
    if sound is None:
        raise _unreadable(said, path, file)
    rate = int(sound[1])
    if not _LOWEST_RATE <= rate <= _MOST_RATE:
        raise failure(f"its sound has {rate} frames a second", _REMEDY, file=file)
    return Recording(file, path, Stated(rate, _stated_seconds(said)))


def _stated_seconds(said: str) -> float | None:
    length = re.search(r"Duration: (\d+):(\d\d):(\d\d(?:\.\d+)?)", said)
    if length is None or "Estimating duration" in said:
        return None
    return int(length[1]) * 3600 + int(length[2]) * 60 + float(length[3])


def _check_wave(path: Path, file: str) -> None:
    """Refuse a WAV file whose header and length disagree, which ffmpeg passes over in silence."""
    whole = path.stat().st_size
    with path.open("rb") as opened:
        head = opened.read(12)
        if head[:4] != b"RIFF" or head[8:] != b"WAVE":
            return
        bytes_a_second = 0
        while len(chunk := opened.read(8)) == 8:
            name, size = chunk[:4], struct.unpack("<I", chunk[4:])[0]
            rest = whole - opened.tell()
            if name == b"fmt " and size >= 16:
                bytes_a_second = struct.unpack("<I", opened.read(16)[8:12])[0]
                opened.seek(size - 16 + size % 2, 1)
                continue
            if name == b"data":
                # All ones and none stand for a length that was not known when writing began.
                if not bytes_a_second or size == 0 or size >= _UNKNOWN_SIZE:
                    return
                opened.seek(min(size + size % 2, rest), 1)
                behind = opened.read(8)
                follows = len(behind) < 8 or (
                    behind[:4].strip().isalnum()
                    and struct.unpack("<I", behind[4:])[0] <= rest - size
                )
                if size > rest + _SLACK_BYTES or not follows:
                    raise _of_other_length(size / bytes_a_second, rest / bytes_a_second, file)
                return
            opened.seek(size + size % 2, 1)


def _check_ogg(path: Path, file: str) -> None:
    """Refuse an Ogg file that ends within a page, which ffmpeg passes over in silence.

    RFC 3533: a page has 27 bytes, from the last of which on stands how many lengths follow, which
    add up to that of its content. Pages have 65,307 bytes at most.
    """
    whole = path.stat().st_size
    with path.open("rb") as opened:
        if opened.read(4) != _OGG_PAGE:
            return
        opened.seek(max(0, whole - 2 * _LARGEST_OGG_PAGE))
        end = opened.read()
    at = end.find(_OGG_PAGE)
    while 0 <= at < len(end):
        head = end[at : at + 27]
        lengths = end[at + 27 : at + 27 + head[26]] if len(head) == 27 else b""
        if not lengths or len(lengths) < head[26] or end[at : at + 4] != _OGG_PAGE:
            # A page's mark may stand in the sound by chance where the search began.
            following = end.find(_OGG_PAGE, at + 1)
            if following < 0:
                break
            at = following
            continue
        at += 27 + len(lengths) + sum(lengths)
    if at != len(end):
        raise _broken_off(file)


def _check_mpeg_4(path: Path, file: str) -> None:
    """Refuse an MPEG-4 file (m4a, mp4, 3gp) whose last box ends beyond the file.

    ISO/IEC 14496-12: a box begins with its length and four letters; a length of 1 stands for one of
    64 bits behind the letters, 0 for all that is left.
    """
    whole = path.stat().st_size
    with path.open("rb") as opened:
        if opened.read(8)[4:] != b"ftyp":
            return
        at = 0
        while at + 8 <= whole:
            opened.seek(at)
            head = opened.read(16)
            size = struct.unpack(">I", head[:4])[0]
            if size == 1 and len(head) == 16:
                size = struct.unpack(">Q", head[8:])[0]
            if size == 0:
                return
            if size < 8 or not head[4:8].isascii():
                return
            at += size
    if at > whole:
        raise _broken_off(file)


def _check_mp3(path: Path, file: str) -> None:
    """Refuse an MP3 file with fewer bytes than its first frame says that there are.

    That frame holds "Xing" or "Info", flags, the number of frames where the first of them is set
    and the number of bytes, from that frame on, where the second is (what encoders write since
    Xing's, described by the source of LAME). It lies behind tags (ID3v2.4, section 3.1).
    """
    whole = path.stat().st_size
    with path.open("rb") as opened:
        first = 0
        head = opened.read(10)
        if head[:3] == b"ID3" and len(head) == 10:
            first = 10
            for place, byte in enumerate(reversed(head[6:])):
                first += (byte & 0x7F) << 7 * place
        opened.seek(first)
        frame = opened.read(64)
    if len(frame) < 64 or frame[0] != 0xFF or frame[1] & 0xE6 != 0xE2:
        return
    is_mpeg_1, is_mono = bool(frame[1] & 0x08), frame[3] >> 6 == 3
    at = 4 + ((17 if is_mono else 32) if is_mpeg_1 else (9 if is_mono else 17))
    if frame[at : at + 4] not in (b"Xing", b"Info"):
        return
    flags = frame[at + 7]
    stands = at + 8 + 4 * (flags & 1)
    if flags & 2 and whole - first < struct.unpack_from(">I", frame, stands)[0]:
        raise _broken_off(file)


def _broken_off(file: str) -> Exception:
    return failure(
        "it was broken off while it was recorded or copied: its last piece is not all there",
        "copy it again from where it was recorded",
        file=file,
    )


def _of_other_length(stated_s: float, found_s: float, file: str) -> Exception:
    return failure(
        f"it says that it is {stated_s:.1f} s long, but {found_s:.1f} s of sound are in it: it was "
        "broken off or damaged",
        "copy it again from where it was recorded",
        file=file,
    )


def _url(path: Path) -> str:
    # A name like `concat:a.wav` is a file all the same.
    return f"file:{path.absolute()}"


def _ffmpeg(file: str) -> str:
    found = ffmpegs()
    if not found:
        raise failure(
            "reading a recording needs the program ffmpeg, and there is none",
            "install it with 'apt install ffmpeg' (Debian, Ubuntu), 'brew install ffmpeg' (macOS) "
            "or 'pip install imageio-ffmpeg'",
            file=file,
        )
    return found[0]


def _run_to_its_end(command: list[str]) -> str:
    run = subprocess.run(
        command,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        env={**os.environ, "LC_ALL": "C"},
        check=False,
    )
    return run.stderr.decode(errors="replace")


def _unreadable(said: str, path: Path, file: str) -> Exception:
    if "Stream #" in said:
        return failure("there is no sound in it", _REMEDY, file=file)
    with path.open("rb") as opened:
        is_mpeg_4 = opened.read(8)[4:] == b"ftyp"
    if is_mpeg_4 and "moov atom not found" in said:
        cause = "it was broken off while it was recorded or copied: the part that says how to read"
        return failure(f"{cause} it is missing", _REMEDY, file=file)
    return failure("this is no recording that can be read", _REMEDY, file=file)


def _decoded(path: Path, file: str) -> Iterator[Samples]:
    command = [_ffmpeg(file), "-v", "error", *_READ, "-i", _url(path), "-map", "0:a:0"]
    command += ["-vn", "-ac", "1", "-f", "f32le", "pipe:1"]
    process = subprocess.Popen(
        command,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        # What it mourns on the way (thousands of lines for noise) is judged by what it gives.
        stderr=subprocess.DEVNULL,
        env={**os.environ, "LC_ALL": "C"},
        start_new_session=os.name == "posix",
    )
    assert process.stdout is not None
    try:
        while data := process.stdout.read(4 * _BLOCK_FRAMES):
            block = np.frombuffer(data[: len(data) // 4 * 4], "<f4").astype(np.float32)
            yield np.clip(np.nan_to_num(block), -8.0, 8.0)
        process.wait()
    finally:
        if process.poll() is None:
            process.kill()
            process.wait()
        with suppress(OSError):
            process.stdout.close()
