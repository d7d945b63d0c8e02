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
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path
from threading import Lock
from typing import Any

from renderer import __version__
from renderer.errors import Problem, RungwiseError, failure
from renderer.notation.ladder import ladder_text
from renderer.notation.score import Exercise
from renderer.notation.source_file import Source
from renderer.order.digests import (
    digest_of,
    plain_source,
    soundfont_digests,
    source_from_plain,
)
from renderer.order.formats import AudioFormat
from renderer.order.kinds import Plain
from renderer.order.names import (
    Series,
    distinct,
    safe_stem,
    stem_bytes,
    tempo_label,
    track_names,
    variation_label,
)
from renderer.order.settings import Settings, plain_settings, settings_from_plain, unusual
from renderer.order.tracks import timeline_of
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
    exercise = settings.applied_to(read_exercise(source, settings.reading))
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


def _stems(
    exercises: Sequence[Exercise], played: Sequence[Exercise], labels: Sequence[str]
) -> tuple[str, ...]:
    stems = []
    for written, one, label in zip(exercises, played, labels, strict=True):
        # Which line it is tells tracks apart, so it is the title that is shortened.
        line = one.title.removeprefix(written.title) if one.title != written.title else ""
        room = stem_bytes(label) - len(line.encode())
        stems.append(safe_stem(written.title, most_bytes=max(room, 16)) + line)
    if len(stems) > 1:
        digits = len(str(len(stems)))
        stems = [f"{number:0{digits}d} {stem}" for number, stem in enumerate(stems, start=1)]
    return distinct(stems)


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
        One, or several.
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
    if isinstance(exercises, Exercise):
        exercises = [exercises]
    jobs: list[TrackJob] = []
    labels = [variation_label(unusual(one, settings)) for one in exercises]
    played = [settings.applied_to(one) for one in exercises]
    stems = _stems(exercises, played, labels)
    for index, (exercise, stem, label) in enumerate(zip(played, stems, labels, strict=True)):
        source = None if sources is None else sources[index]
        jobs += _jobs_of(exercise, stem, label, out_dir, settings, source)
    if len(jobs) > MOST_TRACKS:
        raise failure(
            f"that makes {len(jobs)} tracks",
            f"ask for fewer rungs, pitches, mixes or formats; {MOST_TRACKS} is the most at a time",
        )
    return tuple(jobs)


def _durations(
    exercise: Exercise, tempos: Sequence[Fraction], settings: Settings
) -> dict[tuple[Fraction, Mix], Fraction]:
    """Return how long each track lasts in seconds.

    Raises a `RungwiseError` if an ornament does not fit at one of the tempos: what lacks room at
    the fastest of them, and which rungs can be played.
    """
    durations: dict[tuple[Fraction, Mix], Fraction] = {}
    refused: dict[Fraction, RungwiseError] = {}
    for tempo in dict.fromkeys(tempos):
        for mix in settings.mix:
            try:
                timeline = timeline_of(exercise, settings, tempo, mix)
            except RungwiseError as error:
                refused[tempo] = error
                break
            durations[tempo, mix] = timeline.duration + tail(settings.room)
    if not refused:
        return durations
    fastest = refused[max(refused)]
    playable = [tempo for tempo in tempos if tempo not in refused]
    if not playable or min(refused) < max(playable):
        raise fastest
    first = fastest.problems[0]
    listed = ", ".join(tempo_label(tempo) for tempo in sorted(refused))
    rungs_are = "the rung at {} is" if len(refused) == 1 else "the rungs at {} are"
    summary = Problem(
        f"{rungs_are.format(listed)} too fast",
        f"the others can be played: --ladder {ladder_text(playable)}",
        file=first.file,
    )
    raise RungwiseError([*fastest.problems, summary])


def _jobs_of(
    exercise: Exercise,
    stem: str,
    variation: str,
    out_dir: Path,
    settings: Settings,
    source: Source | None,
) -> Iterator[TrackJob]:
    tempos = settings.tempos_of(exercise)
    durations = _durations(exercise, tempos, settings)
    soundfonts = soundfont_digests(settings)
    # What is said of how tracks are played is said of each.
    each = replace(settings, ladder=None, repeats=settings.repeats_of(exercise))
    for pitch in settings.pitch:
        for mix in settings.mix:
            series = Series(stem, pitch.label, mix.value, variation)
            for audio_format in settings.format:
                names = track_names(series, tempos)
                for number, (tempo, name) in enumerate(zip(tempos, names, strict=True), start=1):
                    yield TrackJob(
                        exercise=exercise,
                        settings=replace(
                            each, tempo=tempo, pitch=(pitch,), mix=(mix,), format=(audio_format,)
                        ),
                        series=series,
                        number=number,
                        count=len(tempos),
                        path=out_dir / f"{name}{audio_format.ending}",
                        duration=durations[tempo, mix],
                        soundfonts=soundfonts,
                        source=source,
                    )
