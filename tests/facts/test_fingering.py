"""The fingering chart, the rule of the highest open hole and what follows from them.

Source of every value here: common practice (the ascending chart of any tutor, and what players
take for granted about changes by way of a G gracenote).
"""

from __future__ import annotations

import pytest

from renderer.notation.pitch import Note, note_named
from renderer.technique.cautions import cautions_of
from renderer.technique.finger_changes import Change, change
from renderer.technique.fingering import Finger, Hand, fingering, sounding, written

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


def test_from_f_to_d_one_finger_closes_a_hole_and_the_little_finger_steadies_the_chanter() -> None:
    # Source: common practice. The right thumb, which closes no hole, supports the chanter always.
    made = by_g_gracenote("F", "D")
    assert made.loosest == 1
    assert made.steady is Finger.RIGHT_LITTLE


def test_nothing_is_said_of_fingers_that_hold_the_chanter_alone_or_are_not_heard() -> None:
    # Source: common practice. The right thumb always supports the chanter, and a false fingering
    # changes pitch or tone of some notes.
    for first in Note:
        for gracenote in (None, Note.HIGH_G, Note.HIGH_A):
            for second in Note:
                for caution in cautions_of(change(first, gracenote, second)):
                    assert "hold" not in caution.text
                    assert "though unheard" not in caution.text


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


@pytest.mark.parametrize("low", [Note.C, Note.D])
@pytest.mark.parametrize("high", [Note.E, Note.F])
def test_between_c_or_d_and_e_or_f_low_a_or_low_g_sounds_by_what_closes_first(
    low: Note, high: Note
) -> None:
    # Source: common practice: low G while the little finger is still down, else low A.
    for first, second in ((low, high), (high, low)):
        noise = change(first, None, second).crossing
        assert noise is not None
        assert (noise.heard, noise.lowest) == (Note.LOW_A, Note.LOW_G)
        (caution,) = [
            c
            for c in cautions_of(change(first, None, second))
            if c.heard[:1] and c.kind == "crossing noise"
        ]
        assert "or low A or low G sounds between" in caution.text


@pytest.mark.parametrize(
    ("first", "second", "heard", "together"),
    # Source: common practice: notes passed through when fingers move one after the other.
    [
        ("low G", "B", ["low A"], "right ring, right little"),
        ("B", "low G", ["low A"], "right ring, right little"),
        ("D", "B", ["C"], "right index, right middle"),
        ("low A", "D", ["B", "C"], "right index, right middle, right ring"),
        ("E", "high G", ["F"], "left index, left middle"),
        ("high G", "E", ["F"], "left index, left middle"),
        ("low A", "F", ["E"], "left middle, left ring"),
        ("F", "high A", ["high G"], "left thumb, left index"),
        ("low G", "E", ["low A"], "left ring, right little"),
    ],
)
def test_fingers_that_do_not_move_together_let_the_notes_between_sound(
    first: str, second: str, heard: list[str], together: str
) -> None:
    (noise,) = change(note_named(first), None, note_named(second)).rolling
    assert [note.label for note in noise.heard] == heard
    assert noise.fingers == fingers(together)


def test_a_gracenote_above_both_notes_covers_what_the_fingers_do_meanwhile() -> None:
    # Source: common practice.
    assert not by_g_gracenote("low A", "D").rolling


def test_f_easily_sounds_before_a_g_gracenote_that_leads_up_to_it() -> None:
    # Source: common practice: index and middle finger are neighbours.
    assert by_g_gracenote("E", "F").sounds_early
    assert by_g_gracenote("low A", "F").sounds_early
    assert not by_g_gracenote("F", "F").sounds_early
    assert not by_g_gracenote("E", "D").sounds_early
    assert not change(Note.HIGH_A, None, Note.F).sounds_early


def test_c_with_the_little_finger_up_is_false_in_pitch_or_tone() -> None:
    # Source: common practice; which way the pitch goes depends on the chanter.
    texts = [caution.text for caution in cautions_of(change(Note.B, None, Note.C))]
    assert texts == [
        "B to C: the right little finger must come down too, or C is false in pitch or tone."
    ]


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
