"""An exercise to a definition file: TOML with every line written out as `abc`.

What was a run with an ornament is written as the notes that it stood for; the movements are
recognised again when the file is read.
"""

from __future__ import annotations

from fractions import Fraction
from typing import Any

import tomlkit

from renderer.notation.abc_fields import usual_unit
from renderer.notation.abc_writer import write_abc_line
from renderer.notation.limits import LONGEST_TITLE
from renderer.notation.score import USUAL_GRACENOTES, USUAL_INNER, Exercise, Meter


def _number(value: Fraction) -> int | float:
    return int(value) if value.denominator == 1 else round(float(value), 6)


def _title(text: str) -> str:
    return " ".join(text.split())[:LONGEST_TITLE]


def _ladder(exercise: Exercise) -> Any:
    ladder = exercise.ladder
    assert ladder is not None
    table = tomlkit.table()
    table["tempos"] = [_number(tempo) for tempo in ladder.tempos]
    if ladder.percent:
        table["percent"] = True
    if ladder.repeats != 1:
        table["repeats"] = ladder.repeats
    return table


def _settings(exercise: Exercise, meter: Meter) -> Any:
    document = tomlkit.document()
    document["title"] = _title(exercise.title)
    for key, value in (
        ("for", _title(exercise.audience)),
        ("purpose", exercise.purpose),
        ("level", _title(exercise.level)),
    ):
        if value:
            document[key] = value
    document["meter"] = str(meter)
    document["tempo"] = _number(exercise.tempo)
    if exercise.gracenotes != USUAL_GRACENOTES:
        gracenotes = tomlkit.table()
        gracenotes["length"] = str(exercise.gracenotes.length)
        gracenotes["placement"] = exercise.gracenotes.placement
        document["gracenotes"] = gracenotes
    if exercise.inner != USUAL_INNER:
        ornaments = tomlkit.table()
        ornaments["inner"] = str(exercise.inner)
        document["ornaments"] = ornaments
    return document


def write_definition(exercise: Exercise) -> bytes:
    """Return an exercise as a definition file in UTF-8.

    Parameters
    ----------
    exercise:
        What is written. Its first bar's meter becomes the file's; other meters are fields in the
        lines' ABC.
    """
    meter = exercise.lines[0].bars[0].meter
    document = _settings(exercise, meter)
    lines = tomlkit.aot()
    for number, line in enumerate(exercise.lines, start=1):
        table = tomlkit.table()
        if line.heading:
            table["heading"] = _title(line.heading)
        if line.inner is not None:
            table["inner"] = str(line.inner)
        table["abc"] = write_abc_line(exercise, number, meter=meter, unit=usual_unit(meter))
        lines.append(table)
    document["lines"] = lines
    if exercise.ladder is not None:
        document["ladder"] = _ladder(exercise)
    return tomlkit.dumps(document).encode()
