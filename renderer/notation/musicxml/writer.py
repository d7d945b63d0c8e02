"""An exercise to MusicXML 4.0: what a notation editor opens and the sheet is engraved from.

Pipe notation is written out in full: gracenotes stem up and are beamed as 32nds, melody notes stem
down and are beamed by the beat. Each line of the exercise begins a system, with its heading as a
rehearsal mark, and ends with a double bar line. Two sharps hold (C and F sound sharp) and are not
printed. Every note's `id` is the name that the timed events know it by; a further note tied to it
adds `-T2`, `-T3`. The same exercise gives the same bytes.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import lcm
from xml.etree import ElementTree

from renderer.notation.kept_settings import (
    BAR_NUMBERS,
    BAR_NUMBERS_COUNTED,
    MOVEMENTS,
    MOVEMENTS_TOLD,
    SOFTWARE,
    decimal_text,
    settings_of,
)
from renderer.notation.note_values import (
    SHORTEST_TYPE,
    TYPE_NAMES,
    Value,
    beam_groups,
    beams_of_group,
    values_of_bar,
)
from renderer.notation.pitch import Note
from renderer.notation.printed import (
    Opened,
    Printed,
    SmallNote,
    printed_line,
)
from renderer.notation.score import (
    PICKUP,
    Bar,
    Exercise,
    Meter,
    bar_offsets,
    goes_on_at_another_tempo,
)
from renderer.notation.signs import NO_SIGNS, Signs, ending_text

GM_BAGPIPE = 110
"""Of 128, counted from 1 as General MIDI's instrument table and MusicXML do."""

PIPES_SOUND = "wind.pipes.bagpipe"
"""MusicXML's standard sounds (from memory)."""

_GRACE_BEAMS = 3
_HEADER = (
    '<?xml version="1.0" encoding="UTF-8"?>\n'
    '<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 Partwise//EN" '
    '"http://www.musicxml.org/dtds/partwise.dtd">\n'
)
_NOT_IN_XML = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")

Element = ElementTree.Element


@dataclass(frozen=True, slots=True)
class Instrument:
    """What the score is played on.

    Parameters
    ----------
    name:
        Of the part.
    transpose_semitones:
        From written pitch to sound: 0 for a pipe chanter at A = 440 Hz, -12 for a practice chanter,
        1 and -11 at B flat.
    """

    name: str = "Pipe chanter"
    transpose_semitones: int = 0


PIPE_CHANTER = Instrument()


def clean_text(text: str) -> str:
    """The text without what XML cannot hold."""
    return _NOT_IN_XML.sub("", text)


def _add(parent: Element, tag: str, text: str | int | None = None, **attributes: str) -> Element:
    named = {name.replace("_", "-"): value for name, value in attributes.items()}
    child = ElementTree.SubElement(parent, tag, named)
    if text is not None:
        child.text = clean_text(str(text))
    return child


class _Writer:
    def __init__(
        self,
        exercise: Exercise,
        opened: Opened,
        instrument: Instrument,
        headings: bool,
        tempo_marks: bool,
        pickups: Sequence[Fraction],
    ) -> None:
        self.exercise = exercise
        self.opened = opened
        self.instrument = instrument
        self.headings, self.tempo_marks = headings, tempo_marks
        self.lines = [
            printed_line(exercise, number, opened, pickup)
            for number, pickup in enumerate(pickups, start=1)
        ]
        lengths = (note.length for line in self.lines for bar in line.notes for note in bar)
        beats = (bar.meter.beat_value for line in self.lines for bar in line.bars)
        # Notes may be parted at the beat, and what is left is no finer than note and beat.
        self.divisions = lcm(4, *{length.denominator for length in (*lengths, *beats)})
        self.meter: Meter | None = None
        self.beat_tempo = exercise.tempo
        self.quarter_tempo: Fraction | None = None
        self.measure_number = self.implicit_number = 0
        self.implied = _implied_beginnings(exercise)

    def score(self) -> Element:
        root = ElementTree.Element("score-partwise", {"version": "4.0"})
        _add(_add(root, "work"), "work-title", self.exercise.title)
        self._identification(_add(root, "identification"))
        self._part_list(_add(root, "part-list"))
        part = _add(root, "part", id="P1")
        for number in range(1, len(self.lines) + 1):
            self._line(part, number)
        return root

    def _identification(self, parent: Element) -> None:
        if self.exercise.composer:
            _add(parent, "creator", self.exercise.composer, type="composer")
        encoding = _add(parent, "encoding")
        _add(encoding, "software", SOFTWARE)
        for element in ("accidental", "beam", "stem"):
            _add(encoding, "supports", element=element, type="yes")
        _add(encoding, "supports", element="print", type="yes", attribute="new-system", value="yes")
        miscellaneous = _add(parent, "miscellaneous")
        settings = settings_of(self.exercise)
        if self.opened == "closed":
            settings[MOVEMENTS] = MOVEMENTS_TOLD
        if not any(bar.number for line in self.exercise.lines for bar in line.bars):
            settings[BAR_NUMBERS] = BAR_NUMBERS_COUNTED
        for name, value in settings.items():
            _add(miscellaneous, "miscellaneous-field", value, name=name)

    def _part_list(self, parent: Element) -> None:
        part = _add(parent, "score-part", id="P1")
        _add(part, "part-name", self.instrument.name, print_object="no")
        instrument = _add(part, "score-instrument", id="P1-I1")
        _add(instrument, "instrument-name", self.instrument.name)
        _add(instrument, "instrument-sound", PIPES_SOUND)
        midi = _add(part, "midi-instrument", id="P1-I1")
        _add(midi, "midi-channel", 1)
        _add(midi, "midi-program", GM_BAGPIPE)

    def _line(self, part: Element, line_number: int) -> None:
        line = self.exercise.lines[line_number - 1]
        is_last_line = line_number == len(self.lines)
        printed = self.lines[line_number - 1]
        rows = zip(
            printed.bars,
            printed.notes,
            bar_offsets(printed.bars),
            goes_on_at_another_tempo(printed.bars),
            strict=True,
        )
        for number, (bar, notes, beats_before, goes_on) in enumerate(rows, start=1):
            offset = beats_before * bar.meter.beat_value
            measure = self._measure(part, bar, is_pickup=bool(offset))
            begins_line = number == 1
            before = None if begins_line else printed.bars[number - 2]
            after = None if number == len(printed.bars) else printed.bars[number]
            if line_number > 1 if begins_line else _begins_row(bar, before):
                _add(measure, "print", new_system="yes")
            _left_barline(measure, bar.signs, NO_SIGNS if before is None else before.signs)
            self._attributes(measure, bar, is_first=begins_line and line_number == 1)
            if begins_line and self.headings and line.heading:
                direction = _add(measure, "direction", placement="above")
                kind = _add(direction, "direction-type")
                _add(kind, "rehearsal", line.heading, enclosure="none")
            if (line_number, number) in self.implied:
                _add(measure, "sound", forward_repeat="yes")
            _signs_at_start(measure, bar)
            self._tempo(measure, bar)
            self._notes(measure, notes, bar, offset)
            _signs_at_end(measure, bar.signs)
            style = "dashed" if goes_on else "light-light" if bar.signs.double else ""
            if after is None:
                style = "light-heavy" if is_last_line else "light-light"
            _right_barline(measure, bar.signs, NO_SIGNS if after is None else after.signs, style)

    def _measure(self, part: Element, bar: Bar, *, is_pickup: bool) -> Element:
        implicit = {"implicit": "yes"} if is_pickup else {}
        if bar.number:
            return _add(part, "measure", number=bar.number, **implicit)
        if is_pickup and self.measure_number == 0:
            return _add(part, "measure", number=PICKUP, implicit="yes")
        if is_pickup:
            # A pickup inside the tune, or a piece of a bar, is not counted either.
            self.implicit_number += 1
            return _add(part, "measure", number=f"X{self.implicit_number}", implicit="yes")
        self.measure_number += 1
        return _add(part, "measure", number=str(self.measure_number), **implicit)

    def _attributes(self, measure: Element, bar: Bar, *, is_first: bool) -> None:
        if not is_first and bar.meter == self.meter:
            return
        attributes = _add(measure, "attributes")
        if is_first:
            _add(attributes, "divisions", self.divisions // 4)
            _add(_add(attributes, "key", print_object="no"), "fifths", 2)
        time = _add(attributes, "time")
        _add(time, "beats", bar.meter.count)
        _add(time, "beat-type", bar.meter.unit)
        self.meter = bar.meter
        if not is_first:
            return
        clef = _add(attributes, "clef")
        _add(clef, "sign", "G")
        _add(clef, "line", 2)
        semitones = self.instrument.transpose_semitones
        if semitones:
            octaves, chromatic = divmod(semitones, 12)
            if octaves < 0 and chromatic > 6:
                octaves, chromatic = octaves + 1, chromatic - 12
            transpose = _add(attributes, "transpose")
            _add(transpose, "diatonic", _diatonic(chromatic))
            _add(transpose, "chromatic", chromatic)
            if octaves:
                _add(transpose, "octave-change", octaves)

    def _tempo(self, measure: Element, bar: Bar) -> None:
        self.beat_tempo = bar.tempo or self.beat_tempo
        quarter_tempo = self.beat_tempo * bar.meter.beat_value * 4
        if quarter_tempo == self.quarter_tempo:
            return
        is_mark = self.quarter_tempo is None or bar.tempo is not None
        self.quarter_tempo = quarter_tempo
        if not (is_mark and self.tempo_marks):
            _add(measure, "sound", tempo=decimal_text(quarter_tempo))
            return
        direction = _add(measure, "direction", placement="above")
        metronome = _add(_add(direction, "direction-type"), "metronome")
        meter = bar.meter
        base = meter.beat_value * 2 / 3 if meter.is_compound else meter.beat_value
        _add(metronome, "beat-unit", TYPE_NAMES[base])
        if meter.is_compound:
            _add(metronome, "beat-unit-dot")
        _add(metronome, "per-minute", decimal_text(self.beat_tempo))
        _add(direction, "sound", tempo=decimal_text(quarter_tempo))

    def _notes(
        self, measure: Element, notes: Sequence[Printed], bar: Bar, offset: Fraction
    ) -> None:
        values = values_of_bar([note.length for note in notes], bar.meter.beat_value)
        owners = [note for note, row in zip(notes, values, strict=True) for _ in row]
        flat = beam_groups(
            [value for row in values for value in row],
            [owner.note is None for owner in owners],
            bar.meter,
            offset,
        )
        at = 0
        for note, row in zip(notes, values, strict=True):
            pieces = flat[at : at + len(row)]
            at += len(row)
            self._group(measure, note.group)
            whole_bar = note.note is None and len(notes) == 1 and not offset
            for index, value in enumerate(pieces):
                is_last = index + 1 == len(pieces)
                self._note(
                    measure,
                    note,
                    value,
                    name=note.id if index == 0 else f"{note.id}-T{index + 1}",
                    tie_stop=note.note is not None and (index > 0 or note.tied_from_before),
                    tie_start=note.note is not None and (not is_last or note.tied_on),
                    whole_bar=whole_bar and bar.beats == bar.meter.beats and len(pieces) == 1,
                )

    def _group(self, measure: Element, group: tuple[SmallNote, ...]) -> None:
        beams = beams_of_group([_GRACE_BEAMS] * len(group))
        for small, levels in zip(group, beams, strict=True):
            element = _add(measure, "note", id=small.id)
            _add(element, "grace", slash="no")
            _pitch(element, small.note)
            _add(element, "voice", 1)
            _add(element, "type", "32nd")
            _add(element, "stem", "up")
            for level, beam in enumerate(levels, start=1):
                _add(element, "beam", beam, number=str(level))

    def _note(
        self,
        measure: Element,
        note: Printed,
        value: Value,
        *,
        name: str,
        tie_stop: bool,
        tie_start: bool,
        whole_bar: bool,
    ) -> None:
        element = _add(measure, "note", id=name)
        if note.note is None:
            _add(element, "rest", **({"measure": "yes"} if whole_bar else {}))
        else:
            _pitch(element, note.note)
        duration = value.length * self.divisions
        assert duration.denominator == 1, "divisions hold every length"
        _add(element, "duration", int(duration))
        ties = [kind for kind, wanted in (("stop", tie_stop), ("start", tie_start)) if wanted]
        for kind in ties:
            _add(element, "tie", type=kind)
        _add(element, "voice", 1)
        _add(element, "type", TYPE_NAMES.get(value.base, SHORTEST_TYPE))
        for _ in range(value.dots):
            _add(element, "dot")
        if value.actual > 1:
            modification = _add(element, "time-modification")
            _add(modification, "actual-notes", value.actual)
            _add(modification, "normal-notes", value.normal)
        if note.note is not None and value.base < 1:
            _add(element, "stem", "down")
        for level, beam in enumerate(value.beams, start=1):
            _add(element, "beam", beam, number=str(level))
        if ties or value.begins_tuplet or value.ends_tuplet:
            notations = _add(element, "notations")
            for kind in ties:
                _add(notations, "tied", type=kind)
            if value.begins_tuplet:
                _add(notations, "tuplet", type="start", number="1")
            if value.ends_tuplet:
                _add(notations, "tuplet", type="stop", number="1")


def _implied_beginnings(exercise: Exercise) -> set[tuple[int, int]]:
    """The bars to which a repeat goes back although no sign opens one there.

    Line and bar from 1. MusicXML by itself would go back to the repeat before it, or to the
    beginning; an exercise goes back to a double bar line or the beginning of a line at most.
    """
    implied: set[tuple[int, int]] = set()
    begin, is_open = (1, 1), False
    for line_number, line in enumerate(exercise.lines, start=1):
        for number, bar in enumerate(line.bars, start=1):
            before = line.bars[number - 2].signs if number > 1 else None
            if not is_open and (before is None or before.double):
                begin = (line_number, number)
            is_open |= bar.signs.opens
            if bar.signs.closes:
                if not is_open:
                    implied.add(begin)
                is_open = False
                begin = (line_number, number + 1)
    return {place for place in implied if place != (1, 1)}


def _begins_row(bar: Bar, before: Bar | None) -> bool:
    """Whether a bar begins a row of the score that would not be read as a line's beginning."""
    if before is None or bar.signs.opens:
        return False
    return bar.begins_row and not before.signs.closes and not before.signs.double


def _left_barline(measure: Element, signs: Signs, before: Signs) -> None:
    begins_ending = bool(signs.endings) and (signs.endings != before.endings or bool(before.closes))
    if not (signs.opens or begins_ending):
        return
    barline = _add(measure, "barline", location="left")
    if signs.opens:
        _add(barline, "bar-style", "heavy-light")
    if begins_ending:
        number = ",".join(map(str, signs.endings))
        _add(barline, "ending", f"{ending_text(signs.endings)}.", number=number, type="start")
    if signs.opens:
        _add(barline, "repeat", direction="forward")


def _right_barline(measure: Element, signs: Signs, after: Signs, style: str) -> None:
    ends_ending = bool(signs.endings) and (signs.endings != after.endings or bool(signs.closes))
    if not (style or signs.closes or ends_ending):
        return
    barline = _add(measure, "barline", location="right")
    if signs.closes:
        style = "light-heavy"
    if style:
        _add(barline, "bar-style", style)
    if ends_ending:
        number = ",".join(map(str, signs.endings))
        kind = "stop" if signs.closes or style in ("light-light", "light-heavy") else "discontinue"
        _add(barline, "ending", number=number, type=kind)
    if signs.closes:
        times = {"times": str(signs.closes)} if signs.closes != 2 else {}
        _add(barline, "repeat", direction="backward", **times)


def _direction(measure: Element, shown: str, text: str | None = None, **sound: str) -> None:
    direction = _add(measure, "direction", placement="above")
    _add(_add(direction, "direction-type"), shown, text)
    if sound:
        _add(direction, "sound", **sound)


def _signs_at_start(measure: Element, bar: Bar) -> None:
    if bar.signs.segno:
        _direction(measure, "segno", segno="segno")
    if bar.signs.coda:
        _direction(measure, "coda", coda="coda")
    for text in bar.words:
        _direction(measure, "words", text)


def _signs_at_end(measure: Element, signs: Signs) -> None:
    if signs.to_coda:
        _direction(measure, "words", "To Coda", tocoda="coda")
    if signs.fine:
        _direction(measure, "words", "Fine", fine="yes")
    if signs.jump is not None:
        sound = {"dacapo": "yes"} if signs.jump.startswith("D.C.") else {"dalsegno": "segno"}
        _direction(measure, "words", signs.jump, **sound)


def _diatonic(chromatic: int) -> int:
    """Staff steps of an interval in semitones as it is usually spelled: a semitone is a second."""
    size = (0, 1, 1, 2, 2, 3, 4, 4, 5, 5, 6, 6)[abs(chromatic)]
    return size if chromatic >= 0 else -size


def _pitch(parent: Element, note: Note) -> None:
    pitch = _add(parent, "pitch")
    _add(pitch, "step", note.step)
    if note in (Note.C, Note.F):
        _add(pitch, "alter", 1)
    _add(pitch, "octave", note.octave)


def write_musicxml(
    exercise: Exercise,
    *,
    opened: Opened = "as written",
    instrument: Instrument = PIPE_CHANTER,
    headings: bool = True,
    tempo_marks: bool = True,
    pickups: Sequence[Fraction] | None = None,
) -> bytes:
    """Return an exercise as an uncompressed MusicXML 4.0 file.

    Parameters
    ----------
    exercise:
        What is written.
    opened:
        `as written`: ornaments whose inner length is a share of the beat are written out as real
        notes with their own gracenotes, others as gracenote groups; `open` and `closed` choose one
        for all.
    instrument:
        The part's name and its transposition.
    headings, tempo_marks:
        Whether lines' headings and tempo marks are printed; tempos stay in the file either way.
    pickups:
        The least time before each line's first beat, as a share of a whole note, so that forms of
        one exercise have the same bars; nothing if left out.

    Raises
    ------
    RungwiseError
        If an opened ornament has more parts than its note has room for.
    """
    least = [Fraction(0)] * len(exercise.lines) if pickups is None else pickups
    root = _Writer(exercise, opened, instrument, headings, tempo_marks, least).score()
    ElementTree.indent(root, " ")
    return (_HEADER + ElementTree.tostring(root, encoding="unicode") + "\n").encode()
