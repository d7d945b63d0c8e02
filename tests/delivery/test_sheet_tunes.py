"""Tunes are printed as they are written: their parts, rows, repeats and endings."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from xml.etree import ElementTree

import pytest

from renderer.delivery.sheet.bar_lines import BAR_LINE
from renderer.delivery.sheet.content import content_of, material_of
from renderer.delivery.sheet.fitting import fitted
from renderer.delivery.sheet.layout import USUAL_SETTINGS, PrintSize
from renderer.delivery.sheet.phrases import Needs, TuneBar, rows_of_tune
from renderer.notation.abc.reader import read_abc
from renderer.notation.abc.writer import write_abc
from renderer.notation.definition.writer import write_definition
from renderer.notation.line_names import tunes_of
from renderer.notation.medley import medley_of
from renderer.notation.musicxml.writer import write_musicxml
from renderer.notation.score import Exercise
from renderer.notation.source_file import Source
from renderer.reading.exercise import read_exercise
from tests.delivery.written_tunes import AIR, REEL, SIX_EIGHT, SIXTY_FOUR, STRATHSPEY, TUNES

SVG = "{http://www.w3.org/2000/svg}"


def read(text: str) -> Exercise:
    return read_abc(Source("tune.abc", text.encode()))


def groups(svg: str, kind: str) -> list[ElementTree.Element]:
    root = ElementTree.fromstring(svg)
    return [group for group in root.iter(f"{SVG}g") if group.get("class") == kind]


def rows(text: str) -> list[list[int]]:
    """How many bars each row of each part has on the sheet."""
    content = content_of(read(text), USUAL_SETTINGS)
    return [[len(groups(staff.svg, "bar")) for staff in line.staves] for line in content.lines]


@pytest.mark.parametrize("kind", TUNES)
def test_bars_repeats_and_endings_are_as_many_as_the_music_has(kind: str) -> None:
    exercise = read(TUNES[kind])
    drawn = [staff for line in content_of(exercise, USUAL_SETTINGS).lines for staff in line.staves]
    bars = [bar for line in exercise.lines for bar in line.bars]
    assert sum(len(groups(staff.svg, "bar")) for staff in drawn) == len(bars)
    dots = [
        dot
        for staff in drawn
        for group in groups(staff.svg, "barlines")
        for dot in group
        if dot.tag == f"{SVG}circle"
    ]
    signs = [bar.signs for bar in bars]
    assert len(dots) == 2 * sum(one.opens + (one.closes > 0) for one in signs)
    texts = [text.text for staff in drawn for text in staff.texts]
    endings = [one.endings for one in signs if one.endings]
    assert [text for text in texts if text.endswith(".")] == [
        f"{ending[0]}." for ending in dict.fromkeys(endings)
    ]
    notes = sum(len(list(line.melody_notes)) for line in exercise.lines)
    tied = sum(len(groups(staff.svg, "tie")) for staff in drawn)
    assert sum(len(groups(staff.svg, "note")) for staff in drawn) == notes
    assert tied == sum(note.tied for line in exercise.lines for note in line.melody_notes)


def test_rows_are_broken_where_the_source_breaks_them_else_into_phrases_of_four() -> None:
    assert rows(SIX_EIGHT) == [[5, 5], [5, 4]]
    head, body = SIX_EIGHT.split("K:Hp\n")
    in_one_row = body.replace("|\n{g}", "|{g}").replace("|\n{gef}", "|{gef}")
    assert rows(f"{head}K:Hp\n{in_one_row}") == [[5, 5], [5, 4]]
    assert rows(SIXTY_FOUR) == [[4, 4]] * 8
    by_two = SIXTY_FOUR.replace("|{g}d2", "|\n{g}d2")
    assert rows(by_two) == [[2, 2, 2, 2]] * 8


def test_large_print_has_phrases_of_two() -> None:
    content = content_of(
        read(SIXTY_FOUR.replace("ecA|\n", "ecA|")), replace(USUAL_SETTINGS, size=PrintSize.LARGE)
    )
    for line in content.lines:
        assert [len(groups(staff.svg, "bar")) for staff in line.staves] == [2, 2, 2, 2]


def bar(least: float, length: Fraction = Fraction(3, 4), *, begins_row: bool = False) -> TuneBar:
    return TuneBar(
        Needs(least, least * 1.05, least * 1.2, least * 1.5, least * 1.5, 10), length, begins_row
    )


def test_a_pickup_stands_beside_the_grid_and_a_dense_row_is_halved() -> None:
    bars = [bar(100, Fraction(1, 4)), *[bar(1000)] * 8]
    first, second = rows_of_tune({1: bars}, 6000, 4)[1]
    assert (first.bars, second.bars) == (range(5), range(5, 9))
    assert first.widths[0] == 150
    assert len(set(first.widths[1:])) == len(set(second.widths)) == 1
    assert sum(first.widths) == pytest.approx(sum(second.widths)) == pytest.approx(6000)
    dense = rows_of_tune({1: [bar(2000)] * 8}, 6000, 4)[1]
    assert [len(row.bars) for row in dense] == [2, 2, 2, 2]


def test_a_bar_too_full_for_its_phrase_leaves_no_more_rows_behind_than_it_must() -> None:
    bars = [bar(70), bar(40), bar(40), bar(40)]
    rows = rows_of_tune({1: bars[:3], 2: bars}, 100, 2, keeps_rows=False)
    assert [[*row.bars] for row in rows[1]] == [[0], [1, 2]]
    # Phrases stay together where that takes no more rows.
    assert [[*row.bars] for row in rows[2]] == [[0], [1], [2, 3]]


def test_rows_of_as_many_bars_have_their_bar_lines_under_each_other() -> None:
    bars = [*[bar(1000)] * 3, bar(1800), *[bar(1000)] * 4]
    first, second = rows_of_tune({1: bars}, 6000, 4)[1]
    assert first.widths == second.widths


def test_equal_bars_of_a_childrens_row_stay_equal_beside_others_that_are_not() -> None:
    dense = [bar(70)] * 3
    lines = {1: dense, 2: dense, 3: [bar(20)] * 3, 4: [bar(45), bar(20)], 5: [bar(20), bar(21)]}
    rows = rows_of_tune(lines, 100, 2, keeps_rows=False)
    # The last bar stands under the first of its own line, though most rows have a bar alone.
    assert [row.widths for row in rows[3]] == [(50, 50), (50,)]
    assert rows[4][0].widths == pytest.approx((54, 46))
    # Those that are nearly equal stand under each other.
    assert rows[5][0].widths == (50, 50)


def test_a_second_ending_stays_in_the_row_of_the_first() -> None:
    found = rows_of_tune({1: [bar(1000)] * 9}, 6000, 4)[1]
    assert [len(row.bars) for row in found] == [4, 5]
    without_room = rows_of_tune({1: [bar(1400)] * 9}, 6000, 4)[1]
    assert [len(row.bars) for row in without_room] == [4, 3, 2]


@pytest.mark.parametrize("kind", ["6/8 march", "2/4 march", "strathspey", "reel", "slow air"])
def test_a_tune_of_two_parts_takes_one_page_at_its_own_rows(kind: str) -> None:
    exercise = read(TUNES[kind])
    pages = fitted([material_of(exercise, USUAL_SETTINGS)])
    assert pages.count() == 1
    usual = content_of(exercise, USUAL_SETTINGS)
    assert [len(line.staves) for line in pages.exercises[0].lines] == [
        len(line.staves) for line in usual.lines
    ]


def test_a_tune_has_bar_numbers_at_each_row_its_boxes_once_and_its_parts_counted() -> None:
    content = content_of(read(SIX_EIGHT), USUAL_SETTINGS)
    numbers = [
        [text.text for text in staff.texts if text.small] for staff in content.lines[0].staves
    ]
    # From the first whole bar: the pickup is not counted.
    assert numbers == [["1"], ["5"]]
    assert [line.name for line in content.lines] == ["Part 1", "Part 2"]
    assert [bool(line.rungs) for line in content.lines] == [True, False]
    assert content.tune == ("6/8 march", "Larkmoor collection")


def test_each_tune_of_a_medley_has_its_name_time_signature_and_what_is_said_of_it() -> None:
    medley = medley_of("Set", [read(STRATHSPEY), read(REEL), read(SIX_EIGHT), read(AIR)])
    content = content_of(medley, USUAL_SETTINGS)
    heads = {line.tune: line for line in content.lines if line.tune}
    assert list(heads) == [
        "Mistress Fernie of Larkmoor",
        "The Peat Creel",
        "Larkmoor Fair",
        "The Still Harbour",
    ]
    assert heads["The Peat Creel"].about == "Reel, Larkmoor collection"
    assert not content.notes
    assert [line.name for line in content.lines][:4] == ["Part 1", "Part 2", "Part 1", "Part 2"]
    twice = content_of(medley_of("Set", [read(REEL), read(REEL)]), USUAL_SETTINGS)
    glyphs = [line.staves[0].svg.count('href="#gE08') for line in twice.lines]
    assert glyphs[0] == glyphs[2] > 0 == glyphs[1] == glyphs[3]


def test_exercises_of_lines_are_no_tunes() -> None:
    assert tunes_of(read_exercise("birls")) == ()
    assert tunes_of(read(SIX_EIGHT)) == (1, 1)


def test_a_row_of_a_tune_fills_its_width() -> None:
    for line in content_of(read(SIX_EIGHT), USUAL_SETTINGS).lines:
        widths = [staff.width for staff in line.staves]
        assert all(abs(a - b) < BAR_LINE for a, b in pairwise(widths))


def rows_of_source(exercise: Exercise) -> list[list[int]]:
    """The bars of each part, from 0, that begin a row; the first of a part does anyway."""
    return [
        [index for index, one in enumerate(line.bars) if index and one.begins_row]
        for line in exercise.lines
    ]


@pytest.mark.parametrize("kind", TUNES)
def test_the_rows_of_a_source_outlive_conversion(kind: str, tmp_path: Path) -> None:
    exercise = read(TUNES[kind])
    own = rows_of_source(exercise)
    for name, content in (
        ("tune.abc", write_abc(exercise)),
        ("tune.toml", write_definition(exercise)),
        ("tune.musicxml", write_musicxml(exercise)),
    ):
        (tmp_path / name).write_bytes(content)
        assert rows_of_source(read_exercise(tmp_path / name)) == own, name


def test_a_long_row_of_the_source_stays_one() -> None:
    head, body = SIXTY_FOUR.split("K:Hp\n")
    exercise = read(f"{head}K:Hp\n{body.replace('|' + chr(10), '|')}")
    assert len(exercise.lines[0].bars) > 8
    assert not any(rows_of_source(exercise))
    written = write_abc(exercise)
    assert b"|\\\n" in written
    assert rows_of_source(read(written.decode())) == rows_of_source(exercise)


def test_a_row_that_begins_with_a_pickup_has_the_number_of_its_first_whole_bar() -> None:
    exercise = read(SIX_EIGHT)
    first = exercise.lines[0]
    numbered = replace(
        first, bars=tuple(replace(one, number=str(n)) for n, one in enumerate(first.bars))
    )
    content = content_of(replace(exercise, lines=(numbered, *exercise.lines[1:])), USUAL_SETTINGS)
    numbers = [
        [text.text for text in staff.texts if text.small] for staff in content.lines[0].staves
    ]
    assert numbers == [["1"], ["5"]]


def test_a_row_that_begins_inside_a_bar_has_the_number_of_its_first_whole_bar() -> None:
    bars = "|:e|A2 e2|f2 e2|A4|A3:|:e|A2 e2|f2 e2|A4|A3:|"
    content = content_of(read(f"X:1\nM:4/4\nL:1/4\nK:HP\n{bars}\n"), USUAL_SETTINGS)
    numbers = [
        [text.text for text in staff.texts if text.small] for staff in content.lines[0].staves
    ]
    # The second row goes on in bar 4, after its repeat.
    assert numbers == [["1"], ["5"]]
