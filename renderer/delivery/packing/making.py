"""Making a pack: all cores on what is not there yet, links for what is there under another name.

`make` looks at the folder first: a file that was made for the same job and is as it was written
stays. What is made takes its place whole, noted in the journal before, so that a run that is
killed at any moment is gone on with by the next. Equal files are made once.
"""

from __future__ import annotations

import hashlib
import os
import queue
import shutil
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ThreadPoolExecutor, wait
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field, replace
from datetime import date
from functools import partial
from pathlib import Path, PurePosixPath
from threading import Event, Lock, Thread
from typing import Any

from renderer.delivery.audio import check_encoders
from renderer.delivery.carrying_out import sheet_pages
from renderer.delivery.chapters import chapters_of
from renderer.delivery.claims import place_of
from renderer.delivery.cue_sheet import cue_text
from renderer.delivery.files import (
    check_writable,
    disk_failure,
    make_folder,
    part_beside,
    real_place,
    whole_file,
)
from renderer.delivery.free_space import Need, check_free_space
from renderer.delivery.leftovers import sweep
from renderer.delivery.manifest import Entry
from renderer.delivery.packing.journal import Journal
from renderer.delivery.packing.overview import overview_pdf
from renderer.delivery.packing.practices import practices_of
from renderer.delivery.packing.reasons import REPLACED, Reason, reason
from renderer.delivery.packing.sending import parcels_of, too_large, write_parcel
from renderer.delivery.packing.standing import digest_of_file, keep, stats_of
from renderer.delivery.playlist import Entry as Listed
from renderer.delivery.playlist import playlist_text
from renderer.delivery.practice_page import PracticePage
from renderer.delivery.render import (
    Handle,
    StoppedError,
    cores,
    render_track,
    renumber_track,
    sounds_as,
    tags_of,
)
from renderer.delivery.sheet.layout import Paper
from renderer.delivery.track_facts import track_facts
from renderer.delivery.work import PARCEL, WorkDone, kind_of
from renderer.errors import Problem, RungwiseError
from renderer.order.digests import digest_of
from renderer.order.documents import Document, DocumentJob, PlaylistJob
from renderer.order.packs import CueJob, OverviewJob, PackPlan, PlannedFile
from renderer.order.sizes import least_bytes
from renderer.order.track_job import TrackJob
from renderer.timing.practice import PracticePlan

_REMEDY = "move it, choose another place, or add --replace"
_FIRST_DAY = "first-day"
"""The manifest's word for the day that plans count from."""


@dataclass(frozen=True, slots=True)
class MadePack:
    """What came of a pack.

    Parameters
    ----------
    plan:
        What was asked for.
    made, linked, kept:
        The files that were made now, those that are equal to others and were linked or copied, and
        those that were there; by their paths from the pack's folder.
    sizes:
        Bytes of every file.
    digests:
        The SHA-256 of every file.
    parcels:
        The files to send, by their paths.
    left_over:
        Files that the pack made before and makes no longer, as they were made; `changed`: those
        that somebody has changed.
    remarks:
        What was decided that the user should know, in sentences.
    """

    plan: PackPlan
    made: tuple[str, ...]
    linked: tuple[str, ...]
    kept: tuple[str, ...]
    sizes: Mapping[str, int]
    digests: Mapping[str, str]
    parcels: tuple[str, ...] = ()
    left_over: tuple[str, ...] = ()
    changed: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Progress:
    """How far a pack is; each pair is what is done by now, and what there is to be done.

    Parameters
    ----------
    plans, all_plans:
        Practice plans that are worked out, before anything is made.
    seconds, all_seconds:
        Of audio, of the tracks that are rendered.
    tracks:
        How many those are.
    files, all_files:
        What is no track or is linked: sheets, plans, pages, lists.
    folders, all_folders:
        Folders to send, looked at and packed where they have changed.
    """

    plans: int = 0
    all_plans: int = 0
    seconds: float = 0.0
    all_seconds: float = 0.0
    tracks: int = 0
    files: int = 0
    all_files: int = 0
    folders: int = 0
    all_folders: int = 0


class PackStoppedError(RungwiseError):
    """A pack could not be finished; what is finished stays, and the next run goes on from there."""


@dataclass(frozen=True, slots=True)
class Due:
    """A file that is not there as it is asked for.

    Parameters
    ----------
    file:
        Which.
    reason:
        Why it is made.
    sounding:
        What is remembered of a track that is there and sounds as it is to, so that it only needs
        another number.
    """

    file: PlannedFile
    reason: Reason
    sounding: Entry | None = None


def identity_of(plan: PackPlan) -> str:
    """Return what tells the files of a pack from those of others: its file's place."""
    return digest_of({"pack": place_of(plan.pack.file, plan.root)})


def _sha256(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def first_day(root: Path) -> date | None:
    """Return the day that the plans of a pack's folder count from; None where none is known."""
    from renderer.delivery.manifest import read_manifest

    with suppress(TypeError, ValueError):
        return date.fromisoformat(read_manifest(root).more.get(_FIRST_DAY, ""))
    return None


def refuse_links(plan: PackPlan) -> None:
    """Raise a `RungwiseError` where a link stands in the place of a folder or file of the pack.

    What is written through it would go elsewhere.
    """
    names = dict.fromkeys(PurePosixPath(one.path).parts[0] for one in plan.files)
    places = [plan.root, *(plan.root / name for name in names)]
    places += [plan.root / one.path for one in plan.files]
    problems = []
    for place in dict.fromkeys(places):
        if place.is_symlink():
            leads = place.readlink()
            remedy = f"name the folder that it leads to, or remove it ({leads})"
            cause = "this is a link to another place, and the pack would go there"
            problems.append(Problem(cause, remedy, file=str(place)))
    if problems:
        raise RungwiseError(problems)


@dataclass
class _State:
    """What is in a pack's folder, beside what is asked for."""

    due: list[Due] = field(default_factory=list)
    links: list[Due] = field(default_factory=list)
    kept: list[PlannedFile] = field(default_factory=list)
    sources: dict[str, str] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)


def make(
    plan: PackPlan,
    *,
    workers: int | None = None,
    on_progress: Callable[[Progress], None] | None = None,
    on_due: Callable[[Sequence[Due]], None] | None = None,
    handle: Handle | None = None,
    replace: bool = False,
    tidy: bool = False,
) -> MadePack:
    """Make the files of a pack that are not there yet.

    Parameters
    ----------
    plan:
        From `renderer.order.packs.Pack.plan`.
    workers:
        How many tracks at a time; None for one for each core.
    on_progress:
        Called in this thread whenever something more is done.
    on_due:
        Called before the work begins with what is to be made or linked, and why.
    handle:
        Stops the work when it is cancelled.
    replace:
        Whether files are replaced that are something else, or that somebody has changed.
    tidy:
        Whether files that the pack makes no longer are removed, where nobody has changed them.

    Raises
    ------
    RungwiseError
        If something is in the way, or another run has the folder; nothing was made then.
    PackStoppedError
        If it could not be finished: what is missing, and that the same command goes on.
    """
    refuse_links(plan)
    check_encoders(one.job.audio_format for one in plan.different if isinstance(one.job, TrackJob))
    with Journal(plan.root) as journal:
        making = _Making(plan, journal, on_progress, handle or Handle(), may_replace=replace)
        return making.run(workers or cores(), on_due, tidy=tidy)


def due_of(plan: PackPlan, *, replace: bool = False) -> tuple[Due, ...]:
    """Return what `make` would make, and why; nothing is written, and no other run is waited for.

    Raises a `RungwiseError` if something is in the way.
    """
    from renderer.delivery.manifest import read_manifest

    refuse_links(plan)
    state = _looked_at(plan, read_manifest(plan.root).made, may_replace=replace)
    if state.problems:
        raise RungwiseError(state.problems)
    practices_of(plan, (one.file for one in state.due))
    return (*state.due, *state.links)


def _looked_at(plan: PackPlan, known: Mapping[str, Entry], *, may_replace: bool) -> _State:
    state, identity, stats = _State(), identity_of(plan), stats_of(plan.root)
    intact: dict[str, str] = {}
    """Files that are as they were made, by their jobs' digests."""
    waiting: list[Due] = []
    for one in plan.files:
        place, entry = plan.root / one.path, known.get(one.path)
        try:
            _, there = real_place(place)
            sha256 = digest_of_file(place, stats.get(one.path)) if there is not None else ""
        except RungwiseError as error:
            state.problems += error.problems
            continue
        except OSError as error:
            raise disk_failure(error, place) from error
        if (why := reason(one, entry, sha256, identity)) is not None:
            alike = entry is not None and entry.sha256 == sha256 and _sounds_as(entry, one)
            waiting.append(Due(one, why, entry if alike else None))
        elif entry is not None and not (entry.is_ours(sha256) and entry.identity == identity):
            if may_replace:
                waiting.append(Due(one, REPLACED))
            else:
                state.problems.append(_in_the_way(one, place, entry, sha256))
        else:
            state.kept.append(one)
            intact.setdefault(one.digest, one.path)
    _find_equal(plan, known, identity, intact, {due.file.digest for due in waiting})
    state.sources = intact
    for due in waiting:
        if due.file.digest in intact:
            state.links.append(due)
        else:
            intact[due.file.digest] = due.file.path
            state.due.append(due)
    return state


def _sounds_as(entry: Entry, one: PlannedFile) -> bool:
    return isinstance(one.job, TrackJob) and sounds_as(entry, one.job)


def _find_equal(
    plan: PackPlan,
    known: Mapping[str, Entry],
    identity: str,
    intact: dict[str, str],
    wanted: set[str],
) -> None:
    """Find what is there under a name that the pack has for something else or no longer."""
    for path, entry in known.items():
        if entry.identity != identity or entry.job in intact or entry.job not in wanted:
            continue
        place = _inside(plan.root, path)
        with suppress(OSError):
            if place is not None and place.is_file() and _sha256(place) == entry.sha256:
                intact[entry.job] = path


def _inside(root: Path, path: str) -> Path | None:
    """Return the file of a path that a manifest names; None if that would leave the folder."""
    parts = PurePosixPath(path).parts
    if not parts or PurePosixPath(path).is_absolute() or any(one in ("..", "") for one in parts):
        return None
    place = root.joinpath(*parts)
    links = (root.joinpath(*parts[:count]) for count in range(1, len(parts) + 1))
    return None if any(one.is_symlink() for one in links) else place


def _in_the_way(one: PlannedFile, place: Path, entry: Entry, sha256: str) -> Problem:
    would = f"{one.what} from {one.source} would replace it"
    if not entry.is_ours(sha256):
        made = f"{entry.what} from {entry.source}"
        cause = f"somebody has changed this file since it was made ({made}), and {would}"
    else:
        cause = f"this is {entry.what} from {entry.source}, and {would}"
    return Problem(cause, _REMEDY, file=str(place))


class _Making:
    """A pack on its way."""

    def __init__(
        self,
        plan: PackPlan,
        journal: Journal,
        on_progress: Callable[[Progress], None] | None,
        handle: Handle,
        *,
        may_replace: bool,
    ) -> None:
        self._plan, self._journal, self._handle = plan, journal, handle
        self._identity, self._may_replace = identity_of(plan), may_replace
        self._on_progress = on_progress
        self._stop = Event()
        self._news: queue.SimpleQueue[float] = queue.SimpleQueue()
        self._progress = Progress()
        self._files = 0
        """What is no track and is there by now, the links included."""
        self._placing = Lock()
        self._writing_page = Lock()
        self._made: list[str] = []
        self._remarks: dict[str, dict[str, None]] = {}
        # Where each is true.
        self._problems: dict[Problem, None] = {}
        self._failed: list[BaseException] = []
        self._practices: Mapping[str, PracticePlan] = {}
        self._work = WorkDone()

    @property
    def _is_stopped(self) -> bool:
        return self._stop.is_set() or self._handle.is_cancelled

    def run(
        self, workers: int, on_due: Callable[[Sequence[Due]], None] | None, *, tidy: bool
    ) -> MadePack:
        plan = self._plan
        state = _looked_at(plan, self._journal.made, may_replace=self._may_replace)
        if state.problems:
            raise RungwiseError(state.problems)
        due = (*state.due, *state.links)
        tracks = [one.file for one in state.due if isinstance(one.file.job, TrackJob)]
        self._tell(
            all_seconds=float(sum(one.duration for one in tracks)),
            tracks=len(tracks),
            all_files=len(due) - len(tracks),
            all_folders=sum(share.settings.zip for share in plan.pack.shares),
        )
        try:
            files = (one.file for one in state.due)
            self._practices = practices_of(plan, files, self._planned)
        except StoppedError:
            raise self._stopped(len(due)) from None
        if on_due is not None:
            on_due(due)
        self._journal.remember(**{_FIRST_DAY: plan.first_day.isoformat()})
        self._make_room(state)
        with self._put_aside(state) as aside:
            self._make_all(state, workers)
            linked = self._link_all(state, aside)
        if self._problems or self._is_stopped:
            raise self._stopped(len(due))
        sizes = {one.path: (plan.root / one.path).stat().st_size for one in plan.files}
        try:
            parcels = self._pack_up(sizes)
        except StoppedError:
            raise self._stopped(len(due)) from None
        except RungwiseError as error:
            cause = "all files are there, but not all that is to be sent"
            go_on = Problem(cause, "the same command goes on from here", file=str(plan.root))
            raise PackStoppedError([*error.problems, go_on]) from error
        left, changed = self._left_over({*sizes, *parcels}, tidy=tidy)
        sizes |= {path: (plan.root / path).stat().st_size for path in parcels}
        digests = {path: self._journal.made[path].sha256 for path in sizes}
        keep(plan.root, digests)
        self._work.keep()
        return MadePack(
            plan,
            tuple(self._made),
            tuple(linked),
            tuple(one.path for one in state.kept),
            sizes,
            digests,
            parcels,
            left,
            changed,
            tuple(f"{_first_of(list(of))}: {said}" for said, of in self._remarks.items()),
        )

    def _stopped(self, count: int) -> PackStoppedError:
        done = len(self._made)
        problems = list(self._problems)
        if not problems:
            problems = [Problem("it was cancelled", "start it again")]
        more = Problem(
            f"{done} of {count} files that were to be made are there",
            "the same command goes on from here",
            file=str(self._plan.root),
        )
        return PackStoppedError([*problems, more])

    def _make_room(self, state: _State) -> None:
        """Make the folders, clear up what killed runs have left there, and see if the disk does."""
        root = self._plan.root
        folders = dict.fromkeys((root / one.path).parent for one in self._plan.files)
        for folder in (root, *folders):
            make_folder(folder)
            sweep(folder)
        check_writable(root)
        check_free_space(
            Need(
                root / one.file.path,
                least_bytes(
                    job.audio_format,
                    frames=int(job.duration * job.settings.rate),
                    rate=job.settings.rate,
                    channels=job.settings.heard_layout.channels,
                    is_small=job.settings.share,
                ),
            )
            for one in state.due
            if isinstance(job := one.file.job, TrackJob)
        )

    @contextmanager
    def _put_aside(self, state: _State) -> Iterator[dict[str, Path]]:
        """Give what will be linked and might be replaced before, each under a name of its own."""
        root = self._plan.root
        going = {one.file.path for one in (*state.due, *state.links)}
        wanted = {one.file.digest for one in state.links}
        made_now = {one.file.digest for one in state.due}
        aside: dict[str, Path] = {}
        try:
            for digest, path in state.sources.items():
                if digest in wanted and digest not in made_now and path in going:
                    part = part_beside(root / path)
                    _link(root / path, part)
                    aside[digest] = part
            yield aside
        finally:
            for part in aside.values():
                part.unlink(missing_ok=True)

    def _make_all(self, state: _State, workers: int) -> None:
        tracks = [one for one in state.due if isinstance(one.file.job, TrackJob)]
        pages = [one.file for one in state.due if not isinstance(one.file.job, TrackJob)]
        # Pages are made beside the tracks. Their thread is not waited for when the user has had
        # enough: it may be in the midst of a page, and writes nothing any more.
        printing = Thread(target=self._print_all, args=(pages,), daemon=True)
        printing.start()
        with ThreadPoolExecutor(max_workers=max(1, min(workers, len(tracks)))) as pool:
            try:
                self._wait_for([pool.submit(self._sound, one) for one in tracks])
                while printing.is_alive() and not self._is_stopped:
                    printing.join(0.1)
                    self._tell()
            except BaseException:
                self._stop.set()
                pool.shutdown(wait=True, cancel_futures=True)
                raise
            finally:
                # A page that is being written is finished or taken away again; none comes after it.
                with self._writing_page:
                    pass
        for error in self._failed:
            if not isinstance(error, StoppedError | RungwiseError):
                raise error

    def _wait_for(self, futures: Collection[Future[None]]) -> None:
        pending = set(futures)
        while pending:
            # Short waits, so that Ctrl-C is heard on every system and progress moves.
            _, pending = wait(pending, timeout=0.1, return_when=FIRST_COMPLETED)
            self._tell()

    def _planned(self, done: int, total: int) -> None:
        if self._is_stopped:
            raise StoppedError
        self._tell(plans=done, all_plans=total)

    def _tell(self, **news: int | float) -> None:
        """Tell how far it is, where that has changed."""
        seconds = self._progress.seconds
        while not self._news.empty():
            seconds += self._news.get_nowait()
        now = replace(self._progress, seconds=seconds, files=self._files, **news)  # type: ignore[arg-type]
        if now != self._progress:
            self._progress = now
            if self._on_progress is not None:
                self._on_progress(now)

    @contextmanager
    def _failing(self) -> Iterator[None]:
        """Note what fails within, and stop all others, unless it concerns this file alone."""
        try:
            yield
        except RungwiseError as error:
            self._problems |= dict.fromkeys(error.problems)
            if not isinstance(error, _InTheWayError):
                self._stop.set()
        except BaseException as error:
            self._failed.append(error)
            self._stop.set()

    def _sound(self, due: Due) -> None:
        one, job = due.file, due.file.job
        assert isinstance(job, TrackJob)
        rate = job.settings.rate
        with self._failing():
            if due.sounding is not None and self._renumber(one, job, due.sounding):
                return
            facts: dict[str, Any] = {}
            with self._work.timed(kind_of(job), float(job.duration)):
                rendered = render_track(
                    job,
                    lambda: self._is_stopped,
                    lambda done: self._news.put(done / rate),
                    on_mixed=lambda track, timeline: facts.update(
                        track_facts(job, tags_of(job), timeline, track.loudness_lufs)
                    ),
                    placing=partial(self._placed, one, facts),
                )
            self._remark(rendered.remarks, one.source)

    def _renumber(self, one: PlannedFile, job: TrackJob, there: Entry) -> bool:
        """Give a track that sounds as it is to the number that it is to have; whether it did."""
        placing = partial(self._placed, one, there.more)
        if renumber_track(job, there.sha256, lambda: self._is_stopped, placing=placing) is None:
            return False
        self._news.put(float(job.duration))
        return True

    def _print_all(self, files: Sequence[PlannedFile]) -> None:
        for one in files:
            if self._is_stopped:
                return
            with self._failing():
                with self._work.timed(one.what, 1):
                    content, remarks = _page(one, self._practices)
                self._work.came_of(one.what, len(content))
                with self._writing_page:
                    if self._is_stopped:
                        return
                    self._remark(remarks, one.path)
                    self._write(one, content)
                    self._files += 1

    def _remark(self, remarks: Sequence[str], of: str) -> None:
        for said in remarks:
            self._remarks.setdefault(said, {})[of] = None

    def _write(self, one: PlannedFile, content: bytes) -> None:
        with whole_file(
            self._plan.root / one.path,
            placing=partial(self._placed, one, {}),
        ) as part:
            part.write_bytes(content)

    def _link_all(self, state: _State, aside: Mapping[str, Path]) -> list[str]:
        linked: list[str] = []
        root = self._plan.root
        for due in state.links:
            one = due.file
            source = state.sources[one.digest]
            if self._is_stopped:
                break
            with self._failing():
                entry = self._journal.made.get(source)
                from_there = aside.get(one.digest, root / source)
                facts = dict(entry.more) if entry is not None else {}
                with whole_file(
                    root / one.path,
                    placing=partial(self._placed, one, facts),
                ) as part:
                    part.unlink()
                    _link(from_there, part)
                linked.append(one.path)
                self._files += 1
            self._tell()
        return linked

    @contextmanager
    def _placed(
        self, one: PlannedFile | _Parcelled, facts: Mapping[str, Any], part: Path, place: Path
    ) -> Iterator[None]:
        """Note a complete file that takes its place, if what is there makes room for it."""
        with self._placing:
            if self._is_stopped:
                raise StoppedError
            sha256 = _sha256(part)
            before = _sha256(place) if place.is_file() else ""
            known = self._journal.made.get(one.path)
            is_ours = known is not None and known.is_ours(before)
            if before not in ("", sha256) and not is_ours and not self._may_replace:
                raise _InTheWayError(
                    Problem(
                        f"Rungwise does not remember having made this file, and {one.what} from "
                        f"{one.source} would replace it",
                        _REMEDY,
                        file=str(self._plan.root / one.path),
                    )
                )
            entry = Entry(
                what=one.what,
                source=one.source,
                identity=self._identity,
                order=self._identity,
                job=one.digest,
                sha256=sha256,
                before=before if is_ours else "",
                more={**facts, "bytes": part.stat().st_size, **one.of},
            )
            self._journal.note(one.path, entry)
            yield
            self._made.append(one.path)

    def _pack_up(self, sizes: Mapping[str, int]) -> tuple[str, ...]:
        """Make the files to send, and return their paths."""
        plan, known = self._plan, self._journal.made
        digests = {one.path: known[one.path].sha256 for one in plan.files}
        stats = stats_of(plan.root)
        paths: list[str] = []
        for share in plan.pack.shares:
            files = [one.path for one in plan.of(share.name)]
            if not share.settings.zip:
                most = share.settings.max_size
                if most is not None and (problems := too_large(files, sizes, most)):
                    raise RungwiseError(problems)
                continue
            for parcel in parcels_of(share.name, files, sizes, digests, share.settings.max_size):
                paths.append(parcel.path)
                place, entry = plan.root / parcel.path, known.get(parcel.path)
                if self._is_stopped:
                    raise StoppedError
                real_place(place)
                made_of = None if entry is None or entry.job != parcel.digest else entry.sha256
                there = stats.get(parcel.path)
                if made_of and place.is_file() and digest_of_file(place, there) == made_of:
                    continue
                as_file = _Parcelled(parcel.path, parcel.digest)
                megabytes = sum(map(sizes.__getitem__, parcel.files)) / 1e6
                with (
                    self._work.timed(PARCEL, megabytes),
                    whole_file(place, placing=partial(self._placed, as_file, {})) as part,
                ):
                    write_parcel(plan.root, parcel, part, lambda: self._is_stopped)
            self._tell(folders=self._progress.folders + 1)
        return tuple(paths)

    def _left_over(
        self, wanted: Collection[str], *, tidy: bool
    ) -> tuple[tuple[str, ...], tuple[str, ...]]:
        """Find what the pack made before and makes no longer; remove it if that is asked for."""
        root = self._plan.root
        unchanged, changed = [], []
        for path, entry in list(self._journal.made.items()):
            place = _inside(root, path)
            if entry.order != self._identity or path in wanted or place is None:
                continue
            if not place.is_file():
                self._journal.note(path, None)
            elif entry.is_ours(_sha256(place)):
                unchanged.append(path)
            else:
                changed.append(path)
        for path in unchanged if tidy else ():
            place = root.joinpath(*PurePosixPath(path).parts)
            try:
                place.unlink()
            except OSError as error:
                raise disk_failure(error, place) from error
            self._journal.note(path, None)
            with suppress(OSError):  # others are in it
                if place.parent != root:
                    place.parent.rmdir()
        return tuple(unchanged), tuple(changed)


def _first_of(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else f"{names[0]} and {len(names) - 1} more"


@dataclass(frozen=True, slots=True)
class _Parcelled:
    """A file to send, as what takes its place."""

    path: str
    digest: str
    what: str = "a file to send"
    source: str = "the pack"
    of: Mapping[str, Any] = field(default_factory=dict)


class _InTheWayError(RungwiseError):
    """A file is there that does not make room; others are made all the same."""


def _link(source: Path, target: Path) -> None:
    """Make a file of the same bytes: a link where the disk has them, else a copy."""
    try:
        os.link(source, target)
    except OSError:
        shutil.copyfile(source, target)


def _page(one: PlannedFile, practices: Mapping[str, PracticePlan]) -> tuple[bytes, Sequence[str]]:
    """Return what is in a file that is no track."""
    job = one.job
    if isinstance(job, PlaylistJob):
        entries = [Listed(track.path, tags_of(track).title, track.duration) for track in job.tracks]
        return playlist_text(entries, job.path.parent, title=job.title).encode(), ()
    if isinstance(job, CueJob):
        track = job.track
        chapters = chapters_of(track.timeline(), track.duration)
        return cue_text(chapters, track.path, tags_of(track)).encode(), ()
    if isinstance(job, OverviewJob):
        return overview_pdf(job.told), ()
    assert isinstance(job, DocumentJob)
    if job.kind is Document.PLAN:
        settings = job.settings
        made = practices[one.digest]
        assert settings.start is not None
        page = PracticePage(made, settings.start, settings.learner, Paper(settings.paper))
        return page.pdf(), made.remarks
    if job.kind is Document.PAGE:
        # Imported when they are needed: they bring Verovio along.
        from renderer.delivery.page.contents import page_contents
        from renderer.delivery.page.one_file import html_of

        contents = page_contents(job.exercises, job.settings, lambda done: None)
        return html_of(contents), contents["remarks"]
    pages, remarks = sheet_pages(job)
    return pages.pdf(), remarks
