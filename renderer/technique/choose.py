"""What can be played from where the finger is: a movement's name in, the slots to play out.

A gracenote is one quick lift of a finger, or one quick tap: it sounds above both the note before
it and the note it leads into, or below both. A high G gracenote coming from high G or high A is
therefore none. Where the movement named cannot be played, players make another one (the book says
which, under `instead`), or the note is played plain. Source: common practice.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from renderer.notation.pitch import Note
from renderer.notation.score import Slot
from renderer.technique.fragments import Fragment, silent_join
from renderer.technique.ornaments import Movement, OrnamentBook

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
    """

    slots: Fragment
    name: str | None
    remark: str | None


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
    ValueError
        If the book has no such movement; if neither it nor any movement that could stand for it
        goes to `note`; if it cannot be played and `impossible` is `error`.
    """
    movement = book.movement(movement_name)
    reason = _reason(movement, note, previous)
    if reason is None:
        return Choice(movement.slots(note, previous), movement.name, None)
    if impossible == "error":
        if note not in movement.fragments:
            movement.slots(note, previous)
        raise ValueError(
            f"{_titled(movement, note, previous)} cannot be played: {reason}; choose another "
            "movement, or write impossible = 'replace'"
        )
    standing = [book.movement(name) for name in movement.instead]
    for other in standing:
        if _reason(other, note, previous) is None:
            remark = (
                f"{_titled(movement, note, previous)} cannot be played ({reason}): "
                f"{other.name} instead."
            )
            return Choice(other.slots(note, previous), other.name, _sentence(remark))
    if not any(note in other.fragments for other in (movement, *standing)):
        movement.slots(note, previous)
    remark = (
        f"{_titled(movement, note, previous)} cannot be played ({reason}): plain {note} instead."
    )
    return Choice((Slot(note),), None, _sentence(remark))


def _reason(movement: Movement, note: Note, previous: Note | None) -> str | None:
    if note not in movement.fragments:
        return f"the book has none on {note}"
    return obstacle(movement.slots(note, previous), previous)


def _titled(movement: Movement, note: Note, previous: Note | None) -> str:
    coming = f" coming from {previous}" if previous is not None else ""
    return f"{movement.name} on {note}{coming}"


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:]
