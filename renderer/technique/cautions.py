"""What a teacher would warn about in a finger change, in a teacher's words.

Turns a `Change` into `Caution`s: which kind, the fingers concerned, the note heard, and one short
sentence. All of it is computed from the change; the sentences name its notes and fingers.
"""

from __future__ import annotations

import enum
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

from renderer.notation.pitch import Note
from renderer.technique.fingering import Change, Crossing, Finger, fingering
from renderer.technique.fragments import unheard


class CautionKind(enum.StrEnum):
    """The kinds, the gravest first."""

    UNHEARD_GRACENOTE = "unheard gracenote"
    CROSSING_NOISE = "crossing noise"
    LOOSE_HOLD = "loose hold"
    CHOKE = "chanter choke"
    SILENT_FINGER = "silent finger"
    BIG_CHANGE = "big change"


@dataclass(frozen=True, slots=True)
class Caution:
    """One thing to watch in a finger change.

    Parameters
    ----------
    kind:
        What it is.
    text:
        A short sentence that a teacher might say.
    fingers:
        The fingers concerned: those that must go first or last, that steady the chanter, that are
        forgotten, or that move at once.
    heard:
        The note that sounds if it goes wrong; None where none does.
    """

    kind: CautionKind
    text: str
    fingers: tuple[Finger, ...]
    heard: Note | None = None


_NUMBERS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight")


def listed(words: Sequence[str]) -> str:
    """Return words as a list in a sentence: `C`, `C and D`, `C, D and E`."""
    *rest, last = words
    return f"{', '.join(rest)} and {last}" if rest else last


def fingers_named(fingers: Sequence[Finger]) -> str:
    """Return fingers, from the top, as a sentence has them: `the right middle and ring fingers`."""
    names: list[str] = []
    hand = None
    for finger in fingers:
        if finger is Finger.LEFT_THUMB:
            names.append("thumb")
            continue
        names.append(finger.label.removeprefix(f"{hand} "))
        hand = finger.hand
    if names[-1] == "thumb":
        return "the thumb"
    plural = len(names) - (names[0] == "thumb") > 1
    return f"the {listed(names)} finger{'s' if plural else ''}"


@cache
def cautions_of(change: Change) -> tuple[Caution, ...]:
    """Return what to watch in a change, the gravest first."""
    found: list[Caution] = []
    way = _capital(f"{change.previous} to {change.note}")
    if change.gracenote is not None:
        # At the start of a line the change begins on its own note.
        reason = unheard(change.gracenote, change.note, change.previous)
        if reason is not None:
            found.append(_unheard(change, reason))
    if change.crossing is not None:
        found.append(_crossing(change.crossing))
    if change.is_loose:
        found.append(_loose(change, way))
    if change.chokes:
        text = "G gracenote on low G: keep the blowing steady, or the chanter shuts down."
        found.append(Caution(CautionKind.CHOKE, text, (Finger.LEFT_INDEX,)))
    if change.easily_forgotten:
        found.append(_silent(change, way))
    if change.is_big:
        fingers = change.travelling
        hands = (
            "both hands" if len({f.hand for f in fingers}) == 2 else f"the {fingers[0].hand} hand"
        )
        text = f"{way}: a big change, {_NUMBERS[len(fingers)]} fingers of {hands}."
        found.append(Caution(CautionKind.BIG_CHANGE, text, fingers))
    return tuple(found)


def _unheard(change: Change, reason: str) -> Caution:
    if change.previous is change.note:
        text = f"{change.note}: {reason}; choose a higher or a lower one."
    else:
        text = f"{change.previous} to {change.note}: {reason}; choose one above both or below both."
    return Caution(CautionKind.UNHEARD_GRACENOTE, _capital(text), ())


def _crossing(crossing: Crossing) -> Caution:
    first, second = crossing.between
    fingers, hand = crossing.fingers, crossing.hand_first
    if crossing.close_last:
        what = f"{fingers_named(fingers)} comes down last"
    elif crossing.within_hand:
        what = f"lift {fingers_named(fingers)} first"
    elif len(fingers) == 1:
        what = f"lift {fingers_named(fingers)} before the {hand.other} hand closes"
    else:
        what = f"{hand} hand away before the {hand.other} closes"
    text = f"{_capital(f'{first} to {second}')}: {what}, or {crossing.heard} sounds between."
    return Caution(CautionKind.CROSSING_NOISE, text, fingers, crossing.heard)


def _loose(change: Change, way: str) -> Caution:
    holding = change.holding
    if holding:
        verb = "holds" if len(holding) == 1 else "hold"
        text = f"{way}: only {fingers_named(holding)} {verb} the chanter"
    else:
        text = f"{way}: no finger holds the chanter"
    if change.steady is not None:
        text += f"; lower {fingers_named([change.steady])} first"
    fingers = (change.steady,) if change.steady is not None else ()
    return Caution(CautionKind.LOOSE_HOLD, f"{text}.", fingers)


def _silent(change: Change, way: str) -> Caution:
    fingers = change.easily_forgotten
    begin = fingering(change.previous)
    lifts = {finger in begin for finger in fingers}
    if len(lifts) == 1:
        verb = "lift" if lifts.pop() else "come down"
        what = f"{fingers_named(fingers)} must {verb} too"
    else:
        hands = dict.fromkeys(finger.hand for finger in fingers)
        what = f"the {listed(list(hands))} hand must take its new place too"
    return Caution(CautionKind.SILENT_FINGER, f"{way}: {what}, though unheard.", fingers)


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
