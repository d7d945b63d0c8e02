"""Reading an exercise in any written form, with its movements recognised."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from renderer.errors import failure
from renderer.notation.definition.reader import read_definition
from renderer.notation.score import Exercise
from renderer.notation.source_file import without_text_ending
from renderer.notation.written import AS_WRITTEN, Reading
from renderer.reading.library import find_exercise
from renderer.reading.room import with_room
from renderer.technique.ornaments import load_book
from renderer.technique.realise import realise, recognise_bars
from renderer.technique.recognise import recognise_opened


def _read_score(path: Path, reading: Reading) -> Exercise:
    reader = _score_reader(path.suffix.casefold())
    if reader is None:
        known = ", ".join(sorted((".toml", *_SCORES)))
        remedy = f"name an exercise in one of these forms: {known}"
        renamed = without_text_ending(path)
        if renamed is not None and renamed.suffix.casefold() in (".toml", *_SCORES):
            remedy = f"rename it to {renamed.name}"
        raise failure(
            f"files that end in {path.suffix!r} are not read"
            if path.suffix
            else "its name has no ending that tells its form",
            remedy,
            file=str(path),
        )
    return with_movements(reader(path, reading))


def with_movements(exercise: Exercise) -> Exercise:
    """Return an exercise with its gracenote groups and opened movements read by the book."""
    book = load_book()
    lines = []
    for line in exercise.lines:
        known = replace(line, bars=recognise_bars(line.bars, book))
        if not exercise.knows_movements:
            known = recognise_opened(known, book, stated=exercise.inner_of(known))
        # What holds for the whole exercise need not be said again by the line.
        lines.append(replace(known, inner=None) if known.inner == exercise.inner else known)
    return with_room(replace(exercise, lines=tuple(lines)))


_SCORES = (".abc", ".mid", ".midi", ".musicxml", ".mxl", ".xml")


def _score_reader(suffix: str) -> Callable[[Path, Reading], Exercise] | None:
    # Each reader is imported when a file asks for it: some bring heavy packages along.
    if suffix == ".abc":
        from renderer.notation.abc.reader import read_abc

        return read_abc
    if suffix in (".mid", ".midi"):
        from renderer.notation.midi.reader import read_midi

        return read_midi
    if suffix in (".musicxml", ".mxl", ".xml"):
        from renderer.notation.musicxml.reader import read_musicxml

        return read_musicxml
    return None


def read_exercise(source: str | Path, reading: Reading = AS_WRITTEN) -> Exercise:
    """Read an exercise from a file, or the shipped one of that name.

    Parameters
    ----------
    source:
        A path to a definition (`.toml`), ABC, MusicXML or MIDI file, or a name that
        `rungwise list` shows.
    reading:
        How scores are read: which part, transposed how, and so on. Definitions are read as they
        are.

    Raises
    ------
    RungwiseError
        With every problem of the file.
    """
    path = find_exercise(source)
    if path.suffix.casefold() == ".toml" or path.is_dir() or not path.exists():
        return realise(read_definition(path))
    return _read_score(path, reading)
