"""ABC music code to measures: notes, gracenotes, ties, tuplets, broken rhythm, bar lines.

`MusicCode` is fed line by line and collects `Measure`s in shares of a whole note. Source: the ABC
music standard 2.1, section 4 (the tune body).
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import accumulate
from math import lcm

from renderer.errors import Problem, RungwiseError, WrongValueError, failure, shortened
from renderer.notation.abc.as_typed import (
    MOST_EXPANDED,
    MOST_MACROS,
    Macro,
    ending_in_words,
    expanded,
    is_bare_number,
    read_macro,
    read_symbol,
    with_whole_bar_lines,
)
from renderer.notation.abc.information_fields import (
    ALTERS,
    PIPES,
    Key,
    read_key,
    read_meter,
    read_meters,
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
    | (?P<chord>\[(?P<inside>(?:(?:\^\^?|__?|=)?[A-Ga-g][,']*\d*/*\d*){1,16})\](?P<times>\d*/*\d*))
    | (?P<bare>(?P<bare_letter>M:\s*(?=[Cc\d])|L:\s*(?=1/)|Q:\s*(?=\d)|K:\s*(?=[A-H]))
        (?P<bare_value>[^\s|\]"]+))
    | (?P<grace>\{[^}]*\})
    | (?P<tuplet>\((?P<p>[2-9])(?::(?P<q>\d?)(?::(?P<r>\d{0,2}))?)?)
    | (?P<note>(?P<sign>\^\^?|__?|=)?(?P<pitch>[A-Ga-g])(?P<octave>[,']*)(?P<length>\d*/*\d*))
    | (?P<rest>(?P<rest_kind>[zxZX])(?P<rest_length>\d*/*\d*))
    | (?P<broken>>{1,3}|<{1,3})
    | (?P<tie>-)
    | (?P<text>"(?P<said>[^"]*)")
    | (?P<decoration>!(?P<name>[^!\s|]*)!|\+[a-zA-Z.()<>0-9]+\+|[.~H-Wh-w])
    | (?P<slur>[()])
    | (?P<spacer>y\d*|[!$])
    | (?P<reserved>[#*;?@])
    | (?P<colon>:)
    | (?P<corner>\])
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
_UNNUMBERED = "-"
_ENDING_NUMBERS = re.compile(r"\s*+(\d{1,2}(?:[,-]\d{1,2})*+)")
_TUPLET_TIME = {2: 3, 3: 2, 4: 3, 6: 2, 8: 3}
_NINE_LETTERS = {"G": 0, "A": 0, "B": 0, "c": 1, "d": 0, "e": 0, "f": 1, "g": 0, "a": 0}
"""The chanter's nine letters, and by how many semitones each sounds raised."""

_CHORD_NOTE = re.compile(
    r"(?P<sign>\^\^?|__?|=)?(?P<pitch>[A-Ga-g])(?P<octave>[,']*)(?P<length>\d*/*\d*)"
)
ONE_NOTE_AT_A_TIME = "a chanter plays one note at a time", "write one note for this chord"
LONGEST_NOTE = 4096
"""Units of length."""
MOST_DIGITS = 12
MOST_SLASHES = 8
MOST_BARS_NAMED = 5
MOST_MARKS_NAMED = 5


@dataclass(frozen=True, slots=True)
class Edge:
    """Whether a section of the tune begins before a bar, and ends after it.

    `parted`: an ending begins before the bar is full.
    """

    begins: bool = False
    ends: bool = False
    parted: bool = False


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
    is_lenient:
        Whether what is odd in information fields and bar lines is passed over with a remark, as in
        files that people have typed; otherwise it is refused.
    has_order:
        Whether parts are played in an order of their own: then such a heading takes the place of
        the part's letter.
    has_endings_in_words:
        Whether `1st time` over a bar begins an ending; where not, it is a heading or words.
    """

    def __init__(
        self,
        meter: Meter | None,
        unit: Fraction,
        key: Key,
        *,
        has_headings: bool = True,
        has_order: bool = False,
        is_lenient: bool = False,
        has_endings_in_words: bool = False,
    ) -> None:
        self._is_lenient = is_lenient
        self._has_endings_in_words = has_endings_in_words
        self._other_meters: tuple[Meter, ...] = ()
        """That take turns with the one in force."""
        self._macros: list[Macro] = []
        self._symbols: dict[str, str] = {}
        self._after_bar = False
        self._colon = ""
        """The place of a colon that waits for its bar line; empty for none."""
        self._said: Counter[str] = Counter()
        self._expanded = 0
        self._has_headings, self._has_order = has_headings, has_order
        self.meter, self.unit, self.key = meter, unit, key
        self.remarks: dict[str, None] = {}
        self.keyless = key.is_none
        self._measures: list[Measure] = []
        self._edges: list[Edge] = []
        self._notes: list[Written] = []
        self._count = 0
        self._divisions = 1
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
        self._is_new_row = self._row_begins = False
        self._ending: tuple[int, ...] = ()
        self._over = NO_SIGNS
        """Of the bar at hand: the sign that opens a repeat, and those over it."""
        self._words: list[str] = []
        self._heading = ""
        self._heading_is_open = has_headings
        self._number: int | None = None
        self._own_number = ""
        self._bar_line = 0
        self._takers: dict[str, Callable[[re.Match[str], int], None]] = {
            "note": self._note,
            "chord": self._unison,
            "rest": self._rest,
            "bar": self._bar,
            "grace": self._gracenotes,
            "field": self._field_inside,
            "bare": self._field_inside,
            "ending": self._ending_bracket,
            "tuplet": self._begin_tuplet,
            "broken": self._break_rhythm,
            "tie": self._tie,
            "text": self._text,
            "decoration": self._leave_out,
            "reserved": self._leave_out,
            "colon": self._lone_colon,
            "corner": self._lone_corner,
        }

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
                    self._begin_meter(value, place)
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
                    self._add_macro(read_macro(value))
                case "U":
                    self._symbols.update([read_symbol(value)])
                case _:
                    pass
        except ValueError as error:
            if not self._is_lenient:
                raise failure(str(error), "see ABC 2.1, section 3", place=place) from None
            self._pass_over(letter, error, place)

    def _say(self, said: str, more: str) -> None:
        """Remark on the first few of a kind each, and on more of them all together."""
        self._said[more] += 1
        self.remarks[said if self._said[more] <= MOST_MARKS_NAMED else more] = None

    def _pass_over(self, letter: str, error: ValueError, place: str) -> None:
        """Do without a field that cannot be read."""
        instead = {
            "M": "; bars are counted by their own length from there on",
            "K": "; letters are read as the chanter's from there on",
        }
        said = f"{letter}: on {place} is not read: {error}{instead.get(letter, '')}."
        self._say(said, "More fields are not read.")
        if letter == "M":
            self.meter, self._other_meters = None, ()
        elif letter == "K":
            self.key = PIPES

    def _begin_meter(self, value: str, place: str) -> None:
        if not self._is_lenient:
            self.meter = read_meter(value)
            return
        self.meter, *others = read_meters(value)
        self._other_meters = tuple(meter for meter in others if meter is not None)
        if self._other_meters:
            self._say(
                f"M:{shortened(value.strip())} on {place}: each bar has the meter that it fills.",
                "More meters take turns; each bar has the one that it fills.",
            )

    def _add_macro(self, macro: Macro) -> None:
        if len(self._macros) == MOST_MACROS:
            raise ValueError(f"there are more than {MOST_MACROS} macros")
        self._macros.append(macro)
        # The longest first: one target may be a part of another.
        self._macros.sort(key=lambda one: len(one.target.pattern), reverse=True)

    def _instruction(self, value: str) -> None:
        number = re.fullmatch(r"\s*setbarnb(?:\s+(\S{1,20}))?\s*", value)
        if number is None:
            return
        # Bars are counted on from a whole number; `4a` is that bar's own, and `-` numbers no bar.
        said = number[1] or _UNNUMBERED
        is_count = re.fullmatch(r"\d{1,6}", said) is not None
        self._number = int(said) if is_count else None
        self._own_number = "" if is_count or said == _UNNUMBERED else read_text(said)

    def _mark_tempo(self, value: str, place: str) -> None:
        beat = Fraction(1, 4) if self.meter is None else self.meter.beat_value
        if self._is_lenient and value.strip() and not re.search(r'\d|"', value):
            self._say(
                f"Q:{shortened(value.strip())} on {place} names no number: it is left out.",
                "More tempos that name no number are left out.",
            )
            return
        tempo = read_tempo(value, self.unit, beat)
        self._put_over(read_text(" ".join(re.findall(r'"([^"]*)"', value))))
        if tempo is None:
            return
        if tempo.counts_units and self._is_lenient:
            self._say(
                f"Q:{shortened(value.strip())} on {place} names no note value: it counts units of "
                f"{self.unit}, as the standard has it, {float(tempo.quarters):g} quarter notes a "
                "minute.",
                "More tempos that name no note value count units.",
            )
        if tempo.is_range:
            self._say(
                f"The tempo on {place} is a range: its lower end is taken.",
                "Of more tempos that are ranges the lower end is taken.",
            )
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

    def feed(self, code: str, line: int = 0, *, begins_row: bool = True) -> None:
        """Read one line of music code, which begins a row of the score.

        `line` is its number in the file, 0 for none; a line that goes on with the row before does
        not `begins_row`. Line breaks inside the code begin rows too.

        Raises `RungwiseError` for what ABC or a chanter does not have.
        """
        self._line = line
        self._row_begins |= begins_row and not self._notes
        goes_on = bool(self._ending) and bool(self._measures) and self._measures[-1].signs.endings
        if self._section_begins and self._measures and not self._notes and not goes_on:
            self._line_begins = self._is_new_row = True
            self._heading_is_open = self._has_headings
        code = with_whole_bar_lines(self._with_macros(code))
        at = 0
        while at < len(code):
            ending = _ENDING_NUMBERS.match(code, at) if self._after_bar else None
            if ending is not None:
                self._begin_ending(ending[1])
                at, self._after_bar = ending.end(), False
                continue
            match = _TOKEN.match(code, at)
            # What the standard keeps free is left out of a file, and a slip in a definition.
            if match is None or not self._has_meaning(match):
                raise self._unreadable(code, at)
            kind = match.lastgroup or ""
            self._token(match, kind, at)
            self._row_begins |= kind == "space" and "\n" in match[0] and not self._notes
            at = match.end()
            if kind != "space" and match["text"] is None and match["decoration"] is None:
                self._after_bar = match["bar"] is not None

    def _has_meaning(self, match: re.Match[str]) -> bool:
        """Whether a sign that stands free is one in files as people type them."""
        if match["corner"] is not None:
            # The rest of a `|]` that a line's end has parted.
            return self._is_lenient and self._after_bar
        is_free = match["reserved"] is not None or match["colon"] is not None
        return self._is_lenient or not is_free

    def _with_macros(self, code: str) -> str:
        if not self._macros:
            return code
        try:
            whole = expanded(code, self._macros)
            self._expanded += len(whole)
            if self._expanded > MOST_EXPANDED:
                raise ValueError("the macros make the tune too long")
        except ValueError as error:
            raise failure(str(error), "write it out", place=self._place()) from None
        return whole

    def finish(self, *, strict: bool) -> tuple[Measure, ...]:
        """End the tune and return its measures.

        Bars whose notes do not add up to their meter raise a `RungwiseError` if `strict`, else a
        remark names them.
        """
        self._drop_colon()
        if self._grace and not strict:
            self.remarks["Gracenotes after the last note are left out."] = None
            self._grace = []
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
            cause, remedy = ONE_NOTE_AT_A_TIME
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
        take = self._takers.get(kind)
        if take is None:
            return
        try:
            take(match, at)
        except WrongValueError as error:
            raise error.at(self._place(at)) from None
        except ValueError as error:
            raise failure(
                str(error), "correct it there; see ABC 2.1, section 4", place=self._place(at)
            ) from None

    def _tie(self, _match: re.Match[str], _at: int) -> None:
        self._tied = bool(self._notes or self._measures)

    def _field_inside(self, match: re.Match[str], at: int) -> None:
        letter = match["letter"] or match["bare_letter"][0]
        self.field(letter, match["value"] or match["bare_value"] or "", self._place(at))

    def _leave_out(self, match: re.Match[str], _at: int) -> None:
        said = "Decorations other than gracenotes are left out."
        if match["reserved"] is not None:
            said = "The signs # * ; ? @, which ABC keeps free, are left out."
        name = match["name"] or self._symbols.get(match[0], match[0])
        if match["reserved"] is None and name in ("nil", "none"):
            return
        if match["reserved"] is None and (sign := _navigation(name)) is not None:
            self._over = self._over.joined(sign)
            return
        self.remarks[said] = None

    def _alter(self, match: re.Match[str]) -> int:
        # To the end of the bar and in every octave: ABC 2.1, section 11.3.
        letter = match["pitch"].upper()
        if match["sign"] is not None:
            self._accidentals[letter] = ALTERS[match["sign"]]
        return self._accidentals.get(letter, self.key.alters.get(letter, 0))

    def _note(self, match: re.Match[str], _at: int) -> None:
        pitch = _pitch_of(match, self._alter(match))
        self._add(_length_of(match["length"]), pitch)

    def _unison(self, match: re.Match[str], _at: int) -> None:
        """A chord of one note, or of the same one several times, such as `[A]8`."""
        notes = list(_CHORD_NOTE.finditer(match["inside"]))
        if len({note[0] for note in notes}) > 1:
            raise WrongValueError(*ONE_NOTE_AT_A_TIME)
        pitch = _pitch_of(notes[0], self._alter(notes[0]))
        self._add(_length_of(notes[0]["length"]) * _length_of(match["times"]), pitch)

    def _lone_colon(self, _match: re.Match[str], at: int) -> None:
        """A colon behind a bar line opens a repeat; any other waits for the bar line after it."""
        if self._after_bar:
            self._end_bar(opens=True, ends_section=True)
        else:
            self._colon = self._place(at)

    def _lone_corner(self, _match: re.Match[str], _at: int) -> None:
        self._end_bar(ends_section=True)

    def _drop_colon(self) -> None:
        if self._colon:
            self._say(
                f"The colon on {self._colon} belongs to no bar line: it is left out.",
                "More colons that belong to no bar line are left out.",
            )
            self._colon = ""

    def _rest(self, match: re.Match[str], _at: int) -> None:
        if self._grace and not self._is_lenient:
            raise ValueError("gracenotes lead to a rest")
        if self._grace:
            self.remarks["Gracenotes that lead to a rest are left out."] = None
            self._grace = []
        if match["rest_kind"] in "zx":
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
        self._drop_colon()
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

    def _gracenotes(self, match_of_group: re.Match[str], at: int) -> None:
        inside = match_of_group["grace"][1:-1].removeprefix("/")
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

    def _begin_tuplet(self, match: re.Match[str], _at: int) -> None:
        notes = int(match["p"])
        compound = self.meter is not None and self.meter.is_compound
        time = int(match["q"]) if match["q"] else _TUPLET_TIME.get(notes, 3 if compound else 2)
        if not time:
            raise ValueError("a tuplet in the time of no notes")
        self._tuplet = (int(match["r"]) if match["r"] else notes, Fraction(time, notes))

    def _break_rhythm(self, match: re.Match[str], _at: int) -> None:
        signs = match["broken"]
        if not self._notes or self._broken is not None:
            raise ValueError(f"{signs!r} stands between two notes of a bar")
        short = Fraction(1, 2 ** len(signs))
        long = 2 - short
        first, self._broken = (long, short) if signs[0] == ">" else (short, long)
        last = self._notes[-1]
        length = last.length * first
        self._divisions = common_divisions(self._divisions, length, self._place())
        self._notes[-1] = replace(last, length=length)

    def _text(self, match: re.Match[str], _at: int) -> None:
        said = match["said"]
        text = read_text(said[said[:1] in ("^", "_", "<", ">", "@") :])
        can_be_heading = (
            said[:1] == "^" and self._heading_is_open and self._line_begins and not self._notes
        )
        ending = ending_in_words(text) if self._has_endings_in_words else ""
        if can_be_heading and is_bare_number(text) and not self._follows_an_ending():
            # Lines are numbered like this; a first ending has bars before it.
            ending = ""
        if ending:
            self._begin_ending(ending)
        elif can_be_heading:
            self._heading = text
            self._heading_is_open = False
        elif (signs := signs_of_words(text)) != NO_SIGNS:
            self._over = self._over.joined(signs)
        elif said[:1] == "^":
            self._put_over(text)
        elif said[:1] in ("_", "<", ">", "@"):
            self.remarks["Annotations other than over the notes are left out."] = None
        else:
            self.remarks["Chord symbols are left out."] = None

    def _put_over(self, words: str) -> None:
        """Let words stand over the bar."""
        if not words:
            return
        if len(self._words) < MOST_WORDS:
            self._words.append(words)
        else:
            self.remarks["Words over a bar that has many already are left out."] = None

    # Bars

    def _ending_bracket(self, match: re.Match[str], _at: int) -> None:
        self._begin_ending(match["ending"][1:].strip())

    def _begin_ending(self, text: str) -> None:
        if text.startswith('"'):
            text = ending_in_words(text.strip('"'), is_bracketed=True) or text
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
            self._edges[-1] = replace(self._edges[-1], parted=True)
        if self._is_new_row and self._follows_an_ending():
            # Another ending of the same repeat, on a row of its own.
            self._line_begins = False
        self._ending = numbers

    def _follows_an_ending(self) -> bool:
        return bool(self._measures) and bool(self._measures[-1].signs.endings)

    def _bar(self, match: re.Match[str], _at: int) -> None:
        sign = match["bar"]
        if self._colon and not sign.startswith(":"):
            sign = f":{sign}"
        self._colon = ""
        bars = sign.strip(":")
        leading = len(sign) - len(sign.lstrip(":")) if bars else len(sign) // 2
        trailing = len(sign) - len(sign.rstrip(":")) if bars else len(sign) - leading
        self._end_bar(
            closes=min(MOST_PASSES, leading + 1) if leading else 0,
            opens=bool(trailing),
            ends_section=bool(leading or trailing) or len(bars) > 1,
            is_visible=bars != "[|]",
        )

    def _meter_of_bar(self) -> Meter | None:
        """The meter of the bar at hand: of several that take turns, the one that it fills."""
        if not self._other_meters or self._bar_meter is None:
            return self._bar_meter
        length = sum((note.length for note in self._notes), Fraction(0))
        meters = (self._bar_meter, *self._other_meters)
        return next((meter for meter in meters if meter.length == length), self._bar_meter)

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
                    meter=self._meter_of_bar(),
                    place=(f"line {self._bar_line}, " if self._bar_line else "")
                    + f"bar {len(self._measures) + 1}",
                    tempo=self._tempo,
                    begins_line=self._line_begins,
                    begins_row=self._row_begins,
                    heading=self._heading,
                    signs=self._over.joined(signs),
                    words=tuple(self._words),
                    number=self._own_number if self._number is None else str(self._number),
                    tempos_inside=inside,
                )
            )
            self._number = None if self._number is None else self._number + 1
            self._own_number = ""
            self._edges.append(Edge(self._section_begins, ends_section))
            self._notes, self._accidentals, self._words = [], {}, []
            self._tempo = after
            self._line_begins, self._heading = False, ""
            self._row_begins = False
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
        begun = Fraction(0)
        """How much of a bar is played before its endings begin inside it."""
        before: Measure | None = None
        for index, (measure, edge) in enumerate(zip(self._measures, self._edges, strict=True)):
            if measure.meter is None:
                before = measure
                continue
            whole, length = measure.meter.length, measure.length
            endings = measure.signs.endings
            if not endings:
                begun = length if edge.parted else Fraction(0)
            elif before is None or before.signs.endings != endings:
                length += begun
            before = measure
            if edge.parted and length < whole:
                continue
            if edge.begins and not measure.signs.endings:
                # What completes a pickup may come several sections later, or in every ending.
                pickup |= length < whole
            after = self._measures[index + 1] if index + 1 < len(self._measures) else None
            before_pickup = after is not None and after.length < whole
            may_be_short = edge.begins or (edge.ends and (pickup or before_pickup))
            if length == whole or (length < whole and may_be_short):
                continue
            parts = lcm(measure.meter.unit, length.denominator)
            gap = abs(whole - length)
            beats = _beats_in_words(gap / measure.meter.beat_value)
            amount = "little" if length < whole else "much"
            yield Problem(
                f"the bar holds {length * parts}/{parts} and {measure.meter} asks for "
                f"{whole * parts}/{parts}",
                f"it is {gap * parts}/{parts}, {beats}, too {amount}: correct the lengths, or add "
                "a bar line",
                measure.place,
            )
