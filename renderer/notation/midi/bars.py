"""From the onsets of a MIDI melody to bars: notes cut at bar lines, lines that begin at markers.

Places are in quarter notes from the start of the file.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from renderer.errors import failure
from renderer.notation.limits import MOST_BARS
from renderer.notation.midi.file import MidiContents
from renderer.notation.midi.onsets import Onset, Quantiser
from renderer.notation.midi.tempos import BarTempos
from renderer.notation.score import Meter
from renderer.notation.written import Measure, Pitch, Written, beat_at


@dataclass(frozen=True, slots=True)
class _BarSpan:
    """A bar of the file: place, length in quarters, meter."""

    start: Fraction
    length: Fraction
    meter: Meter


def _bar_spans(contents: MidiContents, until: Fraction) -> Iterator[_BarSpan]:
    meters = contents.bars or contents.meters
    for index, (start, meter) in enumerate(meters):
        after = meters[index + 1][0] if index + 1 < len(meters) else until
        whole = 4 * meter.length
        place = start
        while place < min(after, until):
            yield _BarSpan(place, min(whole, after - place) if after < until else whole, meter)
            place += whole


def _pieces(onsets: list[Onset]) -> Iterator[tuple[Fraction, Fraction, Written]]:
    """Yield start, end and note of every sound and silence, without gaps; lengths come later."""
    waiting: tuple[Pitch, ...] = ()
    for index, onset in enumerate(onsets):
        after = onsets[index + 1].place if index + 1 < len(onsets) else None
        group = tuple(Pitch.of_midi(note.key) for note in onset.tone.group)
        pitch = Pitch.of_midi(onset.tone.main.key)
        stops = [stop for stop in (onset.stop, after) if stop is not None]
        stop = min(stops, default=onset.place)
        if stop <= onset.place:
            # Nothing is left of it on this grid: it leads into the next note.
            waiting += (*group, pitch)
            continue
        yield onset.place, stop, Written(Fraction(1), pitch, waiting + group)
        waiting = ()
        if after is not None and stop < after:
            yield stop, after, Written(Fraction(1), None)


def _cut(
    pieces: list[tuple[Fraction, Fraction, Written]], span: _BarSpan, first: int
) -> tuple[list[Written], int]:
    """The notes of a bar, cut at its bar lines, and where to go on from."""
    notes: list[Written] = []
    end = span.start + span.length
    at = first
    while at < len(pieces) and pieces[at][0] < end:
        start, stop, written = pieces[at]
        length = (min(stop, end) - max(start, span.start)) / 4
        if length > 0:
            is_new = start >= span.start
            notes.append(
                replace(written, length=length)
                if is_new
                else replace(written, length=length, gracenotes=(), tied=written.pitch is not None)
            )
        if stop > end:
            break
        at += 1
    return notes, at


def measures_of(
    contents: MidiContents, onsets: list[Onset], quantiser: Quantiser, tempos: BarTempos
) -> list[Measure]:
    """Return the bars that have notes, cut and tied at bar lines.

    Parameters
    ----------
    contents:
        The file, for its meters and markers; at a marker a line begins.
    onsets:
        The melody, quantised.
    quantiser:
        What has quantised it, for where a file of our own ends.
    tempos:
        Gives each bar its tempos.

    Raises
    ------
    RungwiseError
        For more bars than are read.
    """
    is_ours = bool(contents.settings)
    pieces = list(_pieces(onsets))
    if not pieces:
        return []
    begin = contents.markers[0][0] if is_ours and contents.markers else pieces[0][0]
    if begin < pieces[0][0]:
        pieces.insert(0, (begin, pieces[0][0], Written(Fraction(1), None)))
    stop = pieces[-1][1]
    if is_ours and (end := quantiser.end(stop)) - stop > contents.tick:
        pieces.append((stop, end, Written(Fraction(1), None)))
    marked = [place for place, _ in contents.markers]
    _check_length(contents, pieces)
    measures: list[Measure] = []
    at = line = 0
    tempo: Fraction | None = None
    for number, span in enumerate(_bar_spans(contents, pieces[-1][1]), start=1):
        first = at
        notes, at = _cut(pieces, span, at)
        mark = bisect_left(marked, span.start)
        is_marked = mark < len(marked) and marked[mark] < span.start + span.length
        line += is_marked
        heading = contents.markers[mark][1] if is_marked else ""
        if not notes:
            continue
        begun = [start for start, _, _ in pieces[first : at + 1] if _is_in(span, start)]
        (_, first_tempo), *inside = tempos.of_bar(
            number, span.start, span.meter, span.length, begun
        )
        measures.append(
            Measure(
                notes=tuple(notes),
                meter=span.meter,
                place=f"bar {number}",
                tempo=first_tempo if first_tempo != tempo else None,
                begins_line=is_marked,
                heading="" if heading in (f"Line {line}", f"Part {line}") else heading,
                tempos_inside=tuple((offset / 4, tempo) for offset, tempo in inside),
            )
        )
        tempo = inside[-1][1] if inside else first_tempo
    return measures if contents.bars else _with_pickups(measures)


def _is_in(span: _BarSpan, place: Fraction) -> bool:
    return span.start <= place < span.start + span.length


def place_named(contents: MidiContents, place: Fraction) -> str:
    """The bar and beat of a place, for messages."""
    spans = enumerate(_bar_spans(contents, place + contents.tick), start=1)
    number, span = next(found for found in spans if _is_in(found[1], place))
    return f"bar {number}, beat {beat_at((place - span.start) / 4, span.meter)}"


def _check_length(
    contents: MidiContents, pieces: Sequence[tuple[Fraction, Fraction, Written]]
) -> None:
    """Refuse what has too many bars; a single endless note is named, since it is a mistake."""
    first, last = pieces[0][0], pieces[-1][1]
    spans = _bar_spans(contents, last)
    count = sum(1 for span in spans if span.start + span.length > first)
    if count <= MOST_BARS:
        return
    start, stop, written = max(pieces, key=lambda piece: piece[1] - piece[0])
    if stop - start < (last - first) / 2:
        raise failure(
            f"its melody has {count:,} bars", f"divide it; at most {MOST_BARS:,} are read"
        )
    what = "a silence" if written.pitch is None else f"the note {written.pitch}"
    raise failure(
        f"{what} lasts {float(stop - start):,.0f} quarter notes",
        f"end it where it should stop; at most {MOST_BARS:,} bars are read",
        place=place_named(contents, start),
    )


def _with_pickups(measures: list[Measure]) -> list[Measure]:
    """Read a single shorter bar at a line's start as a pickup, and one at its end likewise."""
    found = list(measures)
    pickup_in_line = False
    for index, measure in enumerate(measures):
        after = measures[index + 1] if index + 1 < len(measures) else None
        before = found[index - 1] if index else None
        begins = measure.begins_line or index == 0
        if begins:
            pickup_in_line = False
        if after is not None and begins and not after.begins_line and _is_shorter(measure, after):
            found[index] = replace(measure, meter=after.meter)
            pickup_in_line = True
        ends = after is None or after.begins_line
        if ends and pickup_in_line and before is not None and _is_shorter(measure, before):
            found[index] = replace(measure, meter=before.meter)
    return found


def _is_shorter(one: Measure, other: Measure) -> bool:
    if one.meter is None or other.meter is None:
        return False
    return one.meter.length < other.meter.length
