"""Whether the disk has room for what is going to be written."""

from __future__ import annotations

import shutil
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from renderer.errors import failure
from renderer.order.sizes import spoken_bytes


@dataclass(frozen=True, slots=True)
class Need:
    """A file to be written, and at least how many bytes it will take."""

    path: Path
    bytes: int


def check_free_space(needs: Iterable[Need]) -> None:
    """Raise a `RungwiseError` if a disk has no room for the files that are to be written there.

    Files that will be replaced give back what they take. The folders must exist.
    """
    folders: dict[int, Path] = {}
    wanted: dict[int, int] = defaultdict(int)
    largest: dict[int, int] = defaultdict(int)
    for need in needs:
        folder = need.path.parent
        disk = folder.stat().st_dev
        folders[disk] = folder
        wanted[disk] += need.bytes
        if need.path.is_file():
            # Until it is replaced, the old file is there beside the new one.
            wanted[disk] -= need.path.stat().st_size
        largest[disk] = max(largest[disk], need.bytes)
    for disk, folder in folders.items():
        required = max(wanted[disk], largest[disk])
        free = shutil.disk_usage(folder).free
        if required > free:
            raise failure(
                f"the tracks need {spoken_bytes(required)} and the disk has "
                f"{spoken_bytes(free)} free",
                "free some space, write to another disk, or choose mp3 or ogg and fewer tracks",
                file=str(folder),
            )
