"""Jobs: an exercise and settings to the tracks that are to be made, checked beforehand.

A job is one file, as plain data: what is played, its settings (of one tempo, pitch, mix and format)
and where the file goes. It can be written as JSON, read in another process or on another machine
that has the same SoundFont, and carried out there (`renderer.delivery.render.carry_out`). Jobs of
equal digest have equal bytes.

Everything that can be wrong with exercises and settings is found here, before a file is touched:
settings out of range, ornaments that do not fit at one of the tempos.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import product
from pathlib import Path
from threading import Lock
from typing import Any

from renderer import __version__
from renderer.errors import failure
from renderer.notation.score import Exercise
from renderer.notation.source_file import Source
from renderer.order.digests import (
    digest_of,
    plain_source,
    soundfont_digests,
    source_from_plain,
)
from renderer.order.formats import AudioFormat, rate_in
from renderer.order.kinds import Plain
from renderer.order.names import Series, named_series
from renderer.order.settings import Settings, plain_settings, settings_from_plain, unusual
from renderer.order.tracks import durations_of, timeline_of
from renderer.reading.exercise import read_exercise
from renderer.sound.instrument import make_instrument
from renderer.sound.mix import Track, mix_track
from renderer.sound.mix_settings import Mix
from renderer.sound.reverberation import tail
from renderer.sound.tuning import PitchStandard
from renderer.timing.expand import Timeline

MOST_TRACKS = 2_000
_FORM = "rungwise-job"


@dataclass(frozen=True, slots=True)
class TrackJob:
    """A track to be made.

    Parameters
    ----------
    exercise:
        What is played, as the settings have it.
    settings:
        How, with the one tempo, pitch, mix and format that it is made in.
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
        """The rung, in beats a minute."""
        return self.exercise.tempo if self.settings.tempo is None else self.settings.tempo

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
        """The SHA-256 of all that decides the file's bytes, as hexadecimal digits.

        That is the source (for an exercise made in Python, the exercise), the settings, the bytes
        of the SoundFonts, the track's place in its series, which players show, and the version of
        the program; not where the file goes.
        """
        music = repr(self.exercise) if self.source is None else digest_of(self.source.data)
        return digest_of(
            {
                "program": __version__,
                "music": music,
                "title": self.exercise.title,
                "settings": plain_settings(self.settings),
                "soundfonts": list(self.soundfonts),
                "series": self.series.variation,
                "place": [self.number, self.count],
            }
        )

    def to_json(self) -> str:
        """Return the job as JSON, which `job_from_json` reads.

        Raises a `RungwiseError` for an exercise made in Python, which has no source.
        """
        if self.source is None:
            raise failure(
                "an exercise that was made in Python has no source to write down",
                "write it to a file with `rungwise convert`, and read that",
            )
        fields: dict[str, Plain] = {
            _FORM: 1,
            "source": plain_source(self.source),
            "settings": plain_settings(self.settings),
            "stem": self.series.stem,
            "variation": self.series.variation,
            "number": self.number,
            "count": self.count,
            "path": str(self.path),
            "soundfonts": list(self.soundfonts),
        }
        return json.dumps(fields, indent=1)

    def timeline(self) -> Timeline:
        """Return the timed events of the track."""
        return timeline_of(self.exercise, self.settings)

    def track(self) -> Track:
        """Return the track ready to be rendered; the first one of a pitch makes its tone bank.

        Raises a `RungwiseError` if a SoundFont is not the one that the job was made for.
        """
        settings = self.settings
        if soundfont_digests(settings) != self.soundfonts:
            raise failure(
                "a SoundFont is not the one that this track was ordered with", "order it again"
            )
        # One thread makes the bank, the others wait for it instead of making it again.
        with _making_instrument:
            instrument = make_instrument(
                self.pitch,
                settings.scale,
                settings.chanter,
                rate=settings.rate,
                voice=settings.voice,
                drone_voice=settings.drone_voice,
                steady=settings.steady,
            )
        return mix_track(self.timeline(), instrument, settings.mixing)


_making_instrument = Lock()


def job_from_json(text: str) -> TrackJob:
    """Return the job that `TrackJob.to_json` has written.

    Raises a `RungwiseError` for text that is no job, and for a source that cannot be read.
    """
    try:
        fields: Mapping[str, Any] = json.loads(text)
        if fields[_FORM] != 1:
            raise ValueError(fields[_FORM])
        source = source_from_plain(fields["source"])
        stem, variation = str(fields["stem"]), str(fields["variation"])
        number, count = int(fields["number"]), int(fields["count"])
        path = Path(fields["path"])
        soundfonts = tuple(map(str, fields["soundfonts"]))
        given = dict(fields["settings"])
    except (KeyError, TypeError, ValueError):
        raise failure("this is no job of this program", "give one as it was written") from None
    settings = settings_from_plain(given)
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


def plan_tracks(
    exercises: Exercise | Sequence[Exercise],
    out_dir: Path,
    settings: Settings,
    *,
    sources: Sequence[Source] | None = None,
) -> tuple[TrackJob, ...]:
    """Return the tracks to make, in practice order, after checking all that can be checked.

    Exercises keep their order; within each come pitch, mix, format and last the rungs. Names of
    several exercises begin with a number.

    Parameters
    ----------
    exercises:
        One, or several, as `Order.exercises` or `Settings.chosen` return them: the only line that
        settings ask for is chosen before.
    out_dir:
        The folder that all files go into; nothing is written yet.
    settings:
        What to render.
    sources:
        What the exercises were read from, one for each; left out for those made in Python.

    Raises
    ------
    RungwiseError
        If an ornament does not fit at one of the tempos, or there would be too many tracks.
    """
    written = [exercises] if isinstance(exercises, Exercise) else exercises
    soundfonts = soundfont_digests(settings)
    played = [settings.applied_to(one) for one in written]
    tempos = [settings.tempos_of(one) for one in played]
    count = sum(map(len, tempos)) * len(settings.pitch) * len(settings.mix) * len(settings.format)
    if count > MOST_TRACKS:
        raise failure(
            f"that makes {count} tracks",
            f"ask for fewer rungs, pitches, mixes or formats; {MOST_TRACKS} is the most at a time",
        )
    named = named_series(
        [(one.whole_title or one.title, one.title) for one in written],
        [unusual(one, settings) for one in written],
        [pitch.label for pitch in settings.pitch],
        settings.mix,
        tempos,
    )
    jobs: list[TrackJob] = []
    for index, (exercise, rungs, by_sound) in enumerate(zip(played, tempos, named, strict=True)):
        durations = durations_of(exercise, settings, rungs)
        each = replace(settings, ladder=None, repeats=settings.repeats_of(exercise))
        for pitch, mix, audio_format in product(settings.pitch, settings.mix, settings.format):
            series, names = by_sound[pitch.label, mix.value]
            rate = rate_in(audio_format, settings.rate)
            alike = replace(each, pitch=(pitch,), mix=(mix,), format=(audio_format,), rate=rate)
            for number, (tempo, name) in enumerate(zip(rungs, names, strict=True), start=1):
                jobs.append(
                    TrackJob(
                        exercise=exercise,
                        settings=replace(alike, tempo=tempo),
                        series=series,
                        number=number,
                        count=len(rungs),
                        path=out_dir / f"{name}{audio_format.ending}",
                        duration=durations[tempo, mix],
                        soundfonts=soundfonts,
                        source=None if sources is None else sources[index],
                    )
                )
    return tuple(jobs)
