"""Tone banks in the cache: what tracks are made of, ready at one pitch and rate.

Loops from the cache (`renderer.sound.kept_loops`) still have to get breath and their pitch, which
takes most of a second. What comes of it is a file in the same folder, named besides after its pitch
and rate, all of the program's code for sound and fingering, and the version of soxr.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from functools import cache
from importlib import resources
from pathlib import Path

import numpy as np
import soxr

from renderer.sound.kept_files import BANK, Kept, kept_or_made


def kept_or_computed(what: str, soundfonts: list[Path], make: Callable[[], Kept]) -> Kept:
    """Return the bank that is kept under a name, or make and keep it.

    Parameters
    ----------
    what:
        Which bank, in words that no others have.
    soundfonts:
        The files that it comes from.
    make:
        Makes it; what it raises is passed on.
    """
    return kept_or_made(f"{what} {_program()}", BANK, soundfonts, make)


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
