"""The cache of loops: what was once made of a preset, kept for the next time.

Playing a preset, measuring it and cutting its loops takes seconds; reading them back takes a
hundredth of one. Each set is a file in the user's folder for caches (`platformdirs`), named after
everything that decides it: the SoundFont's bytes, the presets, the program's own code for it, and
the versions of NumPy and FluidSynth. A file begins with the SHA-256 of what follows; one that is
damaged, or cannot be read or written, costs time only. The oldest go once there are too many.

What follows is a line of JSON and the loops' series, 64-bit complex numbers one after another.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache, lru_cache
from importlib import resources
from pathlib import Path

import numpy as np
import platformdirs

from renderer.sound.steady import LoopSpectrum

MOST_BYTES = 600_000_000
"""Some thirty presets, and as many tone banks."""

_ENDING = ".loops"
_KEPT = (_ENDING, ".bank")
_DECIDING = ("loops.py", "steady.py", "synth.py", "vibrato.py")


@dataclass(frozen=True, slots=True, eq=False)
class PlayedLoops:
    """Notes as FluidSynth plays them on their keys, cut to loops at `SYNTH_RATE`."""

    spectra: tuple[LoopSpectrum, ...]
    remarks: tuple[str, ...]


def kept_or_made(what: str, soundfonts: list[Path], make: Callable[[], PlayedLoops]) -> PlayedLoops:
    """Return the loops that are kept under a name, or make and keep them.

    Parameters
    ----------
    what:
        Which loops of which presets, in words that no others have.
    soundfonts:
        The files that they come from.
    make:
        Makes them; what it raises is passed on.
    """
    try:
        path = kept_path(name_of(what, soundfonts), _ENDING)
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


def kept_path(name: str, ending: str) -> Path:
    """Return where something is kept, by its name from `name_of`."""
    return _folder() / f"{name}{ending}"


def name_of(what: str, soundfonts: list[Path]) -> str:
    """Return a name that only the same words, SoundFonts and program have.

    Raises `OSError` if a SoundFont cannot be read.
    """
    digest = hashlib.sha256(_program())
    digest.update(what.encode())
    for soundfont in soundfonts:
        status = soundfont.stat()
        digest.update(_digest(soundfont.resolve(), status.st_size, status.st_mtime_ns))
    return digest.hexdigest()


@lru_cache(maxsize=8)
def _digest(soundfont: Path, size: int, changed_ns: int) -> bytes:
    """Return the SHA-256 of a file, worked out anew once its size or time of change is another."""
    with soundfont.open("rb") as file:
        return hashlib.file_digest(file, "sha256").digest()


@cache
def _program() -> bytes:
    """Return the SHA-256 of all that makes loops besides SoundFonts."""
    from renderer.sound.synth import fluidsynth_version

    digest = hashlib.sha256(f"{np.__version__} {fluidsynth_version()}".encode())
    for name in _DECIDING:
        digest.update((resources.files(__package__) / name).read_bytes())
    return digest.digest()


def read_kept(path: Path) -> bytes | None:
    """Return what `keep_file` has written; None where there is none, or it is damaged."""
    try:
        data = path.read_bytes()
        content = data[32:]
        if hashlib.sha256(content).digest() != data[:32]:
            return None
        os.utime(path)
    except OSError:
        return None
    return content


def _read(path: Path) -> PlayedLoops | None:
    content = read_kept(path)
    if content is None:
        return None
    line, _, series = content.partition(b"\n")
    head = json.loads(line)
    spectra, at = [], 0
    for bins, periods, frames in head["loops"]:
        values = np.frombuffer(series, np.complex64, bins, at).copy()
        spectra.append(LoopSpectrum(values, periods, frames))
        at += values.nbytes
    return PlayedLoops(tuple(spectra), tuple(head["remarks"]))


def _write(path: Path, loops: PlayedLoops) -> None:
    head = {
        "loops": [(len(one.bins), one.periods, one.frames) for one in loops.spectra],
        "remarks": loops.remarks,
    }
    content = json.dumps(head).encode() + b"\n"
    content += b"".join(one.bins.astype(np.complex64).tobytes() for one in loops.spectra)
    keep_file(path, content)


def keep_file(path: Path, content: bytes) -> None:
    """Write a file of the cache, whole or not at all, and make room for it.

    Raises `OSError` if that is not possible.
    """
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
