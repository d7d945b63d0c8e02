"""From lengths to the note values that print them: dots, ties, tuplets and beams.

Lengths and places are `Fraction`s of a whole note. A length that no single note value has becomes
several values tied together; lengths in thirds, fifths and the like become tuplets.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import lru_cache
from typing import Literal

from renderer.notation.score import Meter

Beam = Literal["begin", "continue", "end", "forward hook", "backward hook"]

EIGHTH = Fraction(1, 8)
QUARTER = Fraction(1, 4)
SHORTEST_SHARE = 1 << 10
SHORTEST_TYPE = "1024th"
MOST_BEAMS = 8
"""MusicXML names note values down to the 1024th, which has eight beams."""

TYPE_NAMES = {
    Fraction(8): "maxima", Fraction(4): "long", Fraction(2): "breve", Fraction(1): "whole",
    Fraction(1, 2): "half", Fraction(1, 4): "quarter", Fraction(1, 8): "eighth",
    Fraction(1, 16): "16th", Fraction(1, 32): "32nd", Fraction(1, 64): "64th",
    Fraction(1, 128): "128th", Fraction(1, 256): "256th", Fraction(1, 512): "512th",
    Fraction(1, 1024): "1024th",
}  # fmt: skip
"""MusicXML's names of the note values (`note-type-value` in its schema)."""


@dataclass(frozen=True, slots=True)
class Value:
    """One printed note value.

    Parameters
    ----------
    base:
        The value without its dots, a power of two.
    dots:
        0, 1 or 2.
    actual, normal:
        The tuplet ratio: `actual` notes in the time of `normal`; 1 and 1 outside tuplets.
    begins_tuplet, ends_tuplet:
        Whether a tuplet's bracket begins or ends here.
    beams:
        One entry for each beam, outermost first; empty for a note on its own.
    """

    base: Fraction
    dots: int = 0
    actual: int = 1
    normal: int = 1
    begins_tuplet: bool = False
    ends_tuplet: bool = False
    beams: tuple[Beam, ...] = ()

    @property
    def length(self) -> Fraction:
        """How long it lasts."""
        dotted = self.base * (2 - Fraction(1, 2**self.dots))
        return dotted * self.normal / self.actual

    @property
    def beam_count(self) -> int:
        """How many beams (or flags) a note of this value has."""
        if self.base > EIGHTH:
            return 0
        return min(MOST_BEAMS, (EIGHTH / self.base).numerator.bit_length())


def _odd_part(number: int) -> int:
    while number % 2 == 0:
        number //= 2
    return number


def _power_at_most(length: Fraction) -> Fraction:
    """The longest plain note value that is no longer than `length`."""
    power = Fraction(8)
    while power > length:
        power /= 2
    return power


def _binary_values(length: Fraction) -> list[tuple[Fraction, int]]:
    """Base and dots of the values that make up a length without odd parts, longest first."""
    values = []
    while length > 0:
        base = _power_at_most(length)
        dots = 1 if length >= base * 3 / 2 and base > Fraction(1, SHORTEST_SHARE) else 0
        values.append((base, dots))
        length -= base * (2 - Fraction(1, 2**dots))
    return values


def _plain_values(length: Fraction, start: Fraction, beat: Fraction) -> list[tuple[Fraction, int]]:
    """As `_binary_values`, but a note off the beat that needs a tie is parted at the next beat.

    And one has two dots where it begins a value twice as long and lasts for all but its last
    eighth. In compound meters that is so within a beat only, as elsewhere a tie shows the beats.
    """
    base = _power_at_most(length)
    is_within = length <= beat or _odd_part(beat.numerator) == 1
    if (
        length == base * 7 / 4
        and base * SHORTEST_SHARE >= 4
        and not start % (2 * base)
        and is_within
    ):
        return [(base, 2)]
    values = _binary_values(length)
    off_beat = start % beat
    if len(values) == 1 or not off_beat or _odd_part((beat - off_beat).denominator) != 1:
        return values
    to_beat = min(length, beat - off_beat)
    if to_beat == length:
        return values
    return [*_binary_values(to_beat), *_binary_values(length - to_beat)]


class _Tuplet:
    """The tuplet that is open, if any: `odd` notes in the time of the next lower power of two."""

    def __init__(self) -> None:
        self.odd = 1
        self._start = self._least_end = Fraction(0)
        self._last_row: list[Value] = []

    def print_into(
        self, row: list[Value], lengths: Sequence[Fraction], start: Fraction, beat: Fraction
    ) -> None:
        """Add the values of a note that begins at `start`, opening or ending a tuplet.

        `lengths` are that of the note and of those that follow it in the bar.
        """
        length = lengths[0]
        needed = _odd_part(length.denominator)
        begins = bool(self.odd % needed)
        if begins:
            self.end()
            self.odd, self._start = needed, start
            self._least_end = start + _even_span(lengths, needed, beat - start % beat)
        normal = 1 << (self.odd.bit_length() - 1)
        if self.odd == 1:
            pairs = _plain_values(length, start, beat)
        else:
            pairs = _binary_values(length * self.odd / normal)
        values = [Value(base, dots, self.odd, normal) for base, dots in pairs]
        if begins:
            values[0] = replace(values[0], begins_tuplet=True)
        row += values
        if self.odd > 1:
            self._last_row = row
            end = start + length
            if end >= self._least_end and _odd_part((end - self._start).denominator) == 1:
                self.end()

    def end(self) -> None:
        """End the tuplet at the note before."""
        if self.odd > 1:
            self._last_row[-1] = replace(self._last_row[-1], ends_tuplet=True)
        self.odd = 1


def _even_span(lengths: Sequence[Fraction], odd: int, most: Fraction) -> Fraction:
    """Return how long a tuplet is whose longest notes and their parts fill it; 0 if they do not.

    So a triplet of quavers whose second is two semiquavers stays one, though it could end in the
    middle of them.

    Parameters
    ----------
    lengths:
        Of its notes and of what follows in the bar.
    odd:
        How many of its longest notes it holds.
    most:
        How long it may be.
    """
    together = longest = Fraction(0)
    for length in lengths:
        longest = max(longest, length)
        if odd % _odd_part(length.denominator) or together % length or odd * longest > most:
            break
        together += length
        if together >= odd * longest:
            return together if together == odd * longest else Fraction(0)
    return Fraction(0)


def values_of_bar(lengths: Sequence[Fraction], beat: Fraction) -> list[list[Value]]:
    """Return the note values that print each of a bar's notes, without beams.

    Parameters
    ----------
    lengths:
        Of the bar's notes and rests in order, each above 0.
    beat:
        The length of the meter's beat.
    """
    return [list(row) for row in _values_of_bar(tuple(lengths), beat)]


@lru_cache(maxsize=2048)
def _values_of_bar(lengths: tuple[Fraction, ...], beat: Fraction) -> list[list[Value]]:
    # Cached, since a tune has few rhythms and many bars.
    printed: list[list[Value]] = []
    tuplet = _Tuplet()
    start = Fraction(0)
    for index, length in enumerate(lengths):
        row: list[Value] = []
        printed.append(row)
        for part in _parts(length, start, beat, tuplet):
            tuplet.print_into(row, (part, *lengths[index + 1 :]), start, beat)
            start += part
    tuplet.end()
    return printed


def _parts(length: Fraction, start: Fraction, beat: Fraction, tuplet: _Tuplet) -> list[Fraction]:
    """Part a long note at the beats, so that a tuplet need not reach over them."""
    if length <= beat or (tuplet.odd == 1 and _odd_part(length.denominator) == 1):
        return [length]
    to_beat = -start % beat
    if max(tuplet.odd, _odd_part(length.denominator)) % _odd_part(to_beat.denominator):
        return [length]  # Unfinished tuplets before it have left the beat.
    whole = (length - to_beat) // beat * beat
    return [part for part in (to_beat, whole, length - to_beat - whole) if part]


def beam_span(meter: Meter) -> Fraction:
    """The stretch of a bar that notes are beamed over.

    A beat (a dotted one in compound meters); bars of three quavers or semiquavers as a whole, and
    other simple meters over 8 or 16 by pairs. (Judgement, after common practice.)
    """
    if meter.is_compound or meter.unit <= 4:
        return meter.beat_value
    if meter.count <= 4:
        return Fraction(meter.count, meter.unit)
    return Fraction(2, meter.unit)


def beam_groups(
    values: Sequence[Value], silent: Sequence[bool], meter: Meter, offset: Fraction
) -> list[Value]:
    """Return a bar's note values with beams on the notes shorter than a quarter.

    Parameters
    ----------
    values:
        Of the bar's notes and rests in order.
    silent:
        Which of them are rests; a rest ends a beam.
    meter:
        The bar's meter.
    offset:
        Where in the meter the bar begins (above 0 for a pickup).
    """
    return list(_beam_groups(tuple(values), tuple(silent), meter, offset))


@lru_cache(maxsize=2048)
def _beam_groups(
    values: tuple[Value, ...], silent: tuple[bool, ...], meter: Meter, offset: Fraction
) -> list[Value]:
    groups: list[list[int]] = []
    open_span: int | str | None = None
    spans = _beamed_spans(values, silent, beam_span(meter), offset)
    for index, (value, rest, here) in enumerate(zip(values, silent, spans, strict=True)):
        if rest or not value.beam_count:
            open_span = None
        elif here == open_span:
            groups[-1].append(index)
        else:
            groups.append([index])
            open_span = here
    result = list(values)
    for group in groups:
        counts = [values[index].beam_count for index in group]
        for index, beams in zip(group, beams_of_group(counts), strict=True):
            result[index] = replace(result[index], beams=beams)
    return result


def _beamed_spans(
    values: Sequence[Value], silent: Sequence[bool], span: Fraction, offset: Fraction
) -> list[int | str]:
    """What each value may share a beam with: a span of the meter, or a tuplet that stands alone.

    A tuplet does where it crosses a span, or where not all of it is beamed: from a beam that holds
    a part of a tuplet and other notes Verovio counts wrong time.
    """
    found: list[int | str] = []
    start = offset
    begin, begun_at = 0, offset
    for index, value in enumerate(values):
        if value.begins_tuplet:
            begin, begun_at = index, start
        found.append(int(start // span))
        start += value.length
        if not value.ends_tuplet:
            continue
        whole = range(begin, index + 1)
        crosses = begun_at // span != -(-start // span) - 1
        if crosses or any(silent[at] or not values[at].beam_count for at in whole):
            found[begin:] = [f"tuplet {begin}"] * len(whole)
    return found


def beams_of_group(counts: Sequence[int]) -> list[tuple[Beam, ...]]:
    """Return the beams of notes that are beamed together.

    Parameters
    ----------
    counts:
        How many beams each note has. A group of one has none.
    """
    if len(counts) < 2:
        return [()] * len(counts)
    return [
        tuple(_beam(counts, index, level) for level in range(1, count + 1))
        for index, count in enumerate(counts)
    ]


def _beam(counts: Sequence[int], index: int, level: int) -> Beam:
    before = index > 0 and counts[index - 1] >= level
    after = index + 1 < len(counts) and counts[index + 1] >= level
    if before and after:
        return "continue"
    if before:
        return "end"
    if after:
        return "begin"
    return "backward hook" if index else "forward hook"
