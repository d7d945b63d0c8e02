"""From the ticks of a MIDI file to places in written music.

MIDI counts whole microseconds to a quarter and whole ticks. Tempos are taken for the simplest
number that rounds to them. In files of our own, whose notes lie on the tick nearest to their exact
time, that rounding adds up over a long line, very slow music stands in longer note values, and keys
are those of the pitch that sounds; all three are undone here, so that what began on a beat begins
on it again.

Places are in quarter notes from the start of the file, tempos in microseconds to a quarter.
"""

from __future__ import annotations

import re
from bisect import bisect_right
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from math import lcm

from renderer.notation.kept_settings import MIDI_SHIFT, MIDI_STRETCH, MIDI_TEMPOS
from renderer.notation.limits import FINEST_UNIT, MOST_TIME_BITS
from renderer.notation.midi.file import MidiContents, Sounded, Voice
from renderer.notation.score import Meter

MOST_PARTS = 96
"""The finest division of a quarter that is looked for."""

_MINUTE = 60_000_000
_MOST_TEMPO_PARTS = 1000
_LONGER = ("2", "4", "8", "16")
_TICKS_OFF = Fraction(3, 4)
"""How far our own notes may be from their places: half a tick, and a little that adds up."""


def exact_tempo(microseconds: int) -> Fraction:
    """Return the length of a quarter whose tempo is the simplest that is rounded to this one.

    Parameters
    ----------
    microseconds:
        To a quarter, as a file has it; above 0.
    """
    twice = 2 * microseconds
    count, parts = _simplest_between(2 * _MINUTE, twice + 1, 2 * _MINUTE, twice - 1)
    if parts > _MOST_TEMPO_PARTS:
        return Fraction(microseconds)
    return Fraction(_MINUTE * parts, count)


def _simplest_between(low: int, of_low: int, high: int, of_high: int) -> tuple[int, int]:
    """The fraction of the least denominator from low/of_low to high/of_high, by their quotients."""
    whole = -(-low // of_low)
    if whole * of_high <= high:
        return whole, 1
    below = whole - 1
    # What is above the whole number is turned over, and so is the way from low to high.
    over, under = _simplest_between(of_high, high - below * of_high, of_low, low - below * of_low)
    return below * over + under, over


def simplest(place: Fraction, within: Fraction) -> Fraction | None:
    """Return the place of the fewest parts of a quarter that is near, or None beyond 96 parts."""
    for parts in range(1, MOST_PARTS + 1):
        count = round(place * parts)
        if abs(place * parts - count) <= within * parts:
            return Fraction(count, parts)
    return None


class WrittenPlaces:
    """The places in files of our own where something may be written, found from where it is.

    Parameters
    ----------
    bars:
        Places and meters of bars; between them, bars follow on each other.
    tick:
        In quarters.
    """

    def __init__(self, bars: Sequence[tuple[Fraction, Meter]], tick: Fraction) -> None:
        self._starts = [place for place, _ in bars]
        self._meters = [meter for _, meter in bars]
        self._tolerance = tick * _TICKS_OFF

    def begin_bars(self, place: Fraction, meter: Meter) -> Fraction:
        """Add bars of a meter from a place on, later than all before; return the exact place."""
        start = self.nearest(place) or place
        self._starts.append(start)
        self._meters.append(meter)
        return start

    def nearest(self, place: Fraction, after: Fraction | None = None) -> Fraction | None:
        """Return the place of the fewest parts of a beat that is near, or None.

        Parts are counted from the bar line before, or from `after` where that is later: one note
        after the other, so that they need not have a common division.
        """
        at = bisect_right(self._starts, place + self._tolerance) - 1
        if at < 0:
            return simplest(place, self._tolerance)
        start, meter = self._starts[at], self._meters[at]
        whole = meter.length * 4
        bar_line = start + (place + self._tolerance - start) // whole * whole
        counted_from = [bar_line]
        if after is not None and bar_line < after <= place:
            counted_from.insert(0, after)
        beat = meter.beat_value * 4
        for begins in counted_from:
            parts = simplest((place - begins) / beat, self._tolerance / beat)
            if parts is not None:
                return begins + parts * beat
        return None


def tempos_told(quarters: Iterable[Fraction]) -> str:
    """Return what a file of our own says of tempos that whole microseconds do not tell.

    `quarters` are the lengths of a quarter, exact, in microseconds.
    """
    return ",".join(
        f"{round(quarter)}={Fraction(_MINUTE) / quarter}"
        for quarter in dict.fromkeys(quarters)
        if exact_tempo(round(quarter)) != quarter
    )


def _told_tempos(text: str) -> dict[int, Fraction]:
    """Read what `tempos_told` has written: exact quarters by those of whole microseconds."""
    found = {}
    for microseconds, tempo in re.findall(
        r"(\d{1,8})=(\d{1,18}(?:/[1-9]\d{0,17})?)", text[:10_000]
    ):
        count = Fraction(tempo)
        # Who has changed the file's tempos since has not changed this.
        if count and round(_MINUTE / count) == int(microseconds):
            found[int(microseconds)] = _MINUTE / count
    return found


def as_written(contents: MidiContents) -> MidiContents:
    """Return what a file holds at the places and keys that were written, with exact tempos.

    In files of others only the tempos change; their notes are where the file says. Tempos too many
    for exact arithmetic stay as the file has them, in whole microseconds.
    """
    told = _told_tempos(contents.settings.get(MIDI_TEMPOS, ""))
    tempos = [
        (place, told.get(int(quarter)) or exact_tempo(int(quarter)))
        for place, quarter in contents.tempos
    ]
    most_bits = MOST_TIME_BITS if contents.settings else MOST_TIME_BITS // 2
    if lcm(*{quarter.denominator for _, quarter in tempos}).bit_length() > most_bits:
        tempos = list(contents.tempos)
    if not contents.settings:
        return replace(contents, tempos=tempos)
    stretches = _stretches(contents.tempos, [quarter for _, quarter in tempos], contents.tick)
    begins = [one.ticked for one in stretches]
    value = contents.settings.get(MIDI_SHIFT, "0")
    shift = int(value) if re.fullmatch(r"-?\d{1,2}", value) else 0
    value = contents.settings.get(MIDI_STRETCH, "1")
    longer = int(value) if value in _LONGER else 1

    def written(place: Fraction) -> Fraction:
        return stretches[bisect_right(begins, place) - 1].place(place) / longer

    tick = contents.tick / longer
    places = WrittenPlaces((), tick)
    # What is no file of this version has no bars marked: its meters serve.
    shorter = [
        (place, Meter(meter.count, min(FINEST_UNIT, meter.unit * longer)))
        for place, meter in contents.meters
    ]
    bars = [
        (places.begin_bars(written(place), meter), meter)
        for place, meter in contents.bars or shorter
    ]
    return replace(
        contents,
        tick=tick,
        voices=[_moved(voice, written, shift) for voice in contents.voices],
        tempos=[(one.written / longer, one.exact * longer) for one in stretches],
        meters=bars,
        bars=bars,
        markers=[
            (places.nearest(written(place)) or written(place), text)
            for place, text in contents.markers
        ],
        end=written(contents.end),
    )


def _moved(voice: Voice, written: Callable[[Fraction], Fraction], shift: int) -> Voice:
    return Voice(
        voice.name,
        [Sounded(note.key - shift, written(note.start), written(note.end)) for note in voice.notes],
        {written(place): mark for place, mark in voice.marks.items()},
    )


@dataclass(frozen=True, slots=True)
class _Stretch:
    """From one tempo to the next: where it begins in ticks and as written, and its quarter.

    `ahead` is how far the tick is ahead of the exact time, in quarters as written.
    """

    ticked: Fraction
    written: Fraction
    ahead: Fraction
    rounded: Fraction
    exact: Fraction

    def place(self, ticked: Fraction) -> Fraction:
        if ticked == self.ticked:
            return self.written
        return self.written + self.ahead + (ticked - self.ticked) * self.rounded / self.exact


def _stretches(
    tempos: Sequence[tuple[Fraction, Fraction]], exact: Sequence[Fraction], tick: Fraction
) -> list[_Stretch]:
    """Return what lies between the tempos of a file of our own, without the drift of rounding."""
    found: list[_Stretch] = []
    for (ticked, rounded), quarter in zip(tempos, exact, strict=True):
        written = ahead = Fraction(0)
        if found:
            before = found[-1]
            there = before.place(ticked)
            # Tempos change on bar lines, each on a tick that is a little early or late.
            near = simplest(there - before.written, 2 * tick)
            written = there if near is None else before.written + near
            ahead = (there - written) * before.exact / quarter
            # More than half a tick is not rounding: the tempos so far were a little different ones.
            ahead = max(-tick / 2, min(tick / 2, ahead))
        found.append(_Stretch(ticked, written, ahead, rounded, quarter))
    return found
