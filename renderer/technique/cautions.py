"""What a teacher would warn about in a finger change, in a teacher's words.

Turns a `Change` into `Caution`s: which kind, the fingers concerned, the notes heard, and one short
sentence. All of it is computed from the change; the sentences name its notes and fingers.
"""

from __future__ import annotations

import enum
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

from renderer.notation.pitch import Note
from renderer.technique.finger_changes import Change, Crossing, Rolling
from renderer.technique.fingering import Finger, false_notes, finger_of, fingering
from renderer.technique.fragments import unheard


class CautionKind(enum.StrEnum):
    """The kinds, the gravest first."""

    UNHEARD_GRACENOTE = "unheard gracenote"
    CROSSING_NOISE = "crossing noise"
    EARLY_NOTE = "early note"
    ROLLING_NOISE = "rolling noise"
    CHOKE = "chanter choke"
    FALSE_FINGERING = "false fingering"
    UNSTEADY = "unsteady chanter"


@dataclass(frozen=True, slots=True)
class Caution:
    """One thing to watch in a finger change.

    Parameters
    ----------
    kind:
        What it is.
    rule:
        What to do about it in a few words, without the notes: cautions of one kind and one rule
        need be said only once.
    text:
        A short sentence that a teacher might say.
    fingers:
        The fingers concerned: those that must go first, last or together, that steady the chanter,
        or that are forgotten.
    heard:
        The notes of which one or more sound if it goes wrong; empty where none does.
    """

    kind: CautionKind
    rule: str
    text: str
    fingers: tuple[Finger, ...]
    heard: tuple[Note, ...] = ()


def listed(words: Sequence[str]) -> str:
    """Return words as a list in a sentence: `C`, `C and D`, `C, D and E`."""
    *rest, last = words
    return f"{', '.join(rest)} and {last}" if rest else last


def _either(notes: Sequence[Note]) -> str:
    """Return notes as a choice: `low A`, `low A or low G`."""
    *rest, last = (note.label for note in notes)
    return f"{', '.join(rest)} or {last}" if rest else last


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
    if change.sounds_early:
        found.append(_early(change, way))
    found += [_rolling(change, rolling, way) for rolling in change.rolling]
    if change.chokes:
        text = "G gracenote on low G: keep the blowing steady, or the chanter shuts down."
        found.append(Caution(CautionKind.CHOKE, "blow steadily", text, (Finger.LEFT_INDEX,)))
    if change.easily_forgotten:
        found.append(_false(change, way))
    if change.steady is not None:
        finger = fingers_named([change.steady])
        text = f"{way}: put {finger} down first; it steadies the chanter."
        found.append(Caution(CautionKind.UNSTEADY, f"{finger} first", text, (change.steady,)))
    return tuple(found)


def _unheard(change: Change, reason: str) -> Caution:
    if change.previous is change.note:
        text = f"{change.note}: {reason}; choose a higher or a lower one."
    else:
        text = f"{change.previous} to {change.note}: {reason}; choose one above both or below both."
    return Caution(CautionKind.UNHEARD_GRACENOTE, reason, _capital(text), ())


def _crossing(crossing: Crossing) -> Caution:
    first, second = crossing.between
    fingers, hand = crossing.fingers, crossing.hand_first
    rule = f"{hand} hand first"
    if crossing.close_last:
        what = f"{fingers_named(fingers)} comes down last"
        rule = what
    elif crossing.within_hand:
        what = f"lift {fingers_named(fingers)} first"
        rule = what
    elif len(fingers) == 1:
        what = f"lift {fingers_named(fingers)} before the {hand.other} hand closes"
    else:
        what = f"{hand} hand away before the {hand.other} closes"
    heard = tuple(dict.fromkeys((crossing.heard, crossing.lowest)))
    text = f"{_capital(f'{first} to {second}')}: {what}, or {_either(heard)} sounds between."
    return Caution(CautionKind.CROSSING_NOISE, rule, text, fingers, heard)


def _early(change: Change, way: str) -> Caution:
    gracenote = change.gracenote
    assert gracenote is not None
    finger = finger_of(gracenote)
    assert finger is not None
    hand = fingers_named([finger])
    text = f"{way}: lift {hand} for the gracenote first, or {change.note} sounds before it."
    fingers = (finger,)
    return Caution(CautionKind.EARLY_NOTE, "gracenote first", text, fingers, (change.note,))


def _rolling(change: Change, rolling: Rolling, way: str) -> Caution:
    verb = {True: "lift", False: "close", None: "move"}[rolling.lifts]
    if rolling.hand is None:
        what, rule = "both hands together", "both hands together"
    else:
        what = f"{verb} {fingers_named(rolling.fingers)} together"
        rule = f"{rolling.hand} hand together"
    text = f"{way}: {what}, or {_either(rolling.heard)} sounds between."
    return Caution(CautionKind.ROLLING_NOISE, rule, text, rolling.fingers, rolling.heard)


def _false(change: Change, way: str) -> Caution:
    fingers = change.easily_forgotten
    begin = fingering(change.previous)
    lifts = {finger in begin for finger in fingers}
    if len(lifts) == 1:
        verb = "lift" if lifts.pop() else "come down"
        rule = f"{fingers_named(fingers)} must {verb} too"
    else:
        hands = dict.fromkeys(finger.hand for finger in fingers)
        rule = f"the {listed(list(hands))} hand must take its new place too"
    note = change.note
    if note in false_notes():
        why = f"or {note} is false in pitch or tone"
    else:
        why = f"or the fingering of {note} is false"
    return Caution(CautionKind.FALSE_FINGERING, rule, f"{way}: {rule}, {why}.", fingers)


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
