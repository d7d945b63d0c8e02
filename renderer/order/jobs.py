"""Jobs: exercises and settings to the files that are to be made, checked beforehand.

A job is one file, as plain data: a track, a playlist, a sheet, a score, a practice plan. It can be
written as JSON, read in another process or on another machine, and carried out there
(`renderer.delivery.carrying_out.carry_out`). Jobs of equal digest have equal bytes.

Everything that can be wrong with exercises and settings is found here, before a file is touched:
settings out of range, ornaments that do not fit at one of the tempos.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import replace
from fractions import Fraction
from itertools import product
from pathlib import Path
from typing import Any

from renderer.errors import Problem, RungwiseError, failure
from renderer.notation.score import Exercise
from renderer.notation.source_file import Source
from renderer.order.digests import soundfont_digests
from renderer.order.documents import (
    DocumentJob,
    PlaylistJob,
    document_from_plain,
    playlist_from_plain,
)
from renderer.order.formats import rate_in
from renderer.order.settings import Settings
from renderer.order.track_job import TrackJob, track_from_plain
from renderer.order.tracks import Take, durations_of, named_takes, takes_of
from renderer.sound.mix_settings import Mix

MOST_TRACKS = 2_000
_FORM = "rungwise-job"

Job = TrackJob | PlaylistJob | DocumentJob
"""One file to be made; each has a `path`, a `digest` and `to_plain`."""


def job_json(job: Job) -> str:
    """Return a job as JSON, which `job_from_json` reads.

    Raises a `RungwiseError` for an exercise made in Python, which has no source.
    """
    return json.dumps({_FORM: 1, **job.to_plain()}, indent=1)


def job_from_json(text: str) -> Job:
    """Return the job that `job_json` has written.

    Raises a `RungwiseError` for text that is no job, and for a source that cannot be read.
    """
    try:
        fields: Mapping[str, Any] = json.loads(text)
        if fields[_FORM] != 1:
            raise ValueError(fields[_FORM])
        match fields["kind"]:
            case "track":
                return track_from_plain(fields)
            case "playlist":
                return playlist_from_plain(fields)
            case _:
                return document_from_plain(fields)
    except (KeyError, TypeError, ValueError):
        raise failure("this is no job of this program", "give one as it was written") from None


def count_of_tracks(exercise: Exercise, settings: Settings) -> int:
    """Return how many tracks of an exercise settings ask for; errors as for `plan_tracks`."""
    played = settings.applied_to(exercise)
    takes = len(settings.takes_of(played)) * len(settings.parts_of(played))
    return takes * len(settings.pitches_of(exercise)) * len(settings.mix) * len(settings.format)


def plan_tracks(
    exercises: Exercise | Sequence[Exercise],
    out_dir: Path,
    settings: Settings,
    *,
    sources: Sequence[Source] | None = None,
    prefix: str = "",
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
    prefix:
        What every name begins with: where exercises are planned one by one, the number of each.

    Raises
    ------
    RungwiseError
        If an ornament does not fit at one of the tempos, or there would be too many tracks.
    """
    written = [exercises] if isinstance(exercises, Exercise) else exercises
    soundfonts = soundfont_digests(settings)
    rates = {one: rate_in(one, settings.rate) for one in settings.format}
    played = [settings.applied_to(one) for one in written]
    takes = [takes_of(one, settings) for one in played]
    pitches = [settings.pitches_of(one) for one in written]
    count = sum(count_of_tracks(one, settings) for one in written)
    if count > MOST_TRACKS:
        raise failure(
            f"that makes {count} tracks",
            f"ask for fewer rungs, pitches, mixes or formats; {MOST_TRACKS} is the most at a time",
        )
    named = named_takes(written, takes, settings, prefix)
    jobs: list[TrackJob] = []
    for index, (exercise, each, by_sound) in enumerate(zip(played, takes, named, strict=True)):
        durations = _durations(each, settings)
        narrowed = replace(settings, ladder=None, repeats=settings.repeats_of(exercise))
        for pitch, mix, audio_format in product(pitches[index], settings.mix, settings.format):
            series, names = by_sound[pitch.label, mix.value]
            alike = replace(
                narrowed,
                pitch=(pitch,),
                mix=(mix,),
                format=(audio_format,),
                rate=rates[audio_format],
            )
            for number, (take, name) in enumerate(zip(each, names, strict=True), start=1):
                own = replace(alike, tempo=take.tempo)
                jobs.append(
                    TrackJob(
                        exercise=take.exercise,
                        settings=own
                        if take.number is None
                        else replace(own, line=take.number, lines=None),
                        series=series,
                        number=number,
                        count=len(each),
                        path=out_dir / f"{name}{audio_format.ending}",
                        duration=durations[id(take.exercise)][take.tempo, mix],
                        soundfonts=soundfonts,
                        source=None if sources is None else sources[index],
                    )
                )
    return tuple(jobs)


def _durations(
    takes: Sequence[Take], settings: Settings
) -> dict[int, dict[tuple[Fraction | None, Mix], Fraction]]:
    """How long tracks last, by what they play; what is wrong with any of them is said in one go."""
    tempos: dict[int, list[Fraction | None]] = {}
    played = {id(take.exercise): take.exercise for take in takes}
    for take in takes:
        tempos.setdefault(id(take.exercise), []).append(take.tempo)
    found: dict[int, dict[tuple[Fraction | None, Mix], Fraction]] = {}
    problems: list[Problem] = []
    for key, exercise in played.items():
        try:
            found[key] = durations_of(exercise, settings, tempos[key])
        except RungwiseError as error:
            problems += error.problems
    if problems:
        raise RungwiseError(dict.fromkeys(problems))
    return found
