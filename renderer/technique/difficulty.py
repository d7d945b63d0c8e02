"""How hard a line is to play: its movements, finger changes and speed in, one number out.

A line is as hard as the hardest movement in it, and harder for all that happens in the time of a
beat at 60 a minute: every finger change adds points for each of `Causes` that it has. So a
crunluath now and then is harder than plain notes however they cross, a movement opened out is
easier than the same one closed, more of any cause in the same time makes a line harder, and a long
line is not harder than a short one for its length alone. The points are in `difficulty.toml`; they
put lines in order and stand for nothing that could be measured.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields
from fractions import Fraction
from functools import cache
from importlib import resources
from typing import Any

from renderer.notation.score import MelodyNote
from renderer.technique.finger_changes import Change
from renderer.technique.fingering import big_change, safe_hold
from renderer.technique.movement import Movement
from renderer.technique.ornaments import OrnamentBook


@dataclass(frozen=True, slots=True)
class Causes:
    """How often each cause of difficulty occurs; all counts.

    Parameters
    ----------
    finger:
        Fingers that move, over all changes.
    both_hands:
        Changes that both hands take part in.
    gracenote:
        Gracenotes.
    crossing_noise:
        Changes in which a low note may sound between.
    rolling_noise:
        Changes in which notes between may sound.
    forgotten_finger:
        Fingers that are easily left where they were.
    missing_hold:
        Fingers missing to a safe hold, over all changes.
    big_change:
        Fingers of big changes from the limit on (4 fingers count 1, 5 count 2).
    choke:
        G gracenotes on low G.
    """

    finger: int = 0
    both_hands: int = 0
    gracenote: int = 0
    crossing_noise: int = 0
    rolling_noise: int = 0
    forgotten_finger: int = 0
    missing_hold: int = 0
    big_change: int = 0
    choke: int = 0

    @property
    def counts(self) -> tuple[int, ...]:
        """The counts in the order of the fields."""
        return tuple(getattr(self, name) for name in _NAMES)


_NAMES = tuple(field.name for field in fields(Causes))


@cache
def _data() -> dict[str, Any]:
    text = (resources.files(__package__) / "difficulty.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


@cache
def _points() -> Causes:
    return Causes(**_data()["load"])


def points_of(causes: Causes) -> dict[str, int]:
    """Return the points that each cause adds, by its name, the largest first."""
    weighed = zip(_NAMES, causes.counts, _points().counts, strict=True)
    rows = {name: count * points for name, count, points in weighed}
    return dict(sorted(rows.items(), key=lambda row: -row[1]))


def causes_of(changes: Iterable[Change]) -> Causes:
    """Count what makes a succession of finger changes hard."""
    totals = [0] * len(_NAMES)
    for change in changes:
        for index, count in enumerate(_counts(change)):
            totals[index] += count
    return Causes(*totals)


@cache
def _counts(change: Change) -> tuple[int, ...]:
    return Causes(
        finger=len(change.moved),
        both_hands=int(len(change.hands) == 2),
        gracenote=int(change.gracenote is not None),
        crossing_noise=int(change.crossing is not None),
        rolling_noise=int(bool(change.rolling)),
        forgotten_finger=len(change.easily_forgotten),
        missing_hold=max(0, safe_hold() - change.loosest),
        big_change=max(0, len(change.travelling) - big_change() + 1),
        choke=int(change.chokes),
    ).counts


def movement_points(movement: Movement) -> float | None:
    """Return the points of a movement of the book, closed; None for one that has none there."""
    movements: Mapping[str, float] = _data()["movements"]
    families: Mapping[str, float] = _data()["families"]
    usual = movements.get(movement.way_of, families.get(movement.family))
    return movements.get(movement.name, usual)


def note_points(note: MelodyNote, book: OrnamentBook, *, opened: bool) -> float:
    """Return the points of the movement on a melody note, 0 for a plain one.

    Parameters
    ----------
    note:
        Its movement counts as the book has it; one that it does not know by its slots.
    book:
        Where movements are looked up.
    opened:
        Whether it is opened out.
    """
    if len(note.slots) == 1 and note.slots[0].gracenote is None:
        return 0.0
    movement = book.find(note.ornament) if note.ornament else None
    points = None if movement is None else movement_points(movement)
    if points is None:
        unknown = _data()["unknown"]
        gracenotes = sum(slot.gracenote is not None for slot in note.slots)
        points = unknown["slot"] * (len(note.slots) - 1) + unknown["gracenote"] * gracenotes
    is_opened = opened and len(note.slots) > 1
    return float(points * _data()["scale"]["opened"] if is_opened else points)


def difficulty(
    causes: Causes, beats: Fraction, *, tempo: Fraction = Fraction(60), hardest: float = 0.0
) -> float:
    """Return how hard a line is: 0 for a held note, 3 for a scale, 15 and more for hard lines.

    Parameters
    ----------
    causes:
        What the line has.
    beats:
        How long it is; above 0.
    tempo:
        Beats per minute.
    hardest:
        The points of its hardest movement.

    Raises
    ------
    ValueError
        If `beats` is not above 0.
    """
    if beats <= 0:
        raise ValueError(f"a line lasts more than 0 beats, not {beats}")
    load = sum(points_of(causes).values()) / beats * tempo / 60
    return hardest + float(load) * float(_data()["scale"]["load"])
