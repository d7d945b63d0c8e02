"""Reading an exercise in any written form, with its movements recognised."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

from renderer.errors import failure
from renderer.notation.definition import read_definition
from renderer.notation.length import Length
from renderer.notation.limits import LEAST_SOUNDING_MS
from renderer.notation.score import USUAL_INNER, Exercise, Line, MelodyNote, Slot
from renderer.notation.source_file import without_text_ending
from renderer.notation.written import AS_WRITTEN, Reading
from renderer.technique.library import find_exercise
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


def with_room(exercise: Exercise) -> Exercise:
    """Return a score whose movements fit at its own tempo, where it leaves their length open.

    Scores of others show gracenotes and not how long they are. Where the usual inner notes are
    too long for a movement of the score, all of them get what the tightest leaves; it is said in
    a remark. Where no length would do, the exercise stays as it is.
    """
    if exercise.states_inner or exercise.inner != USUAL_INNER:
        return exercise
    gracenote_ms = exercise.gracenotes.length.value
    room_ms = min(_inner_rooms_ms(exercise), default=USUAL_INNER.value) // 1
    if not gracenote_ms + LEAST_SOUNDING_MS <= room_ms < USUAL_INNER.value:
        return exercise
    inner = Length(Fraction(room_ms), "ms")
    remark = (
        f"Inner notes of movements last {inner} and not {USUAL_INNER}, since otherwise they would "
        "not fit at its tempo."
    )
    return replace(exercise, inner=inner, remarks=(*exercise.remarks, remark))


def _inner_rooms_ms(exercise: Exercise) -> Iterator[Fraction]:
    """Yield what each movement leaves for one inner note, in milliseconds."""
    before_the_beat = exercise.gracenotes.placement == "before the beat"
    tempo = exercise.tempo
    for line in exercise.lines:
        notes, tempo = _sounding_ms(line, tempo)
        if line.inner is not None:
            continue
        # A line follows itself where it is repeated.
        for (length_ms, parts), (_, next_parts) in zip(notes, notes[1:] + notes[:1], strict=True):
            if len(parts) < 2:
                continue
            # Its gracenote takes its time from the melody note.
            taker = next_parts[:1] if before_the_beat else parts[-1:]
            is_led = any(slot.gracenote is not None for slot in taker)
            kept_ms = LEAST_SOUNDING_MS + (exercise.gracenotes.length.value if is_led else 0)
            yield (length_ms - kept_ms) / (len(parts) - 1)


def _sounding_ms(
    line: Line, tempo: Fraction
) -> tuple[list[tuple[Fraction, tuple[Slot, ...]]], Fraction]:
    """Return how long each note or rest lasts with its slots (a rest has none), and the last tempo.

    What is tied to a note lasts on in it.
    """
    notes: list[tuple[Fraction, tuple[Slot, ...]]] = []
    for bar in line.bars:
        tempo = tempo if bar.tempo is None else bar.tempo
        for item in bar.items:
            length_ms = item.beats * 60_000 / tempo
            if isinstance(item, MelodyNote) and item.tied and notes:
                before_ms, slots = notes[-1]
                notes[-1] = before_ms + length_ms, slots
            else:
                notes.append((length_ms, item.slots if isinstance(item, MelodyNote) else ()))
    return notes, tempo


_SCORES = (".abc", ".mid", ".midi", ".musicxml", ".mxl", ".xml")


def _score_reader(suffix: str) -> Callable[[Path, Reading], Exercise] | None:
    # Each reader is imported when a file asks for it: some bring heavy packages along.
    if suffix == ".abc":
        from renderer.notation.abc import read_abc

        return read_abc
    if suffix in (".mid", ".midi"):
        from renderer.notation.midi import read_midi

        return read_midi
    if suffix in (".musicxml", ".mxl", ".xml"):
        from renderer.notation.musicxml import read_musicxml

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
