"""From a score as a file writes it to an exercise: the one way for ABC, MusicXML and MIDI.

Pitches are moved to the nine notes, tied notes joined, and the music is parted into lines and bars,
repeats kept as signs. Lengths go from shares of a whole note to beats, tempos from quarter notes to
beats a minute.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from fractions import Fraction
from math import ceil, lcm

from renderer.errors import RungwiseError, failure
from renderer.notation.beats_in_range import USUAL_TEMPO, with_beats_in_range
from renderer.notation.chanter_pitches import (
    ChanterPitches,
    chanter_pitches,
    off_the_chanter,
    pitch_remarks,
)
from renderer.notation.groups import slots_of_group
from renderer.notation.limits import (
    LARGEST_COUNT,
    LONGEST_TEXT,
    LONGEST_TITLE,
    MOST_LINES,
    MOST_QUARTERS,
    MOST_TIME_BITS,
    MOST_WRITTEN_NOTES,
)
from renderer.notation.pitch import Note
from renderer.notation.score import Bar, Exercise, Item, Line, MelodyNote, Meter, Rest, Slot
from renderer.notation.signs import NO_SIGNS
from renderer.notation.source_file import without_controls
from renderer.notation.tempo import exact_tempo
from renderer.notation.written import (
    AS_WRITTEN,
    MOST_WORDS,
    QUARTER,
    Measure,
    Pitch,
    Reading,
    Rests,
    Score,
    Written,
)

MOST_BARS_NAMED = 5
"""Bars longer than their meter that are named one by one."""


def _bar_meter(measure: Measure) -> Meter:
    """The written meter; a bar that is longer, or in free meter, is counted by its own length."""
    meter, length = measure.meter, measure.length
    if meter is not None and length <= meter.length:
        return meter
    unit = 4 if meter is None else meter.unit
    count = max(1, ceil(length * unit))
    if count > LARGEST_COUNT:
        raise failure(
            f"the bar holds {count}/{unit} and a bar may have {LARGEST_COUNT}/{unit}",
            "divide it by bar lines, or correct its lengths",
            place=measure.place,
        )
    return Meter(count, unit)


class _Joiner:
    """Lays written notes into bars: joins ties within a bar, and holds or keeps rests."""

    def __init__(self, reading: ChanterPitches, rests: Rests) -> None:
        self._reading = reading
        self._rests = rests
        self._before: Note | None = None
        self._before_endings: Note | None = None
        self._endings: tuple[int, ...] = ()
        self._before_line: Note | None = None
        self.leading_rest = False
        self.has_tie_into_line = False

    def begin_line(self) -> None:
        """Forget what sounded before: nothing is tied into a line."""
        self._before_line, self._before = self._before, None

    def bar(self, measure: Measure, tempo: Fraction | None) -> Bar:
        """Return the measure as a bar; its pitches must lie on the chanter."""
        meter = _bar_meter(measure)
        items: list[Item] = []
        endings = measure.signs.endings
        if endings and not self._endings:
            self._before_endings = self._before
        elif endings and endings != self._endings:
            # What is tied into another ending comes from before the first.
            self._before = self._before_endings
        self._endings = endings
        for written in measure.notes:
            beats = written.length / meter.beat_value
            if written.pitch is None:
                self._rest(items, beats)
            else:
                self._note(items, beats, written, self._chanter_note(written.pitch))
        words = tuple(filter(None, map(_printable, measure.words)))
        return Bar(
            tuple(items), meter, tempo, measure.signs, words, measure.number, measure.begins_row
        )

    def _chanter_note(self, pitch: Pitch) -> Note:
        note = self._reading.note(pitch)
        assert note is not None, "checked before"
        return note

    def _rest(self, items: list[Item], beats: Fraction) -> None:
        if self._rests == "hold" and self._before is not None:
            self._hold(items, beats, self._before)
            return
        self.leading_rest |= self._rests == "hold"
        self._before_line = None
        if items and isinstance(items[-1], Rest):
            items[-1] = Rest(items[-1].beats + beats)
        else:
            items.append(Rest(beats))
        self._before = None

    def _hold(self, items: list[Item], beats: Fraction, note: Note) -> None:
        last = items[-1] if items else None
        if isinstance(last, MelodyNote):
            items[-1] = replace(last, beats=last.beats + beats)
        else:
            items.append(MelodyNote(beats, (Slot(note),), tied=True))

    def _note(self, items: list[Item], beats: Fraction, written: Written, note: Note) -> None:
        if written.tied and not written.gracenotes and note == self._before:
            self._hold(items, beats, note)
            return
        if written.tied and self._before is None and note == self._before_line:
            self.has_tie_into_line = True
        self._before_line = None
        group = [self._chanter_note(pitch) for pitch in written.gracenotes]
        items.append(MelodyNote(beats, slots_of_group(note, group)))
        self._before = note


def bars_of(
    measures: Sequence[Measure], reading: ChanterPitches, rests: Rests = "silence"
) -> tuple[Bar, ...]:
    """Return measures as the bars of one line; empty measures fall away.

    A beat lasts the same in every meter, but for tempo marks.
    """
    joiner = _Joiner(reading, rests)
    bars = (
        joiner.bar(piece, _tempo_of(piece))
        for measure in measures
        if measure.notes
        for piece in _parted(measure, None)
    )
    return _as_a_line(bars)


def _as_a_line(bars: Iterable[Bar]) -> tuple[Bar, ...]:
    """The bars of a line: a double bar line ends it, so that its last bar need not say so."""
    line = list(bars)
    for index, bar in enumerate(line):
        # Nor need one that a repeat sign stands beside.
        is_last = index + 1 == len(line)
        if bar.signs.double and (is_last or bar.signs.closes or line[index + 1].signs.opens):
            line[index] = replace(bar, signs=replace(bar.signs, double=False))
    return tuple(line)


def _parted(measure: Measure, tempo: Fraction | None) -> list[Measure]:
    """The measure, or the pieces into which tempo marks part it, all in the whole one's meter."""
    if not measure.tempos_inside:
        return [measure]
    return replace(measure, meter=_bar_meter(measure)).parted(tempo)


def _tempo_of(measure: Measure) -> Fraction | None:
    """The measure's tempo mark in beats per minute of its meter."""
    if measure.tempo is None:
        return None
    tempo = measure.tempo * QUARTER / _bar_meter(measure).beat_value
    exact_tempo(tempo, place=measure.place)
    return tempo


def _check_size(measures: Sequence[Measure]) -> None:
    count = sum(
        len(measure.notes)
        + sum(len(note.gracenotes) for note in measure.notes)
        # Each parts the bar and one of its notes.
        + len(measure.tempos_inside)
        for measure in measures
    )
    if count > MOST_WRITTEN_NOTES:
        raise failure(
            f"the score has {count} notes",
            f"divide it; at most {MOST_WRITTEN_NOTES} are read",
        )
    quarters = Fraction(0)
    for measure in measures:
        # A single bar that is too long is named, before all of them together are too long.
        _bar_meter(measure)
        quarters += measure.length / QUARTER
    if quarters > MOST_QUARTERS:
        raise failure(
            f"the score lasts {ceil(quarters)} quarter notes",
            f"divide it; at most {MOST_QUARTERS} are read",
        )
    if not any(note.pitch is not None for measure in measures for note in measure.notes):
        raise failure("there are no notes in it", "choose a part or file with a melody")


def exercise_of(score: Score, reading: Reading = AS_WRITTEN) -> Exercise:
    """Turn a score into an exercise.

    Parameters
    ----------
    score:
        As a file writes it.
    reading:
        What the user asks.

    Returns
    -------
    The exercise, gracenote groups read by `slots_of_group`; its `remarks` say what was decided.

    Raises
    ------
    RungwiseError
        With every note that is not on the chanter; for a score without notes or beyond limits.
    """
    try:
        return _exercise_of(score, reading)
    except RungwiseError as error:
        raise error.in_file(score.source) from None


def _one_line(text: str) -> str:
    return " ".join(without_controls(text).split())


def _printable(text: str) -> str:
    """A title or heading on one line, without control characters and no longer than a title."""
    line = _one_line(text[: 10 * LONGEST_TITLE])
    return line if len(line) <= LONGEST_TITLE else f"{line[: LONGEST_TITLE - 1]}…"


class _Lines:
    """Parts measures into lines of bars, with their headings and tempo marks."""

    def __init__(self, joiner: _Joiner) -> None:
        self.lines: list[tuple[str, list[Bar]]] = []
        self.remarks: list[str] = []
        self.line_of: list[int] = []
        """The line of each measure, from 1; 0 for one without notes."""
        self.first_tempo: Fraction | None = None
        self._joiner = joiner
        self._longer_bars = 0
        self._begins, self._heading = True, ""
        self._quarters: Fraction | None = None
        self._tempo: Fraction | None = None
        self._second = 1
        """Into how many parts a second divides so that every beat has a whole number of them."""
        self._waiting: Measure | None = None
        """What measures without notes leave to the next one."""

    def add(self, measure: Measure) -> None:
        self._begins |= measure.begins_line
        self._heading = measure.heading if measure.begins_line else self._heading or measure.heading
        if not measure.notes:
            self._quarters = measure.tempo or self._quarters
            self._leave(measure)
            return
        if self._waiting is not None:
            signs = measure.signs.joined(replace(self._waiting.signs.at_start, endings=()))
            words = (*self._waiting.words, *measure.words)[:MOST_WORDS]
            measure, self._waiting = replace(measure, signs=signs, words=words), None
        meter = _bar_meter(measure)
        if measure.meter is not None and meter != measure.meter:
            self._longer_bars += 1
            said = (
                f"{measure.place[:1].upper()}{measure.place[1:]} is longer than {measure.meter}; "
                f"it is counted as {meter}."
            )
            if self._longer_bars > MOST_BARS_NAMED:
                said = "More bars are longer than their meter; each is counted by its own length."
            self.remarks.append(said)
        if self._begins:
            self._joiner.begin_line()
            self.lines.append((_printable(self._heading), []))
            self._begins, self._heading = False, ""
        self.line_of.append(len(self.lines))
        for piece in _parted(measure, self._quarters):
            self.lines[-1][1].append(self._joiner.bar(piece, self._tempo_mark(piece)))

    def _leave(self, measure: Measure) -> None:
        """Give what stands at a measure without notes to the bars on either side of it."""
        self.line_of.append(0)
        self._waiting = replace(
            measure,
            signs=measure.signs.joined(self._waiting.signs if self._waiting else NO_SIGNS),
            words=(*(self._waiting.words if self._waiting else ()), *measure.words),
        )
        if self.lines:
            bars = self.lines[-1][1]
            signs = bars[-1].signs.joined(replace(measure.signs.at_end, endings=()))
            bars[-1] = replace(bars[-1], signs=signs)

    def _tempo_mark(self, measure: Measure) -> Fraction | None:
        """The measure's tempo in beats a minute where it is another than before, else None."""
        meter = _bar_meter(measure)
        self._quarters = measure.tempo or self._quarters
        assert self._quarters is not None, "the first notes have a tempo"
        before, self._tempo = self._tempo, self._quarters * QUARTER / meter.beat_value
        exact_tempo(self._tempo, place=measure.place)
        if self._tempo != before:
            self._second = lcm(self._second, (60 / self._tempo).denominator)
            if self._second.bit_length() > MOST_TIME_BITS:
                raise failure(
                    "there are too many different tempos to keep exact time from here on",
                    "leave some out, or round them to whole numbers",
                    place=measure.place,
                )
        if self.first_tempo is None:
            before = self.first_tempo = self._tempo
        return self._tempo if self._tempo != before else None


def _exercise_of(score: Score, reading: Reading) -> Exercise:
    _check_size(score.measures)
    measures, said_of_beats = with_beats_in_range(score.measures)
    pitches = chanter_pitches(measures, reading, keyless=score.keyless)
    # Reported from the score as it stands, so that no note is named once for each repeat.
    wrong = off_the_chanter(score.measures, pitches, keyless=score.keyless, has_options=True)
    if wrong:
        raise RungwiseError(wrong)
    joiner = _Joiner(pitches, reading.rests)
    lines = _Lines(joiner)
    for measure in measures:
        lines.add(measure)
    remarks = [*score.remarks, *pitch_remarks(measures, pitches), *said_of_beats, *lines.remarks]
    if joiner.leading_rest:
        remarks.append("A rest with no note before it in its line stays a rest.")
    if joiner.has_tie_into_line:
        remarks.append("A tie into another part is not held: its note begins anew there.")
    if len(lines.lines) > MOST_LINES:
        raise failure(f"the score has {len(lines.lines)} lines", f"divide it; at most {MOST_LINES}")
    return Exercise(
        title=_printable(score.title) or "Untitled",
        lines=tuple(Line(_as_a_line(bars), heading) for heading, bars in lines.lines),
        tempo=lines.first_tempo or USUAL_TEMPO,
        composer=_printable(score.composer),
        tune_type=_printable(score.tune_type),
        origin=_printable(score.origin),
        notes="\n".join(filter(None, map(_one_line, score.notes[:LONGEST_TEXT].splitlines()))),
        order=_line_order(score.order, lines.line_of),
        remarks=tuple(dict.fromkeys(remarks)),
        source=score.source,
    )


def _line_order(parts: Sequence[range], line_of: Sequence[int]) -> tuple[int, ...]:
    """The lines in the order in which they are played, from 1; empty for as they stand."""
    order = [line for part in parts for line in dict.fromkeys(map(line_of.__getitem__, part))]
    in_order = tuple(line for line in order if line)
    return () if in_order == tuple(range(1, max(line_of) + 1)) else in_order
