"""Files that are replaced whole or not at all.

`whole_file` turns a path into a temporary file beside it that takes the path's place once it is
complete; whatever goes wrong before, Ctrl-C included, the temporary file goes and what was there
stays. `disk_failure` turns the operating system's error into a message with a remedy.
"""

from __future__ import annotations

import errno
import os
import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from renderer.errors import RungwiseError, failure

PART_PREFIX, PART_SUFFIX = ".rungwise-", ".part"
"""Temporary files are named so, with 64 random bits between, which no other file has."""

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
            "this is a file, not a folder", "choose a folder for the output (-o)", file=str(folder)
        ) from None
    except OSError as error:
        raise disk_failure(error, folder) from error


def part_beside(path: Path) -> Path:
    """Return the path of a temporary file in the folder of `path`, which does not exist yet."""
    return _part_in(path.parent)


def _part_in(folder: Path) -> Path:
    return folder / f"{PART_PREFIX}{secrets.token_hex(8)}{PART_SUFFIX}"


def check_writable(folder: Path) -> None:
    """Raise a `RungwiseError` if no file can be made in `folder`, by making one for a moment."""
    part = _part_in(folder)
    try:
        part.open("xb").close()
        part.unlink()
    except OSError as error:
        raise disk_failure(error, folder) from error


def _refuse_to_replace(path: Path) -> None:
    if path.is_dir():
        raise disk_failure(IsADirectoryError(errno.EISDIR, ""), path)
    if path.exists() and not path.is_file():
        raise failure("this is a device, not a file", "choose another name", file=str(path))


@contextmanager
def whole_file(path: Path) -> Iterator[Path]:
    """Give an empty temporary file beside `path`, and put it in the path's place at the end.

    Parameters
    ----------
    path:
        The file to make or to replace. Its folder must exist.

    Yields
    ------
    The temporary file's path, in the same folder. Write it and close it.

    Raises
    ------
    RungwiseError
        If `path` is a folder or a device, or the operating system refuses (full disk, read-only
        folder, no permission). `OSError`s from the body are reported in the same way. In that
        case, and for every other exception, what was there stays as it was.
    """
    try:
        _refuse_to_replace(path)
        part = _part_in(path.parent)
        try:
            part.open("xb").close()
            yield part
            # Some disks only tell at this point that they are full; and a rename may reach the
            # disk before the bytes do, which a power cut turns into an empty file.
            with part.open("rb+") as file:
                os.fsync(file.fileno())
            part.replace(path)
        finally:
            part.unlink(missing_ok=True)
    except OSError as error:
        raise disk_failure(error, path) from error


def write_whole(path: Path, content: bytes) -> None:
    """Write `content` to `path`, whole or not at all; errors as for `whole_file`."""
    with whole_file(path) as part:
        part.write_bytes(content)
