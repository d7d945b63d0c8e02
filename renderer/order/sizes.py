"""How large tracks become: formats, frames and rates to bytes, before anything is rendered."""

from __future__ import annotations

from renderer.order.formats import WAV_SAMPLE_BYTES, AudioFormat, kbit_per_s
from renderer.order.settings import Settings

_LEAST_FLAC_SHARE = 0.25
_LEAST_VORBIS_BITS_A_FRAME = 1.0
"""The smallest that tracks came out, rounded down (measured on drones alone; chanter and metronome
add to it), since a disk that just suffices must not be refused."""


def least_bytes(
    audio_format: AudioFormat, *, frames: int, rate: int, channels: int, is_small: bool = False
) -> int:
    """Return how many bytes a track takes at least; for WAV and MP3 that is almost exact.

    Parameters
    ----------
    audio_format, rate, channels, is_small:
        As for `renderer.delivery.audio.write_audio`.
    frames:
        The track's length.
    """
    samples = frames * channels * WAV_SAMPLE_BYTES
    match audio_format:
        case AudioFormat.WAV:
            return samples
        case AudioFormat.FLAC:
            return int(samples * _LEAST_FLAC_SHARE)
        case AudioFormat.MP3:
            return (
                frames * kbit_per_s(audio_format, rate, channels, is_small=is_small) * 125 // rate
            )
        case AudioFormat.M4A | AudioFormat.OPUS:
            # On average, and less where nothing sounds.
            return frames * kbit_per_s(audio_format, rate, channels) * 125 // rate // 2
        case AudioFormat.OGG:
            return int(frames * _LEAST_VORBIS_BITS_A_FRAME / 8)


def spoken_bytes(count: int) -> str:
    """Return a size as people say it: `3.4 MB`."""
    size = float(count)
    for unit in ("bytes", "kB", "MB", "GB"):
        if size < 1000:
            return f"{size:.0f} {unit}" if unit == "bytes" else f"{size:.3g} {unit}"
        size /= 1000
    return f"{size:.3g} TB"


def most_a_second(audio_format: AudioFormat, rate: int, settings: Settings) -> int:
    """Return how many bytes a second of a track takes at most."""
    channels = settings.heard_layout.channels
    if audio_format in (AudioFormat.WAV, AudioFormat.FLAC):
        return rate * channels * WAV_SAMPLE_BYTES
    if audio_format is AudioFormat.OGG:
        # Measured: 166 to 182 kbit/s on stereo tracks at 44,100.
        return 25_000
    kbit = kbit_per_s(audio_format, rate, channels, is_small=settings.share)
    # Those that keep their rate on average only may take a little more.
    return kbit * 125 if audio_format is AudioFormat.MP3 else kbit * 138
