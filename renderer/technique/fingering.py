"""The chanter's fingering: its holes, the nine notes, and which note a fingering sounds.

A `Fingering` is the set of fingers that close their holes. Its pitch is named by the highest open
hole. The right thumb closes none: it supports the chanter under every fingering. All of it is
read from the chart (`fingering.toml`).
"""

from __future__ import annotations

import enum
import tomllib
from collections.abc import Mapping
from functools import cache
from importlib import resources
from typing import Any

from renderer.notation.pitch import Note, note_named


class Hand(enum.StrEnum):
    """The left hand above, the right hand below."""

    LEFT = "left"
    RIGHT = "right"

    @property
    def other(self) -> Hand:
        """The other hand."""
        return Hand.RIGHT if self is Hand.LEFT else Hand.LEFT


class Finger(enum.IntEnum):
    """A finger and the hole that it closes, from the top of the chanter (0) down (7)."""

    LEFT_THUMB = 0
    LEFT_INDEX = 1
    LEFT_MIDDLE = 2
    LEFT_RING = 3
    RIGHT_INDEX = 4
    RIGHT_MIDDLE = 5
    RIGHT_RING = 6
    RIGHT_LITTLE = 7

    @property
    def label(self) -> str:
        """The finger's name: `right little`."""
        return self.name.replace("_", " ").lower()

    @property
    def hand(self) -> Hand:
        """The hand that it belongs to."""
        return Hand(_data()["holes"][self.label]["hand"])

    @property
    def sounds(self) -> Note:
        """The note that sounds when this finger's hole is the highest open one."""
        return _sounds()[self]

    def __str__(self) -> str:
        return "thumb" if self is Finger.LEFT_THUMB else self.label


Fingering = frozenset[Finger]
"""The fingers that close their holes."""


@cache
def _data() -> dict[str, Any]:
    text = (resources.files(__package__) / "fingering.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


@cache
def _sounds() -> Mapping[Finger, Note]:
    return {finger: note_named(_data()["holes"][finger.label]["sounds"]) for finger in Finger}


@cache
def fingering(note: Note) -> Fingering:
    """Return the fingers that close holes for `note`, by the chart."""
    return fingering_written(_data()["chart"][note.label])


def written(closed: Fingering) -> str:
    """Return a fingering as the chart writes it: `x xxx | xx--`, x closed and - open."""
    signs = "".join("x" if finger in closed else "-" for finger in Finger)
    return f"{signs[0]} {signs[1:4]} | {signs[4:]}"


def fingering_written(text: str) -> Fingering:
    """Return the fingering that `written` has written; raise `ValueError` for what is none."""
    signs = [sign for sign in text if sign in "x-"]
    return frozenset(finger for finger, sign in zip(Finger, signs, strict=True) if sign == "x")


def sounding(closed: Fingering) -> Note:
    """Return the note that a fingering sounds: that of its highest open hole, low G if none."""
    opened = [finger for finger in Finger if finger not in closed]
    return opened[0].sounds if opened else Note.LOW_G


def safe_hold() -> int:
    """How many fingers close holes where the chanter, on the right thumb, lies steady."""
    return int(_data()["limits"]["safe_hold"])


def big_change() -> int:
    """How many fingers must move at once for a change to count as big."""
    return int(_data()["limits"]["big_change"])


@cache
def false_notes() -> frozenset[Note]:
    """The notes that are false in pitch or tone where a finger stays that does not name them."""
    return frozenset(note_named(name) for name in _data()["false_notes"]["notes"])


@cache
def early_notes() -> frozenset[Note]:
    """The notes that tend to sound before a gracenote that leads up to them."""
    return frozenset(note_named(name) for name in _data()["early_notes"]["notes"])


@cache
def finger_of(note: Note) -> Finger | None:
    """The finger whose hole, as the highest open one, sounds `note`; None for low G."""
    return next((finger for finger in Finger if finger.sounds is note), None)
