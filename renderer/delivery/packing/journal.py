"""What a pack's folder remembers while a pack is made: a line for each file, before it is there.

`manifest.json` would have to be written whole for each file. While a pack is made there is a
journal beside it, JSON a line, the last word counting, which becomes part of the manifest at the
end. Who is killed leaves it behind, and who comes next goes on from there; a line that was cut off
counts as none. The journal is locked: two runs at a time cannot have one folder.
"""

from __future__ import annotations

import json
import os
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from threading import Lock
from types import TracebackType
from typing import BinaryIO

from renderer.delivery.files import disk_failure, make_folder
from renderer.delivery.manifest import (
    Entry,
    Manifest,
    alone_in,
    entry_from_plain,
    read_manifest,
    write_manifest,
)
from renderer.errors import RungwiseError, failure

JOURNAL = "manifest.journal"
"""The file's name."""

_TRIES = 10


def _lock(file: BinaryIO) -> bool:
    """Take a file for this process alone; whether it could be had."""
    try:
        import fcntl
    except ImportError:
        import msvcrt

        try:
            msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined]
        except OSError:
            return False
        return True
    try:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    except OSError:
        # Some disks of the network know no locks.
        return True
    return True


class Journal:
    """The memory of a folder that a pack is made in, for one run at a time.

    Entered, it takes the folder for itself; left, what was noted is in the manifest.

    Parameters
    ----------
    folder:
        The pack's; it is made.

    Raises
    ------
    RungwiseError
        If another run has the folder, or nothing can be written there.
    """

    def __init__(self, folder: Path) -> None:
        self._folder, self._path = folder, folder / JOURNAL
        self._writing = Lock()
        self._file: BinaryIO
        self._manifest = Manifest()
        self._made: dict[str, Entry] = {}
        self._is_new_folder = False

    def __enter__(self) -> Journal:
        self._is_new_folder = not self._folder.exists()
        make_folder(self._folder)
        try:
            self._file = self._opened()
        except OSError as error:
            raise disk_failure(error, self._folder) from error
        self._manifest = read_manifest(self._folder)
        self._made = dict(self._manifest.made)
        self._replay()
        return self

    def _opened(self) -> BinaryIO:
        for _ in range(_TRIES):
            file = self._path.open("a+b", buffering=0)
            if not _lock(file):
                file.close()
                raise failure(
                    "another run is at work in this folder",
                    "wait until it has ended, or name another folder",
                    file=str(self._folder),
                )
            # Whoever had it may have removed it between our opening and locking it.
            with suppress(FileNotFoundError):
                if os.path.samestat(os.fstat(file.fileno()), self._path.stat()):
                    return file
            file.close()
        raise failure(
            "this folder is taken again and again", "try again later", file=str(self._folder)
        )

    def _replay(self) -> None:
        """Take over what a run has noted that did not come to its end."""
        self._file.seek(0)
        lines = self._file.read().split(b"\n")
        for line in lines:
            try:
                name, plain = json.loads(line)
            except (RecursionError, TypeError, ValueError):
                continue
            if not isinstance(name, str):
                continue
            entry = entry_from_plain(plain)
            if entry is not None:
                self._made[name] = entry
            elif plain is None:
                self._made.pop(name, None)
        if lines[-1]:
            # What was cut off must not swallow the next line.
            self._file.write(b"\n")

    @property
    def made(self) -> Mapping[str, Entry]:
        """What is known of files, by their paths from the folder."""
        return self._made

    @property
    def more(self) -> Mapping[str, object]:
        """What else the manifest holds."""
        return self._manifest.more

    def note(self, name: str, entry: Entry | None) -> None:
        """Remember a file that is about to take its place, or, without an entry, forget it.

        Raises `OSError` if that cannot be written.
        """
        plain = None if entry is None else entry.plain()
        line = json.dumps([name, plain], ensure_ascii=False).encode() + b"\n"
        with self._writing:
            done = self._file.write(line)
            if done is not None and done < len(line):
                self._file.write(line[done:])
            if entry is None:
                self._made.pop(name, None)
            else:
                self._made[name] = entry

    def remember(self, **more: object) -> None:
        """Let the manifest hold something else besides files."""
        self._manifest = replace(self._manifest, more={**self._manifest.more, **more})

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        try:
            if self._made or self._manifest.made or self._manifest.more:
                self._settle()
            self._path.unlink()
            if self._is_new_folder and not self._made:
                self._folder.rmdir()
        except OSError:
            # What is noted stays in the journal, and the next run finds it there.
            pass
        except RungwiseError:
            # Of what went wrong, that which came first is said.
            if error is None:
                raise
        finally:
            self._file.close()

    def _settle(self) -> None:
        """Bring what is noted into the manifest; other commands may have written there too."""
        with alone_in(self._folder):
            now = read_manifest(self._folder)
            theirs = {
                name: entry
                for name, entry in now.made.items()
                if self._manifest.made.get(name) != entry
            }
            settled = replace(now, made={**self._made, **theirs}, more=self._manifest.more)
            if settled != now:
                write_manifest(self._folder, settled)
