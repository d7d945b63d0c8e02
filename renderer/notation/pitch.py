"""The nine notes of the Highland pipe chanter as they are named and written.

`Note` orders them by pitch, so `Note.LOW_G < Note.HIGH_A`. They are written on the treble staff
without a key signature; C and F sound sharp. The MIDI numbers are those of concert A (the pipe
chanter at A = 440 Hz). ABC letters are those of ABC 2.1 with unit octave C to B. Source: common
practice.
"""

from __future__ import annotations

import enum
import re

from renderer.errors import WrongValueError, shortened


class Note(enum.IntEnum):
    """One of the nine notes of the chanter, ordered from low G (0) to high A (8)."""

    LOW_G = 0
    LOW_A = 1
    B = 2
    C = 3
    D = 4
    E = 5
    F = 6
    HIGH_G = 7
    HIGH_A = 8

    @property
    def label(self) -> str:
        """The note's name as players say it: `low G`, `B`, `high A`."""
        return _LABELS[self]

    @property
    def abc(self) -> str:
        """The note's ABC letter: `G A B c d e f g a`."""
        return "GABcdefga"[self]

    @property
    def step(self) -> str:
        """The letter of the written pitch, `A` to `G`, as MusicXML's `<step>`."""
        return "GABCDEFGA"[self]

    @property
    def octave(self) -> int:
        """The octave of the written pitch as MusicXML counts it: middle C begins octave 4."""
        return 4 if self <= Note.B else 5

    @property
    def midi(self) -> int:
        """The MIDI key number that the pipe chanter sounds at concert A."""
        return _MIDI[self]

    def __str__(self) -> str:
        return self.label


_LABELS = ("low G", "low A", "B", "C", "D", "E", "F", "high G", "high A")
_MIDI = (67, 69, 71, 73, 74, 76, 78, 79, 81)
_BY_NAME = {
    label.replace(" ", "").casefold(): note for note, label in zip(Note, _LABELS, strict=True)
}

NINE_NOTES = ", ".join(_LABELS)
"""The nine names in order, for messages."""

_ABC_LETTERS = {note.abc: note for note in Note}


NOTES_REMEDY = f"its nine are {NINE_NOTES}"
"""What is said to a name that is none, and near to none."""

_SLIPS = (
    (re.compile(r"h(?:i|gh)?(?P<letter>[ga])"), "high {}"),
    (re.compile(r"l(?:o|w)?(?P<letter>[ga])"), "low {}"),
    # What a chanter has once needs no word to tell it from another.
    (re.compile(r"(?:low|high)(?P<letter>[b-f])"), "{}"),
    # C and F are called by their letters, though they sound sharp.
    (re.compile(r"(?:low|high)?(?P<letter>[cf])(?:#|\N{MUSIC SHARP SIGN}|sharp)"), "{}"),
)
"""What people write for a note, and what it is called."""


def _key(name: str) -> str:
    return re.sub(r"[\s\-_]+", "", name).casefold()


def note_named(name: str) -> Note:
    """Return the note that a player's name for it means; case, spaces and hyphens are free.

    Raises `WrongValueError` for any other name: with the right one where it is clear what was
    meant, else with `NOTES_REMEDY`, which lists the nine. A bare `A` or `G` is refused, since the
    chanter has two of each.
    """
    key = _key(name)
    if key in _BY_NAME:
        return _BY_NAME[key]
    written = shortened(name.strip())
    if key in ("a", "g"):
        letter = key.upper()
        raise WrongValueError(
            f"{written!r} could be either of two notes", f"write low {letter} or high {letter}"
        )
    for slip, called in _SLIPS:
        if match := slip.fullmatch(key):
            right = called.format(match["letter"].upper())
            raise WrongValueError(f"no note is called {written!r} here", f"write {right}")
    raise WrongValueError(f"a chanter has no note {written!r}", NOTES_REMEDY)


_NAME = re.compile(
    rf"(?:{'|'.join(label.replace(' ', '[-_ ]?') for label in _LABELS)})(?![\w#])", re.IGNORECASE
)


def notes_in(text: str) -> tuple[Note, ...]:
    """Return the notes that a text names with blanks or dashes between; empty if it has others."""
    if re.sub(r"[\s\-_]+", "", _NAME.sub("", text)):
        return ()
    return tuple(_BY_NAME[_key(name)] for name in _NAME.findall(text))


def note_of_abc(letter: str) -> Note:
    """Return the note of an ABC letter (`G A B c d e f g a`), or raise `WrongValueError`."""
    try:
        return _ABC_LETTERS[letter]
    except KeyError:
        raise WrongValueError(
            f"a chanter has no note {letter!r}", "in ABC its nine are G A B c d e f g a"
        ) from None
