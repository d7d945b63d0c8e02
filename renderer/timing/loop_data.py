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

Where even the least of all has no room, notes come off their beats (`renderer.timing.giving_way`),
which no such rule says. At tempos that ask for it the line is told as it is played there.

Moments are texts of exact fractions, `[beats, seconds]`; three of them stand in a row, or one where
all three are the same. Bars, items and slots count from 1, bars as they are played.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from fractions import Fraction
from typing import Any

from renderer.errors import RungwiseError
from renderer.notation.score import Exercise, bar_offsets, note_id
from renderer.timing.expand import expand_at
from renderer.timing.fit import limits_on_the_beat
from renderer.timing.order_of_playing import played, played_alone
from renderer.timing.room import COMFORTABLE_SECONDS, QUICK_SECONDS, Joins, Room, rooms
from renderer.timing.soundings import Moment, Sounding, chains_of

PlainMoment = list[str]


def _plain(moment: Moment) -> PlainMoment:
    return [str(moment.beats), str(moment.seconds)]


def _in_three_lengths(moments: Sequence[Moment]) -> list[PlainMoment]:
    if moments[0] == moments[1] == moments[2]:
        return [_plain(moments[0])]
    return [_plain(moment) for moment in moments]


def _room(ways: Sequence[Room]) -> dict[str, Any]:
    own = ways[0]
    return {
        "heard": [_plain(room.heard) for room in ways],
        "needs": str(ways[2].needs),
        "is_heard": own.needs > 0,
        "sides": [[bar, item, leads_in] for (_, bar, item), leads_in in own.sides],
    }


def _sounding(ways: Sequence[Sounding], number: int, written_bar: int) -> dict[str, Any]:
    own = ways[0]
    name = (number, written_bar, own.item, own.slot)
    return {
        "start": _in_three_lengths([one.start for one in ways]),
        "gracenote_lasts": _in_three_lengths([one.gracenote_lasts for one in ways]),
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


def _off_the_beat(
    alone: Exercise, fastest: Fraction | None, tempos: Iterable[Fraction]
) -> Iterator[tuple[str, list[list[str]]]]:
    """Yield tempos at which a line fits off its beats, with what is played there."""
    for tempo in sorted(set(tempos)):
        if fastest is None or tempo <= fastest:
            continue
        try:
            timeline = expand_at(
                alone,
                tempo,
                count_in=1,
                count_in_style="clicks",
                repeats=2,
                echo=False,
                gap=1,
                subdivide=False,
                noises=None,
                introduction=None,
            )
        except RungwiseError:
            return
        beat = timeline.seconds_per_beat
        if len(timeline.chains) == 1:
            yield (
                str(tempo),
                [
                    [str(one.start.at(beat)), str(one.gracenote_lasts.at(beat))]
                    for one in timeline.chains[0].soundings
                ],
            )


def loop_data(exercise: Exercise, number: int, tempos: Iterable[Fraction] = ()) -> dict[str, Any]:
    """Return a line that follows itself without a gap, after a count-in of a bar, as JSON holds it.

    Parameters
    ----------
    exercise:
        As written; settings that change what is played are applied.
    number:
        Which of its lines, from 1. Its repeats and endings are played out.
    tempos:
        At which it is wanted even where notes come off their beats.

    Returns
    -------
    `beats`: its length; `fastest`: the fastest tempo at which it fits on its beats, None if at
    every one; `off_the_beat`: for faster ones of `tempos`, where each sounding begins and how long
    its gracenote lasts, in seconds;
    `comfortable`, `quick`: seconds (see above); `bars`: start, beats and stretch of each, its
    meter's beats, whether that is compound, where in its meter it begins, the number it is known
    by; `items`: bar, item and beat of each written note; `soundings`; `rooms` that can ask for
    something to be shortened.
    """
    alone = exercise.only(number)
    order = played(alone)
    written = [bar.bar for run in order.lines for bar in run]
    whole = played_alone(alone)
    (line,) = whole.lines
    chains = [chains_of(whole, lengths) for lengths in ("own", "least inner", "least")]
    own = chains[0][0]
    offsets = bar_offsets(line.bars)
    lead_in = line.bars[0].meter.beats + offsets[0]
    silence = Moment(lead_in * own.stretch[0])
    joins = Joins(repeated=True, silences=(silence,))
    each_way = [list(rooms(ways, 0, joins)) for ways in chains]
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
                "number": alone.bar_number(0, written[at] - 1),
            }
        )
        for index, item in enumerate(bar.items, start=1):
            items.append([at + 1, index, str(beat)])
            beat += item.beats * stretch
    ((fastest, _),) = limits_on_the_beat(whole)
    line_number = alone.id_number(0)
    return {
        "beats": str(own.beats),
        "fastest": None if fastest is None else str(fastest),
        "off_the_beat": dict(_off_the_beat(alone, fastest, tempos)),
        "comfortable": str(COMFORTABLE_SECONDS),
        "quick": str(QUICK_SECONDS),
        "lead_in": str(lead_in),
        "bars": bars,
        "items": items,
        "soundings": [
            _sounding(ways, line_number, written[ways[0].bar - 1])
            for ways in zip(*(one[0].soundings for one in chains), strict=True)
        ],
        "rooms": [
            _room(ways)
            for ways in zip(*each_way, strict=True)
            if ways[0].heard != ways[1].heard or ways[1].heard != ways[2].heard
        ],
    }


def fits(data: dict[str, Any], tempo: Fraction) -> bool:
    """Return whether a line of `loop_data` can be played at so many beats a minute."""
    on_the_beat = data["fastest"] is None or tempo <= Fraction(data["fastest"])
    return on_the_beat or str(tempo) in data["off_the_beat"]
