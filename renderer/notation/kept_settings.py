"""How an exercise is played and practised, kept as text in forms that have no place for it.

MusicXML and MIDI do not know gracenote lengths, ladders and the like. MusicXML's
`<miscellaneous-field>`s and MIDI's text events hold them as a definition file writes them.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Mapping
from dataclasses import replace
from decimal import Decimal
from fractions import Fraction
from itertools import islice
from typing import TYPE_CHECKING, Any

from renderer.errors import RungwiseError, WrongValueError, shortened
from renderer.notation.definition.fields import read_gracenote_length, read_inner, read_stages
from renderer.notation.ladder import parse_ladder, rung_bounds
from renderer.notation.limits import (
    FASTEST_TEMPO,
    LONGEST_TEXT,
    LONGEST_TITLE,
    MOST_LINES,
    MOST_REPEATS,
    SLOWEST_TEMPO,
)
from renderer.notation.playing import BOOK, read_beat
from renderer.notation.score import USUAL_GRACENOTE, Exercise, Ladder, Line, Placement
from renderer.notation.source_file import without_controls

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

SOFTWARE = "Rungwise"
MOST_SETTINGS = MOST_LINES + 100
"""One for each line, and those of the whole exercise."""
MOST_LEFT_OUT_NAMED = 5

LINE_INNER, LINE_BEAT = "inner length of line ", "slot on the beat in line "
LINE_GRACENOTE = "gracenote length in line "
LINE_PLACEMENT = "gracenote placement in line "
LINE_TUNE = "tune that begins with line "
"""With the line's number after it."""

MOVEMENTS, MOVEMENTS_TOLD = "opened movements", "told"
"""In files that say which notes are one opened movement, or hold none."""

BAR_NUMBERS, BAR_NUMBERS_COUNTED = "bar numbers", "counted"
"""In scores whose bars have no numbers of their own: those that are printed were counted."""

OWN_MOVEMENTS, OWN_CHANTER = "ornament book", "chanter"

MIDI_SHIFT = "semitones above the written notes"
MIDI_STRETCH = "note values times"
MIDI_TEMPOS = "exact tempos"
"""How a MIDI file differs from the written notes; `with_settings` leaves them alone."""


def decimal_text(number: Fraction) -> str:
    """A number as plain digits: exact with up to twelve decimals, else rounded to six."""
    value = Decimal(number.numerator) / Decimal(number.denominator)
    decimals = 12 if 10**12 % number.denominator == 0 else 6
    return f"{value:.{decimals}f}".rstrip("0").rstrip(".")


def settings_of(exercise: Exercise) -> dict[str, str]:
    """Return the names and values of the fields that an exercise needs."""
    settings = {
        "for": exercise.audience,
        "purpose": exercise.purpose,
        "level": exercise.level,
        "composer": exercise.composer,
        "type": exercise.tune_type,
        "origin": exercise.origin,
        "notes": exercise.notes,
        OWN_MOVEMENTS: exercise.own_movements,
        OWN_CHANTER: exercise.own_chanter,
        "order of lines": ",".join(map(str, exercise.order)),
        "gracenote length": str(exercise.gracenotes.length),
        "gracenote placement": exercise.gracenotes.placement,
        "inner length": str(exercise.inner),
        "slot on the beat": "" if exercise.beat is None else str(exercise.beat),
        "tempo": "" if _begins_at_its_tempo(exercise) else decimal_text(exercise.tempo),
    }
    for number, line in enumerate(exercise.lines, start=1):
        for name, said in (
            (LINE_INNER, line.inner),
            (LINE_BEAT, line.beat),
            (LINE_GRACENOTE, line.gracenote),
            (LINE_PLACEMENT, line.placement),
            (LINE_TUNE, line.tune or None),
        ):
            if said is not None:
                settings[f"{name}{number}"] = str(said)
    ladder = exercise.ladder
    if ladder is not None:
        sign = "%" if ladder.percent else ""
        settings["ladder"] = ",".join(decimal_text(tempo) + sign for tempo in ladder.tempos)
        settings["ladder repeats"] = str(ladder.repeats)
        settings["ladder inner lengths"] = " : ".join(map(str, ladder.inner))
    return {name: value for name, value in settings.items() if value}


_USUAL = {
    "gracenote length": str(USUAL_GRACENOTE),
    "gracenote placement": "on the beat",
    "inner length": str(BOOK),
}
"""What holds where nothing is said."""

_OF_ABC = ("composer", "type", "origin", "notes", "order of lines")
"""What ABC has fields for."""

ABC_DIRECTIVE = f"%%{SOFTWARE.lower()} "


def abc_directives(exercise: Exercise, *, is_closed: bool) -> list[str]:
    """Return the lines of an ABC header that keep what ABC has no field for.

    Stylesheet directives (ABC 2.1, section 11), which other programs pass over. Where an exercise
    asks for nothing unusual there are none.

    Parameters
    ----------
    exercise:
        What is written.
    is_closed:
        Whether all movements are written as gracenote groups, so that no note is one opened out.
    """
    settings = {
        name: value
        for name, value in settings_of(exercise).items()
        if name not in _OF_ABC and value != _USUAL.get(name)
    }
    if settings and is_closed:
        settings[MOVEMENTS] = MOVEMENTS_TOLD
    texts = {name: " ".join(value.split()) for name, value in settings.items()}
    return [f"{ABC_DIRECTIVE}{name} = {text}" for name, text in texts.items()]


def abc_setting(line: str) -> tuple[str, str] | None:
    """Return the name and value that a line of `abc_directives` keeps, or None for another line."""
    if not line.startswith(ABC_DIRECTIVE):
        return None
    name, sign, value = line.removeprefix(ABC_DIRECTIVE).partition(" = ")
    return (name.strip(), value.strip()) if sign else None


def _begins_at_its_tempo(exercise: Exercise) -> bool:
    """Whether the first tempo of a score is the exercise's own, and not a mark's."""
    return exercise.lines[0].bars[0].tempo in (None, exercise.tempo)


def setting_text(name: str, value: str) -> str:
    """Return the MIDI text event that keeps a setting: `Rungwise: inner length = 100 ms`."""
    return f"{SOFTWARE}: {name} = {value}"


def setting_of(text: str) -> tuple[str, str] | None:
    """Return the name and value of a setting's text event, or None for any other text."""
    head, _, rest = text.partition(": ")
    name, sign, value = rest.partition(" = ")
    return (name, value) if head == SOFTWARE and sign else None


def musicxml_settings(root: Element) -> dict[str, str]:
    """Return the settings in the miscellaneous fields of a score that this program wrote."""
    software = (s.text or "" for s in root.iterfind("identification/encoding/software"))
    if not any(name.startswith(SOFTWARE) for name in software):
        return {}
    fields = root.iterfind("identification/miscellaneous/miscellaneous-field")
    return {field.get("name", ""): field.text or "" for field in islice(fields, MOST_SETTINGS)}


def with_settings(exercise: Exercise, settings: Mapping[str, str]) -> Exercise:
    """Return the exercise with its settings; one that cannot be read is left out and said."""
    remarks: list[str] = []
    for name, value in settings.items():
        try:
            exercise = _with_setting(exercise, name, value)
        except (WrongValueError, RungwiseError, ValueError, TypeError, IndexError):
            said = f"{shortened(name)} = {shortened(value, 60)!r}"
            remarks.append(f"The file says {said}, which is left out.")
    if len(remarks) > MOST_LEFT_OUT_NAMED:
        rest = len(remarks) - MOST_LEFT_OUT_NAMED
        remarks[MOST_LEFT_OUT_NAMED:] = [f"{rest} more of the file's settings are left out."]
    return replace(exercise, remarks=(*exercise.remarks, *remarks))


def _with_setting(exercise: Exercise, name: str, value: str) -> Exercise:
    simple: dict[str, Callable[[], Exercise]] = {
        "for": lambda: replace(exercise, audience=_text(value, LONGEST_TITLE)),
        "purpose": lambda: replace(exercise, purpose=_text(value, LONGEST_TEXT)),
        "level": lambda: replace(exercise, level=_text(value, LONGEST_TITLE)),
        "composer": lambda: replace(exercise, composer=_text(value, LONGEST_TITLE)),
        "type": lambda: replace(exercise, tune_type=_text(value, LONGEST_TITLE)),
        "origin": lambda: replace(exercise, origin=_text(value, LONGEST_TITLE)),
        "notes": lambda: replace(exercise, notes=_text(value, LONGEST_TEXT)),
        OWN_MOVEMENTS: lambda: replace(exercise, own_movements=_table(value)),
        OWN_CHANTER: lambda: replace(exercise, own_chanter=_table(value)),
        "order of lines": lambda: replace(exercise, order=_order(exercise, value)),
        BAR_NUMBERS: lambda: _without_numbers(exercise, value),
        "gracenote length": lambda: replace(
            exercise, gracenotes=replace(exercise.gracenotes, length=read_gracenote_length(value))
        ),
        "gracenote placement": lambda: replace(
            exercise, gracenotes=replace(exercise.gracenotes, placement=_placement(value))
        ),
        "inner length": lambda: replace(exercise, inner=read_inner(value)),
        "slot on the beat": lambda: replace(exercise, beat=read_beat(value)),
        MOVEMENTS: lambda: replace(exercise, knows_movements=value == MOVEMENTS_TOLD),
        "tempo": lambda: _paced(exercise, _decimal(value)),
        "ladder": lambda: replace(exercise, ladder=_ladder(value)),
        "ladder repeats": lambda: _repeated(exercise, int(value)),
        "ladder inner lengths": lambda: _closing(exercise, value),
    }
    if name in simple:
        return simple[name]()
    of_lines: dict[str, Callable[[Line], Line]] = {
        LINE_INNER: lambda line: replace(line, inner=read_inner(value)),
        LINE_BEAT: lambda line: replace(line, beat=read_beat(value)),
        LINE_GRACENOTE: lambda line: replace(line, gracenote=read_gracenote_length(value)),
        LINE_PLACEMENT: lambda line: replace(line, placement=_placement(value)),
        LINE_TUNE: lambda line: replace(line, tune=_text(value, LONGEST_TITLE)),
    }
    for start, changed in of_lines.items():
        number = name.removeprefix(start)
        if number != name and number.isdigit() and int(number) >= 1:
            lines = list(exercise.lines)
            lines[int(number) - 1] = changed(lines[int(number) - 1])
            return replace(exercise, lines=tuple(lines))
    return exercise


def _text(value: str, longest: int) -> str:
    return without_controls(value[:longest])


def _table(value: str) -> str:
    """A table in JSON, its keys in order; whether it holds movements is for the book to say."""
    if len(value) > LONGEST_TEXT:
        raise ValueError(value)
    try:
        table = json.loads(value)
    except RecursionError as error:
        raise ValueError(value) from error
    if not isinstance(table, dict):
        raise TypeError(value)
    return table_text(table)


def table_text(table: Mapping[str, Any]) -> str:
    """Return a table as JSON, its keys in order; empty for none."""
    # Dates, of which JSON has none, are texts from here on.
    return json.dumps(table, sort_keys=True, default=str) if table else ""


def _order(exercise: Exercise, value: str) -> tuple[int, ...]:
    order = tuple(map(int, re.findall(r"\d{1,4}", value[:LONGEST_TEXT])))
    if not order or not all(1 <= number <= len(exercise.lines) for number in order):
        raise ValueError(value)
    return order


def _without_numbers(exercise: Exercise, value: str) -> Exercise:
    if value != BAR_NUMBERS_COUNTED:
        raise ValueError(value)
    lines = (
        replace(line, bars=tuple(replace(bar, number="") for bar in line.bars))
        for line in exercise.lines
    )
    return replace(exercise, lines=tuple(lines))


def _decimal(value: str) -> Fraction:
    # Read as it is written by `decimal_text`: a few letters can also spell a number without end.
    if re.fullmatch(r"\d{1,6}(?:\.\d{1,12})?", value) is None:
        raise ValueError(value)
    return Fraction(value)


def _ladder(value: str) -> Ladder:
    ladder = parse_ladder(value)
    least, most = rung_bounds(percent=ladder.percent)
    if not least <= min(ladder.tempos) <= max(ladder.tempos) <= most:
        raise ValueError(value)
    return ladder


def _paced(exercise: Exercise, tempo: Fraction) -> Exercise:
    """Make the tempo that a score begins with a mark, beside the exercise's own."""
    if not SLOWEST_TEMPO <= tempo <= FASTEST_TEMPO:
        raise ValueError(tempo)
    first = exercise.lines[0]
    bars = (replace(first.bars[0], tempo=exercise.tempo), *first.bars[1:])
    return replace(exercise, tempo=tempo, lines=(replace(first, bars=bars), *exercise.lines[1:]))


def _placement(value: str) -> Placement:
    if value == "on the beat":
        return "on the beat"
    if value == "before the beat":
        return "before the beat"
    raise ValueError(value)


def _closing(exercise: Exercise, value: str) -> Exercise:
    if exercise.ladder is None:
        raise ValueError(value)
    stages = read_stages([text.strip() for text in value.split(":")])
    return replace(exercise, ladder=replace(exercise.ladder, inner=stages))


def _repeated(exercise: Exercise, repeats: int) -> Exercise:
    if exercise.ladder is None or not 1 <= repeats <= MOST_REPEATS:
        raise ValueError(repeats)
    return replace(exercise, ladder=replace(exercise.ladder, repeats=repeats))
