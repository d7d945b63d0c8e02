"""What is played where a movement cannot be played as named."""

from __future__ import annotations

from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from renderer.notation.pitch import Note
from renderer.technique.choose import lead_into, obstacle
from renderer.technique.fragments import fragment_abc
from renderer.technique.movement import Movement
from renderer.technique.ornaments import load_book

BOOK = load_book()
NAMES = st.sampled_from([movement.name for movement in BOOK])
NOTES = st.sampled_from(Note)


@pytest.mark.parametrize(
    ("named", "note", "previous", "played", "slots"),
    [
        ("double strike", Note.D, None, "grip", "G {d}G d"),
        ("G gracenote", Note.B, Note.HIGH_G, "high A gracenote", "{a}B"),
        ("G gracenote", Note.B, Note.HIGH_A, None, "B"),
        ("doubling", Note.E, Note.HIGH_G, "thumb doubling", "{a}e {f}e"),
        ("doubling", Note.E, Note.HIGH_A, "half doubling", "e {f}e"),
        ("doubling", Note.HIGH_A, Note.HIGH_A, "strike", "{g}a"),
        ("doubling", Note.HIGH_G, Note.HIGH_G, "thumb doubling", "{a}g {f}g"),
        ("half doubling", Note.B, Note.B, "doubling", "{g}B {d}B"),
        ("D gracenote", Note.E, Note.B, "G gracenote", "{g}e"),
        ("D gracenote", Note.B, Note.E, "G gracenote", "{g}B"),
        ("D gracenote", Note.B, Note.D, "E gracenote", "{e}B"),
        ("D gracenote", Note.B, Note.F, "G gracenote", "{g}B"),
        ("strike", Note.E, Note.LOW_A, "G gracenote", "{g}e"),
        ("light strike", Note.D, Note.B, "strike", "{G}d"),
        ("birl", Note.LOW_A, Note.LOW_G, "birl with a low A start", "A G A G A"),
        ("birl with a G gracenote", Note.LOW_A, Note.HIGH_G, "thumb birl", "{a}A G A G A"),
        ("G-D-E gracenotes", Note.B, Note.HIGH_A, "D-E gracenotes", "B {d}B {e}B"),
        ("G-D-E gracenotes", Note.D, Note.B, "doubling", "{g}d {e}d"),
        ("G-D-E gracenotes", Note.D, Note.HIGH_G, "thumb doubling", "{a}d {e}d"),
        ("G-D-E gracenotes", Note.D, Note.HIGH_A, "half doubling", "d {e}d"),
        ("A-D-E gracenotes", Note.E, Note.HIGH_G, "thumb doubling", "{a}e {f}e"),
        ("D-E gracenotes", Note.D, Note.HIGH_A, "half doubling", "d {e}d"),
        ("half doubling", Note.HIGH_G, Note.HIGH_G, "thumb doubling", "{a}g {f}g"),
        (
            "light strike with a G gracenote",
            Note.B,
            Note.D,
            "strike with a G gracenote",
            "{g}B {G}B",
        ),
        (
            "light strike with a G gracenote",
            Note.D,
            Note.HIGH_A,
            "light strike without a gracenote",
            "d {c}d",
        ),
        ("light shake", Note.B, Note.D, "shake", "{g}B {e}B {G}B"),
        ("half strike", Note.D, Note.LOW_G, "grip", "{d}G d"),
        ("half strike", Note.D, Note.D, "strike with a G gracenote", "{g}d {G}d"),
        ("double strike", Note.D, Note.B, "grip", "G {d}G d"),
        ("double strike", Note.B, Note.D, "grip", "G {B}G B"),
        ("thumb strike", Note.LOW_G, Note.HIGH_G, "high A gracenote", "{a}G"),
        ("taorluath", Note.E, Note.B, "grip", "G {d}G e"),
    ],
)
def test_what_cannot_be_played_is_replaced_and_the_teacher_told(
    named: str, note: Note, previous: Note | None, played: str | None, slots: str
) -> None:
    choice = lead_into(BOOK, named, note, previous)
    assert (choice.name, fragment_abc(choice.slots)) == (played, slots)
    assert choice.remark is not None
    assert choice.remark.startswith(named[0].upper() + named[1:])
    assert choice.remark.endswith(f"{played or f'plain {note}'} instead.")


@pytest.mark.parametrize("movement", tuple(BOOK), ids=lambda movement: movement.name)
def test_no_replacement_gives_up_a_first_gracenote_that_another_keeps(movement: Movement) -> None:
    first = {slots[0].gracenote for slots in movement.fragments.values()} - {None}
    for note, previous in product(Note, (None, *Note)):
        standing = [BOOK.movement(name) for name in movement.instead]
        playable = [
            other.slots(note, previous)
            for other in standing
            if note in other.fragments and obstacle(other.slots(note, previous), previous) is None
        ]
        if any(slots[0].gracenote in first for slots in playable):
            choice = lead_into(BOOK, movement.name, note, previous)
            remark = choice.remark or ""
            kept = choice.slots[0].gracenote in first or choice.name == movement.way_of
            assert kept or not remark or "is written as" in remark


@pytest.mark.parametrize("previous", [None, *Note])
def test_what_can_be_played_is_played_as_named(previous: Note | None) -> None:
    choice = lead_into(BOOK, "grip", Note.F, previous, "error")
    assert (choice.name, choice.remark) == ("grip", None)


def test_the_definition_may_refuse_instead() -> None:
    with pytest.raises(ValueError, match=r"coming from high A cannot be played: .* passed through"):
        lead_into(BOOK, "doubling", Note.E, Note.HIGH_A, "error")
    with pytest.raises(ValueError, match="no D gracenote on E; the notes that have one"):
        lead_into(BOOK, "D gracenote", Note.E, Note.B, "error")


def test_a_note_that_nothing_can_stand_in_for_is_refused_with_the_notes_that_have_it() -> None:
    with pytest.raises(ValueError, match="no birl on B; only low A has one"):
        lead_into(BOOK, "birl", Note.B, Note.LOW_A)
    with pytest.raises(ValueError, match="no throw on D on E; only D has one"):
        lead_into(BOOK, "light throw on D", Note.E)


@given(NAMES, NOTES, st.none() | NOTES)
def test_no_gracenote_equals_its_note_or_a_neighbour(
    name: str, note: Note, previous: Note | None
) -> None:
    try:
        choice = lead_into(BOOK, name, note, previous)
    except ValueError:
        return
    assert choice.slots[-1].note is note
    before = previous
    for slot in choice.slots:
        if slot.gracenote is not None:
            assert slot.gracenote not in (before, slot.note)
            if before is not None:
                lifted = slot.gracenote > max(before, slot.note)
                assert lifted or slot.gracenote < min(before, slot.note)
        before = slot.note
    if choice.name is not None:
        assert obstacle(choice.slots, previous) is None
        assert BOOK.movement(choice.name).slots(note, previous) == choice.slots


@given(NAMES, NOTES, st.none() | NOTES)
def test_a_remark_is_made_exactly_where_something_else_is_played(
    name: str, note: Note, previous: Note | None
) -> None:
    try:
        choice = lead_into(BOOK, name, note, previous)
    except ValueError:
        return
    assert (choice.remark is None) == (choice.name == name)


def test_a_movement_of_ones_own_keeps_its_name_where_it_is_used_from_though_spelt_as_another() -> (
    None
):
    book = BOOK.extended(
        {"Larkmoor grip": {"fragments": {"D": "G {d}G d"}, "used-from": {"D": "B"}}}
    )
    from_b = lead_into(book, "Larkmoor grip", Note.D, Note.B)
    assert (from_b.name, from_b.remark) == ("Larkmoor grip", None)
    for previous in (Note.C, None):
        elsewhere = lead_into(book, "Larkmoor grip", Note.D, previous)
        assert elsewhere.name == "grip"
        assert "written as the grip is" in (elsewhere.remark or "")
