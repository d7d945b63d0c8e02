"""Patterns: one entry of a definition that stands for many notes or many lines.

The values here say which runs, scales or drills are wanted, as the teacher writes them (`runs`,
`scale`, `against`, `each`); `renderer.technique.pattern_lines` writes them out. Intervals are
counted in steps of the chanter: a third is 2 steps.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Annotated, Literal

from pydantic import Field, field_validator, model_validator

from renderer.errors import WrongValueError, shortened
from renderer.notation.definition.fields import (
    NOTE_REMEDY,
    RUN_REMEDY,
    OneOrMore,
    Table,
    in_range,
    listed,
    one_of,
    read_notes,
)
from renderer.notation.limits import LONGEST_TEXT, MOST_LINES
from renderer.notation.pitch import Note, note_named

Direction = Literal["rising", "falling", "turning"]
Order = Literal["pitch", "difficulty"]

INTERVALS = {
    "second": 1,
    "third": 2,
    "fourth": 3,
    "fifth": 4,
    "sixth": 5,
    "seventh": 6,
    "octave": 7,
    "ninth": 8,
}
"""Steps from note to note; the chanter's nine notes span a ninth."""

LEAST_NOTES, MOST_NOTES = 3, 6
"""Notes of an enumerated run."""


@dataclass(frozen=True, slots=True)
class Runs:
    """Every run of a kind.

    Parameters
    ----------
    spans:
        Steps between the lowest and the highest note that are wanted.
    directions:
        `rising`, `falling`, or `turning`: up and then down, or down and then up.
    notes:
        How many different notes a run has.
    among:
        The notes that may take part, from the lowest.
    start, end:
        The notes that a run may begin and end on; empty where any may.
    order:
        By pitch, or from easy to hard.
    limit:
        The most lines, the first in that order; None for all.
    """

    spans: tuple[int, ...]
    directions: tuple[Direction, ...]
    notes: int
    among: tuple[Note, ...]
    start: tuple[Note, ...] = ()
    end: tuple[Note, ...] = ()
    order: Order = "pitch"
    limit: int | None = None


@dataclass(frozen=True, slots=True)
class Scale:
    """A scale in steps of an interval: in thirds, low G B, low A C, B D, ...

    Parameters
    ----------
    step:
        The interval in steps; 1 is the scale note by note.
    first, last:
        The lowest and the highest note.
    directions:
        `rising`, `falling`, or both one after the other.
    """

    step: int
    first: Note
    last: Note
    directions: tuple[Direction, ...]


@dataclass(frozen=True, slots=True)
class Against:
    """One note in alternation with each of `others`: low A B, low A C, low A D, ..."""

    note: Note
    others: tuple[Note, ...]


@dataclass(frozen=True, slots=True)
class Each:
    """Every note in turn, plain and then with each ornament."""

    notes: tuple[Note, ...]


Pattern = Runs | Scale | Against | Each


def _one_of_these(words: Iterable[str]) -> str:
    return f"write {listed(map(repr, words), 'or')}"


_INTERVAL_REMEDY = _one_of_these(INTERVALS)


def _interval(text: str) -> int:
    steps = INTERVALS.get(text.strip().casefold())
    if steps is None:
        raise WrongValueError(f"{shortened(text)!r} is no interval", _INTERVAL_REMEDY)
    return steps


def _intervals(text: str) -> range:
    """Return the steps of an interval, or of all from one to another: `third to seventh`."""
    bounds = [_interval(word) for word in re.split(r"\s+to\s+", text.strip(), maxsplit=1)]
    return range(min(bounds), max(bounds) + 1)


_DIRECTIONS: dict[str, tuple[Direction, ...]] = {
    "rising": ("rising",),
    "falling": ("falling",),
    "both": ("rising", "falling"),
    "turning": ("turning",),
}


SCALE_DIRECTIONS = ("rising", "falling", "both")
RUN_DIRECTIONS = (*SCALE_DIRECTIONS, "turning")


def _directions(value: list[str], known: tuple[str, ...]) -> tuple[Direction, ...]:
    found: dict[Direction, None] = {}
    for word in value:
        if word.strip().casefold() not in known:
            raise WrongValueError(f"{word!r} is no direction", _one_of_these(known))
        found |= dict.fromkeys(_DIRECTIONS[word.strip().casefold()])
    if not found:
        raise WrongValueError("there is no direction", _one_of_these(known))
    # In the table's order, so that a list in another order is the same choice.
    return tuple(word for word in ("rising", "falling", "turning") if word in found)


class RunsTable(Table):
    """`runs = { span = "fourth", direction = "rising" }`."""

    span: OneOrMore = Field(
        default=["third", "fourth", "fifth", "sixth", "seventh"],
        description="write an interval, as 'fourth' or 'third to fifth', or a list of them",
    )
    direction: OneOrMore = Field(default=["both"], description=_one_of_these(RUN_DIRECTIONS))
    notes: int = Field(
        default=LEAST_NOTES, description=f"write a whole number from {LEAST_NOTES} to {MOST_NOTES}"
    )
    among: str = Field(default="low G to F", max_length=LONGEST_TEXT, description=RUN_REMEDY)
    start: str | None = Field(default=None, max_length=LONGEST_TEXT, description=RUN_REMEDY)
    end: str | None = Field(default=None, max_length=LONGEST_TEXT, description=RUN_REMEDY)
    order: Annotated[Order, one_of(Order)] = "pitch"
    limit: int | None = Field(default=None, description="write a whole number, such as 12")

    @field_validator("span")
    @classmethod
    def _span(cls, value: list[str]) -> list[str]:
        if not value:
            raise WrongValueError("there is no span", _INTERVAL_REMEDY)
        for word in value:
            _intervals(word)
        return value

    @field_validator("direction")
    @classmethod
    def _direction(cls, value: list[str]) -> list[str]:
        _directions(value, RUN_DIRECTIONS)
        return value

    @field_validator("among", "start", "end")
    @classmethod
    def _some_notes(cls, value: str) -> str:
        read_notes(value)
        return value

    @field_validator("notes")
    @classmethod
    def _count(cls, value: int) -> int:
        in_range(value, LEAST_NOTES, MOST_NOTES, "a number of notes")
        return value

    @field_validator("limit")
    @classmethod
    def _limit(cls, value: int) -> int:
        in_range(value, 1, MOST_LINES, "a limit")
        return value

    def value(self) -> Runs:
        """Return the choice that the table stands for."""
        return Runs(
            tuple(sorted({steps for word in self.span for steps in _intervals(word)})),
            _directions(self.direction, RUN_DIRECTIONS),
            self.notes,
            tuple(sorted(read_notes(self.among))),
            () if self.start is None else read_notes(self.start),
            () if self.end is None else read_notes(self.end),
            self.order,
            self.limit,
        )


class ScaleTable(Table):
    """`scale = { step = "third", from = "low G", to = "high A", direction = "both" }`."""

    step: str = Field(default="second", description=_INTERVAL_REMEDY)
    first: str = Field(default="low G", alias="from", description=NOTE_REMEDY)
    last: str = Field(default="high A", alias="to", description=NOTE_REMEDY)
    direction: OneOrMore = Field(default=["both"], description=_one_of_these(SCALE_DIRECTIONS))

    @field_validator("step")
    @classmethod
    def _step(cls, value: str) -> str:
        _interval(value)
        return value

    @field_validator("first", "last")
    @classmethod
    def _one_note(cls, value: str) -> str:
        note_named(value)
        return value

    @field_validator("direction")
    @classmethod
    def _direction(cls, value: list[str]) -> list[str]:
        _directions(value, SCALE_DIRECTIONS)
        return value

    @model_validator(mode="after")
    def _sensible(self) -> ScaleTable:
        value = self.value()
        if value.first >= value.last or value.last - value.first < value.step:
            raise WrongValueError(
                f"from {value.first} to {value.last} there is no room for a {self.step}",
                "write the lower note under `from` and a higher one under `to`",
            )
        return self

    def value(self) -> Scale:
        """Return the scale that the table stands for."""
        return Scale(
            _interval(self.step),
            note_named(self.first),
            note_named(self.last),
            _directions(self.direction, SCALE_DIRECTIONS),
        )


class AgainstTable(Table):
    """`against = { note = "low A", others = "B to high A" }`."""

    note: str = Field(description=NOTE_REMEDY)
    others: str = Field(default="low G to high A", max_length=LONGEST_TEXT, description=RUN_REMEDY)

    @field_validator("note")
    @classmethod
    def _one_note(cls, value: str) -> str:
        note_named(value)
        return value

    @field_validator("others")
    @classmethod
    def _some_notes(cls, value: str) -> str:
        read_notes(value)
        return value

    @model_validator(mode="after")
    def _sensible(self) -> AgainstTable:
        if not self.value().others:
            raise WrongValueError(
                f"there is no other note than {self.note}", "name some under `others`"
            )
        return self

    def value(self) -> Against:
        """Return the drill that the table stands for."""
        note = note_named(self.note)
        return Against(note, tuple(n for n in read_notes(self.others) if n is not note))
