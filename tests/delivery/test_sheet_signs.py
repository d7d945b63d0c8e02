"""Sheets show a tune's form: repeats, endings, words over bars, jumps, whose tune it is."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise
from xml.etree import ElementTree

from hypothesis import given
from hypothesis import strategies as st

from renderer.delivery.sheet.content import content_of
from renderer.delivery.sheet.drawing import EDGE, Drawing, extent_of
from renderer.delivery.sheet.engraving import STAFF_HEIGHT, engrave
from renderer.delivery.sheet.layout import USUAL_SETTINGS
from renderer.delivery.sheet.over_staff import (
    MOST_ROWS,
    OverStaff,
    StaffText,
    signs_in_words,
)
from renderer.delivery.sheet.pages import lay_out
from renderer.delivery.sheet.systems import System, lay_systems, stacked_lines
from renderer.notation.abc.reader import read_abc
from renderer.notation.pitch import Note
from renderer.notation.score import Bar, Exercise, Line, MelodyNote, Meter, Slot
from renderer.notation.signs import Signs
from renderer.notation.source_file import Source
from tests.sampling import examples

WIDTH = 18_000.0
HALF = WIDTH * 0.48
TEXT = USUAL_SETTINGS.text_units
HEADER = (
    "X:1\nT:The Larkmoor Ferry\nR:march\nC:nobody yet\nO:Larkmoor\nN:Not fast.\n"
    "M:4/4\nL:1/4\nK:HP\n"
)


def tune(code: str) -> Exercise:
    return read_abc(Source("tune.abc", (HEADER + code).encode()))


def laid(exercise: Exercise) -> list[tuple[System, ...]]:
    return list(lay_systems(stacked_lines([engrave(exercise).lines]), WIDTH, HALF))


def drawn(exercise: Exercise) -> list[Drawing]:
    """The drawing of every system of the first line."""
    engraving = engrave(exercise)
    systems = lay_systems(stacked_lines([engraving.lines]), WIDTH, HALF)[0]
    over = [OverStaff(system, TEXT) for system in systems]
    extent = extent_of(systems, has_marks=False, over=over)
    return [
        Drawing(system, extent, engraving.symbols, over=one)
        for system, one in zip(systems, over, strict=True)
    ]


def group(drawing: Drawing, name: str) -> list[ElementTree.Element]:
    found = ElementTree.fromstring(drawing.svg).find(f".//*[@class='{name}']")
    return [] if found is None else list(found)


def dots(drawing: Drawing) -> list[tuple[float, float]]:
    """The dots of the bar lines, from the left."""
    circles = [piece for piece in group(drawing, "barlines") if piece.tag.endswith("circle")]
    return sorted((float(one.get("cx", "")), float(one.get("cy", ""))) for one in circles)


def test_a_repeat_has_two_dots_in_the_middle_spaces_on_the_side_of_what_is_repeated() -> None:
    (drawing,) = drawn(tune("A4|:B4|c4:|d4|]\n"))
    bars = drawing.system.bars
    opening, closing = dots(drawing)[:2], dots(drawing)[2:]
    for pair in (opening, closing):
        assert [y for _, y in pair] == [STAFF_HEIGHT * 3 / 8, STAFF_HEIGHT * 5 / 8]
    assert bars[1].left < opening[0][0] < bars[1].left + bars[1].places[Fraction(0)]
    assert closing[0][0] < bars[3].left
    assert opening[0][0] - bars[1].left < bars[1].width / 4
    assert bars[3].left - closing[0][0] < bars[2].width / 4


def test_one_repeat_after_another_shares_its_thick_stroke() -> None:
    (both,) = drawn(tune("|:A4:|:B4:|c4|]\n"))
    (apart,) = drawn(tune("|:A4:|c4|:B4:|]\n"))
    assert len(dots(both)) == len(dots(apart)) == 8

    def thick(drawing: Drawing) -> int:
        return sum(one.get("stroke-width") == "90" for one in group(drawing, "barlines"))

    assert (thick(both), thick(apart)) == (3 + 1, 4)


def test_notes_stand_clear_of_the_dots_of_a_repeat() -> None:
    for code in (
        "|:A4:|\n",
        "A4|]\n|:B4:|c4|]\n",
        "|:[M:3/4]A3|:B3:|\n",
        "|:{gAd}A/4B/4A/4B/4A3:|:A4:|\n",
    ):
        (drawing,) = drawn(tune(code))
        for bar in drawing.system.bars:
            columns = bar.staves[0].columns
            places = [bar.left + bar.places[column.start] for column in columns]
            left = places[0] - (columns[0].anchor - columns[0].box.left)
            right = places[-1] + columns[-1].box.right - columns[-1].anchor
            for x, _ in dots(drawing):
                inside = bar.left < x < bar.left + bar.width
                assert not inside or x + 34 < left or x - 34 > right


def test_endings_have_brackets_over_their_bars_with_their_numbers() -> None:
    (drawing,) = drawn(tune("|:A4|[1,3 B4|c4:|[2 d4|]\n"))
    bars = drawing.system.bars
    numbers = {text.text: text.x for text in drawing.texts}
    assert set(numbers) == {"1,3.", "2."}
    assert bars[1].left < numbers["1,3."] < bars[2].left
    assert bars[3].left < numbers["2."]
    # Over each bar a stroke, and a hook at each end of both.
    assert len(group(drawing, "endings")) == 3 + 4


def test_the_bracket_of_an_ending_goes_on_in_the_next_system_without_a_hook() -> None:
    code = "|:A4|[1" + "|".join(["{gAGAG}A{gcd}c{gef}e{ag}a"] * 9) + ":|\n"
    drawings = drawn(tune(code))
    assert len(drawings) > 1
    shown = [text.text for one in drawings for text in one.texts if not text.small]
    assert shown == ["1."]
    hooks = [len(group(one, "endings")) - len(one.system.bars) for one in drawings]
    # The first bar has no ending.
    assert hooks[0] + 1 == 1
    assert sum(hooks[1:]) == 1


def test_signs_and_words_stand_over_the_ends_of_the_bars_that_they_belong_to() -> None:
    (drawing,) = drawn(tune('!segno!A4|"^lightly"B4!dacoda!|c4!fine!|d4!D.S.alcoda!||!coda!e4|]\n'))
    bars = drawing.system.bars
    ends = {text.text: text.x for text in drawing.texts if text.ends_there}
    assert ends == {
        "To Coda": bars[2].left,
        "Fine": bars[3].left,
        "D.S. al Coda": bars[4].left,
    }
    (words,) = [text for text in drawing.texts if text.text == "lightly"]
    assert bars[1].left < words.x < bars[2].left
    assert len(group(drawing, "signs")) == 2, "a segno and a coda"


def test_a_repeat_that_is_played_more_than_twice_says_so() -> None:
    (drawing,) = drawn(tune("|:A4|B4:::|\n"))
    assert [text.text for text in drawing.texts] == ["4 times"]


def _spans(system: System) -> list[tuple[float, float, float]]:
    """The row, left and right edge of each text over a system, as wide as it is taken to be."""
    found = []
    for text in OverStaff(system, TEXT).texts(0.0, 0.0):
        if not text.small:
            width = len(text.text) * TEXT / 2
            left = text.x - width if text.ends_there else text.x
            found.append((text.y, left, left + width))
    return sorted(found)


@examples(60)
@given(
    st.lists(
        st.tuples(
            st.text("abc ", max_size=30),
            st.sampled_from([Signs(), Signs(fine=True), Signs(jump="D.C. al Fine", segno=True)]),
        ),
        min_size=2,
        max_size=6,
    )
)
def test_words_over_a_staff_never_overlap_and_end_with_it(
    said: list[tuple[str, Signs]],
) -> None:
    meter, note = Meter(4, 4), MelodyNote(Fraction(4), (Slot(Note.B),))
    bars = tuple(Bar((note,), meter, signs=signs, words=(words,)) for words, signs in said)
    for system in laid(Exercise("Words", (Line(bars),)))[0]:
        spans = _spans(system)
        assert len({row for row, _, _ in spans}) <= MOST_ROWS
        for one, other in pairwise(spans):
            assert one[0] != other[0] or one[2] <= other[1]
        assert all(right <= system.width + 1 for _, _, right in spans)


def test_bars_have_the_scores_own_numbers_at_the_beginning_of_each_system() -> None:
    code = "[I:setbarnb 17]" + "|".join(["{gAGAG}A{gcd}c{gef}e{ag}a"] * 12) + "|]\n"
    drawings = drawn(tune(code))
    assert len(drawings) > 1
    for one in drawings:
        (number,) = [text.text for text in one.texts if text.small]
        assert number == str(16 + one.system.bars[0].number)


def test_a_pickup_takes_no_more_of_its_system_than_it_needs() -> None:
    (systems,) = laid(tune("e|" + "|".join(["{g}A{gcd}c{gef}e{ag}a"] * 8) + "|]\n"))
    first = systems[0].bars
    assert first[0].width < first[1].width / 2
    widths = [bar.width for bar in first[1:]]
    assert max(widths) < 1.03 * min(widths)


def test_the_head_of_a_sheet_says_whose_tune_it_is() -> None:
    content = content_of(tune("A4|]\n"), USUAL_SETTINGS)
    assert content.tune == ("march, Larkmoor", "nobody yet")
    assert content.notes == ("Not fast.",)


def test_a_sheet_says_in_which_order_its_parts_are_played() -> None:
    text = HEADER.replace("K:HP", "P:ABA\nK:HP") + "P:A\nA4|]\nP:B\nB4|]\n"
    exercise = read_abc(Source("tune.abc", text.encode()))
    content = content_of(exercise, USUAL_SETTINGS)
    assert "Lines are played in the order 1, 2, 1" in content.directions


def test_who_cannot_see_the_drawing_is_told_its_repeats() -> None:
    line = tune("|:A4|1 B4:|2 c4!D.C.!|]\n").lines[0]
    assert signs_in_words(line) == (
        "bar 1: a repeat begins; bar 2: ending 1 begins, it is repeated from its end; "
        "bar 3: ending 2 begins, D.C."
    )


def test_texts_over_staves_are_on_the_page() -> None:
    exercise = tune('|:A4|"^lightly"A4|1 B4:|2 c4!fine!|]\n')
    content = content_of(exercise, USUAL_SETTINGS)
    (staff,) = content.lines[0].staves
    shown: dict[str, StaffText] = {text.text: text for text in staff.texts}
    assert set(shown) == {"1", "lightly", "1.", "2.", "Fine"}
    for text in shown.values():
        assert EDGE <= text.x <= staff.width
        assert 0 < text.y < staff.height
    assert lay_out([content]).pdf().startswith(b"%PDF")
