"""Planning: exercises and settings to the tracks that are to be rendered, checked beforehand.

Everything that can be wrong with exercises and settings is found here, before a file is touched:
settings out of range, ornaments that do not fit at one of the tempos, a missing ffmpeg.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path
from threading import Lock

from renderer.delivery.ffmpeg import find_ffmpeg
from renderer.delivery.names import (
    Series,
    distinct,
    safe_stem,
    stem_bytes,
    tempo_label,
    track_names,
    variation_label,
)
from renderer.delivery.tags import Tags
from renderer.errors import Problem, RungwiseError, failure
from renderer.notation.ladder import ladder_text
from renderer.notation.score import Exercise
from renderer.order.formats import AudioFormat
from renderer.order.settings import Settings, unusual
from renderer.order.tracks import timeline_of
from renderer.sound.instrument import make_instrument
from renderer.sound.mix import Track, mix_track
from renderer.sound.pitch import PitchStandard
from renderer.sound.settings import Mix, MixSettings
from renderer.timing.expand import Timeline

MOST_TRACKS = 2_000


@dataclass(frozen=True, slots=True)
class TrackJob:
    """A track to be rendered.

    Parameters
    ----------
    exercise:
        What is played, gracenotes as the settings have them.
    tempo, pitch, mix, audio_format:
        The rung in beats per minute, and what tells this track from its sisters.
    settings:
        Everything else.
    series:
        The tracks that it is practised with.
    path:
        The file to write.
    tags:
        What a player shows.
    duration:
        Seconds, exact.
    """

    exercise: Exercise
    tempo: Fraction
    pitch: PitchStandard
    mix: Mix
    audio_format: AudioFormat
    settings: Settings
    series: Series
    path: Path
    tags: Tags
    duration: Fraction

    def timeline(self) -> Timeline:
        """Return the timed events of the track."""
        return timeline_of(self.exercise, self.settings, self.tempo, self.mix)

    def track(self) -> Track:
        """Return the track ready to be rendered; the first one of a pitch makes its tone bank."""
        settings = self.settings
        # One thread makes the bank, the others wait for it instead of making it again.
        with _making_instrument:
            instrument = make_instrument(
                self.pitch,
                settings.scale,
                settings.chanter,
                rate=settings.rate,
                voice=settings.voice,
                drone_voice=settings.drone_voice,
            )
        mixing = MixSettings(
            mix=self.mix,
            drone=settings.drone,
            metronome=settings.metronome,
            levels=settings.levels,
            layout=settings.layout,
        )
        return mix_track(self.timeline(), instrument, mixing)


_making_instrument = Lock()


def _tags(
    exercise: Exercise,
    tempo: Fraction,
    series: Series,
    mix: Mix,
    pitch: PitchStandard,
    settings: Settings,
) -> Tags:
    name = "" if mix is Mix.FULL else f", {mix}"
    varied = f", {series.variation}" if series.variation else ""
    sounding = f"{pitch.low_a_hz:.2f}".rstrip("0").rstrip(".") + " Hz"
    equals = "" if pitch.label == sounding else f" = {sounding}"
    gracenotes = exercise.gracenotes
    return Tags(
        title=f"{exercise.title}, {tempo_label(tempo)} bpm{name}",
        album=f"{exercise.title}, {pitch.label}{name}{varied}",
        artist=exercise.audience,
        tempo=tempo,
        comment=(
            f"Pitch {pitch.label} (low A of the pipe chanter{equals}), {settings.scale.name} "
            f"scale, {settings.chanter} chanter; {tempo_label(tempo)} beats a minute; "
            f"gracenotes {gracenotes.length}, {gracenotes.placement}"
        ),
    )


def _stems(exercises: Sequence[Exercise], labels: Sequence[str]) -> tuple[str, ...]:
    stems = [
        safe_stem(exercise.title, most_bytes=stem_bytes(label))
        for exercise, label in zip(exercises, labels, strict=True)
    ]
    if len(stems) > 1:
        digits = len(str(len(stems)))
        stems = [f"{number:0{digits}d} {stem}" for number, stem in enumerate(stems, start=1)]
    return distinct(stems)


def plan_tracks(
    exercises: Exercise | Sequence[Exercise], out_dir: Path, settings: Settings
) -> tuple[TrackJob, ...]:
    """Return the tracks to render, in practice order, after checking all that can be checked.

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

    Raises
    ------
    RungwiseError
        If a setting is wrong, an ornament does not fit at one of the tempos, there would be too
        many tracks, or MP3 is wanted and there is no ffmpeg.
    """
    if isinstance(exercises, Exercise):
        exercises = [exercises]
    if AudioFormat.MP3 in settings.format:
        find_ffmpeg()
    jobs: list[TrackJob] = []
    labels = [variation_label(unusual(one, settings)) for one in exercises]
    played = [settings.applied_to(one) for one in exercises]
    for exercise, stem, label in zip(played, _stems(played, labels), labels, strict=True):
        jobs += _jobs_of(exercise, stem, label, out_dir, settings)
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
            durations[tempo, mix] = timeline.duration
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
) -> Iterator[TrackJob]:
    tempos = settings.tempos_of(exercise)
    durations = _durations(exercise, tempos, settings)
    for pitch in settings.pitch:
        for mix in settings.mix:
            series = Series(stem, pitch.label, mix.value, variation)
            for audio_format in settings.format:
                names = track_names(series, tempos)
                for number, (tempo, name) in enumerate(zip(tempos, names, strict=True), start=1):
                    tags = _tags(exercise, tempo, series, mix, pitch, settings)
                    yield TrackJob(
                        exercise=exercise,
                        tempo=tempo,
                        pitch=pitch,
                        mix=mix,
                        audio_format=audio_format,
                        settings=settings,
                        series=series,
                        path=out_dir / f"{name}{audio_format.ending}",
                        tags=replace(tags, track=number, tracks=len(tempos)),
                        duration=durations[tempo, mix],
                    )
