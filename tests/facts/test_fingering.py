"""The fingering chart, the rule of the highest open hole and what follows from them.

Source of every value here: common practice (the ascending chart of any tutor, and what players
take for granted about changes by way of a G gracenote).
"""

from __future__ import annotations

import pytest

from renderer.notation.pitch import Note, note_named
from renderer.technique.fingering import Change, Finger, Hand, change, fingering, sounding, written

# Source: common practice. x closed, - open: left thumb and three fingers | right four fingers.
CHART = {
    "low G": "x xxx | xxxx",
    "low A": "x xxx | xxx-",
    "B": "x xxx | xx--",
    "C": "x xxx | x--x",
    "D": "x xxx | ---x",
    "E": "x xx- | xxx-",
    "F": "x x-- | xxx-",
    "high G": "x --- | xxx-",
    "high A": "- --x | xxx-",
}


def fingers(text: str) -> tuple[Finger, ...]:
    return tuple(Finger[name.strip().upper().replace(" ", "_")] for name in text.split(","))


def by_g_gracenote(first: str, second: str) -> Change:
    return change(note_named(first), Note.HIGH_G, note_named(second))


def test_the_chart_is_the_one_of_any_tutor() -> None:
    assert {note.label: written(fingering(note)) for note in Note} == CHART


def test_the_highest_open_hole_names_every_note_of_the_chart() -> None:
    assert [sounding(fingering(note)) for note in Note] == list(Note)


def test_each_hole_names_its_note() -> None:
    # Source: common practice, checked against the chart above.
    assert [finger.sounds.label for finger in Finger] == [
        "high A", "high G", "F", "E", "D", "C", "B", "low A",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("gracenote", "finger"),
    # Source: common practice, gracenotes by lifting one finger.
    [
        ("high A", "left thumb"),
        ("high G", "left index"),
        ("F", "left middle"),
        ("E", "left ring"),
        ("D", "right index"),
    ],
)
def test_a_gracenote_on_low_a_lifts_one_finger(gracenote: str, finger: str) -> None:
    made = change(Note.LOW_A, note_named(gracenote), Note.LOW_A)
    assert made.lifted == made.closed == fingers(finger)
    assert made.steps[0].sounds.label == gracenote


@pytest.mark.parametrize(
    ("first", "second", "lift", "close"),
    # Source: common practice, changes by way of a G gracenote.
    [
        (
            "C",
            "E",
            "left index, left ring, right little",
            "left index, right middle, right ring",
        ),
        ("E", "B", "left index, right ring", "left index, left ring"),
        (
            "E",
            "D",
            "left index, right index, right middle, right ring",
            "left index, left ring, right little",
        ),
        (
            "C",
            "F",
            "left index, left middle, left ring, right little",
            "left index, right middle, right ring",
        ),
        ("E", "low G", "left index", "left index, left ring, right little"),
    ],
)
def test_a_g_gracenote_lifts_with_all_that_lifts_and_closes_with_all_that_closes(
    first: str, second: str, lift: str, close: str
) -> None:
    up, down = by_g_gracenote(first, second).steps
    assert (up.lifted, up.closed) == (fingers(lift), ())
    assert (down.lifted, down.closed) == ((), fingers(close))
    assert (up.sounds, down.sounds) == (Note.HIGH_G, note_named(second))


def test_from_f_to_d_only_the_thumb_holds_and_the_little_finger_comes_down_first() -> None:
    # Source: common practice.
    made = by_g_gracenote("F", "D")
    assert made.holding == (Finger.LEFT_THUMB,)
    assert made.is_loose
    assert made.steady is Finger.RIGHT_LITTLE


@pytest.mark.parametrize(
    ("first", "second", "first_hand"),
    # Source: common practice: the hand that opens goes first, or a low note sounds between.
    [("C", "E", Hand.LEFT), ("F", "D", Hand.RIGHT)],
)
def test_crossing_hands_lets_a_low_note_sound(first: str, second: str, first_hand: Hand) -> None:
    noise = change(note_named(first), None, note_named(second)).crossing
    assert noise is not None
    assert noise.heard is Note.LOW_A
    assert noise.hand_first is first_hand


def test_from_low_g_to_f_the_little_finger_lifts_unheard() -> None:
    # Source: common practice.
    made = change(Note.LOW_G, None, Note.F)
    assert Finger.RIGHT_LITTLE in made.lifted
    assert Finger.RIGHT_LITTLE in made.silent
    assert made.easily_forgotten == (Finger.RIGHT_LITTLE,)


@pytest.mark.parametrize("second", [Note.D, Note.C])
def test_from_low_a_to_d_or_c_the_little_finger_closed_first_sounds_low_g(second: Note) -> None:
    # Source: common practice.
    noise = change(Note.LOW_A, None, second).crossing
    assert noise is not None
    assert noise.heard is Note.LOW_G
    assert noise.fingers == (Finger.RIGHT_LITTLE,)
    assert noise.close_last


def test_the_g_gracenote_on_low_g_is_where_a_practice_chanter_shuts_down() -> None:
    # Source: common practice.
    assert [note for note in Note if change(None, Note.HIGH_G, note).chokes] == [Note.LOW_G]
