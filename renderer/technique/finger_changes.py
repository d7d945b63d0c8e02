"""What the fingers do: from one note, by way of a gracenote or none, to the next.

A `Change` is what the fingers do between two notes, step by step, with everything in it that a
teacher would warn about; all of that is computed from the chart and the rule of the highest open
hole. No durations here.

Order of moves (common practice): without a gracenote, everything that lifts, then everything that
closes. With a gracenote above both notes, its finger lifts together with everything that lifts,
and closes together with everything that closes. A gracenote below both notes is a tap: what it
needs closes, then opens again. A gracenote between the two notes is no flick of a finger; it is
fingered like a note of its own.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cache
from itertools import combinations

from renderer.notation.pitch import Note
from renderer.technique.fingering import (
    Finger,
    Fingering,
    Hand,
    big_change,
    early_notes,
    finger_of,
    fingering,
    safe_hold,
    sounding,
)


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
        The note that sounds, lower than both, when each hand moves as one and in the wrong order.
    lowest:
        The note that sounds when all that closes does so before anything lifts: `heard`, or one
        lower still. Which of the two it is depends on what closes first.
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
    lowest: Note
    hand_first: Hand
    fingers: tuple[Finger, ...]
    within_hand: bool
    close_last: bool
    between: tuple[Note, Note]
    before_gracenote: bool


@dataclass(frozen=True, slots=True)
class Rolling:
    """Notes passed through when fingers that move together do so one after the other.

    Parameters
    ----------
    heard:
        The notes between the two, the lowest first, of which one or more may sound.
    fingers:
        The fingers that must move together, from the top: all of one hand, or those of both where
        one hand sounds a note between when the other waits.
    lifts:
        Whether all of them lift (True) or close (False); None where some do one, some the other.
    """

    heard: tuple[Note, ...]
    fingers: tuple[Finger, ...]
    lifts: bool | None

    @property
    def hand(self) -> Hand | None:
        """The hand that the fingers belong to; None where both take part."""
        first, last = self.fingers[0].hand, self.fingers[-1].hand
        return first if first is last else None


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
    rolling:
        The rolling noises that lurk in it, for each hand and for both at most one; none by way of a
        gracenote, which covers them.
    sounds_early:
        Whether the note itself tends to sound before the gracenote that leads up to it.
    silent:
        Fingers that must move although the highest open hole, which names the pitch, would be the
        same without them. Left where they are they make a false fingering.
    loosest:
        The fewest fingers that close holes at any moment of it; the right thumb, which supports
        the chanter always and closes no hole, is not among them.
    steady:
        Where `loosest` is below a safe hold: the finger that can come down first to steady the
        chanter, the note before sounding on; None if there is no such finger.
    """

    previous: Note
    gracenote: Note | None
    note: Note
    steps: tuple[Step, ...]
    crossing: Crossing | None
    rolling: tuple[Rolling, ...]
    sounds_early: bool
    silent: tuple[Finger, ...]
    loosest: int
    steady: Finger | None

    def __hash__(self) -> int:
        # All else follows from these, and changes are looked up at every note.
        return hash((self.previous, self.gracenote, self.note))

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
    def hands(self) -> tuple[Hand, ...]:
        """The hands whose fingers move."""
        return tuple(hand for hand in Hand if any(f.hand is hand for f in self.moved))

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
    crossing = _crossing_on_the_way(start, gracenote, note, stations)
    loosest = min(len(closed) for closed in (fingering(start), *(step.after for step in steps)))
    return Change(
        previous=start,
        gracenote=gracenote,
        note=note,
        steps=tuple(steps),
        crossing=crossing,
        rolling=() if gracenote is not None else tuple(_rolling(start, note, crossing)),
        sounds_early=_sounds_early(start, gracenote, note),
        silent=_silent(start, note),
        loosest=loosest,
        steady=_steady(start, note) if loosest < safe_hold() else None,
    )


def _stations(start: Note, gracenote: Note | None, note: Note) -> list[Fingering]:
    """Return the fingerings passed through after that of `start`, that of `note` last."""
    end = fingering(note)
    if gracenote is None:
        return [end]
    finger = finger_of(gracenote)
    if gracenote > start and gracenote > note:
        return [(fingering(start) & end) - {finger}, end]
    if gracenote < start and gracenote < note:
        above = frozenset(f for f in Finger if finger is None or f < finger)
        return [(fingering(start) | above) - {finger}, end]
    return [fingering(gracenote), end]


@cache
def gracenote_fingering(previous: Note, gracenote: Note, note: Note) -> Fingering:
    """Return the fingers that are down while a gracenote sounds between two notes."""
    return _stations(previous, gracenote, note)[0]


@cache
def noise_fingering(before: Fingering, after: Fingering, heard: Note) -> Fingering:
    """Return the fingers that are down while a noise sounds between two fingerings.

    One hand has moved and the other has not, or everything that closes has; where neither sounds
    `heard`, its own fingering is returned.
    """
    of_hands = (frozenset(f for f in before ^ after if f.hand is hand) for hand in Hand)
    on_the_way = (before | after, *(before ^ moved for moved in of_hands), before & after)
    return next((way for way in on_the_way if sounding(way) is heard), fingering(heard))


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
            return Crossing(
                heard, lowest, hand.other, first, False, False, between, before_gracenote
            )
    # No hand disturbs the other: the noise is made within the one that both lifts and closes.
    hand = next(h for h in Hand if {h} <= {f.hand for f in lifts} & {f.hand for f in closes})
    up = _ordered(finger for finger in lifts if finger.hand is hand)
    down = _ordered(finger for finger in closes if finger.hand is hand)
    close_last = len(down) < len(up)
    turning = down if close_last else up
    return Crossing(lowest, lowest, hand, turning, True, close_last, between, before_gracenote)


def _rolling(start: Note, note: Note, crossing: Crossing | None) -> Iterator[Rolling]:
    """Yield what sounds between two notes when fingers that belong together move one by one."""
    before, after = fingering(start), fingering(note)
    moves = before ^ after
    low, high = min(start, note), max(start, note)
    # Fingers that must move first or last because of a crossing noise are no part of it.
    apart = set(crossing.fingers) if crossing is not None and crossing.within_hand else set()
    both: set[Note] = set()
    for hand in Hand:
        own = _ordered(finger for finger in moves if finger.hand is hand)
        others = moves - set(own)
        heard: set[Note] = set()
        turning: set[Finger] = set()
        # The other hand has not moved yet, or has moved already.
        for around in {before, before ^ others}:
            for count in range(1, len(own)):
                for moved in combinations(own, count):
                    heard.add(sounding(around ^ frozenset(moved)))
            # Fingers that never change what sounds may move when they like.
            turning |= {f for f in own if _is_heard(f, own, around)}
        if others:
            both.add(sounding(before ^ frozenset(own)))
        if heard := {passed for passed in heard if low < passed < high}:
            yield _passing(heard, turning - apart, before)
    if both := {passed for passed in both if low < passed < high}:
        yield _passing(both, moves, before)


def _passing(heard: set[Note], fingers: Iterable[Finger], before: Fingering) -> Rolling:
    lifts = {finger in before for finger in fingers}
    only = lifts.pop() if len(lifts) == 1 else None
    return Rolling(tuple(sorted(heard)), _ordered(fingers), only)


def _is_heard(finger: Finger, own: tuple[Finger, ...], around: Fingering) -> bool:
    """Whether it can be heard when `finger` moves, whichever of its hand have moved before."""
    rest = [other for other in own if other is not finger]
    states = (
        around ^ frozenset(moved)
        for count in range(len(rest) + 1)
        for moved in combinations(rest, count)
    )
    return any(sounding(state) is not sounding(state ^ {finger}) for state in states)


def _sounds_early(start: Note, gracenote: Note | None, note: Note) -> bool:
    """Whether a note above `start` may sound before its gracenote, whose finger is beside its own.

    The fingers of such a note lift with that of the gracenote and easily before it.
    """
    return gracenote is not None and start < note < gracenote and note in early_notes()


def _silent(start: Note, note: Note) -> tuple[Finger, ...]:
    """The fingers that end where they did not begin, and whose staying names the same note."""
    end = fingering(note)
    return _ordered(f for f in fingering(start) ^ end if sounding(end ^ {f}) is note)


def _steady(start: Note, note: Note) -> Finger | None:
    """The finger that can come down before all others while the note before sounds on.

    The hand that would let go altogether comes first; within it the lowest finger, which has the
    others above it free.
    """
    begin, end = fingering(start), fingering(note)
    free = [finger for finger in end - begin if sounding(begin | {finger}) is start]
    holding = {finger.hand for finger in begin & end}
    return max(free, key=lambda finger: (finger.hand not in holding, finger), default=None)
