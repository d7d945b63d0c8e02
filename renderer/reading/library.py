"""The exercises that ship with Rungwise: a name in, the path of its definition out.

The library is a folder of definitions in folders by level. An exercise's name is that of its file
without the ending, such as `first-gracenotes`; case, spaces, hyphens and underscores are free.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

from renderer.errors import failure
from renderer.notation.source_file import file_like
from renderer.shipped import shipped_folder


@dataclass(frozen=True, slots=True)
class ShippedExercise:
    """An exercise of the library.

    Parameters
    ----------
    name:
        What `rungwise render` takes.
    level:
        The folder it stands in, without its leading number: `beginner`.
    path:
        Its definition.
    """

    name: str
    level: str
    path: Path


def _key(name: str) -> str:
    return re.sub(r"[\s\-_]+", "-", name.strip()).casefold()


def shipped_exercises() -> tuple[ShippedExercise, ...]:
    """Return the library in its order: by level, then by name."""
    folder = shipped_folder("exercises")
    return tuple(
        ShippedExercise(path.stem, re.sub(r"^\d+-", "", path.parent.name), path)
        for path in sorted(folder.glob("*/*.toml"))
    )


def find_exercise(name_or_path: str | Path) -> Path:
    """Return the file that a path or the name of a shipped exercise means.

    Parameters
    ----------
    name_or_path:
        A path, which wins where there is such a file, or a name from the library.

    Returns
    -------
    The path. What is written as a path (with a folder or an ending) is returned as it is, so that
    reading it says what is wrong with it.

    Raises
    ------
    RungwiseError
        For a bare name that neither a file nor the library has, with the nearest names.
    """
    path = Path(name_or_path)
    try:
        exists = path.exists()
    except (OSError, ValueError):
        exists = False
    if exists:
        return path
    library = {_key(exercise.name): exercise for exercise in shipped_exercises()}
    wanted = _key(path.stem if path.suffix == ".toml" and path.parent == Path() else str(path))
    if wanted in library:
        return library[wanted].path
    if path.suffix or path.parent != Path():
        return path
    there = file_like(path)
    if there is not None:
        raise failure(
            "there is no such file, and the library has no exercise of that name",
            f"did you mean {there}?",
            file=str(name_or_path),
        )
    from rapidfuzz import fuzz, process

    close = process.extract(wanted, list(library), scorer=fuzz.WRatio, limit=3, score_cutoff=60)
    names = ", ".join(repr(library[key].name) for key, _, _ in close)
    raise failure(
        "there is no such file, and the library has no exercise of that name",
        (f"the nearest: {names}; " if names else "") + "`rungwise list` shows the library",
        file=str(name_or_path),
    )
