"""Room for movements at the tempo that is played: each as long as it should be, or as it can.

A closed movement lasts as long as the exercise or the ornament book says. Where the tempo leaves it
less, its inner notes become shorter, each movement for itself, down to the least that players
manage; only where that is not enough do gracenotes become shorter too. What stands between two
melody notes shares what room there is: the parts of one movement after its beat, those of the next
before its beat, and what is left of the melody note. Where even the least of all has no room, notes
come a little off the beat (`giving_way`).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise

from renderer.notation.limits import LEAST_SOUNDING_MS
from renderer.notation.playing import USUAL_PLAYING
from renderer.notation.score import Exercise
from renderer.timing.soundings import MILLISECOND, Chain, Moment, Sounding, chains_of
from renderer.timing.timeline import Role

COMFORTABLE_SECONDS = USUAL_PLAYING.inner[0].value * MILLISECOND
"""What a melody note keeps beside movements of their own length (judgement)."""

QUICK_SECONDS = USUAL_PLAYING.least[0].value * MILLISECOND
"""What it keeps beside gracenotes of their own length: a quick inner note (judgement)."""

Degree = Fraction
"""How long the parts of a movement are: 2 as they should be, 1 with the least inner notes, 0 with
the least gracenotes too, and in between in proportion."""

_OWN = Fraction(2)

_LEAST_SECONDS = LEAST_SOUNDING_MS * MILLISECOND

Place = tuple[int, int, int]
"""A written note: the index of its line, and its bar and item from 1."""

Offsets = Mapping[Place, Fraction]
"""How far written notes come off the beat, in seconds: above 0 they come later."""

Side = tuple[Place, bool]
"""A written note, and whether that of it is meant which comes before its beat."""


@dataclass(frozen=True, slots=True)
class Joins:
    """What comes before and after a line in a track.

    Parameters
    ----------
    repeated:
        Whether the line follows itself without a gap.
    follows:
        Whether the next line of the exercise comes right after it.
    silences:
        How long each silence lasts that the line begins after (a count-in, clicks, an echo).
    opens_track:
        Whether nothing at all comes before its first playing.
    is_asked_alone:
        Whether it is not known what comes before, which may be silence.
    """

    repeated: bool = False
    follows: bool = False
    silences: tuple[Moment, ...] = ()
    opens_track: bool = False
    is_asked_alone: bool = False

    @property
    def may_follow_silence(self) -> bool:
        """Whether the line can begin after silence, in which no note comes early."""
        return self.opens_track or self.is_asked_alone or bool(self.silences)


@dataclass(frozen=True, slots=True)
class Room:
    """How long something is heard, and how long it must be.

    Parameters
    ----------
    sounding:
        The note or rest in question, the gracenote that leads it left out; None for a silence
        between lines.
    heard:
        From its start, or the end of its gracenote, to the next sounding.
    needs:
        Seconds, at every tempo.
    sides:
        The written notes whose movements take their time from it.
    is_gracenote:
        Whether not the note but its gracenote, opened out, is meant.
    """

    sounding: Sounding | None
    heard: Moment
    needs: Fraction
    sides: tuple[Side, ...] = ()
    is_gracenote: bool = False

    def fits(self, seconds_per_beat: Fraction) -> bool:
        """Whether there is room when a beat lasts `seconds_per_beat`."""
        return self.heard.at(seconds_per_beat) >= self.needs

    @property
    def fastest(self) -> Fraction | None:
        """The fastest tempo (beats per minute) with room, 0 if no tempo has, None if every one."""
        lacking = self.needs - self.heard.seconds
        if self.heard.beats > 0:
            return 60 * self.heard.beats / lacking if lacking > 0 else None
        fits_at_every_tempo = lacking <= 0 and self.heard.beats == 0
        return None if fits_at_every_tempo else Fraction(0)


def _needs(sounding: Sounding) -> Fraction:
    return Fraction(0) if sounding.note is None else _LEAST_SECONDS


def _sides(index: int, here: Sounding, after: tuple[int, Sounding] | None) -> tuple[Side, ...]:
    if here.role is Role.INNER:
        # Of closed movements each part has its own time; opened out, gracenotes take their time
        # from the part: its own or, before the beat, the next one's.
        if after is None or not (after[1].start - here.start).beats:
            return ()
        place = index, here.bar, here.item
        return tuple((place, leads_in) for leads_in in {here.leads_in, after[1].leads_in})
    sides: list[Side] = [((index, here.bar, here.item), False)]
    if after is not None:
        line, then = after
        sides.append(((line, then.bar, then.item), True))
    return tuple(sides)


def rooms(chains: Sequence[Chain], index: int, joins: Joins) -> Iterator[Room]:
    """Yield the room of every sounding of a line; its last has one for each thing that follows.

    Parameters
    ----------
    chains:
        The soundings of every line of the exercise.
    index:
        Which line, from 0.
    joins:
        What comes before and after it.
    """
    chain = chains[index]
    soundings = chain.soundings
    for here, after in pairwise(soundings):
        heard = after.start - here.start - here.gracenote_lasts
        yield Room(here, heard, _needs(here), _sides(index, here, (index, after)))
    for here in soundings:
        if here.gracenote_lasts.beats:
            yield Room(here, here.gracenote_lasts, _LEAST_SECONDS, is_gracenote=True)
    if not soundings:
        return
    first, last = soundings[0], soundings[-1]
    end = Moment(chain.beats) - last.start - last.gracenote_lasts
    nexts = [(index, first)] if joins.repeated else []
    if joins.follows and chains[index + 1].soundings:
        nexts.append((index + 1, chains[index + 1].soundings[0]))
    for line, then in nexts:
        yield Room(last, end + then.start, _needs(last), _sides(index, last, (line, then)))
    if not nexts:
        yield Room(last, end, _needs(last), _sides(index, last, None))
    yield from _head_rooms(chain, index, joins, nexts)


def _head_rooms(
    chain: Chain, index: int, joins: Joins, nexts: Sequence[tuple[int, Sounding]]
) -> Iterator[Room]:
    """Yield where a line that does not follow on takes the time for what precedes its beat.

    `nexts` is what can follow the line: the number of a line and its first sounding.
    """
    first = chain.soundings[0]
    if not first.leads_in:
        return
    place = (index, first.bar, first.item)
    for silence in joins.silences:
        yield Room(None, silence + first.start, Fraction(0), ((place, True),))
    if joins.opens_track:
        # From the first note itself.
        own = [one for one in chain.soundings if (one.bar, one.item) == (first.bar, first.item)]
        rest = chain.soundings[len(own) :]
        line_ends = Moment(chain.beats)
        # What comes next, and where: in the line, or after it where the note is all of the line.
        coming: list[tuple[Moment, tuple[int, Sounding] | None]] = (
            [(rest[0].start, (index, rest[0]))]
            if rest
            else [(line_ends + then.start, (line, then)) for line, then in nexts]
        )
        for end, after in coming or [(line_ends, None)]:
            heard = end + first.start - own[-1].start - own[-1].gracenote_lasts
            sides = (*_sides(index, own[-1], after), (place, True))
            yield Room(own[-1], heard, _needs(own[-1]), sides)


def moved_to_the_start(chain: Chain) -> Chain:
    """Return a line that opens a track: its first written note begins with it, not before it."""
    if not chain.soundings or not chain.soundings[0].leads_in:
        return chain
    first = chain.soundings[0]
    return replace(
        chain,
        soundings=tuple(
            replace(one, start=one.start - first.start)
            if (one.bar, one.item) == (first.bar, first.item)
            else one
            for one in chain.soundings
        ),
    )


@dataclass(frozen=True, slots=True)
class Fitted:
    """Lines at one tempo.

    Parameters
    ----------
    chains:
        The lines, movements shortened where they had too little room.
    shortened:
        The written notes whose movements were, each with its `Degree`, below 2.
    offsets:
        How far notes come off the beat, where even the shortest movements had no room.
    """

    chains: tuple[Chain, ...]
    shortened: Mapping[Place, Degree]
    offsets: Offsets


def _moved(chains: Sequence[Chain], offsets: Offsets) -> Sequence[Chain]:
    """Return lines whose notes come so far off the beat."""
    lines = {index for index, _, _ in offsets}
    return [
        replace(chain, soundings=tuple(_moved_in(index, chain, offsets)))
        if index in lines
        else chain
        for index, chain in enumerate(chains)
    ]


def _moved_in(index: int, chain: Chain, offsets: Offsets) -> Iterator[Sounding]:
    for one in chain.soundings:
        offset = offsets.get((index, one.bar, one.item))
        moved = one.start if offset is None else one.start + Moment(seconds=offset)
        yield one if offset is None else replace(one, start=moved)


def fitted(
    exercise: Exercise,
    natural: Sequence[Chain],
    least: Sequence[Chain],
    joins: Sequence[Joins],
    seconds_per_beat: Fraction,
    offsets: Offsets,
) -> Fitted:
    """Return lines with each movement shortened by as much as it must be, and no more.

    Parameters
    ----------
    exercise:
        As it is played.
    natural, least:
        Its lines with their own lengths, and with the least of all.
    joins:
        What comes before and after each line.
    seconds_per_beat:
        At the tempo that is played.
    offsets:
        How far notes come off the beat, so that the least of all fits.
    """
    shortened: dict[Place, Degree] = {}
    natural, least = _moved(natural, offsets), _moved(least, offsets)
    if not any(
        own.heard != shortest.heard and own.heard.at(seconds_per_beat) < COMFORTABLE_SECONDS
        for index, line_joins in enumerate(joins)
        for own, shortest in zip(
            rooms(natural, index, line_joins), rooms(least, index, line_joins), strict=True
        )
    ):
        return Fitted(tuple(natural), shortened, offsets)
    least_inner = _moved(chains_of(exercise, "least inner"), offsets)
    degrees: dict[Side, Degree] = {}
    for index, line_joins in enumerate(joins):
        each = (rooms(chains, index, line_joins) for chains in (natural, least_inner, least))
        for own, between, shortest in zip(*each, strict=True):
            degree = _degree(own, between, shortest, seconds_per_beat)
            if degree < _OWN:
                for side in own.sides:
                    degrees[side] = min(degree, degrees.get(side, degree))
    if not degrees:
        return Fitted(tuple(natural), shortened, offsets)
    chains: list[Chain] = []
    for index, lines in enumerate(zip(natural, least_inner, least, strict=True)):
        soundings: list[Sounding] = []
        each_way = zip(*(chain.soundings for chain in lines), strict=True)
        for here, between_here, shortest_here in each_way:
            place = (index, here.bar, here.item)
            degree = degrees.get((place, here.leads_in), _OWN)
            played = (
                here if degree == _OWN else _shortened(here, between_here, shortest_here, degree)
            )
            if played != here:
                shortened[place] = min(degree, shortened.get(place, degree))
            soundings.append(played)
        chains.append(replace(lines[0], soundings=tuple(soundings)))
    return Fitted(tuple(chains), shortened, offsets)


def _shortened(own: Sounding, between: Sounding, shortest: Sounding, degree: Degree) -> Sounding:
    longer, shorter, share = (
        (own, between, degree - 1) if degree >= 1 else (between, shortest, degree)
    )
    return replace(
        own,
        start=shorter.start.towards(longer.start, share),
        gracenote_lasts=shorter.gracenote_lasts.towards(longer.gracenote_lasts, share),
    )


def _degree(own: Room, between: Room, shortest: Room, seconds_per_beat: Fraction) -> Degree:
    """How long what takes its time from a room may be: just so long that there is room."""
    shrinks, shrinks_more = own.heard != between.heard, between.heard != shortest.heard
    if not (shrinks or shrinks_more):
        return _OWN
    is_heard = own.needs > 0
    enough = QUICK_SECONDS if is_heard else Fraction(0)
    plenty = COMFORTABLE_SECONDS if is_heard and shrinks else enough
    left = own.heard.at(seconds_per_beat) - plenty
    if left >= 0:
        return _OWN
    left_between = between.heard.at(seconds_per_beat) - enough
    if left_between >= 0:
        return 1 + left_between / (left_between - left)
    if not shrinks_more:
        return Fraction(1)
    left_at_least = shortest.heard.at(seconds_per_beat) - shortest.needs
    return left_at_least / (left_at_least - left_between) if left_at_least > 0 else Fraction(0)
