"""ABC music code to measures: notes, gracenotes, ties, tuplets, broken rhythm, bar lines.

`MusicCode` is fed line by line and collects `Measure`s in shares of a whole note. Source: the ABC
music standard 2.1, section 4 (the tune body).
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import accumulate
from math import lcm

from renderer.errors import Problem, RungwiseError, failure, shortened
from renderer.notation.abc.information_fields import (
    ALTERS,
    Key,
    read_key,
    read_meter,
    read_tempo,
    read_text,
    read_unit,
)
from renderer.notation.chanter_pitches import MOST_REPORTED
from renderer.notation.limits import MOST_WRITTEN_NOTES
from renderer.notation.score import Meter
from renderer.notation.signs import (
    MOST_PASSES,
    NO_SIGNS,
    Signs,
    passes_of_ending,
    signs_of_words,
)
from renderer.notation.written import (
    MOST_WORDS,
    SIGN_NAMES,
    Measure,
    Pitch,
    Written,
    common_divisions,
)

_TOKEN = re.compile(
    r"""
      (?P<space>[\s`]+)
    | (?P<field>\[(?P<letter>[A-Za-z]):(?P<value>[^\]]*)\])
    | (?P<bar>(?:\[\||:+\||:{2,}|\|)[|:\]]*)
    | (?P<ending>\[\s*(?:\d{1,2}(?:[,-]\d{1,2})*+|"[^"]*"))
    | (?P<grace>\{[^}]*\})
    | (?P<tuplet>\((?P<p>[2-9])(?::(?P<q>\d?)(?::(?P<r>\d{0,2}))?)?)
    | (?P<note>(?P<sign>\^\^?|__?|=)?(?P<pitch>[A-Ga-g])(?P<octave>[,']*)(?P<length>\d*/*\d*))
    | (?P<rest>[zxZX])(?P<rest_length>\d*/*\d*)
    | (?P<broken>>{1,3}|<{1,3})
    | (?P<tie>-)
    | (?P<text>"(?P<said>[^"]*)")
    | (?P<decoration>!(?P<name>[^!\s|]*)!|\+[a-zA-Z.()<>0-9]+\+|[.~H-Wh-w])
    | (?P<slur>[()])
    | (?P<spacer>y\d*|[!$])
    | (?P<reserved>[#*;?@])
    """,
    re.VERBOSE,
)
_GRACE = re.compile(
    # Slurs, ties, tuplets and broken rhythm shape nothing that a piper's gracenotes have.
    r"(?:[\s.~H-Wh-w)]|\(\d?)*+(?P<note>(?P<sign>\^\^?|__?|=)?(?P<pitch>[A-Ga-g])(?P<octave>[,']*))(?:\d*/*\d*)[-<>\s)]*+"
)
_NAVIGATION = {
    "segno": Signs(segno=True),
    "s": Signs(segno=True),
    "coda": Signs(coda=True),
    "o": Signs(coda=True),
    "dacoda": Signs(to_coda=True),
    "tocoda": Signs(to_coda=True),
    "fine": Signs(fine=True),
    "dacapo": Signs(jump="D.C."),
    "d.c.": Signs(jump="D.C."),
    "d.c.alfine": Signs(jump="D.C. al Fine"),
    "d.c.alcoda": Signs(jump="D.C. al Coda"),
    "dalsegno": Signs(jump="D.S."),
    "d.s.": Signs(jump="D.S."),
    "d.s.alfine": Signs(jump="D.S. al Fine"),
    "d.s.alcoda": Signs(jump="D.S. al Coda"),
}
"""Decorations that say where to go, and the letters that stand for two of them: ABC 2.1, 4.14."""
_ENDING_NUMBERS = re.compile(r"\s*+(\d{1,2}(?:[,-]\d{1,2})*+)")
_TUPLET_TIME = {2: 3, 3: 2, 4: 3, 6: 2, 8: 3}
_NINE_LETTERS = {"G": 0, "A": 0, "B": 0, "c": 1, "d": 0, "e": 0, "f": 1, "g": 0, "a": 0}
"""The chanter's nine letters, and by how many semitones each sounds raised."""

LONGEST_NOTE = 4096
"""Units of length."""
MOST_DIGITS = 12
MOST_SLASHES = 8
MOST_BARS_NAMED = 5
MOST_MARKS_NAMED = 5


@dataclass(frozen=True, slots=True)
class Edge:
    """Whether a section of the tune begins before a bar, and ends after it."""

    begins: bool = False
    ends: bool = False


def _pitch_of(match: re.Match[str], alter: int) -> Pitch:
    letter = match["pitch"]
    octave = 5 if letter.islower() else 4
    octave += match["octave"].count("'") - match["octave"].count(",")
    spelling = shortened(f"{match['sign'] or ''}{letter}{match['octave']}")
    if alter != _NINE_LETTERS.get(spelling, alter):
        # The letter is one of the nine: what the key or the bar makes of it is what is wrong.
        spelling += f" ({letter.upper()} {SIGN_NAMES[alter]})"
    return Pitch(letter.upper(), alter, octave, spelling=spelling)


def _length_of(text: str) -> Fraction:
    """A note's length in units: `3/2`, `/`, `//`, `/4`. Raises `ValueError` beyond reason."""
    top, slashes, bottom = re.fullmatch(r"(\d*)(/*)(\d*)", text).groups()  # type: ignore[union-attr]
    if len(top) > MOST_DIGITS or len(bottom) > MOST_DIGITS or len(slashes) > MOST_SLASHES:
        raise ValueError(f"a length of {shortened(text)} is out of range")
    if slashes and bottom and len(slashes) > 1:
        raise ValueError(f"{text!r} is no length")
    divisor = int(bottom) if bottom else 2 ** len(slashes)
    units = int(top) if top else 1
    if divisor == 0 or units == 0:
        raise ValueError("a note has no length")
    if units > LONGEST_NOTE * divisor:
        raise ValueError(f"a length of {text} is out of range")
    return Fraction(units, divisor)


def _beats_in_words(beats: Fraction) -> str:
    whole, part = divmod(beats, 1)
    number = " ".join(str(share) for share in (whole, part) if share)
    return f"{number} beat" if beats <= 1 else f"{number} beats"


def _navigation(name: str) -> Signs | None:
    """The signs that a decoration is: its name, or the capital letter that stands for it."""
    return None if name in ("s", "o") else _NAVIGATION.get(name.strip("+").casefold())


class MusicCode:
    """Collects the measures of one tune as its lines of code are fed in.

    Parameters
    ----------
    meter, unit, key:
        What holds at the start.
    has_headings:
        Whether an annotation over the first note of a line is its heading.
    has_order:
        Whether parts are played in an order of their own: then such a heading takes the place of
        the part's letter.
    """

    def __init__(
        self,
        meter: Meter | None,
        unit: Fraction,
        key: Key,
        *,
        has_headings: bool = True,
        has_order: bool = False,
    ) -> None:
        self._has_headings, self._has_order = has_headings, has_order
        self.meter, self.unit, self.key = meter, unit, key
        self.remarks: dict[str, None] = {}
        self.keyless = key.is_none
        self._measures: list[Measure] = []
        self._edges: list[Edge] = []
        self._notes: list[Written] = []
        self._count = 0
        self._divisions = 1
        self._ranges = 0
        self._line = 0
        self._accidentals: dict[str, int] = {}
        self._grace: list[Pitch] = []
        self._grace_place = ""
        self._tuplet: tuple[int, Fraction] = (0, Fraction(1))
        self._broken: Fraction | None = None
        self._tied = False
        self._tempo: Fraction | None = None
        self._tempos_inside: list[tuple[int, Fraction]] = []
        self._bar_meter = meter
        self._parts: list[tuple[str, int]] = []
        self._section_begins = self._line_begins = True
        self._is_new_row = False
        self._ending: tuple[int, ...] = ()
        self._over = NO_SIGNS
        """Of the bar at hand: the sign that opens a repeat, and those over it."""
        self._words: list[str] = []
        self._heading = ""
        self._heading_is_open = has_headings
        self._number: int | None = None
        self._bar_line = 0

    # What the reader of a whole tune calls

    def begin_line(self, heading: str = "") -> None:
        """Begin a line of the exercise at the next bar."""
        self._line_begins, self._is_new_row = True, False
        self._heading = heading
        self._heading_is_open = self._has_headings and (not heading or self._has_order)

    def field(self, letter: str, value: str, place: str) -> None:
        """Take an information field in the tune's body or inline; unknown ones are left out."""
        try:
            match letter:
                case "M":
                    self.meter = read_meter(value)
                case "L":
                    self.unit = read_unit(value)
                case "K":
                    self.key = read_key(value)
                    self.keyless &= self.key.is_none
                case "Q":
                    self._mark_tempo(value, place)
                case "P":
                    self.begin_line(read_text(value))
                    self._parts.append((self._heading.rstrip("."), len(self._measures)))
                case "I":
                    self._instruction(value)
                case "w" | "W":
                    self.remarks["Lyrics are left out."] = None
                case "m":
                    self.remarks["Macros (m:) are not expanded."] = None
                case _:
                    pass
        except ValueError as error:
            raise failure(str(error), "see ABC 2.1, section 3", place=place) from None

    def _instruction(self, value: str) -> None:
        number = re.fullmatch(r"\s*setbarnb\s+(\d{1,6})\s*", value)
        if number is not None:
            self._number = int(number[1])

    def _mark_tempo(self, value: str, place: str) -> None:
        tempo = read_tempo(value, self.unit)
        if tempo is None:
            return
        if tempo.is_range:
            self._ranges += 1
            said = f"The tempo on {place} is a range: its lower end is taken."
            if self._ranges > MOST_MARKS_NAMED:
                said = "Of more tempos that are ranges the lower end is taken."
            self.remarks[said] = None
        if self._notes:
            self._count_note()
            self._tempos_inside.append((len(self._notes), tempo.quarters))
        else:
            self._tempo = tempo.quarters

    def order(self, parts: tuple[str, ...]) -> tuple[range, ...]:
        """Return the runs of measures that parts are, by the name of each, in this order.

        Empty, with a remark, where the tune lacks one of them.
        """
        if not parts:
            return ()
        bounds = [*(start for _, start in self._parts), len(self._measures)]
        runs: dict[str, range] = {}
        for (name, start), end in zip(self._parts, bounds[1:], strict=True):
            if start < end:
                runs.setdefault(name, range(start, end))
        lacking = sorted({name for name in parts if name not in runs})
        if lacking:
            named = ", ".join(lacking)
            said = f"The order of the parts names {named}, which the tune has not marked"
            self.remarks[f"{said}: it is read as it stands."] = None
            return ()
        before = range(bounds[0])
        return (*([before] if before else []), *(runs[name] for name in parts))

    def feed(self, code: str, line: int = 0) -> None:
        """Read one line of music code; `line` is its number in the file, 0 for none.

        Raises `RungwiseError` for what ABC or a chanter does not have.
        """
        self._line = line
        if self._section_begins and self._measures and not self._notes:
            self._line_begins = self._is_new_row = True
            self._heading_is_open = self._has_headings
        at, after_bar = 0, False
        while at < len(code):
            ending = _ENDING_NUMBERS.match(code, at) if after_bar else None
            if ending is not None:
                self._begin_ending(ending[1])
                at, after_bar = ending.end(), False
                continue
            match = _TOKEN.match(code, at)
            # What the standard keeps free is left out of a file, and a slip in a definition.
            if match is None or (match["reserved"] is not None and not self._line):
                raise self._unreadable(code, at)
            kind = match.lastgroup or ""
            self._token(match, kind, at)
            at = match.end()
            after_bar = match["bar"] is not None

    def finish(self, *, strict: bool) -> tuple[Measure, ...]:
        """End the tune and return its measures.

        Bars whose notes do not add up to their meter raise a `RungwiseError` if `strict`, else a
        remark names them.
        """
        if self._grace:
            raise failure(
                "gracenotes lead to no note", "write the note after them", place=self._grace_place
            )
        self._end_bar(ends_section=True)
        problems = list(self._bars_that_do_not_add_up())
        if problems and strict:
            rest = len(problems) - MOST_REPORTED
            if rest > 0:
                last = Problem(f"{rest} more bars do not add up", "correct these first")
                problems[MOST_REPORTED:] = [last]
            raise RungwiseError(problems)
        if problems:
            named = "; ".join(f"{p.place}: {p.cause}" for p in problems[:MOST_BARS_NAMED])
            rest = len(problems) - MOST_BARS_NAMED
            more = f"; and {rest} more" if rest > 0 else ""
            self.remarks[
                f"Bars that do not add up are played as they are written ({named}{more})."
            ] = None
        return tuple(self._measures)

    # Tokens

    def _place(self, at: int | None = None) -> str:
        parts = [f"line {self._line}"] if self._line else []
        parts.append(f"bar {len(self._measures) + 1}")
        if at is not None:
            parts.append(f"character {at + 1}")
        return ", ".join(parts)

    def _unreadable(self, code: str, at: int) -> RungwiseError:
        rest = code[at:]
        if rest.startswith("["):
            cause, remedy = "a chanter plays one note at a time", "write one note for this chord"
        elif rest.startswith("&"):
            cause, remedy = "a chanter plays one voice", "leave out the voice after '&'"
        elif rest.startswith("{"):
            cause = "the brace that opens here is not closed"
            remedy = "close it with } before the note that its gracenotes lead"
        elif rest.startswith('"'):
            cause, remedy = "the text has no end", 'close it with "'
        else:
            cause = f"{rest[0]!r} means nothing here"
            remedy = "notes are G A B c d e f g a, gracenotes stand in braces, bars end with |"
        return failure(cause, remedy, place=self._place(at))

    def _token(self, match: re.Match[str], kind: str, at: int) -> None:
        try:
            if match["note"] is not None:
                self._note(match)
            elif match["rest"] is not None:
                self._rest(match)
            elif match["bar"] is not None:
                self._bar(match["bar"])
            elif match["grace"] is not None:
                self._gracenotes(match["grace"], at)
            elif match["field"] is not None:
                self.field(match["letter"], match["value"], self._place(at))
            elif match["ending"] is not None:
                self._begin_ending(match["ending"][1:].strip())
            elif match["tuplet"] is not None:
                self._begin_tuplet(match)
            elif match["broken"] is not None:
                self._break_rhythm(match["broken"])
            elif match["tie"] is not None:
                self._tied = bool(self._notes or self._measures)
            elif match["text"] is not None:
                self._text(match["said"])
            elif match["decoration"] is not None or match["reserved"] is not None:
                self._leave_out(match)
        except ValueError as error:
            raise failure(
                str(error), "correct it there; see ABC 2.1, section 4", place=self._place(at)
            ) from None

    def _leave_out(self, match: re.Match[str]) -> None:
        said = "Decorations other than gracenotes are left out."
        if match["reserved"] is not None:
            said = "The signs # * ; ? @, which ABC keeps free, are left out."
        elif (sign := _navigation(match["name"] or match[0])) is not None:
            self._over = self._over.joined(sign)
            return
        self.remarks[said] = None

    def _alter(self, match: re.Match[str]) -> int:
        # To the end of the bar and in every octave: ABC 2.1, section 11.3.
        letter = match["pitch"].upper()
        if match["sign"] is not None:
            self._accidentals[letter] = ALTERS[match["sign"]]
        return self._accidentals.get(letter, self.key.alters.get(letter, 0))

    def _note(self, match: re.Match[str]) -> None:
        pitch = _pitch_of(match, self._alter(match))
        self._add(_length_of(match["length"]), pitch)

    def _rest(self, match: re.Match[str]) -> None:
        if self._grace:
            raise ValueError("gracenotes lead to a rest")
        if match["rest"] in "zx":
            self._add(_length_of(match["rest_length"]), None)
            return
        bars = int(match["rest_length"] or 1) if match["rest_length"].isdigit() else 1
        if self.meter is None or not 1 <= bars <= 999:
            raise ValueError("rests of whole bars need a meter, and 1 to 999 bars")
        for bar in range(bars):
            if bar:
                self._end_bar()
            self._add(self.meter.length / self.unit, None)

    def _add(self, units: Fraction, pitch: Pitch | None) -> None:
        self._count_note()
        if not self._notes:
            self._bar_line, self._bar_meter = self._line, self.meter
        left, ratio = self._tuplet
        length = units * self.unit
        if left:
            length *= ratio
            self._tuplet = (left - 1, ratio)
        if self._broken is not None:
            length *= self._broken
            self._broken = None
        self._divisions = common_divisions(self._divisions, length, self._place())
        tied = self._tied and pitch is not None
        self._notes.append(Written(length, pitch, tuple(self._grace), tied))
        self._grace, self._tied = [], False

    def _count_note(self) -> None:
        self._count += 1
        if self._count > MOST_WRITTEN_NOTES:
            raise ValueError(f"there are more than {MOST_WRITTEN_NOTES} notes")

    def _gracenotes(self, text: str, at: int) -> None:
        inside = text[1:-1].removeprefix("/")
        if "{" in inside or "|" in inside:
            raise failure(
                "the brace that opens here is not closed before the next one or the bar's end",
                "close it with } before the note that its gracenotes lead",
                place=self._place(at),
            )
        position = 0
        while position < len(inside):
            match = _GRACE.match(inside, position)
            if match is None:
                raise ValueError(f"{inside[position]!r} is no gracenote")
            self._count_note()
            self._grace.append(_pitch_of(match, self._alter(match)))
            position = match.end()
        self._grace_place = self._place(at)

    def _begin_tuplet(self, match: re.Match[str]) -> None:
        notes = int(match["p"])
        compound = self.meter is not None and self.meter.is_compound
        time = int(match["q"]) if match["q"] else _TUPLET_TIME.get(notes, 3 if compound else 2)
        if not time:
            raise ValueError("a tuplet in the time of no notes")
        self._tuplet = (int(match["r"]) if match["r"] else notes, Fraction(time, notes))

    def _break_rhythm(self, signs: str) -> None:
        if not self._notes or self._broken is not None:
            raise ValueError(f"{signs!r} stands between two notes of a bar")
        short = Fraction(1, 2 ** len(signs))
        long = 2 - short
        first, self._broken = (long, short) if signs[0] == ">" else (short, long)
        last = self._notes[-1]
        length = last.length * first
        self._divisions = common_divisions(self._divisions, length, self._place())
        self._notes[-1] = replace(last, length=length)

    def _text(self, said: str) -> None:
        text = read_text(said[said[:1] in ("^", "_", "<", ">", "@") :])
        if said[:1] == "^" and self._heading_is_open and self._line_begins and not self._notes:
            self._heading = text
            self._heading_is_open = False
        elif (signs := signs_of_words(text)) != NO_SIGNS:
            self._over = self._over.joined(signs)
        elif said[:1] == "^":
            if len(self._words) < MOST_WORDS and text:
                self._words.append(text)
        elif said[:1] in ("_", "<", ">", "@"):
            self.remarks["Annotations other than over the notes are left out."] = None
        else:
            self.remarks["Chord symbols are left out."] = None

    # Bars

    def _begin_ending(self, text: str) -> None:
        if text.startswith('"'):
            self.remarks["Endings without a number are played every time."] = None
            return
        numbers = passes_of_ending(text)
        if not numbers:
            raise failure(
                f"there is no ending {shortened(text)}",
                "number endings from 1",
                place=self._place(),
            )
        if self._notes:
            self._end_bar()
        if self._is_new_row and self._measures and self._measures[-1].signs.endings:
            # Another ending of the same repeat, on a row of its own.
            self._line_begins = False
        self._ending = numbers

    def _bar(self, sign: str) -> None:
        bars = sign.strip(":")
        leading = len(sign) - len(sign.lstrip(":")) if bars else len(sign) // 2
        trailing = len(sign) - len(sign.rstrip(":")) if bars else len(sign) - leading
        self._end_bar(
            closes=min(MOST_PASSES, leading + 1) if leading else 0,
            opens=bool(trailing),
            ends_section=bool(leading or trailing) or len(bars) > 1,
            is_visible=bars != "[|]",
        )

    def _end_bar(
        self,
        *,
        closes: int = 0,
        opens: bool = False,
        ends_section: bool = False,
        is_visible: bool = True,
    ) -> None:
        if self._broken is not None:
            raise failure("a broken rhythm has no second note", "write it", place=self._place())
        is_double = ends_section and is_visible and not closes and not opens
        if self._notes:
            inside, after = self._marks_of_bar()
            signs = Signs(closes=closes, endings=self._ending, double=is_double)
            self._measures.append(
                Measure(
                    notes=tuple(self._notes),
                    meter=self._bar_meter,
                    place=(f"line {self._bar_line}, " if self._bar_line else "")
                    + f"bar {len(self._measures) + 1}",
                    tempo=self._tempo,
                    begins_line=self._line_begins,
                    heading=self._heading,
                    signs=self._over.joined(signs),
                    words=tuple(self._words),
                    number="" if self._number is None else str(self._number),
                    tempos_inside=inside,
                )
            )
            self._number = None if self._number is None else self._number + 1
            self._edges.append(Edge(self._section_begins, ends_section))
            self._notes, self._accidentals, self._words = [], {}, []
            self._tempo = after
            self._line_begins, self._heading = False, ""
            self._heading_is_open = self._is_new_row = False
            self._section_begins, self._over = False, NO_SIGNS
        elif self._measures:
            # A bar line without notes before it adds to the one before.
            last = self._measures[-1]
            ends = replace(self._over.at_end, closes=closes, double=is_double)
            signs = last.signs.joined(ends)
            self._measures[-1] = replace(last, signs=replace(signs, endings=last.signs.endings))
            self._over = self._over.at_start
            if closes or ends_section:
                self._edges[-1] = replace(self._edges[-1], ends=True)
        if closes or ends_section:
            self._ending = ()
            self._section_begins = True
        self._over = self._over.joined(Signs(opens=opens))

    def _marks_of_bar(self) -> tuple[tuple[tuple[Fraction, Fraction], ...], Fraction | None]:
        """The tempo marks inside the bar at hand, and one behind its last note."""
        ends = list(accumulate((note.length for note in self._notes), initial=Fraction(0)))
        marks = [(ends[count], quarters) for count, quarters in self._tempos_inside]
        self._tempos_inside = []
        after = [quarters for at, quarters in marks if at == ends[-1]]
        return tuple(mark for mark in marks if mark[0] < ends[-1]), after[-1] if after else None

    def _bars_that_do_not_add_up(self) -> Iterator[Problem]:
        pickup = False
        for index, (measure, edge) in enumerate(zip(self._measures, self._edges, strict=True)):
            if measure.meter is None:
                continue
            whole = measure.meter.length
            if edge.begins and not measure.signs.endings:
                # What completes a pickup may come several sections later, or in every ending.
                pickup |= measure.length < whole
            after = self._measures[index + 1] if index + 1 < len(self._measures) else None
            before_pickup = after is not None and after.length < whole
            may_be_short = edge.begins or (edge.ends and (pickup or before_pickup))
            if measure.length == whole or (measure.length < whole and may_be_short):
                continue
            parts = lcm(measure.meter.unit, measure.length.denominator)
            gap = abs(whole - measure.length)
            beats = _beats_in_words(gap / measure.meter.beat_value)
            amount = "little" if measure.length < whole else "much"
            yield Problem(
                f"the bar holds {measure.length * parts}/{parts} and {measure.meter} asks for "
                f"{whole * parts}/{parts}",
                f"it is {gap * parts}/{parts}, {beats}, too {amount}: correct the lengths, or add "
                "a bar line",
                measure.place,
            )
