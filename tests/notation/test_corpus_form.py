"""Tunes of music21's corpus keep their form, and are played in the order that music21 has too.

`corpus_tunes.txt` lists those on the nine notes. The usual run takes a sample, with all tunes that
have endings, jumps or an order of parts; `make test-long` takes them all. Source of the order:
music21's own `expandRepeats`.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from xml.etree import ElementTree

import music21
import pytest

from renderer import expand
from renderer.errors import RungwiseError
from renderer.notation.abc.writer import write_abc
from renderer.notation.definition.writer import write_definition
from renderer.notation.musicxml.writer import write_musicxml
from renderer.notation.score import Exercise
from renderer.notation.written import Reading
from renderer.reading.exercise import read_exercise
from renderer.timing.order_of_playing import order_of_playing
from tests.notation.test_round_trips import written_file

CORPUS = Path(music21.__file__).parent / "corpus"
LISTED = [
    line.split()
    for line in (Path(__file__).parent / "corpus_tunes.txt").read_text().splitlines()
    if not line.startswith("#")
]
EVERY = 12
"""Of the other tunes, one in so many is in the usual run."""


def _in_sample(index: int, signs: list[str]) -> bool:
    return index % EVERY == 0 or bool({"ending", "jump", "order"} & set(signs))


def tunes(*, with_signs: bool) -> list[object]:
    """The tunes listed, those outside the sample marked as long."""
    found: list[object] = []
    for index, (file, number, *signs) in enumerate(LISTED):
        if signs or not with_signs:
            marks = () if _in_sample(index, signs) else (pytest.mark.long,)
            found.append(pytest.param(file, number, id=f"{file} {number}", marks=marks))
    return found


def _read(file: str, number: str) -> Exercise:
    tune = read_exercise(CORPUS / file, Reading(part=None if number == "-" else number))
    return replace(tune, remarks=(), source="", knows_movements=False)


def _sounds(exercise: Exercise) -> list[object]:
    try:
        timeline = expand(exercise, Fraction(20))
    except RungwiseError as error:
        return [problem.cause for problem in error.problems]
    return [(one.start, one.length, one.note, one.role, one.note_id) for one in timeline]


@pytest.mark.parametrize(("file", "number"), tunes(with_signs=False))
def test_a_tune_comes_back_as_it_was_from_every_written_form(file: str, number: str) -> None:
    exercise = _read(file, number)
    for form, written in (
        (".toml", write_definition(exercise)),
        (".abc", write_abc(exercise)),
        (".musicxml", write_musicxml(exercise, opened="closed")),
    ):
        with written_file(written, form) as path:
            again = replace(read_exercise(path), remarks=(), source="", knows_movements=False)
        assert again == exercise, form
        assert _sounds(again) == _sounds(exercise), form


REFUSED_BY_MUSIC21 = {
    "airdsAirs/book2.abc 0354": "a repeat is opened and never closed",
    "ryansMammoth/JennyDangedTheWeaverReel.abc 1": "a segno that nothing leads to",
}


def _labelled(exercise: Exercise) -> tuple[Exercise, dict[tuple[int, int], int]]:
    """The exercise with the number of every bar in words over it, and those numbers by place."""
    numbers: dict[tuple[int, int], int] = {}
    lines = []
    for line_number, line in enumerate(exercise.lines, start=1):
        bars = []
        for bar_number, bar in enumerate(line.bars, start=1):
            numbers[line_number, bar_number] = len(numbers) + 1
            bars.append(replace(bar, words=(f"b{len(numbers)}",)))
        lines.append(replace(line, bars=tuple(bars)))
    return replace(exercise, lines=tuple(lines), order=()), numbers


def _with_signs_for_what_is_implied(score: bytes) -> str:
    """The score with a repeat sign where MusicXML says `forward-repeat`, which music21 ignores.

    Without a sign music21 goes back to the beginning of the tune, even behind another repeat.
    """
    root = ElementTree.fromstring(score)
    for measure in root.iter("measure"):
        for sound in measure.findall("sound[@forward-repeat]"):
            measure.remove(sound)
            bar_line = ElementTree.Element("barline", location="left")
            ElementTree.SubElement(bar_line, "repeat", direction="forward")
            measure.insert(0, bar_line)
    return ElementTree.tostring(root).decode()


def _label(measure: music21.stream.Measure) -> int:
    texts = measure.recurse().getElementsByClass(music21.expressions.TextExpression)
    labels = (text.content.removeprefix("b") for text in texts)
    return next(int(label) for label in labels if label.isdigit())


@pytest.mark.parametrize(("file", "number"), tunes(with_signs=True))
def test_music21_plays_the_bars_of_a_tune_in_the_same_order(file: str, number: str) -> None:
    exercise, numbers = _labelled(_read(file, number))
    ours = [numbers[place.line, place.bar] for run in order_of_playing(exercise) for place in run]
    score = _with_signs_for_what_is_implied(write_musicxml(exercise, opened="closed"))
    (part,) = music21.converter.parseData(score, format="musicxml").parts
    if f"{file} {number}" in REFUSED_BY_MUSIC21:
        with pytest.raises(music21.repeat.ExpanderException):
            part.expandRepeats()
        return
    expanded = part.expandRepeats().getElementsByClass(music21.stream.Measure)
    assert [_label(measure) for measure in expanded] == ours
