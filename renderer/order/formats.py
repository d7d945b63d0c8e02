"""The audio formats that tracks are written in, and what each can hold."""

from __future__ import annotations

import enum

from renderer.errors import failure

MP3_RATES = (8_000, 11_025, 12_000, 16_000, 22_050, 24_000, 32_000, 44_100, 48_000)
"""Sample rates that MPEG-1, MPEG-2 and MPEG-2.5 Layer III have (ISO/IEC 11172-3 and 13818-3; the
lowest three are the unofficial MPEG-2.5)."""

M4A_RATES = (*MP3_RATES, 64_000, 88_200, 96_000)
"""Sample rates of AAC (ISO/IEC 14496-3, its table of sampling frequencies, but for 7350)."""

OPUS_RATES = (8_000, 12_000, 16_000, 24_000, 48_000)
"""Sample rates of Opus (RFC 6716, section 2.1.3)."""

WAV_SAMPLE_BYTES = 2
"""WAV and FLAC hold 16 bits a sample."""


class AudioFormat(enum.StrEnum):
    """A format of audio files; its value is also the ending of the file's name."""

    WAV = "wav"
    FLAC = "flac"
    MP3 = "mp3"
    OGG = "ogg"
    M4A = "m4a"
    OPUS = "opus"

    @property
    def ending(self) -> str:
        """The ending of the file's name, dot included."""
        return f".{self.value}"


WITH_CUE_SHEETS = (AudioFormat.WAV, AudioFormat.FLAC)
"""The formats whose chapters lie beside them."""


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
    rates = _RATES.get(audio_format)
    if rates is not None and rate not in rates:
        nearest = min(rates, key=lambda other: abs(other - rate))
        known = ", ".join(str(other) for other in rates)
        raise failure(
            f"{audio_format} has no sample rate of {rate}",
            f"choose {nearest} ({audio_format} has {known}), or write wav, flac or ogg",
        )


_RATES = {
    AudioFormat.MP3: MP3_RATES,
    AudioFormat.M4A: M4A_RATES,
    AudioFormat.OPUS: OPUS_RATES,
}


def rate_in(audio_format: AudioFormat, rate: int) -> int:
    """Return the sample rate that a format has for a track asked for at `rate`.

    Opus knows few, 44,100 not among them, and no player asks which: the next higher one is taken.
    """
    if audio_format is not AudioFormat.OPUS:
        return rate
    return next((own for own in OPUS_RATES if own >= rate), OPUS_RATES[-1])


def kbit_per_s(
    audio_format: AudioFormat, rate: int, channels: int, *, is_small: bool = False
) -> int:
    """Return the bit rate that MP3, M4A and Opus files are encoded at, in kbit/s.

    That of MP3 is kept at every moment (`mp3_kbit_per_s`), those of the others on average. Small
    files, for sending, have 64 in MP3 where they would have more. AAC holds at most 6,144 bits for
    1,024 samples of a channel (ISO/IEC 14496-3, 4.5.3).
    """
    if audio_format is AudioFormat.M4A:
        return min(160 if channels == 2 else 96, channels * rate // 200)
    if audio_format is AudioFormat.OPUS:
        return 64 * channels
    usual = mp3_kbit_per_s(rate, channels)
    return min(usual, SMALL_KBIT_PER_S) if is_small else usual


SMALL_KBIT_PER_S = 64
"""Half a megabyte a minute."""


def mp3_kbit_per_s(rate: int, channels: int) -> int:
    """Return the constant bit rate that MP3 tracks are encoded at, in kbit/s.

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
