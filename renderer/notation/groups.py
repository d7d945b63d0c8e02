"""From a flat gracenote group to the slots of an ornament, by the shape of the melody alone.

Scores write an ornament as a row of gracenotes before a melody note. This rule says which of them
are cuts (gracenotes in the strict sense, gone at once) and which are inner notes, without knowing
any movement by name; `renderer.technique` knows the movements and corrects it where they differ.
"""

from __future__ import annotations

from collections.abc import Sequence

from renderer.notation.pitch import Note
from renderer.notation.score import Slot


def slots_of_group(note: Note, group: Sequence[Note]) -> tuple[Slot, ...]:
    """Return the slots of a melody note that a flat gracenote group leads into.

    An ornament note that is higher than the one after it, and is not itself led by a gracenote, is
    that one's gracenote; every other ornament note is a slot of its own. A group of one is always a
    gracenote, so that a strike stays a strike. (The rule is a judgement; it reads doublings,
    throws, grips and taorluaths as players name their parts.)

    Parameters
    ----------
    note:
        The melody note.
    group:
        The gracenotes before it in order; may be empty.

    Returns
    -------
    The slots in order; the last is the melody note itself.
    """
    if len(group) == 1:
        return (Slot(note, group[0]),)
    row = (*group, note)
    slots: list[Slot] = []
    gracenote: Note | None = None
    for here, after in zip(row, (*row[1:], None), strict=True):
        if gracenote is None and after is not None and here > after:
            gracenote = here
        else:
            slots.append(Slot(here, gracenote))
            gracenote = None
    return tuple(slots)
