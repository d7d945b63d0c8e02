"""An exercise to a definition file: TOML with every line written out as `abc`.

What was a run with an ornament is written as the notes that it stood for; the movements are
recognised again when the file is read.
"""

from __future__ import annotations

from renderer.notation.abc_fields import usual_unit
from renderer.notation.abc_writer import write_abc_line
from renderer.notation.definition import Definition
from renderer.notation.definition_fields import WrongValueError, read_meter
from renderer.notation.definition_lines import AbcLine
from renderer.notation.definition_text import definition_text
from renderer.notation.limits import LONGEST_TITLE
from renderer.notation.score import Exercise, Meter


def _title(text: str) -> str:
    return " ".join(text.split())[:LONGEST_TITLE]


def _meter(meter: Meter) -> Meter | None:
    try:
        return read_meter(str(meter))
    except WrongValueError:
        return None


def definition_of(exercise: Exercise) -> Definition:
    """Return an exercise as a definition with every line in ABC.

    Its first bar's meter becomes the definition's, where a definition may have such a meter; other
    meters are fields in the lines' ABC.
    """
    meter = _meter(exercise.lines[0].bars[0].meter)
    unit = usual_unit(meter)
    return Definition(
        title=_title(exercise.title),
        lines=tuple(
            AbcLine(
                write_abc_line(exercise, number, meter=meter, unit=unit),
                _title(line.heading),
                line.inner,
            )
            for number, line in enumerate(exercise.lines, start=1)
        ),
        meter=meter,
        tempo=exercise.tempo,
        gracenotes=exercise.gracenotes,
        inner=exercise.inner,
        ladder=exercise.ladder,
        audience=_title(exercise.audience),
        purpose=exercise.purpose,
        level=_title(exercise.level),
        source=exercise.source,
    )


def write_definition(exercise: Exercise) -> bytes:
    """Return an exercise as a definition file in UTF-8."""
    return definition_text(definition_of(exercise)).encode()
