"""Small, full and read-only disks for tests, where the system allows mounting them."""

from __future__ import annotations

import shutil
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from renderer.delivery.manifest import MANIFEST
from tests.limits import HANG_S


@contextmanager
def small_disk(folder: Path, *, kilobytes: int) -> Iterator[Path]:
    """Mount a memory disk of that size; skips the test where mounting is not allowed."""
    folder.mkdir()
    _mount("-t", "tmpfs", "-o", f"size={kilobytes}k", "tmpfs", str(folder))
    try:
        yield folder
    finally:
        subprocess.run(["umount", str(folder)], check=True, timeout=HANG_S)


def make_read_only(folder: Path) -> None:
    """Make a mounted disk read-only."""
    _mount("-o", "remount,ro", str(folder))


def _mount(*arguments: str) -> None:
    if shutil.which("mount") is None:
        pytest.skip("no mount command here")
    result = subprocess.run(
        ["mount", *arguments], capture_output=True, text=True, check=False, timeout=HANG_S
    )
    if result.returncode:
        pytest.skip(f"mounting is not allowed here: {result.stderr.strip()}")


def made_in(folder: Path) -> list[str]:
    """The names of everything in a folder but what it remembers, hidden files included, sorted."""
    return [name for name in names_in(folder) if name != MANIFEST]


def names_in(folder: Path) -> list[str]:
    """The names of everything in a folder, hidden files included, sorted."""
    return sorted(path.name for path in folder.iterdir())
