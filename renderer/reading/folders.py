"""Folders of exercises: a folder in, the files in it that are exercises out, in order of names."""

from __future__ import annotations

import os
import re
import tomllib
from pathlib import Path

from renderer.errors import failure
from renderer.notation.limits import LONGEST_FILE_BYTES
from renderer.notation.source_file import FORMS

MOST_FILES = 1_000
"""Exercises of a folder and the folders in it."""

_MOST_ENTRIES = 20_000
_OTHER_KEYS = {"exercises", "learners", "groups", "low-a", "notes", "scale"}
"""What stands at the top of packs and of chanter files, which lie beside exercises."""


def exercises_in(folder: Path) -> tuple[Path, ...]:
    """Return the exercises and scores in a folder and in those inside it.

    Names count as people do: `2 Grips` stands before `10 Birls`, files before folders. What is
    hidden, what is in no form of exercises, chanter files and packs are passed over.

    Raises
    ------
    RungwiseError
        If there are none or far too many, if a folder cannot be looked into, and for links that
        lead back to a folder that they are in.
    """
    found: list[Path] = []
    _walk(folder, (), found, [0])
    if not found:
        raise failure(
            "there is no exercise in this folder",
            f"put files in it that end in one of {', '.join(FORMS)}",
            file=str(folder),
        )
    return tuple(found)


def _walk(folder: Path, above: tuple[Path, ...], found: list[Path], seen: list[int]) -> None:
    real = folder.resolve()
    if real in above:
        raise failure(
            "this folder leads back to one that it is in",
            "remove the link, or name the files one by one",
            file=str(folder),
        )
    try:
        with os.scandir(folder) as entries:
            names = sorted((entry.name for entry in entries), key=_as_people_count)
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise failure(
            f"the folder cannot be read: {reason}", "check it", file=str(folder)
        ) from None
    seen[0] += len(names)
    shown = [folder / name for name in names if not name.startswith(".")]
    found += [path for path in shown if _is_exercise(path)]
    if len(found) > MOST_FILES or seen[0] > _MOST_ENTRIES:
        raise failure(
            f"there are more than {MOST_FILES} exercises in this folder",
            "name a smaller one",
            file=str(folder),
        )
    for path in shown:
        if path.is_dir():
            _walk(path, (*above, real), found, seen)


def _as_people_count(name: str) -> list[tuple[int, str]]:
    parts = re.findall(r"\d+|\D+", name.casefold())
    return [(int(part) if part.isdecimal() else -1, part) for part in parts]


def _is_exercise(path: Path) -> bool:
    if path.suffix.casefold() not in FORMS or not path.is_file():
        return False
    if path.suffix.casefold() != ".toml" or path.stat().st_size > LONGEST_FILE_BYTES:
        return True
    try:
        table = tomllib.loads(path.read_text("utf-8"))
    except (OSError, ValueError, RecursionError):
        # What cannot be read is said where it is read.
        return True
    return "lines" in table or not _OTHER_KEYS & set(table)
