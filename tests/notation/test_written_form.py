"""A tune keeps its form: written and read back it has its repeats, endings, jumps and words."""

from __future__ import annotations

from hypothesis import given, settings

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


@settings(max_examples=80)
@given(exercises_with_signs())
def test_musicxml_keeps_the_form_of_a_tune(exercise: Exercise) -> None:
    with written_file(write_musicxml(exercise, opened="closed"), ".musicxml") as path:
        again = read_musicxml(path)
    assert differences(exercise, again) == []
    assert _form(again) == _form(exercise)
    assert order_of_playing(again) == order_of_playing(exercise)


@settings(max_examples=80)
@given(exercises_with_signs())
def test_abc_keeps_the_form_of_a_tune(exercise: Exercise) -> None:
    with written_file(write_abc(exercise), ".abc") as path:
        again = read_abc(path)
    assert _form(again) == _form(exercise)
    assert order_of_playing(again) == order_of_playing(exercise)


@settings(max_examples=80)
@given(exercises_with_signs())
def test_a_definition_keeps_the_form_of_a_tune(exercise: Exercise) -> None:
    with written_file(write_definition(exercise), ".toml") as path:
        again = read_exercise(path)
    assert _form(again) == _form(exercise)
    assert order_of_playing(again) == order_of_playing(exercise)
