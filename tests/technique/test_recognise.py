"""Printed gracenote groups and written-out movements become movements again."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from renderer.notation.length import Length
from renderer.notation.pitch import Note, note_of_abc
from renderer.notation.playing import Inner
from renderer.notation.score import Bar, Exercise, Item, Line, MelodyNote, Meter, Rest, Slot
from renderer.technique.choose import lead_into
from renderer.technique.fragments import Fragment, parse_fragment
from renderer.technique.ornaments import load_book
from renderer.technique.recognise import flat_group, recognise, recognise_opened
from renderer.technique.recognise_stated import gather_stated

BOOK = load_book()
METER = Meter(4, 4)


def group(letters: str) -> tuple[Note, ...]:
    return tuple(note_of_abc(letter) for letter in letters)


@pytest.mark.parametrize("movement", list(BOOK), ids=lambda movement: movement.name)
def test_every_movement_is_recognised_from_its_printed_group(movement) -> None:  # type: ignore[no-untyped-def]
    for note in movement.notes:
        for previous in (None, *Note):
            choice = lead_into(BOOK, movement.name, note, previous)
            found = recognise(note, flat_group(choice.slots), previous, BOOK)
            assert found == (choice.slots, choice.name)


@pytest.mark.parametrize(
    ("letters", "note", "previous", "name", "slots"),
    [
        ("gBd", Note.B, None, "doubling", "{g}B {d}B"),
        ("gf", Note.HIGH_G, None, "doubling", "g {f}g"),
        ("Gdc", Note.D, Note.LOW_A, "throw on D", "G {d}c d"),
        ("dc", Note.D, Note.LOW_G, "throw on D", "{d}c d"),
        ("GAG", Note.LOW_A, None, "birl", "G A G A"),
        ("G", Note.LOW_A, None, "strike", "{G}A"),
        ("", Note.LOW_A, None, None, "A"),
        # Not in the book: the rule alone decides.
        ("e", Note.F, Note.B, "strike", "{e}f"),
        ("d", Note.F, Note.B, None, "{d}f"),
        ("gede", Note.D, None, None, "{g}e d {e}d"),
        ("dc", Note.B, Note.E, None, "{d}c B"),
    ],
)
def test_a_group_is_read_by_the_book_or_else_by_the_rule(
    letters: str, note: Note, previous: Note | None, name: str | None, slots: str
) -> None:
    assert recognise(note, group(letters), previous, BOOK) == (parse_fragment(slots), name)


@given(st.lists(st.sampled_from(Note), max_size=8).map(tuple), st.sampled_from(Note))
def test_no_note_of_a_group_is_lost(notes: tuple[Note, ...], note: Note) -> None:
    slots, _ = recognise(note, notes, None, BOOK)
    assert flat_group(slots) == notes
    assert slots[-1].note is note


def written_out(slots: Fragment, share: Fraction, last: Fraction) -> tuple[Item, ...]:
    lengths = [share] * (len(slots) - 1) + [last]
    return tuple(MelodyNote(beats, (slot,)) for beats, slot in zip(lengths, slots, strict=True))


def line_of(*bars: tuple[Item, ...]) -> Line:
    return Line(tuple(Bar(items, METER) for items in bars))


@pytest.mark.parametrize("share", [Fraction(1, 2), Fraction(1, 3), Fraction(1, 4)])
@pytest.mark.parametrize("movement", list(BOOK), ids=lambda movement: movement.name)
def test_every_opened_movement_is_recognised(movement, share: Fraction) -> None:  # type: ignore[no-untyped-def]
    for note in movement.notes:
        for previous in Note:
            choice = lead_into(BOOK, movement.name, note, previous)
            if len(choice.slots) < 2:
                continue
            lead = MelodyNote(Fraction(1), (Slot(previous),))
            opened = written_out(choice.slots, share, Fraction(1))
            found = recognise_opened(line_of((lead, *opened)), BOOK)
            total = share * (len(opened) - 1) + 1
            wanted = MelodyNote(total, choice.slots, choice.name)
            assert found.bars[0].items == (lead, wanted)
            assert found.inner == Inner((Length(share, "beat"),))


DOUBLED = written_out(parse_fragment("{g}B {d}B"), Fraction(1, 2), Fraction(1, 2))


def test_a_line_with_closed_movements_is_left_alone() -> None:
    closed = MelodyNote(Fraction(1), parse_fragment("G {d}G B"), "grip")
    line = line_of((closed, *DOUBLED))
    assert recognise_opened(line, BOOK) == line


def test_movements_opened_to_different_shares_are_left_alone() -> None:
    other = written_out(parse_fragment("{g}B {d}B"), Fraction(1, 4), Fraction(3, 4))
    line = line_of((*DOUBLED, *other))
    assert recognise_opened(line, BOOK) == line


def test_notes_off_the_beat_or_longer_than_the_last_are_no_opened_movement() -> None:
    half = MelodyNote(Fraction(1, 2), (Slot(Note.E),))
    for items in (
        (half, *DOUBLED, half),
        written_out(parse_fragment("{g}B {d}B"), Fraction(3, 4), Fraction(1, 4)),
        written_out(parse_fragment("{g}B {d}B"), Fraction(1), Fraction(1)),
        (DOUBLED[0], Rest(Fraction(1, 2))),
    ):
        line = line_of(tuple(items))
        assert recognise_opened(line, BOOK) == line


def test_an_even_run_of_low_g_and_low_a_is_no_birl() -> None:
    slots = parse_fragment("G A G A")
    even = line_of(written_out(slots, Fraction(1, 4), Fraction(1, 4)))
    assert recognise_opened(even, BOOK) == even
    held = line_of(written_out(slots, Fraction(1, 4), Fraction(5, 4)))
    assert recognise_opened(held, BOOK).bars[0].items == (MelodyNote(Fraction(2), slots, "birl"),)


@pytest.mark.parametrize("share", [Fraction(1, 4), Fraction(1, 5), Fraction(3, 8), Fraction(1)])
@pytest.mark.parametrize("last", [Fraction(1, 8), Fraction(1, 4), Fraction(1), Fraction(3)])
@pytest.mark.parametrize("spelled", ["G A G A", "{g}B {d}B", "G {d}G {e}A"])
def test_a_share_that_the_file_states_is_taken_at_its_word(
    spelled: str, share: Fraction, last: Fraction
) -> None:
    slots = parse_fragment(spelled)
    before = MelodyNote(Fraction(1, 2), (Slot(Note.E),))
    line = line_of((before, *written_out(slots, share, last)))
    stated = Exercise("", (line,), inner=Inner((Length(share, "beat"),)))
    found = gather_stated(stated, line, BOOK)
    (_, movement) = found.bars[0].items
    assert isinstance(movement, MelodyNote)
    assert (movement.slots, movement.beats) == (slots, share * (len(slots) - 1) + last)


def test_notes_of_another_share_than_the_stated_one_stay_notes() -> None:
    line = line_of(DOUBLED)
    stated = Exercise("", (line,), inner=Inner((Length(Fraction(1, 4), "beat"),)))
    assert gather_stated(stated, line, BOOK) == line


def test_a_movement_does_not_reach_over_the_bar_line() -> None:
    line = line_of((DOUBLED[0],), (DOUBLED[1],))
    assert recognise_opened(line, BOOK) == line
