"""The cache: what takes long to make of SoundFonts, kept for the next time.

A folder of the user's for caches (`platformdirs`) holds loops (`renderer.sound.kept_loops`) and
what tracks are made of (`renderer.sound.kept_banks`). Each file is named after all that decides it:
the SoundFonts' bytes, words that say what of them is meant, the program's own code for loops, the
versions of NumPy and FluidSynth. It begins with the SHA-256 of what follows, a line of JSON and
arrays one after another; one that is damaged, or cannot be read or written, costs time only. The
oldest go once there are too many.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from importlib import resources
from pathlib import Path
from typing import Any

import numpy as np
import platformdirs
from numpy.typing import NDArray

from renderer.sound.own_soundfont import digest_of_soundfont

MOST_BYTES = 600_000_000
"""Some thirty presets, and as many tone banks."""

_DIGEST_BYTES, _ALIGNED = 32, 16
LOOPS, BANK = _KEPT = (".loops", ".bank")
_DECIDING = ("kept_files.py", "kept_loops.py", "loops.py", "steady.py", "synth.py", "vibrato.py")


@dataclass(frozen=True, slots=True, eq=False)
class Kept:
    """What is kept: arrays of 32-bit floats or complex numbers, and what JSON says of them.

    Arrays that come from the cache cannot be written to.
    """

    told: Mapping[str, Any]
    arrays: Sequence[NDArray[Any]]


def kept_or_made(what: str, ending: str, soundfonts: list[Path], make: Callable[[], Kept]) -> Kept:
    """Return what is kept under a name, or make and keep it.

    Parameters
    ----------
    what:
        Which loops or bank, in words that no others have.
    ending:
        Of the file's name: `LOOPS` or `BANK`.
    soundfonts:
        The files that it comes from.
    make:
        Makes it; what it raises is passed on.
    """
    try:
        path = _folder() / f"{_name_of(what, soundfonts)}{ending}"
    except OSError:
        return make()
    found = _read(path)
    if found is None:
        found = make()
        with contextlib.suppress(OSError):
            _write(path, found)
    return found


def _folder() -> Path:
    return platformdirs.user_cache_path("rungwise", appauthor=False)


def _name_of(what: str, soundfonts: list[Path]) -> str:
    """Return a name that only the same words, SoundFonts and program have.

    Raises `OSError` if a SoundFont cannot be read.
    """
    digest = hashlib.sha256(_program())
    digest.update(what.encode())
    for soundfont in soundfonts:
        digest.update(bytes.fromhex(digest_of_soundfont(soundfont)))
    return digest.hexdigest()


@cache
def _program() -> bytes:
    """Return the SHA-256 of all that makes loops besides SoundFonts."""
    from renderer.sound.synth import fluidsynth_version

    digest = hashlib.sha256(f"{np.__version__} {fluidsynth_version()}".encode())
    for name in _DECIDING:
        digest.update((resources.files(__package__) / name).read_bytes())
    return digest.digest()


def _read(path: Path) -> Kept | None:
    try:
        data = path.read_bytes()
        if hashlib.sha256(memoryview(data)[_DIGEST_BYTES:]).digest() != data[:_DIGEST_BYTES]:
            return None
        os.utime(path)
    except OSError:
        return None
    ends = data.index(b"\n", _DIGEST_BYTES)
    head = json.loads(data[_DIGEST_BYTES:ends])
    arrays, at = [], ends + 1
    for kind, count in head["arrays"]:
        array = np.frombuffer(data, np.dtype(kind), count, at)
        arrays.append(array)
        at += array.nbytes
    return Kept(head["told"], arrays)


def _write(path: Path, kept: Kept) -> None:
    """Write a file of the cache, whole or not at all, and make room for it.

    Raises `OSError` if that is not possible.
    """
    arrays = [(array.dtype.str, len(array)) for array in kept.arrays]
    head = json.dumps({"told": dict(kept.told), "arrays": arrays}).encode()
    # Numbers begin where a processor reads them at once.
    room = -(_DIGEST_BYTES + len(head) + 1) % _ALIGNED
    content = head + b" " * room + b"\n" + b"".join(array.tobytes() for array in kept.arrays)
    path.parent.mkdir(parents=True, exist_ok=True)
    part = path.with_suffix(f".{os.getpid()}.part")
    try:
        part.write_bytes(hashlib.sha256(content).digest() + content)
        part.replace(path)
    finally:
        part.unlink(missing_ok=True)
    _make_room(path)


def _make_room(newest: Path) -> None:
    files = sorted(
        (one for one in newest.parent.glob("*.*") if one.suffix in _KEPT and one != newest),
        key=lambda one: one.stat().st_mtime_ns,
        reverse=True,
    )
    total = newest.stat().st_size
    for one in files:
        total += one.stat().st_size
        if total > MOST_BYTES:
            one.unlink(missing_ok=True)
