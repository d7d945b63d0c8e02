"""Reading one part of a MusicXML score: `<measure>` elements in, measures as written out.

Pitches are read as written, whatever the part's transposition; lengths are shares of a whole note,
tempos quarter notes per minute. Source: MusicXML 4.0.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field, replace
from fractions import Fraction
from operator import itemgetter
from xml.etree.ElementTree import Element

from renderer.errors import Problem, failure, shortened
from renderer.notation.chanter_pitches import MOST_REPORTED
from renderer.notation.limits import LARGEST_COUNT, MOST_BARS, MOST_WRITTEN_NOTES
from renderer.notation.note_values import TYPE_NAMES
from renderer.notation.score import Meter
from renderer.notation.signs import (
    MOST_PASSES,
    NO_SIGNS,
    Signs,
    passes_of_ending,
    signs_of_words,
)
from renderer.notation.tempo import number_of_digits
from renderer.notation.written import (
    MOST_WORDS,
    Measure,
    Pitch,
    Written,
    beat_at,
    common_divisions,
)

ONE_NOTE_AT_A_TIME = "a chanter plays one note at a time: leave one in, or choose another part"
OWN_NOTES = "write the nearest of the chanter's own nine notes"
NOTE_AFTER_GRACENOTES = "write the note after them, or leave them out"
MOST_DOTS = 8
MOST_LENGTHS_KEPT = 1000
"""Texts of `<duration>` that are made sense of once for all notes."""
LONGEST_NUMBER = 20
"""Of a measure."""
MOST_MARKS_NAMED = 5
"""Marks that are named one by one as not read."""
_NUMBER = re.compile(
    r"\s{0,20}[+-]?(?:\d{1,20}(?:\.\d{0,20})?|\.\d{1,20})(?:[eE][+-]?\d{1,2})?\s{0,20}"
)
"""MusicXML's decimals, and exponents that some programs write: none of many digits, which a few
letters can also spell."""

_LENGTH_OF_TYPE = {name: length for length, name in TYPE_NAMES.items()}
_DECORATIONS = (
    "ornaments",
    "articulations",
    "technical",
    "fermata",
    "arpeggiate",
    "glissando",
    "slide",
)
_SECTION_ENDS = ("light-light", "light-heavy", "heavy-light", "heavy-heavy")
_SIGNS_OF_SOUND = {
    "segno": Signs(segno=True),
    "coda": Signs(coda=True),
    "tocoda": Signs(to_coda=True),
    "fine": Signs(fine=True),
    "dacapo": Signs(jump="D.C."),
    "dalsegno": Signs(jump="D.S."),
}
"""Attributes of MusicXML's `<sound>`, which say what the words and signs beside them mean."""


@dataclass
class Part:
    """A part's measures as they are collected, and what stands in the way of playing it."""

    name: str
    measures: list[Measure] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    remarks: dict[str, None] = field(default_factory=dict)
    keyless: bool = True
    implied: set[int] = field(default_factory=set)
    """Measures (from 0) at which a repeat begins although no sign opens it."""


def _number(text: str | None, what: str, place: str) -> Fraction:
    if text is None or _NUMBER.fullmatch(text) is None:
        shown = shortened(text or "nothing")
        raise failure(f"{what} is {shown!r}, no number", "export it again", place=place)
    value = Fraction(text.strip())
    if abs(value) > 10**9 or value.denominator > 10**9:
        raise failure(f"{what} of {text} is out of range", "export it again", place=place)
    return value


def _text(fields: dict[str, Element], tag: str, usual: str) -> str:
    field = fields.get(tag)
    return usual if field is None else (field.text or "").strip()


_Voice = tuple[str, str]
"""A voice, by its name and its staff's."""


class PartReader:
    """Reads the measures of one part in order."""

    def __init__(self, name: str) -> None:
        self.part = Part(name)
        self._divisions = Fraction(1)
        self._common = 1
        self._lengths: dict[str | None, Fraction] = {}
        self._unread_metronomes = 0
        self._meter: Meter | None = None
        self._voice: _Voice | None = None
        self._grace: list[tuple[str, Pitch]] = []
        """Each with the name of its voice."""
        self._has_left_out_gracenotes = False
        self._endings: tuple[int, ...] = ()
        self._tempo: Fraction | None = None
        self._next_tempo: Fraction | None = None
        self._repeated_bars = 0
        self._section_ended = True
        self._count = 0
        # Of the measure at hand
        self._grace_start = Fraction(0)
        self._place = ""
        self._notes: list[Written] = []
        self._now = self._filled = self._longest = self._chord_start = Fraction(0)
        self._tempos: list[tuple[Fraction, Fraction]] = []
        self._rehearsal: str | None = None
        self._over = NO_SIGNS
        self._words: list[str] = []

    def measure(self, element: Element) -> None:
        """Read one `<measure>` (or a timewise measure's `<part>`)."""
        number = shortened(element.get("number") or str(len(self.part.measures) + 1), 20)
        self._place = f"bar {number}"
        if len(self.part.measures) >= MOST_BARS:
            raise failure(
                f"there are more than {MOST_BARS} bars", "divide the score", place=self._place
            )
        self._notes, self._tempos = [], []
        self._now = self._filled = self._longest = self._chord_start = Fraction(0)
        self._rehearsal = None
        self._over, self._words = NO_SIGNS, []
        self._grace_start = Fraction(0)
        new_system = False
        for child in element:
            match child.tag:
                case "attributes":
                    self._attributes(child)
                case "note":
                    self._note(child)
                case "backup" | "forward":
                    way = -1 if child.tag == "backup" else 1
                    self._now = max(Fraction(0), self._now + way * self._duration(child))
                    self._longest = max(self._longest, self._now)
                case "direction" | "sound":
                    self._direction(child)
                case "harmony":
                    self.part.remarks["Chord symbols are left out."] = None
                case "print":
                    new_system |= "yes" in (child.get("new-system"), child.get("new-page"))
                case _:
                    pass
        self._rest_until(self._longest)
        signs, ends_section = self._bar_lines(element)
        tempo, inside = self._tempos_of_bar()
        self.part.measures.append(
            Measure(
                notes=self._repeated() or tuple(self._notes),
                meter=self._meter,
                place=self._place,
                tempo=tempo,
                begins_line=self._rehearsal is not None or (self._section_ended and new_system),
                begins_row=new_system,
                heading=self._rehearsal or "",
                signs=self._over.joined(signs),
                words=tuple(self._words),
                number=element.get("number", "").strip()[:LONGEST_NUMBER],
                tempos_inside=inside,
            )
        )
        self._section_ended = ends_section

    def _bar_lines(self, measure: Element) -> tuple[Signs, bool]:
        """What the bar lines of a measure say, and whether a section ends with it."""
        opens, closes, is_double = False, 0, False
        endings = self._endings
        for barline in measure.iterfind("barline"):
            opens |= _repeat(barline, "forward") is not None
            closes = max(closes, _closes(barline))
            endings = self._ending(barline, endings)
            at_end = barline.get("location", "right") == "right"
            style = barline.findtext("bar-style", "").strip()
            is_double |= at_end and style in _SECTION_ENDS
            for name, sign in (("segno", Signs(segno=True)), ("coda", Signs(coda=True))):
                if barline.find(name) is not None:
                    self._over = self._over.joined(sign)
        signs = Signs(opens=opens, closes=closes, endings=endings, double=is_double and not closes)
        return signs, is_double or bool(closes)

    def _repeated(self) -> tuple[Written, ...]:
        """The notes of the bars before that a sign repeats here; empty for a bar of its own."""
        if not self._repeated_bars or any(note.pitch is not None for note in self._notes):
            return ()
        if self._repeated_bars > len(self.part.measures):
            self._problem("a sign repeats bars that are not there", Fraction(0))
            return ()
        notes = self.part.measures[-self._repeated_bars].notes
        self._count_notes(len(notes))
        # Nothing is tied into a bar that the sign stands for.
        return (replace(notes[0], tied=False), *notes[1:]) if notes else ()

    def _tempos_of_bar(self) -> tuple[Fraction | None, tuple[tuple[Fraction, Fraction], ...]]:
        """The tempo from the beginning of the bar at hand, and those inside it.

        What stands at its end waits for the next one.
        """
        tempo, self._next_tempo = self._next_tempo, None
        inside: dict[Fraction, Fraction] = {}
        for start, mark in sorted(self._tempos, key=itemgetter(0)):
            if not start:
                tempo = mark
            elif start < self._longest:
                self._count_notes(1)
                inside[start] = mark
            else:
                self._next_tempo = mark
        return tempo, tuple(inside.items())

    def finish(self) -> Part:
        """Return the part, once all measures are read."""
        if self._grace:
            self.part.remarks["Gracenotes after the last note are left out."] = None
        return self.part

    def _attributes(self, element: Element) -> None:
        divisions = element.findtext("divisions")
        if divisions is not None:
            self._divisions = _number(divisions, "<divisions>", self._place)
            self._lengths.clear()
            if self._divisions <= 0:
                raise failure("<divisions> is not above 0", "export it again", place=self._place)
        for key in element.iterfind("key"):
            fifths = key.findtext("fifths")
            if fifths is None or fifths.strip() not in ("0", "-0", "+0"):
                self.part.keyless = False
        time = element.find("time")
        if time is not None:
            self._meter = self._read_meter(time)
        for sign in element.iterfind("measure-style/measure-repeat"):
            found = re.fullmatch(r"\s*(\d{1,2})\s*", sign.text or "")
            begins = sign.get("type") == "start"
            self._repeated_bars = int(found[1]) if begins and found is not None else 0

    def _read_meter(self, time: Element) -> Meter | None:
        if time.find("senza-misura") is not None:
            return None
        whole = Fraction(0)
        finest = 1
        counts = [(t.text or "")[:100] for t in time.iterfind("beats")]
        units = [(t.text or "")[:100] for t in time.iterfind("beat-type")]
        for count, unit in zip(counts, units, strict=False):
            beats = re.fullmatch(r"\s*\d{1,3}(\s*\+\s*\d{1,3})*\s*", count)
            if beats is None or not re.fullmatch(r"\s*(1|2|4|8|16|32|64)\s*", unit):
                raise failure(
                    f"a meter of {shortened(count)}/{shortened(unit)} cannot be counted",
                    "write one like 3/4 or 6/8",
                    place=self._place,
                )
            total = sum(int(part) for part in count.split("+"))
            whole += Fraction(total, int(unit))
            finest = max(finest, int(unit))
        count_in_all = whole * finest
        if not counts or not 1 <= count_in_all <= LARGEST_COUNT:
            raise failure("the meter has no beats", "write one like 3/4", place=self._place)
        return Meter(int(count_in_all), finest)

    def _duration(self, element: Element) -> Fraction:
        text = element.findtext("duration")
        known = self._lengths.get(text)
        if known is not None:
            return known
        value = _number(text, "<duration>", self._place)
        if value < 0:
            raise failure("a length is below 0", "export it again", place=self._place)
        if len(self._lengths) == MOST_LENGTHS_KEPT:
            self._lengths.clear()
        length = self._lengths[text] = self._counted(value / self._divisions / 4)
        return length

    def _counted(self, length: Fraction) -> Fraction:
        self._common = common_divisions(self._common, length, self._place)
        return length

    def _count_notes(self, count: int) -> None:
        self._count += count
        if self._count > MOST_WRITTEN_NOTES:
            raise failure(f"there are more than {MOST_WRITTEN_NOTES} notes", "divide the score")

    def _written_length(
        self, element: Element, fields: dict[str, Element], length: Fraction
    ) -> Fraction:
        """The length of a note whose `<duration>` is the nearest that its divisions can count.

        Notation programs count tuplets in 256ths or 1024ths of a quarter note; the note's value,
        dots and `<time-modification>` say what is meant.
        """
        value = _LENGTH_OF_TYPE.get(_text(fields, "type", ""))
        if value is None or fields.get("rest", element).get("measure") == "yes":
            return length
        value *= 2 - Fraction(1, 2 ** min(MOST_DOTS, len(element.findall("dot"))))
        ratio = fields.get("time-modification")
        if ratio is not None:
            normal, actual = (
                re.fullmatch(r"\s*([1-9]\d{0,2})\s*", ratio.findtext(name, ""))
                for name in ("normal-notes", "actual-notes")
            )
            if normal is None or actual is None:
                return length
            value *= Fraction(int(normal[1]), int(actual[1]))
        step = 1 / self._divisions / 4
        rounded = (value / step).denominator > 1 and abs(value - length) < step
        return self._counted(value) if rounded else length

    def _note(self, element: Element) -> None:
        self._count_notes(1)
        fields = {child.tag: child for child in element}
        voice = (_text(fields, "voice", "1"), _text(fields, "staff", "1"))
        is_grace, is_chord = "grace" in fields, "chord" in fields
        length = Fraction(0) if is_grace else self._duration(element)
        start = self._chord_start if is_chord else self._now
        if not is_chord:
            self._chord_start = start
            self._now += length
            self._longest = max(self._longest, self._now)
        sounds = "rest" not in fields and "cue" not in fields
        if self._voice is None and sounds and not is_grace:
            self._voice = voice
            self._keep_gracenotes_of(voice)
        is_heard = voice == self._voice
        if is_grace and self._voice is not None and not is_heard:
            # Written on the other staff, it leads to the next note all the same.
            is_heard = voice[0] == self._voice[0] and start == self._filled
        if sounds and self._voice is not None and not is_heard:
            self._leave_out_voice(is_grace)
        if "cue" in fields or (self._voice is not None and not is_heard):
            return
        if self._voice is None and start < self._filled:
            # Rests of other voices, before it is known which one has the melody.
            return
        if is_chord:
            self._problem("two notes or more sound at once", start)
            return
        pitch = self._pitch(fields, start) if sounds else None
        if is_grace:
            if pitch is not None:
                self._grace.append((voice[0], pitch))
                self._grace_start = start
            return
        if length == 0:
            self.part.remarks["Notes of no length are left out."] = None
            return
        self._place_note(element, fields, pitch, start)

    def _keep_gracenotes_of(self, voice: _Voice) -> None:
        """Leave out gracenotes before the first note that are another voice's."""
        kept = [(name, pitch) for name, pitch in self._grace if name == voice[0]]
        if len(kept) < len(self._grace):
            self._leave_out_voice(is_grace=True)
        self._grace = kept

    def _leave_out_voice(self, is_grace: bool) -> None:
        self.part.remarks["Only the first voice of the part is read."] = None
        if is_grace and not self._has_left_out_gracenotes:
            self._has_left_out_gracenotes = True
            said = f"Gracenotes of another voice or staff are left out, first in {self._place}."
            self.part.remarks[said] = None

    def _rest_until(self, end: Fraction) -> None:
        """Fill the bar with a rest up to a place, if it is not filled."""
        if end > self._filled:
            if self._grace_start < end:
                self._no_gracenotes(self._grace_start)
            self._notes.append(Written(end - self._filled, None))

    def _no_gracenotes(self, start: Fraction) -> None:
        """Object to gracenotes that a rest follows."""
        if self._grace:
            self._problem("gracenotes lead to a rest", start, remedy=NOTE_AFTER_GRACENOTES)
            self._grace = []

    def _place_note(
        self,
        element: Element,
        fields: dict[str, Element],
        pitch: Pitch | None,
        start: Fraction,
    ) -> None:
        if start < self._filled:
            self._problem("a note begins before the one before it ends", start)
            return
        self._rest_until(start)
        if "rest" in fields:
            self._no_gracenotes(start)
        tied = any(tie.get("type") == "stop" for tie in element.iterfind("tie"))
        tied |= any(tie.get("type") == "stop" for tie in element.iterfind("notations/tied"))
        group: tuple[Pitch, ...] = ()
        if pitch is not None:
            group, self._grace = tuple(small for _, small in self._grace), []
        self._leave_out(fields)
        length = self._now - start
        written = self._written_length(element, fields, length)
        self._notes.append(Written(written, pitch, group, tied and pitch is not None))
        self._filled = start + length

    def _leave_out(self, fields: dict[str, Element]) -> None:
        if "lyric" in fields:
            self.part.remarks["Lyrics are left out."] = None
        notations = fields.get("notations")
        if notations is not None and any(child.tag in _DECORATIONS for child in notations):
            self.part.remarks["Decorations other than gracenotes are left out."] = None

    def _pitch(self, fields: dict[str, Element], start: Fraction) -> Pitch | None:
        pitch = fields.get("pitch")
        if pitch is None:
            self._problem("a note has no pitch", start)
            return None
        step = pitch.findtext("step", "").strip()
        octave = pitch.findtext("octave", "").strip()
        alter = _number(pitch.findtext("alter", "0"), "<alter>", self._place)
        if step not in list("ABCDEFG") or not re.fullmatch(r"\d", octave) or abs(alter) > 3:
            raise failure("a pitch cannot be read", "export it again", place=self._place)
        if alter.denominator != 1:
            self._problem(_between_semitones(f"{step}{octave}", alter), start, remedy=OWN_NOTES)
        return Pitch(step, round(alter), int(octave))

    def _problem(self, cause: str, start: Fraction, *, remedy: str = ONE_NOTE_AT_A_TIME) -> None:
        place = f"{self._place}, beat {beat_at(start, self._meter)}"
        problem = Problem(cause, remedy, place)
        # A chord of four is one mistake.
        is_new = not self.part.problems or self.part.problems[-1] != problem
        if is_new and len(self.part.problems) < MOST_REPORTED:
            self.part.problems.append(problem)

    def _direction(self, element: Element) -> None:
        """Take a direction's rehearsal mark and its tempo mark, in quarter notes per minute."""
        kinds: dict[str, Element] = {}
        said = NO_SIGNS
        for kind in element.findall("direction-type"):
            for child in kind:
                kinds.setdefault(child.tag, child)
                said = said.joined(self._read_words(child))
        rehearsal = kinds.get("rehearsal")
        if rehearsal is not None and self._rehearsal is None:
            self._rehearsal = (rehearsal.text or "").strip()
        sound = element if element.tag == "sound" else element.find("sound")
        if sound is not None:
            for name, sign in _SIGNS_OF_SOUND.items():
                # The words say more than the attribute: whether it is al fine or al coda.
                if sound.get(name) is not None:
                    said = said.joined(sign)
            if sound.get("forward-repeat") == "yes":
                self.part.implied.add(len(self.part.measures))
            if said.to_coda:
                # The sign that marks the way to the coda looks like the one that marks the coda.
                said = replace(said, coda=False)
        self._over = self._over.joined(said)
        tempo: Fraction | None = None
        metronome = kinds.get("metronome")
        if sound is not None and sound.get("tempo") is not None:
            tempo = _tempo_of_sound(sound.get("tempo", ""))
        if tempo is None and metronome is not None:
            tempo = _metronome(metronome, self._tempo)
        has_mark = metronome is not None or (sound is not None and sound.get("tempo") is not None)
        if tempo is None and has_mark:
            self._leave_out_metronome()
        if tempo and tempo > 0:
            self._tempo = tempo
            self._tempos.append((self._now, tempo))

    def _read_words(self, element: Element) -> Signs:
        """Take one thing that a direction shows; return the signs that it is or spells."""
        if element.tag == "segno":
            return Signs(segno=True)
        if element.tag == "coda":
            return Signs(coda=True)
        text = " ".join((element.text or "").split()) if element.tag == "words" else ""
        signs = signs_of_words(text)
        if text and signs == NO_SIGNS and len(self._words) < MOST_WORDS:
            self._words.append(text)
        return signs

    def _leave_out_metronome(self) -> None:
        self._unread_metronomes += 1
        if self._unread_metronomes <= MOST_MARKS_NAMED:
            self.part.remarks[f"The metronome mark in {self._place} is not read."] = None
        else:
            self.part.remarks["More metronome marks are not read."] = None

    def _ending(self, barline: Element, endings: tuple[int, ...]) -> tuple[int, ...]:
        """Follow an ending's bracket; return the passes that the bar at hand is played in.

        `endings` are the passes so far.
        """
        started: tuple[int, ...] = ()
        begins = barline.get("location") == "left"
        if begins and _repeat(barline, "forward") is not None:
            # A bracket that nothing has closed ends where the next repeat begins.
            endings = self._endings = ()
        for ending in barline.findall("ending"):
            if ending.get("type") == "start":
                started = self._endings = passes_of_ending(ending.get("number", ""))
            else:
                self._endings = ()
        return endings or started


_QUARTER_TONES = {
    Fraction(1, 2): "a quarter tone above",
    Fraction(-1, 2): "a quarter tone below",
    Fraction(3, 2): "three quarter tones above",
    Fraction(-3, 2): "three quarter tones below",
}


def _between_semitones(note: str, alter: Fraction) -> str:
    """What is wrong with a pitch that lies between two semitones, as musicians say it."""
    way = "above" if alter > 0 else "below"
    lies = _QUARTER_TONES.get(alter, f"{float(abs(alter)):.3g} semitones {way}")
    return f"a note is {lies} {note}"


def _tempo_of_sound(text: str) -> Fraction | None:
    """The tempo of a `<sound>`, None for what is no number."""
    if _NUMBER.fullmatch(text) is None:
        return None
    return min(number_of_digits(text.strip()), Fraction(10**9))


def _repeat(barline: Element, direction: str) -> Element | None:
    """The first repeat sign of a direction, `forward` or `backward`."""
    signs = barline.findall("repeat")
    return next((sign for sign in signs if sign.get("direction") == direction), None)


def _closes(barline: Element) -> int:
    """How often the music up to a bar line is played in all; 0 without a repeat sign."""
    repeat = _repeat(barline, "backward")
    if repeat is None:
        return 0
    times = repeat.get("times", "2")
    return min(MOST_PASSES, max(2, int(times))) if re.fullmatch(r"\d{1,6}", times) else 2


def _metronome(metronome: Element, before: Fraction | None) -> Fraction | None:
    """A metronome mark in quarter notes per minute; None for one that cannot be told.

    `before` is the tempo so far, which a mark of two note values (the first as long as the second
    from now on) goes by.
    """
    written: list[tuple[str, int]] = []
    for child in metronome:
        if child.tag == "beat-unit":
            written.append(((child.text or "").strip(), 0))
        elif child.tag == "beat-unit-dot" and written:
            written[-1] = (written[-1][0], written[-1][1] + 1)
        elif child.tag == "metronome-note" and child.find("metronome-tuplet") is None:
            name = child.findtext("metronome-type", "").strip()
            written.append((name, len(child.findall("metronome-dot"))))
    if not 1 <= len(written) <= 2 or any(
        name not in _LENGTH_OF_TYPE or dots > MOST_DOTS for name, dots in written
    ):
        return None
    values = [_LENGTH_OF_TYPE[name] * (2 - Fraction(1, 2**dots)) for name, dots in written]
    number = re.search(r"\d{1,4}(?:\.\d{1,18})?", metronome.findtext("per-minute", "")[:100])
    if len(values) == 1 and number is not None:
        return number_of_digits(number[0]) * values[0] * 4
    if len(values) == 2 and number is None and before is not None:
        return before * values[1] / values[0]
    return None
