"""From a definition to music: runs are laid into bars and ornaments put on their notes.

A run takes one beat a note. Without a meter one pass of the run is one bar; with a meter each pass
begins a bar and its last note is held to the end of its bar. A walk is a plain pass and then one
pass for each note, with the ornament on it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from fractions import Fraction

from renderer.errors import Problem, RungwiseError
from renderer.notation.abc import read_abc_line
from renderer.notation.definition import AbcLine, Definition, RunLine
from renderer.notation.pitch import Note
from renderer.notation.score import Bar, Exercise, Item, Line, MelodyNote, Meter, Slot
from renderer.technique.choose import lead_into
from renderer.technique.ornaments import OrnamentBook, load_book
from renderer.technique.recognise import recognise

BEAT = Fraction(1)


def _passes(line: RunLine) -> Iterator[frozenset[int]]:
    """Yield, for each pass of a run, the positions that carry the ornament."""
    everywhere = range(len(line.notes))
    if line.ornament is None:
        yield frozenset()
    elif not line.walk:
        yield frozenset(everywhere)
    else:
        yield frozenset()
        yield from (frozenset({position}) for position in everywhere)


def _into_bars(items: list[MelodyNote], meter: Meter) -> Iterator[Bar]:
    """Lay one pass of a run into bars, holding its last note to the end of its bar."""
    whole = meter.beats
    for start in range(0, len(items), whole):
        bar: list[Item] = list(items[start : start + whole])
        missing = whole - len(bar)
        if missing:
            last = bar[-1]
            bar[-1] = replace(last, beats=last.beats + missing)
        yield Bar(tuple(bar), meter)


def _realise_run(
    line: RunLine, definition: Definition, book: OrnamentBook, remark: Callable[[str], None]
) -> Line:
    meter = definition.meter or Meter(len(line.notes), 4)
    bars: list[Bar] = []
    previous: Note | None = None
    for ornamented in _passes(line):
        items = []
        for position, note in enumerate(line.notes):
            if line.ornament is not None and position in ornamented:
                choice = lead_into(book, line.ornament, note, previous, definition.impossible)
                if choice.remark:
                    remark(choice.remark)
                items.append(MelodyNote(BEAT, choice.slots, choice.name))
            else:
                items.append(MelodyNote(BEAT, (Slot(note),)))
            previous = note
        bars += _into_bars(items, meter)
    return Line(tuple(bars), line.heading, line.inner)


def recognise_bars(bars: Iterable[Bar], book: OrnamentBook) -> tuple[Bar, ...]:
    """Return the bars with each gracenote group read as the book's movement, where it is one."""
    read: list[Bar] = []
    previous: Note | None = None
    for bar in bars:
        items: list[Item] = []
        for item in bar.items:
            known = item
            if isinstance(item, MelodyNote):
                if item.group:
                    slots, name = recognise(item.note, item.group, previous, book)
                    known = replace(item, slots=slots, ornament=name)
                previous = item.note
            items.append(known)
        read.append(replace(bar, items=tuple(items)))
    return tuple(read)


def _realise_abc(line: AbcLine, definition: Definition, book: OrnamentBook) -> Line:
    bars = read_abc_line(line.abc, definition.meter)
    return Line(recognise_bars(bars, book), line.heading, line.inner)


def realise(definition: Definition) -> Exercise:
    """Turn a definition into an exercise.

    Parameters
    ----------
    definition:
        As read from a file, with runs, ornament names and ABC.

    Returns
    -------
    The exercise; its `remarks` say what was replaced and why.

    Raises
    ------
    RungwiseError
        With every problem of every line: unknown movements, notes that lack one, wrong ABC.
    """
    problems: list[Problem] = []
    remarks: dict[str, None] = {}
    book = load_book()
    if definition.ornament_book:
        try:
            book = book.extended(definition.ornament_book)
        except RungwiseError as error:
            problems += error.problems
    lines: list[Line] = []
    for number, line in enumerate(definition.lines, start=1):

        def remark(sentence: str, number: int = number) -> None:
            remarks.setdefault(f"Line {number}: {sentence}")

        try:
            if isinstance(line, AbcLine):
                lines.append(_realise_abc(line, definition, book))
            else:
                lines.append(_realise_run(line, definition, book, remark))
        except RungwiseError as error:
            place = f"lines[{number}]." + ("abc" if isinstance(line, AbcLine) else "ornament")
            problems += [
                replace(p, place=f"{place}: {p.place}" if p.place else place)
                for p in error.problems
            ]
    if problems:
        raise RungwiseError(problems).in_file(definition.source)
    return Exercise(
        title=definition.title,
        lines=tuple(lines),
        tempo=definition.tempo,
        gracenotes=definition.gracenotes,
        inner=definition.inner,
        ladder=definition.ladder,
        audience=definition.audience,
        purpose=definition.purpose,
        level=definition.level,
        remarks=tuple(remarks),
        source=definition.source,
    )
