"""The ornament book against what players know, in ABC letters with gracenotes in braces.

Source of each value: as marked. 'From memory' values are the book's starting point; a teacher can
override every one of them.
"""

from __future__ import annotations

import pytest

from renderer.notation.pitch import Note, note_named
from renderer.technique.fragments import fragment_abc
from renderer.technique.ornaments import load_book
from renderer.technique.recognise import flat_group

BOOK = load_book()


def played(name: str, note: str, previous: str | None = None) -> str:
    before = None if previous is None else note_named(previous)
    return fragment_abc(BOOK.movement(name).slots(note_named(note), before))


@pytest.mark.parametrize(
    ("separating", "notes"),
    # Source: common practice.
    [("d", "low G, low A, B, C"), ("e", "D"), ("f", "E"), ("g", "F")],
)
def test_a_doubling_is_two_soundings_parted_by_its_gracenote(separating: str, notes: str) -> None:
    for name in notes.split(", "):
        letter = note_named(name).abc
        assert played("doubling", name) == f"{{g}}{letter} {{{separating}}}{letter}"
        assert played("half doubling", name) == f"{letter} {{{separating}}}{letter}"
        assert played("thumb doubling", name) == f"{{a}}{letter} {{{separating}}}{letter}"


@pytest.mark.parametrize(("note", "group"), [(Note.HIGH_G, "gf"), (Note.HIGH_A, "ag")])
def test_high_g_and_high_a_doublings_are_made_differently(note: Note, group: str) -> None:
    # Source: common practice, {gf}g and {ag}a.
    slots = BOOK.movement("doubling").slots(note)
    assert "".join(small.abc for small in flat_group(slots)) == group
    assert slots[-1].note is note


@pytest.mark.parametrize(
    ("name", "note", "previous", "slots"),
    # Source: from memory.
    [
        ("throw on D", "D", None, "G {d}c d"),
        ("heavy throw on D", "D", None, "G {d}G c d"),
        ("grip", "B", None, "G {d}G B"),
        ("grip", "B", "D", "G {B}G B"),
        ("taorluath", "low A", None, "G {d}G {e}A"),
        ("taorluath", "low A", "D", "G {B}G {e}A"),
        ("birl", "low A", None, "G A G A"),
        ("birl with a G gracenote", "low A", None, "{g}A G A G A"),
        ("birl with a low A start", "low A", None, "A G A G A"),
        ("strike", "low A", None, "{G}A"),
        ("strike", "B", None, "{G}B"),
        ("strike", "C", None, "{G}c"),
        ("strike", "D", None, "{G}d"),
        ("light strike", "D", None, "{c}d"),
        ("strike", "E", None, "{A}e"),
        ("strike", "F", None, "{e}f"),
        ("strike", "high G", None, "{f}g"),
        ("strike", "high A", None, "{g}a"),
        ("crunluath", "E", None, "G {d}G {e}A {f}A e"),
    ],
)
def test_the_book_has_the_movement_as_players_remember_it(
    name: str, note: str, previous: str | None, slots: str
) -> None:
    assert played(name, note, previous) == slots


@pytest.mark.parametrize(
    ("name", "note", "slots"),
    # Source: common practice.
    [("throw on E", "E", "{e}A {f}A e"), ("throw on F", "F", "{f}e {g}e f")],
)
def test_throws_on_e_and_f(name: str, note: str, slots: str) -> None:
    assert played(name, note) == slots


@pytest.mark.parametrize(
    ("name", "notes"),
    # Source: common practice: a lifted finger sounds above the note that it is lifted from.
    [
        ("G gracenote", "low G, low A, B, C, D, E, F"),
        ("D gracenote", "low G, low A, B, C"),
        ("E gracenote", "low G, low A, B, C, D"),
        ("F gracenote", "low G, low A, B, C, D, E"),
        ("high A gracenote", "low G, low A, B, C, D, E, F, high G"),
    ],
)
def test_a_single_gracenote_goes_to_every_note_below_it(name: str, notes: str) -> None:
    assert [note.label for note in BOOK.movement(name).notes] == notes.split(", ")
