"""A movement of the ornament book: a named way of leading into a melody note, as a value.

No file is read here; `renderer.technique.ornaments` reads the book, `beginnings` adds the other
ways in which a movement begins.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from renderer.errors import WrongValueError
from renderer.notation.pitch import Note
from renderer.notation.playing import USUAL_PLAYING, Playing
from renderer.technique.fragments import Fragment, silent_join

Way = Literal["G gracenote", "thumb", "half"]
"""How a movement begins: with a high G gracenote on its note, with a high A gracenote there, or
with the note itself."""


@dataclass(frozen=True, slots=True)
class Beginning:
    """Another way in which a movement begins.

    Parameters
    ----------
    notes:
        The melody notes on which players begin it so.
    called:
        What players call the movement begun so, the usual name first; empty where its name says
        it, as `thumb doubling`.
    used_from:
        The notes before it; None for the usual ones of that way.
    """

    notes: tuple[Note, ...]
    called: tuple[str, ...] = ()
    used_from: tuple[Note, ...] | None = None


@dataclass(frozen=True, slots=True)
class Movement:
    """A movement of the ornament book.

    Parameters
    ----------
    name:
        As players say it.
    family:
        The kind of movement: `doubling`, `grip`, ...
    description, source:
        One line each.
    fragments:
        Melody note to slots; the notes that take the movement.
    approaches:
        Note before, then melody note, to the slots that hold for that approach.
    spellings:
        Other ways of writing the name.
    instead:
        Names of the movements that players make where this one cannot be played, first choice
        first.
    playing:
        Which slot falls on the beat, and how long its inner notes last.
    timing_source:
        Where `playing` is taken from, one line.
    used:
        Melody note to the notes before it that players use the movement from, where these are not
        all from which it can be heard.
    begins:
        Other ways of beginning that it has; each becomes a movement of its own in the book.
    way, way_of:
        Of such a movement: how it begins, and the name of the one that it is a way of.
    named_instead:
        What the book itself names under `instead`; `instead` adds the movement's other ways.
    """

    name: str
    family: str
    description: str
    source: str
    fragments: Mapping[Note, Fragment] = field(hash=False)
    approaches: Mapping[Note, Mapping[Note, Fragment]] = field(hash=False)
    spellings: tuple[str, ...] = ()
    instead: tuple[str, ...] = ()
    playing: Playing = USUAL_PLAYING
    timing_source: str = ""
    used: Mapping[Note, tuple[Note, ...]] = field(default_factory=dict, hash=False)
    begins: Mapping[Way, Beginning] = field(default_factory=dict, hash=False)
    way: Way | None = None
    way_of: str = ""
    named_instead: tuple[str, ...] = ()

    @property
    def notes(self) -> tuple[Note, ...]:
        """The melody notes that take the movement, from the lowest."""
        return tuple(sorted(self.fragments))

    def slots(self, note: Note, previous: Note | None = None) -> Fragment:
        """Return the movement on `note` coming from `previous`, exactly as the book has it.

        Raises `WrongValueError`, saying which notes have the movement, where `note` has not.
        """
        if note not in self.fragments:
            raise WrongValueError(f"there is no {self.name} on {note}", _listed(self.notes))
        if previous is not None:
            variant = self.approaches.get(previous, {}).get(note)
            if variant is not None:
                return variant
        return self.fragments[note]

    def used_from(self, note: Note) -> tuple[Note, ...]:
        """Return the notes before `note` that players use the movement from, from the lowest.

        From each of them all of it is heard. A note itself is among them where the movement parts
        it from its repetition.
        """
        return tuple(previous for previous in Note if self.is_used_from(note, previous))

    def is_used_from(self, note: Note, previous: Note) -> bool:
        """Whether players use the movement on `note` coming from `previous`."""
        wanted = self.used.get(note)
        return (wanted is None or previous in wanted) and (
            silent_join(self.slots(note, previous), previous) is None
        )


def _listed(notes: tuple[Note, ...]) -> str:
    *rest, last = [note.label for note in notes]
    if not rest:
        return f"only {last} has one"
    return f"the notes that have one are {', '.join(rest)} and {last}"
