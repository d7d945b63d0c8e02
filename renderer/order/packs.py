"""A pack: a file of what a class gets, and all jobs that come of it, as plain data.

`read_pack` reads the file and everything that it names; `Pack.plan` turns it into files to make, a
folder for each learner or group. Files of equal digest are made once: the others are links or
copies of the first. Nothing is written here.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from fractions import Fraction
from functools import cached_property
from pathlib import Path

from renderer import __version__
from renderer.errors import Problem, RungwiseError
from renderer.notation.ladder import ladder_text
from renderer.notation.score import Exercise
from renderer.notation.source_file import Source, open_source
from renderer.order.digests import digest_of
from renderer.order.documents import Document, DocumentJob, PlaylistJob, plan_document
from renderer.order.formats import WITH_CUE_SHEETS
from renderer.order.jobs import count_of_tracks, plan_tracks
from renderer.order.kinds import Plain
from renderer.order.names import collision_key, safe_stem, tempo_label
from renderer.order.order import Order
from renderer.order.pack_file import (
    COMMAND,
    VERB,
    Entry,
    Layer,
    PackFile,
    Receiver,
    read_pack_file,
    settings_of,
)
from renderer.order.runs_of_lines import RunsOfLines
from renderer.order.settings import BY_NAME, Settings, known_to, read_settings, track_words
from renderer.order.sizes import spoken_bytes
from renderer.order.track_job import TrackJob
from renderer.reading.exercise import source_of
from renderer.reading.folders import exercises_in
from renderer.timing.timeline import SectionKind

MOST_TRACKS_OF_PACK = 5_000
"""Different tracks of a pack; several learners can get the same one."""

_TITLE_BYTES = 60
"""Of an exercise's title in the names of its sheet and plan."""

OnNext = Callable[[int, int], None]
"""Called before each exercise of each learner or group with how many are done of how many; it may
raise to stop."""


def _unheard(done: int, of: int) -> None:
    """Tell nobody."""


@dataclass(frozen=True, slots=True)
class Given:
    """An exercise as one learner or group gets it.

    Parameters
    ----------
    exercise, source:
        As it was read.
    settings:
        How.
    number:
        Which of the learner's exercises it is, from 1.
    runs:
        The exercises, parts of this one, that have tracks of their own in its place, where tracks
        of all its lines would be too large to send; mostly none.
    """

    exercise: Exercise
    source: Source
    settings: Settings
    number: int
    runs: tuple[tuple[Exercise, Settings], ...] = ()

    @property
    def played(self) -> tuple[tuple[Exercise, Settings], ...]:
        """What its tracks are made of, each with its settings: all of it, or run after run."""
        return self.runs or ((self.exercise, self.settings),)


@dataclass(frozen=True, slots=True)
class Share:
    """What one learner or group gets.

    Parameters
    ----------
    receiver:
        Who.
    settings:
        What holds for all exercises.
    given:
        The exercises in order.
    """

    receiver: Receiver
    settings: Settings
    given: tuple[Given, ...]

    @property
    def name(self) -> str:
        """The name of the learner or group, and of the folder."""
        return self.receiver.name

    @property
    def pitches(self) -> tuple[str, ...]:
        """The pitches of its tracks, as players say them."""
        labels = [
            pitch.label for one in self.given for pitch in one.settings.pitches_of(one.exercise)
        ]
        return tuple(dict.fromkeys(labels))


@dataclass(frozen=True, slots=True)
class OverviewJob:
    """The page for the teacher: who gets what. All that stands on it is plain data."""

    path: Path
    told: Mapping[str, Plain]

    @property
    def digest(self) -> str:
        """The SHA-256 of all that decides the page's bytes, as hexadecimal digits."""
        return digest_of(self.decided_by())

    def decided_by(self) -> dict[str, Plain]:
        """Return all that decides the page's bytes."""
        return {"program": __version__, "kind": "overview", "told": dict(self.told)}


@dataclass(frozen=True, slots=True)
class CueJob:
    """The cue sheet of a WAV or FLAC track, which lies beside it."""

    path: Path
    track: TrackJob

    @property
    def digest(self) -> str:
        """The SHA-256 of all that decides the file's bytes, as hexadecimal digits."""
        return digest_of(self.decided_by())

    def decided_by(self) -> dict[str, Plain]:
        """Return all that decides the file's bytes: the track, and what its file is called."""
        return {**self.track.decided_by(), "kind": "cue sheet", "name": self.track.path.name}


FileJob = TrackJob | CueJob | DocumentJob | PlaylistJob | OverviewJob
"""What makes a file of a pack."""

_DOCUMENTS = {Document.SHEET: "a sheet", Document.PLAN: "a plan", Document.PAGE: "a practice page"}


@dataclass(frozen=True, slots=True)
class PlannedFile:
    """A file of a pack.

    Parameters
    ----------
    path:
        Seen from the pack's folder, with slashes.
    job:
        What makes it.
    digest:
        The job's; files of equal digest have equal bytes.
    receiver:
        Who gets it; empty for what is the teacher's.
    """

    path: str
    job: FileJob
    digest: str
    receiver: str

    @property
    def what(self) -> str:
        """What it is, in words with their article."""
        match self.job:
            case TrackJob():
                return "a track"
            case CueJob():
                return "a cue sheet"
            case PlaylistJob():
                return "a playlist"
            case DocumentJob():
                return _DOCUMENTS[self.job.kind]
            case _:
                return "an overview"

    @property
    def source(self) -> str:
        """What it is made from, for messages."""
        track = self.job.track if isinstance(self.job, CueJob) else self.job
        if isinstance(track, TrackJob):
            return Path(track.exercise.source).name or track.exercise.title
        if isinstance(self.job, DocumentJob):
            return ", ".join(Path(one.source).name or one.title for one in self.job.exercises)
        return "the pack"

    @property
    def of(self) -> dict[str, Plain]:
        """What its manifest says that it came of, to tell later what has changed."""
        return {"of": self.job.decided_by()}

    @property
    def duration(self) -> Fraction:
        """How long it plays in seconds; 0 for what is no track."""
        return self.job.duration if isinstance(self.job, TrackJob) else Fraction(0)


@dataclass(frozen=True)
class PackPlan:
    """All files of a pack.

    Parameters
    ----------
    root:
        The pack's folder.
    pack:
        What it is made from.
    files:
        In the order in which they are made.
    first_day:
        The day that plans count from.
    """

    root: Path
    pack: Pack
    files: tuple[PlannedFile, ...]
    first_day: date

    @cached_property
    def different(self) -> tuple[PlannedFile, ...]:
        """The first file of each digest: what is made; all others are equal to one of them."""
        first: dict[str, PlannedFile] = {}
        for one in self.files:
            first.setdefault(one.digest, one)
        return tuple(first.values())

    def of(self, receiver: str) -> tuple[PlannedFile, ...]:
        """Return the files of a learner or group."""
        return tuple(one for one in self.files if one.receiver == receiver)


@dataclass(frozen=True, slots=True)
class Pack:
    """What a class gets.

    Parameters
    ----------
    title:
        Of the class.
    file:
        The pack's file.
    shares:
        What each learner and each group gets.
    inputs:
        All files that it is made from.
    folders:
        The folders that were looked through for exercises.
    """

    title: str
    file: str
    shares: tuple[Share, ...]
    inputs: tuple[Path, ...]
    folders: tuple[Path, ...]

    def plan(
        self, root: str | Path, *, today: date | None = None, on_next: OnNext = _unheard
    ) -> PackPlan:
        """Return all files to make.

        Parameters
        ----------
        root:
            The pack's folder; nothing is written.
        today:
            Plans begin on the day after, where the pack asks for no other.
        on_next:
            Hears how far it is.

        Raises
        ------
        RungwiseError
            With whatever is wrong with the tracks, plans and sheets, as far as it is known before
            they are made.
        """
        return _Planning(self, Path(root), today or date.today(), on_next).plan()


def read_pack(
    written: str | Path | Source,
    asked: Mapping[str, object] | None = None,
    *,
    on_next: OnNext = _unheard,
) -> Pack:
    """Return the pack that a file describes, with all that it names.

    Parameters
    ----------
    written:
        The file, or its text in hand.
    asked:
        Settings that hold for everybody instead of the file's, by their names, read.
    on_next:
        Hears how far it is.

    Raises
    ------
    RungwiseError
        With everything that is wrong in the file and in the exercises.
    """
    source = open_source(written)
    file = read_pack_file(source)
    return _Assembling(file, Layer(asked or {}, COMMAND), on_next).pack()


@dataclass(frozen=True, slots=True)
class _Found:
    """A source, with the entry that names it."""

    entry: Entry
    source: Source


class _Assembling:
    """A pack's file on its way to a pack: `problems` says what is wrong with it."""

    def __init__(self, file: PackFile, command: Layer, on_next: OnNext) -> None:
        self._file, self._command, self._on_next = file, command, on_next
        self._done = self._all = 0
        self._problems: list[Problem] = []
        self._inputs = [Path(file.file)]
        self._folders: list[Path] = []
        self._read: dict[tuple[object, ...], list[tuple[Source, Exercise]]] = {}
        self._small: dict[tuple[object, ...], tuple[tuple[Exercise, Settings], ...]] = {}

    def pack(self) -> Pack:
        file = self._file
        found = [one for entry in file.entries for one in self._sources(entry)]
        self._refuse_the_same_twice(found)
        given = [(receiver, _those_of(receiver, found)) for receiver in file.receivers]
        self._all = sum(len(mine) for _, mine in given)
        shares = [self._share(receiver, mine) for receiver, mine in given]
        self._refuse_titles_that_collide(shares)
        if self._problems:
            raise RungwiseError(dict.fromkeys(self._problems))
        layers = [file.layer]
        layers += [one.layer for one in file.entries] + [one.layer for one in file.receivers]
        named = [Path(one) for layer in layers for one in layer.files]
        return Pack(
            file.title,
            file.file,
            tuple(shares),
            tuple(dict.fromkeys((*self._inputs, *named))),
            tuple(dict.fromkeys(self._folders)),
        )

    def _problem(self, cause: str, remedy: str, place: str) -> None:
        self._problems.append(Problem(cause, remedy, place, self._file.file))

    def _sources(self, entry: Entry) -> list[_Found]:
        """What an entry stands for; nothing where that is wrong."""
        path = self._file.folder / entry.file
        try:
            if path.is_dir():
                self._folders.append(path)
                files: Sequence[Path] = exercises_in(path)
            else:
                is_name = not path.exists() and Path(entry.file).parent == Path()
                files = [Path(entry.file) if is_name and not Path(entry.file).suffix else path]
                # A file of a shipped exercise's name, should one come, is that exercise.
                self._inputs.append(path)
            sources = [source_of(one) for one in files]
        except (RungwiseError, ValueError) as error:
            if not isinstance(error, RungwiseError):
                self._problem("this is no name of a file", "name a file", entry.place)
                return []
            for one in error.problems:
                what = one.file or entry.file
                self._problem(f"{what}: {one.cause}", one.remedy, entry.place)
            return []
        self._inputs += [Path(one.name) for one in sources]
        return [_Found(entry, source) for source in sources]

    def _refuse_the_same_twice(self, found: Iterable[_Found]) -> None:
        first: dict[tuple[Path, object], Entry] = {}
        for one in found:
            # One file may be asked for twice with different settings: two tunes of it.
            which = tuple(sorted((name, repr(v)) for name, v in one.entry.layer.values.items()))
            there = first.setdefault((Path(one.source.name).resolve(), which), one.entry)
            if there is not one.entry and _share_somebody(there, one.entry):
                cause = f"{Path(one.source.name).name} is named twice, in {there.place} too"
                self._problem(cause, "name it once", one.entry.place)

    def _share(self, receiver: Receiver, mine: Sequence[_Found]) -> Share:
        base = self._settings((self._file.layer, receiver.layer, self._command))
        given: list[Given] = []
        for one in mine:
            self._on_next(self._done, self._all)
            self._done += 1
            layers = (self._file.layer, one.entry.layer, receiver.layer, self._command)
            settings = self._settings(layers)
            if settings is None:
                continue
            for source, exercise in self._exercises(one.source, settings):
                has_pitch = any("pitch" in layer.values for layer in layers)
                if not has_pitch and not exercise.own_chanter:
                    self._refuse_without_pitch(receiver)
                runs = self._runs(one, exercise, settings)
                given.append(Given(exercise, source, settings, len(given) + 1, runs))
        if self._file.entries and not mine and not self._problems:
            self._problem(
                f"{receiver.name} gets no exercise",
                "name one for all, or one `for` this name",
                receiver.layer.place,
            )
        return Share(receiver, base or Settings(), tuple(given))

    def _refuse_without_pitch(self, receiver: Receiver) -> None:
        self._problem(
            f"which pitch the chanter of {receiver.name} has is not said",
            'write pitch = "A", "B flat", hertz such as 478, or a chanter file; at the top of the '
            "file it holds for all",
            f"{receiver.layer.place}.pitch",
        )

    def _settings(self, layers: Sequence[Layer]) -> Settings | None:
        values, places = settings_of(layers)
        try:
            return read_settings(values, verb=VERB, called=lambda row: row.key)
        except RungwiseError as error:
            for one in error.problems:
                name = next((n for n in values if BY_NAME[n].key == one.place), "")
                is_here = bool(one.file) or places.get(name, "").startswith("--")
                self._problems.append(
                    replace(
                        one,
                        file=one.file if is_here else self._file.file,
                        place=places.get(name, one.place),
                    )
                )
            return None

    def _exercises(self, source: Source, settings: Settings) -> list[tuple[Source, Exercise]]:
        chosen = (settings.line, settings.lines, settings.bars, settings.lead_in)
        key = (source.name, settings.reading, settings.tune, *chosen)
        if key not in self._read:
            self._read[key] = []
            try:
                self._read[key] = Order((source,), settings).read()
            except RungwiseError as error:
                self._problems += [replace(p, file=p.file or source.name) for p in error.problems]
        return self._read[key]

    def _runs(
        self, found: _Found, exercise: Exercise, settings: Settings
    ) -> tuple[tuple[Exercise, Settings], ...]:
        """Runs of lines that are small enough to send, where all lines together are not."""
        if settings.max_size is None or "tracks" not in settings.gets:
            return ()
        heard = _heard(settings)
        key = (id(exercise), heard, settings.max_size)
        if key not in self._small:
            whole = self._whole(found.source, exercise, settings)
            sizes = RunsOfLines(whole, exercise, heard, settings.max_size)
            self._small[key] = sizes.runs()
            name = Path(exercise.source).name or exercise.title
            for line, size in sizes.too_large():
                self._problem(
                    f"a track of line {line} of {name} alone has at least {spoken_bytes(size)}, "
                    "more than max-size allows",
                    "ask for a larger one, small files (share), another format or fewer repeats",
                    found.entry.place,
                )
        return self._small[key]

    def _whole(self, source: Source, exercise: Exercise, settings: Settings) -> Exercise:
        """The exercise that lines and bars were taken out of."""
        plain = replace(settings, line=None, lines=None, bars=None, lead_in=False)
        title = exercise.whole_title or exercise.title
        all_read = (one for _, one in self._exercises(source, plain))
        return next((one for one in all_read if one.title == title), exercise)

    def _refuse_titles_that_collide(self, shares: Iterable[Share]) -> None:
        """Two titles that are one in names of files would be told apart by their numbers alone."""
        titles: dict[str, Given] = {}
        for share in shares:
            for one in share.given:
                title = one.exercise.title
                first = titles.setdefault(collision_key(safe_stem(title)), one)
                if first.exercise.title != title:
                    self._problems.append(
                        Problem(
                            f"its title {title!r} and {first.exercise.title!r} of "
                            f"{Path(first.source.name).name} are one in names of files",
                            "give one of them another title",
                            "title",
                            one.source.name,
                        )
                    )


def _those_of(receiver: Receiver, found: Iterable[_Found]) -> list[_Found]:
    return [one for one in found if not one.entry.receivers or receiver.name in one.entry.receivers]


def _share_somebody(one: Entry, other: Entry) -> bool:
    return not one.receivers or not other.receivers or bool({*one.receivers} & {*other.receivers})


class _Planning:
    """A pack on its way to its files."""

    def __init__(self, pack: Pack, root: Path, today: date, on_next: OnNext) -> None:
        self._pack, self._root, self._today, self._on_next = pack, root, today, on_next
        self._done, self._all = 0, sum(len(share.given) for share in pack.shares)
        self._files: list[PlannedFile] = []
        self._problems: list[Problem] = []
        self._tracks: dict[tuple[object, ...], tuple[tuple[TrackJob, str], ...]] = {}

    def plan(self) -> PackPlan:
        self._check_counts()
        by_receiver: list[tuple[Share, tuple[TrackJob, ...]]] = []
        for share in self._pack.shares:
            try:
                by_receiver.append((share, self._of(share)))
            except RungwiseError as error:
                self._problems += error.problems
        if self._problems:
            raise RungwiseError(dict.fromkeys(self._problems))
        different = {
            digest: job
            for planned in self._files
            if isinstance(job := planned.job, TrackJob)
            for digest in (planned.digest,)
        }
        self._list(self._root, tuple(different.values()), "")
        name = safe_stem(self._pack.title)
        told = _overview(self._pack, by_receiver, self._files)
        self._add(OverviewJob(self._root / f"{name}.pdf", told), "")
        return PackPlan(self._root, self._pack, tuple(self._files), self._today)

    def _add(self, job: FileJob, receiver: str, digest: str = "") -> None:
        path = job.path.relative_to(self._root).as_posix()
        self._files.append(PlannedFile(path, job, digest or job.digest, receiver))

    def _check_counts(self) -> None:
        """Refuse a pack of far too many tracks before any of them is looked at."""
        counts: dict[tuple[object, ...], int] = {}
        for number, share in enumerate(self._pack.shares):
            for one in share.given:
                if "tracks" in one.settings.gets:
                    for part, settings in one.played:
                        key = (id(part), _heard(settings))
                        counts[key] = count_of_tracks(part, settings)
            if (total := sum(counts.values())) > MOST_TRACKS_OF_PACK:
                mine = sum(
                    count_of_tracks(part, settings)
                    for one in share.given
                    for part, settings in one.played
                )
                place = self._pack.shares[number].receiver.layer.place
                raise RungwiseError(
                    Problem(
                        f"with the {mine} of {share.name} that makes {total} tracks",
                        "ask for fewer rungs, pitches, mixes or formats; "
                        f"{MOST_TRACKS_OF_PACK} is the most in a pack",
                        place,
                        self._pack.file,
                    )
                )

    def _of(self, share: Share) -> tuple[TrackJob, ...]:
        """Plan what a learner or group gets, and return the tracks."""
        folder = self._root / share.name
        digits = len(str(len(share.given)))
        jobs: list[TrackJob] = []
        for one in share.given:
            self._on_next(self._done, self._all)
            self._done += 1
            prefix = f"{one.number:0{digits}d} " if len(share.given) > 1 else ""
            if "tracks" in one.settings.gets:
                for job, digest in self._tracks_of(one, prefix):
                    mine = replace(job, path=folder / job.path)
                    jobs.append(mine)
                    self._add(mine, share.name, digest)
                    if mine.audio_format in WITH_CUE_SHEETS and _has_chapters(mine):
                        path = mine.path.with_name(f"{mine.path.name}.cue")
                        self._add(CueJob(path, mine), share.name)
        self._print(share, folder, digits)
        self._spread(share, folder, digits)
        self._page(share, folder, digits)
        self._list(folder, tuple(jobs), share.name)
        return tuple(jobs)

    def _tracks_of(self, one: Given, prefix: str) -> tuple[tuple[TrackJob, str], ...]:
        """The tracks of an exercise, planned once for all who get it alike."""
        found: list[tuple[TrackJob, str]] = []
        for part, settings in one.played:
            heard = _heard(settings)
            key = (id(part), heard, prefix)
            if key not in self._tracks:
                planned = plan_tracks(part, Path(), heard, sources=(one.source,), prefix=prefix)
                self._tracks[key] = tuple((job, job.digest) for job in planned)
            found += self._tracks[key]
        return tuple(found)

    def _print(self, share: Share, folder: Path, digits: int) -> None:
        printed = [one for one in share.given if "sheet" in one.settings.gets]
        if printed and share.settings.booklet is not None:
            self._add(
                plan_document(
                    Document.SHEET,
                    tuple(one.exercise for one in printed),
                    folder / f"{safe_stem(share.settings.booklet)}.pdf",
                    share.settings,
                    sources=tuple(one.source for one in printed),
                ),
                share.name,
            )
            return
        for one in printed:
            path = folder / f"{_stem(one, share, digits)} - sheet.pdf"
            self._add(
                plan_document(
                    Document.SHEET, (one.exercise,), path, one.settings, sources=(one.source,)
                ),
                share.name,
            )

    def _spread(self, share: Share, folder: Path, digits: int) -> None:
        """Plan the practice of exercises one after the other, each for so many days."""
        members = share.receiver.members or (share.name,)
        begin: date | None = None
        for one in share.given:
            if "plan" not in one.settings.gets:
                continue
            settings = one.settings
            if begin is not None:
                settings = replace(settings, start=begin)
            for member in members:
                who = f" - {safe_stem(member)}" if share.receiver.is_group else ""
                job = plan_document(
                    Document.PLAN,
                    (one.exercise,),
                    folder / f"{_stem(one, share, digits)} - practice plan{who}.pdf",
                    replace(settings, learner=member),
                    sources=(one.source,),
                    today=self._today,
                )
                self._add(job, share.name)
            assert job.settings.start is not None
            begin = job.settings.start + timedelta(days=settings.days)

    def _page(self, share: Share, folder: Path, digits: int) -> None:
        """Plan a practice page of each exercise, at the learner's pitch and on its own rungs."""
        for one in share.given:
            if "page" in one.settings.gets:
                path = folder / f"{_stem(one, share, digits)} - practice page.html"
                self._add(
                    plan_document(
                        Document.PAGE, (one.exercise,), path, one.settings, sources=(one.source,)
                    ),
                    share.name,
                )

    def _list(self, folder: Path, tracks: tuple[TrackJob, ...], receiver: str) -> None:
        """List tracks by pitch and overall, each format by itself."""
        formats = list(dict.fromkeys(track.audio_format for track in tracks))
        whose = receiver or self._pack.title
        for audio_format in formats:
            alike = [track for track in tracks if track.audio_format is audio_format]
            ending = f" - {audio_format}.m3u8" if len(formats) > 1 else ".m3u8"
            pitches = list(dict.fromkeys(track.pitch.label for track in alike))
            for label in pitches if len(pitches) > 1 else ():
                at = tuple(track for track in alike if track.pitch.label == label)
                path = folder / f"All at {safe_stem(label)}{ending}"
                self._add(PlaylistJob(path, at, f"{whose}, {label}"), receiver)
            self._add(PlaylistJob(folder / f"All tracks{ending}", tuple(alike), whose), receiver)


def _has_chapters(job: TrackJob) -> bool:
    lines = (one for one in job.timeline().sections if one.kind is SectionKind.LINE)
    return sum(1 for one in lines if one.turn == 1) > 1


def _heard(settings: Settings) -> Settings:
    """Settings without those that make no difference to tracks, such as minutes a day."""
    return Settings(**{row.name: settings.of(row.name) for row in known_to("render")})


def _stem(one: Given, share: Share, digits: int) -> str:
    title = safe_stem(one.exercise.title, most_bytes=_TITLE_BYTES)
    return f"{one.number:0{digits}d} {title}" if len(share.given) > 1 else title


_MOST_RUNGS_LISTED = 8


def _rungs(one: Given) -> str:
    """The tempos of an exercise: one by one, or of many the first, the last and the step."""
    tempos = one.settings.tempos_of(one.settings.applied_to(one.exercise))
    if len(tempos) <= _MOST_RUNGS_LISTED:
        return ", ".join(map(tempo_label, tempos))
    begin, *rest = ladder_text(tempos).split(":")
    if len(rest) == 2:
        return f"{begin} to {rest[0]} by {rest[1]}"
    return f"{len(tempos)} from {tempo_label(min(tempos))} to {tempo_label(max(tempos))}"


def _overview(
    pack: Pack,
    by_receiver: Sequence[tuple[Share, tuple[TrackJob, ...]]],
    files: Sequence[PlannedFile],
) -> dict[str, Plain]:
    """What the overview says: each learner with what is in the folder, each exercise."""
    exercises: dict[str, Exercise] = {}
    receivers: list[Plain] = []
    for share, tracks in by_receiver:
        mine = [one for one in files if one.receiver == share.name]
        exercises |= {one.exercise.title: one.exercise for one in share.given}
        listed: list[Plain] = [
            {
                "number": one.number,
                "title": one.exercise.title,
                "rungs": _rungs(one),
            }
            for one in share.given
        ]
        receivers.append(
            {
                "name": share.name,
                "members": list(share.receiver.members),
                "pitch": " and ".join(share.pitches),
                "sound": track_words(
                    replace(share.settings, pitch=Settings().pitch, mix=Settings().mix)
                ),
                "mixes": ", ".join(dict.fromkeys(str(track.mix) for track in tracks)),
                "tracks": len(tracks),
                "seconds": round(float(sum(track.duration for track in tracks))),
                "sheets": sum(1 for one in mine if one.what == "a sheet"),
                "plans": sum(1 for one in mine if one.what == "a plan"),
                "pages": sum(1 for one in mine if one.what == "a practice page"),
                "minutes": share.settings.minutes,
                "exercises": listed,
            }
        )
    described: list[Plain] = [
        {"title": one.title, "level": one.level, "purpose": one.purpose, "lines": len(one.lines)}
        for one in exercises.values()
    ]
    paper = pack.shares[0].settings.paper if pack.shares else Settings().paper
    return {
        "title": pack.title,
        "receivers": receivers,
        "exercises": described,
        "paper": paper,
    }
