"""Movements that give way: a little off the beat where even the least lengths leave no room.

A written note keeps the beat as long as it can. Where a movement, its parts as short as players
manage, and the one beside it lack room, the later one comes later and, where that is not enough,
the earlier one earlier. The beat stays within a movement: it comes no earlier than its first
sounding and no later than its melody note, which is how far apart players put it (common practice).
A note without a movement stays where it is.

Each `Room` asks that what follows it does not come too early after what precedes it. How early and
how late each note can come follows by going through the notes once forward and once back.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import groupby
from typing import NamedTuple

from renderer.timing.room import Joins, Offsets, Place, Room, rooms
from renderer.timing.soundings import NOTHING, Chain, Moment, Sounding
from renderer.timing.timeline import Role

_ROUNDS = 3
"""How often a line that follows itself is gone through: what its end asks of its beginning comes
round once, since the line as a whole has room (`Bonds.rings`)."""

_MOST_STEPS = 50
"""To the fastest tempo. Each step is exact for the notes that are tightest: few are ever taken."""


class Range(NamedTuple):
    """How far a note may come off its beat, in seconds: earlier and later, both 0 or above."""

    earlier: Fraction
    later: Fraction


_HELD = Range(Fraction(0), Fraction(0))


@dataclass(frozen=True, slots=True)
class Bond:
    """A room and the notes that it lies between, each None where it stays on its beat."""

    earlier: Place | None
    later: Place | None
    room: Room

    @property
    def is_held(self) -> bool:
        """Whether both notes stay on their beats."""
        return self.earlier is None and self.later is None


class Bonds:
    """What holds the notes of some lines in place.

    Parameters
    ----------
    chains:
        The soundings of every line, closed movements as short as players manage.
    joins:
        What comes before and after each line. What follows a silence comes no earlier.
    indices:
        The lines that are asked about, from 0.
    """

    def __init__(
        self, chains: Sequence[Chain], joins: Sequence[Joins], indices: Iterable[int]
    ) -> None:
        self._chains, self._joins = chains, joins
        self._ranges: dict[int, dict[Place, Range]] = {}
        self._lines = {
            index: [self._bond(room) for room in rooms(chains, index, joins[index])]
            for index in indices
        }

    def of_line(self, index: int) -> Sequence[Bond]:
        """Return what holds the notes of one of the lines, a bond for each of its `rooms`."""
        return self._lines[index]

    def range_of(self, place: Place) -> Range:
        """Return how far a written note may come off its beat."""
        index = place[0]
        if index not in self._ranges:
            self._ranges[index] = dict(_ranges(self._chains[index], index, self._joins[index]))
        return self._ranges[index].get(place, _HELD)

    def _bond(self, room: Room) -> Bond:
        earlier = later = None
        for side in room.sides:
            place, leads_in = side
            # A note on both sides of a room takes it along.
            if (place, not leads_in) not in room.sides and self.range_of(place) != _HELD:
                earlier, later = (earlier, place) if leads_in else (place, later)
        return Bond(earlier, later, room)

    def _pushed(
        self,
        seconds_per_beat: Fraction,
        start: Callable[[Place], Moment],
        *,
        back: bool = False,
    ) -> dict[Place, Moment]:
        """How late notes must come, pushed on by those before them from where they start.

        With `back` how early, pushed back by those after them, counted backwards.
        """
        pushed: dict[Place, Moment] = {}
        for bonds in reversed(self._lines.values()) if back else self._lines.values():
            for _ in range(_ROUNDS):
                is_settled = True
                for bond in reversed(bonds) if back else bonds:
                    by, note = bond.earlier, bond.later
                    if back:
                        by, note = note, by
                    if note is None:
                        continue
                    push = Moment(seconds=bond.room.needs) - bond.room.heard
                    if by is not None:
                        push += pushed.get(by) or start(by)
                    here = pushed.get(note) or start(note)
                    if push.at(seconds_per_beat) > here.at(seconds_per_beat):
                        pushed[note] = push
                        is_settled = False
                if is_settled:
                    break
        return pushed

    def _earliest(self, place: Place) -> Moment:
        return Moment(seconds=-self.range_of(place).earlier)

    def _latest(self, place: Place) -> Moment:
        """Counted backwards."""
        return Moment(seconds=-self.range_of(place).later)

    def offsets(self, seconds_per_beat: Fraction) -> Offsets | None:
        """How far which notes come off the beat, as little as can be; None if all is too tight."""
        latest = self._pushed(seconds_per_beat, self._latest, back=True)
        # Notes that must be early; all others begin on the beat and are pushed on from there.
        start = {
            place: Moment(seconds=min(Fraction(0), -moment.at(seconds_per_beat)))
            for place, moment in latest.items()
        }
        pushed = start | self._pushed(seconds_per_beat, lambda place: start.get(place, NOTHING))
        found = {place: moment.at(seconds_per_beat) for place, moment in pushed.items()}
        for place, offset in found.items():
            most = self.range_of(place)
            if not -most.earlier <= offset <= most.later:
                return None
        for bonds in self._lines.values():
            for bond in bonds:
                apart = bond.room.heard.at(seconds_per_beat) - bond.room.needs
                if bond.later is not None:
                    apart += found.get(bond.later, 0)
                if bond.earlier is not None:
                    apart -= found.get(bond.earlier, 0)
                if apart < 0:
                    return None
        return {place: offset for place, offset in found.items() if offset}

    def _widest(self, seconds_per_beat: Fraction) -> Iterator[tuple[int, Room, Room]]:
        """Yield rooms, each with its line and as wide as it gets: all fits where these do.

        The last of a line that follows itself is that of all its notes together.
        """
        earliest = self._pushed(seconds_per_beat, self._earliest)
        latest = self._pushed(seconds_per_beat, self._latest, back=True)
        for index, bonds in self._lines.items():
            for bond in bonds:
                heard = bond.room.heard
                if bond.earlier is not None:
                    heard -= earliest.get(bond.earlier) or self._earliest(bond.earlier)
                if bond.later is not None:
                    heard -= latest.get(bond.later) or self._latest(bond.later)
                widest = bond.room if bond.is_held else replace(bond.room, heard=heard)
                yield index, bond.room, widest
            for room in self._ring(index):
                yield index, room, room

    def too_tight(self, seconds_per_beat: Fraction) -> Iterator[tuple[int, Room, Room]]:
        """Yield the rooms that nothing fits into, each with its line and as wide as it gets."""
        for index, room, widest in self._widest(seconds_per_beat):
            if not (room.fits(seconds_per_beat) or widest.fits(seconds_per_beat)):
                yield index, room, widest

    def _ring(self, index: int) -> Iterator[Room]:
        if self._joins[index].repeated:
            between = [one.room for one in self._lines[index] if _is_between_notes(one.room, index)]
            heard = Moment(
                sum((room.heard.beats for room in between), Fraction(0)),
                sum((room.heard.seconds for room in between), Fraction(0)),
            )
            needs = sum((room.needs for room in between), Fraction(0))
            if between:
                yield replace(between[0], heard=heard, needs=needs)

    def fastest(self) -> Fraction | None:
        """The fastest tempo at which all fits; 0 if none does, None if every one does."""
        limits = [(limit, bond) for bond in self._all() if (limit := bond.room.fastest) is not None]
        if not limits:
            return None
        slowest, tightest = min(limits, key=lambda limit: limit[0])
        if tightest.is_held:
            return slowest
        tempo = self._at_best()
        if tempo is None:
            return None
        for _ in range(_MOST_STEPS):
            if tempo <= slowest:
                return slowest
            limits_here = [
                limit
                for _, _, widest in self._widest(60 / tempo)
                if not widest.fits(60 / tempo) and (limit := widest.fastest) is not None
            ]
            if not limits_here:
                return tempo
            tempo = min(limits_here)
        return slowest

    def _all(self) -> Iterator[Bond]:
        for bonds in self._lines.values():
            yield from bonds

    def _at_best(self) -> Fraction | None:
        """The fastest tempo if each room had its neighbours to itself."""
        limits = [room.fastest for index in self._lines for room in self._ring(index)]
        for bond in self._all():
            heard = bond.room.heard
            if bond.earlier is not None:
                heard -= self._earliest(bond.earlier)
            if bond.later is not None:
                heard -= self._latest(bond.later)
            limits.append(replace(bond.room, heard=heard).fastest)
        return min((limit for limit in limits if limit is not None), default=None)


def _ranges(chain: Chain, index: int, joins: Joins) -> Iterator[tuple[Place, Range]]:
    """Yield the notes of a line that can come off their beats; only closed movements can."""
    at_the_head = joins.may_follow_silence
    for (bar, item), group in groupby(chain.soundings, key=lambda one: (one.bar, one.item)):
        found = _range(list(group), at_the_head=at_the_head)
        at_the_head = False
        if found != _HELD:
            yield (index, bar, item), found


def _range(note: Sequence[Sounding], *, at_the_head: bool) -> Range:
    first, last = note[0], note[-1]
    if any(one.gracenote_lasts.beats or one.start.beats != first.start.beats for one in note):
        return _HELD
    # In a closed movement seconds count from the beat of its note.
    earlier = max(Fraction(0), last.start.seconds + last.gracenote_lasts.seconds)
    return Range(Fraction(0) if at_the_head else earlier, max(Fraction(0), -first.start.seconds))


def _is_between_notes(room: Room, line: int) -> bool:
    """Whether a room lies between two written notes of a line that follow each other."""
    sounding = room.sounding
    return (
        sounding is not None
        and sounding.role is not Role.INNER
        and not room.is_gracenote
        and len(room.sides) == 2
        and all(place[0] == line for place, _ in room.sides)
    )
