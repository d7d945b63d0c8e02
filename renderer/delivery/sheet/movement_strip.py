"""The strip that explains movements: an exercise in, each of its movements once, as lines of a bar.

A movement stands where it first occurs, after the note that it comes from, with a beat for each of
its parts, so that opened out it is even crotchets. Single gracenotes and strikes, which have one
part, need no explaining.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction

from renderer.notation.pitch import Note
from renderer.notation.playing import Inner
from renderer.notation.score import Bar, Exercise, Line, MelodyNote, Meter, Slot

MOST_PARTS = 8
"""A movement of more parts than this is an exercise of its own."""


def movements_of(exercise: Exercise) -> Exercise | None:
    """Return an exercise's movements, a line each, with their names as headings; None without any.

    Its lines are opened evenly, whatever the exercise says.
    """
    lines = tuple(_lines(exercise))
    if not lines:
        return None
    return replace(
        exercise, lines=lines, inner=Inner(is_even=True), ladder=None, order=(), numbers=()
    )


def _lines(exercise: Exercise) -> Iterator[Line]:
    explained: set[str] = set()
    for line in exercise.lines:
        before: Note | None = None
        for note in line.melody_notes:
            name = note.ornament
            if name and name not in explained and 1 < len(note.slots) <= MOST_PARTS:
                explained.add(name)
                yield _line(name, before, note)
            before = note.note


def _line(name: str, before: Note | None, note: MelodyNote) -> Line:
    lead = () if before is None else (MelodyNote(Fraction(1), (Slot(before),)),)
    parts = len(note.slots)
    whole = replace(note, beats=Fraction(parts))
    bar = Bar((*lead, whole), Meter(len(lead) + parts, 4))
    coming = "" if before is None else f" from {before.label}"
    landing = "" if name.endswith(f" on {note.note.label}") else f" on {note.note.label}"
    return Line((bar,), f"{name[:1].upper()}{name[1:]}{landing}{coming}")
