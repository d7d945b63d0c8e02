"""Reading MIDI: the melody of one track to an exercise.

Short notes before a longer one become its gracenotes; where they begin on the beat, or end on it,
is found out from the whole file. Everything else is laid on the beat: exactly where the file is
exact, otherwise on the nearest quarter or third of a beat, with the error reported. Tempos and
meters are kept, lines begin at markers.
"""

from __future__ import annotations

import contextlib
from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

from renderer.errors import RungwiseError, failure
from renderer.notation.definition_fields import read_inner_length
from renderer.notation.kept_settings import (
    LINE_INNER,
    MIDI_SHIFT,
    MIDI_STRETCH,
    with_settings,
)
from renderer.notation.midi_file import MidiContents, Sounded, Voice, read_contents
from renderer.notation.midi_grid import WrittenPlaces, as_written
from renderer.notation.midi_marks import keys_of
from renderer.notation.score import Exercise, Meter, Placement, Slot
from renderer.notation.written import (
    AS_WRITTEN,
    Measure,
    Pitch,
    Reading,
    Score,
    Written,
    exercise_of,
    lies_on_the_chanter,
)

SAME_TIME_SECONDS = 0.03
"""Notes that begin within this are a chord; one that ends within this of the next is legato."""

FINE_PARTS = (1, 2, 3, 4, 6, 8, 12)
COARSE_PARTS = (4, 3)
MOSTLY = 0.9
"""A file is exact if this share of its notes begins at fine parts of a beat (judgement)."""

MOST_TRIED = 2_000
"""Notes that placement and exactness are judged by."""


@dataclass(frozen=True, slots=True)
class _Tone:
    """A melody note with the short notes before it, and whether a gracenote comes first."""

    group: tuple[Sounded, ...]
    main: Sounded
    is_led: bool

    @property
    def start(self) -> Fraction:
        return self.group[0].start if self.group else self.main.start


@dataclass(frozen=True, slots=True)
class _Onset:
    """Where a tone begins once quantised, and where it stops; None if it goes on to the next."""

    tone: _Tone
    place: Fraction
    stop: Fraction | None
    is_exact: bool


@dataclass(frozen=True, slots=True)
class _BarSpan:
    """A bar of the file: place, length in quarters, meter."""

    start: Fraction
    length: Fraction
    meter: Meter


def _one_at_a_time(voice: Voice, contents: MidiContents) -> list[Sounded] | None:
    """The notes without legato overlaps, or None if several sound at once."""
    notes: list[Sounded] = []
    for note in voice.notes:
        if notes and note.start < notes[-1].end:
            overlap = contents.seconds(notes[-1].end) - contents.seconds(note.start)
            if overlap > SAME_TIME_SECONDS or note.start <= notes[-1].start:
                return None
            notes[-1] = replace(notes[-1], end=note.start)
        notes.append(note)
    return notes


def _gracenote_seconds(contents: MidiContents, reading: Reading) -> float:
    """The longest note that can be a gracenote; files of our own say how long inner notes are."""
    longest = reading.gracenote_under_ms
    for name, value in contents.settings.items():
        if name == "inner length" or name.startswith(LINE_INNER):
            # What is no length is said where the settings are read.
            with contextlib.suppress(ValueError):
                inner = read_inner_length(value)
                if not inner.is_share_of_beat:
                    longest = max(longest, float(inner.value) * 1.02)
    return longest / 1000


def _tones(
    notes: list[Sounded],
    marks: Mapping[Fraction, tuple[Slot, ...]],
    contents: MidiContents,
    longest: float,
) -> Iterator[_Tone]:
    group: list[Sounded] = []
    index = 0
    while index < len(notes):
        slots = marks.get(notes[index].start, ())
        marked = _marked(notes[index : index + 2 * len(slots)], slots, contents)
        if marked is not None:
            yield from _loose(group)
            yield marked
            group = []
            index += len(marked.group) + 1
            continue
        note = notes[index]
        after = notes[index + 1] if index + 1 < len(notes) else None
        short = _seconds(note, contents) < longest
        if short and after is not None and _follows(after, note, contents):
            group.append(note)
        elif short:
            # Short notes that lead to nothing longer are notes of their own.
            yield from _loose([*group, note])
            group = []
        else:
            yield _Tone(tuple(group), note, _begins_with_a_gracenote(group, note))
            group = []
        index += 1


def _marked(
    notes: Sequence[Sounded], slots: tuple[Slot, ...], contents: MidiContents
) -> _Tone | None:
    """The written note that a mark spells, if these notes (and maybe more) still sound it."""
    keys = keys_of(slots)
    found = notes[: len(keys)]
    if not keys or len(found) < len(keys):
        return None
    # Whoever moves the track to another key leaves the text as it was.
    moved = found[0].key - keys[0]
    is_spelled = all(note.key - key == moved for note, key in zip(found, keys, strict=True))
    if not is_spelled or not all(_follows(b, a, contents) for a, b in pairwise(found)):
        return None
    return _Tone(tuple(found[:-1]), found[-1], slots[0].gracenote is not None)


def _loose(notes: Sequence[Sounded]) -> Iterator[_Tone]:
    yield from (_Tone((), note, is_led=False) for note in notes)


def _seconds(note: Sounded, contents: MidiContents) -> float:
    return contents.seconds(note.end) - contents.seconds(note.start)


def _follows(after: Sounded, note: Sounded, contents: MidiContents) -> bool:
    """Whether a note begins where another ends, as far as one hears."""
    return contents.seconds(after.start) - contents.seconds(note.end) < SAME_TIME_SECONDS


def _begins_with_a_gracenote(group: Sequence[Sounded], main: Sounded) -> bool:
    """Whether the first of a group is a gracenote, as `slots_of_group` reads it."""
    second = (*group, main)[1:2]
    return len(group) == 1 or (bool(group) and group[0].key > second[0].key)


class _Beats:
    """The meter's grid: places to beats of the meter in force, and back."""

    def __init__(self, contents: MidiContents) -> None:
        self._meters = contents.meters
        self._at = 0

    def segment(self, place: Fraction) -> tuple[Fraction, Fraction]:
        """Where the meter at a place began, and its beat in quarters."""
        if place < self._meters[self._at][0]:
            self._at = 0
        while self._at + 1 < len(self._meters) and self._meters[self._at + 1][0] <= place:
            self._at += 1
        start, meter = self._meters[self._at]
        return start, meter.beat_value * 4

    def snapped(
        self, place: Fraction, parts: Sequence[int], within: Fraction | None
    ) -> Fraction | None:
        """The nearest part of a beat: the coarsest within a tolerance in quarters, or any."""
        start, beat = self.segment(place)
        position = (place - start) / beat
        found = [Fraction(round(position * part), part) for part in parts]
        if within is None:
            return start + min(found, key=lambda near: abs(near - position)) * beat
        for near in found:
            if abs(near - position) * beat <= within:
                return start + near * beat
        return None


def _reference(tone: _Tone, placement: Placement, is_first: bool) -> Fraction:
    """The place in a tone that lies on the beat."""
    if placement == "on the beat" or not tone.is_led:
        return tone.start
    if is_first and tone.start == 0:
        return tone.start
    return (*tone.group, tone.main)[1].start


class _Quantiser:
    """Lays tones on the grid of the beat.

    `placement` is where their gracenotes lie, `errors` how far they were from the grid (seconds).
    """

    def __init__(self, contents: MidiContents) -> None:
        self._contents = contents
        self._grid = _Beats(contents)
        self._is_ours = bool(contents.settings)
        self._written = WrittenPlaces(contents.bars, contents.tick)
        tick = contents.tick
        # Coarse ticks are exact to half of one; fine ones may come from times in milliseconds.
        self._tolerance = max(min(2 * tick, Fraction(1, 100)), tick / 2, Fraction(1, 1000))
        self._parts = [p for p in FINE_PARTS if Fraction(1, p) >= 6 * self._tolerance]
        self.errors: list[float] = []
        self.placement: Placement = "on the beat"

    def onsets(self, tones: list[_Tone]) -> list[_Onset]:
        """Lay the tones on the grid, choosing the placement of gracenotes that fits best."""
        share, self.placement = max(
            ((self._exact_share(tones, name), name) for name in self._placements()),
            key=lambda found: (found[0], found[1] == "on the beat"),
        )
        return self._onsets(tones, self.placement, is_exact=share >= MOSTLY)

    def _exact_share(self, tones: list[_Tone], placement: Placement) -> float:
        onsets = self._onsets(tones[:MOST_TRIED], placement, is_exact=True)
        return sum(onset.is_exact for onset in onsets) / len(onsets)

    def _onsets(self, tones: list[_Tone], placement: Placement, *, is_exact: bool) -> list[_Onset]:
        onsets: list[_Onset] = []
        before: Fraction | None = None
        self.errors = []
        for index, tone in enumerate(tones):
            place = _reference(tone, placement, index == 0)
            exact = self._exact(place, before) if is_exact else None
            laid = self._nearest(place) if exact is None else exact
            stop = self._stop(tones, index, laid, is_exact)
            onsets.append(_Onset(tone, laid, stop, exact is not None))
            before = stop or laid
            seconds = self._contents.seconds
            self.errors.append(abs(seconds(place) - seconds(max(laid, Fraction(0)))))
        return onsets

    def _nearest(self, place: Fraction) -> Fraction:
        laid = self._grid.snapped(place, COARSE_PARTS, None)
        assert laid is not None, "a grid without tolerance always has a nearest place"
        return laid

    def end(self, stop: Fraction) -> Fraction:
        """Where the file ends, after the last note has stopped."""
        return self._exact(self._contents.end, stop) or self._contents.end

    def _placements(self) -> tuple[Placement, ...]:
        """Where gracenotes may lie: files of our own say it."""
        both: tuple[Placement, ...] = ("before the beat", "on the beat")
        said = self._contents.settings.get("gracenote placement")
        return tuple(name for name in both if name == said) or both

    def _exact(self, place: Fraction, before: Fraction | None) -> Fraction | None:
        """The place in written music that something in an exact file lies at, if there is one."""
        if self._is_ours:
            return self._written.nearest(place, before)
        return self._grid.snapped(place, self._parts, self._tolerance)

    def _stop(
        self, tones: list[_Tone], index: int, place: Fraction, is_exact: bool
    ) -> Fraction | None:
        """Where a tone stops sounding on the grid; None if it goes on to the next."""
        end = tones[index].main.end
        after = tones[index + 1].start if index + 1 < len(tones) else None
        _, beat = self._grid.segment(end)
        # Our own files play legato but for rests; others may part notes by way of phrasing.
        least_rest = self._tolerance if self._is_ours else beat / 8
        if after is not None and after - end < least_rest:
            return None
        if is_exact:
            exact = self._exact(end, place)
            if exact is not None:
                return exact
        if after is not None and after - end < beat / 2:
            return None
        return self._nearest(end)


def _bar_spans(contents: MidiContents, until: Fraction) -> Iterator[_BarSpan]:
    meters = contents.bars or contents.meters
    for index, (start, meter) in enumerate(meters):
        after = meters[index + 1][0] if index + 1 < len(meters) else until
        whole = Fraction(4 * meter.count, meter.unit)
        place = start
        while place < min(after, until):
            yield _BarSpan(place, min(whole, after - place) if after < until else whole, meter)
            place += whole


def _pieces(onsets: list[_Onset]) -> Iterator[tuple[Fraction, Fraction, Written]]:
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


def _measures(contents: MidiContents, onsets: list[_Onset], quantiser: _Quantiser) -> list[Measure]:
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
    changed = [place for place, _ in contents.tempos]
    measures: list[Measure] = []
    at = line = 0
    tempo: Fraction | None = None
    for number, span in enumerate(_bar_spans(contents, pieces[-1][1]), start=1):
        notes, at = _cut(pieces, span, at)
        mark = bisect_left(marked, span.start)
        is_marked = mark < len(marked) and marked[mark] < span.start + span.length
        line += is_marked
        heading = contents.markers[mark][1] if is_marked else ""
        in_force = bisect_right(changed, span.start + contents.tick) - 1
        here = 60_000_000 / contents.tempos[in_force][1]
        if not notes:
            continue
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
    whole = Fraction(other.meter.count, other.meter.unit)
    return Fraction(one.meter.count, one.meter.unit) < whole


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
    melodies = [
        (voice, notes)
        for voice in contents.voices
        if (notes := _one_at_a_time(voice, contents)) is not None
    ]
    if not melodies:
        cause = "no track plays one note at a time" if contents.voices else "it plays no notes"
        raise failure(cause, "a chanter plays one: export the melody on its own")
    scores = [_score(contents, voice, notes, path, reading) for voice, notes in melodies]
    index = _chosen(melodies, [score for score, _ in scores], reading)
    score, placement = scores[index]
    exercise = exercise_of(score, reading)
    if any(
        measure.notes and any(n.gracenotes for n in measure.notes) for measure in score.measures
    ):
        exercise = replace(exercise, gracenotes=replace(exercise.gracenotes, placement=placement))
    settings = {name: v for name, v in contents.settings.items() if not _is_of_the_file(name)}
    exercise = with_settings(exercise, settings)
    if len(melodies) == 1:
        return exercise
    name = melodies[index][0].name or f"number {index + 1}"
    remark = f"{len(melodies)} tracks have a melody; {name} is read."
    return replace(exercise, remarks=(*exercise.remarks, remark))


def _is_of_the_file(name: str) -> bool:
    """Whether a setting is about the file's notes and not about the exercise."""
    return name in (MIDI_SHIFT, MIDI_STRETCH)


def _score(
    contents: MidiContents, voice: Voice, notes: list[Sounded], path: Path, reading: Reading
) -> tuple[Score, Placement]:
    quantiser = _Quantiser(contents)
    tones = list(_tones(notes, voice.marks, contents, _gracenote_seconds(contents, reading)))
    measures = _measures(contents, quantiser.onsets(tones), quantiser)
    remarks: tuple[str, ...] = ()
    worst = max(quantiser.errors) * 1000
    if worst >= 1:
        mean = sum(quantiser.errors) / len(quantiser.errors) * 1000
        remarks = (
            f"Notes were moved to the beat's quarters and thirds: by {mean:.0f} ms on average, "
            f"{worst:.0f} ms at most.",
        )
    title = contents.title or path.stem
    return Score(title, tuple(measures), False, str(path), remarks), quantiser.placement


def _chosen(
    melodies: list[tuple[Voice, list[Sounded]]], scores: list[Score], reading: Reading
) -> int:
    if reading.part is not None:
        wanted = reading.part.strip()
        for index, (voice, _) in enumerate(melodies):
            if wanted.casefold() == voice.name.casefold() or wanted == str(index + 1):
                return index
        names = ", ".join(
            f"{i} ({voice.name or 'unnamed'})" for i, (voice, _) in enumerate(melodies, start=1)
        )
        raise failure(f"there is no track {wanted!r} with a melody", f"choose one of: {names}")
    fits = (i for i, s in enumerate(scores) if lies_on_the_chanter(s, reading.transpose))
    return next(fits, 0)
