"""What the program knows of technique as rows of text: book, finger changes and reports to print.

Every function returns a tuple of rows, each a tuple of strings under the headings of the constant
named beside it. How they are drawn is the command line's and the sheet's business.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from fractions import Fraction
from typing import Any

from renderer.notation.pitch import Note
from renderer.notation.score import Line, bar_numbers
from renderer.technique.cautions import cautions_of, listed
from renderer.technique.choose import Choice, lead_into
from renderer.technique.difficulty import points_of
from renderer.technique.finger_changes import Change, Step, change
from renderer.technique.fingering import Finger, Hand, fingering, safe_hold, written
from renderer.technique.fragments import Fragment, fragment_abc, gracenote_words
from renderer.technique.movement import Movement
from renderer.technique.ornaments import OrnamentBook
from renderer.technique.recognise import flat_group
from renderer.technique.report import LineReport, changes_of

Row = tuple[str, ...]

NONE = "-"


def beat_words(beat: Fraction) -> str:
    """Return a beat counted from 1 as players read it: `2`, `2 1/2`."""
    whole, part = divmod(beat, 1)
    return f"{whole} {part}" if part else str(whole)


def finger_words(fingers: Iterable[Finger]) -> str:
    """Return fingers, from the top, as a short list: `thumb, left index, middle; right little`."""
    words = ""
    hand: Hand | None = None
    for finger in fingers:
        if finger is Finger.LEFT_THUMB:
            words = "thumb"
            continue
        name = finger.label if finger.hand is not hand else finger.label.removeprefix(f"{hand} ")
        joint = "" if not words else "; " if hand not in (None, finger.hand) else ", "
        words, hand = f"{words}{joint}{name}", finger.hand
    return words or NONE


def change_words(change: Change) -> str:
    """Return a change in words: `C to E by a high G gracenote`."""
    way = (
        f"{change.previous} to {change.note}"
        if change.previous is not change.note
        else f"{change.note}"
    )
    return way if change.gracenote is None else f"{way} by {gracenote_words(change.gracenote)}"


def step_words(step: Step) -> str:
    """Return a step in words, with what sounds after it: `lift left index (high G)`."""
    moves = [("lift", step.lifted), ("close", step.closed)]
    words = ", ".join(f"{verb} {finger_words(fingers)}" for verb, fingers in moves if fingers)
    return f"{words} ({step.sounds})"


def printed_group(slots: Fragment) -> str:
    """Return an ornament as a closed gracenote group prints in ABC: `{gBd}B`."""
    group = "".join(note.abc for note in flat_group(slots))
    return (f"{{{group}}}" if group else "") + slots[-1].note.abc


def slot_changes(slots: Fragment, previous: Note | None = None) -> tuple[Change, ...]:
    """Return what the fingers do at each slot of an ornament, coming from `previous`."""
    changes = []
    for slot in slots:
        changes.append(change(previous, slot.gracenote, slot.note))
        previous = slot.note
    return tuple(changes)


BOOK_HEADINGS = ("Movement", "Goes to", "Other beginnings", "Description", "Source")


def book_rows(book: OrnamentBook) -> tuple[Row, ...]:
    """Return one row for each movement that the book writes out, in its order.

    Under `BOOK_HEADINGS`; the other ways in which a movement begins stand in its own row.
    """
    return tuple(
        (m.name, note_range(m.notes), ", ".join(m.begins) or NONE, m.description, m.source)
        for m in book
        if m.way is None
    )


def note_range(notes: tuple[Note, ...]) -> str:
    """Return notes from the lowest, neighbours joined: `low G to C, E`; all nine: `any note`."""
    if len(notes) == len(Note):
        return "any note"
    runs: list[list[Note]] = []
    for note in notes:
        if runs and note == runs[-1][-1] + 1:
            runs[-1].append(note)
        else:
            runs.append([note])
    words = []
    for run in runs:
        if len(run) > 2:
            words.append(f"{run[0]} to {run[-1]}")
        else:
            words += [note.label for note in run]
    return ", ".join(words)


MOVEMENT_HEADINGS = ("On", "Coming from", "Slots", "Printed", "Finger moves")


def movement_rows(movement: Movement) -> tuple[Row, ...]:
    """Return one row for each form of a movement, under `MOVEMENT_HEADINGS`.

    `Coming from` names the notes from which players use the form. Finger moves begin from the
    form's own first note.
    """
    rows: list[Row] = []
    for note in movement.notes:
        forms: dict[Fragment, list[Note]] = {movement.fragments[note]: []}
        for previous in Note:
            slots = movement.slots(note, previous)
            forms.setdefault(slots, [])
            if previous in movement.used_from(note):
                forms[slots].append(previous)
        rows += [
            (note.label, note_range(tuple(approached)) or NONE, *_form_cells(slots))
            for slots, approached in forms.items()
        ]
    return tuple(rows)


def _form_cells(slots: Fragment, previous: Note | None = None) -> Row:
    steps = [step for change in slot_changes(slots, previous) for step in change.steps]
    moves = "; ".join(map(step_words, steps)) or NONE
    return fragment_abc(slots), printed_group(slots), moves


APPROACH_HEADINGS = ("On", "Played as", "Slots", "Printed", "Finger moves")


def approach_rows(book: OrnamentBook, movement: Movement, previous: Note) -> tuple[Row, ...]:
    """Return what is played for a movement on each of its notes coming from one note.

    Under `APPROACH_HEADINGS`; where it cannot be played, what players do instead.
    """
    rows = []
    for note in movement.notes:
        choice = lead_into(book, movement.name, note, previous)
        rows.append((note.label, _played_as(choice), *_form_cells(choice.slots, previous)))
    return tuple(rows)


def _played_as(choice: Choice) -> str:
    name = choice.name or "plain note"
    return name if choice.remark is None else f"{name} instead"


FINGERING_HEADINGS = ("At", "Change, and what to watch in it", "Fingering", "Sounds")


def fingering_rows(line: Line) -> tuple[Row, ...]:
    """Return the finger changes of a line under `FINGERING_HEADINGS`, narrow enough for a terminal.

    The first row is the fingering that the line begins on. Each change has a row with its bar and
    beat, one with what to watch in it, and one for each step. Fingerings are written as in the
    chart, x closed and - open. Notes that no finger moves for have no row.
    """
    rows: list[Row] = []
    numbers = bar_numbers(line)
    for placed in changes_of(line):
        change = placed.change
        where = f"{numbers[placed.bar - 1]}:{beat_words(placed.beat)}"
        if not rows:
            first = change.previous
            rows.append((where, f"begin on {first}", *_state(first)))
        watch = _watch(change)
        if not change.steps and not watch:
            continue
        rows.append((where, change_words(change), "", ""))
        if watch:
            rows.append(("", watch, "", ""))
        for step in change.steps:
            words = step_words(step).rpartition(" (")[0]
            rows.append(("", f"  {words}", written(step.after), step.sounds.label))
    return tuple(rows)


def _state(note: Note) -> tuple[str, str]:
    return written(fingering(note)), note.label


def _watch(change: Change) -> str:
    return ", ".join(caution.kind for caution in cautions_of(change))


PAIR_HEADINGS = ("Pair", "Lifts", "Closes", "Crossing noise", "Rolling noise", "Silent", "Hold")


def pair_rows() -> tuple[Row, ...]:
    """Return one row for each of the 72 ordered pairs of notes, under `PAIR_HEADINGS`.

    Crossing noise: the low notes that may sound, and what avoids them. Rolling noise: what may
    sound between, and which fingers must move together. Silent: fingers whose hole does not name
    the new note. Hold: the fewest fingers that close holes at any moment, and the finger that can
    come down first where they are too few.
    """
    return tuple(
        _pair_row(change(first, None, second))
        for first in Note
        for second in Note
        if first is not second
    )


def _pair_row(change: Change) -> Row:
    crossing = NONE
    if change.crossing is not None:
        noise = change.crossing
        if not noise.within_hand:
            rule = f"{noise.hand_first} hand first"
        else:
            rule = f"{finger_words(noise.fingers)} {'last' if noise.close_last else 'first'}"
        heard = dict.fromkeys((noise.heard.label, noise.lowest.label))
        crossing = f"{' or '.join(heard)}: {rule}"
    rolling = [
        f"{' or '.join(note.label for note in one.heard)}: "
        + ("both hands" if one.hand is None else finger_words(one.fingers))
        for one in change.rolling
    ]
    hold = str(change.loosest)
    if change.loosest < safe_hold():
        hold += f": {change.steady or 'nothing'} first"
    return (
        change_words(change),
        finger_words(change.lifted),
        finger_words(change.closed),
        crossing,
        " / ".join(rolling) or NONE,
        finger_words(change.silent),
        hold,
    )


def as_lines_words(lines: Sequence[int]) -> str:
    """Return where advice stands already, in words: `As lines 2 and 5.`."""
    word = "line" if len(lines) == 1 else "lines"
    return f"As {word} {listed([str(line) for line in lines])}."


def report_fields(report: LineReport) -> dict[str, Any]:
    """Return a line's report as plain values, ready to be written as JSON."""
    return {
        "line": report.line,
        "heading": report.heading,
        "played": report.played,
        "notes": report.notes,
        "gracenotes": report.gracenotes,
        "inner_notes": report.inner_notes,
        "difficulty": round(report.difficulty, 2),
        "points": points_of(report.causes),
        "flags": [
            {
                "kind": flag.kind.value,
                "bar": flag.bar,
                "beat": float(flag.beat),
                "item": flag.item,
                "slot": flag.slot,
                "text": flag.caution.text,
                "fingers": [finger.label for finger in flag.caution.fingers],
                "heard": [note.label for note in flag.caution.heard],
            }
            for flag in report.flags
        ],
        "advice": [
            {
                "bar": one.bar,
                "bar_number": one.bar_number,
                "beat": float(one.beat),
                "text": one.text,
            }
            for one in report.advice
        ],
        "advice_as_lines": list(report.as_lines),
    }
