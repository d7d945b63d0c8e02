"""What is drawn is the music: every note once, in its place, with the look of pipe music."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from functools import cache
from itertools import pairwise
from pathlib import Path
from xml.etree import ElementTree

import pytest
from hypothesis import given

from renderer.delivery.sheet.content import label_indent, marks_of, material_of
from renderer.delivery.sheet.drawing import EDGE, MARK_WIDTH, Drawing, Extent, Mark, extent_of
from renderer.delivery.sheet.engraving import (
    GRACE_TOP,
    EngravedBar,
    EngravedLine,
    Engraving,
    engrave,
)
from renderer.delivery.sheet.fitting import fitted
from renderer.delivery.sheet.layout import (
    UNITS_A_SPACE,
    USUAL_SETTINGS,
    Form,
    Imposition,
    Paper,
    PrintSize,
    SheetSettings,
    Shown,
)
from renderer.delivery.sheet.over_staff import OverStaff
from renderer.delivery.sheet.pieces import Glyph, Stroke
from renderer.delivery.sheet.systems import StackedLine, System, lay_systems, rows_of, stacked_lines
from renderer.delivery.sheet.tempo_marks import TempoMark, drawn_mark, tempo_marks
from renderer.errors import RungwiseError
from renderer.notation.abc.reader import read_abc
from renderer.notation.length import Length
from renderer.notation.line_names import tunes_of
from renderer.notation.note_values import beam_groups, values_of_bar
from renderer.notation.pitch import Note
from renderer.notation.playing import Inner
from renderer.notation.printed import Opened, pickup_of, printed_line
from renderer.notation.score import Bar, Exercise, Line, MelodyNote, Meter, Slot, bar_offsets
from renderer.notation.source_file import Source
from renderer.reading.exercise import read_exercise
from renderer.reading.library import shipped_exercises
from renderer.technique.fingering import Hand
from tests.delivery.larkmoor import doublings
from tests.delivery.written_tunes import TUNES
from tests.sampling import examples, sampled
from tests.timing.strategies import exercises

FORMS: tuple[Opened, ...] = ("as written", "open", "closed")
WIDTH = 18_000.0
HALF = 8_640.0
SHIPPED = [exercise.name for exercise in shipped_exercises()]
SVG = "{http://www.w3.org/2000/svg}"


@cache
def shipped(name: str) -> Exercise:
    return read_exercise(name)


def drawings(exercise: Exercise, forms: tuple[Opened, ...]) -> list[ElementTree.Element]:
    """The drawing of every system, parsed."""
    engravings = [engrave(exercise, form) for form in forms]
    symbols = {code: path for one in engravings for code, path in one.symbols.items()}
    drawn = []
    for systems in lay_systems(stacked_lines([one.lines for one in engravings]), WIDTH, HALF):
        extent = extent_of(systems, has_marks=False)
        drawn += [Drawing(system, extent, symbols).svg for system in systems]
    return [ElementTree.fromstring(svg) for svg in drawn]


def counts(drawn: list[ElementTree.Element]) -> Counter[str]:
    return Counter(
        group.get("class", "")
        for root in drawn
        for group in root.iter("{http://www.w3.org/2000/svg}g")
        if group.get("class") not in (None, "barlines", "half-tie")
    )


def expected(exercise: Exercise, form: Opened) -> Counter[str]:
    """What the music has, counted from its note values alone."""
    found: Counter[str] = Counter()
    for number, line in enumerate(exercise.lines, start=1):
        for bar, notes, offset in zip(
            line.bars,
            printed_line(exercise, number, form).notes,
            bar_offsets(line.bars),
            strict=True,
        ):
            rows = values_of_bar([note.length for note in notes], bar.meter.beat_value)
            owners = [note for note, row in zip(notes, rows, strict=True) for _ in row]
            flat = beam_groups(
                [value for row in rows for value in row],
                [owner.note is None for owner in owners],
                bar.meter,
                offset * bar.meter.beat_value,
            )
            found["bar"] += 1
            found["beam"] += sum(value.beams[:1] == ("begin",) for value in flat)
            found["beam gracenotes"] += sum(len(note.group) > 1 for note in notes)
            found["gracenote"] += sum(len(note.group) for note in notes)
            found["note"] += sum(owner.note is not None for owner in owners)
            found["rest"] += sum(owner.note is None for owner in owners)
            found["tie"] += sum(
                len(row) - 1 + note.tied_on
                for note, row in zip(notes, rows, strict=True)
                if note.note is not None
            )
    return +found


@pytest.mark.parametrize("name", sampled(SHIPPED, 8))
@pytest.mark.parametrize("form", FORMS)
def test_notes_gracenotes_beams_and_bars_are_drawn_as_often_as_a_shipped_exercise_has_them(
    name: str, form: Opened
) -> None:
    assert counts(drawings(shipped(name), (form,))) == expected(shipped(name), form)


@given(exercise=exercises())
@examples(40)
def test_notes_gracenotes_beams_and_bars_are_drawn_as_often_as_the_music_has_them(
    exercise: Exercise,
) -> None:
    for form in FORMS:
        try:
            music = expected(exercise, form)
        except RungwiseError:
            # An inner length of its own may not fit a short note, opened out.
            continue
        assert counts(drawings(exercise, (form,))) == music


def test_both_forms_are_drawn_one_under_the_other_with_all_their_notes() -> None:
    exercise = shipped("grips-and-taorluaths")
    both = counts(drawings(exercise, ("open", "closed")))
    assert both == expected(exercise, "open") + expected(exercise, "closed")


def laid(exercise: Exercise, *forms: Opened) -> tuple[tuple[System, ...], ...]:
    return lay_systems(
        stacked_lines([engrave(exercise, form).lines for form in forms or FORMS[:1]]), WIDTH, HALF
    )


@given(exercise=exercises())
@examples(40)
def test_notes_of_a_bar_stand_in_order_and_never_on_each_other_or_the_bar_lines(
    exercise: Exercise,
) -> None:
    for systems in laid(exercise):
        for bar in (bar for system in systems for bar in system.bars):
            right = 0.0
            for column in bar.staves[0].columns:
                if column.fills_bar:
                    continue
                place = bar.places[column.start]
                box = column.box
                assert place + box.left - column.anchor > right
                right = place + box.right - column.anchor
            assert right < bar.width + 0.01


@pytest.mark.parametrize("name", sampled(SHIPPED, 8))
def test_bar_lines_of_lines_with_the_same_bars_stand_under_each_other(name: str) -> None:
    exercise = shipped(name)
    edges: dict[object, set[tuple[tuple[float, float], ...]]] = {}
    for index, (line, systems) in enumerate(zip(exercise.lines, laid(exercise), strict=True)):
        bars = tuple((bar.meter, bar.beats) for bar in line.bars)
        widths = tuple((bar.left, bar.width) for system in systems for bar in system.bars)
        edges.setdefault((bars, len(systems)), set()).add(widths)
        (alone,) = laid(replace(exercise, lines=exercise.lines[index : index + 1]))
        assert len(systems) <= len(alone), "no line is broken for the sake of others"
    assert all(len(different) == 1 for different in edges.values())


DENSE = """
title = "A dense bar under a walk"
meter = "2/4"

[[lines]]
run = "low G, low A, B, C, D, E, F"
ornament = "G gracenote"
walk = true
notes-per-beat = 4

[[lines]]
run = "low G, low A, B, C, D, E, F, high G"
ornament = "doubling"
notes-per-beat = 4
"""


def test_a_dense_bar_does_not_crush_the_bars_of_an_unlike_line(tmp_path: Path) -> None:
    path = tmp_path / "dense.toml"
    path.write_text(DENSE, encoding="utf-8")
    exercise = read_exercise(path)
    beside, dense = laid(exercise)
    (alone,) = laid(replace(exercise, lines=exercise.lines[:1]))

    def widths(systems: tuple[System, ...]) -> list[float]:
        return [round(bar.width) for system in systems for bar in system.bars]

    # Alone it ends with the exercise's last bar line, which is wider.
    assert widths(beside) == pytest.approx(widths(alone), rel=0.02)
    assert len(set(widths(beside))) == 1
    assert dense[0].bars[0].width > 1.5 * beside[0].bars[0].width


def test_walks_of_one_pattern_stand_under_each_other_whatever_the_width() -> None:
    engraved = [engrave(shipped("every-doubling-from-low-g-to-f")).lines]
    for width in (WIDTH * 0.6, WIDTH, WIDTH * 1.5):
        lines = lay_systems(stacked_lines(engraved), width, width * 0.48)
        assert len({tuple(round(bar.width) for s in one for bar in s.bars) for one in lines}) == 1


def test_short_neighbours_get_half_a_row_each_and_a_short_line_among_long_ones_does_not() -> None:
    short, long = bar_of("2", "2"), bar_of("1", "1", "1", "1")
    lines = [Line((short,)), Line((short,)), Line((long,) * 4), Line((short,))]
    two = laid(Exercise("Two", tuple(lines[:2])))
    assert rows_of(two, HALF) == ((0, 1),)
    for (system,) in two:
        assert system.width == pytest.approx(HALF)
    assert rows_of(laid(Exercise("Last", tuple(lines[2:]))), HALF) == ((0,), (1,))


def test_what_sounds_together_stands_together_on_both_staves() -> None:
    exercise = shipped("doublings-over-a-wide-step")
    for systems in laid(exercise, "open", "closed"):
        for bar in (bar for system in systems for bar in system.bars):
            opened, closed = bar.staves
            starts = {column.start for column in closed.columns}
            assert starts & {column.start for column in opened.columns}
            assert starts <= set(bar.places)


def bars_of(engraving: Engraving) -> list[EngravedBar]:
    return [bar for line in engraving.lines for bar in line.bars]


@pytest.mark.parametrize("name", SHIPPED)
def test_gracenotes_are_small_with_stems_up_to_one_height(name: str) -> None:
    engraving = engrave(shipped(name), "closed")
    for bar in bars_of(engraving):
        for column in bar.columns:
            for _, pieces in column.gracenotes:
                head = next(piece for piece in pieces if isinstance(piece, Glyph))
                stem = next(
                    piece for piece in pieces if isinstance(piece, Stroke) and piece.x1 == piece.x2
                )
                assert head.scale < column.head.scale * 0.8
                assert GRACE_TOP <= min(stem.y1, stem.y2) <= GRACE_TOP + 20
                assert min(stem.y1, stem.y2) < head.box.top - 360
            if column.grace_beams:
                assert {beam.box.top for beam in column.grace_beams[:1]} == {GRACE_TOP}
                assert max(beam.box.bottom for beam in column.grace_beams) < -250


@pytest.mark.parametrize("name", SHIPPED)
def test_melody_notes_have_their_stems_down_and_no_accidental_is_printed(name: str) -> None:
    for bar in bars_of(engrave(shipped(name))):
        for column in bar.columns:
            if column.is_rest:
                continue
            head = column.head.box
            stems = [
                piece for piece in column.note if isinstance(piece, Stroke) and piece.x1 == piece.x2
            ]
            assert all(max(stem.y1, stem.y2) > head.bottom for stem in stems)
            codes = [piece.code for piece in column.note if isinstance(piece, Glyph)]
            assert all(code.startswith(("E0A", "E24")) for code in codes)


def one_line(*bars: Bar) -> Exercise:
    return Exercise("A line", (Line(bars),))


FOUR_FOUR = Meter(4, 4)


def bar_of(*beats: str, meter: Meter = FOUR_FOUR) -> Bar:
    return Bar(tuple(MelodyNote(Fraction(b), (Slot(Note.B),)) for b in beats), meter)


def test_a_line_that_fits_is_one_system_and_a_long_one_is_broken_evenly() -> None:
    bar = bar_of("1", "1", "1", "1")
    (short,) = laid(one_line(*[bar] * 4))
    (long,) = laid(one_line(*[bar] * 64))
    assert len(short) == 1
    assert len({len(system.bars) for system in long}) == 1
    assert len({round(system.width) for system in long}) == 1
    assert [bar.number for system in long for bar in system.bars] == list(range(1, 65))


def test_a_single_note_is_not_stretched_over_the_page() -> None:
    ((system,),) = laid(one_line(bar_of("1", meter=Meter(1, 4))))
    assert system.width < WIDTH / 2


def test_a_bar_that_is_wider_than_the_page_is_kept_whole() -> None:
    crowded = bar_of(*["1/8"] * 64, meter=Meter(8, 4))
    ((system,),) = laid(one_line(crowded))
    assert system.width > WIDTH
    assert len(system.bars[0].staves[0].columns) == 64


SIZES = {
    size: replace(USUAL_SETTINGS, size=size)
    for size in (PrintSize.NORMAL, PrintSize.LARGE, PrintSize.COMPACT, PrintSize.CHILDREN)
}


VARIANTS = (
    *SIZES.values(),
    replace(USUAL_SETTINGS, landscape=True),
    replace(USUAL_SETTINGS, paper=Paper.LETTER),
    replace(USUAL_SETTINGS, imposition=Imposition.CARDS, paired=True),
    replace(USUAL_SETTINGS, imposition=Imposition.PAIRS),
    replace(USUAL_SETTINGS, scale=0.9, alike=True),
    replace(USUAL_SETTINGS, scale=1.3, paired=True),
    replace(USUAL_SETTINGS, scale=1.6, alike=True),
)


def stacked(exercise: Exercise, *forms: tuple[EngravedLine, ...]) -> tuple[StackedLine, ...]:
    return stacked_lines(forms, (), tunes_of(exercise))


def unevenness(lines: Sequence[StackedLine], settings: SheetSettings, indent: float = 0.0) -> float:
    """The largest distance of equal notes over the smallest, at worst in any bar of any staff."""
    laid_out = lay_systems(
        lines,
        settings.system_units - 2 * EDGE,
        settings.half_units - 2 * EDGE,
        indent,
        paired=settings.paired,
        phrase=settings.phrase,
        only_phrases=settings.is_for_children,
        alike=settings.alike,
    )
    worst = 1.0
    for bar in (bar for systems in laid_out for system in systems for bar in system.bars):
        for staff in bar.staves:
            steps: dict[Fraction, list[float]] = {}
            for note, following in pairwise(staff.columns):
                step = bar.places[following.start] - bar.places[note.start]
                steps.setdefault(note.length, []).append(step)
            worst = max([worst, *(max(equal) / min(equal) for equal in steps.values())])
    return worst


@pytest.mark.parametrize("name", SHIPPED)
def test_equal_notes_of_a_bar_stand_equally_far_apart_whatever_gracenotes_are_between(
    name: str,
) -> None:
    exercise = shipped(name)
    written = stacked(exercise, engrave(exercise).lines)
    for variant in VARIANTS:
        assert unevenness(written, variant) <= 1.15
    numbers = range(1, len(exercise.lines) + 1)
    forms: tuple[Opened, ...] = ("open", "closed")
    pickups = [max(pickup_of(exercise, number, form) for form in forms) for number in numbers]
    opened, closed = (engrave(exercise, form, pickups).lines for form in forms)
    for lines in (stacked(exercise, opened), stacked(exercise, closed)):
        assert unevenness(lines, SIZES[PrintSize.LARGE]) <= 1.15
    both = stacked(exercise, opened, closed)
    for variant in (USUAL_SETTINGS, SIZES[PrintSize.COMPACT], VARIANTS[len(SIZES)]):
        assert unevenness(both, variant) <= 1.15


@pytest.mark.parametrize("name", ["nine-eight-jig", "crunluaths", "strathspey-full"])
@pytest.mark.parametrize("size", [PrintSize.LARGE, PrintSize.CHILDREN])
def test_staves_of_both_forms_are_so_large_that_their_widest_bar_stands_evenly(
    name: str, size: PrintSize
) -> None:
    wanted = replace(SIZES[size], form=Form.BOTH)
    material = material_of(shipped(name), wanted)
    assert unevenness(material.lines, wanted, label_indent(material, wanted)) > 1.15
    one = fitted([material], wanted).settings
    assert PrintSize.NORMAL.space_mm <= one.space_mm < size.space_mm
    assert one.text_pt == size.text_pt
    assert unevenness(material.lines, one, label_indent(material, one)) <= 1.15


def test_lines_of_the_same_bars_are_equally_wide() -> None:
    for name, print_settings in (
        ("crossing-noises", replace(USUAL_SETTINGS, landscape=True, scale=1.2)),
        ("light-strikes", SIZES[PrintSize.COMPACT]),
        ("dotted-scales", SIZES[PrintSize.COMPACT]),
        ("g-d-e-gracenotes", SIZES[PrintSize.COMPACT]),
    ):
        exercise = shipped(name)
        width, half = print_settings.system_units - 2 * EDGE, print_settings.half_units - 2 * EDGE
        widths: dict[tuple[Fraction, ...], set[int]] = {}
        lines = stacked(exercise, engrave(exercise).lines)
        for line, systems in zip(lines, lay_systems(lines, width, half), strict=True):
            assert len(systems) == 1
            widths.setdefault(line.signature, set()).add(round(systems[0].width))
        assert all(len(found) == 1 for found in widths.values()), name


def test_a_row_that_is_not_the_last_of_its_line_fills_its_width() -> None:
    children = SIZES[PrintSize.CHILDREN]
    for name in ("gracenote-on-every-beat", "one-movement-four-times", "first-march-steps"):
        exercise = shipped(name)
        lines = lay_systems(
            stacked(exercise, engrave(exercise).lines),
            children.system_units - 2 * EDGE,
            children.half_units - 2 * EDGE,
            phrase=2,
            only_phrases=True,
        )
        for *systems, _ in lines:
            for system in systems:
                assert system.width == pytest.approx(children.system_units - 2 * EDGE)


def test_a_few_lines_of_one_bar_stand_under_the_first_bars_of_longer_ones() -> None:
    exercise = shipped("double-strikes")
    large = SIZES[PrintSize.LARGE]
    width, half = large.system_units - 2 * EDGE, large.half_units - 2 * EDGE
    lines = lay_systems(stacked(exercise, engrave(exercise).lines), width, half)
    _, second, _, fourth, fifth, *_ = lines
    assert len(exercise.lines[3].bars) == len(exercise.lines[4].bars) == 1
    first = second[0].bars[0]
    for ((alone,),) in ((system.bars for system in systems) for systems in (fourth, fifth)):
        assert (alone.left, alone.width) == (first.left, first.width)
    # Where most lines are of one bar, they fill their rows.
    exercise = shipped("throws-on-e-and-f")
    for (system,) in lay_systems(stacked(exercise, engrave(exercise).lines), width, half):
        assert system.width == pytest.approx(width)


def test_an_odd_line_that_could_fill_its_row_does_so_where_others_of_its_bars_do() -> None:
    exercise = shipped("dots-and-cuts-in-2-4")
    print_settings = replace(USUAL_SETTINGS, landscape=True, scale=1.2)
    width, half = print_settings.system_units - 2 * EDGE, print_settings.half_units - 2 * EDGE
    lines = stacked(exercise, engrave(exercise).lines)
    laid_out = lay_systems(lines, width, half, paired=True)
    assert rows_of(laid_out, half) == ((0, 1), (2,), (3,))
    assert laid_out[2][0].width == pytest.approx(laid_out[3][0].width)


def test_the_number_of_a_tuplet_stands_under_the_middle_of_its_beam() -> None:
    count = 0
    for root in drawings(shipped("triplets-with-doublings"), ("open",)):
        for bar in (group for group in root.iter(f"{SVG}g") if group.get("class") == "bar"):
            beams = [
                max((float(rect.get("width", 0)), float(rect.get("x", 0))) for rect in group)
                for group in bar
                if group.get("class") == "beam"
            ]
            numbers = [
                float(re.findall(r"[-.0-9]+", use.get("transform", ""))[0])
                for use in bar.findall(f"{SVG}use")
                if (use.get("{http://www.w3.org/1999/xlink}href") or "").startswith("#gE88")
            ]
            assert len(numbers) == len(beams) == 2
            count += len(numbers)
            for x, (width, left) in zip(numbers, beams, strict=True):
                # A number is about 200 wide.
                assert x + 100 == pytest.approx(left + width / 2, abs=0.08 * width)
    assert count == 12


@pytest.mark.parametrize("kind", TUNES)
def test_equal_notes_of_a_tune_stand_equally_far_apart(kind: str) -> None:
    tune = read_abc(Source("tune.abc", TUNES[kind].encode()))
    lines = stacked(tune, engrave(tune).lines)
    for variant in VARIANTS:
        assert unevenness(lines, variant) <= 1.15


def test_a_time_signature_breaks_no_line_that_others_of_its_kind_have_in_one_row() -> None:
    for name in ("two-four-march-full", "doublings-and-grips"):
        exercise = shipped(name)
        lines = lay_systems(
            stacked_lines([engrave(exercise).lines]),
            USUAL_SETTINGS.system_units - 2 * EDGE,
            USUAL_SETTINGS.half_units - 2 * EDGE,
        )
        assert {len(systems) for systems in lines} == {1}


def test_lines_of_the_same_bars_are_broken_alike_where_that_is_asked_for() -> None:
    lines = stacked_lines([engrave(shipped("reel-round")).lines])
    width, half = USUAL_SETTINGS.system_units - 2 * EDGE, USUAL_SETTINGS.half_units - 2 * EDGE
    assert [len(systems) for systems in lay_systems(lines, width, half)] == [1, 2, 1]
    assert [len(systems) for systems in lay_systems(lines, width, half, alike=True)] == [2, 2, 2]


def test_large_print_has_two_bars_a_row_wherever_they_can_stand_evenly() -> None:
    settings = SIZES[PrintSize.LARGE]
    lines = stacked_lines([engrave(shipped("throws-after-a-gracenote")).lines])
    systems = lay_systems(lines, settings.system_units - 2 * EDGE, settings.half_units - 2 * EDGE)
    assert [len(system.bars) for system in systems[0]] == [2, 1]


def test_no_bar_is_left_over_from_systems_of_three_in_large_print() -> None:
    settings = SIZES[PrintSize.LARGE]
    lines = stacked_lines([engrave(shipped("thirds-and-fourths")).lines])
    laid_out = lay_systems(lines, settings.system_units - 2 * EDGE, settings.half_units - 2 * EDGE)
    bars = [[len(system.bars) for system in systems] for systems in laid_out]
    assert bars == [[4, 3], [3, 3], [2, 2]]


def test_a_clef_is_drawn_whole_where_no_note_reaches_as_far_as_it() -> None:
    low = Exercise("Low", (Line((Bar((MelodyNote(Fraction(4), (Slot(Note.E),)),), Meter(4, 4)),)),))
    ((system,),) = laid(low)
    clef = system.clef.box
    extent = extent_of([system], has_marks=False)
    assert extent.top <= clef.top < 0
    assert extent.bottom >= clef.bottom > 4 * UNITS_A_SPACE


def test_a_tie_across_systems_has_both_of_its_halves() -> None:
    meter = Meter(4, 4)
    notes = [MelodyNote(Fraction(1), (Slot(Note.E),)) for _ in range(4)]
    bar = Bar(tuple(notes), meter)
    held = replace(bar, items=(replace(notes[0], tied=True), *notes[1:]))
    exercise = Exercise("Held", (Line((bar, *[held] * 15)),))
    systems = laid(exercise)[0]
    assert len(systems) > 1
    for system, root in zip(systems, drawings(exercise, FORMS[:1]), strict=True):
        halves = list(root.iter("{http://www.w3.org/2000/svg}g"))
        leading_in = [group for group in halves if group.get("class") == "half-tie"]
        assert len(leading_in) == (system is not systems[0])


def test_bars_of_equal_length_get_equal_widths_where_there_is_room() -> None:
    exercise = one_line(bar_of("4"), bar_of("1", "1", "1", "1"), bar_of("2", "2"), bar_of("4"))
    ((system,),) = laid(exercise)
    assert len({round(bar.width, 3) for bar in system.bars}) == 1
    assert system.width == pytest.approx(WIDTH)


def test_drawings_of_one_line_have_one_height_and_hold_all_that_is_drawn() -> None:
    exercise = replace(doublings(lines=1), inner=Inner((Length(Fraction(100), "ms"),)))
    engraving = engrave(exercise)
    (systems,) = lay_systems(stacked_lines([engraving.lines]), WIDTH, HALF)
    extent = extent_of(systems, has_marks=True)
    assert isinstance(extent, Extent)
    assert extent.top <= GRACE_TOP
    drawing = Drawing(systems[0], extent, engraving.symbols)
    for bar in systems[0].bars:
        for column in bar.staves[0].columns:
            assert drawing.top < column.box.top
            assert column.box.bottom <= drawing.bottom


def test_a_time_signature_stands_where_the_meter_changes_and_nowhere_else() -> None:
    six = Meter(6, 8)
    meters = ((FOUR_FOUR, FOUR_FOUR), (six, six), (six, FOUR_FOUR, Meter(3, 4)), (FOUR_FOUR,))
    lines = tuple(
        Line(tuple(bar_of(str(meter.beats), meter=meter) for meter in row)) for row in meters
    )
    shown = [
        [bool(bar.staves[0].meter) for system in systems for bar in system.bars]
        for systems in laid(Exercise("Meters", lines))
    ]
    assert shown == [[True, False], [True, False], [False, True, True], [True]]


def with_tempos(*tempos: int | None, beats: str = "4") -> Exercise:
    bars = (bar_of(beats), *(replace(bar_of(beats), tempo=tempo) for tempo in tempos))  # type: ignore[arg-type]
    return one_line(*bars)


def test_tempo_marks_are_changes_only_and_a_line_says_what_holds_if_it_is_not_the_target() -> None:
    first = with_tempos(60, 70, 70, None).lines[0]
    second = with_tempos(60).lines[0]
    found = tempo_marks(Exercise("Tempos", (first, second, second), Fraction(60)))
    assert [[(mark.bar, mark.label) for mark in line] for line in found] == [
        [(3, "70")],
        [(1, "70"), (2, "60")],
        [],
    ]


def test_tempo_marks_stand_over_their_bars_side_by_side_and_all_in_the_drawing() -> None:
    exercise = with_tempos(70, 80, *range(81, 89), beats="1/2")
    engraving = engrave(exercise)
    (systems,) = lay_systems(stacked_lines([engraving.lines]), WIDTH, HALF)
    extent = extent_of(systems, has_marks=True, has_tempos=True)
    over = [OverStaff(system, 345.0) for system in systems]
    (marks,) = tempo_marks(exercise)
    foot = extent.top - extent.marks
    for system, above in zip(systems, over, strict=True):
        here = [bar for bar in system.bars if bar.number > 1]
        drawing = Drawing(system, extent, engraving.symbols, (), marks, above)
        root = ElementTree.fromstring(drawing.svg)
        groups = [
            g for g in root.iter("{http://www.w3.org/2000/svg}g") if g.get("class") == "tempo"
        ]
        assert len(groups) == len(here)
        for bar, after in pairwise(here):
            room = after.left - bar.left
            pieces, number = drawn_mark(marks[bar.number - 2], bar.left, foot, room, above.letter)
            assert number in drawing.texts
            assert number.bold
            assert number.x + len(number.text) * above.letter < after.left
            boxes = [piece.box for piece in pieces]
            assert min(box.left for box in boxes) >= bar.left
            assert max(box.right for box in boxes) < after.left
            assert min(box.top for box in boxes) > drawing.top
            assert max(box.bottom for box in boxes) <= foot


def test_a_tempo_mark_without_room_is_its_number_alone() -> None:
    mark = TempoMark(1, Fraction(3, 8), "62.5")
    (sign, number), (nothing, short) = (drawn_mark(mark, 0, 0, room, 170) for room in (5000, 500))
    assert [piece.code for piece in sign] == ["ECA5", "ECB7"]
    assert number.text == "= 62.5"
    assert number.x > max(piece.box.right for piece in sign)
    assert (nothing, short.text, short.x) == ((), "62.5", 0)


def test_a_bar_that_goes_on_at_another_tempo_ends_in_a_dashed_line() -> None:
    half = bar_of("2")
    whole = one_line(bar_of("4"), half, replace(half, tempo=Fraction(90)), half, half)
    ((system,),) = laid(whole)
    assert [bar.staves[0].goes_on for bar in system.bars] == [False, True, False, False, False]
    drawn = ElementTree.fromstring(Drawing(system, extent_of([system], has_marks=False), {}).svg)
    bar_lines = drawn.find(".//*[@class='barlines']")
    assert bar_lines is not None
    assert len(bar_lines) == 3 + 6 + 2


def test_marks_never_lie_on_each_other_and_two_of_one_hand_on_a_group_are_one() -> None:
    engraving = engrave(shipped("doublings-on-the-top-notes"))
    systems = lay_systems(stacked_lines([engraving.lines]), WIDTH, HALF)[0]
    extent = extent_of(systems, has_marks=True)
    names = [
        name
        for bar in systems[0].bars
        for column in bar.staves[0].columns
        for name in (*(name for name, _ in column.gracenotes), column.id)
    ]
    for hands in ((Hand.LEFT, Hand.LEFT), (Hand.LEFT, Hand.RIGHT)):
        marks = [Mark(name, hands[index % 2]) for index, name in enumerate(names)]
        drawing = Drawing(systems[0], extent, engraving.symbols, marks)
        found = re.findall(r'class="mark"><path d="M([\d.-]+) ', drawing.svg)
        lefts = sorted(map(float, found))
        assert len(lefts) > 4
        assert all(b - a > MARK_WIDTH for a, b in pairwise(lefts))


def test_marks_of_one_hand_on_two_notes_that_stand_near_each_other_are_two() -> None:
    # High A, then a group on E that leads back to it.
    exercise = shipped("grips-on-one-note")
    engraving = engrave(exercise)
    line, marks = engraving.lines[10], list(marks_of(exercise, Shown.FIRST))[10]
    (system,) = lay_systems(stacked_lines([(line,)]), WIDTH, HALF)[0]
    drawing = Drawing(system, extent_of([system], has_marks=True), engraving.symbols, marks)
    places = sorted((drawing.places[mark.name], mark.hand_first) for mark in marks)
    assert any(b[0] - a[0] < 1.4 * MARK_WIDTH and a[1] == b[1] for a, b in pairwise(places))
    assert drawing.svg.count('class="mark"') == len(marks)
