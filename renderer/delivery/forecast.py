"""How long tracks will play and how large their files will be, before any of them is made.

WAV and MP3 of constant bit rate have the size that their length tells. The others are as large as
their sound is rich: parts of it are encoded beforehand, spread over the track, and what they came
to is counted for the whole. Under drones tempo hardly matters (within 2 per cent from 30 to 100
beats a minute, measured), so one track of a series stands for all its rungs; where clicks stand
alone, the slowest and the fastest do.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import islice
from pathlib import Path
from statistics import fmean
from tempfile import TemporaryDirectory
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from renderer.delivery.audio import write_audio
from renderer.delivery.tags import Tags
from renderer.order.formats import AudioFormat
from renderer.order.names import Series
from renderer.order.sizes import least_bytes
from renderer.order.track_job import TrackJob
from renderer.sound.mix import BLOCK_FRAMES
from renderer.sound.mix_settings import Mix

_OF_KNOWN_SIZE = (AudioFormat.WAV, AudioFormat.MP3)
_HEAD_BYTES = {AudioFormat.OGG: 5_000}
_USUAL_HEAD_BYTES = 1_000
"""Header, codebooks and tags, about."""
_COVER_BYTES = 13_000
"""A cover takes 10 to 17 kB (measured), a third more in Ogg and Opus."""
_GROUP_BLOCKS = 3
_TAKEN_SHARE = 0.3
_GOLDEN = (math.sqrt(5) - 1) / 2
"""Of groups of blocks, each 1.1 seconds, so large a share is encoded. They are spread by the golden
ratio, which keeps step with no beat, so that count-ins, clicks and pauses all have their share."""
_WHOLE_BLOCKS = 320
"""A sound of up to so many blocks, two minutes, is encoded whole: in a short one every bar of
silence counts. That takes half a second."""
_LOOKED_AT_S = 300
"""How much of a long track is looked at."""
_MOST_SAMPLES = 12
"""Series that parts are encoded of; to others comes the mean of those of their mix and format."""


class Sound(Protocol):
    """What can be written to a file."""

    @property
    def rate(self) -> int:
        """Frames a second."""
        ...

    @property
    def channels(self) -> int:
        """Channels of each block."""
        ...

    @property
    def frames(self) -> int:
        """Its length."""
        ...

    def __iter__(self) -> Iterator[NDArray[np.float32]]:
        """Yield it block by block."""
        ...


@dataclass(frozen=True, slots=True)
class Forecast:
    """What a file will be: its path, how many seconds it plays, and about how many bytes it has."""

    path: Path
    duration: Fraction
    bytes: int


def _sampled(sound: Sound, *, clicks_alone: bool) -> list[NDArray[np.float32]]:
    """Return about a third of a sound's blocks, spread over it; all of one that is short.

    Of clicks alone all blocks that are looked at: an Opus file of a third of them was 8 per cent
    off, since its parts cut through the silences, where that form changes how it works.
    """
    blocks = islice(sound, -(-_LOOKED_AT_S * sound.rate // BLOCK_FRAMES))
    is_whole = clicks_alone or sound.frames <= _WHOLE_BLOCKS * BLOCK_FRAMES
    share = 1.0 if is_whole else _TAKEN_SHARE
    return [block for at, block in enumerate(blocks) if at // _GROUP_BLOCKS * _GOLDEN % 1 < share]


def _head_bytes(audio_format: AudioFormat) -> int:
    return _HEAD_BYTES.get(audio_format, _USUAL_HEAD_BYTES)


def _encoded(blocks: Sequence[NDArray[np.float32]], audio_format: AudioFormat, rate: int) -> int:
    """Encode blocks and return the size of the file."""
    with TemporaryDirectory(prefix="rungwise-") as folder:
        written = write_audio(
            blocks,
            Path(folder) / f"sample{audio_format.ending}",
            audio_format=audio_format,
            rate=rate,
            channels=blocks[0].shape[1],
            frames=sum(len(block) for block in blocks),
            tags=Tags(""),
        )
    return written.bytes


def _bytes_a_frame(sound: Sound, audio_format: AudioFormat, *, clicks_alone: bool = False) -> float:
    """Encode parts of a sound and return what a frame comes to, the head of the file left out."""
    blocks = _sampled(sound, clicks_alone=clicks_alone)
    head = _encoded([np.zeros((1, sound.channels), np.float32)], audio_format, sound.rate)
    whole = _encoded(blocks, audio_format, sound.rate)
    return (whole - head) / sum(len(block) for block in blocks)


def forecast_bytes(sound: Sound, audio_format: AudioFormat) -> int:
    """Return about how many bytes the file of a sound will have."""
    if audio_format in _OF_KNOWN_SIZE:
        least = least_bytes(
            audio_format, frames=sound.frames, rate=sound.rate, channels=sound.channels
        )
        return least + _head_bytes(audio_format)
    return round(_bytes_a_frame(sound, audio_format) * sound.frames) + _head_bytes(audio_format)


def forecast(
    jobs: Sequence[TrackJob], on_sample: Callable[[int], None] | None = None
) -> tuple[Forecast, ...]:
    """Return what the files of jobs will be, in their order; nothing is written.

    Parameters
    ----------
    jobs:
        From `renderer.order.jobs.plan_tracks`.
    on_sample:
        Called with the number of each track, from 1, of which parts are going to be encoded.

    Raises
    ------
    RungwiseError
        If a track cannot be sounded.
    """
    series: dict[tuple[Series, AudioFormat], list[TrackJob]] = {}
    for job in jobs:
        series.setdefault((job.series, job.audio_format), []).append(job)
    rates: dict[tuple[Series, AudioFormat], dict[Fraction, float]] = {}
    alike: dict[tuple[str, AudioFormat], list[float]] = {}
    found = []
    for job in jobs:
        frames, channels = int(job.duration * job.settings.rate), job.settings.layout.channels
        if job.audio_format in _OF_KNOWN_SIZE:
            size = least_bytes(
                job.audio_format,
                frames=frames,
                rate=job.settings.rate,
                channels=channels,
                is_small=job.settings.share,
            )
        else:
            key, kind = (job.series, job.audio_format), (str(job.mix), job.audio_format)
            if key not in rates and (len(rates) < _MOST_SAMPLES or kind not in alike):
                if on_sample is not None:
                    on_sample(len(rates) + 1)
                rates[key] = {
                    one.tempo: _bytes_a_frame(
                        one.track(), one.audio_format, clicks_alone=_is_clicks_alone(one)
                    )
                    for one in _standing_for(series[key])
                }
                alike.setdefault(kind, []).extend(rates[key].values())
            rate = _at_tempo(rates[key], job.tempo) if key in rates else fmean(alike[kind])
            size = round(frames * rate)
        head = _head_bytes(job.audio_format)
        head += _cover_bytes(job.audio_format)
        found.append(Forecast(job.path, job.duration, size + head))
    return tuple(found)


def _cover_bytes(audio_format: AudioFormat) -> int:
    if audio_format is AudioFormat.WAV:
        return 0
    # Ogg and Opus have pictures as text: four letters for three bytes.
    as_text = audio_format in (AudioFormat.OGG, AudioFormat.OPUS)
    return _COVER_BYTES * 4 // 3 if as_text else _COVER_BYTES


def _is_clicks_alone(job: TrackJob) -> bool:
    return job.mix is Mix.BACKING and not job.settings.drone


def _standing_for(rungs: Sequence[TrackJob]) -> tuple[TrackJob, ...]:
    """The tracks that parts are encoded of: without drones, the slowest and the fastest."""
    slowest = min(rungs, key=lambda job: job.tempo)
    fastest = max(rungs, key=lambda job: job.tempo)
    if slowest.settings.drone or slowest.tempo == fastest.tempo:
        return (slowest,)
    return (slowest, fastest)


def _at_tempo(rates: Mapping[Fraction, float], tempo: Fraction) -> float:
    """What a frame comes to at a tempo, on the line between those of two."""
    slow, fast = min(rates), max(rates)
    if slow == fast:
        return rates[slow]
    share = float((tempo - slow) / (fast - slow))
    return rates[slow] + share * (rates[fast] - rates[slow])
