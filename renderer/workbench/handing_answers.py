"""What the page asks of packs: a class as fields, what it would be, made, brought, shown.

A pack is made into `out/` inside the folder, as `rungwise pack` makes it: what is there already
stays, and each file that is made anew says why.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import asdict, replace
from functools import cache, partial
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING, Any

from renderer.errors import Problem, RungwiseError, failure
from renderer.notation.source_file import Source
from renderer.workbench.asked import (
    MOST_TEXT,
    Answering,
    Bringing,
    Brought,
    tables_of,
    text_of,
    texts_of,
)
from renderer.workbench.folder import MADE, bytes_of, clean_name
from renderer.workbench.said import plain_problem, said_text
from renderer.workbench.shown_music import plain_problems

if TYPE_CHECKING:
    from renderer.delivery.packing.making import Due
    from renderer.delivery.render import Handle
    from renderer.order.packs import Pack, PackPlan
    from renderer.workbench.application import Bench
    from renderer.workbench.running_jobs import Report

OnStep = Callable[[str, int, int], None]
"""Hears what is being done, how often it is done by now, and how often it is to be."""

_MOST_CHANGES = 60
_MOST_EXERCISES = 200
_MOST_REASONS = 2_000
_KINDS = {
    ".pdf": "application/pdf",
    ".html": "text/html; charset=utf-8",
    ".zip": "application/zip",
    ".mp3": "audio/mpeg",
    ".m4a": "audio/mp4",
    ".ogg": "audio/ogg",
    ".opus": "audio/ogg",
    ".flac": "audio/flac",
    ".wav": "audio/wav",
}
_OPENED = (".html", ".pdf")
"""Endings of files that are opened by the system's own program."""

_NEW = """title = {title}
exercises = {exercises}
zip = true                        # a file to send of each folder

[[learners]]
name = {learner}
pitch = "A"
"""


class _Handing:
    """The answers; each takes what was asked and gives what JSON holds, or a file."""

    def __init__(self, bench: Bench) -> None:
        self.bench, self.folder = bench, bench.folder
        self._foretelling = threading.Lock()
        self._making: dict[str, str] = {}
        """The job that was begun last, by the pack's name."""

    def pack(self, asked: Mapping[str, Any]) -> dict[str, Any]:
        """A pack's text and changes: the text changed, what it holds, what is wrong with it."""
        from renderer.workbench.editing import edit, fields_of

        name, text = self._text(asked)
        for change in tables_of(asked, "changes", _MOST_CHANGES):
            text = edit(text, change)
        problems: Sequence[Problem] = ()
        try:
            self._checked(name, text)
        except RungwiseError as error:
            problems = error.problems
        return {
            "text": text,
            "fields": fields_of(text),
            "problems": self._plain(problems, name, text),
            "place": self._root(name).relative_to(self.folder.root).as_posix(),
        }

    def words(self, _asked: Mapping[str, Any]) -> dict[str, Any]:
        """What can be written in a pack: keys, and the words of those settings that have some."""
        return _words()

    def new(self, asked: Mapping[str, Any]) -> dict[str, Any]:
        """A new class, with one learner and the exercises that are named."""
        import tomlkit

        title = text_of(asked, "title", 200).strip() or "Class"
        learner = text_of(asked, "learner", 80).strip() or "Learner 1"
        exercises = texts_of(asked, "exercises", _MOST_EXERCISES) or ["first-gracenotes"]
        name = self.folder.free_name(clean_name(title))
        text = _NEW.format(
            title=tomlkit.item(title).as_string(),
            learner=tomlkit.item(learner).as_string(),
            exercises=f"[{', '.join(tomlkit.item(one).as_string() for one in exercises)}]",
        )
        return {"name": name, "version": self.folder.save(name, text.encode(), "")}

    def foretell(self, asked: Mapping[str, Any]) -> dict[str, Any]:
        """What a pack would be: of each folder what is in it, and what there is to be made."""
        from renderer.delivery.packing.foretelling import foretold
        from renderer.delivery.packing.making import due_of

        name, text = self._text(asked)
        # One after the other: who types asks again before the last answer is there.
        with self._foretelling:
            try:
                plan = self._planned(name, text)
                due = due_of(plan)
                would = foretold(plan, due)
            except RungwiseError as error:
                return {"problems": self._plain(error.problems, name, text)}
        return {
            "problems": [],
            "folders": _folders(plan, would.sizes),
            "why": _why(due),
            "due": would.due,
            "files": would.files,
            "tracks": would.tracks,
            "seconds": would.seconds,
            "bytes": would.bytes,
            "parcels": would.parcels,
            "parcel_bytes": would.parcel_bytes,
            "too_large": list(would.too_large),
            "work_s": would.work.seconds,
        }

    def make(self, asked: Mapping[str, Any]) -> dict[str, Any]:
        """Begin to make a pack as its file says; where that is being done, tell the job."""
        name, tidy = text_of(asked, "name"), asked.get("tidy") is True
        if job := self._job_of(name):
            return {"job": job}
        text = self.folder.read(name).text

        def work(handle: Handle, report: Report) -> dict[str, Any]:
            try:
                return self._made(name, text, handle, report, tidy=tidy)
            except RungwiseError as error:
                raise RungwiseError(map(self._here, error.problems)) from error

        self._making[name] = self.bench.jobs.begin(work)
        return {"job": self._making[name]}

    def _job_of(self, name: str) -> str:
        """Return the job that makes a pack now, empty if none does."""
        job = self._making.get(name, "")
        is_running = job != "" and self.bench.jobs.is_running(job)
        return job if is_running else ""

    def _made(
        self, name: str, text: str, handle: Handle, report: Report, *, tidy: bool
    ) -> dict[str, Any]:
        from renderer.delivery.packing.making import make
        from renderer.delivery.render import StoppedError

        def on_next(step: str, done: int, of: int) -> None:
            if handle.is_cancelled:
                raise StoppedError
            report(**{step: done, f"all_{step}": of})

        try:
            plan = self._planned(name, text, on_next)
        except StoppedError:
            raise failure("it was cancelled", "start it again", file=name) from None
        reasons: list[Due] = []
        made = make(
            plan,
            on_progress=lambda progress: report(**asdict(progress)),
            on_due=reasons.extend,
            handle=handle,
            tidy=tidy,
        )
        sent = set(made.parcels) & set(made.made)
        return {
            "folders": _folders(plan, made.sizes),
            "why": _why(reasons),
            "made": len(made.made) - len(made.linked) - len(sent),
            "sent": len(sent),
            "linked": len(made.linked),
            "kept": len(made.kept),
            "left_over": list(made.left_over),
            "is_tidied": tidy,
            "changed": list(made.changed),
            "remarks": [said_text(one) for one in made.remarks],
        }

    def there(self, asked: Mapping[str, Any]) -> dict[str, Any]:
        """What has been made of a pack so far, the job that goes on with it, empty for none, and
        whether the system shows files by itself."""
        from renderer.delivery.file_manager import opener

        name = text_of(asked, "name")
        root = self._root(name)
        files = [
            {"path": path, "what": what, "bytes": place.stat().st_size}
            for path, (what, place) in self._files_there(root).items()
        ]
        return {
            "place": str(root) if root.is_dir() else "",
            "files": files,
            "job": self._job_of(name),
            "is_opened": opener() is not None,
        }

    def bring(self, asked: Mapping[str, Any]) -> Brought:
        """A file that was made, as it is."""
        _, place = self._file(asked)
        return Brought(place, _KINDS.get(place.suffix, "application/octet-stream"))

    def open(self, asked: Mapping[str, Any]) -> dict[str, Any]:
        """Open the pack's folder, or a page in it, as the system does."""
        from renderer.delivery.file_manager import open_by_system

        if text_of(asked, "path"):
            path, place = self._file(asked)
            if place.suffix not in _OPENED:
                raise failure("only pages are opened here", "save it instead", file=path)
        else:
            place = self._root(text_of(asked, "name"))
            if not place.is_dir():
                raise failure("nothing has been made yet", "make it first", file=str(place.name))
        open_by_system(place)
        return {}

    def _text(self, asked: Mapping[str, Any]) -> tuple[str, str]:
        name = text_of(asked, "name")
        self.folder.place(name)
        if "text" in asked:
            return name, text_of(asked, "text", MOST_TEXT)
        return name, self.folder.read(name).text

    def _root(self, name: str) -> Path:
        """Return the folder of a pack, which is in the teacher's; no link leads out of it."""
        stem = PurePosixPath(name).with_suffix("")
        self.folder.place(name)
        root = self.folder.root / MADE / stem
        if not root.resolve().is_relative_to(self.folder.root):
            raise failure(
                "the place of what is made leads out of the folder",
                f"remove the link called {MADE!r}, or in it",
                file=name,
            )
        return root

    def _checked(self, name: str, text: str) -> None:
        """Raise a `RungwiseError` for what is wrong in a pack's file, and for files elsewhere."""
        from renderer.order.pack_file import read_pack_file

        self._refuse_outside(name, text)
        read_pack_file(self._source(name, text))

    def _refuse_outside(self, name: str, text: str) -> None:
        from renderer.notation.definition.toml import read_toml
        from renderer.workbench.named_files import refuse_files_outside

        table = read_toml(text, name, numbers=(), switches=())
        refuse_files_outside(table, self.folder.root, name)

    def _source(self, name: str, text: str) -> Source:
        return Source(str(self.folder.root / PurePosixPath(name)), bytes_of(text, b""))

    def _planned(self, name: str, text: str, on_next: OnStep = lambda *_: None) -> PackPlan:
        """Return the pack's plan; `on_next` hears how far that is, and may raise to stop."""
        from renderer.delivery.packing.making import first_day
        from renderer.order.packs import read_pack

        self._refuse_outside(name, text)
        root = self._root(name)
        pack: Pack = read_pack(self._source(name, text), on_next=partial(on_next, "read"))
        return pack.plan(root, today=first_day(root), on_next=partial(on_next, "listed"))

    def _files_there(self, root: Path) -> dict[str, tuple[str, Path]]:
        """Return what the folder remembers and has: what it is, and where, by path from it."""
        from renderer.delivery.manifest import read_manifest

        found = {}
        real = root.resolve()
        for path, entry in read_manifest(root).made.items():
            place = root / PurePosixPath(path)
            try:
                is_there = place.is_file() and place.resolve().is_relative_to(real)
            except (OSError, ValueError):
                continue
            if is_there:
                found[path] = entry.what, place
        return found

    def _file(self, asked: Mapping[str, Any]) -> tuple[str, Path]:
        path = text_of(asked, "path")
        known = self._files_there(self._root(text_of(asked, "name"))).get(path)
        if known is None:
            raise failure("no such file has been made", "make the pack again", file=path[:200])
        return path, known[1]

    def _here(self, problem: Problem) -> Problem:
        """A problem with the names of files as the page knows them."""
        own = f"{self.folder.root}/"
        return replace(
            problem,
            cause=problem.cause.replace(own, ""),
            remedy=problem.remedy.replace(own, ""),
            file=problem.file.replace(own, ""),
        )

    def _plain(self, problems: Iterable[Problem], name: str, text: str) -> list[dict[str, Any]]:
        """Problems as JSON holds them; those of other files say which, and have no place here."""
        plain: list[dict[str, Any]] = []
        for one in map(self._here, problems):
            if one.file in ("", name):
                plain += plain_problems([one], text)
            else:
                elsewhere = plain_problem(one, names_file=True)
                plain.append(elsewhere | {"file": one.file, "place": ""})
        return plain


def _why(due: Sequence[Due]) -> list[dict[str, Any]]:
    """Return of each file why it is made, in English and German."""
    return [
        {"path": one.file.path, "why": {"en": one.reason.english, "de": one.reason.german}}
        for one in due[:_MOST_REASONS]
    ]


def _folders(plan: PackPlan, sizes: Mapping[str, int]) -> list[dict[str, Any]]:
    """Return of each folder what is in it, how long it plays in seconds, how large it is."""
    found = []
    for share in plan.pack.shares:
        files = plan.of(share.name)
        kinds = [one.what for one in files]
        found.append(
            {
                "name": share.name,
                "members": list(share.receiver.members),
                "pitch": list(share.pitches),
                "tracks": kinds.count("a track"),
                "sheets": kinds.count("a sheet"),
                "plans": kinds.count("a plan"),
                "pages": kinds.count("a practice page"),
                "seconds": float(sum(one.duration for one in files)),
                "bytes": sum(sizes[one.path] for one in files),
            }
        )
    return found


@cache
def _words() -> dict[str, Any]:
    from renderer.order.pack_file import VERB
    from renderer.order.settings import known_to

    rows = known_to(VERB)
    keys = [row.key for row in rows]
    return {
        "keys": {
            "": sorted(["title", "exercises", "learners", "groups", *keys]),
            "exercises": sorted(["file", "for", *keys]),
            "learners": sorted(["name", *keys]),
            "groups": sorted(["name", "learners", *keys]),
        },
        "notes": [],
        "movements": [],
        "choices": {row.key: list(row.kind.choices) for row in rows if row.kind.choices},
        "usual": {
            row.key: row.kind.plain(row.default) for row in rows if row.default not in (None, "")
        },
    }


def answers(bench: Bench) -> dict[str, Answering]:
    """Return the answers about packs by their names."""
    handing = _Handing(bench)
    return {
        "pack": handing.pack,
        "pack-words": handing.words,
        "pack-new": handing.new,
        "pack-foretell": handing.foretell,
        "pack-make": handing.make,
        "pack-there": handing.there,
        "pack-open": handing.open,
    }


def files(bench: Bench) -> dict[str, Bringing]:
    """Return the answers about packs that are files, by their names."""
    return {"pack-file": _Handing(bench).bring}
