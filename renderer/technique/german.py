"""The words of cautions and advice in German, for practice pages in that language.

Notes, gracenotes and movements keep the names that German pipers use, which are the English ones
(common practice, from memory). Fingers decline: `der rechte Ringfinger`, `den rechten Ringfinger`.
"""

from __future__ import annotations

from collections.abc import Sequence

from renderer.notation.pitch import Note
from renderer.technique.fingering import Finger, Hand

HANDS = {Hand.LEFT: "linke", Hand.RIGHT: "rechte"}
_STEMS = {"index": "Zeige", "middle": "Mittel", "ring": "Ring"}


def note_word(note: Note) -> str:
    """Return a note's name as in a sentence: `Low A`."""
    return note.label[:1].upper() + note.label[1:]


def gracenote_word(gracenote: Note) -> str:
    """Return a gracenote's name: `G-Gracenote` for a high G one, `Low-G-Gracenote`."""
    name = "G" if gracenote is Note.HIGH_G else note_word(gracenote).replace(" ", "-")
    return f"{name}-Gracenote"


def listed(words: Sequence[str], last_joined_by: str = "und") -> str:
    """Return words as a list in a sentence: `C`, `C und D`, `C, D und E`."""
    *rest, last = words
    return f"{', '.join(rest)} {last_joined_by} {last}" if rest else last


def fingers_named(fingers: Sequence[Finger], *, moved: bool) -> str:
    """Return fingers, from the top, as a sentence has them.

    Parameters
    ----------
    fingers:
        At least one.
    moved:
        Whether somebody moves them (`den rechten Ringfinger`); else they do something themselves
        (`der rechte Ringfinger`).
    """
    article, ending = ("den", "en") if moved else ("der", "e")
    groups: list[str] = []
    if Finger.LEFT_THUMB in fingers:
        groups.append(f"{article} Daumen")
    for hand, word in HANDS.items():
        own = [one for one in fingers if one.hand is hand and one is not Finger.LEFT_THUMB]
        stems = [_STEMS[stem] for one in own if (stem := one.label.split()[1]) in _STEMS]
        names = [f"{stem}-" for stem in stems[:-1]] + [f"{stem}finger" for stem in stems[-1:]]
        if Finger.RIGHT_LITTLE in own:
            names.append(f"klein{ending} Finger")
        if names:
            groups.append(f"{article} {word[:-1]}{ending} {listed(names)}")
    return listed(groups)


def is_several(fingers: Sequence[Finger]) -> bool:
    """Whether a sentence about fingers has its verb in the plural."""
    return len(fingers) > 1


def capital(text: str) -> str:
    """Return a sentence with a large first letter."""
    return text[:1].upper() + text[1:]
