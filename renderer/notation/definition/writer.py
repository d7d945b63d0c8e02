"""An exercise to a definition file: TOML with every line written out as `abc`.

What was a run with an ornament is written as the notes that it stood for; the movements are
recognised again when the file is read.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

from renderer.errors import WrongValueError
from renderer.notation.abc.information_fields import usual_unit
from renderer.notation.abc.writer import write_abc_line
from renderer.notation.definition.fields import read_meter
from renderer.notation.definition.lines import AbcLine
from renderer.notation.definition.reader import Definition
from renderer.notation.definition.text import definition_text
from renderer.notation.limits import LONGEST_TEXT, LONGEST_TITLE
from renderer.notation.score import Bar, Exercise, MelodyNote, Meter

_COMFORTABLE_TEXT = LONGEST_TEXT * 3 // 4
"""How long the parts of a divided line are, about."""


def _title(text: str) -> str:
    return " ".join(text.split())[:LONGEST_TITLE]


def _meter(meter: Meter) -> Meter | None:
    try:
        return read_meter(str(meter))
    except WrongValueError:
        return None


def _short_enough(
    exercise: Exercise, number: int, meter: Meter | None, unit: Fraction
) -> Iterator[AbcLine]:
    """Yield a line as one entry, or divided at its bars where that were too long for one."""
    line = exercise.lines[number - 1]
    text = write_abc_line(exercise, number, meter=meter, unit=unit)
    cuts = _cuts(line.bars, -(-len(text) // _COMFORTABLE_TEXT)) if len(text) > LONGEST_TEXT else []
    if not cuts:
        yield AbcLine(
            text,
            _title(line.heading),
            line.inner,
            line.beat,
            line.gracenote,
            _title(line.tune),
            line.placement,
        )
        return
    for begin, end in pairwise([0, *cuts, len(line.bars)]):
        part = replace(line, bars=line.bars[begin:end])
        if begin:
            part = replace(part, heading="", tune="")
        yield from _short_enough(replace(exercise, lines=(part,)), 1, meter, unit)


def _cuts(bars: Sequence[Bar], parts: int) -> list[int]:
    """Where to divide bars into about so many equal parts.

    At none into which a note is tied, and inside no repeat.
    """
    wanted = len(bars) / parts
    cuts: list[int] = []
    inside = _inside_repeats(bars)
    for index in range(1, len(bars)):
        first = bars[index].items[0]
        is_tied = isinstance(first, MelodyNote) and first.tied
        is_tied |= index in inside
        if not is_tied and index >= wanted * (len(cuts) + 1):
            cuts.append(index)
    return cuts


def _inside_repeats(bars: Sequence[Bar]) -> set[int]:
    """The bars at which a line cannot be divided without moving a repeat."""
    inside: set[int] = set()
    begin = 0
    for index, bar in enumerate(bars):
        if bar.signs.opens or (index and bars[index - 1].signs.double):
            begin = index
        if bar.signs.closes or bar.signs.endings:
            inside |= set(range(begin + 1, index + 1))
            if index + 1 < len(bars) and not bars[index + 1].signs.endings:
                begin = index + 1
    return inside


def definition_of(exercise: Exercise) -> Definition:
    """Return an exercise as a definition with every line in ABC.

    Its first bar's meter becomes the definition's, where a definition may have such a meter; other
    meters are fields in the lines' ABC. A line too long for one entry becomes several.
    """
    meter = _meter(exercise.lines[0].bars[0].meter)
    unit = usual_unit(meter)
    entries: list[AbcLine] = []
    numbers: list[range] = []
    for number in range(1, len(exercise.lines) + 1):
        begin = len(entries) + 1
        entries += _short_enough(exercise, number, meter, unit)
        numbers.append(range(begin, len(entries) + 1))
    return Definition(
        title=_title(exercise.title),
        lines=tuple(entries),
        order=tuple(entry for line in exercise.order for entry in numbers[line - 1]),
        meter=meter,
        tempo=exercise.tempo,
        gracenotes=exercise.gracenotes,
        inner=exercise.inner,
        beat=exercise.beat,
        ladder=exercise.ladder,
        audience=_title(exercise.audience),
        purpose=exercise.purpose,
        level=_title(exercise.level),
        composer=_title(exercise.composer),
        tune_type=_title(exercise.tune_type),
        origin=_title(exercise.origin),
        notes=exercise.notes,
        ornament_book=json.loads(exercise.own_movements) if exercise.own_movements else None,
        chanter=json.loads(exercise.own_chanter) if exercise.own_chanter else None,
        source=exercise.source,
    )


def write_definition(exercise: Exercise) -> bytes:
    """Return an exercise as a definition file in UTF-8."""
    return definition_text(definition_of(exercise)).encode()
