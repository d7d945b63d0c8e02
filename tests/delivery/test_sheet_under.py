"""What stands under a staff: beats where the music has them, parts of beats, names of notes."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from xml.etree import ElementTree

import pytest

from renderer.delivery.sheet.content import content_of
from renderer.delivery.sheet.engraving import engrave
from renderer.delivery.sheet.layout import (
    USUAL_SETTINGS,
    Counting,
    Form,
    PrintSize,
    SheetSettings,
)
from renderer.delivery.sheet.over_staff import StaffText
from renderer.delivery.sheet.systems import System, lay_systems, stacked_lines
from renderer.delivery.sheet.under_staff import RULER_HEIGHT, beats_of, place_at, ruler
from renderer.notation.length import Length
from renderer.notation.playing import Inner
from renderer.notation.score import Exercise
from renderer.reading.exercise import read_exercise
from tests.delivery.larkmoor import doublings

SVG = "{http://www.w3.org/2000/svg}"
CHILDREN = replace(USUAL_SETTINGS, size=PrintSize.CHILDREN)


def opened_by(share: Fraction) -> Exercise:
    return replace(doublings(), inner=Inner((Length(share, "beat"),)))


def first_system(exercise: Exercise) -> System:
    return lay_systems(stacked_lines([engrave(exercise).lines]), 17_000, 8_000)[0][0]


@pytest.mark.parametrize("share", [Fraction(1, 2), Fraction(1, 3), Fraction(1, 4)])
def test_a_ruler_divides_a_beat_into_as_many_parts_as_its_movement_does(share: Fraction) -> None:
    exercise = opened_by(share)
    system = first_system(exercise)
    drawn = ElementTree.fromstring(
        f'<svg xmlns="http://www.w3.org/2000/svg">{ruler(system).svg}</svg>'
    )
    strokes = len(list(drawn.iter(f"{SVG}path"))) - 1
    plain = sum(1 for bar in system.bars for _ in beats_of(bar))
    bars = exercise.lines[0].bars[: len(system.bars)]
    notes = [item for bar in bars for item in bar.items]
    assert plain == sum(bar.beats for bar in bars)
    opened = sum(len(getattr(note, "slots", ())) > 1 for note in notes)
    assert opened > 0
    assert strokes == plain + opened * (share.denominator - 1)


def test_a_note_stands_over_its_place_on_the_ruler() -> None:
    system = first_system(opened_by(Fraction(1, 2)))
    for bar in system.bars:
        for column in bar.staves[0].columns:
            left = bar.left + bar.places[column.start]
            head = column.head.box
            middle = left + (head.right - head.left) / 2
            assert place_at(bar, column.start) == pytest.approx(
                middle, abs=12
            )  # heads differ by a hair


def test_beats_of_a_pickup_are_counted_from_where_its_bar_would_begin() -> None:
    exercise = read_exercise("pickups")
    systems = lay_systems(stacked_lines([engrave(exercise).lines]), 17_000, 8_000)
    for line, (first, *_) in zip(exercise.lines, systems, strict=True):
        bar = line.bars[0]
        counted = [number for number, _ in beats_of(first.bars[0])]
        if bar.beats < bar.meter.beats:
            assert counted[-1:] in ([bar.meter.beats], [])
            assert len(counted) <= bar.beats


def texts(exercise: Exercise, settings: SheetSettings) -> list[list[StaffText]]:
    lines = content_of(exercise, settings).lines
    return [[text for staff in line.staves for text in staff.texts] for line in lines]


def test_beginners_have_numbers_of_beats_others_a_ruler_under_opened_movements_only() -> None:
    beginner = read_exercise("gracenote-on-every-beat")
    for line, found in zip(beginner.lines, texts(beginner, USUAL_SETTINGS), strict=True):
        numbers = [text.text for text in found if text.centred]
        assert numbers == [str(beat) for bar in line.bars for beat in range(1, bar.meter.beats + 1)]
    closing = content_of(read_exercise("closing-doublings"), USUAL_SETTINGS)
    assert ['class="ruler"' in line.staves[0].svg for line in closing.lines] == [True] * 3 + [False]
    assert sum(item.text == "beats and their parts" for item in closing.legend) == 1
    none = content_of(
        read_exercise("closing-doublings"), replace(USUAL_SETTINGS, counting=Counting.NONE)
    )
    assert not any('class="ruler"' in line.staves[0].svg for line in none.lines)
    rulers = zip(closing.lines[:3], none.lines[:3], strict=True)
    for one, other in rulers:
        assert one.staves[0].height == pytest.approx(other.staves[0].height + RULER_HEIGHT)


def test_children_have_two_bars_a_row_on_a_staff_of_12_mm_and_each_note_by_its_name() -> None:
    exercise = read_exercise("the-nine-notes")
    assert CHILDREN.space_mm * 4 == 12
    content = content_of(exercise, CHILDREN)
    for line, shown in zip(exercise.lines, content.lines, strict=True):
        bars = [staff.svg.count('class="bar"') for staff in shown.staves]
        assert set(bars[:-1]) <= {2}
        assert bars[-1] <= 2 + (len(line.bars) % 2)
        found = [text for staff in shown.staves for text in staff.texts if text.centred]
        letters = [text.text for text in found if not text.bold and not text.small]
        assert letters == [note.note.label.split()[-1] for note in line.melody_notes]
        registers = [text.text for text in found if text.small]
        assert registers == [
            note.note.label.split()[0] for note in line.melody_notes if " " in note.note.label
        ]
    said = [part for fact in content.facts for part in fact if isinstance(part, str)]
    assert not any("ms" in part for part in said)


def test_registers_of_notes_close_together_stand_in_two_rows() -> None:
    (staff,) = content_of(read_exercise("holding-and-cutting"), CHILDREN).lines[-1].staves
    low = [(text.x, text.y) for text in staff.texts if text.small and text.text == "low"]
    # A, far from it A and G, which are a demisemiquaver apart.
    (_, first), (a, second), (g, third) = low
    assert first == second < third
    wide = 1.5 * CHILDREN.text_units
    assert 0.5 * wide < g - a < wide
    (alone,) = content_of(read_exercise("holding-and-cutting"), CHILDREN).lines[0].staves
    assert len({text.y for text in alone.texts if text.small}) == 1
    # The beats' numbers stand lower by that row.
    below, usual = (
        max(text.y for text in one.texts if text.bold)
        - max(text.y for text in one.texts if text.centred and not text.bold and not text.small)
        for one in (staff, alone)
    )
    assert below - usual == pytest.approx(third - second)


def test_a_ruler_of_both_forms_stands_between_the_staves_under_the_opened_one() -> None:
    exercise = read_exercise("closing-doublings")
    both = replace(USUAL_SETTINGS, form=Form.BOTH)
    with_ruler = content_of(exercise, both).lines[0].staves[0]
    without = content_of(exercise, replace(both, counting=Counting.NONE)).lines[0].staves[0]
    assert with_ruler.height == pytest.approx(without.height + RULER_HEIGHT)
    (before,) = [text.y for text in without.texts if text.text == "closed"]
    (after,) = [text.y for text in with_ruler.texts if text.text == "closed"]
    assert after == pytest.approx(before + RULER_HEIGHT)
