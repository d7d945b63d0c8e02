"""From a definition to music: runs are laid into bars and ornaments put on their notes.

A run takes one beat a note unless its rhythm says otherwise. Without a meter one pass of the run is
one bar; with a meter each pass begins a bar and its last note is held to the end of its bar. A walk
is a plain pass and then one pass for each note and ornament. An entry that stands for many lines is
written out first.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import replace
from itertools import cycle, islice
from typing import Any

from renderer.errors import Problem, RungwiseError, WrongValueError, failure
from renderer.notation.definition.lines import (
    PLAIN,
    AbcLine,
    DefinitionLine,
    PatternLine,
    RunLine,
)
from renderer.notation.definition.pattern import Against, Runs, Scale
from renderer.notation.definition.reader import Definition, Readable
from renderer.notation.kept_settings import table_text
from renderer.notation.limits import MOST_LINES
from renderer.notation.pitch import Note
from renderer.notation.score import Bar, Exercise, Item, Line, MelodyNote, Meter, Slot
from renderer.technique.choose import lead_into
from renderer.technique.ornaments import OrnamentBook, load_book
from renderer.technique.pattern_lines import PatternError, written_out
from renderer.technique.recognise import recognise
from renderer.technique.run_bars import into_bars, shares

WrittenLine = RunLine | AbcLine


def _carriers(line: RunLine) -> list[int]:
    """Return the positions of the run that carry an ornament."""
    everywhere = range(len(line.notes))
    match line.on:
        case "every":
            return list(everywhere)
        case "first":
            return [0]
        case "last":
            return [everywhere[-1]]
        case chosen:
            return [position for position in everywhere if line.notes[position] in chosen]


def _passes(line: RunLine) -> Iterator[dict[int, str]]:
    """Yield, for each pass of a run, the ornaments by the positions that carry them."""
    carriers = _carriers(line)
    if not line.walk:
        pairs = zip(carriers, cycle(line.ornaments or (None,)), strict=False)
        yield {position: name for position, name in pairs if name is not None}
        return
    if line.plain:
        yield {}
    for position in carriers:
        for name in line.ornaments:
            if name is not None:
                yield {position: name}


def _grouped(notes: list[MelodyNote], groups: tuple[int, ...]) -> Iterator[list[MelodyNote]]:
    start = 0
    for size in groups or (len(notes),):
        yield notes[start : start + size]
        start += size


def _realise_run(
    line: RunLine, definition: Definition, book: OrnamentBook, remark: Callable[[str], None]
) -> Line:
    meter = definition.meter
    compound = meter is not None and meter.is_compound
    rhythm = shares(line.rhythm, line.notes_per_beat, compound=compound)
    bars: list[Bar] = []
    previous: Note | None = None
    for ornaments in _passes(line):
        notes = []
        for position, note in enumerate(line.notes):
            if position in ornaments:
                name = ornaments[position]
                choice = lead_into(book, name, note, previous, definition.impossible)
                if choice.remark:
                    remark(choice.remark)
                notes.append(
                    MelodyNote(rhythm[0], choice.slots, choice.name, playing=choice.playing)
                )
            else:
                notes.append(MelodyNote(rhythm[0], (Slot(note),)))
            previous = note
        for group in _grouped(notes, line.groups):
            bars += into_bars(group, meter, rhythm)
    return _played_as(line, tuple(bars))


def recognise_bars(bars: Iterable[Bar], book: OrnamentBook) -> tuple[Bar, ...]:
    """Return the bars with each gracenote group read as the book's movement, where it is one."""
    read: list[Bar] = []
    previous: Note | None = None
    before_endings: Note | None = None
    endings: tuple[int, ...] = ()
    for bar in bars:
        items: list[Item] = []
        # A second ending comes from the note before the first.
        if bar.signs.endings and not endings:
            before_endings = previous
        elif bar.signs.endings and bar.signs.endings != endings:
            previous = before_endings
        endings = bar.signs.endings
        for item in bar.items:
            known = item
            if isinstance(item, MelodyNote):
                if item.group:
                    slots, name = recognise(item.note, item.group, previous, book)
                    known = replace(item, slots=slots, ornament=name, playing=book.playing(name))
                previous = item.note
            items.append(known)
        read.append(replace(bar, items=tuple(items)))
    return tuple(read)


def _realise_abc(line: AbcLine, definition: Definition, book: OrnamentBook) -> Line:
    # Imported where it is needed: most definitions do without.
    from renderer.notation.abc.reader import read_abc_line

    bars = read_abc_line(line.abc, definition.meter)
    music = recognise_bars(bars, book)
    return _played_as(line, music)


def _played_as(line: AbcLine | RunLine, bars: tuple[Bar, ...]) -> Line:
    return Line(
        bars, line.heading, line.inner, line.beat, line.gracenote, line.tune, line.placement
    )


def _notes_to_choose_from(entry: DefinitionLine) -> set[Note]:
    """The notes of an entry that it may name under `on`."""
    match entry:
        case RunLine():
            return set(entry.notes)
        case PatternLine(Runs(among=among)):
            return set(among)
        case PatternLine(Scale(first=first, last=last)):
            return {Note(index) for index in range(first, last + 1)}
        case PatternLine(Against(note, others)):
            return {note, *others}
        case _:
            return set()


def _written_lines(line: DefinitionLine, meter: Meter | None) -> Iterator[WrittenLine]:
    if not isinstance(line, PatternLine):
        yield line
    elif isinstance(line.pattern, Runs) and line.pattern.order == "pitch":
        yield from islice(written_out(line, meter), line.pattern.limit)
    else:
        yield from written_out(line, meter)


class _Realiser:
    """Realises a definition's entries one after the other and gathers what is wrong with them."""

    def __init__(self, definition: Definition) -> None:
        self._definition = definition
        self.problems: dict[Problem, None] = {}
        self.remarks: dict[str, None] = {}
        self.lines: list[tuple[WrittenLine, Line]] = []
        self._book = load_book()
        self._refused: Mapping[str, Any] = {}
        if definition.ornament_book:
            try:
                self._book = self._book.extended(definition.ornament_book)
            except RungwiseError as error:
                self.problems |= dict.fromkeys(error.problems)
                self._refused = definition.ornament_book

    def add(self, number: int, entry: DefinitionLine) -> None:
        """Realise the entry of that number (from 1)."""
        place = f"lines[{number}]"
        realised: list[tuple[WrittenLine, Line, list[str]]] = []
        try:
            for line in _written_lines(entry, self._definition.meter):
                remarks: list[str] = []
                realised.append((line, self._line(line, remarks), remarks))
        except WrongValueError as error:
            cause, remedy = error.cause, error.remedy
            key = "ornament"
            if isinstance(error, PatternError) and isinstance(entry, PatternLine):
                key = type(entry.pattern).__name__.lower()
            elif self._waits_for_the_book(entry):
                return
            elif takers := self._takers(entry):
                remedy += f": write on = '{', '.join(note.label for note in takers)}'"
            self.problems[Problem(cause, remedy, f"{place}.{key}")] = None
        except RungwiseError as error:
            place += ".abc" if isinstance(entry, AbcLine) else ".ornament"
            for problem in error.problems:
                where = f"{place}: {problem.place}" if problem.place else place
                self.problems[replace(problem, place=where)] = None
        if isinstance(entry, PatternLine) and isinstance(entry.pattern, Runs):
            if entry.pattern.order == "difficulty":
                from renderer.technique.report import line_difficulty

                realised.sort(key=lambda one: line_difficulty(one[1]))
            # Which lines are the easiest is only known now.
            realised = realised[: entry.pattern.limit]
        for line, music, remarks in realised:
            self.lines.append((line, music))
            for sentence in remarks:
                self.remarks.setdefault(f"Line {len(self.lines)}: {sentence}")

    def look_up(self, number: int, names: Iterable[str]) -> None:
        """Look for the movements that the entry of that number names."""
        for name in names:
            if name.strip().casefold() == PLAIN or self._book.is_meant_by(self._refused, name):
                continue
            try:
                self._book.movement(name)
            except WrongValueError as error:
                problem = Problem(error.cause, error.remedy, f"lines[{number}].ornament")
                self.problems[problem] = None

    def _waits_for_the_book(self, entry: DefinitionLine) -> bool:
        """Whether what is wrong with an entry may be that its movement was refused."""
        played = entry.each if isinstance(entry, PatternLine) else entry
        names = played.ornaments if isinstance(played, RunLine) else ()
        return any(name and self._book.is_meant_by(self._refused, name) for name in names)

    def _takers(self, entry: DefinitionLine) -> list[Note]:
        """The notes of an entry that can carry its movements, where others of it cannot."""
        played = entry.each if isinstance(entry, PatternLine) else entry
        if not isinstance(played, RunLine):
            return []
        notes = _notes_to_choose_from(entry)
        movements = [self._book.find(name) for name in played.ornaments if name is not None]
        takers = {
            note for note in notes if all(m is not None and note in m.fragments for m in movements)
        }
        return sorted(takers) if movements and takers != notes else []

    def _line(self, line: WrittenLine, remarks: list[str]) -> Line:
        if isinstance(line, AbcLine):
            return _realise_abc(line, self._definition, self._book)
        return _realise_run(line, self._definition, self._book, remarks.append)


def _realised(definition: Definition) -> _Realiser:
    realiser = _Realiser(definition)
    for number, entry in enumerate(definition.lines, start=1):
        realiser.add(number, entry)
        if len(realiser.lines) > MOST_LINES:
            too_many = Problem(
                f"the patterns come to more than {MOST_LINES} lines",
                "set a `limit`, or choose narrower runs",
                f"lines[{number}]",
            )
            realiser.problems[too_many] = None
            break
    if realiser.problems:
        raise RungwiseError(realiser.problems).in_file(definition.source)
    return realiser


def further_problems(readable: Readable) -> tuple[Problem, ...]:
    """Return what else is wrong with a definition that has wrong keys: movements and ABC."""
    realiser = _Realiser(readable.definition)
    for number, entry in readable.lines.items():
        if len(realiser.lines) <= MOST_LINES:
            realiser.add(number, entry)
    for number, names in readable.ornaments.items():
        realiser.look_up(number, names)
    found = RungwiseError(realiser.problems).in_file(readable.definition.source)
    return found.problems


def expand_definition(definition: Definition) -> Definition:
    """Return the definition with every pattern written out as runs, in the order of the music.

    Realised, it gives the same music as the definition itself.

    Raises
    ------
    RungwiseError
        As `realise` does.
    """
    lines = tuple(written for written, _ in _realised(definition).lines)
    return replace(definition, lines=lines)


def lines_of_entries(definition: Definition) -> tuple[int, ...]:
    """Return how many lines of music each entry of a definition stands for.

    Raises a `RungwiseError` as `realise` does.
    """
    return tuple(
        len(_realised(replace(definition, lines=(entry,))).lines)
        if isinstance(entry, PatternLine)
        else 1
        for entry in definition.lines
    )


def realise(definition: Definition) -> Exercise:
    """Turn a definition into an exercise.

    Parameters
    ----------
    definition:
        As read from a file, with runs, patterns, ornament names and ABC.

    Returns
    -------
    The exercise; its `remarks` say what was replaced and why.

    Raises
    ------
    RungwiseError
        With every problem of every line: unknown movements, notes that lack one, wrong ABC,
        patterns that stand for nothing or for too much.
    """
    realiser = _realised(definition)
    count = len(realiser.lines)
    wrong = [number for number in definition.order if not 1 <= number <= count]
    if wrong:
        raise failure(
            f"there is no line {wrong[0]}; the exercise has {count}",
            f"write numbers from 1 to {count}",
            place="order",
            file=definition.source,
        )
    return Exercise(
        title=definition.title,
        lines=tuple(music for _, music in realiser.lines),
        tempo=definition.tempo,
        gracenotes=definition.gracenotes,
        inner=definition.inner,
        beat=definition.beat,
        ladder=definition.ladder,
        audience=definition.audience,
        purpose=definition.purpose,
        level=definition.level,
        composer=definition.composer,
        tune_type=definition.tune_type,
        origin=definition.origin,
        notes=definition.notes,
        own_movements=table_text(definition.ornament_book or {}),
        own_chanter=table_text(definition.chanter or {}),
        order=definition.order,
        remarks=tuple(realiser.remarks),
        source=definition.source,
    )
