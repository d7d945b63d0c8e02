"""Exercises and music21's streams, each way: for who goes on with them in Python.

music21 is an optional extra: `pip install 'rungwise[music21]'`. What passes between is MusicXML
4.0, so a stream holds what MusicXML holds and music21 keeps: notes, gracenotes, bars, repeats,
endings, tempos, headings. What only this program knows (gracenote lengths, ladder) it does not.
"""

from __future__ import annotations

from typing import Any

from renderer.notation.musicxml.writer import write_musicxml
from renderer.notation.printed import Opened
from renderer.notation.score import Exercise
from renderer.notation.written import AS_WRITTEN, Reading
from renderer.reading.exercise import with_movements
from renderer.reading.music21_process import music21_package, silenced
from renderer.reading.other_forms import exercise_of_stream


def to_music21(exercise: Exercise, *, opened: Opened = "as written") -> Any:
    """Return an exercise as a `music21.stream.Score` of one part.

    Parameters
    ----------
    exercise:
        What is written.
    opened:
        Whether ornaments are gracenote groups (`closed`), notes (`open`) or as the exercise asks.

    Raises
    ------
    RungwiseError
        Without music21; for an opened ornament that has more parts than its note has room for.
    """
    converter = music21_package().converter
    score = write_musicxml(exercise, opened=opened).decode()
    with silenced():
        return converter.parseData(score, format="musicxml")


def from_music21(stream: Any, reading: Reading = AS_WRITTEN) -> Exercise:
    """Return the melody of a `music21.stream.Score` or `Part` as an exercise.

    Parameters
    ----------
    stream:
        With pitches on the chanter's nine notes.
    reading:
        How it is read, as for a file: which part, transposed how, and so on.

    Raises
    ------
    RungwiseError
        Without music21; with every note that is not on the chanter.
    """
    return with_movements(exercise_of_stream(stream, reading), reading.recognise)
