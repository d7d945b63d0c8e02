"""The shipped exercises as a syllabus: a level, a movement, a time in, such exercises out."""

from __future__ import annotations

from collections.abc import Iterator

from renderer.errors import WrongValueError, failure
from renderer.notation.definition.fields import read_meter
from renderer.notation.definition.lines import PLAIN
from renderer.notation.score import Exercise, Meter
from renderer.reading.exercise import read_exercise
from renderer.reading.library import ShippedExercise, shipped_exercises
from renderer.technique.ornaments import load_book


def level_named(text: str) -> str:
    """Return the library's level of that name, or raise `RungwiseError` with its levels."""
    levels = list(dict.fromkeys(exercise.level for exercise in shipped_exercises()))
    if text.strip().casefold() not in levels:
        raise failure(
            f"there is no level {text!r}", f"write one of {', '.join(levels)}", place="--level"
        )
    return text.strip().casefold()


def movement_wanted(text: str) -> frozenset[str | None]:
    """Return the names of a movement and of its other beginnings; None alone for `plain`."""
    if text.strip().casefold() == PLAIN:
        return frozenset({None})
    book = load_book()
    try:
        found = book.movement(text)
    except WrongValueError as error:
        raise error.at("--movement") from None
    return frozenset({found.name, *(way.name for way in book.ways_of(found))})


def time_wanted(text: str) -> Meter:
    """Return the meter that a text names, or raise `RungwiseError`."""
    try:
        return read_meter(text)
    except WrongValueError as error:
        raise error.at("--time") from None


def listed_exercises(
    *,
    level: str | None = None,
    movements: frozenset[str | None] | None = None,
    meter: Meter | None = None,
) -> Iterator[tuple[ShippedExercise, Exercise]]:
    """Yield the library's exercises that are all of what is asked for, read, in its order.

    Parameters
    ----------
    level:
        A level of the library; None for any.
    movements:
        Names of movements of which an exercise has one; with None alone among them, those that
        have no movement at all.
    meter:
        The time that an exercise begins in.
    """
    for shipped in shipped_exercises():
        if level is not None and shipped.level != level:
            continue
        exercise = read_exercise(shipped.path)
        notes = [note for line in exercise.lines for note in line.melody_notes]
        played = {note.ornament for note in notes if note.group} or {None}
        if movements is not None and not played & movements:
            continue
        if meter is None or exercise.lines[0].bars[0].meter == meter:
            yield shipped, exercise
