"""The nine pitches of one chanter as a file holds them: a table of keys to a pitch, and back.

A chanter file is TOML:

    name = "Larkmoor 3"
    low-a = 476.2               # hertz, in the pipe chanter's octave as players say it
    scale = "harmonic"          # what cents are counted from, and notes that are left out come from

    [notes]
    B = 535.9                   # hertz
    F = "+8 cents"              # from the scale
    "high G" = "-12.5 cents"

    [drones]
    tenors = [238.0, 238.3]     # left out: an octave below low A
    bass = 119.0

    [measured]
    on = 2026-03-14
    at = "The band hall, after an hour's playing"

A low A from 170 to 280 Hz is a practice chanter's own octave, and all hertz of the file with it.
"""

from __future__ import annotations

import datetime
import itertools
import json
import math
import re
from collections.abc import Mapping, Sequence
from typing import Any

from renderer.errors import Problem, RungwiseError, WrongValueError, shortened
from renderer.notation.pitch import Note, note_named
from renderer.sound.tuning import (
    DEFAULT_SCALE,
    HIGHEST_LOW_A_HZ,
    LOWEST_LOW_A_HZ,
    PitchStandard,
    Scale,
    scale_named,
)
from renderer.sound.units import cents_to_ratio, ratio_to_cents

LONGEST_NAME = 40
MOST_OFF_CENTS = 120.0
"""How far a note may lie from its scale, more than reeds and tape do (judgement): a third away it
is another note."""
MOST_DRONE_OFF_CENTS = 60.0
"""Likewise of drones, which are tuned to low A."""

_KEYS = {"name", "low-a", "scale", "notes", "drones", "measured"}
_CENTS = re.compile(
    r"(?P<sign>[+\-\N{MINUS SIGN}])?\s*(?P<number>\d{1,4}(?:[.,]\d{1,6})?)\s*cents?"
)
_NOTE_REMEDY = 'write hertz, such as 535.9, or cents from the scale, such as "+8 cents"'


def _number(value: object) -> float | None:
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        return None
    return float(value)


def read_chanter(table: Mapping[str, Any], *, file: str, place: str = "") -> PitchStandard:
    """Return the pitch that a chanter's table holds.

    Parameters
    ----------
    table:
        Keys and values, as TOML has them.
    file, place:
        Where it stands, for messages, and its name where it has none.

    Raises
    ------
    RungwiseError
        With all that is wrong in it, each with its place.
    """
    problems: list[Problem] = []

    def wrong(key: str, cause: str, remedy: str) -> None:
        where = ".".join(part for part in (place, key) if part)
        problems.append(Problem(cause, remedy, where, file))

    for key in table:
        if key not in _KEYS:
            names = ", ".join(sorted(_KEYS))
            wrong(shortened(str(key)), f"there is no key `{shortened(str(key))}`", f"use {names}")
    name = _name(table.get("name"), file, wrong)
    scale = _scale(table.get("scale", DEFAULT_SCALE), wrong)
    low_a = _number(table.get("low-a"))
    factor = 1.0
    if low_a is not None and LOWEST_LOW_A_HZ / 2 <= low_a <= HIGHEST_LOW_A_HZ / 2:
        factor = 2.0
    if low_a is None or not LOWEST_LOW_A_HZ <= factor * low_a <= HIGHEST_LOW_A_HZ:
        given = "is missing" if "low-a" not in table else f"is {shortened(repr(table['low-a']))}"
        wrong(
            "low-a",
            f"low A {given}",
            f"write it in hertz, from {LOWEST_LOW_A_HZ:g} to {HIGHEST_LOW_A_HZ:g}, such as 476.2",
        )
        raise RungwiseError(problems)
    low_a *= factor
    ratios = _ratios(table.get("notes", {}), low_a, factor, scale, wrong)
    tenor = _tenor(table.get("drones", {}), low_a, wrong)
    _check_measured(table.get("measured", {}), wrong)
    if problems:
        raise RungwiseError(problems)
    remark = ""
    if factor != 1.0:
        remark = (
            f"{name} is taken as in a practice chanter's own octave: its low A is {low_a:g} Hz in "
            "the pipe chanter's octave, as players name it."
        )
    return PitchStandard(low_a, name, remark, ratios, tenor)


def _name(given: object, file: str, wrong: Any) -> str:
    if given is None:
        stem = re.split(r"[/\\]", file)[-1].rsplit(".", 1)[0]
        return " ".join(stem.split())[:LONGEST_NAME] or "Chanter"
    if not isinstance(given, str) or not given.strip() or not given.isprintable():
        wrong("name", "the name is no text", 'write one on a line, such as "Larkmoor 3"')
        return ""
    if len(given.strip()) > LONGEST_NAME:
        wrong("name", f"the name has {len(given)} letters", f"write {LONGEST_NAME} at most")
    return given.strip()


def _scale(given: object, wrong: Any) -> Scale:
    try:
        return scale_named(str(given))
    except RungwiseError as error:
        wrong("scale", error.problems[0].cause, error.problems[0].remedy)
        return scale_named()


def _ratios(
    given: object, low_a: float, factor: float, scale: Scale, wrong: Any
) -> tuple[float, ...]:
    ratios = list(scale.ratios)
    if not isinstance(given, Mapping):
        wrong("notes", "this is no table", "write [notes] and a line for each note below it")
        return tuple(ratios)
    for name, value in given.items():
        key = f"notes.{shortened(str(name))}"
        try:
            note = note_named(str(name))
        except WrongValueError as error:
            wrong(key, error.cause, error.remedy)
            continue
        ratio = _ratio(value, note, low_a, factor, scale)
        if ratio is None:
            wrong(key, f"{shortened(repr(value))} is no pitch", _NOTE_REMEDY)
            continue
        off = ratio_to_cents(ratio / scale.ratio(note))
        most = 1.0 if note is Note.LOW_A else MOST_OFF_CENTS
        if abs(off) > most:
            wrong(key, *_too_far(note, ratio * low_a / factor, low_a / factor, scale, off))
            continue
        if note is not Note.LOW_A:
            ratios[note] = ratio
    for lower, higher in itertools.pairwise(Note):
        if ratios[higher] <= ratios[lower]:
            wrong(
                f"notes.{higher.label}",
                f"{higher} is not above {lower}",
                "measure both again: the nine notes rise from low G to high A",
            )
    return tuple(ratios)


def _ratio(value: object, note: Note, low_a: float, factor: float, scale: Scale) -> float | None:
    hertz = _number(value)
    if hertz is not None:
        return hertz * factor / low_a if hertz > 0 else None
    if not isinstance(value, str):
        return None
    match = _CENTS.fullmatch(value.strip())
    if match is None:
        return None
    cents = float(match["number"].replace(",", "."))
    return scale.ratio(note) * cents_to_ratio(cents if match["sign"] in (None, "+") else -cents)


def _too_far(note: Note, hz: float, low_a: float, scale: Scale, off: float) -> tuple[str, str]:
    if note is Note.LOW_A:
        return f"low A is {hz:g} Hz here and {low_a:g} Hz as low-a", "leave it out of the notes"
    expected = low_a * scale.ratio(note)
    least, most = (expected * cents_to_ratio(sign * MOST_OFF_CENTS) for sign in (-1, 1))
    side = "above" if off > 0 else "below"
    return (
        f"{hz:.1f} Hz is {abs(off):.0f} cents {side} where the {scale.name} scale has {note}",
        f"expected about {expected:.1f} Hz ({least:.0f} to {most:.0f}) over low A at {low_a:g} Hz: "
        "check which note was measured",
    )


def _tenor(given: object, low_a: float, wrong: Any) -> float:
    if not isinstance(given, Mapping) or not set(given) <= {"tenors", "bass"}:
        wrong("drones", "this is no table of drones", "write [drones], then tenors and bass below")
        return 0.0
    tenors = given.get("tenors", [])
    listed = tenors if isinstance(tenors, Sequence) and not isinstance(tenors, str) else [tenors]
    measured: list[float] = []
    for key, order, values in (("tenors", 2, listed), ("bass", 4, [given.get("bass")])):
        for value in values:
            if key == "bass" and value is None:
                continue
            hz = _number(value)
            expected = low_a / order
            off = math.inf if hz is None or hz <= 0 else abs(ratio_to_cents(hz / expected))
            if off > MOST_DRONE_OFF_CENTS:
                wrong(
                    f"drones.{key}",
                    f"{shortened(repr(value))} is no pitch of a drone over low A at {low_a:g} Hz",
                    f"expected hertz near {expected:.1f}",
                )
            elif key == "tenors" and hz is not None:
                measured.append(hz)
    return math.fsum(measured) / len(measured) if measured else 0.0


def _is_date(given: object) -> bool:
    if not isinstance(given, str):
        return isinstance(given, datetime.date)
    try:
        datetime.date.fromisoformat(given)
    except ValueError:
        return False
    return True


def _check_measured(given: object, wrong: Any) -> None:
    if not isinstance(given, Mapping) or not set(given) <= {"on", "at"}:
        wrong("measured", "this is no table", "write [measured], then on (a date) and at (a place)")
        return
    if not _is_date(given.get("on", datetime.date.min)):
        wrong("measured.on", "this is no date", "write it as 2026-03-14")
    if not isinstance(given.get("at", ""), str):
        wrong("measured.at", "this is no text", 'write it in quotes, as "the band hall"')


def chanter_text(
    name: str,
    hz: Mapping[Note, float],
    *,
    scale: Scale,
    tenors_hz: Sequence[float] = (),
    bass_hz: float | None = None,
    on: datetime.date | None = None,
    at: str = "",
    remarks: Sequence[str] = (),
) -> str:
    """Return the text of a chanter file, which reads back to the same pitches.

    Parameters
    ----------
    name:
        What it is called.
    hz:
        The pitches that were measured, low A among them, in the pipe chanter's octave.
    scale:
        What the others are taken from.
    tenors_hz, bass_hz:
        The drones, as they sound.
    on, at:
        When and where it was measured.
    remarks:
        Comments at its head.
    """
    low_a = hz[Note.LOW_A]
    lines = [f"# {remark}" for remark in remarks]
    lines += [f"name = {json.dumps(name[:LONGEST_NAME], ensure_ascii=False)}"]
    lines += [f"low-a = {low_a:.4f}", f'scale = "{scale.name}"']
    others = [note for note in Note if note in hz and note is not Note.LOW_A]
    if others:
        lines += ["", "[notes]"]
    for note in others:
        key = note.label if " " not in note.label else f'"{note.label}"'
        off = ratio_to_cents(hz[note] / low_a / scale.ratio(note))
        lines.append(f"{key} = {hz[note]:.4f}  # {off:+.1f} cents from the {scale.name} scale")
    if tenors_hz or bass_hz is not None:
        lines += ["", "[drones]"]
        if tenors_hz:
            lines.append(f"tenors = [{', '.join(f'{one:.4f}' for one in tenors_hz)}]")
        if bass_hz is not None:
            lines.append(f"bass = {bass_hz:.4f}")
    if on is not None or at:
        lines += ["", "[measured]"]
        lines += [] if on is None else [f"on = {on.isoformat()}"]
        lines += [f"at = {json.dumps(at, ensure_ascii=False)}"] if at else []
    return "\n".join(lines) + "\n"
