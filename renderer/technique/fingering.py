"""What the fingers do: from one note, by way of a gracenote or none, to the next.

A `Fingering` is the set of fingers that close their holes. Its pitch is named by the highest open
hole. A `Change` is what the fingers do between two notes, step by step, with everything in it that
a teacher would warn about; all of that is computed from the chart (`fingering.toml`) and the rule
of the highest open hole. No durations here.

Order of moves (common practice): without a gracenote, everything that lifts, then everything that
closes. With a gracenote above both notes, its finger lifts together with everything that lifts,
and closes together with everything that closes. A gracenote below both notes is a tap: what it
needs closes, then opens again. A gracenote between the two notes is no flick of a finger; it is
fingered like a note of its own.
"""

from __future__ import annotations

import enum
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
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
    signs = [sign for sign in _data()["chart"][note.label] if sign in "x-"]
    return frozenset(finger for finger, sign in zip(Finger, signs, strict=True) if sign == "x")


def written(closed: Fingering) -> str:
    """Return a fingering as the chart writes it: `x xxx | xx--`, x closed and - open."""
    signs = "".join("x" if finger in closed else "-" for finger in Finger)
    return f"{signs[0]} {signs[1:4]} | {signs[4:]}"


def sounding(closed: Fingering) -> Note:
    """Return the note that a fingering sounds: that of its highest open hole, low G if none."""
    opened = [finger for finger in Finger if finger not in closed]
    return opened[0].sounds if opened else Note.LOW_G


def safe_hold() -> int:
    """How many fingers must close holes at every moment, so that the chanter cannot slip."""
    return int(_data()["limits"]["safe_hold"])


def big_change() -> int:
    """How many fingers must move at once for a change to count as big."""
    return int(_data()["limits"]["big_change"])


@cache
def _finger_of(note: Note) -> Finger | None:
    """The finger whose hole, as the highest open one, sounds `note`; None for low G."""
    return next((finger for finger in Finger if finger.sounds is note), None)


@dataclass(frozen=True, slots=True)
class Step:
    """Fingers that move together.

    Parameters
    ----------
    lifted, closed:
        The fingers that leave the chanter and those that come down, from the top.
    after:
        The fingering once they have.
    """

    lifted: tuple[Finger, ...]
    closed: tuple[Finger, ...]
    after: Fingering

    @property
    def sounds(self) -> Note:
        """What the chanter sounds after the step."""
        return sounding(self.after)


@dataclass(frozen=True, slots=True)
class Crossing:
    """A low note that sounds between two notes when fingers close too soon.

    Parameters
    ----------
    heard:
        The note that sounds, lower than both.
    hand_first:
        The hand whose fingers must move first.
    fingers:
        The fingers of that hand on which it turns.
    within_hand:
        Whether that hand makes the noise all by itself; else the other must wait for it.
    close_last:
        Whether these are fingers that must close after all others have moved; else they must lift
        before any other closes.
    between:
        The two notes that the low note sounds between.
    before_gracenote:
        Whether it sounds before the gracenote, where there is one, or after it.
    """

    heard: Note
    hand_first: Hand
    fingers: tuple[Finger, ...]
    within_hand: bool
    close_last: bool
    between: tuple[Note, Note]
    before_gracenote: bool


@dataclass(frozen=True, slots=True)
class Change:
    """What the fingers do from one note to the next, and what a teacher would say about it.

    Parameters
    ----------
    previous, gracenote, note:
        From, by way of, to. Without a note before (the start of a line), `previous` equals `note`.
    steps:
        What moves together, in order.
    crossing:
        The crossing noise that lurks in it, or None.
    silent:
        Fingers that must move although leaving them where they are would not be heard.
    loosest:
        The fewest fingers that close holes at any moment of it.
    steady:
        Where `loosest` is below a safe hold: the finger that can come down first, unheard, to
        steady the chanter; None if there is no such finger.
    """

    previous: Note
    gracenote: Note | None
    note: Note
    steps: tuple[Step, ...]
    crossing: Crossing | None
    silent: tuple[Finger, ...]
    loosest: int
    steady: Finger | None

    @property
    def lifted(self) -> tuple[Finger, ...]:
        """Every finger that lifts at some moment, from the top."""
        return _ordered(finger for step in self.steps for finger in step.lifted)

    @property
    def closed(self) -> tuple[Finger, ...]:
        """Every finger that closes at some moment, from the top."""
        return _ordered(finger for step in self.steps for finger in step.closed)

    @property
    def moved(self) -> tuple[Finger, ...]:
        """Every finger that moves, from the top."""
        return _ordered((*self.lifted, *self.closed))

    @property
    def travelling(self) -> tuple[Finger, ...]:
        """The fingers that end where they did not begin: those that move for the notes alone."""
        return _ordered(fingering(self.previous) ^ fingering(self.note))

    @property
    def easily_forgotten(self) -> tuple[Finger, ...]:
        """The silent fingers that no audible finger of the same hand takes along its own way.

        A finger on which a crossing noise turns is heard when it moves wrong: it is left out.
        """
        begin = fingering(self.previous)
        turning = () if self.crossing is None else self.crossing.fingers
        heard = {
            (finger.hand, finger in begin)
            for finger in self.travelling
            if finger not in self.silent
        }
        return tuple(
            f for f in self.silent if (f.hand, f in begin) not in heard and f not in turning
        )

    @property
    def holding(self) -> tuple[Finger, ...]:
        """The fingers that close holes at the moment when the fewest do."""
        states = [fingering(self.previous), *(step.after for step in self.steps)]
        loosest: Fingering = min(states, key=len)
        return _ordered(loosest)

    @property
    def hands(self) -> tuple[Hand, ...]:
        """The hands whose fingers move."""
        return tuple(hand for hand in Hand if any(f.hand is hand for f in self.moved))

    @property
    def is_loose(self) -> bool:
        """Whether fewer fingers than a safe hold close holes at some moment."""
        return self.loosest < safe_hold()

    @property
    def is_big(self) -> bool:
        """Whether many fingers move at once, the gracenote's left out."""
        return len(self.travelling) >= big_change()

    @property
    def chokes(self) -> bool:
        """Whether it is a G gracenote on low G, where an overblown practice chanter shuts down."""
        return self.gracenote is Note.HIGH_G and self.note is Note.LOW_G


def _ordered(fingers: Iterable[Finger]) -> tuple[Finger, ...]:
    return tuple(sorted(set(fingers)))


@cache
def change(previous: Note | None, gracenote: Note | None, note: Note) -> Change:
    """Return what the fingers do.

    Parameters
    ----------
    previous:
        The note before; None at the start of a line, where the fingers are on `note` already.
    gracenote:
        The gracenote on the way, or None.
    note:
        The note that it leads to.
    """
    start = note if previous is None else previous
    stations = _stations(start, gracenote, note)
    steps: list[Step] = []
    before = fingering(start)
    for after in stations:
        steps += _steps(before, after)
        before = after
    loosest = min(len(closed) for closed in (fingering(start), *(step.after for step in steps)))
    return Change(
        previous=start,
        gracenote=gracenote,
        note=note,
        steps=tuple(steps),
        crossing=_crossing_on_the_way(start, gracenote, note, stations),
        silent=_silent(start, note),
        loosest=loosest,
        steady=_steady(start, note) if loosest < safe_hold() else None,
    )


def _stations(start: Note, gracenote: Note | None, note: Note) -> list[Fingering]:
    """Return the fingerings passed through after that of `start`, that of `note` last."""
    end = fingering(note)
    if gracenote is None:
        return [end]
    finger = _finger_of(gracenote)
    if gracenote > start and gracenote > note:
        return [(fingering(start) & end) - {finger}, end]
    if gracenote < start and gracenote < note:
        above = frozenset(f for f in Finger if finger is None or f < finger)
        return [(fingering(start) | above) - {finger}, end]
    return [fingering(gracenote), end]


def _steps(before: Fingering, after: Fingering) -> list[Step]:
    lifted, closed = _ordered(before - after), _ordered(after - before)
    steps = []
    if lifted:
        steps.append(Step(lifted, (), before & after))
    if closed:
        steps.append(Step((), closed, after))
    return steps


def _crossing_on_the_way(
    start: Note, gracenote: Note | None, note: Note, stations: list[Fingering]
) -> Crossing | None:
    if gracenote is None or (gracenote > start and gracenote > note):
        # The gracenote's finger is above all others: it hides the noise while it is up, so the
        # noise is heard when the others move before it does.
        return _crossing(fingering(start), fingering(note), gracenote is not None)
    tap = stations[0]
    return _crossing(fingering(start), tap, True) or _crossing(tap, fingering(note), False)


def _crossing(before: Fingering, after: Fingering, before_gracenote: bool) -> Crossing | None:
    """Return the noise between two fingerings, if some order of the moves makes one.

    The lowest that any order can reach is everything closed that closes, nothing lifted yet.
    """
    between = sounding(before), sounding(after)
    lowest = sounding(before | after)
    if lowest >= min(between):
        return None
    lifts, closes = before - after, after - before
    moves = lifts | closes
    for hand in Hand:
        of_hand = frozenset(finger for finger in moves if finger.hand is hand)
        # This hand done, the other still where it was.
        heard = sounding(before ^ of_hand)
        if of_hand not in (frozenset(), moves) and heard < min(between):
            first = _ordered(lifts - of_hand)
            return Crossing(heard, hand.other, first, False, False, between, before_gracenote)
    # No hand disturbs the other: the noise is made within the one that both lifts and closes.
    hand = next(h for h in Hand if {h} <= {f.hand for f in lifts} & {f.hand for f in closes})
    up = _ordered(finger for finger in lifts if finger.hand is hand)
    down = _ordered(finger for finger in closes if finger.hand is hand)
    close_last = len(down) < len(up)
    turning = down if close_last else up
    return Crossing(lowest, hand, turning, True, close_last, between, before_gracenote)


def _silent(start: Note, note: Note) -> tuple[Finger, ...]:
    """The fingers that end where they did not begin, and whose staying would not be heard."""
    end = fingering(note)
    return _ordered(f for f in fingering(start) ^ end if sounding(end ^ {f}) is note)


def _steady(start: Note, note: Note) -> Finger | None:
    """The finger that can come down before all others without being heard.

    The hand that would let go altogether comes first; within it the lowest finger, which has the
    others above it free.
    """
    begin, end = fingering(start), fingering(note)
    free = [finger for finger in end - begin if sounding(begin | {finger}) is start]
    holding = {finger.hand for finger in begin & end}
    return max(free, key=lambda finger: (finger.hand not in holding, finger), default=None)
