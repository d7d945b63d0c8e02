"""Whether a pack stands as it was left: sizes and times of change, which only save hashing.

What decides is always bytes. But where a file has the size and the time of change that it had when
its bytes were last looked at, they are the same, and need not be looked at again. That is kept for
each pack in the user's folder for caches; lost, it costs time.

The very call that has found or made everything finds it again without reading what it is made from
as exercises: its sources have the same bytes, its files stand. Nothing heavy is imported for that.
"""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from pathlib import Path

from renderer import __version__

_FORM = "rungwise-standing"
_VERSION = 1
_MOST_KEPT = 200
"""Packs that are remembered; the ones not asked for the longest go."""

Stat = tuple[int, int, str]
"""A file's size, its time of change in nanoseconds, and the SHA-256 of its bytes."""


def _path(root: Path) -> Path:
    import platformdirs

    name = hashlib.sha256(os.fsencode(root.resolve())).hexdigest()[:32]
    return platformdirs.user_cache_path("rungwise", appauthor=False) / "packs" / f"{name}.json"


def _read(root: Path) -> dict[str, object]:
    try:
        found = json.loads(_path(root).read_bytes())
        is_ours = found[_FORM] == _VERSION and found["program"] == __version__
    except (KeyError, OSError, RecursionError, RuntimeError, TypeError, ValueError):
        return {}
    return dict(found) if is_ours else {}


def stats_of(root: Path) -> dict[str, Stat]:
    """Return what is kept of a pack's files, by their paths from its folder."""
    listed = _read(root).get("files")
    found: dict[str, Stat] = {}
    for name, one in listed.items() if isinstance(listed, dict) else ():
        with suppress(TypeError, ValueError):
            size, changed_ns, sha256 = one
            found[name] = int(size), int(changed_ns), str(sha256)
    return found


def digest_of_file(path: Path, kept: Stat | None) -> str:
    """Return the SHA-256 of a file, from what is kept of it where it has not been touched since."""
    there = path.stat()
    if kept is not None and kept[:2] == (there.st_size, there.st_mtime_ns):
        return kept[2]
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def keep(root: Path, digests: Mapping[str, str], call: Mapping[str, object] | None = None) -> None:
    """Keep how a pack stands now; no error stops it.

    Parameters
    ----------
    root:
        Its folder.
    digests:
        The SHA-256 of its files, by their paths from the folder.
    call:
        From `call_of`; None where it was not made by a command.
    """
    with suppress(OSError, RuntimeError):
        files = {}
        for name, sha256 in digests.items():
            there = (root / name).stat()
            files[name] = there.st_size, there.st_mtime_ns, sha256
        path = _path(root)
        path.parent.mkdir(parents=True, exist_ok=True)
        part = path.with_suffix(f".{os.getpid()}.part")
        text = json.dumps({_FORM: _VERSION, "program": __version__, "files": files, "call": call})
        try:
            part.write_text(text, "utf-8")
            part.replace(path)
        finally:
            part.unlink(missing_ok=True)
        kept = sorted(path.parent.glob("*.json"), key=lambda one: one.stat().st_mtime_ns)
        for one in kept[:-_MOST_KEPT]:
            one.unlink(missing_ok=True)


def _sha256(path: str) -> str | None:
    try:
        with open(path, "rb") as file:  # noqa: PTH123 - pathlib takes time at this place
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError:
        return None


def _names_below(folder: str) -> str:
    """Return a digest of all names in a folder and in those inside it."""
    names = []
    for at, folders, files in os.walk(folder, followlinks=False):
        folders.sort()
        names += [os.path.join(at, one) for one in sorted(files + folders)]  # noqa: PTH118
    return hashlib.sha256("\0".join(names).encode(errors="surrogateescape")).hexdigest()


def call_of(
    words: Sequence[str], inputs: Iterable[Path], folders: Iterable[Path], said: str
) -> dict[str, object]:
    """Return a call of the command as `said_before` recognises it.

    Parameters
    ----------
    words:
        Its words behind the verb.
    inputs, folders:
        What the pack is made from; what is not there must not come to be there either.
    said:
        What is to be said where everything stands.
    """
    return {
        "words": list(words),
        "here": str(Path.cwd()),
        "inputs": {str(one): _sha256(str(one)) for one in inputs},
        "folders": {str(one): _names_below(str(one)) for one in folders},
        "said": said,
    }


def _output_of(words: Sequence[str]) -> str | None:
    for at, word in enumerate(words):
        if word in ("-o", "--output"):
            return words[at + 1] if at + 1 < len(words) else None
        if word.startswith("--output="):
            return word.partition("=")[2]
    return None


def said_before(words: Sequence[str]) -> str | None:
    """Return what the same call has to say where nothing has changed; None where something has."""
    output = _output_of(words)
    if output is None:
        return None
    try:
        found = _read(Path(output))
        call, files = found["call"], found["files"]
        if not isinstance(call, dict) or not isinstance(files, dict):
            return None
        stands = (
            call["words"] == list(words)
            and call["here"] == str(Path.cwd())
            and all(_sha256(path) == sha256 for path, sha256 in call["inputs"].items())
            and all(_names_below(path) == names for path, names in call["folders"].items())
            and all(_stands(f"{output}/{name}", one) for name, one in files.items())
        )
        return str(call["said"]) if stands else None
    except (AttributeError, KeyError, OSError, TypeError, ValueError):
        return None


def _stands(path: str, kept: Sequence[object]) -> bool:
    there = os.lstat(path)
    return [there.st_size, there.st_mtime_ns] == kept[:2]


def seen(inputs: Iterable[Path], folders: Iterable[Path]) -> list[object]:
    """Return how sources look now, to see later whether one was saved since."""
    found: list[object] = [_names_below(str(one)) for one in folders]
    for one in inputs:
        try:
            there = one.stat()
            found.append((str(one), there.st_size, there.st_mtime_ns))
        except OSError:
            found.append((str(one), None, None))
    return found
