"""Writing patterns out: one entry of a definition in, the run lines that it stands for out.

Everything here is deterministic: the same entry always gives the same lines in the same order.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace

from renderer.errors import WrongValueError
from renderer.notation.definition.lines import PatternLine, RunLine
from renderer.notation.definition.pattern import Against, Each, Runs, Scale
from renderer.notation.limits import LONGEST_TITLE, MOST_RUN_NOTES
from renderer.notation.pitch import Note
from renderer.notation.score import Meter
from renderer.technique.run_bars import shares
from renderer.technique.runs import enumerate_runs

_BEATS_WITHOUT_METER = 4
"""Beats in a bar of a long pattern where the file has no meter."""


class PatternError(WrongValueError):
    """A pattern that cannot be written out."""


def written_out(line: PatternLine, meter: Meter | None) -> Iterator[RunLine]:
    """Yield the run lines that an entry stands for, by pitch where there are many.

    Parameters
    ----------
    line:
        The entry.
    meter:
        The file's; pairs are kept together in its bars. None: bars of four beats.

    Raises
    ------
    PatternError
        Where it stands for no line at all, or for one too long to be a line.
    """
    match line.pattern:
        case Runs():
            yield from _runs(line.pattern, line.each)
        case Scale():
            notes = _scale(line.pattern)
            unit = 1 if line.pattern.step == 1 else 2
            yield _long_line(line.each, notes, line.each.ornaments, meter, unit)
        case Against():
            yield _against(line.each, line.pattern, meter)
        case Each(each):
            yield _each(line.each, each)


def spoken(notes: Iterable[Note]) -> str:
    """The notes as a heading, such as `Low A, B, D`."""
    text = ", ".join(note.label for note in notes)
    return text[:1].upper() + text[1:]


def _heading(heading: str, notes: tuple[Note, ...]) -> str:
    if not heading:
        return spoken(notes)
    # A heading written out must still be one that a definition may have.
    return f"{heading}: {', '.join(note.label for note in notes)}"[:LONGEST_TITLE]


def _runs(choice: Runs, each: RunLine) -> Iterator[RunLine]:
    found = False
    for notes in enumerate_runs(choice):
        if isinstance(each.on, tuple) and not set(notes) & set(each.on):
            continue
        found = True
        yield replace(each, notes=notes, heading=_heading(each.heading, notes))
    if not found:
        raise PatternError(
            "there is no such run",
            "choose a narrower span, fewer notes, or more notes to take part",
        )


def _scale(scale: Scale) -> tuple[Note, ...]:
    pairs: list[tuple[Note, ...]]
    if scale.step == 1:
        pairs = [(Note(index),) for index in range(scale.first, scale.last + 1)]
    else:
        lowest = range(scale.first, scale.last - scale.step + 1)
        pairs = [(Note(low), Note(low + scale.step)) for low in lowest]
    rising = [note for pair in pairs for note in pair]
    notes: list[Note] = []
    for direction in scale.directions:
        # The way down leaves out its first pair, whose top note has just sounded.
        notes += rising if direction == "rising" else rising[::-1][len(pairs[0]) if notes else 0 :]
    return tuple(notes)


def _against(each: RunLine, drill: Against, meter: Meter | None) -> RunLine:
    pairs = [(drill.note, other) for other in drill.others]
    ornaments = each.ornaments
    if each.on == "every":
        ornaments = tuple(o for name in each.ornaments for o in (None, name))
    elif each.on == (drill.note,):
        # The note is what each of the others leads into.
        pairs = [(other, note) for note, other in pairs]
    return _long_line(each, tuple(note for pair in pairs for note in pair), ornaments, meter, 2)


def _long_line(
    each: RunLine,
    notes: tuple[Note, ...],
    ornaments: tuple[str | None, ...],
    meter: Meter | None,
    unit: int,
) -> RunLine:
    """Return the line with its notes in bars that keep `unit` notes together."""
    _check_length(notes)
    compound = meter is not None and meter.is_compound
    per_beat = len(shares(each.rhythm, each.notes_per_beat, compound=compound))
    room = per_beat * (_BEATS_WITHOUT_METER if meter is None else meter.beats)
    size = max(unit, room // unit * unit)
    groups: tuple[int, ...] = ()
    if len(notes) > size and (meter is None or size != room):
        whole, rest = divmod(len(notes), size)
        groups = (size,) * whole + ((rest,) if rest else ())
    heading = each.heading or spoken(notes[:4]) + (" ..." if len(notes) > 4 else "")
    return replace(each, notes=notes, ornaments=ornaments, heading=heading, groups=groups)


def _each(each: RunLine, notes: tuple[Note, ...]) -> RunLine:
    ornaments = ((None,) if each.plain else ()) + each.ornaments
    repeated = tuple(note for note in notes for _ in ornaments)
    _check_length(repeated)
    return replace(
        each,
        notes=repeated,
        ornaments=ornaments,
        heading=each.heading or spoken(notes),
        plain=True,
        groups=(len(ornaments),) * len(notes) if len(notes) > 1 else (),
    )


def _check_length(notes: tuple[Note, ...]) -> None:
    if len(notes) > MOST_RUN_NOTES:
        raise PatternError(
            f"the pattern comes to {len(notes)} notes, and a line has at most {MOST_RUN_NOTES}",
            "choose fewer notes and go on in another line",
        )
