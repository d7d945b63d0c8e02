"""A line as a loop, as plain data: what a player needs to place it at any tempo by itself.

`renderer.timing.data` tells one track at one tempo. Here are a line's moments with its movements as
long as they should be, with the least inner notes and with the least gracenotes, and the rooms that
decide how much of that there is at a tempo (`renderer.timing.room`). With them a second player
places the line at every tempo exactly as `renderer.timing.expand` does, by the same rule:

- the degree of a room at so many seconds a beat is 2 where what is heard leaves `plenty`
  (`comfortable` where it is a sound and inner notes shrink, `quick` where only gracenotes do, else
  0), from 2 to 1 while the least inner notes leave `enough` (`quick`, of a silence 0), from 1 to 0
  while the least gracenotes leave `needs`;
- a side (bar, item, whether what comes before its beat is meant) has the least degree of its rooms;
- a sounding lies between its second and first moments from degree 1 to 2, between its third and
  second ones from 0 to 1.

- where even the least of all has no room, notes come off their beats first (`renderer.timing.
  giving_way`): rooms name the `places` that they lie between, each with how much earlier and later
  it may come; pushed on and back from their beats, as little as can be, they give the seconds by
  which every start and room moves.

What a line begins after is a `LeadIn`. Moments are texts of exact fractions, `[beats, seconds]`, or
`[beats, seconds, share]` with so many lengths of a gracenote more: gracenotes that a page lets
learners choose the length of, from `gracenote_least` up. Three of them stand in a row, or one where
all three are the same. Bars, items and slots count from 1, bars as they are played.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any

from renderer.notation.length import Length
from renderer.notation.limits import FASTEST_TEMPO, LEAST_GRACENOTE_MS
from renderer.notation.pitch import Note
from renderer.notation.score import Exercise, bar_numbers, bar_offsets, note_id
from renderer.timing.expand import LEAST_INTRODUCTION, CountInStyle, NoisePlace, lead_in_beats
from renderer.timing.giving_way import Bond, Bonds
from renderer.timing.order_of_playing import played, played_alone
from renderer.timing.room import (
    COMFORTABLE_SECONDS,
    QUICK_SECONDS,
    Joins,
    Place,
    Room,
    rooms,
)
from renderer.timing.soundings import MILLISECOND, Chain, Moment, Sounding, chains_of

PlainMoment = list[str]


_LONGER = Length(Fraction(100), "ms")
"""By how much longer gracenotes are where it is asked what depends on them; any length will do."""


@dataclass(frozen=True, slots=True)
class LeadIn:
    """What a line begins after, each as `renderer.timing.expand.expand_at` has it.

    Parameters
    ----------
    bars:
        Whole bars of count-in; 0 for none.
    style:
        Clicks or rolls.
    introduction:
        What the chanter sounds for the last beat of it, or None.
    """

    bars: int
    style: CountInStyle
    introduction: Note | None


@dataclass(frozen=True, slots=True)
class _Way:
    """A moment, and how many lengths of a gracenote are in it beside."""

    moment: Moment
    shares: Fraction = Fraction(0)

    @property
    def plain(self) -> PlainMoment:
        beats, seconds = str(self.moment.beats), str(self.moment.seconds)
        return [beats, seconds, str(self.shares)] if self.shares else [beats, seconds]


def _way(here: Moment, longer: Moment, gracenote: Fraction | None) -> _Way:
    """A moment with gracenotes of a length in seconds, and the same with longer ones."""
    if gracenote is None:
        return _Way(here)
    share = (longer.seconds - here.seconds) / (_LONGER.value * MILLISECOND)
    assert here.beats == longer.beats, "gracenotes of so many milliseconds move no beat"
    return _Way(Moment(here.beats, here.seconds - share * gracenote), share)


def _in_three_lengths(ways: Sequence[_Way]) -> list[PlainMoment]:
    if ways[0] == ways[1] == ways[2]:
        return [ways[0].plain]
    return [way.plain for way in ways]


def _three(
    ways: Sequence[Moment], longer: Sequence[Moment], gracenote: Fraction | None
) -> list[_Way]:
    """Own lengths, least inner notes, least gracenotes: these are as they are at any length."""
    own, between, least = ways
    return [
        _way(own, longer[0], gracenote),
        _way(between, longer[1], gracenote),
        _Way(least),
    ]


def _sounding(
    ways: Sequence[Sounding],
    longer: Sequence[Sounding],
    gracenote: Fraction | None,
    number: int,
    written_bar: int,
) -> dict[str, Any]:
    own = ways[0]
    name = (number, written_bar, own.item, own.slot)
    starts = _three([one.start for one in ways], [one.start for one in longer], gracenote)
    lasting = [one.gracenote_lasts for one in ways], [one.gracenote_lasts for one in longer]
    return {
        "start": _in_three_lengths(starts),
        "gracenote_lasts": _in_three_lengths(_three(*lasting, gracenote)),
        "note": None if own.note is None else own.note.value,
        "gracenote": None if own.gracenote is None else own.gracenote.value,
        "role": own.role.value,
        "bar": own.bar,
        "item": own.item,
        "slot": own.slot,
        "leads_in": own.leads_in,
        "id": note_id(*name),
        "gracenote_id": None if own.gracenote is None else note_id(*name, gracenote=True),
    }


def _with_longer_gracenotes(exercise: Exercise, length: Length) -> Exercise:
    longer = replace(length, value=length.value + _LONGER.value)
    return replace(
        exercise,
        gracenotes=replace(exercise.gracenotes, length=longer),
        lines=tuple(replace(line, gracenote=None) for line in exercise.lines),
    )


class _Rooms:
    """The rooms of a line that ask for something, and the places that give way between them."""

    def __init__(self, bonds: Bonds) -> None:
        self._bonds = bonds
        bound = bonds.of_line(0)
        limits = [one.room.fastest for one in bound]
        found = [limit for limit in limits if limit is not None]
        self.on_the_beat = min(found, default=None)
        self._gives_way = self.on_the_beat is not None and 0 < self.on_the_beat < FASTEST_TEMPO
        self.fastest = bonds.fastest() if self._gives_way else self.on_the_beat
        # What cannot go faster off its beats has no need to come off them.
        self._gives_way = self._gives_way and self.fastest != self.on_the_beat
        self._bound = bound
        self._numbers: dict[Place, int] = {}

    def told(
        self,
        each_way: Sequence[Sequence[Room]],
        longer: Sequence[Sequence[Room]],
        gracenote: Fraction | None,
    ) -> list[dict[str, Any]]:
        """Return the rooms that can ask for something to be shortened, or to come off its beat."""
        found = []
        for *ways, bond in zip(*each_way, *longer, self._bound, strict=True):
            own, between, least, *more = ways
            heard = _three(
                [own.heard, between.heard, least.heard], [one.heard for one in more], gracenote
            )
            shrinks = not heard[0] == heard[1] == heard[2]
            if shrinks or (self._gives_way and not bond.is_held):
                found.append(self._room(heard, least.needs, own, bond))
        return found

    def _room(
        self, heard: Sequence[_Way], needs: Fraction, own: Room, bond: Bond
    ) -> dict[str, Any]:
        return {
            "heard": _in_three_lengths(heard),
            "needs": str(needs),
            "is_heard": own.needs > 0,
            "sides": [[bar, item, leads_in] for (_, bar, item), leads_in in own.sides],
            "earlier": self._number(bond.earlier),
            "later": self._number(bond.later),
        }

    def _number(self, place: Place | None) -> int | None:
        if place is None or not self._gives_way:
            return None
        return self._numbers.setdefault(place, len(self._numbers))

    @property
    def places(self) -> list[list[Any]]:
        """Bar, item, and by how many seconds it may come earlier and later."""
        ranges = ((place, self._bonds.range_of(place)) for place in self._numbers)
        return [[bar, item, str(one.earlier), str(one.later)] for (_, bar, item), one in ranges]


def _joins(exercise: Exercise, lead_in: LeadIn, chain: Chain) -> Joins:
    if not lead_in.bars:
        return Joins(repeated=True, opens_track=True)
    silence = Moment(lead_in_beats(exercise.lines[0].bars, lead_in.bars, lead_in.style))
    silence = Moment(silence.beats * chain.stretch[0])
    if lead_in.introduction is not None:
        silence = Moment(chain.stretch[0], -LEAST_INTRODUCTION)
    return Joins(repeated=True, silences=(silence,))


def loop_data(
    exercise: Exercise, number: int, lead_in: LeadIn, noises: Mapping[NoisePlace, Note]
) -> dict[str, Any]:
    """Return a line that follows itself without a gap, after a count-in, as JSON holds it.

    Parameters
    ----------
    exercise:
        As written; settings that change what is played are applied.
    number:
        Which of its lines, from 1. Its repeats and endings are played out.
    lead_in:
        What it begins after.
    noises:
        The crossing noises that lurk in the line, by their places: its number there is 1.

    Returns
    -------
    `beats`: its length; `fastest`: the fastest tempo at which it fits, None if at every one;
    `on_the_beat`: up to which none of its notes comes off its beat; `gracenote`: how many seconds
    its gracenotes last, None where their length cannot be chosen; `gracenote_least`: the least that
    can be; `comfortable`, `quick`: seconds (see above); `bars`: start, beats and stretch of each,
    its meter's beats, whether that is compound, where in its meter it begins, the number it is
    known by; `items`: bar, item and beat of each written note; `soundings`; `rooms` that can ask
    for something to be shortened or to give way; `places` that can; `noises`: the number of a
    sounding from 0, whether the noise sounds before its gracenote, and what sounds.
    """
    alone = exercise.only(number)
    order = played(alone)
    written = [bar.bar for run in order.lines for bar in run]
    whole = played_alone(alone)
    (line,) = whole.lines
    chains = [chains_of(whole, lengths) for lengths in ("own", "least inner", "least")]
    own = chains[0][0]
    length = whole.gracenote_of(line)
    is_free = not length.is_share_of_beat and length.value >= LEAST_GRACENOTE_MS
    gracenote = length.value * MILLISECOND if is_free else None
    longer = chains[:2]
    if is_free:
        changed = _with_longer_gracenotes(whole, length)
        longer = [chains_of(changed, lengths) for lengths in ("own", "least inner")]
    offsets = bar_offsets(line.bars)
    joins = _joins(whole, lead_in, own)
    asked = _Rooms(Bonds(chains[2], (joins,), (0,)))
    each_way = [list(rooms(ways, 0, joins)) for ways in chains]
    each_longer = [list(rooms(ways, 0, joins)) for ways in longer]
    numbers = bar_numbers(alone.lines[0])
    bars = []
    items = []
    for at, (bar, stretch) in enumerate(zip(line.bars, own.stretch, strict=True)):
        beat = own.bar_starts[at]
        bars.append(
            {
                "start": str(beat),
                "beats": str(bar.beats),
                "stretch": str(stretch),
                "meter": bar.meter.beats,
                "compound": bar.meter.is_compound,
                "offset": str(offsets[at]),
                "written": written[at],
                "number": numbers[written[at] - 1],
            }
        )
        for index, item in enumerate(bar.items, start=1):
            items.append([at + 1, index, str(beat)])
            beat += item.beats * stretch
    line_number = alone.id_number(0)
    told_rooms = asked.told(each_way, each_longer, gracenote)
    return {
        "beats": str(own.beats),
        "fastest": None if asked.fastest is None else str(asked.fastest),
        "on_the_beat": None if asked.on_the_beat is None else str(asked.on_the_beat),
        "gracenote": None if gracenote is None else str(gracenote),
        "gracenote_least": str(LEAST_GRACENOTE_MS * MILLISECOND),
        "comfortable": str(COMFORTABLE_SECONDS),
        "quick": str(QUICK_SECONDS),
        "bars": bars,
        "items": items,
        "soundings": [
            _sounding(ways[:3], ways[3:], gracenote, line_number, written[ways[0].bar - 1])
            for ways in zip(*(one[0].soundings for one in (*chains, *longer)), strict=True)
        ],
        "rooms": told_rooms,
        "places": asked.places,
        "noises": list(_noises(own, written, noises)),
    }


def _noises(
    chain: Chain, written: Sequence[int], noises: Mapping[NoisePlace, Note]
) -> Iterator[list[Any]]:
    for index, one in enumerate(chain.soundings):
        for before in (True, False):
            place = (1, written[one.bar - 1], one.item, one.slot, before)
            if place in noises:
                yield [index, before, noises[place].value]


def fits(data: dict[str, Any], tempo: Fraction) -> bool:
    """Return whether a line of `loop_data` can be played at so many beats a minute."""
    return data["fastest"] is None or tempo <= Fraction(data["fastest"])
