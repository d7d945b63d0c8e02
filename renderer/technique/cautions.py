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
from renderer.technique import german
from renderer.technique.finger_changes import Change, Crossing, Rolling
from renderer.technique.fingering import Finger, Hand, false_notes, finger_of, fingering
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
    german:
        The same in German.
    fingers:
        The fingers concerned: those that must go first, last or together, that steady the chanter,
        or that are forgotten.
    heard:
        The notes of which one or more sound if it goes wrong; empty where none does.
    """

    kind: CautionKind
    rule: str
    text: str
    german: str
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
    weg = _way_in_german(change.previous, change.note)
    if change.gracenote is not None:
        # At the start of a line the change begins on its own note.
        reason = unheard(change.gracenote, change.note, change.previous)
        if reason is not None:
            found.append(_unheard(change, reason))
    if change.crossing is not None:
        found.append(_crossing(change.crossing))
    if change.sounds_early:
        found.append(_early(change, way, weg))
    found += [_rolling(rolling, way, weg) for rolling in change.rolling]
    if change.chokes:
        text = "G gracenote on low G: keep the blowing steady, or the chanter shuts down."
        deutsch = "G-Gracenote auf Low G: gleichmäßig blasen, sonst setzt die Spielpfeife aus."
        fingers = (Finger.LEFT_INDEX,)
        found.append(Caution(CautionKind.CHOKE, "blow steadily", text, deutsch, fingers))
    if change.easily_forgotten:
        found.append(_false(change, way, weg))
    if change.steady is not None:
        finger = fingers_named([change.steady])
        text = f"{way}: put {finger} down first; it steadies the chanter."
        den = german.fingers_named([change.steady], moved=True)
        deutsch = f"{weg}: {den} zuerst schließen; er gibt der Spielpfeife Halt."
        rule = f"{finger} first"
        found.append(Caution(CautionKind.UNSTEADY, rule, text, deutsch, (change.steady,)))
    return tuple(found)


def _unheard(change: Change, reason: str) -> Caution:
    if change.previous is change.note:
        text = f"{change.note}: {reason}; choose a higher or a lower one."
    else:
        text = f"{change.previous} to {change.note}: {reason}; choose one above both or below both."
    deutsch = _unheard_in_german(change)
    return Caution(CautionKind.UNHEARD_GRACENOTE, reason, _capital(text), deutsch, ())


def _unheard_in_german(change: Change) -> str:
    gracenote, note, previous = change.gracenote, change.note, change.previous
    assert gracenote is not None
    name = german.gracenote_word(gracenote)
    at = german.note_word(note)
    if gracenote is note:
        reason = f"eine {name} ist auf {at} nicht zu hören"
    elif gracenote is previous:
        reason = f"eine {name} ist nach {german.note_word(previous)} nicht zu hören"
    else:
        way = "abwärts" if previous > note else "aufwärts"
        of = german.note_word(gracenote)
        reason = f"{way} von {german.note_word(previous)} wäre {of} nur ein Durchgang"
    if previous is note:
        return f"{at}: {reason}; wähle eine höhere oder tiefere."
    between = _way_in_german(previous, note)
    return f"{between}: {reason}; wähle eine über beiden oder unter beiden."


def _way_in_german(previous: Note, note: Note) -> str:
    return f"Von {german.note_word(previous)} nach {german.note_word(note)}"


def _sounds_in_german(notes: Sequence[Note]) -> str:
    return german.listed([german.note_word(note) for note in notes], "oder")


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
    deutsch = (
        f"{_way_in_german(first, second)}: {_crossing_in_german(crossing)}, "
        f"sonst klingt dazwischen {_sounds_in_german(heard)}."
    )
    return Caution(CautionKind.CROSSING_NOISE, rule, text, deutsch, fingers, heard)


def _crossing_in_german(crossing: Crossing) -> str:
    fingers, hand = crossing.fingers, crossing.hand_first
    other = german.HANDS[hand.other]
    if crossing.close_last:
        comes = "kommen" if german.is_several(fingers) else "kommt"
        return f"{german.fingers_named(fingers, moved=False)} {comes} zuletzt herunter"
    if crossing.within_hand:
        return f"zuerst {german.fingers_named(fingers, moved=True)} heben"
    if len(fingers) == 1:
        den = german.fingers_named(fingers, moved=True)
        return f"{den} heben, bevor die {other} Hand schließt"
    return f"die {german.HANDS[hand]} Hand weg, bevor die {other} schließt"


def _early(change: Change, way: str, weg: str) -> Caution:
    gracenote = change.gracenote
    assert gracenote is not None
    finger = finger_of(gracenote)
    assert finger is not None
    hand = fingers_named([finger])
    text = f"{way}: lift {hand} for the gracenote first, or {change.note} sounds before it."
    den = german.fingers_named([finger], moved=True)
    deutsch = (
        f"{weg}: erst {den} für die Gracenote heben, "
        f"sonst klingt {german.note_word(change.note)} davor."
    )
    heard = (change.note,)
    return Caution(CautionKind.EARLY_NOTE, "gracenote first", text, deutsch, (finger,), heard)


def _rolling(rolling: Rolling, way: str, weg: str) -> Caution:
    tut = {True: "heben", False: "schließen", None: "bewegen"}[rolling.lifts]
    verb = {True: "lift", False: "close", None: "move"}[rolling.lifts]
    if rolling.hand is None:
        what, rule = "both hands together", "both hands together"
        was = "beide Hände zugleich"
    else:
        what = f"{verb} {fingers_named(rolling.fingers)} together"
        rule = f"{rolling.hand} hand together"
        was = f"{german.fingers_named(rolling.fingers, moved=True)} zugleich {tut}"
    text = f"{way}: {what}, or {_either(rolling.heard)} sounds between."
    deutsch = f"{weg}: {was}, sonst klingt dazwischen {_sounds_in_german(rolling.heard)}."
    return Caution(CautionKind.ROLLING_NOISE, rule, text, deutsch, rolling.fingers, rolling.heard)


def _false(change: Change, way: str, weg: str) -> Caution:
    fingers = change.easily_forgotten
    begin = fingering(change.previous)
    lifts = {finger in begin for finger in fingers}
    muss = "müssen" if german.is_several(fingers) else "muss"
    if len(lifts) == 1:
        is_lift = lifts.pop()
        verb = "lift" if is_lift else "come down"
        der = german.fingers_named(fingers, moved=False)
        regel = f"auch {der} {muss} {'sich heben' if is_lift else 'schließen'}"
        rule = f"{fingers_named(fingers)} must {verb} too"
    else:
        hands = dict.fromkeys(finger.hand for finger in fingers)
        rule = f"the {listed(list(hands))} hand must take its new place too"
        regel = _new_place_in_german(list(hands))
    note = change.note
    if note in false_notes():
        why = f"or {note} is false in pitch or tone"
        warum = f"sonst ist {german.note_word(note)} in Höhe oder Klang falsch"
    else:
        why = f"or the fingering of {note} is false"
        warum = f"sonst ist der Griff von {german.note_word(note)} falsch"
    text, deutsch = f"{way}: {rule}, {why}.", f"{weg}: {regel}, {warum}."
    return Caution(CautionKind.FALSE_FINGERING, rule, text, deutsch, fingers)


def _new_place_in_german(hands: Sequence[Hand]) -> str:
    if len(hands) > 1:
        return "auch die linke und die rechte Hand müssen ihren neuen Griff nehmen"
    return f"auch die {german.HANDS[hands[0]]} Hand muss ihren neuen Griff nehmen"


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
