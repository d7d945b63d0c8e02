"""SoundFonts as files: where the project's own is, and what tells two of them apart."""

from __future__ import annotations

import hashlib
from functools import lru_cache
from pathlib import Path

from renderer.errors import failure
from renderer.shipped import shipped_folder


def shipped_soundfont() -> Path:
    """Return the SoundFont that comes with Rungwise.

    Raises `RungwiseError` where it is missing, which only a damaged installation brings about.
    """
    path = shipped_folder("soundfonts") / "rungwise.sf2"
    if not path.is_file():
        raise failure(
            f"this installation of Rungwise lacks its SoundFont {path}",
            "install Rungwise again, or build the file with python -m renderer.sound.synthesis",
        )
    return path


def digest_of_soundfont(path: Path) -> str:
    """Return the SHA-256 of a file, worked out anew once its size or time of change is another.

    Raises `OSError` if it cannot be read.
    """
    there = path.stat()
    return _digest(path.resolve(), there.st_size, there.st_mtime_ns)


@lru_cache(maxsize=16)
def _digest(path: Path, _size: int, _changed_ns: int) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
