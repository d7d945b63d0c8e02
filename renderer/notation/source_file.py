"""Opening the files that a user names: a path in, its bytes out, or one message why not."""

from __future__ import annotations

from pathlib import Path

from renderer.errors import failure


def read_bytes(path: Path, most_bytes: int, *, if_too_large: str) -> bytes:
    """Return what is in a file.

    Parameters
    ----------
    path:
        As the user named it.
    most_bytes:
        How large it may be.
    if_too_large:
        What to do about a larger one.

    Raises
    ------
    RungwiseError
        For folders, devices and pipes, for what is not there or not to be opened, and for files
        that are too large.
    """
    file = str(path)
    if path.is_dir():
        raise failure("this is a folder", "name a file in it", file=file)
    if path.exists() and not path.is_file():
        # Reading from a pipe waits for ever, and from a device it never ends.
        raise failure("this is a device or a pipe", "name a file", file=file)
    try:
        with path.open("rb") as opened:
            data = opened.read(most_bytes + 1)
    except FileNotFoundError:
        raise failure("there is no such file", "check its name and folder", file=file) from None
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise failure(f"the file cannot be read: {reason}", "check it", file=file) from None
    if len(data) > most_bytes:
        size = f"{most_bytes / 1_000_000:g} MB"
        raise failure(f"the file is larger than {size}", if_too_large, file=file)
    return data
