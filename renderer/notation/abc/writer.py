"""An exercise to ABC 2.1: a tune in `K:HP`, and single lines for definitions.

Every line of the exercise is a line of music code that ends with a double bar line, its heading an
annotation above the first note. Notes are joined by beams as the meter has them.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction

from renderer.notation.kept_settings import decimal_text
from renderer.notation.limits import LARGEST_COUNT
from renderer.notation.note_values import Value, beam_groups, values_of_bar
from renderer.notation.printed import Opened, Printed, PrintedLine, printed_line
from renderer.notation.score import Bar, Exercise, Meter, bar_offsets
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


def _bar_code(notes: Sequence[Printed], bar: Bar, offset: Fraction, unit: Fraction) -> str:
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


def _bar_lines(bars: Sequence[Bar]) -> list[str]:
    """The bar line before each bar: a double one before a short bar that needs it.

    Such a line ends a section of the music, and a section may begin with a pickup and end with what
    completes one. So readers do not object that a bar does not add up.
    """
    offsets = bar_offsets(bars)
    signs = ["|"] * len(bars)
    for index, bar in enumerate(bars):
        if index == 0 or bar.beats >= bar.meter.beats:
            continue
        is_last = index + 1 == len(bars)
        ends_section = bars[0].beats < bars[0].meter.beats if is_last else offsets[index + 1] > 0
        if offsets[index] or not ends_section:
            signs[index] = "||"
    return signs


def _joined(codes: Sequence[str], signs: Sequence[str], row: range) -> str:
    return codes[row[0]] + "".join(f" {signs[index]} {codes[index]}" for index in row[1:])


@dataclass
class _State:
    """The meter in force as lines are written one after the other."""

    meter: Meter | None


def _tempo_field(bar: Bar, beat_tempo: Fraction) -> str:
    return f"[Q:{bar.meter.beat_value}={decimal_text(beat_tempo)}]"


def _line_code(line: PrintedLine, unit: Fraction, state: _State) -> Iterator[str]:
    """Yield the code of each bar, with the fields that it needs and without its bar line."""
    for bar, notes, offset in zip(line.bars, line.notes, bar_offsets(line.bars), strict=True):
        fields = "" if bar.meter == state.meter else f"[M:{_meter_text(bar.meter)}]"
        state.meter = bar.meter
        if bar.tempo is not None:
            fields += _tempo_field(bar, bar.tempo)
        yield fields + _bar_code(notes, bar, offset * bar.meter.beat_value, unit)


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
    """
    printed = printed_line(exercise, line_number, "closed")
    codes = list(_line_code(printed, unit, _State(meter)))
    signs = _bar_lines(printed.bars)
    return f"{_joined(codes, signs, range(len(codes)))} |"


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
        f"M:{_meter_text(meter)}",
        f"L:{UNIT}",
        f"Q:{meter.beat_value}={decimal_text(tempo)}",
        "K:HP",
    ]
    return ("\n".join([*header, *_body(exercise, opened, meter, tempo)]) + "\n").encode()


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
                codes[index] = _tempo_field(bar, tempo) + codes[index]
            quarter = tempo * bar.meter.beat_value
        if line.heading.strip():
            fields = re.match(r"(?:\[[^\]]*\])*", codes[0])
            assert fields is not None
            at = fields.end()
            heading = f'"^{escaped_text(line.heading)}"'
            codes[0] = codes[0][:at] + heading + codes[0][at:]
        signs = _bar_lines(printed.bars)
        rows = list(_rows(signs))
        for row in rows:
            is_end = row is rows[-1]
            end = "|" if not is_end else "|]" if line_number == len(exercise.lines) else "||"
            yield f"{_joined(codes, signs, row)} {end}"


def _rows(signs: Sequence[str]) -> Iterator[range]:
    """Yield the bars of each row; none begins at a double bar line, which would begin a line."""
    begin = 0
    for index, sign in enumerate(signs):
        if index - begin >= BARS_ON_A_LINE and sign == "|":
            yield range(begin, index)
            begin = index
    yield range(begin, len(signs))
