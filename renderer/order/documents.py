"""Jobs other than tracks: sheets, scores, plans, practice pages and playlists, as plain data.

Each is one file to be made (of several pages as pictures, one for each page), in this process or
another, by `renderer.delivery.carrying_out.carry_out`. Jobs of equal digest have equal bytes.
"""

from __future__ import annotations

import enum
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta
from fractions import Fraction
from pathlib import Path
from typing import Any

from renderer import __version__
from renderer.errors import failure
from renderer.notation.medley import medley_of
from renderer.notation.score import Exercise
from renderer.notation.source_file import Source
from renderer.order.digests import (
    digest_of,
    music_digest,
    plain_source,
    soundfont_digests,
    source_from_plain,
)
from renderer.order.kinds import Plain
from renderer.order.settings import Settings, known_to, plain_settings, settings_from_plain
from renderer.order.track_job import TrackJob, track_from_plain, unsourced
from renderer.reading.exercise import read_exercise


class Document(enum.StrEnum):
    """What is written of exercises besides tracks; its value is the verb that makes it."""

    SHEET = "sheet"
    SCORE = "convert"
    PLAN = "plan"
    PAGE = "page"


@dataclass(frozen=True, slots=True)
class DocumentJob:
    """A sheet, a score, a practice plan or a practice page to be made.

    Parameters
    ----------
    kind:
        Which of them.
    exercises:
        What is written, as the settings have it; of scores (several exercises make one, a medley)
        and plans there is one.
    settings:
        How: those that the verb knows. A plan has its first day among them.
    path:
        The file to make; its ending says in which form.
    sources:
        What the exercises are read from, one for each; empty for those made in Python.
    ordered:
        The day that a plan is of, by which calendars tell which one is newer.
    """

    kind: Document
    exercises: tuple[Exercise, ...]
    settings: Settings
    path: Path
    sources: tuple[Source, ...] = ()
    ordered: date | None = None

    @property
    def digest(self) -> str:
        """The SHA-256 of all that decides the file's bytes, as hexadecimal digits."""
        return digest_of(self.decided_by())

    def decided_by(self) -> dict[str, Plain]:
        """Return all that decides the file's bytes.

        That is the exercises, the settings that the verb knows, the form and the version of the
        program; not where the file goes.
        """
        return {
            "program": __version__,
            "kind": self.kind.value,
            "music": [music_digest(exercise) for exercise in self.exercises],
            "titles": [exercise.title for exercise in self.exercises],
            "settings": plain_settings(self.settings),
            "form": self.path.suffix.casefold(),
            "ordered": self._ordered if self.path.suffix.casefold() == ".ics" else None,
            "soundfonts": self._soundfonts,
        }

    def to_plain(self) -> dict[str, Plain]:
        """Return the job as JSON has it; raises a `RungwiseError` where there is no source."""
        if not self.sources:
            raise unsourced()
        return {
            "kind": self.kind.value,
            "sources": [plain_source(source) for source in self.sources],
            "settings": plain_settings(self.settings),
            "path": str(self.path),
            "ordered": self._ordered,
        }

    @property
    def _soundfonts(self) -> list[Plain]:
        # A page sounds; nothing else here does.
        return list(soundfont_digests(self.settings)) if self.kind is Document.PAGE else []

    @property
    def _ordered(self) -> str | None:
        return None if self.ordered is None else self.ordered.isoformat()


def document_from_plain(plain: Mapping[str, Any]) -> DocumentJob:
    """Return the job that `DocumentJob.to_plain` has written.

    Raises `ValueError`, `KeyError` or `TypeError` for plain data that is none, and a
    `RungwiseError` for a source that cannot be read.
    """
    kind = Document(plain["kind"])
    sources = tuple(source_from_plain(one) for one in plain["sources"])
    settings = settings_from_plain(dict(plain["settings"]))
    read = (settings.chosen(read_exercise(source, settings.reading)) for source in sources)
    exercises = tuple(map(settings.applied_to, _as_printed(kind, tuple(read), Path(plain["path"]))))
    ordered = None if plain["ordered"] is None else date.fromisoformat(plain["ordered"])
    return DocumentJob(kind, exercises, settings, Path(plain["path"]), sources, ordered)


def plan_document(
    kind: Document,
    exercises: tuple[Exercise, ...],
    path: Path,
    settings: Settings,
    *,
    sources: tuple[Source, ...] = (),
    today: date | None = None,
) -> DocumentJob:
    """Return the job of a sheet, a score, a practice plan or a practice page.

    Parameters
    ----------
    kind:
        Which of them.
    exercises:
        As `Order.exercises` returns them.
    path:
        The file to make; nothing is written yet.
    settings:
        How.
    sources:
        What the exercises were read from.
    today:
        A plan begins on the day after, where no other is asked for; the day that it is if left
        out.

    Raises
    ------
    RungwiseError
        For a plan of several exercises, for one that no calendar holds, and for medleys beyond
        bounds.
    """
    if len(exercises) != 1 and kind is Document.PLAN:
        raise failure(f"a plan is of one exercise, not of {len(exercises)}", "name one")
    exercises = _as_printed(kind, exercises, path)
    ordered = None
    if kind is Document.PLAN:
        ordered = date.today() if today is None else today
        settings = _dated(settings, ordered)
    rows = known_to(kind.value)
    own = Settings(**{row.name: settings.of(row.name) for row in rows})
    played = tuple(map(own.applied_to, exercises))
    return DocumentJob(kind, played, own, path, sources, ordered)


def _as_printed(
    kind: Document, exercises: tuple[Exercise, ...], path: Path
) -> tuple[Exercise, ...]:
    """The exercises; several in one score as a medley, which is called after its file."""
    if len(exercises) == 1 or kind is not Document.SCORE:
        return exercises
    return (medley_of(path.stem, exercises),)


def _dated(settings: Settings, today: date) -> Settings:
    # On the last day of all there is no tomorrow, and the last day's practice must end before it.
    tomorrow = today if today == date.max else today + timedelta(days=1)
    first = tomorrow if settings.start is None else settings.start
    if (date.max - first).days < settings.days:
        raise failure(
            f"no calendar goes on for {settings.days} days from {first}",
            "begin earlier",
            place="start",
        )
    return replace(settings, start=first)


def _shown(track: TrackJob) -> list[Plain]:
    """All that titles of tracks and albums may say."""
    exercise = track.exercise
    headings: list[Plain] = [line.heading for line in exercise.lines]
    settings: Plain = plain_settings(track.settings)
    return [exercise.title, headings, settings, track.series.variation, track.number, track.count]


@dataclass(frozen=True, slots=True)
class PlaylistJob:
    """A playlist to be made: the tracks of one series in one format, in practice order.

    Parameters
    ----------
    path:
        Its file.
    tracks:
        What it lists; their files lie in its folder or below.
    title:
        What a player calls it; the album of its first track if empty.
    """

    path: Path
    tracks: tuple[TrackJob, ...]
    title: str = ""

    @property
    def digest(self) -> str:
        """The SHA-256 of all that decides the file's bytes, as hexadecimal digits."""
        return digest_of(self.decided_by())

    def decided_by(self) -> dict[str, Plain]:
        """Return all that decides the file's bytes: names, titles and lengths of its tracks.

        What they sound does not: a changed note makes its track anew, and no list.
        """
        return {
            "program": __version__,
            "kind": "playlist",
            "title": self.title,
            "tracks": [
                [self.place_of(track), str(track.duration), *_shown(track)] for track in self.tracks
            ],
        }

    def place_of(self, track: TrackJob) -> str:
        """Return a track's file as the list names it, seen from its own folder."""
        return track.path.relative_to(self.path.parent).as_posix()

    def to_plain(self) -> dict[str, Plain]:
        """Return the job as JSON has it; what tracks of one series have in common is told once."""
        first = self.tracks[0]
        if any((one.series, one.source) != (first.series, first.source) for one in self.tracks):
            return {
                "kind": "playlist",
                "path": str(self.path),
                "title": self.title,
                "each": [track.to_plain() for track in self.tracks],
            }
        return {
            "kind": "playlist",
            "path": str(self.path),
            "title": self.title,
            "first": self.tracks[0].to_plain(),
            "tracks": [
                {
                    "tempo": str(track.tempo),
                    "line": track.settings.line,
                    "number": track.number,
                    "path": str(track.path),
                    "duration": str(track.duration),
                }
                for track in self.tracks
            ],
        }


def playlist_from_plain(plain: Mapping[str, Any]) -> PlaylistJob:
    """Return the job that `PlaylistJob.to_plain` has written; errors as `document_from_plain`."""
    path, title = Path(plain["path"]), str(plain["title"])
    if "each" in plain:
        return PlaylistJob(path, tuple(map(track_from_plain, plain["each"])), title)
    first = track_from_plain(plain["first"])
    of_line = {first.settings.line: first}
    tracks: list[TrackJob] = []
    for one in plain["tracks"]:
        line = one["line"]
        if line not in of_line:
            settings = {**plain["first"]["settings"], "line": int(line)}
            of_line[line] = track_from_plain({**plain["first"], "settings": settings})
        alike = of_line[line]
        # Of tracks that climb each line has one, all on the same rungs.
        climbs = alike.settings.climb is not None
        tempo = None if climbs else Fraction(one["tempo"])
        tracks.append(
            replace(
                alike,
                settings=replace(alike.settings, tempo=tempo),
                number=int(one["number"]),
                path=Path(one["path"]),
                duration=Fraction(one["duration"]),
            )
        )
    return PlaylistJob(path, tuple(tracks), title)


def playlists_of(jobs: tuple[TrackJob, ...]) -> tuple[PlaylistJob, ...]:
    """Return the playlists of tracks, one for each series in each format.

    A track alone needs none, and must not replace the playlist of the ladder that it belongs to.
    """
    lists: dict[Path, list[TrackJob]] = {}
    for job in jobs:
        kind = " - lines" if job.settings.each_line else ""
        kind += " - climb" if job.settings.climb is not None else ""
        name = f"{job.series.name}{kind} - {job.audio_format}.m3u8"
        lists.setdefault(job.path.parent / name, []).append(job)
    return tuple(
        PlaylistJob(path, tuple(members)) for path, members in lists.items() if len(members) > 1
    )
