"""Other ways of beginning a movement follow from the movement and from one word."""

from __future__ import annotations

from typing import Any

import pytest

from renderer.errors import RungwiseError
from renderer.notation.pitch import Note, note_named
from renderer.technique.choose import lead_into
from renderer.technique.fragments import fragment_abc, silent_join
from renderer.technique.movement import Movement
from renderer.technique.ornaments import OrnamentBook, load_book
from renderer.technique.recognise import flat_group, recognise

BOOK = load_book()


def spelled(book: OrnamentBook, name: str, note: str) -> str:
    return fragment_abc(book.movement(name).slots(note_named(note)))


def test_the_book_writes_a_movement_once_however_it_begins() -> None:
    written = {movement.name for movement in BOOK if movement.way is None}
    for movement in BOOK:
        assert (movement.way is None) == (movement.way_of == "")
        if movement.way is not None:
            assert movement.way_of in written
            assert movement.way in BOOK.movement(movement.way_of).begins
    assert len(written) < len(BOOK.movements) / 2


@pytest.mark.parametrize(
    ("name", "note", "slots"),
    [
        # A first G gracenote becomes high A, or falls away.
        ("thumb doubling", "E", "{a}e {f}e"),
        ("half doubling", "E", "e {f}e"),
        ("thumb tachum", "low A", "{a}c {d}A"),
        # Anything else gets its note before it, and goes on as it is played from that note.
        ("thumb grip", "D", "{a}d G {B}G d"),
        ("half grip", "C", "c G {d}G c"),
        ("grip with a G gracenote", "C", "{g}c G {d}G c"),
        ("birl with a low A start", "low A", "A G A G A"),
    ],
)
def test_ways_of_beginning_follow_by_rule(name: str, note: str, slots: str) -> None:
    assert spelled(BOOK, name, note) == slots


def test_a_grip_begun_with_its_note_has_that_note_on_the_beat() -> None:
    assert BOOK.movement("grip").playing.beat == "last"
    for way in BOOK.ways_of(BOOK.movement("grip")):
        assert way.playing.beat == "first"


def test_what_a_teacher_changes_in_a_movement_holds_for_all_its_beginnings() -> None:
    book = BOOK.extended({"doubling": {"fragments": {"C": "{g}c {e}c"}, "inner": "60 ms"}})
    assert spelled(book, "thumb doubling", "C") == "{a}c {e}c"
    assert spelled(book, "half doubling", "C") == "c {e}c"
    assert spelled(book, "half doubling", "B") == "B {d}B"
    assert book.movement("half doubling").playing.inner[0].value == 60


def test_one_beginning_alone_can_be_changed_and_stays_changed() -> None:
    once = BOOK.extended({"half doubling": {"fragments": {"C": "c {e}c"}}})
    book = once.extended({"grip": {"fragments": {"B": "{g}G {d}G B"}}})
    assert spelled(book, "half doubling", "C") == "c {e}c"
    assert spelled(book, "thumb doubling", "C") == "{a}c {d}c"


def test_a_movement_of_ones_own_can_have_other_beginnings() -> None:
    own = {"fragments": {"B": "{g}B {e}B"}, "begins": {"thumb": "B", "half": {"on": "B"}}}
    book = BOOK.extended({"E doubling": own})
    assert spelled(book, "thumb E doubling", "B") == "{a}B {e}B"
    assert lead_into(book, "E doubling", Note.B, Note.HIGH_G).name == (
        "E doubling with a high A gracenote"
    )
    assert lead_into(book, "E doubling", Note.B, Note.HIGH_A).name == (
        "E doubling without a gracenote"
    )


def test_a_movement_of_ones_own_says_where_it_is_used() -> None:
    own = {"fragments": {"B": "{g}B {e}B"}, "used-from": "low A, C"}
    assert BOOK.extended({"mine": own}).movement("mine").used_from(Note.B) == (Note.LOW_A, Note.C)
    own["used-from"] = "other notes"
    used = BOOK.extended({"mine": own}).movement("mine").used_from(Note.B)
    assert Note.B not in used and Note.E in used
    assert Note.HIGH_A not in used, "the G gracenote would not be heard"


@pytest.mark.parametrize(
    "key",
    [
        {"begins": "thumb"},
        {"begins": {"toe": "B"}},
        {"begins": {"thumb": 3}},
        {"begins": {"thumb": {"called": ["mine"]}}},
        {"begins": {"thumb": {"on": "B", "with": "a"}}},
        {"begins": {"thumb": {"on": "B", "called": "mine"}}},
        {"begins": {"thumb": "H"}},
        {"used-from": "H"},
        {"used-from": 3},
        {"used-from": {"B": "H"}},
        {"used-from": {"H": "B"}},
    ],
)
def test_wrong_beginnings_are_refused_with_a_remedy(key: dict[str, Any]) -> None:
    with pytest.raises(RungwiseError) as caught:
        BOOK.extended({"mine": {"fragments": {"B": "{g}B {e}B"}, **key}})
    (problem,) = caught.value.problems
    assert problem.place.startswith("ornament-book.mine.")
    assert problem.cause and problem.remedy


@pytest.mark.parametrize("movement", list(BOOK), ids=lambda movement: movement.name)
def test_from_every_note_that_a_movement_is_used_from_all_of_it_is_heard_and_read_back(
    movement: Movement,
) -> None:
    used = [(before, note) for note in movement.notes for before in movement.used_from(note)]
    assert used, "a movement is used from somewhere"
    for before, note in used:
        slots = movement.slots(note, before)
        assert silent_join(slots, before) is None
        choice = lead_into(BOOK, movement.name, note, before, "error")
        assert (choice.slots, choice.name) == (slots, movement.name)
        assert recognise(note, flat_group(slots), before, BOOK) == (slots, movement.name)


def test_a_beginning_has_a_name_of_its_own_only_where_players_have_one() -> None:
    """All others are the movement and how it begins; short forms are understood."""
    book = load_book()
    said = {"G gracenote": "with a G gracenote", "thumb": "with a high A gracenote"}
    for movement in book:
        if movement.way is None:
            continue
        root = book.movement(movement.way_of)
        called = root.begins[movement.way].called
        how = said.get(movement.way, "without a gracenote")
        assert movement.name == (called[0] if called else f"{root.name} {how}")
        short = {"G gracenote": "G gracenote"}.get(movement.way, movement.way)
        assert book.movement(f"{short} {root.name}") is movement
    named = {movement.name for movement in book}
    assert {"thumb doubling", "half doubling", "thumb grip", "half strike"} <= named
    assert not {name for name in named if name.startswith(("thumb light", "half triple"))}
