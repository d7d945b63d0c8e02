"""The audio formats that tracks are written in, and what each can hold."""

from __future__ import annotations

import enum

from renderer.errors import failure

MP3_RATES = (8_000, 11_025, 12_000, 16_000, 22_050, 24_000, 32_000, 44_100, 48_000)
"""Sample rates that MPEG-1, MPEG-2 and MPEG-2.5 Layer III have (ISO/IEC 11172-3 and 13818-3; the
lowest three are the unofficial MPEG-2.5)."""

WAV_SAMPLE_BYTES = 2
"""WAV and FLAC hold 16 bits a sample."""


class AudioFormat(enum.StrEnum):
    """A format of audio files; its value is also the ending of the file's name."""

    WAV = "wav"
    FLAC = "flac"
    MP3 = "mp3"
    OGG = "ogg"

    @property
    def ending(self) -> str:
        """The ending of the file's name, dot included."""
        return f".{self.value}"


def format_named(name: str) -> AudioFormat:
    """Return the format of that name, with or without a dot, whatever its case.

    Raises `RungwiseError` for any other.
    """
    try:
        return AudioFormat(name.strip().removeprefix(".").casefold())
    except ValueError:
        known = ", ".join(AudioFormat)
        raise failure(f"there is no audio format {name!r} here", f"choose one of {known}") from None


def check_rate(audio_format: AudioFormat, rate: int) -> None:
    """Raise a `RungwiseError` if the format has no such sample rate (frames per second)."""
    if audio_format is AudioFormat.MP3 and rate not in MP3_RATES:
        nearest = min(MP3_RATES, key=lambda other: abs(other - rate))
        known = ", ".join(str(other) for other in MP3_RATES)
        raise failure(
            f"mp3 has no sample rate of {rate}",
            f"choose {nearest} (mp3 has {known}), or write wav, flac or ogg",
        )


def mp3_kbit_per_s(rate: int, channels: int) -> int:
    """Return the constant bit rate that tracks are encoded at, in kbit/s.

    Constant, not variable: the length and the place that a player jumps to are then right in every
    player, those that ignore the seek table included, and the size is known beforehand. Tracks are
    so steady that a variable rate has little to save: LAME's best came to 178 and 200 kbit/s on
    full and backing tracks, with 6 to 7 dB more noise (measured).

    Each rate is one that the standards have for that sample rate: up to 320 kbit/s from 32 kHz,
    160 from 16 kHz, 64 below.
    """
    if rate >= 32_000:
        return 192 if channels == 2 else 96
    if rate >= 16_000:
        return 128 if channels == 2 else 64
    return 64 if channels == 2 else 32
