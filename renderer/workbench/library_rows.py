"""The library as rows: what each file of the folder is, and the exercises that ship.

A file is read when it is new or has changed, and what it is is kept meanwhile.
"""

from __future__ import annotations

import threading
import tomllib
from functools import cache
from typing import Any

from renderer.errors import RungwiseError, failure
from renderer.notation.definition.pattern import INTERVALS
from renderer.notation.score import Exercise
from renderer.notation.source_file import Source
from renderer.workbench.folder import Entry, Folder, is_recording
from renderer.workbench.said import said_problem

_MOST_KNOWN = 4_000
# Of longer music the fingers are not walked through for a row: it would be waited for.
_MOST_NOTES_WEIGHED = 10_000
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
            row = {"kind": "unknown", "problem": error.problems[0]}
        with _lock:
            if len(_known) > _MOST_KNOWN:
                _known.clear()
            _known[key] = row
    named = {"name": entry.name, "size": entry.size, "changed": entry.changed} | row
    return named | ({"problem": said_problem(row["problem"])} if "problem" in row else {})


def _without_problems(row: dict[str, Any]) -> dict[str, Any]:
    plain = {key: value for key, value in row.items() if key not in ("problems", "found")}
    if row.get("found"):
        plain["problem"] = row["found"][0]
    return plain


def told(name: str, data: bytes) -> dict[str, Any]:
    """Return what a file is.

    Returns
    -------
    `kind` (`exercise`, `tune`, `pack`, `chanter`, `recording`, `unknown`), `title`, `level`,
    `count` of lines, `seconds` of each once at its own tempo, `difficulty` in points (None of what
    has more than ten thousand notes), `joins` (of each movement the
    intervals of the melody notes that it joins), and `problems` where something is wrong, as texts
    and, under `found`, as values.
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
        "difficulty": _difficulty(exercise),
        "joins": _joins(exercise),
    }


def _difficulty(exercise: Exercise) -> float | None:
    from renderer.technique.report import exercise_difficulty

    notes = sum(sum(1 for _ in line.melody_notes) for line in exercise.lines)
    if notes > _MOST_NOTES_WEIGHED:
        return None
    return round(exercise_difficulty(exercise), 1)


UNISON = "unison"
_DISTANCES = (UNISON, *INTERVALS)


def _joins(exercise: Exercise) -> dict[str, list[str]]:
    """Return of each movement the intervals that it joins, the narrowest first.

    An interval is that of the melody note with the movement and the melody note before it, in steps
    of the scale; a movement on a line's first note joins nothing.
    """
    found: dict[str, set[int]] = {}
    for line in exercise.lines:
        before = None
        for note in line.melody_notes:
            if note.ornament is not None:
                steps = found.setdefault(note.ornament, set())
                if before is not None:
                    steps.add(abs(int(note.note) - int(before)))
            before = note.note
    return {
        name: [_DISTANCES[step] for step in sorted(steps)] for name, steps in sorted(found.items())
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
