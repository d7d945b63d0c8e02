"""Note values: lengths kept, tuplets whole, beams by the beat."""

from __future__ import annotations

from fractions import Fraction

from hypothesis import given
from hypothesis import strategies as st

from renderer.notation.note_values import (
    TYPE_NAMES,
    Value,
    beam_groups,
    beams_of_group,
    values_of_bar,
)
from renderer.notation.score import Meter

QUARTER = Fraction(1, 4)


@st.composite
def _bars(draw: st.DrawFn) -> list[Fraction]:
    """Lengths of a bar's notes, in parts of a beat by one odd number and powers of two."""
    odd = draw(st.sampled_from([1, 3, 5, 7, 9]))
    parts = st.sampled_from([1, 2, 4, 8, odd, 2 * odd, 4 * odd, 8 * odd])
    return draw(st.lists(st.builds(Fraction, st.integers(1, 16), parts), min_size=1, max_size=8))


@given(_bars(), st.sampled_from([QUARTER, Fraction(3, 8)]))
def test_the_values_of_a_note_add_up_to_its_length(lengths: list[Fraction], beat: Fraction) -> None:
    rows = values_of_bar(lengths, beat)
    assert [sum(value.length for value in row) for row in rows] == lengths
    assert all(value.base in TYPE_NAMES for row in rows for value in row)


@given(_bars())
def test_tuplets_open_and_close_in_turn(lengths: list[Fraction]) -> None:
    is_open = False
    for value in (value for row in values_of_bar(lengths, QUARTER) for value in row):
        if value.begins_tuplet:
            assert not is_open
            is_open = True
        assert is_open is (value.actual > 1)
        if value.ends_tuplet:
            is_open = False
    assert not is_open


def _shown(lengths: str, beat: Fraction = QUARTER) -> list[str]:
    """`1/4` for a plain quarter, `1/4.` dotted, `1/4:3` in a triplet; tied values joined by `+`."""

    def one(value: Value) -> str:
        tuplet = f":{value.actual}" if value.actual > 1 else ""
        return f"{value.base}{'.' * value.dots}{tuplet}"

    rows = values_of_bar([Fraction(part) for part in lengths.split()], beat)
    return ["+".join(map(one, row)) for row in rows]


def test_a_dot_is_preferred_to_a_tie() -> None:
    assert _shown("3/8 3/16 3/4") == ["1/4.", "1/8.", "1/2."]


def test_two_dots_are_preferred_to_a_tie_where_they_leave_the_end_of_a_longer_note() -> None:
    assert _shown("7/32 1/32 7/8 1/8") == ["1/8..", "1/32", "1/2.+1/8", "1/8"]
    assert _shown("7/8 1/8") == ["1/2..", "1/8"]
    # Off the beat, or where the beats of a compound meter are to be seen, it is tied.
    assert _shown("1/8 7/16") == ["1/8", "1/8+1/4+1/16"]
    assert _shown("7/16", Fraction(3, 8)) == ["1/4.+1/16"]
    assert _shown("7/32 5/32", Fraction(3, 8)) == ["1/8..", "1/8+1/32"]
    assert _shown("7/1024") == ["1/256.."]
    assert _shown("7/2048") != ["1/512.."]


def test_a_note_that_no_value_has_is_tied() -> None:
    assert _shown("5/16") == ["1/4+1/16"]
    assert _shown("1/8 5/8") == ["1/8", "1/8+1/2"]


def test_thirds_are_triplets_and_a_long_note_leaves_the_triplet_at_the_beat() -> None:
    assert _shown("1/12 1/12 1/12") == ["1/8:3"] * 3
    assert _shown("1/12 5/12") == ["1/8:3", "1/4:3+1/4"]
    assert _shown("1/6 1/6 1/6") == ["1/4:3"] * 3


def test_a_triplet_whose_middle_note_is_halved_is_still_one() -> None:
    def brackets(lengths: str) -> str:
        rows = values_of_bar([Fraction(part) for part in lengths.split()], QUARTER)
        signs = {(True, False): "(", (False, True): ")"}
        return "".join(
            signs.get((value.begins_tuplet, value.ends_tuplet), "-")
            for row in rows
            for value in row
        )

    assert brackets("1/12 1/24 1/24 1/12") == "(--)"
    assert brackets("1/24 1/24 1/12 1/12") == "(--)"
    # Two triplets of half the length stay two, and so do notes that no one triplet has.
    assert brackets("1/24 1/24 1/24 1/24 1/24 1/24") == "(-)(-)"
    assert brackets("1/12 1/24 1/12 1/24") == "()()"
    # A beat of its own is what a triplet takes at most.
    assert brackets("1/6 1/12 1/12 1/6") == "()()"


def test_a_third_of_a_dotted_beat_is_no_triplet() -> None:
    assert _shown("1/8 1/4 3/16 3/16", Fraction(3, 8)) == ["1/8", "1/4", "1/8.", "1/8."]


def test_beams_of_a_dotted_pair_have_a_hook_on_the_short_note() -> None:
    assert beams_of_group([1, 2]) == [("begin",), ("end", "backward hook")]
    assert beams_of_group([2, 1]) == [("begin", "forward hook"), ("end",)]
    assert beams_of_group([3, 3, 3]) == [("begin",) * 3, ("continue",) * 3, ("end",) * 3]
    assert beams_of_group([3]) == [()]


def _beams(lengths: str, meter: Meter, rests: str = "", offset: Fraction = Fraction(0)) -> str:
    values = [v for row in values_of_bar([Fraction(p) for p in lengths.split()], meter.beat_value)
              for v in row]  # fmt: skip
    silent = [letter == "z" for letter in rests.ljust(len(values))]
    marks = {(): ".", "begin": "(", "continue": "-", "end": ")"}
    return "".join(
        marks[value.beams[0] if value.beams else ()]
        for value in beam_groups(values, silent, meter, offset)
    )


def test_notes_are_beamed_by_the_beat() -> None:
    assert _beams("1/8 1/8 1/8 1/8", Meter(2, 4)) == "()()"
    assert _beams("1/8 1/8 1/8 1/8 1/8 1/8", Meter(6, 8)) == "(-)(-)"
    assert _beams("1/8 1/8 1/8 1/8", Meter(2, 2)) == "(--)"
    assert _beams("1/8 1/8 1/8", Meter(3, 8)) == "(-)"
    assert _beams("1/8 1/4 1/8", Meter(2, 4)) == "..."


def test_a_tuplet_over_a_beat_is_beamed_by_itself() -> None:
    assert _beams("1/12 1/12 1/12 1/8 1/8", Meter(2, 4)) == "(-)()"
    assert _beams("1/8 1/12 1/12 1/12 1/8", Meter(2, 4)) == ".(-)."
    assert _beams("3/16 1/24 1/24 1/24 3/16", Meter(2, 4)) == ".(-)."
    assert _beams("1/24 1/24 1/24 1/16 1/16", Meter(1, 4)) == "(---)"


def test_a_rest_ends_a_beam_and_a_pickup_counts_from_its_place_in_the_bar() -> None:
    assert _beams("1/8 1/16 1/16 1/8 1/8", Meter(2, 4), rests=" z") == "...()"
    assert _beams("1/8 1/8 1/8", Meter(2, 4), offset=Fraction(1, 8)) == ".()"
