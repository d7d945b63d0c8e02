"""Whether the disk has room for tracks: formats, frames and rates to bytes, before rendering."""

from __future__ import annotations

import shutil
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from renderer.errors import failure
from renderer.order.formats import WAV_SAMPLE_BYTES, AudioFormat, kbit_per_s

_LEAST_FLAC_SHARE = 0.25
_LEAST_VORBIS_BITS_A_FRAME = 1.0
"""The smallest that tracks came out, rounded down (measured on drones alone; chanter and metronome
add to it), since a disk that just suffices must not be refused."""


@dataclass(frozen=True, slots=True)
class Need:
    """A file to be written, and at least how many bytes it will take."""

    path: Path
    bytes: int


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


def check_free_space(needs: Iterable[Need]) -> None:
    """Raise a `RungwiseError` if a disk has no room for the files that are to be written there.

    Files that will be replaced give back what they take. The folders must exist.
    """
    folders: dict[int, Path] = {}
    wanted: dict[int, int] = defaultdict(int)
    largest: dict[int, int] = defaultdict(int)
    for need in needs:
        folder = need.path.parent
        disk = folder.stat().st_dev
        folders[disk] = folder
        wanted[disk] += need.bytes
        if need.path.is_file():
            # Until it is replaced, the old file is there beside the new one.
            wanted[disk] -= need.path.stat().st_size
        largest[disk] = max(largest[disk], need.bytes)
    for disk, folder in folders.items():
        required = max(wanted[disk], largest[disk])
        free = shutil.disk_usage(folder).free
        if required > free:
            raise failure(
                f"the tracks need {spoken_bytes(required)} and the disk has "
                f"{spoken_bytes(free)} free",
                "free some space, write to another disk, or choose mp3 or ogg and fewer tracks",
                file=str(folder),
            )
