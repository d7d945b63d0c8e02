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
from typing import Literal

from renderer.errors import RungwiseError, failure
from renderer.notation.chanter_pitches import lies_on_the_chanter
from renderer.notation.definition_fields import read_inner_length
from renderer.notation.kept_settings import (
    LINE_INNER,
    MIDI_SHIFT,
    MIDI_STRETCH,
    with_settings,
)
from renderer.notation.midi_file import MidiContents, Sounded, read_contents
from renderer.notation.midi_grid import WrittenPlaces, as_written
from renderer.notation.midi_marks import keys_of
from renderer.notation.midi_melody import SAME_TIME_SECONDS, Melody, melodies_of
from renderer.notation.score import Exercise, Meter, Placement, Slot
from renderer.notation.to_exercise import exercise_of
from renderer.notation.written import AS_WRITTEN, Measure, Pitch, Reading, Score, Written

FINE_PARTS = (1, 2, 3, 4, 6, 8, 12)
COARSE_PARTS = (4, 3)
_MUCH = Fraction(5, 4)
LEAST_RESTS = (1, 2, 3, 4)
"""Parts of a beat that rests begin at."""

MOSTLY = 0.9
"""A file is exact if this share of its notes begins at fine parts of a beat (judgement)."""

MOST_TRIED = 2_000
"""Notes that placement and exactness are judged by."""


Lead = Literal["none ahead", "first ahead", "all ahead"]
"""How much of an ornament sounds before the beat: nothing, its first gracenote, or all of it."""


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
        # Up to the next one: a note may sound for a part of its length only.
        until = note.end if after is None else after.start
        if contents.seconds(until) - contents.seconds(note.start) >= longest:
            yield _Tone(tuple(group), note, _begins_with_a_gracenote(group, note))
            group = []
        else:
            group.append(note)
        index += 1
    # Short notes that lead to nothing longer are notes of their own.
    yield from _loose(group)


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


def _reference(tone: _Tone, lead: Lead, is_first: bool) -> Fraction:
    """The place in a tone that lies on the beat."""
    if lead == "none ahead" or (is_first and tone.start == 0):
        return tone.start
    if lead == "all ahead":
        return tone.main.start
    return (*tone.group, tone.main)[1].start if tone.is_led else tone.start


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
        self._part_heard = Fraction(1)
        self.errors: list[float] = []
        self.placement: Placement = "on the beat"

    def onsets(self, tones: list[_Tone]) -> list[_Onset]:
        """Lay the tones on the grid, choosing the lead of gracenotes that fits best."""
        tried = tones[:MOST_TRIED]
        self._part_heard = _usual_part_that_sounds(tried)
        is_exact, _, lead = max(
            ((*self._fit(tried, lead), lead) for lead in self._leads()),
            key=lambda found: found[:2],
        )
        self.placement = "on the beat" if lead == "none ahead" else "before the beat"
        return self._onsets(tones, lead, is_exact=is_exact)

    def _fit(self, tones: list[_Tone], lead: Lead) -> tuple[bool, float]:
        """How well a lead fits: whether it makes the file exact; nearness to coarse places."""
        onsets = self._onsets(tones, lead, is_exact=True)
        share = sum(onset.is_exact for onset in onsets) / len(onsets)
        self._onsets(tones, lead, is_exact=False)
        return share >= MOSTLY, -sum(self.errors) / len(self.errors)

    def _onsets(self, tones: list[_Tone], lead: Lead, *, is_exact: bool) -> list[_Onset]:
        onsets: list[_Onset] = []
        before: Fraction | None = None
        self.errors = []
        for index, tone in enumerate(tones):
            place = _reference(tone, lead, index == 0)
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

    def _leads(self) -> tuple[Lead, ...]:
        """How gracenotes may lead: files of our own say it."""
        match self._contents.settings.get("gracenote placement"):
            case "on the beat":
                return ("none ahead",)
            case "before the beat":
                return ("first ahead",)
            case _:
                return ("none ahead", "first ahead", "all ahead")

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
        if index + 1 == len(tones):
            return self._last_stop(tones, place, is_exact)
        _, beat = self._grid.segment(end)
        silence = tones[index + 1].start - end
        if self._is_ours:
            return None if silence < self._tolerance else self._exact(end, place)
        # Others may part notes by way of phrasing.
        heard_apart = (tones[index + 1].start - tones[index].main.start) * (1 - self._part_heard)
        if silence < max(beat / 4 - self._tolerance, heard_apart * _MUCH):
            return None
        exact = self._grid.snapped(end, LEAST_RESTS, self._tolerance) if is_exact else None
        if exact is None and silence >= beat / 2:
            return self._nearest(end)
        return exact

    def _last_stop(self, tones: list[_Tone], place: Fraction, is_exact: bool) -> Fraction:
        main = tones[-1].main
        end = main.end
        if not self._is_ours:
            # It is as much longer than it sounds as the others are.
            end = main.start + (end - main.start) / self._part_heard
        exact = self._exact(end, place) if is_exact else None
        return self._nearest(end) if exact is None else exact


def _usual_part_that_sounds(tones: list[_Tone]) -> Fraction:
    """The part of a note's length that is heard before a pause for phrasing, mostly all of it."""
    parts = [
        Fraction(tone.main.end - tone.main.start) / (after.start - tone.main.start)
        for tone, after in pairwise(tones)
        if after.start > tone.main.start
    ]
    phrased = sorted(part for part in parts if part > Fraction(1, 2))
    return phrased[len(phrased) // 2] if phrased else Fraction(1)


def _bar_spans(contents: MidiContents, until: Fraction) -> Iterator[_BarSpan]:
    meters = contents.bars or contents.meters
    for index, (start, meter) in enumerate(meters):
        after = meters[index + 1][0] if index + 1 < len(meters) else until
        whole = 4 * meter.length
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


def _tempo(contents: MidiContents, changed: Sequence[Fraction], span: _BarSpan) -> Fraction:
    """A bar's tempo in quarters a minute; where it changes meanwhile, what lasts as long."""
    end = span.start + span.length
    first = bisect_right(changed, span.start + contents.tick) - 1
    last = bisect_left(changed, end - contents.tick) - 1
    if last <= first:
        return 60_000_000 / contents.tempos[first][1]
    seconds = contents.seconds(end) - contents.seconds(span.start)
    return Fraction(round(6000 * float(span.length) / seconds), 100)


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
        here = _tempo(contents, changed, span)
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
    quantiser = _Quantiser(contents)
    longest = _gracenote_seconds(contents, reading)
    tones = list(_tones(melody.notes, melody.voice.marks, contents, longest))
    measures = _measures(contents, quantiser.onsets(tones), quantiser)
    remarks = melody.remarks
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
    names = [melody.voice.name for melody in melodies]
    if reading.part is not None:
        wanted = reading.part.strip()
        for index, name in enumerate(names):
            if wanted.casefold() == name.casefold() or wanted == str(index + 1):
                return index
        known = ", ".join(f"{i} ({name or 'unnamed'})" for i, name in enumerate(names, start=1))
        raise failure(f"there is no track {wanted!r} with a melody", f"choose one of: {known}")

    def unlikely(index: int) -> tuple[bool, bool, bool]:
        """What lies off the chanter, what is a drone on its own, and what must be transposed."""
        return (
            not lies_on_the_chanter(scores[index], reading.transpose),
            len({note.key for note in melodies[index].notes}) == 1,
            not lies_on_the_chanter(scores[index], 0),
        )

    return min(range(len(melodies)), key=unlikely)
