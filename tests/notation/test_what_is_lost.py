"""What a form does not hold is listed: whatever an exercise can hold, a change of it is named."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import fields, is_dataclass, replace
from fractions import Fraction
from typing import Any

import pytest

from renderer.notation.compare import differences
from renderer.notation.length import Length
from renderer.notation.pitch import Note
from renderer.notation.playing import BOOK, EVEN, Inner
from renderer.notation.score import (
    Bar,
    Exercise,
    Gracenotes,
    Ladder,
    Line,
    MelodyNote,
    Meter,
    Rest,
    Slot,
)
from renderer.notation.signs import Signs
from tests.notation.test_written_form import FORMS, written_and_read

SIGNS = Signs(True, 2, (1,), True, True, True, True, True, "D.C.")
NOTE = MelodyNote(Fraction(1), (Slot(Note.B, Note.HIGH_G), Slot(Note.B, Note.D)), "doubling")
FULL = Exercise(
    title="The Larkmoor Ferry",
    lines=(
        Line(
            (
                Bar((NOTE, Rest(Fraction(1))), Meter(2, 4), Fraction(70), SIGNS, ("lightly",), "7"),
                Bar((replace(NOTE, beats=Fraction(2)),), Meter(2, 4)),
            ),
            "Part one",
            EVEN,
            1,
            Length(Fraction(40), "ms"),
            "The Ferry",
            "on the beat",
        ),
        Line((Bar((replace(NOTE, beats=Fraction(2)),), Meter(2, 4)),), "Part two"),
    ),
    tempo=Fraction(76),
    gracenotes=Gracenotes(Length(Fraction(50), "ms"), "before the beat"),
    inner=Inner((Length(Fraction(110), "ms"),)),
    beat="last",
    ladder=Ladder((Fraction(50), Fraction(60)), percent=True, repeats=2),
    audience="the evening class",
    purpose="repeats",
    level="improver",
    composer="nobody yet",
    tune_type="march",
    origin="Larkmoor",
    notes="Not fast.",
    own_movements='{"grip": {"beat": "first"}}',
    own_chanter='{"low A": 476.0}',
    order=(1, 2, 1),
)

NOT_WRITTEN = {
    (Exercise, "remarks"): "what a reader had to decide",
    (Exercise, "source"): "where it was read from",
    (Exercise, "whole_title"): "of a longer exercise, of which this is a line",
    (Exercise, "first_number"): "which lines of a longer exercise were asked for",
    (Exercise, "numbers"): "the same, of lines as they are played",
    (Exercise, "played_once"): "how it was asked to be played; it is written that way",
    (Exercise, "knows_movements"): "what a reader knows of the file",
    (MelodyNote, "playing"): "the ornament book's word, which goes with the name",
    (MelodyNote, "slots"): "compared as the printed group, and by the movement's name",
    (Line, "bars"): "compared one by one",
    (Exercise, "lines"): "compared one by one",
    (Bar, "items"): "compared one by one",
    (Line, "bars_before"): "which bars of a line were asked for",
    (Bar, "begins_row"): "how a file's page was laid out, which is no part of the music",
}
"""Fields that are no part of what is written, and why."""

OTHERS: dict[type, Callable[[Any], Any]] = {
    str: lambda text: text + " else",
    bool: lambda flag: not flag,
    int: lambda number: number + 1,
    Fraction: lambda number: number + 1,
    Length: lambda length: replace(length, value=length.value + 1),
    Meter: lambda meter: Meter(3, 4),
}


def _changed(owner: object, name: str) -> Iterator[object]:
    """Values unlike the one that a field has; none left is a test that has to be written."""
    value = getattr(owner, name)
    by_name: dict[str, list[object]] = {
        "inner": [None] if isinstance(owner, Line) else [BOOK, EVEN],
        "beat": [None],
        "placement": [None] if isinstance(owner, Line) else ["on the beat"],
        "jump": [None, "D.S. al Coda"],
        "endings": [(), (2,)],
        "closes": [0, 3],
        "words": [(), ("lightly", "and evenly")],
        "number": ["", "8"],
        "order": [(), (2, 1)],
        "tempos": [(Fraction(50),), (Fraction(50), Fraction(61))],
        "ladder": [None],
        "ornament": [None, "half doubling"],
    }
    if name in by_name:
        yield from by_name[name]
    elif type(value) in OTHERS:
        yield OTHERS[type(value)](value)
    elif not is_dataclass(value):
        raise AssertionError(f"{type(owner).__name__}.{name} has a value of no known kind")


def _variants(value: Any) -> Iterator[tuple[str, Any]]:
    """Every exercise (bar, note ...) that differs from one in a single field, however deep."""
    for field in fields(value):
        name, own = field.name, getattr(value, field.name)
        where = f"{type(value).__name__}.{name}"
        if isinstance(own, tuple) and own and is_dataclass(own[0]) and name != "slots":
            for inner, changed in _variants(own[0]):
                yield inner, replace(value, **{name: (changed, *own[1:])})
        if (type(value), name) in NOT_WRITTEN:
            continue
        if is_dataclass(own) and not isinstance(own, (Length, Meter)) and name != "inner":
            for inner, changed in _variants(own):
                yield inner, replace(value, **{name: changed})
        for other in _changed(value, name):
            yield f"{where} = {other!r}"[:80], replace(value, **{name: other})


VARIANTS = dict(_variants(FULL))


def test_the_exercise_that_is_changed_has_a_value_of_its_own_in_every_field() -> None:
    """Else a form could lose it without a change."""
    empty = Exercise("", FULL.lines)
    for field in fields(Exercise):
        if (Exercise, field.name) not in NOT_WRITTEN:
            assert getattr(FULL, field.name) != getattr(empty, field.name), field.name
    for field in fields(Signs):
        assert getattr(SIGNS, field.name) != getattr(Signs(), field.name), field.name
    first = FULL.lines[0]
    for owner in (first, first.bars[0]):
        plain = type(owner)(*[getattr(owner, name) for name in list(owner.__slots__)[:2]])
        for name in list(owner.__slots__)[2:]:
            if (type(owner), name) not in NOT_WRITTEN:
                assert getattr(owner, name) != getattr(plain, name), name


@pytest.mark.parametrize("variant", VARIANTS)
def test_a_change_of_any_field_is_named(variant: str) -> None:
    assert differences(FULL, VARIANTS[variant]) != []


def test_what_is_the_same_has_no_differences() -> None:
    assert differences(FULL, replace(FULL)) == []


def test_every_written_form_holds_every_field() -> None:
    """Of MIDI, which is played, `convert` says what it has not; the others keep it all."""
    lines = []
    for line in FULL.lines:
        bars = (replace(bar, number=bar.number or "8") for bar in line.bars)
        lines.append(replace(line, bars=tuple(bars)))
    exercise = written_and_read(replace(FULL, lines=tuple(lines)), ".toml")
    for form in FORMS:
        assert differences(exercise, written_and_read(exercise, form)) == [], form
