"""Which files a pack names: whether all lie in the teacher's folder, and what renaming one changes.

A pack's file may name exercises, chanters and SoundFonts anywhere on the machine. The command line
reads them; a page of a browser may not, so a pack that names such files is refused here before any
of them is looked at. Links count as what they lead to.
"""

from __future__ import annotations

import os
import posixpath
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import Any

from renderer.errors import Problem, RungwiseError
from renderer.order.pack_file import VERB, entry_table, names_file
from renderer.order.settings import known_to
from renderer.reading.library import find_exercise
from renderer.shipped import shipped_folder
from renderer.workbench.editing import edit, fields_of
from renderer.workbench.folder import KEPT

_CAUSE = "this is a file outside the folder that is open here"
_REMEDY = (
    "copy it into the folder and name it there, or make this pack by `rungwise pack` in a terminal"
)
_MOST_WALKED = 20_000


@dataclass(frozen=True, slots=True)
class _Named:
    """A file that a pack names: its place in messages, the keys and numbers that lead to it."""

    place: str
    path: tuple[str | int, ...]
    written: str
    is_exercise: bool


def names(text: str, pack: str, file: str) -> bool:
    """Return whether a text is a pack that names a file, both named as seen from the folder."""
    table = fields_of(text)
    if table is None or "exercises" not in table:
        return False
    return any(_seen(one, pack) == file for one in _named(table))


def _seen(one: _Named, pack: str) -> str:
    """The name of a file as it is seen from the teacher's folder."""
    return posixpath.normpath(posixpath.join(posixpath.dirname(pack), one.written))


def with_new_name(text: str, pack: str, old: str, new: str) -> str:
    """Return a pack's text with another name for a file, wherever it names that file.

    Parameters
    ----------
    text:
        Of a file that may be a pack.
    pack, old, new:
        Names seen from the teacher's folder: of that file, and of the file that is renamed, as it
        was and as it is to be. Where they are the same file, it is the pack itself that is renamed,
        and what it names is named as it is seen from its new place.

    Raises
    ------
    RungwiseError
        If it is written in a way that fields cannot change.
    """
    table = fields_of(text)
    if table is None or "exercises" not in table:
        return text
    folder, is_itself = posixpath.dirname(pack), pack == old
    for one in _named(table):
        if is_itself:
            is_bare = one.is_exercise and not PurePosixPath(one.written).suffix
            if is_bare or posixpath.dirname(new) == folder:
                continue
            to = posixpath.relpath(_seen(one, pack), posixpath.dirname(new) or ".")
        elif _seen(one, pack) == old:
            to = posixpath.relpath(new, folder or ".")
        else:
            continue
        text = edit(text, {"do": "set", "path": list(one.path), "to": to})
    return text


def refuse_files_outside(table: Mapping[str, Any], root: Path, name: str) -> None:
    """Raise a `RungwiseError` for every file of a pack that is not in a folder.

    Parameters
    ----------
    table:
        The pack's file as TOML holds it, whatever else may be wrong with it.
    root:
        The folder, all links resolved.
    name:
        The pack's file, seen from the folder: names in it count from where it is.
    """
    place_of_pack = (root / PurePosixPath(name)).parent
    problems = []
    for one in _named(table):
        is_list = "," in one.written and not one.is_exercise
        if is_list and not (place_of_pack / one.written).exists():
            # Each of them would be looked for where the server was started.
            cause = "several names stand in one text"
            problems.append(Problem(cause, "write them as a list in brackets", one.place, name))
        elif not _is_inside(one.written, place_of_pack, root, is_exercise=one.is_exercise):
            problems.append(Problem(_CAUSE, _REMEDY, one.place, name))
    if problems:
        raise RungwiseError(problems)


def _named(table: Mapping[str, Any]) -> Iterator[_Named]:
    for path, written, one in _tables(table):
        place = f"{path[0]}[{int(path[1]) + 1}]" if path else ""
        if path[:1] == ("exercises",) and isinstance(one.get("file"), str):
            own = path if isinstance(written, str) else (*path, "file")
            yield _Named(place, own, one["file"], is_exercise=True)
        for row in known_to(VERB):
            given = one.get(row.key)
            for at, value in enumerate(given if isinstance(given, list) else [given]):
                if isinstance(value, str) and names_file(row, value):
                    own = (*path, row.key, at) if isinstance(given, list) else (*path, row.key)
                    key = f"{place}.{row.key}" if place else row.key
                    yield _Named(key, own, value.strip(), is_exercise=False)


def _tables(
    table: Mapping[str, Any],
) -> Iterator[tuple[tuple[str | int, ...], object, Mapping[str, Any]]]:
    """Return the way to each table that may name files, what is written there, and the table."""
    yield (), table, table
    for key in ("exercises", "learners", "groups"):
        listed = table.get(key)
        for number, written in enumerate(listed if isinstance(listed, list) else ()):
            one = entry_table(written) if key == "exercises" else written
            if isinstance(one, Mapping):
                yield (key, number), written, one


def _is_inside(written: str, folder: Path, root: Path, *, is_exercise: bool) -> bool:
    try:
        path = folder / written
        if not _lies_in(path, root):
            return False
        if path.is_dir():
            return _leads_nowhere_else(path, root)
        is_bare = not path.exists() and Path(written).parent == Path()
        if is_exercise and is_bare and not Path(written).suffix:
            # A name of the library, unless a file where the server was started has it.
            found = find_exercise(written)
            return not found.exists() or found.is_relative_to(shipped_folder("exercises"))
    except RungwiseError:
        return True  # reading says what is wrong with it
    except (OSError, ValueError):
        return True  # no name of a file anywhere
    return True


def _lies_in(path: Path, root: Path) -> bool:
    real = path.resolve()
    return real.is_relative_to(root) and KEPT not in real.relative_to(root).parts


def _leads_nowhere_else(folder: Path, root: Path) -> bool:
    """Whether no link in a folder leads out; of one with far too many files, no."""
    seen = 0
    for place, folders, files in os.walk(folder):
        seen += len(folders) + len(files)
        if seen > _MOST_WALKED:
            return False
        for one in (*folders, *files):
            path = Path(place) / one
            if path.is_symlink() and not _lies_in(path, root):
                return False
    return True
