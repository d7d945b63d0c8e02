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
from renderer.delivery.formats import AudioFormat
from renderer.delivery.names import (
    Series,
    distinct,
    safe_stem,
    stem_bytes,
    tempo_label,
    track_names,
    variation_label,
)
from renderer.delivery.settings import RenderSettings, Resolved, resolve
from renderer.delivery.tags import Tags
from renderer.delivery.variations import variations
from renderer.errors import Problem, RungwiseError, failure
from renderer.notation.ladder import ladder_text
from renderer.notation.pitch import Note
from renderer.notation.score import Exercise
from renderer.sound.instrument import make_instrument
from renderer.sound.mix import Track, mix_track
from renderer.sound.pitch import PitchStandard
from renderer.sound.settings import Mix, MixSettings
from renderer.technique.report import crossings
from renderer.timing.expand import NoisePlace, Timeline, expand
from renderer.timing.rungs import rungs

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
    settings, resolved:
        Everything else, as given and what it means.
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
    settings: RenderSettings
    resolved: Resolved
    series: Series
    path: Path
    tags: Tags
    duration: Fraction

    def timeline(self) -> Timeline:
        """Return the timed events of the track."""
        return _timeline(self.exercise, self.tempo, self.mix, self.settings, self.resolved)

    def track(self) -> Track:
        """Return the track ready to be rendered; the first one of a pitch makes its tone bank."""
        resolved = self.resolved
        # One thread makes the bank, the others wait for it instead of making it again.
        with _making_instrument:
            instrument = make_instrument(
                self.pitch,
                resolved.scale,
                resolved.chanter,
                rate=self.settings.rate,
                voice=resolved.voice,
                drone_voice=resolved.drone_voice,
            )
        mixing = MixSettings(
            mix=self.mix,
            drone=self.settings.drone,
            metronome=self.settings.metronome,
            levels=resolved.levels,
            layout=resolved.layout,
        )
        return mix_track(self.timeline(), instrument, mixing)


_making_instrument = Lock()


def _timeline(
    exercise: Exercise, tempo: Fraction, mix: Mix, settings: RenderSettings, resolved: Resolved
) -> Timeline:
    return expand(
        exercise,
        tempo,
        count_in=settings.count_in,
        count_in_style=resolved.count_in_style,
        repeats=settings.repeats_of(exercise),
        echo=mix is Mix.ECHO,
        gap=settings.gap,
        subdivide=settings.subdivide,
        noises=_crossing_noises(exercise) if settings.show_crossing else None,
    )


def _crossing_noises(exercise: Exercise) -> dict[NoisePlace, Note]:
    """Return the crossing noises that lurk in an exercise, by their places."""
    return {
        (number, noise.bar, noise.item, noise.slot, noise.before_gracenote): noise.heard
        for number, line in enumerate(exercise.lines, start=1)
        for noise in crossings(line)
    }


def _tags(
    exercise: Exercise,
    tempo: Fraction,
    series: Series,
    mix: Mix,
    pitch: PitchStandard,
    resolved: Resolved,
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
            f"Pitch {pitch.label} (low A of the pipe chanter{equals}), {resolved.scale.name} "
            f"scale, {resolved.chanter} chanter; {tempo_label(tempo)} beats a minute; "
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
    exercises: Exercise | Sequence[Exercise], out_dir: Path, settings: RenderSettings
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
    resolved = resolve(settings)
    if AudioFormat.MP3 in resolved.formats:
        find_ffmpeg()
    jobs: list[TrackJob] = []
    if settings.show_crossing:
        exercises = [replace(one, title=f"{one.title}, crossing noises") for one in exercises]
    labels = [variation_label(variations(one, settings, resolved)) for one in exercises]
    for exercise, stem, label in zip(exercises, _stems(exercises, labels), labels, strict=True):
        applied = settings.applied_to(exercise)
        jobs += _jobs_of(applied, stem, label, out_dir, settings, resolved)
    if len(jobs) > MOST_TRACKS:
        raise failure(
            f"that makes {len(jobs)} tracks",
            f"ask for fewer rungs, pitches, mixes or formats; {MOST_TRACKS} is the most at a time",
        )
    return tuple(jobs)


def _durations(
    exercise: Exercise, tempos: Sequence[Fraction], settings: RenderSettings, resolved: Resolved
) -> dict[tuple[Fraction, Mix], Fraction]:
    """Return how long each track lasts in seconds.

    Raises a `RungwiseError` if an ornament does not fit at one of the tempos: what lacks room at
    the fastest of them, and which rungs can be played.
    """
    durations: dict[tuple[Fraction, Mix], Fraction] = {}
    refused: dict[Fraction, RungwiseError] = {}
    for tempo in dict.fromkeys(tempos):
        for mix in resolved.mixes:
            try:
                timeline = _timeline(exercise, tempo, mix, settings, resolved)
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
    settings: RenderSettings,
    resolved: Resolved,
) -> Iterator[TrackJob]:
    ladder = exercise.ladder if settings.ladder is None else settings.ladder
    tempos = rungs(ladder, exercise.tempo)
    durations = _durations(exercise, tempos, settings, resolved)
    for pitch in resolved.pitches:
        for mix in resolved.mixes:
            series = Series(stem, pitch.label, mix.value, variation)
            for audio_format in resolved.formats:
                names = track_names(series, tempos)
                for number, (tempo, name) in enumerate(zip(tempos, names, strict=True), start=1):
                    tags = _tags(exercise, tempo, series, mix, pitch, resolved)
                    yield TrackJob(
                        exercise=exercise,
                        tempo=tempo,
                        pitch=pitch,
                        mix=mix,
                        audio_format=audio_format,
                        settings=settings,
                        resolved=resolved,
                        series=series,
                        path=out_dir / f"{name}{audio_format.ending}",
                        tags=replace(tags, track=number, tracks=len(tempos)),
                        duration=durations[tempo, mix],
                    )
