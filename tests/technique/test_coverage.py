"""Coverage: which ways into a movement a book practises, and which it leaves out."""

from __future__ import annotations

from itertools import combinations

from renderer.notation.definition.reader import parse_definition
from renderer.notation.pitch import Note
from renderer.notation.score import Exercise
from renderer.reading.exercise import read_exercise
from renderer.reading.library import find_exercise
from renderer.technique.choose import lead_into
from renderer.technique.coverage import (
    UNNAMED,
    Approach,
    approaches_of,
    coverage,
    possible_approaches,
)
from renderer.technique.ornaments import load_book
from renderer.technique.realise import realise

SEVEN = [Note(index) for index in range(7)]


def exercise(lines: str) -> Exercise:
    return realise(parse_definition(lines))


def reachable() -> set[tuple[Note, Note]]:
    """What walked three-note runs can produce, worked out from what a walk is.

    In each pass a note comes after the one before it in the run, and the first after the last of
    the pass before.
    """
    pairs: set[tuple[Note, Note]] = set()
    for low, middle, high in combinations(SEVEN, 3):
        for run in ((low, middle, high), (high, middle, low)):
            pairs |= {(run[index - 1], run[index]) for index in range(3)}
    return pairs


def test_the_full_book_covers_every_pair_that_its_runs_can_produce() -> None:
    (found,) = coverage([read_exercise(find_exercise("every-doubling-from-low-g-to-f"))])
    pairs = reachable()
    assert len(pairs) == 7 * 6
    assert {pair for pair, count in found.counts.items() if count} == pairs
    (among_seven,) = coverage(
        [read_exercise(find_exercise("every-doubling-from-low-g-to-f"))], among=SEVEN
    )
    assert among_seven.possible == pairs
    assert among_seven.missing == ()


def test_counts_are_those_of_the_lines_taken_by_hand() -> None:
    (found,) = coverage(
        [exercise('[[lines]]\nrun = "low A, B, D"\nornament = "doubling"\nwalk = true\n' * 2)]
    )
    assert dict(found.counts) == {
        (Note.D, Note.LOW_A): 2,
        (Note.LOW_A, Note.B): 2,
        (Note.B, Note.D): 2,
    }
    assert (Note.B, Note.LOW_A) in found.missing
    assert found.covered == 3


def test_a_first_note_comes_from_nowhere_and_counts_as_no_way_in() -> None:
    (found,) = coverage([exercise('[[lines]]\nrun = "B, D"\nornament = "grip"')])
    assert dict(found.counts) == {(None, Note.B): 1, (Note.B, Note.D): 1}
    assert found.covered == 1


def test_a_rest_cuts_what_was_before_off() -> None:
    (found,) = coverage([exercise('[[lines]]\nabc = "L:1/4 B z {gBd}B"')])
    assert dict(found.counts) == {(None, Note.B): 1}


def test_what_is_played_instead_is_counted_as_what_it_is() -> None:
    found = coverage([exercise('[[lines]]\nrun = "high G, B"\nornament = ["plain", "doubling"]')])
    assert [one.ornament for one in found] == ["thumb doubling"]


def test_gracenotes_without_a_name_are_counted_apart() -> None:
    found = coverage([exercise('[[lines]]\nabc = "L:1/4 {g}B {gaf}d"')])
    assert [one.ornament for one in found] == ["G gracenote", UNNAMED]
    assert found[1].possible == frozenset()


def test_several_exercises_count_together() -> None:
    one = exercise('[[lines]]\nrun = "B, D"\nornament = "grip"')
    (found,) = coverage([one, one, one])
    assert found.counts[Note.B, Note.D] == 3


def test_every_way_in_that_counts_is_played_as_named() -> None:
    book = load_book()
    for movement in book:
        for before, note in possible_approaches(movement.name, book):
            choice = lead_into(book, movement.name, note, before, "error")
            assert (choice.name, choice.remark) == (movement.name, None)


def test_a_thumb_doubling_counts_from_high_g_and_a_half_doubling_from_high_a() -> None:
    book = load_book()
    assert {before for before, _ in possible_approaches("thumb doubling", book)} == {Note.HIGH_G}
    assert {before for before, _ in possible_approaches("half doubling", book)} == {Note.HIGH_A}


def test_strikes_and_gracenotes_count_from_their_own_note_and_doublings_do_not() -> None:
    book = load_book()
    for name in ("strike", "double strike with a G gracenote", "G gracenote", "G-D-E gracenotes"):
        movement = book.movement(name)
        own = {(note, note) for note in movement.notes}
        assert own & possible_approaches(name, book), name
    for name in ("doubling", "throw on D", "shake"):
        assert all(before is not note for before, note in possible_approaches(name, book))
    (found,) = coverage([exercise('[[lines]]\neach = "B"\nornament = ["strike", "strike"]')])
    assert found.counts[Note.B, Note.B] == 2
    assert (Note.B, Note.B) not in found.missing


def test_the_approaches_of_a_line_are_each_named_once() -> None:
    line = exercise('[[lines]]\nrun = "B, D, B, D"\nornament = "grip"').lines[0]
    assert approaches_of(line) == {
        Approach("grip", Note.B, Note.D),
        Approach("grip", Note.D, Note.B),
    }
