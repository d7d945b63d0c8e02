"""Exercises of the invented Larkmoor & District Pipe Band, built from the classes."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

from renderer.notation.length import Length
from renderer.notation.pitch import Note
from renderer.notation.playing import Inner
from renderer.notation.score import Bar, Exercise, Ladder, Line, MelodyNote, Meter, Rest, Slot
from renderer.order.planning import practice_of
from renderer.order.settings import Settings, read_settings, usual_settings
from renderer.timing.practice import PracticePlan


def doubling(note: Note, separator: Note = Note.D) -> MelodyNote:
    """A full doubling of one beat."""
    return MelodyNote(Fraction(1), (Slot(note, Note.HIGH_G), Slot(note, separator)), "doubling")


def plain(note: Note) -> MelodyNote:
    """A melody note of one beat."""
    return MelodyNote(Fraction(1), (Slot(note),))


def doublings(
    *,
    title: str = "Doublings on B and C",
    ladder: Ladder | None = None,
    lines: int = 1,
) -> Exercise:
    """Doublings opened out, in 3/4: a plain bar and one with doublings in each line."""
    meter = Meter(3, 4)
    bars = (
        Bar((plain(Note.LOW_A), plain(Note.B), plain(Note.C)), meter),
        Bar((doubling(Note.B), doubling(Note.C), Rest(Fraction(1))), meter),
    )
    return Exercise(
        title=title,
        lines=tuple(Line(bars, heading=f"Line {number + 1}") for number in range(lines)),
        inner=Inner((Length(Fraction(1, 2), "beat"),)),
        ladder=ladder,
        audience="Larkmoor juniors",
    )


def ladder(*tempos: int, repeats: int = 1) -> Ladder:
    """A ladder of these tempos."""
    return Ladder(tuple(Fraction(tempo) for tempo in tempos), repeats=repeats)


def planned(exercise: Exercise, minutes: int, days: int, **given: Any) -> PracticePlan:
    """A plan for so many minutes on so many days."""
    settings = read_settings({"minutes": minutes, "days": days, **given}, verb="plan")
    return practice_of(settings.applied_to(exercise), settings)


def rungs(exercise: Exercise) -> tuple[Fraction, ...]:
    """The tempos that an exercise itself asks for."""
    return usual_settings().tempos_of(exercise)


def asked(**given: Any) -> Settings:
    """Settings as a user gives them; what is left out is as usual."""
    return read_settings(given)
