"""Ornaments as fragments: text such as `{g}B {d}B` to slots and back, and what of them is heard.

A fragment is a short written melody whose last slot is the melody note itself. No durations here.
"""

from __future__ import annotations

import re

from renderer.errors import WrongValueError
from renderer.notation.pitch import Note, note_of_abc
from renderer.notation.score import Slot

Fragment = tuple[Slot, ...]

MOST_SLOTS = 16
"""The most slots that a fragment may have; the crunluath, the longest common one, has five."""

_SLOT = re.compile(r"\s*(?:\{\s*(?P<gracenote>[A-Za-z])\s*\})?\s*(?P<note>[A-Za-z])\s*")


def parse_fragment(text: str) -> Fragment:
    """Return the slots of a fragment such as `{g}B {d}B`.

    Parameters
    ----------
    text:
        Notes in ABC letters, `G A B c d e f g a` for low G to high A, each led by one gracenote
        in braces or by none. Spaces are free.

    Raises
    ------
    WrongValueError
        If the text is empty, too long, or holds anything else.
    """
    slots: list[Slot] = []
    end = 0
    while end < len(text):
        match = _SLOT.match(text, end)
        if match is None:
            raise WrongValueError(
                f"{text!r} cannot be read from {text[end:].strip()!r} on",
                "write notes as ABC letters, each led by at most one gracenote in braces, like "
                "'{g}B {d}B'",
            )
        gracenote = match["gracenote"]
        slots.append(
            Slot(note_of_abc(match["note"]), note_of_abc(gracenote) if gracenote else None)
        )
        end = match.end()
    if not slots:
        raise WrongValueError("the fragment is empty", "write at least one note, like '{g}B {d}B'")
    if len(slots) > MOST_SLOTS:
        raise WrongValueError(
            f"{text!r} has {len(slots)} slots", f"{MOST_SLOTS} are the most allowed"
        )
    return tuple(slots)


def fragment_abc(slots: Fragment) -> str:
    """Return slots as the text that `parse_fragment` reads."""
    return " ".join(slot.abc for slot in slots)


def unheard(gracenote: Note, note: Note, previous: Note | None) -> str | None:
    """Say why a gracenote on `note` cannot be heard as one, coming from `previous`.

    It must differ from both and lie above both or below both (common practice).

    Parameters
    ----------
    gracenote, note:
        The gracenote and the note that it leads into.
    previous:
        What sounds before it; None at the start of a line.

    Returns
    -------
    A clause such as `a D gracenote cannot be heard on D`, or None if it can be heard.
    """
    if gracenote is note:
        return f"{gracenote_words(gracenote)} cannot be heard on {note}"
    if gracenote is previous:
        return f"{gracenote_words(gracenote)} cannot be heard after {previous}"
    if previous is None or (gracenote > note) == (gracenote > previous):
        return None
    way = "down" if previous > note else "up"
    return f"coming {way} from {previous}, {gracenote} would only be passed through"


def silent_join(slots: Fragment, previous: Note | None = None) -> str | None:
    """Say where a note or a gracenote of an ornament would not be heard as one.

    Parameters
    ----------
    slots:
        An ornament with its melody note.
    previous:
        What sounds before it; None at the start of a line.

    Returns
    -------
    A sentence without its full stop, or None if every note and gracenote can be heard.
    """
    before = previous
    for slot in slots:
        if slot.gracenote is None:
            if slot.note is before:
                return f"{slot.note} follows {slot.note} with nothing to part them"
        elif (reason := unheard(slot.gracenote, slot.note, before)) is not None:
            return reason
        before = slot.note
    return None


def gracenote_words(note: Note) -> str:
    """Return a gracenote in words, with its article: `an E gracenote`."""
    article = "an" if note in (Note.E, Note.F) else "a"
    return f"{article} {note} gracenote"
