"""Cautions and advice in German say what the English ones say."""

from __future__ import annotations

import re

from renderer.notation.pitch import Note
from renderer.technique import german
from renderer.technique.advice import sentences
from renderer.technique.cautions import CautionKind, cautions_of
from renderer.technique.finger_changes import change
from renderer.technique.fingering import Finger

ENGLISH = re.compile(
    r"\b(the|and|or|your?|on|is|of|to|a|an|it|before|after|first|last|hand|fingers?|thumb|notes?"
    r"|sounds?|heard|close|open|lift)\b"
)
NOTES = re.compile(r"\b(?:(?:[Ll]ow|[Hh]igh) [AG]|[BCDEF]|G)\b")


def test_fingers_decline_and_are_counted() -> None:
    left, right = Finger.LEFT_RING, (Finger.RIGHT_MIDDLE, Finger.RIGHT_RING)
    assert german.fingers_named([left], moved=True) == "den linken Ringfinger"
    assert german.fingers_named([left], moved=False) == "der linke Ringfinger"
    assert german.fingers_named(right, moved=True) == "den rechten Mittel- und Ringfinger"
    little = (*right, Finger.RIGHT_LITTLE)
    assert (
        german.fingers_named(little, moved=True)
        == "den rechten Mittel-, Ringfinger und kleinen Finger"
    )
    both = (Finger.LEFT_THUMB, left, Finger.RIGHT_LITTLE)
    assert (
        german.fingers_named(both, moved=False)
        == "der Daumen, der linke Ringfinger und der rechte kleine Finger"
    )


def test_every_caution_names_the_same_notes_and_fingers_in_german() -> None:
    names = {r"index\b": "Zeige", r"middle\b": "Mittel", r"ring\b": "Ring", r"little\b": "klein"}
    kinds = set()
    for before in (None, *Note):
        for gracenote in (None, *Note):
            for after in Note:
                for caution in cautions_of(change(before, gracenote, after)):
                    kinds.add(caution.kind)
                    english, deutsch = caution.text, caution.german
                    assert not ENGLISH.search(deutsch), deutsch
                    assert deutsch[0].isupper(), deutsch
                    assert deutsch.endswith("."), deutsch
                    if caution.kind is CautionKind.UNHEARD_GRACENOTE:
                        english = english.replace("high G gracenote", "G gracenote")
                    spoken = [note.casefold() for note in NOTES.findall(deutsch.replace("-", " "))]
                    assert spoken == [note.casefold() for note in NOTES.findall(english)], deutsch
                    for name, stem in names.items():
                        is_named = re.search(rf"\b{name}", english) is not None
                        assert is_named == (stem in deutsch), (english, deutsch)
    assert kinds == set(CautionKind)


def test_every_sentence_about_a_movement_has_its_german_one() -> None:
    for name, known in sentences().items():
        for one in known:
            told = re.sub(r"\{\w+\}", "", one.german)
            assert not ENGLISH.search(told), (name, told)
            assert one.german.endswith("."), (name, one.german)
            places = re.findall(r"\{\w+\}", one.text)
            assert set(places) == set(re.findall(r"\{\w+\}", one.german)), name
            # The gracenotes that it names by themselves are those of the English one.
            english = re.findall(r"\b([A-G]) gracenote", one.text)
            for gracenote in english:
                assert f"{gracenote}-" in one.german, (name, one.german)
