"""What can be written in a definition, for fields and for completion: keys, notes, movements."""

from __future__ import annotations

from functools import cache
from typing import Any, get_args

from renderer.notation.definition.lines import PLAIN, LineTable
from renderer.notation.definition.pattern import INTERVALS, Order
from renderer.notation.definition.reader import definition_keys
from renderer.notation.pitch import Note
from renderer.notation.score import Placement
from renderer.technique.fragments import fragment_abc
from renderer.technique.ornaments import load_book


@cache
def vocabulary() -> dict[str, Any]:
    """Return the words of a definition, as JSON holds them.

    Returns
    -------
    `keys`: by the table that they go into (empty for the top), the keys; `notes`: the nine names,
    from low G up; `movements`: of each its name, family and description, the notes that it is made
    `on` with their spelling in ABC letters, and of each a note `from` which players use it there;
    `choices`: by key, the words that its value may be.
    """
    return {
        "keys": definition_keys(),
        "notes": [note.label for note in Note],
        "movements": [
            {
                "name": movement.name,
                "family": movement.family,
                "description": movement.description,
                "on": {
                    note.label: fragment_abc(slots)
                    for note, slots in sorted(movement.fragments.items())
                },
                "from": {
                    note.label: before[0].label
                    for note in movement.notes
                    if (before := movement.used_from(note))
                },
            }
            for movement in load_book()
        ],
        "choices": {
            "placement": list(get_args(Placement)),
            "rhythm": list(get_args(LineTable.model_fields["rhythm"].annotation)),
            "span": list(INTERVALS),
            "direction": ["rising", "falling", "both", "turning"],
            "order": list(get_args(Order)),
            "on": ["every", "first", "last"],
            "inner": ["book", "even", "1/2 beat", "1/3 beat", "1/4 beat"],
            "beat": ["first", "last"],
            "ornament": [PLAIN],
        },
    }
