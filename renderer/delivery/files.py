"""Files that are replaced whole or not at all.

`whole_file` turns a path into a temporary file beside it that takes the path's place once it is
complete; whatever goes wrong before, Ctrl-C included, the temporary file goes and what was there
stays. A process that is killed cannot clear up: the next one that writes into the folder does it
(`renderer.delivery.leftovers`). `disk_failure` turns the operating system's error into a message
with a remedy.
"""

from __future__ import annotations

import errno
import os
import shutil
import stat
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager, nullcontext, suppress
from itertools import takewhile
from pathlib import Path

from renderer.delivery.leftovers import PART_SUFFIX, part_name, sweep
from renderer.errors import RungwiseError, failure

_CAUSES: dict[int, tuple[str, str]] = {
    errno.ENOSPC: ("the disk is full", "free some space on it, or write to another disk"),
    errno.EROFS: (
        "the folder is on a read-only disk",
        "choose another folder for the output, or make the disk writable",
    ),
    errno.EACCES: (
        "there is no permission to write here",
        "choose another folder for the output, or change the folder's permissions",
    ),
    errno.EPERM: (
        "there is no permission to write here",
        "choose another folder for the output, or change the folder's permissions",
    ),
    errno.ENOENT: ("the folder does not exist", "make the folder first, or choose another"),
    errno.ENOTDIR: (
        "a part of this path is a file, not a folder",
        "choose a folder for the output",
    ),
    errno.EISDIR: ("this is a folder, not a file", "choose another name, or move the folder"),
    errno.ENAMETOOLONG: (
        "the name is too long for this disk",
        "choose a folder with a shorter path, or a shorter title",
    ),
    errno.EFBIG: (
        "the file would be larger than this disk allows (4 GB on FAT32)",
        "choose flac or mp3 instead of wav, fewer repeats, or another disk",
    ),
    errno.EIO: ("the disk reports an error", "check the disk, or write to another one"),
}
if hasattr(errno, "EDQUOT"):
    _CAUSES[errno.EDQUOT] = ("the disk quota is used up", "free some space, or use another disk")


def disk_failure(error: OSError, path: Path) -> RungwiseError:
    """Return the operating system's error about `path` as a message with cause and remedy."""
    reason = (error.strerror or str(error) or type(error).__name__).lower()
    cause, remedy = _CAUSES.get(
        error.errno or 0, (f"it cannot be written ({reason})", "choose another folder")
    )
    return failure(cause, remedy, file=str(path))


def make_folder(folder: Path) -> None:
    """Make `folder` and the folders above it, or raise a `RungwiseError` that says why not."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except FileExistsError:
        raise failure(
            "this is a file, not a folder", "choose a folder for the output", file=str(folder)
        ) from None
    except OSError as error:
        raise disk_failure(error, folder) from error


def part_beside(path: Path) -> Path:
    """Return the path of a temporary file in the folder of `path`, which does not exist yet."""
    return _part_in(path.parent)


def _part_in(folder: Path) -> Path:
    return folder / part_name()


def check_writable(folder: Path) -> None:
    """Raise a `RungwiseError` if no file can be made in `folder`, by making one for a moment."""
    part = _part_in(folder)
    try:
        part.open("xb").close()
        part.unlink()
    except OSError as error:
        raise disk_failure(error, folder) from error


def is_device(path: Path, there: os.stat_result) -> bool:
    """Whether what is there is written to and never replaced: a device, a pipe, an open file."""
    return not stat.S_ISREG(there.st_mode) or _is_open_file(path)


def real_place(path: Path) -> tuple[Path, os.stat_result | None]:
    """Return where `path` leads, symlinks followed, and what is there; raise if it may not change.

    A file of another kind, as a device or a pipe, is returned as it is named: what a device's name
    leads to need not be a name.
    """
    try:
        there = path.stat()
    except FileNotFoundError:
        # A link to what is not there yet makes it, as every editor does.
        return (path.resolve() if path.is_symlink() else path), None
    if stat.S_ISDIR(there.st_mode):
        raise disk_failure(IsADirectoryError(errno.EISDIR, ""), path)
    if is_device(path, there):
        return path, there
    # Whoever may write anything (root) is not asked for a reason either: read-only is meant.
    if not there.st_mode & 0o222 or not os.access(path, os.W_OK):
        raise failure(
            "this file is read-only, so it is not replaced",
            "choose another name, or make the file writable",
            file=str(path),
        )
    return path.resolve(), there


def _is_open_file(path: Path) -> bool:
    """Whether a path is one of the names of files that a process has open, as /dev/stdout."""
    if not path.is_absolute():
        return False
    return path.parts[:3] in (("/", "dev", "stdout"), ("/", "dev", "stderr"), ("/", "dev", "fd"))


_READER_TRIES, _READER_WAIT_S = 20, 0.1


def _pour(content: Path, device: Path) -> None:
    """Write a file's bytes into a device or pipe, which stays what it is.

    A pipe that nobody reads from is not waited for longer than two seconds: opening it, as is
    usual, would last for ever.
    """
    for tries_left in reversed(range(_READER_TRIES)):
        try:
            handle = os.open(device, os.O_WRONLY | os.O_APPEND | getattr(os, "O_NONBLOCK", 0))
            break
        except OSError as error:
            if error.errno != errno.ENXIO or not stat.S_ISFIFO(device.stat().st_mode):
                raise
            if not tries_left:
                raise failure(
                    "nobody reads from this pipe", "start its reader first", file=str(device)
                ) from None
        time.sleep(_READER_WAIT_S)
    if hasattr(os, "set_blocking"):
        os.set_blocking(handle, True)
    with content.open("rb") as source, open(handle, "ab", buffering=0) as target:  # noqa: PTH123
        shutil.copyfileobj(source, target)


@contextmanager
def _aside(device: Path) -> Iterator[Path]:
    with tempfile.TemporaryDirectory(prefix="rungwise-") as folder:
        part = Path(folder) / f"part{PART_SUFFIX}"
        part.touch()
        yield part
        _pour(part, device)


def _make_folder_of(place: Path) -> tuple[Path, ...]:
    """Make the folder of a file and return those that were not there, the innermost first."""
    missing = tuple(takewhile(lambda folder: not folder.exists(), place.parents))
    make_folder(place.parent)
    return missing


Placing = Callable[[Path, Path], AbstractContextManager[None]]
"""What is entered with the complete file and the place that it is to take, while it takes it."""


def simply(_part: Path, _place: Path) -> AbstractContextManager[None]:
    """Let a file take its place without further ado."""
    return nullcontext()


@contextmanager
def whole_file(path: Path, *, placing: Placing = simply) -> Iterator[Path]:
    """Give an empty temporary file beside `path`, and put it in the path's place at the end.

    Parameters
    ----------
    path:
        The file to make or to replace; its folder is made. A symlink is followed, the
        permissions of a file that is replaced are kept, a device or pipe is written to.
    placing:
        Entered while the complete file takes its place; an exception of it prevents that.

    Yields
    ------
    The temporary file's path, in the same folder (of a device: elsewhere). Write it and close it.

    Raises
    ------
    RungwiseError
        If `path` is a folder or a read-only file, or the operating system refuses (full disk,
        read-only folder, no permission). `OSError`s from the body are reported in the same way. In
        that case, and for every other exception, what was there stays as it was.
    """
    try:
        place, there = real_place(path)
        if there is not None and is_device(place, there):
            with _aside(place) as part:
                yield part
            return
        made = _make_folder_of(place)
        sweep(place.parent)
        part = _part_in(place.parent)
        try:
            part.open("xb").close()
            yield part
            # Some disks only tell at this point that they are full; and a rename may reach the
            # disk before the bytes do, which a power cut turns into an empty file.
            with part.open("rb+") as file:
                os.fsync(file.fileno())
            if there is not None:
                part.chmod(stat.S_IMODE(there.st_mode))
            with placing(part, place):
                part.replace(place)
        except BaseException:
            for folder in made:
                # Unless another program has put something there.
                with suppress(OSError):
                    part.unlink(missing_ok=True)
                    folder.rmdir()
            raise
        finally:
            part.unlink(missing_ok=True)
    except OSError as error:
        raise disk_failure(error, path) from error


def write_whole(path: Path, content: bytes) -> None:
    """Write `content` to `path`, whole or not at all; errors as for `whole_file`."""
    with whole_file(path) as part:
        part.write_bytes(content)
