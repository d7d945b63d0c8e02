"""A tune keeps its form: written and read back it has its repeats, endings, jumps and words."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given

from renderer import expand
from renderer.errors import RungwiseError
from renderer.notation.abc.reader import read_abc
from renderer.notation.abc.writer import write_abc
from renderer.notation.compare import differences
from renderer.notation.definition.writer import write_definition
from renderer.notation.musicxml.reader import read_musicxml
from renderer.notation.musicxml.writer import write_musicxml
from renderer.notation.score import Exercise
from renderer.reading.exercise import read_exercise
from renderer.timing.order_of_playing import order_of_playing
from tests.notation.strategies import exercises_with_signs
from tests.notation.test_round_trips import written_file
from tests.sampling import examples


def _form(exercise: Exercise) -> object:
    """All that the written form of a tune is beside its notes."""
    return (
        [
            (line.heading, [(bar.signs, bar.words, bar.number, bar.beats) for bar in line.bars])
            for line in exercise.lines
        ],
        exercise.order,
        (exercise.title, exercise.composer, exercise.tune_type, exercise.origin, exercise.notes),
    )


@examples(80)
@given(exercises_with_signs())
def test_musicxml_keeps_the_form_of_a_tune(exercise: Exercise) -> None:
    with written_file(write_musicxml(exercise, opened="closed"), ".musicxml") as path:
        again = read_musicxml(path)
    assert differences(exercise, again) == []
    assert _form(again) == _form(exercise)
    assert order_of_playing(again) == order_of_playing(exercise)


@examples(80)
@given(exercises_with_signs())
def test_abc_keeps_the_form_of_a_tune(exercise: Exercise) -> None:
    with written_file(write_abc(exercise), ".abc") as path:
        again = read_abc(path)
    assert _form(again) == _form(exercise)
    assert order_of_playing(again) == order_of_playing(exercise)


@examples(80)
@given(exercises_with_signs())
def test_a_definition_keeps_the_form_of_a_tune(exercise: Exercise) -> None:
    with written_file(write_definition(exercise), ".toml") as path:
        again = read_exercise(path)
    assert _form(again) == _form(exercise)
    assert order_of_playing(again) == order_of_playing(exercise)


FORMS: dict[str, Callable[[Exercise], bytes]] = {
    ".toml": write_definition,
    ".abc": write_abc,
    ".musicxml": lambda exercise: write_musicxml(exercise, opened="closed"),
}


def written_and_read(exercise: Exercise, form: str) -> Exercise:
    """The exercise written and read as every verb reads it, without what is no part of it."""
    with written_file(FORMS[form](exercise), form) as path:
        return replace(read_exercise(path), remarks=(), source="", knows_movements=False)


def _sounds(exercise: Exercise) -> object:
    """What is heard and when, or why it cannot be played."""
    try:
        timeline = expand(exercise, Fraction(10))
    except RungwiseError as error:
        return [problem.cause for problem in error.problems]
    return [
        (event.start, event.length, event.note, event.role, event.note_id) for event in timeline
    ]


@examples(60)
@given(exercises_with_signs())
@pytest.mark.parametrize("form", FORMS)
def test_written_and_read_an_exercise_is_itself_and_sounds_alike(
    form: str, exercise: Exercise
) -> None:
    exercise = written_and_read(exercise, ".toml")
    again = written_and_read(exercise, form)
    assert again == exercise
    assert _sounds(again) == _sounds(exercise)
