"""Written and read back, an exercise keeps its notes, gracenotes, bars and lines."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from hypothesis import given

from renderer.notation.abc.reader import read_abc
from renderer.notation.abc.writer import write_abc
from renderer.notation.compare import differences, music_of
from renderer.notation.definition.writer import write_definition
from renderer.notation.musicxml.reader import read_musicxml
from renderer.notation.musicxml.writer import write_musicxml
from renderer.notation.score import Exercise, Meter
from renderer.reading.exercise import read_exercise
from tests.notation.strategies import written_exercises
from tests.sampling import examples

Music = list[list[tuple[Meter, tuple[tuple[object, ...], ...]]]]


def _music(exercise: Exercise) -> Music:
    return [[(bar.meter, music_of(bar)) for bar in line.bars] for line in exercise.lines]


def _headings(exercise: Exercise) -> list[str]:
    return [line.heading for line in exercise.lines]


@contextmanager
def written_file(content: bytes, suffix: str) -> Iterator[Path]:
    """A file of that content for as long as it is needed."""
    path = _written(content, suffix)
    try:
        yield path
    finally:
        path.unlink()


def _written(content: bytes, suffix: str) -> Path:
    with tempfile.NamedTemporaryFile(suffix=suffix, delete=False) as file:
        file.write(content)
    return Path(file.name)


@examples(60)
@given(written_exercises())
def test_musicxml_keeps_everything_of_an_exercise(exercise: Exercise) -> None:
    path = _written(write_musicxml(exercise, opened="closed"), ".musicxml")
    try:
        again = read_musicxml(path)
    finally:
        path.unlink()
    assert differences(exercise, again) == []
    assert not again.remarks


@examples(60)
@given(written_exercises())
def test_abc_keeps_everything_of_an_exercise(exercise: Exercise) -> None:
    path = _written(write_abc(exercise), ".abc")
    try:
        again = read_abc(path)
    finally:
        path.unlink()
    assert _music(again) == _music(exercise)
    assert _headings(again) == _headings(exercise)
    assert differences(exercise, again) == []


@examples(40)
@given(written_exercises())
def test_a_definition_keeps_the_music_and_the_settings(exercise: Exercise) -> None:
    path = _written(write_definition(exercise), ".toml")
    try:
        again = read_exercise(path)
    finally:
        path.unlink()
    assert _music(again) == _music(exercise)
    assert _headings(again) == _headings(exercise)
    for name in ("title", "tempo", "gracenotes", "inner", "ladder", "audience"):
        assert getattr(again, name) == getattr(exercise, name)
