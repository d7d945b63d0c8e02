"""What several commands have in common: choices, and reading an exercise with its overrides."""

from __future__ import annotations

import enum
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from renderer.errors import failure

if TYPE_CHECKING:
    from renderer.notation.score import Exercise


class EventFormat(enum.StrEnum):
    """How events are printed."""

    CSV = "csv"
    JSON = "json"


def with_gracenote_length(exercise: Exercise, text: str) -> Exercise:
    """Return the exercise with its gracenotes lasting as long as an option says (`45 ms`)."""
    from renderer.notation.definition_fields import WrongValueError, read_gracenote_length

    try:
        length = read_gracenote_length(text)
    except WrongValueError as error:
        raise failure(error.cause, error.remedy, place="--gracenote") from None
    return replace(exercise, gracenotes=replace(exercise.gracenotes, length=length))


def read_with_options(file: Path, *, gracenote: str | None = None) -> Exercise:
    """Read an exercise, by file or by the name of a shipped one, with the options' overrides."""
    from renderer.technique.reading import read_exercise

    exercise = read_exercise(file)
    return exercise if gracenote is None else with_gracenote_length(exercise, gracenote)
