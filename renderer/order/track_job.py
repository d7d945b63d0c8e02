"""A track to be made, as plain data: what is played, how, where its file goes.

A job can be written as JSON, read in another process or on another machine that has the same
SoundFont, and carried out there. Jobs of equal digest have equal bytes.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path
from threading import Lock
from typing import Any

from renderer import __version__
from renderer.errors import RungwiseError, failure
from renderer.notation.score import Exercise
from renderer.notation.source_file import Source
from renderer.order.digests import (
    digest_of,
    music_digest,
    plain_source,
    soundfont_digests,
    source_from_plain,
)
from renderer.order.formats import AudioFormat
from renderer.order.kinds import Plain
from renderer.order.names import Series
from renderer.order.settings import Settings, plain_settings, settings_from_plain
from renderer.order.tracks import timeline_of
from renderer.reading.exercise import read_exercise
from renderer.sound.instrument import make_instrument
from renderer.sound.mix import Track, mix_track
from renderer.sound.mix_settings import Mix
from renderer.sound.reverberation import tail
from renderer.sound.tuning import PitchStandard
from renderer.timing.expand import Timeline


def unsourced() -> RungwiseError:
    """Return what is wrong with writing down a job of an exercise made in Python."""
    return failure(
        "an exercise that was made in Python has no source to write down",
        "write it to a file with `rungwise convert`, and read that",
    )


@dataclass(frozen=True, slots=True)
class TrackJob:
    """A track to be made.

    Parameters
    ----------
    exercise:
        What is played, as the settings have it.
    settings:
        How, with the one tempo (or the rungs that it climbs), pitch, mix and format that it is made
        in.
    series:
        The tracks that it is practised with.
    number, count:
        Which of them it is, from 1, and how many they are.
    path:
        The file to make.
    duration:
        Seconds, exact: its music, and what the room adds.
    soundfonts:
        The SHA-256 digests of the SoundFonts that it sounds with, as hexadecimal digits.
    source:
        What the exercise is read from; None for one that was made in Python.
    """

    exercise: Exercise
    settings: Settings
    series: Series
    number: int
    count: int
    path: Path
    duration: Fraction
    soundfonts: tuple[str, ...]
    source: Source | None = None

    @property
    def tempo(self) -> Fraction:
        """The rung, in beats a minute; of a track that climbs, the first."""
        return self.tempos[0] if self.settings.tempo is None else self.settings.tempo

    @property
    def tempos(self) -> tuple[Fraction, ...]:
        """Its rungs in the order in which they are played: one, unless it climbs."""
        return self.settings.tempos_of(self.exercise)

    @property
    def pitch(self) -> PitchStandard:
        """Its pitch."""
        return self.settings.pitch[0]

    @property
    def mix(self) -> Mix:
        """Its mix."""
        return self.settings.mix[0]

    @property
    def audio_format(self) -> AudioFormat:
        """Its format."""
        return self.settings.format[0]

    @property
    def digest(self) -> str:
        """The SHA-256 of all that decides the file's bytes, as hexadecimal digits."""
        return digest_of(self.decided_by())

    @property
    def digest_but_for_place(self) -> str:
        """The SHA-256 of all that decides the file's bytes but for its place in its series.

        Of that place only tags tell: files that share this digest sound alike.
        """
        decided = self.decided_by()
        del decided["place"]
        return digest_of(decided)

    def decided_by(self) -> dict[str, Plain]:
        """Return all that decides the file's bytes.

        That is the exercise, the settings, the bytes of the SoundFonts, the track's place in its
        series, which players show, and the version of the program; not where the file goes.
        """
        return {
            "program": __version__,
            "music": music_digest(self.exercise),
            "title": self.exercise.title,
            "settings": plain_settings(self.settings),
            "soundfonts": list(self.soundfonts),
            "series": self.series.variation,
            "place": [self.number, self.count],
        }

    def to_plain(self) -> dict[str, Plain]:
        """Return the job as JSON has it; raises a `RungwiseError` where there is no source."""
        if self.source is None:
            raise unsourced()
        return {
            "kind": "track",
            "source": plain_source(self.source),
            "settings": plain_settings(self.settings),
            "stem": self.series.stem,
            "variation": self.series.variation,
            "number": self.number,
            "count": self.count,
            "path": str(self.path),
            "soundfonts": list(self.soundfonts),
        }

    def timeline(self) -> Timeline:
        """Return the timed events of the track."""
        return timeline_of(self.exercise, self.settings)

    def track(
        self, timeline: Timeline | None = None, go_on: Callable[[], None] = lambda: None
    ) -> Track:
        """Return the track ready to be rendered; the first one of a pitch makes its tone bank.

        Parameters
        ----------
        timeline:
            Its events, where they are known already.
        go_on:
            Called before what takes long; raises where the work is to end.

        Raises
        ------
        RungwiseError
            If a SoundFont is not the one that the job was made for.
        """
        settings = self.settings
        if soundfont_digests(settings) != self.soundfonts:
            raise failure(
                "a SoundFont is not the one that this track was ordered with", "order it again"
            )
        # One thread makes the bank, the others wait for it instead of making it again.
        with _making_instrument:
            # Who has waited for others' banks may not be wanted any more.
            go_on()
            instrument = make_instrument(
                self.pitch,
                settings.scale,
                settings.chanter,
                rate=settings.rate,
                voice=settings.voice,
                drone_voice=settings.drone_voice,
                steady=settings.steady,
                go_on=go_on,
            )
        go_on()
        events = self.timeline() if timeline is None else timeline
        return mix_track(events, instrument, settings.mixing)


_making_instrument = Lock()


def track_from_plain(plain: Mapping[str, Any]) -> TrackJob:
    """Return the job that `TrackJob.to_plain` has written.

    Raises `ValueError`, `KeyError` or `TypeError` for plain data that is none, and a
    `RungwiseError` for a source that cannot be read.
    """
    source = source_from_plain(plain["source"])
    stem, variation = str(plain["stem"]), str(plain["variation"])
    number, count = int(plain["number"]), int(plain["count"])
    path = Path(plain["path"])
    soundfonts = tuple(map(str, plain["soundfonts"]))
    settings = settings_from_plain(dict(plain["settings"]))
    exercise = settings.applied_to(settings.chosen(read_exercise(source, settings.reading)))
    job = TrackJob(
        exercise=exercise,
        settings=settings,
        series=Series(stem, settings.pitch[0].label, settings.mix[0].value, variation),
        number=number,
        count=count,
        path=path,
        duration=Fraction(0),
        soundfonts=soundfonts,
        source=source,
    )
    return replace(job, duration=job.timeline().duration + tail(settings.room))
