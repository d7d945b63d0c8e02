"""An exercise to ABC 2.1: a tune in `K:HP`, and single lines for definitions.

Every line of the exercise is a line of music code that ends with a double bar line, its heading an
annotation above the first note. Notes are joined by beams as the meter has them.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from renderer.notation.kept_settings import abc_directives, decimal_text
from renderer.notation.limits import LARGEST_COUNT
from renderer.notation.note_values import Value, beam_groups, values_of_bar
from renderer.notation.printed import Opened, Printed, PrintedLine, printed_line
from renderer.notation.score import Bar, Exercise, Meter, bar_offsets
from renderer.notation.signs import Jump, ending_text
from renderer.notation.source_file import without_controls

UNIT = Fraction(1, 8)

BARS_ON_A_LINE = 8
MOST_NOTES_OF_A_TUPLET = 9


def escaped_text(text: str) -> str:
    """A text as an ABC text string holds it, on one line."""
    one_line = " ".join(without_controls(text).split())
    escaped = one_line.replace("\\", "\\\\").replace("%", "\\%")
    return escaped.replace("&", "&amp;").replace('"', "&quot;")


def _length(units: Fraction) -> str:
    if units == 1:
        return ""
    if units.denominator == 1:
        return str(units.numerator)
    top = "" if units.numerator == 1 else str(units.numerator)
    return f"{top}/{units.denominator}"


def _tuplet_sizes(values: list[Value]) -> dict[int, int]:
    """Where tuplets begin, and how many notes each has."""
    sizes: dict[int, int] = {}
    begin = 0
    for index, value in enumerate(values):
        if value.begins_tuplet:
            begin = index
        if value.ends_tuplet:
            sizes[begin] = index - begin + 1
    return sizes


def _bar_code(
    notes: Sequence[Printed], bar: Bar, offset: Fraction, unit: Fraction, *, is_open_tie: bool
) -> str:
    rows = values_of_bar([note.length for note in notes], bar.meter.beat_value)
    owners = [(n, piece) for n, row in zip(notes, rows, strict=True) for piece in range(len(row))]
    silent = [note.note is None for note, _ in owners]
    values = beam_groups([value for row in rows for value in row], silent, bar.meter, offset)
    sizes = _tuplet_sizes(values)
    code: list[str] = []
    last = {id(note): len(row) - 1 for note, row in zip(notes, rows, strict=True)}
    for index, (value, (note, piece)) in enumerate(zip(values, owners, strict=True)):
        in_tuplet = 1 < value.actual <= MOST_NOTES_OF_A_TUPLET
        if index in sizes and in_tuplet:
            code.append(f"({value.actual}:{value.normal}:{sizes[index]}")
        if piece == 0 and note.tied_from_before and not index and is_open_tie:
            code.append("-")
        if note.group and piece == 0:
            code.append("{" + "".join(small.note.abc for small in note.group) + "}")
        shown = value.length * value.actual / value.normal if in_tuplet else value.length
        code.append("z" if note.note is None else note.note.abc)
        code.append(_length(shown / unit))
        if note.note is not None and (piece < last[id(note)] or note.tied_on):
            code.append("-")
        if not value.beams or value.beams[0] == "end":
            code.append(" ")
    return "".join(code).strip()


def _meter_text(meter: Meter | None) -> str:
    """The meter's field; bars beyond all counting are in free meter."""
    return "none" if meter is None or meter.count > LARGEST_COUNT else str(meter)


_UNSEEN = "[|]"


def _bar_lines(bars: Sequence[Bar]) -> list[str]:
    """The bar line before each bar of a line: none before the first but an opening repeat sign.

    A short bar that needs it has an invisible one (ABC 2.1, 4.8) behind the one before it. It ends
    a section of the music, which may begin with a pickup and end with what completes one; so
    readers do not object that a bar does not add up. It also ends the bracket of an ending.
    """
    signs = ["|:" if bars[0].signs.opens else ""]
    has_pickup = _is_short(bars[0]) and not bars[0].signs.endings
    for index in range(1, len(bars)):
        bar, before = bars[index], bars[index - 1].signs
        after = bars[index + 1] if index + 1 < len(bars) else None
        opens = ":" if bar.signs.opens else ""
        sign = "||" if before.double else "|"
        begins_section = bool(before.double or before.closes or opens)
        is_unseen = bool(before.endings) and not bar.signs.endings
        if _is_short(bar) and not begins_section:
            ends = after is None or after.signs.opens or bar.signs.closes or bar.signs.double
            completes = has_pickup or (after is not None and _is_short(after))
            is_unseen |= not (ends and completes)
        if is_unseen and not begins_section:
            sign, begins_section = f"| {_UNSEEN}", True
        has_pickup |= begins_section and _is_short(bar) and not bar.signs.endings
        signs.append(f"{':' * max(0, before.closes - 1)}{sign}{opens}")
    return signs


def _is_short(bar: Bar) -> bool:
    return bar.beats < bar.meter.beats


def _end_sign(bar: Bar, *, is_last_line: bool) -> str:
    """The bar line that ends a line of an exercise."""
    if bar.signs.closes:
        return f"{':' * (bar.signs.closes - 1)}|"
    return "|]" if is_last_line else "||"


_NAVIGATION: dict[Jump, str] = {
    "D.C.": "D.C.",
    "D.C. al Fine": "D.C.alfine",
    "D.C. al Coda": "D.C.alcoda",
    "D.S.": "D.S.",
    "D.S. al Fine": "D.S.alfine",
    "D.S. al Coda": "D.S.alcoda",
}
"""ABC 2.1, 4.14."""


def _signs_over(bar: Bar, before: Bar | None, bar_line: str) -> tuple[str, str]:
    """What stands over a bar at its beginning, behind its bar line, and at its end."""
    signs = bar.signs
    start = ""
    goes_on = before is not None and before.signs.endings == signs.endings
    if signs.endings and (not goes_on or _UNSEEN in bar_line):
        start += f"[{ending_text(signs.endings)} "
    start += "!segno!" * signs.segno + "!coda!" * signs.coda
    start += "".join(f'"^{escaped_text(text)}"' for text in bar.words)
    end = " !dacoda!" * signs.to_coda + " !fine!" * signs.fine
    if signs.jump is not None:
        end += f" !{_NAVIGATION[signs.jump]}!"
    return start, end


def _joined(codes: Sequence[str], signs: Sequence[str], row: range) -> str:
    # The bar line before a row ends the row before it.
    first = f"{signs[0]} " if row[0] == 0 and signs[0] else ""
    rest = "".join(f" {signs[index]} {codes[index]}" for index in row[1:])
    return f"{first}{codes[row[0]]}{rest}"


@dataclass
class _State:
    """What holds as lines are written one after the other: the meter, and the next bar's number."""

    meter: Meter | None
    number: int | None = None


def _tempo_field(bar: Bar, beat_tempo: Fraction) -> str:
    return f"[Q:{bar.meter.beat_value}={decimal_text(beat_tempo)}]"


def _line_code(line: PrintedLine, unit: Fraction, state: _State) -> Iterator[_BarCode]:
    """Yield the code of each bar, with the fields that it needs and without its bar line."""
    before: Bar | None = None
    is_tied_on = False
    rows = zip(line.bars, line.notes, bar_offsets(line.bars), _bar_lines(line.bars), strict=True)
    for bar, notes, offset, bar_line in rows:
        fields = "" if bar.meter == state.meter else f"[M:{_meter_text(bar.meter)}]"
        state.meter = bar.meter
        if bar.tempo is not None:
            fields += _tempo_field(bar, bar.tempo)
        fields += _number_field(bar, state)
        start, end = _signs_over(bar, before, bar_line)
        is_open_tie = notes[0].tied_from_before and not is_tied_on
        code = _bar_code(notes, bar, offset * bar.meter.beat_value, unit, is_open_tie=is_open_tie)
        before, is_tied_on = bar, notes[-1].tied_on
        yield _BarCode(fields, start, f"{code}{end}")


def _number_field(bar: Bar, state: _State) -> str:
    """The field that numbers a bar where it is another number than the one to be expected."""
    expected, state.number = state.number, None
    if re.fullmatch(r"0|[1-9]\d{0,5}", bar.number):
        state.number = int(bar.number) + 1
        return "" if expected == int(bar.number) else f"[I:setbarnb {bar.number}]"
    if re.fullmatch(r"[^\s\]%\\&\"]{1,20}", bar.number):
        # Programs that take whole numbers only read as far as they can: `4a` as 4.
        return f"[I:setbarnb {bar.number}]"
    return "" if expected is None else "[I:setbarnb -]"


@dataclass(frozen=True, slots=True)
class _BarCode:
    """A bar's code: the fields before it, what stands over its beginning, and its notes."""

    fields: str
    over: str
    notes: str

    def __str__(self) -> str:
        # An ending's number stands right behind the bar line.
        begins_ending = self.over[:1] == "["
        before = f"{self.over}{self.fields}" if begins_ending else f"{self.fields}{self.over}"
        return f"{before}{self.notes}"


def write_abc_line(
    exercise: Exercise, line_number: int, *, meter: Meter | None, unit: Fraction
) -> str:
    """Return a line of an exercise as ABC music code, ornaments as gracenote groups.

    Parameters
    ----------
    exercise, line_number:
        The line, from 1.
    meter, unit:
        The meter and the unit length (as a share of a whole note) that hold where it is read.

    Returns
    -------
    The code, in the score's own rows.
    """
    bars = (printed := printed_line(exercise, line_number, "closed")).bars
    codes = list(map(str, _line_code(printed, unit, _State(meter))))
    end = _end_sign(bars[-1], is_last_line=False) if bars[-1].signs.closes else "|"
    signs = _bar_lines(bars)
    for index in _own_rows(bars, signs):
        codes[index] = f"\n{codes[index]}"
    # The space before a row would stand at its beginning.
    return f"{_joined(codes, signs, range(len(codes)))} {end}".replace(" \n", "\n")


def write_abc(exercise: Exercise, *, opened: Opened = "closed") -> bytes:
    """Return an exercise as an ABC file with one tune, in UTF-8.

    Parameters
    ----------
    exercise:
        What is written.
    opened:
        As for `renderer.notation.musicxml.writer.write_musicxml`.

    Raises
    ------
    RungwiseError
        If an opened ornament has more parts than its note has room for.
    """
    first = exercise.lines[0].bars[0]
    meter = first.meter
    tempo = first.tempo or exercise.tempo
    header = [
        "%abc-2.1",
        "X:1",
        f"T:{escaped_text(exercise.title)}",
        *_text_fields("C", exercise.composer),
        *_text_fields("R", exercise.tune_type),
        *_text_fields("O", exercise.origin),
        *_text_fields("N", exercise.notes),
        *_order_field(exercise),
        *abc_directives(exercise, is_closed=opened == "closed"),
        f"M:{_meter_text(meter)}",
        f"L:{UNIT}",
        f"Q:{meter.beat_value}={decimal_text(tempo)}",
        "K:HP",
    ]
    return ("\n".join([*header, *_body(exercise, opened, meter, tempo)]) + "\n").encode()


_PART_NAMES = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"


def _has_order(exercise: Exercise) -> bool:
    """Whether the order of parts is written: ABC names them by single letters."""
    return bool(exercise.order) and len(exercise.lines) <= len(_PART_NAMES)


def _order_field(exercise: Exercise) -> list[str]:
    names = "".join(_PART_NAMES[line - 1] for line in exercise.order)
    return [f"P:{names}"] if _has_order(exercise) else []


def _text_fields(letter: str, text: str) -> list[str]:
    # Behind a space, since `C:|` is a note before a repeat sign.
    texts = (escaped_text(line) for line in text.splitlines() if line.strip())
    return [f"{letter}:{' ' * said.startswith(('|', ':'))}{said}" for said in texts]


def _body(exercise: Exercise, opened: Opened, meter: Meter, tempo: Fraction) -> Iterator[str]:
    state = _State(meter)
    quarter = tempo * meter.beat_value
    for line_number, line in enumerate(exercise.lines, start=1):
        printed = printed_line(exercise, line_number, opened)
        codes = list(_line_code(printed, UNIT, state))
        for index, bar in enumerate(printed.bars):
            # In ABC a tempo holds for a note value: a new beat at the same pace needs a new mark.
            tempo = bar.tempo or tempo
            if bar.tempo is None and tempo * bar.meter.beat_value != quarter:
                code = codes[index]
                codes[index] = replace(code, fields=_tempo_field(bar, tempo) + code.fields)
            quarter = tempo * bar.meter.beat_value
        if _has_order(exercise):
            yield f"P:{_PART_NAMES[line_number - 1]}"
        # An empty one says that the first words over the line are no heading.
        if line.heading.strip() or line.bars[0].words or _has_order(exercise):
            heading = f'"^{escaped_text(line.heading)}"'
            is_ending = codes[0].over[:1] == "["
            ending, _, over = codes[0].over.partition(" ") if is_ending else ("", "", codes[0].over)
            codes[0] = replace(codes[0], over=f"{ending}{heading}{over}")
        signs = _bar_lines(printed.bars)
        rows = list(_rows(printed.bars, signs))
        for row in rows:
            is_last_line = line_number == len(exercise.lines)
            end = _end_sign(line.bars[-1], is_last_line=is_last_line)
            goes_on = row is not rows[-1] and not printed.bars[row.stop].begins_row
            sign = end if row is rows[-1] else signs[row.stop] + "\\" * goes_on
            yield f"{_joined([str(code) for code in codes], signs, row)} {sign}"


def _rows(bars: Sequence[Bar], signs: Sequence[str]) -> Iterator[range]:
    """Yield the bars of each row of text: the score's own, or so many bars.

    None begins at a double bar line, which would begin a line of the exercise.
    """
    own = _own_rows(bars, signs)
    begin = 0
    for index, sign in enumerate(signs):
        is_long = not own and index - begin >= BARS_ON_A_LINE and sign == "|"
        if index in own or is_long:
            yield range(begin, index)
            begin = index
    yield range(begin, len(signs))


def _own_rows(bars: Sequence[Bar], signs: Sequence[str]) -> list[int]:
    """The bars, from 0, that begin a row of the score and of text too."""
    pairs = enumerate(zip(bars, signs, strict=True))
    return [index for index, (bar, sign) in pairs if index and bar.begins_row and sign == "|"]
