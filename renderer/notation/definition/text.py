"""Writing definitions: a `Definition` without patterns to the TOML text that reads back as it.

What has its usual value is left out. The text is laid out for a person: settings first, then one
`[[lines]]` an entry, then the ladder.
"""

from __future__ import annotations

from fractions import Fraction

import tomlkit
from tomlkit.items import AoT, Table

from renderer.notation.definition.fields import run_text
from renderer.notation.definition.lines import PLAIN, AbcLine, DefinitionLine, On, PatternLine
from renderer.notation.definition.reader import Definition
from renderer.notation.length import Length
from renderer.notation.pitch import Note
from renderer.notation.playing import BOOK, Inner
from renderer.notation.score import USUAL_GRACENOTES, Ladder


def definition_text(definition: Definition) -> str:
    """Return the TOML text of a definition.

    Parameters
    ----------
    definition:
        Its patterns written out (`renderer.technique.realise.expand_definition`).

    Raises
    ------
    ValueError
        If a pattern is left in it.
    """
    document = tomlkit.document()
    for key, text in (
        ("title", definition.title),
        ("for", definition.audience),
        ("level", definition.level),
        ("purpose", definition.purpose),
        ("composer", definition.composer),
        ("type", definition.tune_type),
        ("origin", definition.origin),
        ("notes", definition.notes),
    ):
        if text:
            document.add(key, tomlkit.item(text))
    if definition.meter is not None:
        document.add("meter", tomlkit.item(str(definition.meter)))
    document.add("tempo", tomlkit.item(_number(definition.tempo)))
    if definition.order:
        document.add("order", tomlkit.item(list(definition.order)))
    _add_playing(document, definition)
    lines = AoT([])
    for line in definition.lines:
        lines.append(line_table(line))
    document.add("lines", lines)
    lines[-1].add(tomlkit.nl())
    if definition.ladder is not None:
        document.add("ladder", _ladder(definition.ladder))
    if definition.chanter:
        document.add("chanter", tomlkit.item(definition.chanter))
    if definition.ornament_book:
        document.add("ornament-book", tomlkit.item(definition.ornament_book))
    return tomlkit.dumps(document)


def _add_playing(document: tomlkit.TOMLDocument, definition: Definition) -> None:
    if definition.gracenotes != USUAL_GRACENOTES:
        gracenotes = tomlkit.table()
        gracenotes.add("length", _length(definition.gracenotes.length))
        gracenotes.add("placement", definition.gracenotes.placement)
        document.add("gracenotes", gracenotes)
    ornaments = tomlkit.table()
    if definition.inner != BOOK:
        ornaments.add("inner", _inner(definition.inner))
    if definition.beat is not None:
        ornaments.add("beat", definition.beat)
    if definition.impossible != "replace":
        ornaments.add("impossible", definition.impossible)
    if ornaments:
        document.add("ornaments", ornaments)


def _inner(inner: Inner) -> str | list[str]:
    lengths = [_length(length) for length in inner.lengths]
    return lengths if len(lengths) > 1 else lengths[0] if lengths else str(inner)


def _number(value: Fraction) -> int | float:
    return int(value) if value.denominator == 1 else float(value)


def _length(length: Length) -> str:
    value = length.value
    if length.is_share_of_beat:
        return str(length)
    # Milliseconds are written in decimals where decimals hold them exactly.
    decimals = f"{float(value):.6f}".rstrip("0").rstrip(".")
    return f"{decimals if Fraction(decimals) == value else value} ms"


def _on(on: On) -> str:
    return on if isinstance(on, str) else ", ".join(note.label for note in on)


def _groups(notes: tuple[Note, ...], sizes: tuple[int, ...]) -> tuple[tuple[Note, ...], ...]:
    groups, start = [], 0
    for size in sizes or (len(notes),):
        groups.append(notes[start : start + size])
        start += size
    return tuple(groups)


def line_table(line: DefinitionLine) -> Table:
    """Return the table of one line; raise a `ValueError` for a pattern."""
    if isinstance(line, PatternLine):
        raise ValueError("patterns are written out before a definition is written")
    table = tomlkit.table()
    if line.tune:
        table.add("tune", line.tune)
    if line.heading:
        table.add("heading", line.heading)
    if isinstance(line, AbcLine):
        table.add("abc", tomlkit.string(line.abc, multiline="\n" in line.abc))
    else:
        table.add("run", run_text(_groups(line.notes, line.groups)))
        names = [PLAIN if name is None else name for name in line.ornaments]
        if names:
            table.add("ornament", names[0] if len(names) == 1 else names)
        for key, value, usual in (
            ("on", _on(line.on), "every"),
            ("walk", line.walk, False),
            ("plain", line.plain, True),
            ("rhythm", line.rhythm, "even"),
            ("notes-per-beat", line.notes_per_beat, 1),
        ):
            if value != usual:
                table.add(key, tomlkit.item(value))
    if line.inner is not None:
        table.add("inner", _inner(line.inner))
    if line.beat is not None:
        table.add("beat", line.beat)
    if line.gracenote is not None:
        table.add("gracenote", _length(line.gracenote))
    if line.placement is not None:
        table.add("placement", line.placement)
    return table


def _ladder(ladder: Ladder) -> Table:
    table = tomlkit.table()
    table.add("tempos", [_number(tempo) for tempo in ladder.tempos])
    if ladder.percent:
        table.add("percent", True)
    if ladder.repeats != 1:
        table.add("repeats", ladder.repeats)
    if ladder.inner:
        table.add("inner", [str(one) for one in ladder.inner])
    return table
