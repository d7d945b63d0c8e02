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
from itertools import product
from pathlib import Path
from typing import Any

from renderer.errors import failure
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
from renderer.order.names import named_series
from renderer.order.settings import Settings, unusual
from renderer.order.track_job import TrackJob, track_from_plain
from renderer.order.tracks import durations_of, labels_of

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
    rates = {one: rate_in(one, settings.rate) for one in settings.format}
    played = [settings.applied_to(one) for one in written]
    tempos = [settings.tempos_of(one) for one in played]
    takes = [settings.takes_of(one) for one in played]
    variations = [unusual(one, settings) for one in written]
    pitches = [settings.pitches_of(one) for one in written]
    takes_and_pitches = sum(len(each) * len(at) for each, at in zip(takes, pitches, strict=True))
    count = takes_and_pitches * len(settings.mix) * len(settings.format)
    if count > MOST_TRACKS:
        raise failure(
            f"that makes {count} tracks",
            f"ask for fewer rungs, pitches, mixes or formats; {MOST_TRACKS} is the most at a time",
        )
    named = named_series(
        [(one.whole_title or one.title, one.title) for one in written],
        variations,
        list(dict.fromkeys(pitch.label for at in pitches for pitch in at)),
        settings.mix,
        [labels_of(*each) for each in zip(takes, tempos, strict=True)],
    )
    jobs: list[TrackJob] = []
    for index, (exercise, rungs, by_sound) in enumerate(zip(played, takes, named, strict=True)):
        durations = durations_of(exercise, settings, rungs)
        each = replace(settings, ladder=None, repeats=settings.repeats_of(exercise))
        for pitch, mix, audio_format in product(pitches[index], settings.mix, settings.format):
            series, names = by_sound[pitch.label, mix.value]
            alike = replace(
                each, pitch=(pitch,), mix=(mix,), format=(audio_format,), rate=rates[audio_format]
            )
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
