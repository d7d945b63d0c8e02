"""What can be played from where the finger is: a movement's name in, the slots to play out.

A gracenote is one quick lift of a finger, or one quick tap: it sounds above both the note before
it and the note it leads into, or below both. A high G gracenote coming from high G or high A is
therefore none. Where the movement named cannot be played, players make another one (the book says
which, under `instead`), or the note is played plain. Source: common practice. From where players do
not use a movement it may be written as another that they use there; then it is that one.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

from renderer.errors import WrongValueError
from renderer.notation.pitch import Note
from renderer.notation.playing import USUAL_PLAYING, Playing
from renderer.notation.score import Slot
from renderer.technique.fragments import Fragment, silent_join
from renderer.technique.movement import Movement
from renderer.technique.ornaments import OrnamentBook
from renderer.technique.recognise import flat_group, recognise

Impossible = Literal["replace", "error"]


@dataclass(frozen=True, slots=True)
class Choice:
    """What is played where a movement was named.

    Parameters
    ----------
    slots:
        The slots, the melody note last.
    name:
        The movement that is played, as the book names it; None for a plain note.
    remark:
        A sentence that says what was replaced by what and why; None where the movement is played
        as named.
    playing:
        How the movement that is played lies in time.
    """

    slots: Fragment
    name: str | None
    remark: str | None
    playing: Playing = USUAL_PLAYING


def obstacle(slots: Fragment, previous: Note | None) -> str | None:
    """Say why slots cannot be played coming from `previous`.

    Parameters
    ----------
    slots:
        A movement with its melody note.
    previous:
        The note that sounds before it; None at the start of a line, where everything is possible.

    Returns
    -------
    A clause such as `a high G gracenote needs a lower note before it than high A`, or None.
    """
    return None if previous is None else silent_join(slots, previous)


def lead_into(
    book: OrnamentBook,
    movement_name: str,
    note: Note,
    previous: Note | None = None,
    impossible: Impossible = "replace",
) -> Choice:
    """Return the movement as it is played on `note` coming from `previous`.

    Parameters
    ----------
    book:
        Where the movement is looked up.
    movement_name:
        Its name or another spelling of it.
    note:
        The melody note that it leads into.
    previous:
        The note that sounds before it; None at the start of a line.
    impossible:
        `replace`: play what players play instead and say so; `error`: refuse.

    Raises
    ------
    WrongValueError
        If the book has no such movement; if neither it nor any movement that could stand for it
        goes to `note`; if it cannot be played and `impossible` is `error`.
    """
    movement = book.movement(movement_name)
    reason = _reason(movement, note, previous)
    if reason is None:
        alike = _alike(book, movement, note, previous)
        if alike is None:
            return Choice(movement.slots(note, previous), movement.name, None, movement.playing)
        reason = f"{_titled(movement, note, previous)} is written as the {alike.name} is"
        if impossible == "error":
            raise WrongValueError(reason, "name that, or write impossible = 'replace'")
        return replace(alike, remark=_sentence(f"{reason}: {alike.name} instead."))
    if impossible == "error":
        if note not in movement.fragments:
            movement.slots(note, previous)
        raise WrongValueError(
            f"{_titled(movement, note, previous)} cannot be played: {reason}",
            "choose another movement, or write impossible = 'replace'",
        )
    standing = [book.movement(name) for name in movement.instead]
    for other in standing:
        if _reason(other, note, previous) is None and _alike(book, other, note, previous) is None:
            remark = (
                f"{_titled(movement, note, previous)} cannot be played ({reason}): "
                f"{other.name} instead."
            )
            slots = other.slots(note, previous)
            return Choice(slots, other.name, _sentence(remark), other.playing)
    if not any(note in other.fragments for other in (movement, *standing)):
        movement.slots(note, previous)
    remark = (
        f"{_titled(movement, note, previous)} cannot be played ({reason}): plain {note} instead."
    )
    return Choice((Slot(note),), None, _sentence(remark))


def _alike(
    book: OrnamentBook, movement: Movement, note: Note, previous: Note | None
) -> Choice | None:
    """What a movement would be read as, from where players do not use it, if not as itself."""
    if _is_used(movement, note, previous):
        return None
    slots, name = recognise(note, flat_group(movement.slots(note, previous)), previous, book)
    return None if name in (movement.name, None) else Choice(slots, name, None, book.playing(name))


def _is_used(movement: Movement, note: Note, previous: Note | None) -> bool:
    """Whether players use a movement from there; at the start of a line, whether from anywhere."""
    if previous is None:
        return note not in movement.used
    return movement.is_used_from(note, previous)


def _reason(movement: Movement, note: Note, previous: Note | None) -> str | None:
    if note not in movement.fragments:
        return f"the book has none on {note}"
    return obstacle(movement.slots(note, previous), previous)


def _titled(movement: Movement, note: Note, previous: Note | None) -> str:
    coming = f" coming from {previous}" if previous is not None else ""
    return f"{movement.name} on {note}{coming}"


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:]
