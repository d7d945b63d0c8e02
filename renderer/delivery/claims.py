"""Which file makes room for which: claims to names in a folder, by what it remembers.

A file takes a name by a `Claim`: what it is, and whose. A file that is there already makes room for
the same thing made again, as long as its bytes are still those that were written; what is something
else, and what somebody has changed, does not (`check_claims`, `kept_file`). What the folder does
not remember (`renderer.delivery.manifest`) makes room for equal bytes only: a memory that is lost
costs the time to make them again.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from dataclasses import replace as replaced
from pathlib import Path
from typing import Any

from renderer.delivery.files import disk_failure, is_device, real_place, whole_file
from renderer.delivery.manifest import (
    MANIFEST,
    Entry,
    Manifest,
    alone_in,
    read_manifest,
    write_manifest,
)
from renderer.errors import Problem, RungwiseError
from renderer.notation.parts import part_title
from renderer.order.digests import digest_of
from renderer.order.order import Order
from renderer.order.settings import Settings, plain_settings
from renderer.shipped import shipped_folder

_SOURCES_NAMED = 3
_REMEDY = "move it, choose another place, or add --replace"


@dataclass(frozen=True, slots=True)
class Claim:
    """What a file that is about to be written is.

    Parameters
    ----------
    what:
        In words, with its article: `a track of line 2`.
    source:
        What it is made from, as the user named it.
    identity:
        A digest that two files share if one may take the other's place: of the same sources and of
        what tells files from them apart, not of their contents.
    order:
        A digest of the order that it belongs to; empty for what is no part of a series.
    job:
        The digest of the job that decides its bytes; empty where there is none.
    may_replace:
        Whether it takes its place whatever is there.
    more:
        What else its folder remembers of it, as plain data.
    """

    what: str
    source: str
    identity: str
    order: str = ""
    job: str = ""
    may_replace: bool = False
    more: Mapping[str, Any] = field(default_factory=dict)


def _sha256(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _refusal(path: Path, place: Path, claim: Claim, entry: Entry) -> Problem | None:
    """Return why a file that is remembered does not make room, None if it does."""
    would = f"{claim.what} from {claim.source} would replace it"
    if not entry.is_ours(_sha256(place)):
        cause = (
            f"somebody has changed this file since it was made ({entry.what} from "
            f"{entry.source}), and {would}"
        )
    elif entry.identity != claim.identity and not (entry.job and entry.job == claim.job):
        is_alike = (entry.what, entry.source) == (claim.what, Path(claim.source).name)
        another = "another " if is_alike else ""
        cause = f"this is {entry.what} from {another}{entry.source}, and {would}"
    else:
        return None
    return Problem(cause, _REMEDY, file=str(path))


def check_claims(claims: Iterable[tuple[Path, Claim]]) -> None:
    """Raise a `RungwiseError` that names every file that would be replaced and is not to be.

    Read-only files and folders in a file's place are among them.

    Of a file that its folder does not remember, that is only known when the new bytes are
    (`kept_file`).
    """
    manifests: dict[Path, Manifest] = {}
    problems: list[Problem] = []
    for path, claim in claims:
        try:
            place, there = real_place(path)
            if there is None or is_device(path, there) or claim.may_replace:
                continue
            if place.parent not in manifests:
                manifests[place.parent] = read_manifest(place.parent)
            entry = manifests[place.parent].made.get(place.name)
            problem = None if entry is None else _refusal(path, place, claim, entry)
        except RungwiseError as error:
            problems += error.problems
            continue
        except OSError as error:
            raise disk_failure(error, path) from error
        if problem is not None:
            problems.append(problem)
    if problems:
        raise RungwiseError(problems)


def standing(claims: Iterable[tuple[Path, Claim]], *, adopting: bool = False) -> dict[Path, Entry]:
    """Return what is remembered of files that are there as the same jobs made them.

    Others have to be made, or are in the way.

    Parameters
    ----------
    claims:
        Of the files.
    adopting:
        Whether they belong to the orders of the claims from now on; else nothing is written.

    Raises
    ------
    RungwiseError
        If the disk fails.
    """
    found: dict[Path, Entry] = {}
    by_folder: dict[Path, list[tuple[Path, Path, Claim]]] = {}
    for path, claim in claims:
        try:
            place, there = real_place(path)
            if claim.job and there is not None and not is_device(path, there):
                by_folder.setdefault(place.parent, []).append((path, place, claim))
        except OSError as error:
            raise disk_failure(error, path) from error
    for folder, wanted in by_folder.items():
        with alone_in(folder):
            manifest = read_manifest(folder)
            made = dict(manifest.made)
            for path, place, claim in wanted:
                entry = made.get(place.name)
                if entry is None or (entry.job, entry.identity) != (claim.job, claim.identity):
                    continue
                try:
                    is_whole = _sha256(place) == entry.sha256
                except OSError as error:
                    raise disk_failure(error, path) from error
                if is_whole:
                    found[path] = made[place.name] = replaced(entry, order=claim.order)
            if adopting and made != manifest.made:
                write_manifest(folder, replaced(manifest, made=made))
    return found


def _unknown(path: Path, claim: Claim, manifest: Manifest) -> Problem:
    own = path.parent / MANIFEST
    why = f" ({own} is not its own, so it remembers nothing here)" if manifest.is_foreign else ""
    return Problem(
        f"Rungwise does not remember having made this file{why}, and {claim.what} from "
        f"{claim.source} would replace it",
        _REMEDY,
        file=str(path),
    )


@contextmanager
def _remembering(path: Path, part: Path, place: Path, claim: Claim) -> Iterator[None]:
    """Remember what takes a place while it does, or raise a `RungwiseError` if it must not."""
    if place.name.casefold() == MANIFEST:
        raise RungwiseError(
            Problem(
                "under this name a folder remembers what was made in it",
                "choose another",
                file=str(path),
            )
        )
    with alone_in(place.parent):
        manifest = read_manifest(place.parent)
        sha256, before = _sha256(part), _sha256(place) if place.is_file() else ""
        entry = manifest.made.get(place.name)
        if before not in ("", sha256) and not claim.may_replace:
            if entry is None:
                problem: Problem | None = _unknown(path, claim, manifest)
            else:
                problem = _refusal(path, place, claim, entry)
            if problem is not None:
                raise RungwiseError(problem)
        if entry is None or not entry.is_ours(before):
            before = ""
        new = Entry(
            claim.what,
            named_sources([claim.source]),
            claim.identity,
            claim.order,
            claim.job,
            sha256,
            before,
            {**claim.more, "bytes": part.stat().st_size},
        )
        write_manifest(place.parent, replaced(manifest, made={**manifest.made, place.name: new}))
        yield


@contextmanager
def kept_file(path: Path, claim: Claim) -> Iterator[Path]:
    """Give a temporary file that takes a path's place at the end, if what is there makes room.

    As `renderer.delivery.files.whole_file`, whose errors it raises; what takes the place is
    remembered by its folder. Devices and pipes have no memory.

    Raises
    ------
    RungwiseError
        If the file that is there is something else than the claim says, or was changed.
    """
    with whole_file(
        path, placing=lambda part, place: _remembering(path, part, place, claim)
    ) as part:
        yield part


def write_kept(path: Path, content: bytes, claim: Claim) -> None:
    """Write `content` to `path`, whole or not at all; errors as for `kept_file`."""
    with kept_file(path, claim) as part:
        part.write_bytes(content)


def named_sources(sources: Sequence[str]) -> str:
    """Return the names of sources as messages have them, without their folders."""
    names = [Path(source).name or source for source in sources]
    rest = len(names) - _SOURCES_NAMED
    more = f" and {rest} more" if rest > 0 else ""
    return ", ".join(names[:_SOURCES_NAMED]) + more


def place_of(source: str, folder: Path) -> str:
    """Return which file a source is, seen from a folder, so that both can be moved together.

    What ships with the program is the same wherever that is installed; what is no file (standard
    input, an exercise made in Python) has its name only.
    """
    path = Path(source)
    try:
        if not path.is_file():
            return source
        real = path.parent.resolve() / path.name
        shipped = shipped_folder("exercises").resolve()
        if real.is_relative_to(shipped):
            return f"shipped: {path.stem}"
        return Path(os.path.relpath(real, folder.resolve())).as_posix()
    except (OSError, ValueError):  # another drive of Windows
        return str(path.absolute())


def claim(
    what: str,
    sources: Sequence[str],
    folder: Path,
    which: Mapping[str, Any] | None = None,
    *,
    order: str = "",
    job: str = "",
    replace: bool = False,
) -> Claim:
    """Return the claim of a file.

    Parameters
    ----------
    what:
        What it is, in words, with its article.
    sources:
        What it is made from, as the user named them.
    folder:
        Where it goes.
    which:
        What tells it from other files that are made from the same sources, as plain data.
    order, job:
        As in `Claim`.
    replace:
        Whether it takes its place whatever is there.
    """
    identity = digest_of(
        {
            "what": what,
            "sources": [place_of(source, folder) for source in sources],
            "which": dict(which or {}),
        }
    )
    source = sources[0] if len(sources) == 1 else named_sources(sources)
    return Claim(what, source, identity, order, job, replace)


def which_is_read(settings: Settings) -> dict[str, Any]:
    """Return what settings choose of their sources, as plain data: another line is another file."""
    which: dict[str, Any] = {"line": settings.line, "part": settings.part, "tune": settings.tune}
    if settings.lines is not None:
        which["lines"] = list(settings.lines)
    if settings.bars is not None:
        which["bars"] = list(settings.bars)
    return which


def of_line(what: str, settings: Settings) -> str:
    """Return what a file is, in words, where settings choose a line."""
    lines = settings.lines or (() if settings.line is None else (settings.line,))
    part = part_title("", lines, settings.bars).removeprefix(", ")
    return f"{what} of {part}" if part else what


def order_identity(
    verb: str, sources: Sequence[str], folder: Path, settings: Settings, name: str = ""
) -> str:
    """Return the digest by which an order is known again when its sources have changed.

    Parameters
    ----------
    verb:
        Which command it is.
    sources:
        As the user named them.
    folder:
        Where its files go.
    settings:
        What is asked for.
    name:
        The file that is asked for, where it has a name.
    """
    return digest_of(
        {
            "verb": verb,
            "sources": [place_of(source, folder) for source in sources],
            "settings": plain_settings(settings),
            "name": name,
        }
    )


def identity_of(verb: str, order: Order, folder: Path, name: str = "") -> str:
    """Return the same of an order whose sources have names; parameters as above."""
    return order_identity(
        verb, [source.name for source in order.sources], folder, order.settings, name
    )


@dataclass(frozen=True, slots=True)
class LeftOver:
    """Files that an order made before and makes no longer.

    Parameters
    ----------
    unchanged:
        Those that are as they were made.
    changed:
        Those that somebody has changed since.
    """

    unchanged: tuple[Path, ...]
    changed: tuple[Path, ...]


def left_over(folder: Path, order: str, made: Iterable[Path], *, tidy: bool = False) -> LeftOver:
    """Return what an order has left over in a folder.

    Parameters
    ----------
    folder:
        Where its files are.
    order:
        From `order_identity`.
    made:
        What it makes now.
    tidy:
        Whether those that are unchanged are removed.

    Raises
    ------
    RungwiseError
        If one of them cannot be removed.
    """
    names = {path.name for path in made}
    unchanged: list[Path] = []
    changed: list[Path] = []
    with alone_in(folder):
        manifest = read_manifest(folder)
        kept = dict(manifest.made)
        for name, entry in manifest.made.items():
            path = folder / name
            if not path.is_file():
                del kept[name]
            elif entry.order == order and name not in names and _is_plain(name):
                is_ours = entry.is_ours(_sha256(path))
                (unchanged if is_ours else changed).append(path)
        try:
            for path in unchanged if tidy else ():
                path.unlink()
                del kept[path.name]
        except OSError as error:
            raise disk_failure(error, path) from error
        if kept != manifest.made:
            write_manifest(folder, replaced(manifest, made=kept))
    return LeftOver(tuple(unchanged), tuple(changed))


def _is_plain(name: str) -> bool:
    """Whether it is a name in the folder, as all are that are written here; never leave it."""
    return Path(name).name == name and name not in ("", ".", "..")
