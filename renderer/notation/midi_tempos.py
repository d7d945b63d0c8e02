"""From the tempo map of a MIDI file, which may change anywhere, to one tempo a bar.

A bar within which the tempo changes gets the tempo at which it lasts as long as in the file, so
that the bars after it begin when they should. How far that moves the notes within it is measured
and said. Places and lengths are in quarter notes, tempos in quarter notes a minute, times in
seconds.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction

from renderer.notation.midi_file import MidiContents
from renderer.notation.score import Meter
from renderer.notation.written import beat_at

_PARTS_OF_A_TEMPO = 100
"""Mean tempos are rounded to hundredths, as a metronome mark can still be read."""

_LEAST_SAID_SECONDS = 0.001
_MOST_BARS_NAMED = 8


@dataclass(frozen=True, slots=True)
class _Moved:
    """The note of a bar that its mean tempo moves most: where, and how much later it comes."""

    bar: int
    beat: str
    seconds: float


class BarTempos:
    """Gives bars their tempos, one after the other, and remembers what that moves."""

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
    ) -> Fraction:
        """Return the tempo of a bar.

        Parameters
        ----------
        number:
            From 1, for the remark.
        start, length, meter:
            Of the bar.
        onsets:
            The places in the bar where notes or rests begin.
        """
        contents, end = self._contents, start + length
        first = bisect_right(self._changes, start + contents.tick) - 1
        last = bisect_left(self._changes, end - contents.tick) - 1
        quarters = {quarter for _, quarter in contents.tempos[first : last + 1]}
        begins = contents.seconds(start)
        lasts = contents.seconds(end) - begins
        if len(quarters) <= 1:
            tempo = 60_000_000 / contents.tempos[first][1]
            self._late += float(length * 60 / tempo) - lasts
            return tempo
        # What rounding has made the bars before too long is taken off this one.
        rounded = round(60 * _PARTS_OF_A_TEMPO * float(length) / max(lasts / 2, lasts - self._late))
        tempo = Fraction(max(1, rounded), _PARTS_OF_A_TEMPO)
        begins += self._late
        later = [
            (begins + float((place - start) * 60 / tempo) - contents.seconds(place), place)
            for place in onsets
        ]
        self._late += float(length * 60 / tempo) - lasts
        if later:
            seconds, place = max(later, key=lambda one: abs(one[0]))
            if abs(seconds) >= _LEAST_SAID_SECONDS:
                self._moved.append(_Moved(number, beat_at((place - start) / 4, meter), seconds))
        return tempo

    @property
    def remarks(self) -> tuple[str, ...]:
        """What the bars' mean tempos move, in one sentence for all of them."""
        if not self._moved:
            return ()
        most = max(self._moved, key=lambda one: abs(one.seconds))
        where = _bars_named([one.bar for one in self._moved])
        each = "it is" if len(self._moved) == 1 else "each is"
        shift = f"{abs(most.seconds) * 1000:.0f} ms {'late' if most.seconds > 0 else 'early'}"
        return (
            f"The tempo changes inside {where}; {each} read at its mean tempo. What is at bar "
            f"{most.bar}, beat {most.beat}, therefore comes {shift}; everything else is moved "
            "less. Tempo changes on bar lines are kept exactly.",
        )


def _bars_named(bars: Sequence[int]) -> str:
    if len(bars) == 1:
        return f"bar {bars[0]}"
    if len(bars) > 2 and bars[-1] - bars[0] == len(bars) - 1:
        return f"bars {bars[0]} to {bars[-1]}"
    if len(bars) <= _MOST_BARS_NAMED:
        return f"bars {', '.join(map(str, bars[:-1]))} and {bars[-1]}"
    more = len(bars) - _MOST_BARS_NAMED
    return f"bars {', '.join(map(str, bars[:_MOST_BARS_NAMED]))} and {more} more"
