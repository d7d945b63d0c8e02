"""Reading an exercise in any written form, with its movements recognised."""

from __future__ import annotations

import codecs
import json
import re
from collections.abc import Callable
from dataclasses import replace
from functools import partial

from renderer.errors import Problem, RungwiseError, failure
from renderer.notation.definition.reader import (
    Definition,
    WrongDefinitionError,
    read_definition,
)
from renderer.notation.kept_settings import SOFTWARE
from renderer.notation.playing import slot_on_the_beat
from renderer.notation.score import Exercise
from renderer.notation.source_file import (
    FORMS,
    MUSICXML,
    TEXT_ENDING,
    Source,
    Written,
    open_source,
)
from renderer.notation.written import AS_WRITTEN, Reading, Recognise
from renderer.reading.library import find_exercise
from renderer.technique.ornaments import OrnamentBook, load_book
from renderer.technique.realise import (
    expand_definition,
    further_problems,
    realise,
    recognise_bars,
)
from renderer.technique.recognise import recognise_opened
from renderer.technique.recognise_stated import gather_stated, states_opened
from renderer.timing.order_of_playing import check_length


def with_movements(exercise: Exercise, recognise: Recognise = "stated") -> Exercise:
    """Return an exercise with its gracenote groups and opened movements read by the book.

    Parameters
    ----------
    exercise:
        As a reader of scores gives it.
    recognise:
        As in `Reading`: a tune keeps its notes, whatever they spell, unless it is `opened`.
    """
    exercise, book = _with_own_book(exercise)
    lines = []
    for line in exercise.lines:
        known = replace(line, bars=recognise_bars(line.bars, book))
        if not exercise.knows_movements:
            if states_opened(exercise, known):
                known = gather_stated(exercise, known, book)
            elif recognise == "opened":
                known = recognise_opened(known, book)
        # What holds for the whole exercise need not be said again by the line.
        lines.append(replace(known, inner=None) if known.inner == exercise.inner else known)
    return replace(exercise, lines=tuple(lines))


def _with_own_book(exercise: Exercise) -> tuple[Exercise, OrnamentBook]:
    """Return the book with the movements that a score of ours brings along; wrong ones are said."""
    if not exercise.own_movements:
        return exercise, load_book()
    try:
        return exercise, load_book().extended(json.loads(exercise.own_movements))
    except RungwiseError:
        remark = "The file's own movements cannot be read and are left out."
        exercise = replace(exercise, own_movements="", remarks=(*exercise.remarks, remark))
        return exercise, load_book()


def _without_idle_beat(exercise: Exercise) -> Exercise:
    """Leave it unsaid which part is on the beat where each movement has that part there anyway."""
    if exercise.beat is None:
        return exercise
    for line in exercise.lines:
        for note in line.melody_notes:
            count = len(note.slots)
            own = slot_on_the_beat(note.playing.beat, count)
            if own != slot_on_the_beat(exercise.beat, count):
                return exercise
    return replace(exercise, beat=None)


_TEXT_PROGRAMS = (".doc", ".docx", ".odt", ".pages", ".rtf")
"""Endings of what holds text, but not as plain text."""


def _score_reader(form: str) -> Callable[[Written, Reading], Exercise]:
    # Each reader is imported when a file asks for it: some bring heavy packages along.
    if form == ".abc":
        from renderer.notation.abc.reader import read_abc

        return read_abc
    if form in (".mid", ".midi"):
        from renderer.notation.midi.reader import read_midi

        return read_midi
    if form in MUSICXML:
        from renderer.notation.musicxml.reader import read_musicxml

        return read_musicxml
    from renderer.reading.other_forms import read_other

    return partial(read_other, form=form)


def _is_other_form(ending: str) -> bool:
    """Whether an ending is that of a form that is read by another library."""
    if ending in ("", TEXT_ENDING, *_TEXT_PROGRAMS):
        return False
    # Imported when nothing else reads the file: it may bring a heavy package along.
    from renderer.reading.other_forms import is_other_form

    return is_other_form(ending)


_ABC_FIELD = re.compile(rb"(?:\xef\xbb\xbf)?(?:%[^\n]*\n|\s+)*[XTMLK]:")


def _head(data: bytes) -> bytes:
    """Return how bytes begin; of text saved as UTF-16, its letters in UTF-8."""
    head = data[:4_000]
    if head.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return head.decode("utf-16", errors="ignore").encode()
    return head


def _form_of(source: Source) -> str:
    """Return the form of a source: what its name's ending says, else what its bytes look like."""
    form = source.suffix.casefold()
    if form in FORMS or _is_other_form(form):
        return form
    data = _head(source.data)
    if b"**kern" in data:
        return ".krn"
    if re.match(rb"[^a-zA-Z]*(<\?[^>]*>\s*)*<mei\b", data):
        return ".mei"
    if data.startswith(b"MThd"):  # Standard MIDI Files 1.0
        return ".mid"
    if data.startswith(b"PK") or data.lstrip(b"\xef\xbb\xbf \t\r\n").startswith(b"<"):
        return ".musicxml"
    return ".abc" if _ABC_FIELD.match(data) else ".toml"


def is_read_by_music21(source: Source) -> bool:
    """Whether a source is in a form that is not read here, which takes its time."""
    return _form_of(source) not in FORMS


def source_of(written: Written) -> Source:
    """Return what a path, the name of a shipped exercise or a source in hand holds.

    Raises
    ------
    RungwiseError
        For a name that neither a file nor the library has, for a form that is not read, and for
        what cannot be opened.
    """
    if isinstance(written, Source):
        return written
    path = find_exercise(written)
    ending = path.suffix.casefold()
    if ending not in (*FORMS, TEXT_ENDING) and path.is_file() and not _is_other_form(ending):
        remedy = f"name an exercise in one of these forms: {', '.join(sorted(FORMS))}"
        if ending in _TEXT_PROGRAMS:
            remedy = f"save it as plain text (Save as), for instance as {path.stem}.txt"
        raise failure(
            f"files that end in {path.suffix!r} are not read"
            if path.suffix
            else "its name has no ending that tells its form",
            remedy,
            file=str(path),
        )
    return open_source(path)


def tunes_of(source: Source) -> tuple[Source, ...]:
    """Return each tune of a source as a source of its own; of what is no ABC, the source alone."""
    if _form_of(source) != ".abc":
        return (source,)
    from renderer.notation.abc.reader import tunes_apart

    return tunes_apart(source)


def definition_in(source: Source) -> Definition | None:
    """Return the definition that a source is; None if it is a score."""
    if _form_of(source) != ".toml":
        return None
    try:
        return read_definition(source)
    except WrongDefinitionError as error:
        # Wrong movements and wrong ABC are said in the same go as wrong keys.
        problems = dict.fromkeys([*error.problems, *further_problems(error.readable)])
        raise RungwiseError(sorted(problems, key=_line_of)) from None


def _line_of(problem: Problem) -> int:
    """The number of the line that a problem is in, 0 for none."""
    match = re.match(r"lines\[(\d+)\]", problem.place)
    return int(match[1]) if match else 0


def read_exercise(written: Written, reading: Reading = AS_WRITTEN) -> Exercise:
    """Read an exercise from a file, or the shipped one of that name, or a source in hand.

    Parameters
    ----------
    written:
        A path to a definition (`.toml`), ABC, MusicXML or MIDI file, a name that `rungwise list`
        shows, or a `Source`: bytes with a name.
    reading:
        How scores are read: which part, transposed how, and so on. Definitions are read as they
        are; whether repeats are played holds for both.

    Raises
    ------
    RungwiseError
        With every problem of the file.
    """
    source = source_of(written)
    definition = definition_in(source)
    if definition is not None:
        exercise = realise(definition)
    else:
        score = _score_reader(_form_of(source))(source, reading)
        exercise = with_movements(score, reading.recognise)
        if f"{SOFTWARE}: ".encode() not in source.data:
            # What a file of ours says, it says on purpose.
            exercise = _without_idle_beat(exercise)
    exercise = replace(exercise, played_once=not reading.play_repeats)
    check_length(exercise)
    return exercise


def exercise_and_book(
    source: Source, reading: Reading = AS_WRITTEN, book: OrnamentBook | None = None
) -> tuple[Exercise, OrnamentBook]:
    """Read an exercise, and the book with the movements that its definition adds.

    Parameters
    ----------
    source, reading:
        As for `read_exercise`.
    book:
        What it adds them to; the shipped one if left out.
    """
    known = load_book() if book is None else book
    definition = definition_in(source)
    if definition is None:
        return read_exercise(source, reading), known
    return realise(definition), known.extended(definition.ornament_book or {})


def definition_written_out(source: Source, reading: Reading = AS_WRITTEN) -> Definition:
    """Return a source, of whatever form, as a definition with one entry a line."""
    from renderer.notation.definition.writer import definition_of

    definition = definition_in(source)
    if definition is not None:
        return expand_definition(definition)
    return definition_of(read_exercise(source, reading))
