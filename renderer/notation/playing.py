"""How movements are played: which slot begins on the beat, and how long their notes last.

Values as the ornament book, a definition, a line and an option write them. The *inner notes* of a
movement are those before its melody note; the length of one is that of the note itself, and the
gracenote that leads it comes on top, so that parts given one length are even (a grip sounds low G,
gracenote, low G). Where inner notes are a share of the beat and gracenotes are not, a slot lasts
that share and its gracenote takes its time from it.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from renderer.errors import WrongValueError
from renderer.notation.length import Length

Beat = Literal["first", "last"] | int
"""The slot of a movement that begins on the beat: its first, its last (the melody note), or a
number from 1; a number past the last slot means the last."""

BEAT_REMEDY = "write 'first', 'last' (the melody note) or a part's number, as 2"
_LARGEST_SLOT = 16


def read_beat(value: str | int) -> Beat:
    """Read which slot falls on the beat: `first`, `last` or a number, in text or as it is.

    Raises `WrongValueError` for anything else.
    """
    text = str(value).strip().casefold()
    match text:
        case "first" | "last" as word:
            return word
    if re.fullmatch(r"\d{1,2}", text) and 1 <= int(text) <= _LARGEST_SLOT:
        return int(text)
    raise WrongValueError(f"{value!r} is no part of a movement", BEAT_REMEDY)


def slot_on_the_beat(beat: Beat, slots: int) -> int:
    """Return the index, from 0, of the slot on the beat in a movement of so many slots."""
    match beat:
        case "first":
            return 0
        case "last":
            return slots - 1
        case number:
            return min(number, slots) - 1


@dataclass(frozen=True, slots=True)
class Inner:
    """How long the inner notes of movements last.

    Parameters
    ----------
    lengths:
        Of the notes before the melody note, the last for the one right before it; where a movement
        has more, the first holds for the rest. All in ms (closed) or all shares of the beat
        (opened out). None for `book` and `even`.
    is_even:
        Whether each note is shared evenly among the slots of its movement.
    """

    lengths: tuple[Length, ...] = ()
    is_even: bool = False

    @property
    def is_book(self) -> bool:
        """Whether each movement's own lengths hold, as the ornament book has them."""
        return not self.lengths and not self.is_even

    @property
    def is_opened(self) -> bool:
        """Whether movements are opened out, whatever the ornament book says."""
        return self.is_even or any(length.is_share_of_beat for length in self.lengths)

    def __str__(self) -> str:
        if self.lengths:
            return ", ".join(map(str, self.lengths))
        return "even" if self.is_even else "book"


BOOK = Inner()
EVEN = Inner(is_even=True)


@dataclass(frozen=True, slots=True)
class Playing:
    """How one movement is played where nobody says otherwise.

    Parameters
    ----------
    beat:
        The slot on the beat when the movement is closed; opened out it begins on the beat.
    inner:
        The lengths of its inner notes, aligned as `Inner.lengths`.
    least:
        The least that players manage, in ms, aligned in the same way.
    """

    beat: Beat = "first"
    inner: tuple[Length, ...] = (Length(Fraction(50), "ms"),)
    least: tuple[Length, ...] = (Length(Fraction(25), "ms"),)


USUAL_PLAYING = Playing()
"""Of gracenote groups that the book does not know: inner notes about as long as a gracenote, and at
least as long as a quick finger takes down and up again (both: judgement)."""


def aligned(lengths: tuple[Length, ...], inner_notes: int) -> tuple[Length, ...]:
    """Return a length for each of so many inner notes, the last given to the last."""
    missing = inner_notes - len(lengths)
    if missing > 0:
        return (lengths[0],) * missing + lengths
    return lengths[-inner_notes:] if inner_notes else ()
