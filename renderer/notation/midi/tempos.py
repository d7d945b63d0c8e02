"""From the tempo map of a MIDI file, which may change anywhere, to tempos that hold from a note on.

A bar in which the tempo changes is read as pieces that begin with notes, each at the tempo at which
it lasts as long as in the file. So every note begins when it does there, wherever between notes the
tempo may change. Where pieces of whole beats do the same, as in most gradual changes, the bar has
no more of them. Places and lengths are in quarter notes, tempos in quarter notes a minute, times in
seconds.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

from renderer.notation.midi.file import MidiContents
from renderer.notation.score import MOST_PIECES, Meter
from renderer.notation.written import beat_at

_PARTS_OF_A_TEMPO = 100
"""Mean tempos are rounded to hundredths, as a metronome mark can still be read."""

_MANY_TEMPOS = 200
"""Means among more are in whole microseconds to a quarter, so that all have a share in common."""

_LEAST_HEARD_SECONDS = 0.002
"""A note moved by less is where it was (judgement)."""

_MOST_BARS_NAMED = 8

Tempos = list[tuple[Fraction, Fraction]]
"""How far into a bar each tempo begins, the first at 0, and the tempo."""


@dataclass(frozen=True, slots=True)
class _Moved:
    """The note of a bar that is moved most: where, and how much later it comes."""

    bar: int
    beat: str
    seconds: float


@dataclass(frozen=True, slots=True)
class _Reading:
    """A way to read a bar: its tempos, and how much later than in the file its notes come."""

    tempos: Tempos
    later: dict[Fraction, float]
    ends_later: float

    @property
    def most(self) -> float:
        return max(map(abs, self.later.values()), default=0.0)


class BarTempos:
    """Gives bars their tempos, one bar after the other, and remembers what that moves."""

    def __init__(self, contents: MidiContents) -> None:
        self._contents = contents
        self._changes = [place for place, _ in contents.tempos]
        self._late = 0.0
        """How much later than in the file the next bar begins."""
        self._moved: list[_Moved] = []

    def of_bar(
        self,
        number: int,
        start: Fraction,
        meter: Meter,
        length: Fraction,
        onsets: Iterable[Fraction],
    ) -> Tempos:
        """Return the tempos of a bar; neighbours are different.

        Parameters
        ----------
        number:
            From 1, for the remark.
        start, length, meter:
            Of the bar.
        onsets:
            The places in the bar where notes or rests begin.
        """
        end = start + length
        steady = self._steady_tempo(start, end)
        if steady is not None:
            return [(Fraction(0), steady)]
        inside = sorted(place for place in onsets if start < place < end)
        beat = 4 * meter.beat_value
        on_beats = [place for place in inside if (place - start) % beat == 0]
        best = self._read([start, end], inside)
        for cuts in (on_beats, inside):
            if best.most < _LEAST_HEARD_SECONDS:
                break
            finer = self._read([start, *cuts, end], inside)
            if len(finer.tempos) <= MOST_PIECES and finer.most < best.most:
                best = finer
        self._late = best.ends_later
        if best.most >= _LEAST_HEARD_SECONDS:
            place = max(best.later, key=lambda one: abs(best.later[one]))
            beat_words = beat_at((place - start) / 4, meter)
            self._moved.append(_Moved(number, beat_words, best.later[place]))
        return best.tempos

    def _steady_tempo(self, start: Fraction, end: Fraction) -> Fraction | None:
        """The tempo between two places, None where it changes."""
        tick = self._contents.tick
        first = bisect_right(self._changes, start + tick) - 1
        last = bisect_left(self._changes, end - tick) - 1
        quarters = {quarter for _, quarter in self._contents.tempos[first : last + 1]}
        return 60_000_000 / self._contents.tempos[first][1] if len(quarters) <= 1 else None

    def _read(self, bounds: Sequence[Fraction], onsets: Sequence[Fraction]) -> _Reading:
        """The bar with one tempo from each bound to the next."""
        seconds = self._contents.seconds
        tempos: Tempos = []
        later: dict[Fraction, float] = {}
        late = self._late
        at = 0
        for begin, end in pairwise(bounds):
            tempo = self._steady_tempo(begin, end) or self._mean(begin, end, late)
            while at < len(onsets) and onsets[at] < end:
                place = onsets[at]
                passed = seconds(place) - seconds(begin)
                later[place] = late + float((place - begin) * 60 / tempo) - passed
                at += 1
            late += float((end - begin) * 60 / tempo) - (seconds(end) - seconds(begin))
            if not tempos or tempos[-1][1] != tempo:
                tempos.append((begin - bounds[0], tempo))
        return _Reading(tempos, later, late)

    def _mean(self, begin: Fraction, end: Fraction, late: float) -> Fraction:
        """The tempo at which a stretch ends when it does in the file, having begun late."""
        lasts = self._contents.seconds(end) - self._contents.seconds(begin)
        # What rounding has made the stretches before too long is taken off this one.
        exact = 60 * float(end - begin) / max(lasts / 2, lasts - late)
        if len(self._changes) > _MANY_TEMPOS:
            return Fraction(60_000_000, max(1, round(60_000_000 / exact)))
        return Fraction(max(1, round(exact * _PARTS_OF_A_TEMPO)), _PARTS_OF_A_TEMPO)

    @property
    def remarks(self) -> tuple[str, ...]:
        """What the tempos move, in one sentence for all bars."""
        return tuple(self._said())

    def _said(self) -> Iterator[str]:
        if not self._moved:
            return
        most = max(self._moved, key=lambda one: abs(one.seconds))
        shift = f"{abs(most.seconds) * 1000:.0f} ms {'late' if most.seconds > 0 else 'early'}"
        yield (
            f"The tempo changes too often in {_bars_named([one.bar for one in self._moved])} to be "
            f"kept for each note: what is at bar {most.bar}, beat {most.beat}, comes {shift}, "
            "everything else is moved less."
        )


def _bars_named(bars: Sequence[int]) -> str:
    if len(bars) == 1:
        return f"bar {bars[0]}"
    if bars[-1] - bars[0] == len(bars) - 1:
        return f"bars {bars[0]} to {bars[-1]}"
    if len(bars) <= _MOST_BARS_NAMED:
        return f"bars {', '.join(map(str, bars[:-1]))} and {bars[-1]}"
    more = len(bars) - _MOST_BARS_NAMED
    return f"bars {', '.join(map(str, bars[:_MOST_BARS_NAMED]))} and {more} more"
