"""Marks in MIDI files of our own: which of the sounding notes are one written note, and the bars.

MIDI has neither gracenotes nor ornaments, and how long a note is does not always tell: opened out,
a birl is four equal notes. So where a written note with an ornament begins, a text event spells it
in ABC letters, such as `Rungwise: note = {g}B {d}B`. A reader believes a mark only while the notes
after it still say the same, so that a file may be edited in a sequencer.

Neither does a time signature tell a pickup from a whole bar of a shorter meter, nor hold a bar of a
third of a beat. Where a bar has another meter than the one before, or follows on a short one,
another text event gives its meter as written, such as `Rungwise: bar = 3/4`.
"""

from __future__ import annotations

import re

from renderer.notation.pitch import note_of_abc
from renderer.notation.score import MelodyNote, Slot

NOTE_MARK, BAR_MARK = "note", "bar"
"""The names that marks have among the settings of a file."""

PLAIN_UNDER_MS = 100
"""A shorter note is marked even if it is plain: it might be taken for a gracenote (judgement)."""

_SLOT = re.compile(r"(?:\{([GABcdefga])\})?([GABcdefga])")


def spelled(note: MelodyNote) -> str:
    """Return a written note in ABC letters: each slot with its gracenote, such as `{g}B {d}B`."""
    return " ".join(slot.abc for slot in note.slots)


def slots_spelled(text: str) -> tuple[Slot, ...] | None:
    """Return the slots that a mark spells, or None for any other text."""
    slots = []
    for part in text.split():
        found = _SLOT.fullmatch(part)
        if found is None:
            return None
        gracenote = note_of_abc(found[1]) if found[1] else None
        slots.append(Slot(note_of_abc(found[2]), gracenote))
    return tuple(slots) or None


def keys_of(slots: tuple[Slot, ...]) -> list[int]:
    """Return the MIDI keys that a written note sounds one after the other, gracenotes included."""
    row = (note for slot in slots for note in (slot.gracenote, slot.note))
    return [note.midi for note in row if note is not None]
