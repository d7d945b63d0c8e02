"""Reading MIDI: the melody of one track to an exercise.

Short notes before a longer one become its gracenotes (`midi_tones`), and what is left is laid on
the beat (`midi_onsets`). Here onsets become bars: tempos and meters are kept, lines begin at
markers.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path

from renderer.errors import RungwiseError, failure
from renderer.notation.chanter_pitches import lies_on_the_chanter
from renderer.notation.kept_settings import MIDI_SHIFT, MIDI_STRETCH, with_settings
from renderer.notation.limits import MOST_BARS
from renderer.notation.midi_file import MidiContents, read_contents
from renderer.notation.midi_grid import as_written
from renderer.notation.midi_melody import Melody, melodies_of
from renderer.notation.midi_onsets import Onset, Quantiser
from renderer.notation.midi_tempos import BarTempos
from renderer.notation.midi_tones import tones_of
from renderer.notation.score import Exercise, Meter, Placement
from renderer.notation.to_exercise import exercise_of
from renderer.notation.written import (
    AS_WRITTEN,
    Measure,
    Pitch,
    Reading,
    Score,
    Written,
    beat_at,
    index_of_part,
)


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


def _measures(
    contents: MidiContents, onsets: list[Onset], quantiser: Quantiser, tempos: BarTempos
) -> list[Measure]:
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
        here = tempos.of_bar(number, span.start, span.meter, span.length, begun)
        measures.append(
            Measure(
                notes=tuple(notes),
                meter=span.meter,
                place=f"bar {number}",
                tempo=here if here != tempo else None,
                begins_line=is_marked,
                heading="" if heading == f"Line {line}" else heading,
            )
        )
        tempo = here
    return measures if contents.bars else _with_pickups(measures)


def _is_in(span: _BarSpan, place: Fraction) -> bool:
    return span.start <= place < span.start + span.length


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
    span, number = next(
        (span, number)
        for number, span in enumerate(_bar_spans(contents, last), start=1)
        if _is_in(span, start)
    )
    what = "a silence" if written.pitch is None else f"the note {written.pitch}"
    raise failure(
        f"{what} lasts {float(stop - start):,.0f} quarter notes",
        f"end it where it should stop; at most {MOST_BARS:,} bars are read",
        place=f"bar {number}, beat {beat_at((start - span.start) / 4, span.meter)}",
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


def read_midi(path: str | Path, reading: Reading = AS_WRITTEN) -> Exercise:
    """Read the melody of one track of a standard MIDI file.

    Parameters
    ----------
    path:
        The file.
    reading:
        What the user asks; `part` is a track's name or number, counted from 1 among those that
        play one note at a time. Without it the first that lies on the nine notes is read.

    Raises
    ------
    RungwiseError
        For a file that is no MIDI, has no melody, or has notes off the chanter.
    """
    path = Path(path)
    try:
        return _read(path, reading)
    except RungwiseError as error:
        raise error.in_file(str(path)) from None


def _read(path: Path, reading: Reading) -> Exercise:
    contents = as_written(read_contents(path))
    melodies = melodies_of(contents)
    if not melodies:
        cause = "no track plays one note at a time" if contents.voices else "it plays no notes"
        raise failure(cause, "a chanter plays one: export the melody on its own")
    scores = [_score(contents, melody, path, reading) for melody in melodies]
    index = _chosen(melodies, [score for score, _ in scores], reading)
    score, placement = scores[index]
    exercise = exercise_of(score, reading)
    if any(note.gracenotes for measure in score.measures for note in measure.notes):
        exercise = replace(exercise, gracenotes=replace(exercise.gracenotes, placement=placement))
    settings = {name: v for name, v in contents.settings.items() if not _is_of_the_file(name)}
    exercise = with_settings(exercise, settings)
    if len(melodies) == 1:
        return exercise
    name = melodies[index].voice.name or f"number {index + 1}"
    remark = f"{len(melodies)} tracks have a melody; {name} is read."
    return replace(exercise, remarks=(*exercise.remarks, remark))


def _is_of_the_file(name: str) -> bool:
    """Whether a setting is about the file's notes and not about the exercise."""
    return name in (MIDI_SHIFT, MIDI_STRETCH)


def _score(
    contents: MidiContents, melody: Melody, path: Path, reading: Reading
) -> tuple[Score, Placement]:
    quantiser = Quantiser(contents)
    onsets = quantiser.onsets(list(tones_of(melody, contents, reading)))
    tempos = BarTempos(contents)
    measures = _measures(contents, onsets, quantiser, tempos)
    remarks = melody.remarks + tempos.remarks
    worst = max(quantiser.errors) * 1000
    if worst >= 1:
        mean = sum(quantiser.errors) / len(quantiser.errors) * 1000
        remarks += (
            f"Notes were moved to the beat's quarters and thirds: by {mean:.0f} ms on average, "
            f"{worst:.0f} ms at most.",
        )
    title = contents.title or path.stem
    return Score(title, tuple(measures), False, str(path), remarks), quantiser.placement


def _chosen(melodies: list[Melody], scores: list[Score], reading: Reading) -> int:
    if reading.part is not None:
        names = [melody.voice.name for melody in melodies]
        return index_of_part(reading.part, names, "track with a melody that is called")

    def unlikely(index: int) -> tuple[bool, bool, bool]:
        """What lies off the chanter, what is a drone on its own, and what must be transposed."""
        return (
            not lies_on_the_chanter(scores[index], reading.transpose),
            len({note.key for note in melodies[index].notes}) == 1,
            not lies_on_the_chanter(scores[index], 0),
        )

    return min(range(len(melodies)), key=unlikely)
