"""The ornament book against what players know, in ABC letters with gracenotes in braces.

Source of each value: in its row. 'From memory' values are the book's starting point; a teacher can
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


MEMORY = "from memory"
COMMON = "common practice"
TUTOR = "L. Davidson, Teach Yourself Bagpipes, teachyourselfbagpipes.co.uk: "
NOTES = "K. Fraser's notes on piping, bagpipes.ksfraser.ca: "
TUNES = "as written in tunes of the collection github.com/svenax/bagpipemusic: "
CAMPBELL = "the key to the Campbell canntaireachd, svenax.net/site/canntaireachd: "

TABLE = [
    # Movement, melody note, note before, spelling, source.
    ("strike", "low A", None, "{G}A", MEMORY),
    ("strike", "B", None, "{G}B", MEMORY),
    ("strike", "C", None, "{G}c", MEMORY),
    ("strike", "D", None, "{G}d", MEMORY),
    ("light strike", "D", None, "{c}d", MEMORY),
    ("strike", "E", None, "{A}e", MEMORY),
    ("strike", "F", None, "{e}f", MEMORY),
    ("strike", "high G", None, "{f}g", MEMORY),
    ("strike", "high A", None, "{g}a", MEMORY),
    ("hara", "D", "E", "{g}d {G}d", TUTOR + "hara, G gracenote to D, then a strike"),
    ("thumb strike", "D", "high G", "{a}d {G}d", TUTOR + "hara, from high G with the thumb"),
    ("half strike", "D", "high A", "d {G}d", MEMORY),
    ("half light strike", "D", "high A", "d {c}d", MEMORY),
    ("double strike", "B", "E", "{G}B {G}B", MEMORY),
    ("double strike with a G gracenote", "E", None, "{g}e {A}e {A}e", MEMORY),
    ("triple strike", "C", None, "{G}c {G}c {G}c", MEMORY),
    ("light double strike", "D", None, "{c}d {c}d", MEMORY),
    ("light triple strike", "D", None, "{c}d {c}d {c}d", MEMORY),
    ("throw on D", "D", None, "G {d}c d", MEMORY),
    ("throw on D", "D", "low G", "{d}c d", MEMORY),
    ("throw on D with a G gracenote", "D", None, "{g}d G {d}c d", MEMORY),
    ("half throw on D", "D", "high A", "d G {d}c d", MEMORY),
    ("heavy throw on D", "D", None, "G {d}G c d", MEMORY),
    ("throw on E", "E", "low A", "{e}A {f}A e", TUTOR + "pibthrow, from a lower note"),
    ("edre", "E", "high A", "e A {f}A e", TUTOR + "pibthrow, from a higher note"),
    ("throw on F", "F", "low A", "{f}e {g}e f", TUTOR + "pibthrow, from a lower note"),
    ("dare", "F", "high G", "f e {g}e f", TUTOR + "pibthrow, from a higher note"),
    (
        "chedari",
        "high G",
        "E",
        "{f}e {g}e {f}e g",
        TUTOR + "pibthrow, three Es; the cuts " + MEMORY,
    ),
    ("chedari", "high G", "F", "e {g}e {f}e g", TUNES + "four places in two piobaireachd"),
    ("crunluath fosgailte", "E", "C", "{e}c {f}c e", TUNES + "two places in one piobaireachd"),
    ("crunluath fosgailte", "E", "D", "{e}d {f}d e", TUNES + "five places in two tunes"),
    ("crunluath fosgailte", "E", "B", "{e}B {f}B e", MEMORY),
    ("throw on E over low G", "E", "E", "G {f}G e", TUNES + "three places in two piobaireachd"),
    ("throw on E over low G", "E", "low G", "{e}G {f}G e", MEMORY),
    ("triple strike", "high A", "E", "a {g}a {g}a {g}a", TUNES + "four places in two tunes"),
    ("double strike", "high A", "E", "a {g}a {g}a", "as the triple strike"),
    ("grip", "B", None, "G {d}G B", MEMORY),
    ("grip", "B", "D", "G {B}G B", MEMORY),
    ("grip", "B", "low G", "{d}G B", MEMORY),
    ("G gracenote grip", "C", None, "{g}c G {d}G c", MEMORY),
    ("half grip", "C", None, "c G {d}G c", MEMORY),
    ("half grip", "D", None, "d G {B}G d", MEMORY),
    ("taorluath", "low A", None, "G {d}G {e}A", NOTES + "taorluath, step by step"),
    ("taorluath", "low A", "D", "G {B}G {e}A", NOTES + "taorluath, coming off D"),
    ("older taorluath", "low A", None, "G {d}G A {e}A", NOTES + "taorluath, with its low A"),
    ("crunluath", "E", None, "G {d}G {e}A {f}A e", MEMORY + "; the order: " + CAMPBELL + "bandre"),
    ("older crunluath", "E", None, "G {d}G A {e}A {f}A e", MEMORY),
    ("bamdre", "E", None, "G {d}G {e}G {f}G e", MEMORY + "; the order: " + CAMPBELL + "bamdre"),
    ("taorluath a mach", "C", "C", "G {d}c {e}c", CAMPBELL + "hodroeo; the notes " + MEMORY),
    ("taorluath a mach", "D", "D", "G {d}c d {e}d", CAMPBELL + "hiotraea; the notes " + MEMORY),
    ("crunluath a mach", "E", "B", "G {d}B {e}B {f}B e", CAMPBELL + "hiotrodre; notes " + MEMORY),
    ("crunluath a mach", "E", "D", "G {d}c d {e}d {f}d e", CAMPBELL + "hiotradre; notes " + MEMORY),
    ("tripling", "B", None, "{g}B {d}B {e}B", CAMPBELL + "hiotoeo"),
    ("bubbly note", "B", None, "G {d}G {c}G B", MEMORY),
    ("half bubbly note", "B", "low A", "{d}G {c}G B", MEMORY),
    ("birl", "low A", None, "G A G A", MEMORY),
    ("birl with a G gracenote", "low A", None, "{g}A G A G A", MEMORY),
    ("birl with a low A start", "low A", None, "A G A G A", MEMORY),
    ("hiharin", "low A", "B", "{d}A G A G A", MEMORY),
    ("shake", "low A", None, "{g}A {e}A {G}A", MEMORY),
    ("shake", "B", None, "{g}B {e}B {G}B", MEMORY),
    ("shake", "C", None, "{g}c {e}c {G}c", MEMORY),
    ("shake", "D", None, "{g}d {e}d {G}d", MEMORY),
    ("light shake", "D", None, "{g}d {e}d {c}d", MEMORY),
    ("shake", "E", None, "{g}e {f}e {A}e", MEMORY),
    ("shake", "F", None, "{g}f {g}f {e}f", MEMORY),
    ("thumb shake", "B", "high G", "{a}B {e}B {G}B", MEMORY),
    ("half shake", "B", "high A", "B {e}B {G}B", MEMORY),
    ("G-D-E gracenotes", "low A", None, "{g}A {d}A {e}A", COMMON),
    ("A-D-E gracenotes", "low A", "high G", "{a}A {d}A {e}A", COMMON),
    ("G-E gracenotes", "low A", None, "{g}A {e}A", MEMORY),
    ("tachum", "low A", None, "{g}c {d}A", TUTOR + "tachum, C and low A"),
    ("tachum", "low G", None, "{g}B {d}G", TUTOR + "tachum, B and low G"),
    ("round movement", "low A", None, "{g}c {d}c {e}A", NOTES + "tachum, as played in strathspeys"),
    ("round movement", "low G", None, "{g}B {d}B {e}G", NOTES + "tachum, as played in strathspeys"),
    ("cadence on E", "low A", None, "{g}e A", MEMORY),
    ("cadence on E and D", "low A", None, "{g}e d A", MEMORY),
]


@pytest.mark.parametrize(("name", "note", "previous", "slots", "source"), TABLE)
def test_the_book_has_the_movement_as_its_source_has_it(
    name: str, note: str, previous: str | None, slots: str, source: str
) -> None:
    assert source
    assert played(name, note, previous) == slots


def test_every_movement_that_the_book_writes_out_is_in_the_table() -> None:
    checked = {BOOK.movement(name) for name, *_ in TABLE}
    checked |= {BOOK.movement(movement.way_of) for movement in checked if movement.way_of}
    singles = {m for m in BOOK if m.family == "single gracenote"} | {BOOK.movement("doubling")}
    lacking = {m.name for m in BOOK if m.way is None and m not in checked | singles}
    assert lacking == set()


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


@pytest.mark.parametrize(
    ("name", "note", "coming_from"),
    # Source: common practice; the half form of the birl from memory.
    [
        ("grip", "E", "low G, low A, B, C, D, E, F, high G, high A"),
        ("doubling", "B", "low G, low A, C, D, E, F"),
        ("thumb doubling", "B", "high G"),
        ("half doubling", "B", "high A"),
        ("strike", "C", "D, E, F, high G, high A, low A, B, C"),
        ("strike", "F", "F, high G, high A"),
        ("D gracenote", "low A", "low G, low A, B, C"),
        ("high A gracenote", "E", "high G"),
        ("high A gracenote", "high G", "low G, low A, B, C, D, E, F, high G"),
        ("birl with a low A start", "low A", "low G, B, C, D, E, F, high G, high A"),
        ("taorluath a mach", "C", "C"),
        ("crunluath a mach", "E", "B, C, D"),
    ],
)
def test_a_movement_is_used_from_these_notes(name: str, note: str, coming_from: str) -> None:
    used = BOOK.movement(name).used_from(note_named(note))
    assert set(used) == {note_named(one) for one in coming_from.split(", ")}
