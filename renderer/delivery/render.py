"""From planned tracks to files on disk, over the cores, and their playlists.

`render` is the Python interface. Its three steps can be taken one by one: `plan_tracks` (in
`renderer.order.jobs`) turns an exercise and settings into jobs, `render_jobs` turns jobs into
files (`carry_out` a single one), `write_playlists` lists them.

Tracks are rendered in threads, not processes: LAME, numpy, libsndfile and soxr let other threads
run while they compute, M4A and Opus are encoded by a process of its own for each track, and the
tone bank is shared. A script that calls `render` therefore needs no main guard.
"""

from __future__ import annotations

import os
import queue
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ThreadPoolExecutor, wait
from dataclasses import dataclass, field
from dataclasses import replace as replaced
from fractions import Fraction
from pathlib import Path
from threading import Event
from typing import Any

import numpy as np
from numpy.typing import NDArray

from renderer.delivery.audio import (
    NUMBERED_ANEW,
    ChangedError,
    Written,
    check_encoders,
    write_audio,
    write_renumbered,
)
from renderer.delivery.chapters import chapters_of
from renderer.delivery.claims import (
    Claim,
    check_claims,
    claim,
    of_line,
    order_identity,
    place_of,
    standing,
    which_is_read,
    write_kept,
)
from renderer.delivery.cover import cover_of
from renderer.delivery.cue_sheet import cue_path, cue_text
from renderer.delivery.files import Placing, check_writable, make_folder, real_place, simply
from renderer.delivery.free_space import Need, check_free_space
from renderer.delivery.manifest import Entry as Remembered
from renderer.delivery.manifest import read_manifest
from renderer.delivery.playlist import Entry, write_playlist
from renderer.delivery.tags import Tags
from renderer.delivery.track_facts import BUT_FOR_PLACE, track_facts
from renderer.delivery.work import WorkDone, kind_of
from renderer.errors import Problem, RungwiseError
from renderer.notation.score import Exercise
from renderer.order.documents import PlaylistJob, playlists_of
from renderer.order.formats import WITH_CUE_SHEETS, AudioFormat
from renderer.order.jobs import plan_tracks
from renderer.order.kinds import Plain
from renderer.order.names import Series, tempos_label
from renderer.order.settings import read_settings
from renderer.order.sizes import least_bytes
from renderer.order.track_job import TrackJob
from renderer.sound.breaking_off import breaking_off
from renderer.sound.mix import Track
from renderer.sound.mix_settings import Mix
from renderer.timing.expand import Timeline

OnProgress = Callable[[float, float], None]
"""Called with the seconds of audio rendered so far and the seconds there are in all."""


@dataclass(frozen=True, slots=True)
class RenderedTrack:
    """A track on disk.

    Parameters
    ----------
    path:
        The file.
    title:
        The exercise's title.
    tempo:
        Beats per minute; of a track that climbs, those of its first rung.
    pitch, mix, audio_format:
        Which track of its exercise it is; `pitch` by its label, such as `B flat`.
    series, tags:
        What it is practised with, and what a player shows.
    beside:
        Files that belong to it: of a WAV or FLAC with chapters its cue sheet.
    duration:
        Seconds, exact.
    frames, bytes:
        The length in frames and the size of the file.
    loudness_lufs:
        Integrated loudness.
    remarks:
        What was decided that the user should know, in sentences.
    was_there:
        Whether it was made before by the same job, and is as it was written.
    """

    path: Path
    title: str
    tempo: Fraction
    pitch: str
    mix: Mix
    audio_format: AudioFormat
    series: Series
    tags: Tags
    beside: tuple[Path, ...]
    duration: Fraction
    frames: int
    bytes: int
    loudness_lufs: float
    remarks: tuple[str, ...] = field(default=(), compare=False)
    was_there: bool = field(default=False, compare=False)


class RenderingStoppedError(RungwiseError):
    """A track could not be rendered; the tracks that were finished before stay on disk.

    Parameters
    ----------
    problems:
        Why it stopped.
    finished:
        The tracks that are complete.
    """

    def __init__(
        self, problems: Problem | Iterable[Problem], finished: Sequence[RenderedTrack] = ()
    ) -> None:
        super().__init__(problems)
        self.finished = tuple(finished)


@dataclass(frozen=True, slots=True)
class Keeping:
    """How files are kept that are there already.

    Parameters
    ----------
    order:
        From `renderer.delivery.claims.order_identity`: which order the files belong to.
    replace:
        Whether files are replaced even if they are something else, or somebody has changed them.
    """

    order: str = ""
    replace: bool = False


AS_USUAL = Keeping()


class StoppedError(Exception):
    """Another track has failed, or the user has had enough."""


class Handle:
    """Stops work that is going on, from any thread: what is finished by then stays."""

    def __init__(self) -> None:
        self._event = Event()

    def cancel(self) -> None:
        """Ask the work to stop; it does within a block of sound. Asking again changes nothing."""
        self._event.set()

    @property
    def is_cancelled(self) -> bool:
        """Whether it was asked to stop."""
        return self._event.is_set()


def _until(track: Track, is_stopped: Callable[[], bool]) -> Iterator[NDArray[np.float32]]:
    for block in track:
        if is_stopped():
            raise StoppedError
        yield block


def tags_of(job: TrackJob) -> Tags:
    """Return what a player shows for a track."""
    exercise, series, settings = job.exercise, job.series, job.settings
    tempo, pitch, mix = tempos_label(job.tempos), job.pitch, job.mix
    name = "" if mix is Mix.FULL else f", {mix}"
    varied = f", {series.variation}" if series.variation else ""
    sounding = f"{pitch.low_a_hz:.2f}".rstrip("0").rstrip(".") + " Hz"
    equals = "" if pitch.label == sounding else f" = {sounding}"
    gracenotes = exercise.gracenotes
    title = whole = exercise.title
    if settings.each_line:
        heading = exercise.lines[0].heading
        title = f"Line {exercise.number_of(0)}" + (f", {heading}" if heading else "")
        whole = exercise.whole_title or exercise.title
    return Tags(
        title=f"{title}, {tempo} bpm{name}",
        album=f"{whole}, {pitch.label}{name}{varied}",
        artist=exercise.audience,
        tempo=job.tempo if len(job.tempos) == 1 else None,
        track=job.number,
        tracks=job.count,
        comment=(
            f"Pitch {pitch.label} (low A of the pipe chanter{equals}), "
            f"{pitch.scale_name(settings.scale)}, {settings.chanter} chanter; "
            f"{tempo} beats a minute; "
            f"gracenotes {gracenotes.length}, {gracenotes.placement}"
        ),
    )


def source_named(exercise: Exercise) -> str:
    """Return what an exercise is made from, as the user named it; its title if in Python."""
    return exercise.source or exercise.title


def _claim(
    what: str, job: TrackJob, which: Mapping[str, Plain], keeping: Keeping, digest: str = ""
) -> Claim:
    settings, folder = job.settings, job.path.parent
    soundfonts = (settings.soundfont or "", settings.drone_soundfont or "")
    return claim(
        of_line(what, settings),
        [source_named(job.exercise)],
        folder,
        {
            **which_is_read(settings),
            "pitch": job.pitch.label if job.pitch.is_measured else job.pitch.low_a_hz,
            "mix": job.mix,
            "format": job.audio_format,
            "variation": job.series.variation,
            "soundfonts": [place_of(str(file), folder) for file in soundfonts],
            **which,
        },
        order=keeping.order,
        job=digest,
        replace=keeping.replace,
    )


def claim_of_track(job: TrackJob, keeping: Keeping) -> Claim:
    """Return the claim of a track: it may take the place of itself made from a changed source."""
    which = {"tempo": ", ".join(map(str, job.tempos))}
    return _claim("a track", job, which, keeping, job.digest)


def _claim_of_cue_sheet(job: TrackJob, keeping: Keeping) -> Claim:
    which = {"tempo": ", ".join(map(str, job.tempos))}
    return _claim("a cue sheet", job, which, keeping, job.digest)


def _claim_of_playlist(job: PlaylistJob, keeping: Keeping) -> Claim:
    first = job.tracks[0]
    if first.settings.each_line:
        # It is of all lines.
        first = replaced(first, settings=replaced(first.settings, line=None))
    return _claim("a playlist", first, {}, keeping, job.digest)


def render_track(
    job: TrackJob,
    is_stopped: Callable[[], bool],
    rendered: Callable[[int], None],
    *,
    on_mixed: Callable[[Track, Timeline], None] = lambda track, timeline: None,
    claim: Claim | None = None,
    cue_claim: Claim | None = None,
    placing: Placing = simply,
) -> RenderedTrack:
    """Render one track in this thread.

    Parameters
    ----------
    job:
        Which.
    is_stopped:
        Asked before each block of sound; once it says so, the work ends.
    rendered:
        Called with a number of frames each time that so many more are encoded.
    on_mixed:
        Called with the track and its events before its sound is made.
    claim, placing:
        How the file takes its place, as for `renderer.delivery.audio.write_audio`.
    cue_claim:
        What its cue sheet is, where it is to have one beside it.

    Raises
    ------
    StoppedError
        If it was stopped.
    RungwiseError
        If it cannot be sounded or written.
    """

    def go_on() -> None:
        if is_stopped():
            raise StoppedError

    go_on()
    timeline = job.timeline()
    go_on()
    track = job.track(timeline, go_on)
    with breaking_off(go_on):
        on_mixed(track, timeline)
        tags = replaced(
            tags_of(job),
            chapters=chapters_of(timeline, job.duration),
            picture=b"" if job.audio_format is AudioFormat.WAV else cover_of(job, go_on),
        )
        pitch_remarks = (job.pitch.remark,) if job.pitch.remark else ()
        all_remarks = (*job.exercise.remarks, *timeline.remarks, *pitch_remarks, *track.remarks)
        remarks = tuple(dict.fromkeys(all_remarks))
        if claim is not None:
            has_cue_sheet = bool(tags.chapters) and cue_claim is not None
            facts = {
                **track_facts(job, tags, timeline, track.loudness_lufs),
                "frames": track.frames,
                "beside": [cue_path(job.path).name] if has_cue_sheet else [],
                "remarks": list(remarks),
            }
            claim = replaced(claim, more=facts)
    written = write_audio(
        _until(track, is_stopped),
        job.path,
        audio_format=job.audio_format,
        rate=track.rate,
        channels=track.channels,
        frames=track.frames,
        tags=tags,
        is_small=job.settings.share,
        on_progress=rendered,
        claim=claim,
        placing=placing,
    )
    beside: tuple[Path, ...] = ()
    if tags.chapters and cue_claim is not None:
        beside = (cue_path(job.path),)
        text = cue_text(tags.chapters, job.path, tags)
        write_kept(beside[0], text.encode(), cue_claim)
    return _rendered(job, tags, beside, written, track.loudness_lufs, remarks)


def sounds_as(entry: Remembered | None, job: TrackJob) -> bool:
    """Whether what is remembered of a file differs from a job in its place in its series alone.

    Its sound can stay then, and needs another number only, where the format allows that.
    """
    return (
        entry is not None
        and job.audio_format in NUMBERED_ANEW
        and entry.more.get(BUT_FOR_PLACE) == job.digest_but_for_place
    )


def renumber_track(
    job: TrackJob,
    sha256: str,
    is_stopped: Callable[[], bool],
    *,
    claim: Claim | None = None,
    placing: Placing = simply,
) -> int | None:
    """Give a track that is there the number of a job that it sounds as, in this thread.

    Parameters
    ----------
    job:
        Which; at its path is the track.
    sha256:
        The digest that its bytes have.
    is_stopped, claim, placing:
        As for `render_track`, whose errors it raises.

    Returns
    -------
    The file's size in bytes; None if it has not the digest any more, and is as it was.
    """
    if is_stopped():
        raise StoppedError
    number = tags_of(job).number()
    try:
        return write_renumbered(job.path, sha256, number, claim=claim, placing=placing)
    except ChangedError:
        return None


def _rendered(
    job: TrackJob,
    tags: Tags,
    beside: tuple[Path, ...],
    written: Written,
    loudness_lufs: float,
    remarks: tuple[str, ...],
) -> RenderedTrack:
    return RenderedTrack(
        path=job.path,
        title=job.exercise.title,
        tempo=job.tempo,
        pitch=job.pitch.label,
        mix=job.mix,
        audio_format=job.audio_format,
        series=job.series,
        tags=tags,
        beside=beside,
        duration=job.duration,
        frames=written.frames,
        bytes=written.bytes,
        loudness_lufs=loudness_lufs,
        remarks=remarks,
    )


def tracks_there(
    jobs: Sequence[TrackJob], keeping: Keeping = AS_USUAL, *, adopting: bool = False
) -> dict[int, RenderedTrack]:
    """Return the tracks that need not be rendered, by the numbers of their jobs, from 0.

    They are there as the same jobs made them, with what belongs to them.

    Parameters
    ----------
    jobs, keeping:
        As for `render_jobs`.
    adopting:
        Whether they belong to the order from now on; else nothing is written.

    Raises
    ------
    RungwiseError
        If the disk fails.
    """
    entries = standing(_claims_of(jobs, keeping), adopting=adopting)
    found = {}
    for number, job in enumerate(jobs):
        entry = entries.get(job.path)
        track = None if entry is None else _remembered(job, entry)
        if track is not None and entries.keys() >= set(track.beside):
            found[number] = replaced(track, was_there=True)
    return found


def _remembered(job: TrackJob, entry: Remembered) -> RenderedTrack | None:
    """What is remembered of a track; None where something is missing."""
    more = entry.more
    try:
        beside = tuple(job.path.with_name(str(name)) for name in more["beside"])
        written = Written(int(more["frames"]), int(more["bytes"]))
        loudness_lufs, remarks = float(more["loudness-lufs"]), tuple(map(str, more["remarks"]))
    except (KeyError, TypeError, ValueError):
        return None
    return _rendered(job, tags_of(job), beside, written, loudness_lufs, remarks)


def _sounding_alike(jobs: Mapping[int, TrackJob]) -> dict[int, Remembered]:
    """What is remembered of tracks that are there and only need another number, by their jobs."""
    manifests: dict[Path, Mapping[str, Remembered]] = {}
    found = {}
    for number, job in jobs.items():
        place, there = real_place(job.path)
        if there is None:
            continue
        if place.parent not in manifests:
            manifests[place.parent] = read_manifest(place.parent).made
        entry = manifests[place.parent].get(place.name)
        if entry is not None and sounds_as(entry, job):
            found[number] = entry
    return found


def _claims_of(jobs: Iterable[TrackJob], keeping: Keeping) -> Iterator[tuple[Path, Claim]]:
    for job in jobs:
        yield job.path, claim_of_track(job, keeping)
        if job.audio_format in WITH_CUE_SHEETS:
            yield cue_path(job.path), _claim_of_cue_sheet(job, keeping)


def cores() -> int:
    """Return how many cores this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def _check_space(jobs: Iterable[TrackJob]) -> None:
    check_free_space(
        Need(
            job.path,
            least_bytes(
                job.audio_format,
                frames=int(job.duration * job.settings.rate),
                rate=job.settings.rate,
                channels=job.settings.heard_layout.channels,
                is_small=job.settings.share,
            ),
        )
        for job in jobs
    )


def render_jobs(
    jobs: Sequence[TrackJob],
    *,
    workers: int | None = None,
    on_progress: OnProgress | None = None,
    on_track: Callable[[RenderedTrack], None] | None = None,
    handle: Handle | None = None,
    keeping: Keeping = AS_USUAL,
) -> tuple[RenderedTrack, ...]:
    """Render tracks, several at a time; those that are there as the same jobs made them stay.

    Files do not depend on how many are rendered at a time. Ctrl-C, or any exception, stops all of
    them; finished tracks stay, nothing half-written does.

    Parameters
    ----------
    jobs:
        From `plan_tracks`. Their folders are made.
    workers:
        How many tracks at a time; None for one for each core.
    on_progress:
        Called in this thread with the seconds of audio rendered so far, and in all.
    on_track:
        Called in this thread with each track as it is finished, in any order.
    handle:
        Stops all of them when it is cancelled.
    keeping:
        Which order they belong to, and whether they replace other files.

    Returns
    -------
    The tracks in the order of the jobs.

    Raises
    ------
    RungwiseError
        If a folder cannot be made or written to, the disk lacks room, or a file is there that is
        not the same track or was changed; nothing was rendered then.
    RenderingStoppedError
        If a track could not be rendered, or the handle was cancelled; its `finished` are the
        tracks that were.
    """
    check_encoders(job.audio_format for job in jobs)
    for folder in dict.fromkeys(job.path.parent for job in jobs):
        make_folder(folder)
        check_writable(folder)
    check_claims(
        [
            *_claims_of(jobs, keeping),
            *((one.path, _claim_of_playlist(one, keeping)) for one in playlists_of(tuple(jobs))),
        ]
    )
    kept = tracks_there(jobs, keeping, adopting=True)
    _check_space(job for number, job in enumerate(jobs) if number not in kept)
    rendering = _Rendering(jobs, kept, on_progress, on_track, handle or Handle(), keeping)
    return rendering.run(workers or cores())


class _Rendering:
    """Some tracks on their way, several at a time."""

    def __init__(
        self,
        jobs: Sequence[TrackJob],
        kept: Mapping[int, RenderedTrack],
        on_progress: OnProgress | None,
        on_track: Callable[[RenderedTrack], None] | None,
        handle: Handle,
        keeping: Keeping,
    ) -> None:
        self._jobs, self._keeping = jobs, keeping
        self._on_progress, self._on_track = on_progress, on_track
        self._stop, self._handle = Event(), handle
        self._news: queue.SimpleQueue[float] = queue.SimpleQueue()
        self._done_s = 0.0
        self._due = {n: job for n, job in enumerate(jobs) if n not in kept}
        self._alike = _sounding_alike(self._due)
        self._total_s = float(sum(job.duration for job in self._due.values()))
        self._finished: dict[int, RenderedTrack] = dict(kept)
        self._failed: dict[int, BaseException] = {}
        self._work = WorkDone()

    def run(self, workers: int) -> tuple[RenderedTrack, ...]:
        """Render them, so many at a time, and return them in order."""
        with ThreadPoolExecutor(max_workers=min(workers, max(1, len(self._due)))) as pool:
            try:
                self._wait_for({pool.submit(self._make, n): n for n in self._due})
            except BaseException:
                self._stop.set()
                pool.shutdown(wait=True, cancel_futures=True)
                raise
        tracks = tuple(self._finished[number] for number in sorted(self._finished))
        failed = [self._failed[number] for number in sorted(self._failed)]
        causes = [cause for cause in failed if not isinstance(cause, StoppedError)]
        for cause in causes:
            if not isinstance(cause, RungwiseError):
                raise cause
        if causes:
            problems = dict.fromkeys(problem for cause in causes for problem in _problems(cause))
            raise RenderingStoppedError(problems, tracks) from causes[0]
        if len(tracks) < len(self._jobs):
            cancelled = Problem("it was cancelled", "start it again for those that are missing")
            raise RenderingStoppedError(cancelled, tracks)
        self._work.keep()
        return tracks

    def _is_stopped(self) -> bool:
        return self._stop.is_set() or self._handle.is_cancelled

    def _make(self, number: int) -> RenderedTrack:
        job = self._due[number]
        try:
            entry = self._alike.get(number)
            numbered = None if entry is None else self._renumber(job, entry)
            return self._render(job) if numbered is None else numbered
        except BaseException:
            # At once, and not when the main thread gets round to it: others stop sooner.
            self._stop.set()
            raise

    def _renumber(self, job: TrackJob, entry: Remembered) -> RenderedTrack | None:
        track = _remembered(job, entry)
        if track is None:
            return None
        more = {name: value for name, value in entry.more.items() if name != "bytes"}
        mine = replaced(claim_of_track(job, self._keeping), more=more)
        size = renumber_track(job, entry.sha256, self._is_stopped, claim=mine)
        if size is None:
            return None
        self._news.put(float(job.duration))
        return replaced(track, bytes=size)

    def _render(self, job: TrackJob) -> RenderedTrack:
        rate = job.settings.rate
        with self._work.timed(kind_of(job), float(job.duration)):
            return render_track(
                job,
                self._is_stopped,
                lambda done: self._news.put(done / rate),
                claim=claim_of_track(job, self._keeping),
                cue_claim=(
                    _claim_of_cue_sheet(job, self._keeping)
                    if job.audio_format in WITH_CUE_SHEETS
                    else None
                ),
            )

    def _wait_for(self, numbers: dict[Future[RenderedTrack], int]) -> None:
        pending = set(numbers)
        if pending and self._on_progress is not None:
            self._on_progress(0.0, self._total_s)
        while pending:
            # Short waits, so that Ctrl-C is heard on every system and progress moves.
            done, pending = wait(pending, timeout=0.1, return_when=FIRST_COMPLETED)
            self._report()
            for future in sorted(done, key=numbers.__getitem__):
                error = future.exception()
                if error is not None:
                    self._failed[numbers[future]] = error
                    continue
                self._finished[numbers[future]] = future.result()
                if self._on_track is not None:
                    self._on_track(future.result())

    def _report(self) -> None:
        before = self._done_s
        while not self._news.empty():
            self._done_s += self._news.get_nowait()
        if self._on_progress is not None and self._done_s != before:
            self._on_progress(self._done_s, self._total_s)


def _problems(error: BaseException) -> tuple[Problem, ...]:
    return error.problems if isinstance(error, RungwiseError) else ()


def list_tracks(job: PlaylistJob, keeping: Keeping = AS_USUAL) -> None:
    """Write a playlist of tracks whose files are there.

    Raises a `RungwiseError` if it cannot be written.
    """
    shown = [tags_of(track) for track in job.tracks]
    entries = [
        Entry(track.path, tags.title, track.duration)
        for track, tags in zip(job.tracks, shown, strict=True)
    ]
    mine = _claim_of_playlist(job, keeping)
    write_playlist(entries, job.path, title=job.title or shown[0].album, claim=mine)


def write_playlists(jobs: Iterable[TrackJob], keeping: Keeping = AS_USUAL) -> tuple[Path, ...]:
    """Write a playlist for each series of several tracks, in each format; return their paths.

    Tracks are named by their jobs: their files are there.

    Raises a `RungwiseError` if a list cannot be written.
    """
    lists = playlists_of(tuple(jobs))
    for one in lists:
        list_tracks(one, keeping)
    return tuple(one.path for one in lists)


def render(
    exercise: Exercise,
    out_dir: str | Path,
    *,
    workers: int | None = None,
    on_progress: OnProgress | None = None,
    replace: bool = False,
    **settings: Any,
) -> tuple[RenderedTrack, ...]:
    """Render an exercise as play-along tracks, with a playlist for each pitch and mix.

    Parameters
    ----------
    exercise:
        From `renderer.read_exercise`.
    out_dir:
        The folder for the files; it is made.
    workers, on_progress:
        As for `render_jobs`.
    replace:
        Whether files are replaced even if they are another track, or somebody has changed them.
    settings:
        The settings that `rungwise render` knows, by their names: `ladder=[50, 60, 70]`,
        `pitch=["A", "B flat"]`, `count_in=2`, `levels={"drone": -12}` (see
        `renderer.order.settings`). Texts are read as options are.

    Returns
    -------
    The tracks in practice order.

    Raises
    ------
    RungwiseError
        For whatever the user can put right; see `plan_tracks` and `render_jobs`.
    """
    asked, folder = read_settings(settings), Path(out_dir)
    jobs = plan_tracks(asked.chosen(exercise), folder, asked)
    order = order_identity("render", [source_named(exercise)], folder, asked)
    keeping = Keeping(order, replace)
    tracks = render_jobs(jobs, workers=workers, on_progress=on_progress, keeping=keeping)
    write_playlists(jobs, keeping)
    return tracks
