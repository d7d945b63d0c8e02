"""Files to send: a learner's folder as one ZIP file, or as several that are small enough.

Sound and PDF are packed already, so they are stored as they are. The same files give the same
bytes: no time of day goes in. Names are in UTF-8, and say so (APPNOTE 4.4.4, bit 11), where they
are not plain ASCII.
"""

from __future__ import annotations

import zipfile
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from renderer import __version__
from renderer.delivery.render import StoppedError
from renderer.errors import Problem, RungwiseError
from renderer.order.digests import digest_of
from renderer.order.sizes import spoken_bytes

_FIRST_DAY = (1980, 1, 1, 0, 0, 0)
"""The earliest that a ZIP file can say (APPNOTE 4.4.6)."""
_END_BYTES, _HEADS_BYTES = 22, 30 + 46
"""Of the end of the directory; of a file's own head and its row in the directory, without its name
in both (APPNOTE 4.3)."""
_EXTRA_BYTES = 2 * 28
"""Of what files beyond 4 GB have besides; counted always."""


@dataclass(frozen=True, slots=True)
class Parcel:
    """A file to send.

    Parameters
    ----------
    path:
        Its name in the pack's folder.
    files:
        What is in it, by paths from that folder.
    digest:
        The SHA-256 of all that decides its bytes.
    """

    path: str
    files: tuple[str, ...]
    digest: str


def parcels_of(
    name: str,
    files: Sequence[str],
    sizes: Mapping[str, int],
    digests: Mapping[str, str],
    most_bytes: int | None,
) -> tuple[Parcel, ...]:
    """Return what is sent of a folder, in so few files as its order allows.

    Parameters
    ----------
    name:
        The folder's.
    files:
        What is in it, by paths from the pack's folder, in the order in which they are packed.
    sizes, digests:
        Bytes and SHA-256 of each.
    most_bytes:
        How large each file to send may be; None for one, however large.

    Raises
    ------
    RungwiseError
        If one of them alone is larger.
    """
    own = [sizes[file] + _HEADS_BYTES + _EXTRA_BYTES + 2 * len(file.encode()) for file in files]
    parts = [list(files)]
    if most_bytes is not None:
        room = most_bytes - _END_BYTES
        if problems := [
            _too_large(file, sizes[file])
            for file, size in zip(files, own, strict=True)
            if size > room
        ]:
            raise RungwiseError(problems)
        parts = _alike(files, own, room)
    return tuple(
        Parcel(
            f"{name}.zip" if len(parts) == 1 else f"{name} {number} of {len(parts)}.zip",
            tuple(part),
            digest_of(
                {
                    "program": __version__,
                    "kind": "parcel",
                    "files": [[file, digests[file]] for file in part],
                }
            ),
        )
        for number, part in enumerate(parts, start=1)
        if part
    )


def _filled(files: Sequence[str], own: Sequence[int], room: int) -> list[list[str]]:
    """Fill one part after the other."""
    parts: list[list[str]] = [[]]
    taken = 0
    for file, size in zip(files, own, strict=True):
        if taken + size > room:
            parts.append([])
            taken = 0
        parts[-1].append(file)
        taken += size
    return parts


def _alike(files: Sequence[str], own: Sequence[int], room: int) -> list[list[str]]:
    """Divide files into as few parts as their order allows, the largest as small as can be.

    So nobody is sent a last part with nothing but a list in it.
    """
    fewest = len(_filled(files, own, room))
    too_small, enough = max(own, default=0) - 1, room
    while enough - too_small > 1:
        middle = (too_small + enough) // 2
        if len(_filled(files, own, middle)) > fewest:
            too_small = middle
        else:
            enough = middle
    return _filled(files, own, enough)


def too_large(files: Sequence[str], sizes: Mapping[str, int], most_bytes: int) -> list[Problem]:
    """Return what is wrong with files that are sent one by one: those that are larger."""
    return [_too_large(file, sizes[file]) for file in files if sizes[file] > most_bytes]


def _too_large(file: str, size: int) -> Problem:
    cause = f"it has {spoken_bytes(size)}, more than max-size allows"
    remedy = "ask for a larger one, small files (share), another format or fewer repeats"
    return Problem(cause, remedy, file=file)


def write_parcel(
    root: Path, parcel: Parcel, path: Path, is_stopped: Callable[[], bool] = lambda: False
) -> None:
    """Write a file to send.

    Parameters
    ----------
    root:
        The pack's folder.
    parcel:
        What is in it.
    path:
        Where it is written.
    is_stopped:
        Whether somebody has had enough, which is asked again and again.

    Raises
    ------
    StoppedError
        If it was stopped.
    """
    with zipfile.ZipFile(path, "w", zipfile.ZIP_STORED) as out:
        for file in parcel.files:
            head = zipfile.ZipInfo(file, _FIRST_DAY)
            head.create_system = 3
            head.external_attr = 0o644 << 16
            head.file_size = (root / file).stat().st_size
            with (root / file).open("rb") as source, out.open(head, "w") as target:
                while block := source.read(1 << 20):
                    if is_stopped():
                        raise StoppedError
                    target.write(block)
