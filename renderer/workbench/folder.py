"""The teacher's folder: files by clean names, saved whole, with their earlier versions.

Nothing outside the folder is read or written. Every change of a file states the version (a digest
of its bytes) that it was made from; where the disk has another by now, the change is refused, and
nothing is overwritten. What a change replaces is kept under `.rungwise/earlier`, to be restored.
"""

from __future__ import annotations

import calendar
import codecs
import hashlib
import os
import re
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from renderer.delivery.files import disk_failure, make_folder, write_whole
from renderer.delivery.manifest import MANIFEST
from renderer.delivery.packing.journal import JOURNAL
from renderer.errors import RungwiseError, failure
from renderer.notation.limits import LARGEST_SCORE_BYTES
from renderer.notation.source_file import FORMS

KEPT = ".rungwise"
EARLIER = "earlier"
RECORDINGS = (
    ".m4a",
    ".mp3",
    ".wav",
    ".3gp",
    ".ogg",
    ".opus",
    ".mp4",
    ".flac",
    ".aac",
    ".amr",
    ".webm",
)
ENDINGS = (*FORMS, ".txt", *RECORDINGS)
"""Endings of what the library shows and takes."""

MADE = "out"
"""The folder in which the packs are made; they are not listed."""
_REMEMBERED = frozenset((MANIFEST, JOURNAL))
"""What lies in every folder that a pack was made in."""

MOST_EARLIER = 60
"""Earlier versions of a file that are kept; of more, the oldest go."""
APART_S = 120
"""While one person writes, at most one earlier version is kept in so many seconds."""

MOST_LISTED = 2_000
_MOST_REMOVED = 50
_LONGEST_PART = 120
_MOST_STEM_BYTES = 90
"""So that a number and the ending still fit behind it."""
_DEEPEST = 6
_NOT_IN_NAMES = re.compile(r'[\x00-\x1f\x7f<>:"/\\|?*\u200e\u200f\u202a-\u202e\u2066-\u2069]')
_RESERVED = re.compile(r"(con|prn|aux|nul|com\d|lpt\d)(\.|$)", re.IGNORECASE)


class ChangedOnDiskError(RungwiseError):
    """A file is not what it was when the change was made; `text` and `version` are what it is."""

    def __init__(self, name: str, text: str | None, version: str) -> None:
        there = "has been changed by another program" if version else "is gone"
        error = failure(f"this file {there} meanwhile", "take that one, or keep yours", file=name)
        super().__init__(error.problems)
        self.name, self.text, self.version = name, text, version


@dataclass(frozen=True, slots=True)
class Opened:
    """A file as it is on disk: its name in the folder, its bytes, and their version."""

    name: str
    data: bytes
    version: str

    @property
    def text(self) -> str:
        """The bytes as text, its lines ended by a line feed; what is not UTF-8 is shown as such."""
        return text_in(self.data)


@dataclass(frozen=True, slots=True)
class Entry:
    """A file of the library: name, size in bytes, time of its last change in seconds since 1970."""

    name: str
    size: int
    changed: float


def is_recording(name: str) -> bool:
    """Whether a file is a recording, by its ending."""
    return name.casefold().endswith(RECORDINGS)


def text_in(data: bytes) -> str:
    """Return bytes as the text that the page shows."""
    return data.decode("utf-8-sig", errors="replace").replace("\r\n", "\n")


def bytes_of(text: str, like: bytes) -> bytes:
    """Return a text as bytes, its lines ended and its mark set as in the bytes that it was."""
    text = text.replace("\r\n", "\n")
    if b"\r\n" in like:
        text = text.replace("\n", "\r\n")
    mark = codecs.BOM_UTF8 if like.startswith(codecs.BOM_UTF8) else b""
    return mark + text.encode("utf-8", errors="replace")


def version_of(data: bytes) -> str:
    """Return the version that these bytes are."""
    return hashlib.sha256(data).hexdigest()[:32]


def clean_name(title: str, ending: str = ".toml") -> str:
    """Return a title as the name of a file, which every system allows."""
    # Imported where it is needed: what names tracks brings much along.
    from renderer.order.names import safe_stem

    return f"{safe_stem(title, most_bytes=_MOST_STEM_BYTES)}{ending}"


def checked_name(name: object) -> PurePosixPath:
    """Return a name inside the folder as a path, or raise a `RungwiseError` that says why not."""

    def refused(cause: str) -> RungwiseError:
        shown = str(name)[:60]
        return failure(cause, "choose a name without / \\ : * ? and the like", file=shown)

    if not isinstance(name, str) or not name:
        raise refused("the name is empty")
    parts = name.split("/")
    if len(parts) > _DEEPEST:
        raise refused("the name leads through too many folders")
    for part in parts:
        try:
            length = len(part.encode())
        except UnicodeEncodeError:
            raise refused("the name has letters that no file can have") from None
        if not part or part.startswith(".") or part != part.strip(" .") or length > _LONGEST_PART:
            raise refused("this is no name of a file here")
        if _NOT_IN_NAMES.search(part) or _RESERVED.match(part):
            raise refused("the name has letters that some systems do not allow")
    path = PurePosixPath(*parts)
    if path.suffix.casefold() not in ENDINGS:
        raise failure(
            f"files that end in {path.suffix!r} are not kept here",
            f"name a file that ends in one of {', '.join(ENDINGS)}",
            file=str(path),
        )
    return path


def _settle(folder: Path) -> None:
    """Have the names in a folder reach the disk: until then, a power cut brings an old file back.

    A disk that has no such order of things is not asked for it.
    """
    with suppress(OSError):
        opened = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(opened)
        finally:
            os.close(opened)


class Folder:
    """A folder of exercises and what belongs to them.

    Parameters
    ----------
    root:
        The folder; it is there.
    """

    def __init__(self, root: Path) -> None:
        self.root = root.resolve()
        self._written: dict[str, str] = {}

    # Reading.

    def place(self, name: object) -> Path:
        """Return where a file of this name is or would be; no link leads out of the folder."""
        path = self.root / checked_name(name)
        real = path.resolve()
        if not real.is_relative_to(self.root) or KEPT in real.relative_to(self.root).parts:
            raise failure("this leads out of the folder", "open a file in it", file=str(name))
        return path

    def entries(self) -> list[Entry]:
        """Return the files of the folder and of those in it, by name; at most `MOST_LISTED`."""
        if not self.root.is_dir():
            raise failure(
                "the folder is gone", "put it back, or end the workbench", file=str(self.root)
            )
        found: list[Entry] = []
        for place, folders, files in os.walk(self.root):
            parts = Path(place).relative_to(self.root).parts
            if parts[:1] == (MADE,) and not _REMEMBERED.isdisjoint(files):
                # What was made for a class, and is made again from what is listed.
                folders.clear()
                continue
            depth = len(parts)
            hidden = [one for one in folders if one.startswith(".") or depth + 1 >= _DEEPEST]
            for one in hidden:
                folders.remove(one)
            folders.sort()
            for file in sorted(files, key=str.casefold):
                name = (Path(place) / file).relative_to(self.root).as_posix()
                try:
                    path = self.place(name)
                    about = path.stat()
                except (RungwiseError, OSError):
                    continue
                if path.is_file():
                    found.append(Entry(name, about.st_size, about.st_mtime))
                if len(found) >= MOST_LISTED:
                    return found
        return found

    def read(self, name: object) -> Opened:
        """Return a file as it is; raise a `RungwiseError` for what is not there or too large."""
        path = self.place(name)
        try:
            if not path.is_file():
                raise failure("there is no such file", "look in the library", file=str(name))
            if path.stat().st_size > LARGEST_SCORE_BYTES:
                raise failure("this file is too large", "open a smaller one", file=str(name))
            data = path.read_bytes()
        except OSError as error:
            raise disk_failure(error, path) from None
        return Opened(str(name), data, version_of(data))

    def version(self, name: object) -> str:
        """Return the version of a file on disk, empty if there is none."""
        try:
            return version_of(self.place(name).read_bytes())
        except OSError:
            return ""

    # Writing.

    @contextmanager
    def _alone(self) -> Iterator[None]:
        """Keep other workbenches on this folder from writing meanwhile."""
        if not self.root.is_dir():
            raise failure(
                "the folder is gone",
                "put it back; what you typed is still here",
                file=str(self.root),
            )
        make_folder(self.root / KEPT)
        try:
            import fcntl
        except ImportError:
            yield  # where there are no such locks
            return
        try:
            lock = (self.root / KEPT / "lock").open("wb")
        except OSError as error:
            raise disk_failure(error, self.root) from None
        with lock:
            fcntl.flock(lock, fcntl.LOCK_EX)
            yield

    def save(self, name: object, data: bytes, made_from: str) -> str:
        """Write a file whole, and return its new version.

        Parameters
        ----------
        name:
            Where.
        data:
            What; equal bytes are written once.
        made_from:
            The version that the change was made from; empty for a new file.

        Raises
        ------
        ChangedOnDiskError
            If the disk has another version; nothing is written then.
        RungwiseError
            For a name that cannot be, and what the disk refuses.
        """
        path = self.place(name)
        with self._alone():
            now = self.version(name)
            if now != made_from:
                there = self.read(name) if now else None
                raise ChangedOnDiskError(str(name), there.text if there else None, now)
            made = version_of(data)
            if made != now:
                if now:
                    # What others have written is always kept, of our own not every keystroke.
                    is_ours = self._written.get(str(name)) == now
                    self._keep(str(name), path.read_bytes(), apart=is_ours)
                write_whole(path, data)
                _settle(path.parent)
            self._written[str(name)] = made
            return made

    def save_text(self, name: object, text: str, made_from: str) -> str:
        """Write a text as `save` does; lines end as they did in the file."""
        path = self.place(name)
        try:
            like = path.read_bytes() if made_from else b""
        except OSError:
            like = b""
        return self.save(name, bytes_of(text, like), made_from)

    def remove(self, name: object, made_from: str) -> None:
        """Take a file out of the library; it stays among its earlier versions."""
        path = self.place(name)
        with self._alone():
            opened = self.read(name)
            if opened.version != made_from:
                raise ChangedOnDiskError(opened.name, opened.text, opened.version)
            self._keep(opened.name, opened.data)
            path.unlink()

    def rename(self, name: object, to: object, made_from: str) -> None:
        """Give a file another name, which no other has; its earlier versions go along."""
        path, target = self.place(name), self.place(to)
        with self._alone():
            opened = self.read(name)
            if opened.version != made_from:
                raise ChangedOnDiskError(opened.name, opened.text, opened.version)
            if target.exists() and not (target.samefile(path)):
                raise failure("there is a file of that name", "choose another", file=str(to))
            if path.suffix.casefold() != target.suffix.casefold():
                raise failure(
                    "the ending says what is in a file",
                    f"end the name in {path.suffix}",
                    file=str(to),
                )
            make_folder(target.parent)
            path.rename(target)
            old, new = self._earlier_folder(str(name)), self._earlier_folder(str(to))
            if old.is_dir() and not new.exists():
                make_folder(new.parent)
                old.rename(new)

    def free_name(self, wanted: str) -> str:
        """Return a name that no file has: the one wanted, or that with a number behind it."""
        path = checked_name(wanted)
        for number in range(1, 1_000):
            stem = path.stem if number == 1 else f"{path.stem} {number}"
            name = path.with_name(f"{stem}{path.suffix}").as_posix()
            if not self.place(name).exists():
                return name
        raise failure("there are too many files of that name", "choose another", file=wanted)

    # Earlier versions.

    def _earlier_folder(self, name: str) -> Path:
        return self.root / KEPT / EARLIER / checked_name(name)

    def keep(self, name: object, data: bytes) -> None:
        """Keep bytes among a file's earlier versions, without touching the file."""
        self.place(name)
        with self._alone():
            self._keep(str(name), data)

    def _keep(self, name: str, data: bytes, *, apart: bool = False) -> None:
        folder = self._earlier_folder(name)
        kept = self._kept(name)
        if any(version == version_of(data) for _, version, _ in kept):
            return
        now = time.time()
        if apart and kept and now - kept[0][0] < APART_S:
            return
        stamp = time.strftime("%Y%m%dT%H%M%SZ", time.gmtime(now))
        suffix = PurePosixPath(name).suffix
        write_whole(folder / f"{stamp}-{version_of(data)}{suffix}", data)
        for _, _, path in kept[MOST_EARLIER - 1 :]:
            path.unlink(missing_ok=True)

    def _kept(self, name: str) -> list[tuple[float, str, Path]]:
        """Return time, version and place of what is kept of a file, the newest first."""
        folder = self._earlier_folder(name)
        found = []
        try:
            paths = list(folder.iterdir())
        except OSError:
            return []
        for path in paths:
            match = re.fullmatch(r"(\d{8}T\d{6}Z)-([0-9a-f]{32})", path.stem)
            if match and path.is_file():
                when = calendar.timegm(time.strptime(match[1], "%Y%m%dT%H%M%SZ"))
                found.append((float(when), match[2], path))
        return sorted(found, reverse=True)

    def earlier(self, name: object) -> list[tuple[float, str]]:
        """Return when each earlier version of a file was kept, and its version; newest first."""
        self.place(name)
        return [(when, version) for when, version, _ in self._kept(str(name))]

    def removed(self) -> list[tuple[str, float, str]]:
        """Return what was taken out and can be put back: name, when it was kept, its last version.

        The last removed first.
        """
        root = self.root / KEPT / EARLIER
        found = []
        for place, folders, files in os.walk(root):
            folders.sort()
            if not files or place == str(root):
                continue
            name = Path(place).relative_to(root).as_posix()
            try:
                kept = self._kept(name)
                if kept and not self.place(name).exists():
                    found.append((name, kept[0][0], kept[0][1]))
            except RungwiseError:
                continue
        return sorted(found, key=lambda one: -one[1])[:_MOST_REMOVED]

    def earlier_data(self, name: object, version: str) -> bytes:
        """Return the bytes of an earlier version."""
        self.place(name)
        for _, known, path in self._kept(str(name)):
            if known == version:
                try:
                    return path.read_bytes()
                except OSError as error:
                    raise disk_failure(error, path) from None
        raise failure("this version is not kept", "choose another", file=str(name))
