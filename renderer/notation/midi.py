"""Reading MIDI: the melody of one track to an exercise.

Short notes before a longer one become its gracenotes; where they begin on the beat, or end on it,
is found out from the whole file. Everything else is laid on the beat: exactly where the file is
exact, otherwise on the nearest quarter or third of a beat, with the error reported. Tempos and
meters are kept, lines begin at markers.
"""

from __future__ import annotations

import contextlib
import re
from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path

from renderer.errors import RungwiseError, failure
from renderer.notation.definition_fields import WrongValueError, read_inner_length, read_meter
from renderer.notation.groups import slots_of_group
from renderer.notation.kept_settings import (
    LINE_INNER,
    MIDI_SHIFT,
    MIDI_SHORT_BARS,
    MIDI_STRETCH,
    with_settings,
)
from renderer.notation.midi_file import MidiContents, Sounded, Voice, read_contents
from renderer.notation.pitch import Note
from renderer.notation.score import Exercise, Meter, Placement
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
MOST_OPENED_PARTS = 12
MOSTLY = 0.9
"""A file is exact if this share of its notes begins at fine parts of a beat (judgement)."""

MOST_OVERLAP = Fraction(1_000_000)
"""Quarters: a tone that stops so far ahead goes on to the next."""

MOST_TRIED = 2_000
"""Notes that placement and exactness are judged by."""

_NUMBERED_LINE = re.compile(r"Line \d+")


@dataclass(frozen=True, slots=True)
class _Tone:
    """A melody note with the short notes before it."""

    group: tuple[Sounded, ...]
    main: Sounded

    @property
    def start(self) -> Fraction:
        return self.group[0].start if self.group else self.main.start


@dataclass(frozen=True, slots=True)
class _Onset:
    """Where a tone begins once quantised, where it stops, and how far it was off (all quarters)."""

    tone: _Tone
    place: Fraction
    stop: Fraction


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
    try:
        inner = read_inner_length(contents.settings.get("inner length", ""))
        if not inner.is_share_of_beat:
            longest = max(longest, float(inner.value) * 1.02)
    except WrongValueError:
        pass
    return longest / 1000


def _tones(notes: list[Sounded], contents: MidiContents, longest: float) -> Iterator[_Tone]:
    group: list[Sounded] = []
    for index, note in enumerate(notes):
        after = notes[index + 1] if index + 1 < len(notes) else None
        end = contents.seconds(note.end)
        short = end - contents.seconds(note.start) < longest
        leads = after is not None and contents.seconds(after.start) - end < SAME_TIME_SECONDS
        if short and leads:
            group.append(note)
        else:
            yield from _grouped(group, note, contents, longest)
            group = []


def _grouped(
    group: list[Sounded], main: Sounded, contents: MidiContents, longest: float
) -> Iterator[_Tone]:
    if contents.seconds(main.end) - contents.seconds(main.start) >= longest:
        yield _Tone(tuple(group), main)
        return
    # Short notes that lead to nothing longer are notes of their own.
    for note in (*group, main):
        yield _Tone((), note)


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
    if placement == "on the beat" or not tone.group:
        return tone.start
    if is_first and tone.start == 0:
        return tone.start
    notes = [_any_note(sounded) for sounded in tone.group]
    leads = slots_of_group(_any_note(tone.main), notes)[0].gracenote is not None
    row = (*tone.group, tone.main)
    return row[1].start if leads else row[0].start


def _any_note(sounded: Sounded) -> Note:
    """A stand-in of the same height, for rules that compare heights only."""
    return max((note for note in Note if note.midi <= sounded.key), default=Note.LOW_G)


def _opened_parts(settings: Mapping[str, str]) -> Iterator[int]:
    """The parts of a beat that opened movements of our own files begin at, such as fifths."""
    for name, value in settings.items():
        if name == "inner length" or name.startswith(LINE_INNER):
            # What is no length is said where the settings are read.
            with contextlib.suppress(ValueError):
                share = read_inner_length(value)
                if share.is_share_of_beat and share.value.denominator <= MOST_OPENED_PARTS:
                    yield from (share.value.denominator * times for times in (1, 2, 3, 4))


class _Quantiser:
    def __init__(self, contents: MidiContents, shift: int) -> None:
        self._contents = contents
        self._grid = _Beats(contents)
        self._tolerance = max(2 * contents.tick, Fraction(1, 1000))
        parts = sorted({*FINE_PARTS, *_opened_parts(contents.settings)})
        self._parts = [p for p in parts if Fraction(1, p) >= 6 * self._tolerance]
        self._shift = shift
        self.errors: list[float] = []
        self.placement: Placement = "on the beat"

    def onsets(self, tones: list[_Tone]) -> list[_Onset]:
        """Lay the tones on the grid, choosing the placement of gracenotes that fits best."""
        tones = [self._at_concert_pitch(tone) for tone in tones]
        share, self.placement = max(
            ((self._exact_share(tones, name), name) for name in ("before the beat", "on the beat")),
            key=lambda found: (found[0], found[1] == "on the beat"),
        )
        is_exact = share >= MOSTLY
        onsets = []
        for index, tone in enumerate(tones):
            place = _reference(tone, self.placement, index == 0)
            onsets.append(
                _Onset(tone, self._laid(place, is_exact), self._stop(tones, index, is_exact))
            )
        return onsets

    def _at_concert_pitch(self, tone: _Tone) -> _Tone:
        group = tuple(replace(note, key=note.key - self._shift) for note in tone.group)
        return _Tone(group, replace(tone.main, key=tone.main.key - self._shift))

    def _exact_share(self, tones: list[_Tone], placement: Placement) -> float:
        tones = tones[:MOST_TRIED]
        hits = sum(
            self._grid.snapped(_reference(tone, placement, i == 0), self._parts, self._tolerance)
            is not None
            for i, tone in enumerate(tones)
        )
        return hits / len(tones)

    def _laid(self, place: Fraction, is_exact: bool) -> Fraction:
        laid = None
        if is_exact:
            laid = self._grid.snapped(place, self._parts, self._tolerance)
        if laid is None:
            laid = self._grid.snapped(place, COARSE_PARTS, None)
            assert laid is not None, "a grid without tolerance always has a nearest place"
        seconds = self._contents.seconds
        self.errors.append(abs(seconds(place) - seconds(max(laid, Fraction(0)))))
        return laid

    def _stop(self, tones: list[_Tone], index: int, is_exact: bool) -> Fraction:
        """Where a tone stops sounding on the grid; far ahead if it goes on to the next."""
        end = tones[index].main.end
        after = tones[index + 1].start if index + 1 < len(tones) else None
        _, beat = self._grid.segment(end)
        # Our own files play legato but for rests; others may part notes by way of phrasing.
        least_rest = self._tolerance if self._contents.settings else beat / 8
        if after is not None and after - end < least_rest:
            return after + MOST_OVERLAP
        if is_exact:
            exact = self._grid.snapped(end, self._parts, self._tolerance)
            if exact is not None:
                return exact
        if after is not None and after - end < beat / 2:
            return after + MOST_OVERLAP
        nearest = self._grid.snapped(end, COARSE_PARTS, None)
        assert nearest is not None, "a grid without tolerance always has a nearest place"
        return nearest


def _bar_spans(contents: MidiContents, until: Fraction) -> Iterator[_BarSpan]:
    meters = contents.meters
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
        stop = onset.stop if after is None else min(onset.stop, after)
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


def _tempo(microseconds: int) -> Fraction:
    """Quarter notes per minute, without the rounding to whole microseconds."""
    return Fraction(60_000_000, microseconds).limit_denominator(1000)


def _measures(contents: MidiContents, onsets: list[_Onset], is_ours: bool) -> list[Measure]:
    pieces = list(_pieces(onsets))
    if not pieces:
        return []
    begin = contents.markers[0][0] if is_ours and contents.markers else pieces[0][0]
    if begin < pieces[0][0]:
        pieces.insert(0, (begin, pieces[0][0], Written(Fraction(1), None)))
    if is_ours and contents.end - pieces[-1][1] > contents.tick:
        pieces.append((pieces[-1][1], contents.end, Written(Fraction(1), None)))
    marked = [place for place, _ in contents.markers]
    changed = [place for place, _ in contents.tempos]
    measures: list[Measure] = []
    at = 0
    tempo: Fraction | None = None
    for number, span in enumerate(_bar_spans(contents, pieces[-1][1]), start=1):
        notes, at = _cut(pieces, span, at)
        mark = bisect_left(marked, span.start)
        is_marked = mark < len(marked) and marked[mark] < span.start + span.length
        heading = contents.markers[mark][1] if is_marked else ""
        here = _tempo(contents.tempos[bisect_right(changed, span.start) - 1][1])
        if not notes:
            continue
        measures.append(
            Measure(
                notes=tuple(notes),
                meter=span.meter,
                place=f"bar {number}",
                tempo=here if here != tempo else None,
                begins_line=is_marked,
                heading="" if _NUMBERED_LINE.fullmatch(heading) else heading,
            )
        )
        tempo = here
    return _with_short_bars(_with_pickups(measures), contents.settings)


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


def _with_short_bars(measures: list[Measure], settings: Mapping[str, str]) -> list[Measure]:
    """Give the short bars of our own files the meter that they were written in."""
    found = []
    line = 0
    for measure in measures:
        line += measure.begins_line or not line
        try:
            written = replace(measure, meter=read_meter(settings[f"{MIDI_SHORT_BARS}{line}"]))
        except (KeyError, WrongValueError):
            written = measure
        found.append(written if _is_shorter(measure, written) else measure)
    return found


def _is_shorter(one: Measure, other: Measure) -> bool:
    if one.meter is None or other.meter is None:
        return False
    whole = Fraction(other.meter.count, other.meter.unit)
    return Fraction(one.meter.count, one.meter.unit) < whole


def _shift_of(contents: MidiContents) -> int:
    value = contents.settings.get(MIDI_SHIFT, "0")
    return int(value) if re.fullmatch(r"-?\d{1,2}", value) else 0


def _unstretched(contents: MidiContents) -> MidiContents:
    """Undo the longer note values that very slow music is written in."""
    value = contents.settings.get(MIDI_STRETCH, "1")
    factor = int(value) if value in ("2", "4", "8", "16") else 1
    if factor == 1:
        return contents
    return MidiContents(
        contents.title,
        contents.tick / factor,
        [
            Voice(v.name, [Sounded(n.key, n.start / factor, n.end / factor) for n in v.notes])
            for v in contents.voices
        ],
        [(place / factor, us * factor) for place, us in contents.tempos],
        [(place / factor, Meter(m.count, m.unit * factor)) for place, m in contents.meters],
        [(place / factor, text) for place, text in contents.markers],
        contents.settings,
        contents.end / factor,
    )


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
    contents = _unstretched(read_contents(path))
    melodies = [
        (voice.name, notes)
        for voice in contents.voices
        if (notes := _one_at_a_time(voice, contents)) is not None
    ]
    if not melodies:
        cause = "no track plays one note at a time" if contents.voices else "it plays no notes"
        raise failure(cause, "a chanter plays one: export the melody on its own")
    scores = [_score(contents, notes, path, reading) for _, notes in melodies]
    index = _chosen(melodies, [score for score, _ in scores], reading)
    score, placement = scores[index]
    exercise = exercise_of(score, reading)
    if any(
        measure.notes and any(n.gracenotes for n in measure.notes) for measure in score.measures
    ):
        exercise = replace(exercise, gracenotes=replace(exercise.gracenotes, placement=placement))
    settings = {name: v for name, v in contents.settings.items() if not _is_of_the_file(name, v)}
    exercise = with_settings(exercise, settings)
    if len(melodies) == 1:
        return exercise
    name = melodies[index][0] or f"number {index + 1}"
    remark = f"{len(melodies)} tracks have a melody; {name} is read."
    return replace(exercise, remarks=(*exercise.remarks, remark))


def _is_of_the_file(name: str, value: str) -> bool:
    """Whether a setting is about the file's notes and not about the exercise.

    Movements opened out are notes here, so that a line's share of the beat says nothing about them.
    """
    if name in (MIDI_SHIFT, MIDI_STRETCH) or name.startswith(MIDI_SHORT_BARS):
        return True
    return name.startswith(LINE_INNER) and "beat" in value


def _score(
    contents: MidiContents, notes: list[Sounded], path: Path, reading: Reading
) -> tuple[Score, Placement]:
    quantiser = _Quantiser(contents, _shift_of(contents))
    tones = list(_tones(notes, contents, _gracenote_seconds(contents, reading)))
    measures = _measures(contents, quantiser.onsets(tones), bool(contents.settings))
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
    melodies: list[tuple[str, list[Sounded]]], scores: list[Score], reading: Reading
) -> int:
    if reading.part is not None:
        wanted = reading.part.strip()
        for index, (name, _) in enumerate(melodies):
            if wanted.casefold() == name.casefold() or wanted == str(index + 1):
                return index
        names = ", ".join(f"{i} ({n or 'unnamed'})" for i, (n, _) in enumerate(melodies, start=1))
        raise failure(f"there is no track {wanted!r} with a melody", f"choose one of: {names}")
    fits = (i for i, s in enumerate(scores) if lies_on_the_chanter(s, reading.transpose))
    return next(fits, 0)
