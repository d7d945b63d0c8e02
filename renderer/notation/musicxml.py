"""Reading MusicXML: the melody of one part to an exercise.

Pitches are read as written, whatever the part's transposition. Repeats and endings are played out,
gracenotes keep their order and groups, and a line of the exercise begins at a rehearsal mark, or at
a new system after a double bar line or repeat. Source: MusicXML 4.0.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from fractions import Fraction
from pathlib import Path
from xml.etree.ElementTree import Element

from renderer.errors import Problem, RungwiseError, failure
from renderer.notation.kept_settings import musicxml_settings, with_settings
from renderer.notation.limits import MOST_WRITTEN_NOTES
from renderer.notation.musicxml_file import read_score_element
from renderer.notation.note_values import TYPE_NAMES
from renderer.notation.score import Exercise, Meter
from renderer.notation.written import (
    AS_WRITTEN,
    MOST_REPORTED,
    Measure,
    Pitch,
    Reading,
    Score,
    Written,
    exercise_of,
    lies_on_the_chanter,
)

MOST_PASSES = 100
MOST_BEATS = 999
_LENGTH_OF_TYPE = {name: length for length, name in TYPE_NAMES.items()}
_SECTION_ENDS = ("light-light", "light-heavy", "heavy-light", "heavy-heavy")
_JUMPS = ("dacapo", "dalsegno", "tocoda", "coda", "segno")


@dataclass
class _Part:
    """A part's measures as they are collected, and what stands in the way of playing it."""

    name: str
    measures: list[Measure] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    remarks: dict[str, None] = field(default_factory=dict)
    keyless: bool = True


def _number(text: str | None, what: str, place: str) -> Fraction:
    try:
        if text is None or len(text) > 40:
            raise ValueError
        value = Fraction(text.strip())
    except (ValueError, ZeroDivisionError):
        shown = (text or "nothing")[:40]
        raise failure(f"{what} is {shown!r}, no number", "export it again", place=place) from None
    if abs(value) > 10**9 or value.denominator > 10**9:
        raise failure(f"{what} of {text} is out of range", "export it again", place=place)
    return value


def _text(fields: dict[str, Element], tag: str, usual: str) -> str:
    field = fields.get(tag)
    return usual if field is None else (field.text or "").strip()


class _PartReader:
    """Reads the measures of one part in order."""

    def __init__(self, name: str) -> None:
        self.part = _Part(name)
        self._divisions = Fraction(1)
        self._meter: Meter | None = None
        self._voice: str | None = None
        self._grace: list[Pitch] = []
        self._endings: tuple[int, ...] = ()
        self._next_tempo: Fraction | None = None
        self._section_ended = True
        self._count = 0
        # Of the measure at hand
        self._place = ""
        self._notes: list[Written] = []
        self._now = self._filled = self._longest = self._chord_start = Fraction(0)

    def measure(self, element: Element) -> None:
        """Read one `<measure>` (or a timewise measure's `<part>`)."""
        number = (element.get("number") or str(len(self.part.measures) + 1))[:20]
        self._place = f"bar {number}"
        self._notes = []
        self._now = self._filled = self._longest = self._chord_start = Fraction(0)
        tempo, self._next_tempo = self._next_tempo, None
        new_system, heading, opens, closes, ends_section = False, "", False, 0, False
        endings = self._endings
        has_rehearsal = False
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
                    tempo = self._tempo(child) or tempo
                    for mark in child.iterfind("direction-type/rehearsal"):
                        if not has_rehearsal:
                            has_rehearsal, heading = True, (mark.text or "").strip()
                case "print":
                    new_system |= "yes" in (child.get("new-system"), child.get("new-page"))
                case "barline":
                    opens |= child.find("repeat[@direction='forward']") is not None
                    closes = max(closes, self._closes(child))
                    started = self._ending(child)
                    endings = endings or started
                    at_end = child.get("location", "right") == "right"
                    style = child.findtext("bar-style", "").strip()
                    ends_section |= at_end and style in _SECTION_ENDS
                case _:
                    pass
        if self._longest > self._filled:
            self._notes.append(Written(self._longest - self._filled, None))
        self.part.measures.append(
            Measure(
                notes=tuple(self._notes),
                meter=self._meter,
                place=self._place,
                tempo=tempo,
                begins_line=has_rehearsal or (self._section_ended and new_system),
                heading=heading,
                opens=opens,
                closes=closes,
                endings=endings,
            )
        )
        self._section_ended = ends_section or bool(closes)

    def finish(self) -> _Part:
        """Return the part, once all measures are read."""
        if self._grace:
            self.part.remarks["Gracenotes after the last note are left out."] = None
        return self.part

    def _attributes(self, element: Element) -> None:
        divisions = element.findtext("divisions")
        if divisions is not None:
            self._divisions = _number(divisions, "<divisions>", self._place)
            if self._divisions <= 0:
                raise failure("<divisions> is not above 0", "export it again", place=self._place)
        for key in element.iterfind("key"):
            fifths = key.findtext("fifths")
            if fifths is None or fifths.strip() not in ("0", "-0", "+0"):
                self.part.keyless = False
        time = element.find("time")
        if time is not None:
            self._meter = self._read_meter(time)

    def _read_meter(self, time: Element) -> Meter | None:
        if time.find("senza-misura") is not None:
            return None
        whole = Fraction(0)
        finest = 1
        counts = [t.text or "" for t in time.iterfind("beats")]
        units = [t.text or "" for t in time.iterfind("beat-type")]
        for count, unit in zip(counts, units, strict=False):
            beats = re.fullmatch(r"\s*\d{1,3}(\s*\+\s*\d{1,3})*\s*", count)
            if beats is None or not re.fullmatch(r"\s*(1|2|4|8|16|32|64)\s*", unit):
                raise failure(
                    f"a meter of {count[:20]}/{unit[:20]} cannot be counted",
                    "write one like 3/4 or 6/8",
                    place=self._place,
                )
            total = sum(int(part) for part in count.split("+"))
            whole += Fraction(total, int(unit))
            finest = max(finest, int(unit))
        count_in_all = whole * finest
        if not counts or not 1 <= count_in_all <= MOST_BEATS:
            raise failure("the meter has no beats", "write one like 3/4", place=self._place)
        return Meter(int(count_in_all), finest)

    def _duration(self, element: Element) -> Fraction:
        value = _number(element.findtext("duration"), "<duration>", self._place)
        if value < 0:
            raise failure("a length is below 0", "export it again", place=self._place)
        return value / self._divisions / 4

    def _note(self, element: Element) -> None:
        self._count += 1
        if self._count > MOST_WRITTEN_NOTES:
            raise failure(f"there are more than {MOST_WRITTEN_NOTES} notes", "divide the score")
        fields = {child.tag: child for child in element}
        voice = f"{_text(fields, 'voice', '1')}/{_text(fields, 'staff', '1')}"
        is_grace, is_chord = "grace" in fields, "chord" in fields
        length = Fraction(0) if is_grace else self._duration(element)
        start = self._chord_start if is_chord else self._now
        if not is_chord:
            self._chord_start = start
            self._now += length
            self._longest = max(self._longest, self._now)
        sounds = "rest" not in fields and "cue" not in fields
        if self._voice is None and sounds:
            self._voice = voice
        if sounds and voice != self._voice:
            self.part.remarks["Only the first voice of the part is read."] = None
        if "cue" in fields or (self._voice is not None and voice != self._voice):
            return
        if is_chord:
            self._problem("two notes sound at once", start)
            return
        pitch = self._pitch(fields, start) if sounds else None
        if is_grace:
            if pitch is not None:
                self._grace.append(pitch)
            return
        if length == 0:
            self.part.remarks["Notes of no length are left out."] = None
            return
        self._place_note(element, pitch, start, length)

    def _place_note(
        self, element: Element, pitch: Pitch | None, start: Fraction, length: Fraction
    ) -> None:
        if start < self._filled:
            self._problem("a note begins before the one before it ends", start)
            return
        if start > self._filled:
            self._notes.append(Written(start - self._filled, None))
        tied = any(tie.get("type") == "stop" for tie in element.iterfind("tie"))
        tied |= any(tie.get("type") == "stop" for tie in element.iterfind("notations/tied"))
        group: tuple[Pitch, ...] = ()
        if pitch is not None:
            group, self._grace = tuple(self._grace), []
        self._notes.append(Written(length, pitch, group, tied and pitch is not None))
        self._filled = start + length

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
            self._problem(f"{step}{octave} is raised by {alter} of a semitone", start)
        return Pitch(step, round(alter), int(octave))

    def _problem(self, cause: str, start: Fraction) -> None:
        if len(self.part.problems) < MOST_REPORTED:
            beat = Fraction(1, 4) if self._meter is None else self._meter.beat_value
            whole, rest = divmod(start / beat + 1, 1)
            shown = f"{whole} {rest}" if rest else f"{whole}"
            self.part.problems.append(Problem(cause, "", f"{self._place}, beat {shown}"))

    def _tempo(self, element: Element) -> Fraction | None:
        """A tempo mark in quarter notes per minute; one inside the bar waits for the next."""
        sound = element if element.tag == "sound" else element.find("sound")
        if sound is not None and any(sound.get(name) is not None for name in _JUMPS):
            self.part.remarks["Da capo, dal segno and coda signs are not played out."] = None
        tempo: Fraction | None = None
        if sound is not None and sound.get("tempo") is not None:
            tempo = _number(sound.get("tempo"), "a tempo", self._place).limit_denominator(1000)
        elif element.find("direction-type/metronome/per-minute") is not None:
            tempo = _metronome(element)
        if not tempo or tempo <= 0:
            return None
        if self._filled:
            self.part.remarks["A tempo mark inside a bar holds from the next bar."] = None
            self._next_tempo = tempo
            return None
        return tempo

    def _closes(self, barline: Element) -> int:
        repeat = barline.find("repeat[@direction='backward']")
        if repeat is None:
            return 0
        times = repeat.get("times", "2")
        return min(MOST_PASSES, max(2, int(times))) if re.fullmatch(r"\d{1,6}", times) else 2

    def _ending(self, barline: Element) -> tuple[int, ...]:
        """Follow an ending's bracket; return the passes of one that starts at this bar line."""
        started: tuple[int, ...] = ()
        for ending in barline.iterfind("ending"):
            if ending.get("type") == "start":
                started = self._endings = _passes(ending.get("number", ""))
            else:
                self._endings = ()
        return started


def _passes(text: str) -> tuple[int, ...]:
    """The passes of an ending's `number`, such as `1, 2` or `1-3`."""
    numbers: list[int] = []
    for first, last in re.findall(r"(\d{1,3})(?:\s*-\s*(\d{1,3}))?", text):
        numbers += range(int(first), min(int(last or first), MOST_PASSES) + 1)
    return tuple(number for number in numbers if 1 <= number <= MOST_PASSES)


def _metronome(direction: Element) -> Fraction | None:
    metronome = direction.find("direction-type/metronome")
    assert metronome is not None
    unit = _LENGTH_OF_TYPE.get(metronome.findtext("beat-unit", "").strip())
    found = re.search(r"\d{1,4}(?:\.\d{1,4})?", metronome.findtext("per-minute", ""))
    if unit is None or found is None:
        return None
    dots = len(metronome.findall("beat-unit-dot"))
    return Fraction(found[0]) * unit * (2 - Fraction(1, 2**dots)) * 4


def _parts(root: Element) -> Iterator[_Part]:
    names = {
        part.get("id", ""): (part.findtext("part-name") or "").strip()
        for part in root.iterfind("part-list/score-part")
    }
    readers: dict[str, _PartReader] = {}
    if root.tag == "score-partwise":
        for part in root.iterfind("part"):
            reader = _PartReader(names.get(part.get("id", ""), ""))
            for measure in part.iterfind("measure"):
                reader.measure(measure)
            yield reader.finish()
        return
    for measure in root.iterfind("measure"):
        for part in measure.iterfind("part"):
            name = part.get("id", "")
            part.set("number", measure.get("number", ""))
            readers.setdefault(name, _PartReader(names.get(name, ""))).measure(part)
    yield from (reader.finish() for reader in readers.values())


def _title(root: Element, path: Path) -> str:
    for place in ("work/work-title", "movement-title"):
        title = (root.findtext(place) or "").strip()
        if title:
            return title
    for credit in root.iterfind("credit"):
        if (credit.findtext("credit-type") or "").strip() == "title":
            return (credit.findtext("credit-words") or "").strip() or path.stem
    return path.stem


def read_musicxml(path: str | Path, reading: Reading = AS_WRITTEN) -> Exercise:
    """Read the melody of one part of a MusicXML file (`.musicxml`, `.xml`, `.mxl`).

    Parameters
    ----------
    path:
        The file.
    reading:
        What the user asks; `part` is a part's name or number from 1. Without it the first part that
        lies on the nine notes is read.

    Raises
    ------
    RungwiseError
        For a file that is no MusicXML, and for a part with chords or notes off the chanter: one
        report of all of them with bar and beat.
    """
    path = Path(path)
    try:
        return _read(path, reading)
    except RungwiseError as error:
        raise error.in_file(str(path)) from None


def _read(path: Path, reading: Reading) -> Exercise:
    root = read_score_element(path)
    title = _title(root, path)
    parts = list(_parts(root))
    if not parts:
        raise failure("the score has no parts", "export it again with its music")
    scores = [
        Score(title, tuple(part.measures), part.keyless, str(path), tuple(part.remarks))
        for part in parts
    ]
    index = _chosen(parts, scores, reading)
    if parts[index].problems:
        found = parts[index].problems
        remedy = "a chanter plays one note at a time: leave one in, or choose another part"
        raise RungwiseError([*found[:-1], replace(found[-1], remedy=remedy)])
    exercise = with_settings(exercise_of(scores[index], reading), musicxml_settings(root))
    if len(parts) == 1:
        return exercise
    name = parts[index].name or f"number {index + 1}"
    remark = f"The score has {len(parts)} parts; {name} is read."
    return replace(exercise, remarks=(*exercise.remarks, remark))


def _chosen(parts: list[_Part], scores: list[Score], reading: Reading) -> int:
    if reading.part is not None:
        wanted = reading.part.strip()
        for index, part in enumerate(parts):
            if wanted.casefold() == part.name.casefold() or wanted == str(index + 1):
                return index
        names = ", ".join(f"{i} ({p.name or 'unnamed'})" for i, p in enumerate(parts[:30], start=1))
        raise failure(f"there is no part {wanted!r}", f"choose one of: {names}")
    for index, (part, score) in enumerate(zip(parts, scores, strict=True)):
        if not part.problems and lies_on_the_chanter(score, reading.transpose):
            return index
    with_notes = (i for i, p in enumerate(parts) if any(m.notes for m in p.measures))
    return next(with_notes, 0)
