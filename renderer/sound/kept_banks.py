"""The cache of tone banks: what tracks are made of, ready at one pitch and rate.

Loops from the cache (`renderer.sound.kept_loops`) still have to get breath and their pitch, which
takes most of a second. What comes of it is a file in the same folder, named after all that decides
it: the SoundFonts' bytes, pitch and rate, all of the program's code for sound and fingering,
the versions of NumPy, soxr and FluidSynth. A file begins with the SHA-256 of what follows, a line
of JSON and arrays one after another; one that is damaged, or cannot be read or
written, costs time only.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from importlib import resources
from pathlib import Path
from typing import Any

import numpy as np
import soxr
from numpy.typing import NDArray

from renderer.sound.kept_loops import keep_file, kept_path, name_of, read_kept

_ENDING = ".bank"


@dataclass(frozen=True, slots=True, eq=False)
class Kept:
    """What is kept: arrays of 32-bit floats or 64-bit complex numbers, and what JSON says of them.

    The arrays cannot be written to.
    """

    told: Mapping[str, Any]
    arrays: Sequence[NDArray[Any]]


def kept_or_computed(what: str, soundfonts: list[Path], make: Callable[[], Kept]) -> Kept:
    """Return what is kept under a name, or make and keep it.

    Parameters
    ----------
    what:
        Which bank, in words that no others have.
    soundfonts:
        The files that it comes from.
    make:
        Makes it; what it raises is passed on.
    """
    try:
        path = kept_path(name_of(f"{what} {_program()}", soundfonts), _ENDING)
    except OSError:
        return make()
    found = _read(path)
    if found is None:
        found = make()
        with contextlib.suppress(OSError):
            _write(path, found)
    return found


@cache
def _program() -> str:
    """Return the SHA-256 of all code and tables for sound, and what numbers are computed with."""
    digest = hashlib.sha256(f"{np.__version__} {soxr.__version__}".encode())
    # The model of the chanter lies in a folder of its own, and the fingering in another room.
    for room in (__package__, f"{__package__}.acoustics", "renderer.technique"):
        for one in sorted(resources.files(room).iterdir(), key=lambda one: one.name):
            if one.name.endswith((".py", ".toml")):
                digest.update(one.read_bytes())
    return digest.hexdigest()


def _read(path: Path) -> Kept | None:
    content = read_kept(path)
    if content is None:
        return None
    line, _, rest = content.partition(b"\n")
    head = json.loads(line)
    arrays, at = [], 0
    for kind, count in head["arrays"]:
        array = np.frombuffer(rest, np.dtype(kind), count, at)
        arrays.append(array)
        at += array.nbytes
    return Kept(head["told"], arrays)


def _write(path: Path, kept: Kept) -> None:
    arrays = [(array.dtype.str, len(array)) for array in kept.arrays]
    head = json.dumps({"told": dict(kept.told), "arrays": arrays}).encode() + b"\n"
    keep_file(path, head + b"".join(array.tobytes() for array in kept.arrays))
