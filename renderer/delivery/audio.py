"""From blocks of samples to a complete audio file with tags.

Blocks are float32 of shape (frames, channels), full scale 1; they are encoded as they come, so that
a track of any length takes no memory. WAV and FLAC hold 16-bit samples, Ogg holds Vorbis, M4A AAC.
All formats give back exactly the frames that went in: WAV, FLAC, Ogg and Opus by themselves, MP3
with a decoder that heeds what the first frame notes about delay and padding (ffmpeg, and most
players), M4A with one that heeds where the file says that it begins.
"""

from __future__ import annotations

import os
import zlib
from collections.abc import Callable, Iterable, Iterator
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soundfile
from numpy.typing import NDArray

from renderer.delivery.claims import Claim, kept_file
from renderer.delivery.ffmpeg import BY_FFMPEG, ffmpeg_encoder, find_ffmpeg
from renderer.delivery.files import Placing, simply, whole_file
from renderer.delivery.lame import check_lame
from renderer.delivery.mp3 import copy_renumbered, mp3_encoder
from renderer.delivery.mp4_boxes import begin_later, silence_before, stated_frames
from renderer.delivery.ogg_stream import number_stream
from renderer.delivery.tags import Tags, soundfile_strings, vorbis_comments
from renderer.delivery.vorbis_comments import put_in_place, stand_in
from renderer.delivery.wav_chunks import add_chunks
from renderer.order.formats import (
    WAV_SAMPLE_BYTES,
    AudioFormat,
    check_rate,
    kbit_per_s,
)

Write = Callable[[NDArray[np.float32]], None]

LARGEST_WAV_BYTES = 2**32 - 2**20
"""RIFF counts its bytes in 32 bits; a megabyte is left for header and tags. Larger files are
written as RF64 (EBU Tech 3306), the standard's extension to 64 bits."""

_VORBIS_COMPRESSION = 0.2
"""Vorbis quality 8 of 10 as libsndfile turns it around: 32 to 34 dB signal to noise at 166 to 182
kbit/s on backing and full tracks, where libsndfile's usual quality 4 has 24 to 27 (measured)."""

_VORBIS_COMMENTS = (AudioFormat.FLAC, AudioFormat.OGG)

FRAMES_A_WRITE = 24_576
"""Encoders get blocks of this length whatever comes in, so that a file does not depend on how its
samples were cut up (Vorbis does). libsndfile also crashes on a Vorbis file in one long write."""


@dataclass(frozen=True, slots=True)
class Written:
    """What was written: how many frames of samples, and the file's size in bytes."""

    frames: int
    bytes: int


class _Sink:
    """A file for libsndfile that keeps the operating system's error, which libsndfile swallows.

    It is unbuffered: libsndfile buffers itself, and an error must not wait for the closing.
    Exceptions must not leave these methods, since they are called back from C.
    """

    def __init__(self, path: Path) -> None:
        self._file = path.open("w+b", buffering=0)
        self.error: BaseException | None = None

    def write(self, data: bytes) -> int:
        done = 0
        try:
            while self.error is None and done < len(data):
                done += self._file.write(data[done:])
        except BaseException as error:
            self.error = error
        return done

    def seek(self, offset: int, whence: int = os.SEEK_SET) -> int:
        try:
            return self._file.seek(offset, whence)
        except BaseException as error:
            self.error = error
            return -1

    def tell(self) -> int:
        return self._file.tell()

    def readinto(self, buffer: bytearray) -> int:
        return self._file.readinto(buffer)

    def read(self, size: int) -> bytes:
        return self._file.read(size)

    def close(self) -> None:
        self._file.close()


class _Rounding:
    """Rounds samples to 16 bits; libsndfile would cut them off in WAV, at twice the error.

    Blocks have up to `FRAMES_A_WRITE` frames of so many channels. Arrays are used again, since new
    ones take longer to come by than to be filled; what is returned holds until the next call.
    """

    def __init__(self, channels: int) -> None:
        self._scaled = np.empty((FRAMES_A_WRITE, channels), np.float32)
        self._rounded = np.empty((FRAMES_A_WRITE, channels), np.int16)

    def as_int16(self, block: NDArray[np.float32]) -> NDArray[np.int16]:
        scaled, rounded = self._scaled[: len(block)], self._rounded[: len(block)]
        np.multiply(block, np.float32(32_768), out=scaled)
        np.rint(scaled, out=scaled)
        np.clip(scaled, -32_768, 32_767, out=scaled)
        rounded[:] = scaled
        return rounded


def _block_picture(tags: Tags, audio_format: AudioFormat) -> bytes:
    """The cover where it has a block of its own."""
    return tags.picture if audio_format is AudioFormat.FLAC else b""


@contextmanager
def _soundfile_encoder(
    path: Path, audio_format: AudioFormat, *, rate: int, channels: int, frames: int, tags: Tags
) -> Iterator[Write]:
    large = frames * channels * WAV_SAMPLE_BYTES > LARGEST_WAV_BYTES
    major = "RF64" if audio_format is AudioFormat.WAV and large else audio_format.name
    is_ogg = audio_format is AudioFormat.OGG
    sink, rounding = _Sink(path), _Rounding(channels)

    def check() -> None:
        if sink.error is not None:
            raise sink.error

    try:
        file = soundfile.SoundFile(
            sink,
            "w",
            rate,
            channels,
            "VORBIS" if is_ogg else "PCM_16",
            format=major,
            compression_level=_VORBIS_COMPRESSION if is_ogg else None,
        )
        if audio_format in _VORBIS_COMMENTS and (comments := vorbis_comments(tags, audio_format)):
            # The first of its texts, so that it is found before all that a user has written.
            file.date = stand_in(comments, _block_picture(tags, audio_format))
        for name, text in soundfile_strings(tags).items():
            setattr(file, name, text)

        def write(block: NDArray[np.float32]) -> None:
            try:
                file.write(block if is_ogg else rounding.as_int16(block))
            finally:
                check()

        try:
            yield write
        finally:
            file.close()
        check()
    except (soundfile.SoundFileError, AssertionError):
        check()
        raise
    finally:
        sink.close()


def _regular(blocks: Iterable[NDArray[np.float32]], channels: int) -> Iterator[NDArray[np.float32]]:
    """Cut blocks of any length into blocks of `FRAMES_A_WRITE`, the last one shorter."""
    waiting = np.empty((FRAMES_A_WRITE, channels), np.float32)
    filled = 0
    for block in blocks:
        if block.ndim != 2 or block.shape[1] != channels:
            raise ValueError(f"a block has shape {block.shape}, not (n, {channels})")
        # Noise at full scale is what a NaN sounds like in headphones.
        if not np.isfinite(block).all():
            raise ValueError("a block has samples that are not finite numbers")
        whole = block.dtype == np.float32 and block.flags.c_contiguous
        if whole and filled == 0 and len(block) == FRAMES_A_WRITE:
            yield block
            continue
        taken = 0
        while taken < len(block):
            now = min(len(block) - taken, FRAMES_A_WRITE - filled)
            waiting[filled : filled + now] = block[taken : taken + now]
            taken += now
            filled += now
            if filled == FRAMES_A_WRITE:
                yield waiting
                filled = 0
    if filled:
        yield waiting[:filled]


def _complete(
    path: Path, audio_format: AudioFormat, *, rate: int, channels: int, frames: int, kbit: int
) -> None:
    """Make sure that nothing is missing.

    Raises `OSError` if a file that its encoder finished without complaint is not all there.
    """
    size = path.stat().st_size
    if audio_format is AudioFormat.MP3:
        complete = size >= frames * kbit * 125 // rate
    elif audio_format is AudioFormat.M4A:
        complete = stated_frames(path) == frames
    else:
        with path.open("rb") as file:
            complete = soundfile.info(file).frames == frames
        if audio_format is AudioFormat.WAV:
            complete &= size >= frames * channels * WAV_SAMPLE_BYTES
    if not complete:
        raise OSError(0, "the file is shorter than what was written to it", str(path))


def check_encoders(audio_formats: Iterable[AudioFormat]) -> None:
    """Raise a `RungwiseError` if what encodes one of these formats is not installed."""
    for audio_format in dict.fromkeys(audio_formats):
        if audio_format is AudioFormat.MP3:
            check_lame()
        elif audio_format in BY_FFMPEG:
            find_ffmpeg(audio_format)


def write_audio(
    blocks: Iterable[NDArray[np.float32]],
    path: Path,
    *,
    audio_format: AudioFormat,
    rate: int,
    channels: int,
    frames: int,
    tags: Tags,
    is_small: bool = False,
    on_progress: Callable[[int], None] | None = None,
    claim: Claim | None = None,
    placing: Placing = simply,
) -> Written:
    """Encode blocks of samples into a file, tags included, whole or not at all.

    Parameters
    ----------
    blocks:
        float32 of shape (n, channels) each, n as you like; taken one at a time.
    path:
        The file to make or replace; its folder must exist.
    audio_format, rate, channels:
        What to write: frames per second, 1 or 2 channels.
    frames:
        How many frames will come in all. A WAV needs to know beforehand whether it fits into 4 GB.
    tags:
        What a player shows.
    is_small:
        Whether an MP3 is to be small enough to be sent.
    on_progress:
        Called with a number of frames each time that so many more are encoded.
    claim:
        What the file is, by which it takes its place; None to replace whatever is there.
    placing:
        Without a claim: as for `renderer.delivery.files.whole_file`.

    Returns
    -------
    Written
        The frames and the file's size.

    Raises
    ------
    RungwiseError
        If the format has no such rate, there is no encoder, it fails, or the file cannot be
        written. Nothing is left of it then, and a file that was there before stays.
    ValueError
        If the blocks do not add up to `frames`, have another shape, or are not finite.
    """
    check_rate(audio_format, rate)
    kbit = kbit_per_s(audio_format, rate, channels, is_small=is_small)
    with whole_file(path, placing=placing) if claim is None else kept_file(path, claim) as part:
        encoder: AbstractContextManager[Write]
        if audio_format is AudioFormat.MP3:
            encoder = mp3_encoder(part, rate=rate, channels=channels, kbit=kbit, tags=tags)
        elif audio_format in BY_FFMPEG:
            encoder = ffmpeg_encoder(
                part, audio_format, rate=rate, channels=channels, kbit=kbit, tags=tags
            )
        else:
            encoder = _soundfile_encoder(
                part, audio_format, rate=rate, channels=channels, frames=frames, tags=tags
            )
        done = 0
        before = silence_before(frames) if audio_format is AudioFormat.M4A else 0
        with encoder as write:
            if before:
                write(np.zeros((before, channels), np.float32))
            for block in _regular(blocks, channels):
                write(block)
                done += len(block)
                if on_progress is not None:
                    on_progress(len(block))
            if done != frames:
                raise ValueError(f"{done} frames came and {frames} were announced")
        if before:
            begin_later(part, before)
        _complete(part, audio_format, rate=rate, channels=channels, frames=frames, kbit=kbit)
        if audio_format in _VORBIS_COMMENTS and (comments := vorbis_comments(tags, audio_format)):
            put_in_place(part, comments, _block_picture(tags, audio_format))
        if audio_format is AudioFormat.WAV:
            add_chunks(part, tags, rate)
        if audio_format in (AudioFormat.OGG, AudioFormat.OPUS):
            # This makes the checksums of the pages anew, too.
            number_stream(part, zlib.crc32(repr(tags).encode()))
        size = part.stat().st_size
    return Written(frames, size)


NUMBERED_ANEW = (AudioFormat.MP3,)
"""Formats whose tags stand before the sound, which then needs no encoding for the sake of them."""


def write_renumbered(
    path: Path,
    sha256: str,
    number: str,
    *,
    claim: Claim | None = None,
    placing: Placing = simply,
) -> int:
    """Give a track that is there another number, to the bytes that `write_audio` would write.

    Parameters
    ----------
    path, sha256:
        The track, in one of the formats of `NUMBERED_ANEW`, and the digest that its bytes have.
    number:
        Which track it is, and of how many, as `2/5`.
    claim, placing:
        As for `write_audio`.

    Returns
    -------
    The file's size in bytes.

    Raises
    ------
    ChangedError
        If the track has not the digest; it stays as it is.
    RungwiseError
        If the file cannot be written.
    """
    with whole_file(path, placing=placing) if claim is None else kept_file(path, claim) as part:
        if copy_renumbered(path, part, number) != sha256:
            raise ChangedError
        return part.stat().st_size


class ChangedError(Exception):
    """A file is not any more what it was."""
