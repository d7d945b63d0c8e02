"""How a movement can begin: the movement as written in, its other ways of beginning out.

Many movements begin in several ways, by where the finger comes from (common practice): with a high
G gracenote on the melody note, with the thumb instead (a high A gracenote, coming from high G), or
at once with the note itself (the *half* form, coming from high A). The ornament book writes each
movement once and says under `begins` which other ways it has; their slots follow by rule.

A movement whose first slot has a high G gracenote gets high A in its place, or none. Any other gets
its melody note put before it, led by a gracenote or by none; what follows is then the movement as
it is played coming from its own melody note.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from types import MappingProxyType

from renderer.notation.pitch import Note
from renderer.notation.score import Slot
from renderer.technique.fragments import Fragment, silent_join
from renderer.technique.movement import Movement, Way

_LEADS: Mapping[Way, Note | None] = {
    "G gracenote": Note.HIGH_G,
    "thumb": Note.HIGH_A,
    "half": None,
}

_USED_FROM: Mapping[Way, tuple[Note, ...]] = {
    "G gracenote": tuple(Note),
    "thumb": (Note.HIGH_G,),
    "half": (Note.HIGH_A,),
}
"""Where nothing else is said: a high G gracenote wherever it is heard, the thumb where it is not,
and neither where even the thumb is not (common practice)."""

_CHAINS: Mapping[Way | None, tuple[Way, ...]] = {
    None: (),
    "G gracenote": ("thumb", "half"),
    "thumb": ("half", "G gracenote"),
    "half": ("G gracenote", "thumb"),
}
"""What stands in for a way that cannot be played, first choice first."""


def own_way(movement: Movement) -> Way | None:
    """Return the way in which a movement begins as the book writes it, if it is one of them."""
    if movement.way is not None:
        return movement.way
    rows = movement.fragments.values()
    led = any(slots[0].gracenote is Note.HIGH_G > slots[0].note for slots in rows)
    return "G gracenote" if led and any(len(slots) > 1 for slots in rows) else None


def names_begun(movement: Movement, way: Way) -> tuple[str, ...]:
    """Return what a movement begun in that way is called, the usual name first.

    What players have a name for (a thumb doubling) says the book; all others are the movement and
    how it begins. Short forms are understood.
    """
    called = movement.begins[way].called if way in movement.begins else ()
    named: list[str] = []
    for name in (movement.name, *movement.spellings):
        match way:
            case "G gracenote":
                named += [f"{name} with a G gracenote", f"{name} with G gracenote"]
                named += [f"G gracenote {name}", f"high G gracenote {name}", f"G {name}"]
            case "thumb":
                named += [f"{name} with a high A gracenote", f"high A gracenote {name}"]
                named += [f"thumb {name}", f"thumb gracenote {name}"]
            case "half":
                named += [f"{name} without a gracenote", f"half {name}"]
    return tuple(dict.fromkeys([*called, *named]))


def begun(movement: Movement) -> Iterator[Movement]:
    """Yield a movement's other ways of beginning as movements of their own, without `instead`."""
    for way, beginning in movement.begins.items():
        fragments = {
            note: slots
            for note in beginning.notes
            if note in movement.fragments
            and silent_join(slots := _begun_on(movement, note, way)) is None
        }
        if not fragments:
            continue
        name, *spellings = names_begun(movement, way)
        used = _USED_FROM[way] if beginning.used_from is None else beginning.used_from
        same = way == "G gracenote" and beginning.used_from is None
        playing = movement.playing
        if own_way(movement) is None:
            # The note itself sounds first, and it is the note that players put on the beat.
            playing = replace(playing, beat="first")
        yield Movement(
            name=name,
            family=movement.family,
            description=_description(movement, way, used),
            source=movement.source,
            fragments=MappingProxyType(fragments),
            approaches=MappingProxyType({}),
            spellings=tuple(spellings),
            playing=playing,
            timing_source=movement.timing_source,
            used=movement.used if same else MappingProxyType(dict.fromkeys(fragments, used)),
            way=way,
            way_of=movement.name,
        )


def _begun_on(movement: Movement, note: Note, way: Way) -> Fragment:
    lead = _LEADS[way]
    if own_way(movement) is not None:
        first, *rest = movement.fragments[note]
        return (Slot(first.note, lead), *rest)
    return (Slot(note, lead), *movement.slots(note, note))


def _description(movement: Movement, way: Way, used: tuple[Note, ...]) -> str:
    match way:
        case "G gracenote":
            return f"The {movement.name} begun with a G gracenote on its note."
        case "thumb":
            return f"The {movement.name} begun with a high A gracenote; used coming from high G."
        case "half":
            whence = "high A" if used == _USED_FROM["half"] else "any other note"
            return f"The {movement.name} begun without a gracenote; used coming from {whence}."


def with_replacements(movements: Mapping[str, Movement]) -> dict[str, Movement]:
    """Return the movements with what stands in for each.

    First come its own other ways, then what the book names under `instead`, begun in the same way
    where it can be, so that no first gracenote is given up that another movement keeps.

    Parameters
    ----------
    movements:
        By name; what is written under `instead` holds for all ways of a movement.
    """
    ways = {(one.way_of, one.way): name for name, one in movements.items() if one.way is not None}

    def forms(name: str, way: Way | None) -> Iterator[str]:
        """Every form of a movement that may stand in for one begun in `way`, nearest first."""
        movement = movements.get(name)
        if movement is None:
            return
        own = own_way(movement)
        for other in (way, *_CHAINS[way]) if way else (own,):
            if other is not None and other == own:
                yield name
            elif other is not None and (name, other) in ways:
                yield ways[name, other]
        yield name

    def keeps_lead(name: str, way: Way | None) -> bool:
        """Whether a single gracenote is the one that the way begins with."""
        movement = movements.get(name)
        rows = movement.fragments.values() if movement is not None and way is not None else ()
        return any(row == (Slot(row[-1].note, _LEADS[way]),) for row in rows if way is not None)

    result: dict[str, Movement] = {}
    for name, movement in movements.items():
        root = movements.get(movement.way_of, movement)
        way = own_way(movement)
        names = [] if way is None else list(forms(root.name, way))
        named = movement.named_instead or root.named_instead
        for other in sorted(named, key=lambda other: not keeps_lead(other, way)):
            found = movements.get(other)
            if found is None or found.way is not None:
                names.append(other)
            else:
                names += forms(other, way)
        instead = tuple(one for one in dict.fromkeys(names) if one != name)
        same = movement.instead == instead
        result[name] = movement if same else replace(movement, instead=instead)
    return result
