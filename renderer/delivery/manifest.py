"""What a folder remembers of the files made in it, as `manifest.json`: read and written here alone.

The manifest is JSON: a version, and for each name (in packs a path from the folder) the SHA-256 of
its bytes, the digests of the job and of the order it was made for, and what it is. It is written
whole, before each file takes its place, with the bytes that were there and those to come, so that a
process may be killed at any moment. Reading is tolerant: what is lost, cut off or of another
version counts as not known, an entry that makes no sense counts as none, and keys that are not
known here are kept.
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from renderer.delivery.files import write_whole

MANIFEST = "manifest.json"
"""The file's name, which no output can have."""

_VERSION = 1
_FORM = "rungwise-manifest"
_HEAD = f'{{"{_FORM}":'.encode()
"""What every manifest begins with, by which one that was cut off is told from other files."""

_LARGEST_BYTES = 200_000_000


@dataclass(frozen=True, slots=True)
class Entry:
    """What is known of a file.

    Parameters
    ----------
    what, source, identity, order, job:
        As in `renderer.delivery.claims.Claim`; sources without their folders.
    sha256, before:
        The digests of its bytes and of those whose place they took, where these were ours too;
        until a file has taken its place those before are still there.
    more:
        What else stands in the manifest.
    """

    what: str
    source: str
    identity: str
    order: str
    job: str
    sha256: str
    before: str
    more: Mapping[str, Any] = field(default_factory=dict)

    def is_ours(self, sha256: str) -> bool:
        """Whether bytes of that digest are those that were written under this name."""
        return sha256 in (self.sha256, self.before)

    def plain(self) -> dict[str, Any]:
        """Return it as JSON has it."""
        return {**{key: getattr(self, key) for key in _TEXTS}, **self.more}


_TEXTS = ("what", "source", "identity", "order", "job", "sha256", "before")


@dataclass(frozen=True, slots=True)
class Manifest:
    """What a folder remembers.

    Parameters
    ----------
    made:
        By the files' names.
    is_foreign:
        Whether what is there under its name is not of this program, so that it stays as it is.
    more:
        What else stands in it.
    """

    made: Mapping[str, Entry] = field(default_factory=dict)
    is_foreign: bool = False
    more: Mapping[str, Any] = field(default_factory=dict)

    def text(self) -> str:
        """Return it as it is written: a line for each file."""
        rows = ",\n".join(
            f" {_json(name)}: {_json(entry.plain())}" for name, entry in sorted(self.made.items())
        )
        more = "".join(f"{_json(key)}: {_json(value)},\n" for key, value in self.more.items())
        made = f"{{\n{rows}\n}}" if rows else "{}"
        return f'{_HEAD.decode()} {_VERSION},\n{more}"made": {made}}}\n'


def _json(value: object) -> str:
    return json.dumps(value, ensure_ascii=False)


def entry_from_plain(plain: object) -> Entry | None:
    """Return the entry that `Entry.plain` has written; None for anything else."""
    if not isinstance(plain, dict):
        return None
    texts = {key: text for key in _TEXTS if isinstance(text := plain.get(key), str)}
    if len(texts) < len(_TEXTS):
        return None
    more = {key: value for key, value in plain.items() if key not in _TEXTS}
    return Entry(**texts, more=more)


def read_manifest(folder: Path) -> Manifest:
    """Return what a folder remembers; nothing where that is lost, cut off or of another version."""
    path = folder / MANIFEST
    try:
        # Not a pipe, which would be waited for.
        if not path.is_file():
            return Manifest(is_foreign=path.exists())
        with path.open("rb") as file:
            data = file.read(_LARGEST_BYTES + 1)
    except OSError:
        return Manifest()
    is_ours = data.startswith(_HEAD) or _HEAD.startswith(data)
    return _manifest_in(data) if is_ours else Manifest(is_foreign=True)


def _manifest_in(data: bytes) -> Manifest:
    if len(data) > _LARGEST_BYTES:
        return Manifest()
    try:
        plain = json.loads(data)
        if plain.pop(_FORM) != _VERSION:
            return Manifest()
        listed = plain.pop("made")
        entries = {name: entry_from_plain(one) for name, one in listed.items()}
    except (AttributeError, KeyError, RecursionError, TypeError, ValueError):
        return Manifest()
    made = {name: entry for name, entry in entries.items() if entry is not None}
    return Manifest(made, more=plain)


def write_manifest(folder: Path, manifest: Manifest) -> None:
    """Write what a folder is to remember; a file of that name that is not ours stays.

    Raises a `RungwiseError` if it cannot be written.
    """
    if not manifest.is_foreign:
        write_whole(folder / MANIFEST, manifest.text().encode())


@contextmanager
def alone_in(folder: Path) -> Iterator[None]:
    """Wait until no other process changes what the folder remembers.

    The folder itself is locked, so that nothing is left of it. Where that is not possible
    (Windows, some disks of the network), two at once may each forget what the other made.
    """
    try:
        import fcntl
    except ImportError:
        yield
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        with suppress(OSError):
            fcntl.flock(handle, fcntl.LOCK_EX)
        yield
    finally:
        os.close(handle)
