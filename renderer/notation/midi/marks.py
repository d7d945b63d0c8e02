"""Marks in MIDI files of our own: which of the sounding notes are one written note, and the bars.

MIDI has neither gracenotes nor ornaments, and how long a note is does not always tell: opened out,
a birl is four equal notes. So where a written note with an ornament begins, a text event spells it
in ABC letters, such as `Rungwise: note = {g}B {d}B`. A reader believes a mark only while the notes
after it still say the same, so that a file may be edited in a sequencer. Where a movement does not
begin on the beat, a `|` stands before the slot that does: `Rungwise: note = G {d}G | {e}A`.

Neither does a time signature tell a pickup from a whole bar of a shorter meter, nor hold a bar of a
third of a beat. Where a bar has another meter than the one before, or follows on a short one,
another text event gives its meter as written, such as `Rungwise: bar = 3/4`.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from renderer.notation.pitch import note_of_abc
from renderer.notation.score import Slot

NOTE_MARK, BAR_MARK = "note", "bar"
"""The names that marks have among the settings of a file."""

PLAIN_UNDER_MS = 100
"""A shorter note is marked even if it is plain: it might be taken for a gracenote (judgement)."""

_SLOT = re.compile(r"(?:\{([GABcdefga])\})?([GABcdefga])")


@dataclass(frozen=True, slots=True)
class NoteMark:
    """A written note as a mark spells it: its slots, and which of them is on the beat, from 0."""

    slots: tuple[Slot, ...]
    anchor: int = 0

    def __str__(self) -> str:
        words = [slot.abc for slot in self.slots]
        if self.anchor:
            words.insert(self.anchor, "|")
        return " ".join(words)


def note_mark(text: str) -> NoteMark | None:
    """Return what a mark spells, or None for any other text."""
    before, sign, after = text.partition("|")
    slots = []
    for part in f"{before} {after}".split():
        found = _SLOT.fullmatch(part)
        if found is None:
            return None
        gracenote = note_of_abc(found[1]) if found[1] else None
        slots.append(Slot(note_of_abc(found[2]), gracenote))
    anchor = len(before.split()) if sign else 0
    return NoteMark(tuple(slots), anchor) if anchor < len(slots) else None


def keys_of(slots: tuple[Slot, ...]) -> list[int]:
    """Return the MIDI keys that a written note sounds one after the other, gracenotes included."""
    row = (note for slot in slots for note in (slot.gracenote, slot.note))
    return [note.midi for note in row if note is not None]
