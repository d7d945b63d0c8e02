"""The library as rows: what each file of the folder is, and the exercises that ship.

A file is read when it is new or has changed, and what it is is kept meanwhile.
"""

from __future__ import annotations

import threading
import tomllib
from functools import cache
from typing import Any

from renderer.errors import RungwiseError, failure
from renderer.notation.score import Exercise
from renderer.notation.source_file import Source
from renderer.workbench.folder import Entry, Folder, is_recording

_MOST_KNOWN = 4_000
_known: dict[tuple[str, str, int, float], dict[str, Any]] = {}
_lock = threading.Lock()


def told_rows(folder: Folder) -> list[dict[str, Any]]:
    """Return a row for each file: `name`, `kind`, `size`, `changed`, and what it holds."""
    return [_row(folder, entry) for entry in folder.entries()]


def _row(folder: Folder, entry: Entry) -> dict[str, Any]:
    key = (str(folder.root), entry.name, entry.size, entry.changed)
    with _lock:
        row = _known.get(key)
    if row is None:
        try:
            row = _without_problems(
                {"kind": "recording"}
                if is_recording(entry.name)
                else told(entry.name, folder.read(entry.name).data)
            )
        except RungwiseError as error:
            row = {"kind": "unknown", "problem": str(error.problems[0])}
        with _lock:
            if len(_known) > _MOST_KNOWN:
                _known.clear()
            _known[key] = row
    return {"name": entry.name, "size": entry.size, "changed": entry.changed} | row


def _without_problems(row: dict[str, Any]) -> dict[str, Any]:
    plain = {key: value for key, value in row.items() if key not in ("problems", "found")}
    if row.get("found"):
        plain["problem"] = str(row["found"][0])
    return plain


def told(name: str, data: bytes) -> dict[str, Any]:
    """Return what a file is.

    Returns
    -------
    `kind` (`exercise`, `tune`, `pack`, `chanter`, `recording`, `unknown`), `title`, `level`,
    `count` of lines, `seconds` of each once at its own tempo, and `problems` where something is
    wrong, as texts and, under `found`, as values.
    """
    from renderer.reading.exercise import read_exercise

    if is_recording(name):
        return {"kind": "recording", "problems": []}
    other = _other_kind(name, data)
    if other is not None:
        return other
    try:
        exercise = read_exercise(Source(name, data))
    except RungwiseError as error:
        kind = "exercise" if name.casefold().endswith((".toml", ".txt")) else "unknown"
        found = list(error.problems)
        return {"kind": kind, "problems": [str(one) for one in found], "found": found}
    return {"kind": _kind(name, exercise), **_about(exercise), "problems": []}


def _kind(name: str, exercise: Exercise) -> str:
    is_score = not name.casefold().endswith((".toml", ".txt"))
    return "tune" if is_score or exercise.tune_type or exercise.composer else "exercise"


def _about(exercise: Exercise) -> dict[str, Any]:
    beats = sum(line.beats for line in exercise.lines)
    return {
        "title": exercise.title,
        "level": exercise.level,
        "for": exercise.audience,
        "count": len(exercise.lines),
        "seconds": round(float(beats * 60 / exercise.tempo)),
        "movements": sorted(
            {
                note.ornament
                for line in exercise.lines
                for note in line.melody_notes
                if note.ornament is not None
            }
        ),
    }


def _other_kind(name: str, data: bytes) -> dict[str, Any] | None:
    """Return a row for a pack or a chanter file; None for what is neither."""
    if not name.casefold().endswith(".toml") or len(data) > 1_000_000:
        return None
    try:
        table = tomllib.loads(data.decode("utf-8-sig"))
    except (ValueError, RecursionError):
        return None
    if "lines" in table:
        return None
    if {"exercises", "learners", "groups"} & set(table):
        title = table.get("title")
        return {"kind": "pack", "title": title if isinstance(title, str) else "", "problems": []}
    if {"low-a", "notes", "scale"} & set(table):
        title = table.get("name")
        return {"kind": "chanter", "title": title if isinstance(title, str) else "", "problems": []}
    return None


def shipped_data(name: str) -> bytes:
    """Return the definition of a shipped exercise; raise a `RungwiseError` if there is none."""
    from renderer.reading.library import shipped_exercises

    path = next((one.path for one in shipped_exercises() if one.name == name), None)
    if path is None:
        raise failure("the library has no exercise of that name", "choose another", file=name)
    return path.read_bytes()


@cache
def _shipped() -> tuple[dict[str, Any], ...]:
    from renderer.reading.exercise import read_exercise
    from renderer.reading.library import shipped_exercises

    rows = []
    for one in shipped_exercises():
        try:
            about = _about(read_exercise(one.path))
        except RungwiseError:
            raise failure(
                "a shipped exercise cannot be read", "install the program again"
            ) from None
        rows.append({"name": one.name, "kind": "exercise"} | about | {"level": one.level})
    return tuple(rows)


def shipped_rows() -> list[dict[str, Any]]:
    """Return a row for each exercise that ships."""
    return list(_shipped())
