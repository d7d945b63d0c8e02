"""Pages read back: what the PDF says and holds, white margins, and the same bytes every time."""

from __future__ import annotations

import io
import os
import re
import subprocess
import sys
from dataclasses import replace
from fractions import Fraction
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import segno
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image
from pypdf import PdfReader

from renderer.delivery.sheet.composing import Element, Leaf, Placed
from renderer.delivery.sheet.content import CAUTION, content_of, material_of
from renderer.delivery.sheet.fitting import fitted, lines_that_fit, pages_of
from renderer.delivery.sheet.fonts import ending_together
from renderer.delivery.sheet.layout import (
    HEAD_MM,
    SIDE_MM,
    UNITS_A_SPACE,
    USUAL_SETTINGS,
    Counting,
    Form,
    Imposition,
    Paper,
    PrintSize,
    SheetSettings,
    Shown,
    clock_text,
)
from renderer.delivery.sheet.output import write_sheet
from renderer.delivery.sheet.page_plan import Gap, Part, pages_of_parts
from renderer.delivery.sheet.pages import Booklet, Pages, impositions, lay_out, size_of
from renderer.errors import RungwiseError
from renderer.notation.ladder import parse_ladder
from renderer.notation.length import Length
from renderer.notation.pitch import Note
from renderer.notation.playing import BOOK, Inner
from renderer.notation.score import Bar, Exercise, Line, MelodyNote, Meter, Slot
from renderer.notation.source_file import Source
from renderer.order.settings import usual_settings
from renderer.order.tracks import expand
from renderer.reading.exercise import read_exercise
from renderer.reading.library import shipped_exercises
from renderer.technique.report import changes_of
from renderer.timing.timeline import SectionKind
from tests.delivery.larkmoor import asked, doublings, ladder
from tests.limits import HANG_S
from tests.sampling import examples, sampled

SHIPPED = [exercise.name for exercise in shipped_exercises()]
LINK = "https://example.org/larkmoor/tracks"


@cache
def shipped(name: str) -> Exercise:
    return read_exercise(name)


def pages(
    *exercises: Exercise, settings: SheetSettings = USUAL_SETTINGS, booklet: Booklet | None = None
) -> Pages:
    return lay_out([content_of(one, settings) for one in exercises], settings, booklet)


def best_pages(
    *exercises: Exercise, settings: SheetSettings = USUAL_SETTINGS, booklet: Booklet | None = None
) -> Pages:
    """As the command prints them: as few and as large as can be."""
    return fitted([material_of(one, settings) for one in exercises], settings, booklet)


def read(one: Pages) -> PdfReader:
    return PdfReader(io.BytesIO(one.pdf()))


def words(reader: PdfReader) -> str:
    """The text of all pages with its line breaks and double spaces gone."""
    return re.sub(r"\s+", " ", " ".join(page.extract_text() for page in reader.pages))


def titles_in(outline: list[Any]) -> list[str]:
    return [
        title
        for item in outline
        for title in (titles_in(item) if isinstance(item, list) else [item.title])
    ]


def fonts_of(reader: PdfReader) -> list[Any]:
    found = []
    for page in reader.pages:
        for font in page["/Resources"].get("/Font", {}).values():
            found.append(font.get_object())
    return found


@pytest.mark.parametrize("name", sampled(SHIPPED, 8))
def test_a_shipped_exercise_prints_with_its_words_within_the_margins(name: str) -> None:
    exercise = shipped(name)
    one = pages(exercise)
    reader = read(one)
    text = words(reader)
    for written in (exercise.title, exercise.audience, exercise.purpose, CAUTION):
        assert written in text
    for line in exercise.lines:
        assert line.heading in text
    assert len(reader.pages) == one.count()
    assert titles_in(reader.outline)[0] == exercise.title
    assert_margins_are_white(one)


def assert_margins_are_white(one: Pages) -> None:
    pixels_per_inch = 50
    # A pixel's edge may reach half a pixel over.
    side, head = (int(mm / 25.4 * pixels_per_inch) - 1 for mm in (SIDE_MM, HEAD_MM))
    for png in one.pngs(pixels_per_inch):
        page = np.asarray(Image.open(io.BytesIO(png)).convert("L"))
        inside = page[head:-head, side:-side]
        assert inside.min() < 100
        page = page.copy()
        page[head:-head, side:-side] = 255
        assert page.min() > 250


@pytest.mark.parametrize("paper", Paper)
@pytest.mark.parametrize("landscape", [False, True])
@pytest.mark.parametrize("size", PrintSize)
def test_every_paper_and_size_keeps_its_margins(
    paper: Paper, landscape: bool, size: PrintSize
) -> None:
    settings = SheetSettings(
        paper=paper,
        landscape=landscape,
        size=size,
        form=Form.BOTH,
        fingering=True,
        advice=Shown.FIRST,
        marks=Shown.ALL,
        counting=Counting.RULER,
        link=LINK,
        dated=None,
        imposition=Imposition.SINGLE,
        explain=False,
    )
    one = pages(shipped("grips-and-taorluaths"), settings=settings)
    assert_margins_are_white(one)
    width, height = (float(side) for side in read(one).pages[0].mediabox[2:])
    assert (width > height) is landscape


def test_all_is_black_so_that_it_photocopies() -> None:
    (png, *_) = pages(shipped("shakes"), settings=replace(USUAL_SETTINGS, fingering=True)).pngs(60)
    colours = np.asarray(Image.open(io.BytesIO(png)).convert("RGB")).astype(int)
    assert np.ptp(colours, axis=2).max() == 0


def test_fonts_are_embedded_and_letters_can_be_copied() -> None:
    fonts = fonts_of(read(pages(shipped("shakes"))))
    assert fonts
    for font in fonts:
        assert "/ToUnicode" in font
        (descendant,) = font["/DescendantFonts"]
        descriptor = descendant.get_object()["/FontDescriptor"].get_object()
        assert {"/FontFile2", "/FontFile3"} & set(descriptor)


def test_the_pdf_says_what_it_is_and_is_tagged_for_screen_readers() -> None:
    exercise = shipped("shakes")
    reader = read(pages(exercise))
    about = reader.metadata
    assert about is not None
    assert about.title == exercise.title
    assert about.author == exercise.audience
    assert about.subject == exercise.purpose
    catalog = reader.trailer["/Root"]
    assert catalog["/MarkInfo"]["/Marked"]
    assert catalog["/Lang"] == "en"
    assert "/StructTreeRoot" in catalog
    xmp = reader.xmp_metadata
    assert xmp is not None
    assert b"pdfuaid" in xmp.stream.get_data()


def test_every_staff_is_described_for_those_who_cannot_see_it() -> None:
    content = content_of(shipped("shakes"), USUAL_SETTINGS)
    described = [staff.alternative for line in content.lines for staff in line.staves]
    assert len(set(described)) == len(described)
    data = pages(shipped("shakes")).pdf()
    reader = PdfReader(io.BytesIO(data))
    assert set(described) <= alternatives_in(reader)


def alternatives_in(reader: PdfReader) -> set[str]:
    """What a screen reader says for drawings."""
    return {
        str(thing["/Alt"])
        for number in range(1, len(reader.xref[0]) + 1)
        if isinstance(thing := reader.get_object(number), dict) and "/Alt" in thing
    }


def test_no_date_goes_in_unless_asked() -> None:
    dated = replace(USUAL_SETTINGS, dated=1_795_564_800)  # 2026-11-25, midnight UTC
    exercise = shipped("shakes")
    plain = read(pages(exercise)).metadata
    assert plain is not None
    assert "/CreationDate" not in plain
    assert "/ModDate" not in plain
    reader = read(pages(exercise, settings=dated))
    assert reader.metadata is not None
    assert reader.metadata.creation_date is not None
    assert reader.metadata.creation_date.strftime("%Y-%m-%d") == "2026-11-25"
    assert "2026-11-25" in words(reader)
    assert "2026" not in words(read(pages(exercise)))


def test_another_process_prints_the_same_bytes(tmp_path: Path) -> None:
    script = (
        "import sys\n"
        "from renderer.reading.exercise import read_exercise\n"
        "from renderer.delivery.sheet.output import write_sheet\n"
        "from dataclasses import replace\n"
        "from renderer.delivery.sheet.layout import USUAL_SETTINGS\n"
        "settings = replace(USUAL_SETTINGS, fingering=True, link=sys.argv[2])\n"
        "write_sheet(read_exercise('shakes'), sys.argv[1], settings)\n"
    )
    found = set()
    for seed in ("1", "2"):
        path = tmp_path / f"{seed}.pdf"
        subprocess.run(
            [sys.executable, "-c", script, str(path), LINK],
            check=True,
            timeout=HANG_S,
            env={**os.environ, "PYTHONHASHSEED": seed, "TZ": f"UTC+{seed}"},
        )
        found.add(path.read_bytes())
    assert len(found) == 1


def test_a_box_for_each_rung_stands_beside_each_line() -> None:
    exercise = doublings(lines=3, ladder=ladder(52, 64, 76))
    text = words(read(pages(exercise)))
    for tempo in ("52", "64", "76"):
        assert len(re.findall(rf"\b{tempo}\b", text)) == 3


def test_the_sheet_says_how_often_the_tracks_play_a_line_and_what_comes_between() -> None:
    often = replace(ladder(50, 60), repeats=2)
    text = words(read(pages(doublings(lines=2, ladder=often))))
    assert "Tracks play each line twice, then a bar of clicks before the next" in text
    text = words(read(pages(doublings(lines=1, ladder=replace(often, repeats=7)))))
    assert "Tracks play the line 7 times" in text
    assert "clicks" not in text
    assert "Tracks" not in words(read(pages(doublings(lines=2, ladder=ladder(50, 60)))))


@given(repeats=st.integers(2, 5), lines=st.integers(2, 4))
@examples(10)
def test_what_the_sheet_says_of_the_tracks_is_what_they_play(repeats: int, lines: int) -> None:
    exercise = doublings(lines=lines, ladder=replace(ladder(60), repeats=repeats))
    usual = asked()
    track = expand(exercise, repeats=usual.repeats_of(exercise), gap=usual.gap)
    kinds = [section.kind for section in track.sections[1:]]
    turn = [SectionKind.LINE] * repeats
    assert kinds == [*turn, *([SectionKind.GAP, *turn] * (lines - 1))]
    for gap, line in zip(
        (one for one in track.sections if one.kind is SectionKind.GAP),
        exercise.lines[1:],
        strict=True,
    ):
        assert gap.length == line.bars[0].meter.beats * track.seconds_per_beat
    times = {2: "twice", 3: "three times", 4: "four times"}.get(repeats, f"{repeats} times")
    (direction,) = content_of(exercise, USUAL_SETTINGS).directions
    assert direction == f"Tracks play each line {times}, then a bar of clicks before the next"


@pytest.mark.parametrize(
    ("meter", "beat"),
    [
        (Meter(4, 4), "crotchet"),
        (Meter(6, 8), "dotted crotchet"),
        (Meter(2, 2), "minim"),
        (Meter(3, 8), "quaver"),
        (Meter(9, 16), "dotted quaver"),
    ],
)
def test_the_target_tempo_names_the_beat_that_it_counts(meter: Meter, beat: str) -> None:
    note = MelodyNote(Fraction(meter.beats), (Slot(Note.B),))
    exercise = Exercise("A beat", (Line((Bar((note,), meter),)),), tempo=Fraction(66))
    target = content_of(exercise, USUAL_SETTINGS).facts[1]
    assert [part if isinstance(part, str) else part.name for part in target] == [
        "Target ",
        beat,
        " = 66",
    ]
    reader = read(pages(exercise))
    assert "= 66" in words(reader)
    assert beat in alternatives_in(reader)


def test_several_beats_are_all_named() -> None:
    note = MelodyNote(Fraction(2), (Slot(Note.B),))
    bars = (Bar((note,), Meter(2, 4)), Bar((note,), Meter(6, 8)))
    reader = read(pages(Exercise("Two beats", (Line(bars),))))
    assert {"crotchet", "dotted crotchet"} <= alternatives_in(reader)
    assert len(re.findall("= 60", words(reader))) == 2


def test_a_long_ladder_has_all_its_boxes() -> None:
    exercise = doublings(ladder=ladder(*range(101, 141)))
    one = pages(exercise)
    text = words(read(one))
    assert all(re.search(rf"\b{tempo}\b", text) for tempo in range(101, 141))
    assert_margins_are_white(one)


def test_what_to_watch_is_said_under_the_line_and_marked_over_the_notes() -> None:
    content = content_of(shipped("crossing-noises"), USUAL_SETTINGS)
    text = words(read(pages(shipped("crossing-noises"))))
    said = [sentence for line in content.lines for sentence in line.advice]
    assert len(set(said)) == len(said) >= 3
    for line in content.lines:
        assert len(line.advice) <= 3
        for sentence in line.advice:
            assert sentence in text
    assert 'class="mark"' in content.lines[0].staves[0].svg
    assert "a low note may sound between" in text
    assert "a low note may sound" not in words(read(pages(shipped("gracenotes-in-turn"))))


def test_advice_can_stand_everywhere_only_where_it_first_occurs_or_nowhere() -> None:
    exercise = shipped("birls")
    said = {
        shown: [
            line.advice
            for line in content_of(exercise, replace(USUAL_SETTINGS, advice=shown)).lines
        ]
        for shown in Shown
    }
    assert not any(said[Shown.NONE])
    assert said[Shown.FIRST][2] == ()
    assert said[Shown.ALL][2] == ("As lines 1 and 2.",)
    assert said[Shown.ALL][0] == said[Shown.FIRST][0]
    for line in said[Shown.FIRST]:
        bars = [int(text.split(":")[0].removeprefix("Bar ")) for text in line]
        assert bars == sorted(bars)


def test_a_crossing_noise_is_marked_where_it_first_occurs_or_wherever_it_lurks() -> None:
    exercise = shipped("crossing-noises")
    lurking = [placed for line in exercise.lines for placed in changes_of(line)]
    noises = [placed.change for placed in lurking if placed.change.crossing is not None]
    different = {
        (one.previous, one.note, one.crossing and one.crossing.hand_first) for one in noises
    }
    assert 0 < len(different) < len(noises)
    counted = {Shown.ALL: len(noises), Shown.FIRST: len(different), Shown.NONE: 0}
    for shown, count in counted.items():
        content = content_of(exercise, replace(USUAL_SETTINGS, marks=shown))
        drawn = [staff.svg for line in content.lines for staff in line.staves]
        assert sum(svg.count('class="mark"') for svg in drawn) == count
        assert any("hand first" in item.text for item in content.legend) is (count > 0)


def test_of_two_staves_each_says_what_it_is_and_two_that_are_alike_are_one() -> None:
    settings = replace(USUAL_SETTINGS, form=Form.BOTH)
    plain = replace(doublings().lines[0], heading="Plain")
    plain = replace(
        plain,
        bars=tuple(
            replace(
                bar,
                items=tuple(
                    replace(item, slots=item.slots[-1:], ornament=None)
                    for item in bar.items
                    if isinstance(item, MelodyNote)
                ),
            )
            for bar in plain.bars
        ),
    )
    exercise = replace(doublings(), lines=(doublings().lines[0], plain))
    with_movements, without = content_of(exercise, settings).lines
    labels = [text.text for text in with_movements.staves[0].texts]
    assert labels == ["opened", "closed"]
    assert not without.staves[0].texts
    assert without.staves[0].height < with_movements.staves[0].height / 1.5
    alone = content_of(replace(exercise, lines=(plain,)), settings)
    assert not any("Tracks play the staves" in said for said in alone.directions)


@pytest.mark.parametrize(
    ("opened", "said"),
    [
        ((False, False), "Tracks play the staves that are closed"),
        ((True, True), "Tracks play the staves that are opened"),
        ((False, True), "Tracks play line 2 opened, the other lines closed"),
    ],
)
def test_of_two_staves_the_head_says_which_one_is_played(
    opened: tuple[bool, bool], said: str
) -> None:
    half, book = Inner((Length(Fraction(1, 2), "beat"),)), BOOK
    (line,) = doublings().lines[:1]
    lines = tuple(replace(line, inner=half if one else book) for one in opened)
    content = content_of(replace(doublings(), lines=lines), replace(USUAL_SETTINGS, form=Form.BOTH))
    assert said in content.directions


def test_ten_rungs_stand_in_one_row_each_with_room_for_date_and_initials() -> None:
    exercise = replace(shipped("birls"), ladder=parse_ladder("40:58:2"))
    (page,) = read(pages(exercise)).pages
    found = places(page)
    rows = {round(y) for text, y in found if text.strip() in {"40", "48", "58"}}
    assert len(rows) == len(exercise.lines)


def test_the_caution_stands_once_in_a_booklet_and_once_on_a_sheet() -> None:
    book = shipped("every-doubling-from-low-g-to-f")
    book = replace(book, lines=book.lines[:20])
    on_its_own, in_a_booklet = (
        read(pages(book, booklet=booklet)) for booklet in (None, Booklet("Winter term", ""))
    )
    assert len(on_its_own.pages) > 1
    sheet, booklet = words(on_its_own), words(in_a_booklet)
    assert sheet.count("Keep the level low") == 1
    assert booklet.count("Keep the level low") == 1


def test_the_fingering_strip_explains_itself() -> None:
    plain = words(read(pages(shipped("shakes"))))
    shown = words(read(pages(shipped("shakes"), settings=replace(USUAL_SETTINGS, fingering=True))))
    for word in ("thumb", "flick: lifts and closes again", "stays open"):
        assert word in shown
        assert word not in plain


def test_a_booklet_has_cover_contents_bookmarks_and_tracks_with_their_lengths() -> None:
    book = shipped("every-doubling-from-low-g-to-f")
    exercises = [shipped("shakes"), shipped("birls"), replace(book, lines=book.lines[:20])]
    one = pages(
        *exercises,
        settings=replace(USUAL_SETTINGS, link=LINK),
        booklet=Booklet("Winter term", "Larkmoor juvenile band"),
    )
    reader = read(one)
    cover, contents = (words_of(page) for page in reader.pages[:2])
    assert "Winter term" in cover
    assert "Larkmoor juvenile band" in cover
    assert reader.metadata is not None
    assert reader.metadata.title == "Winter term"
    bookmarks = titles_in(reader.outline)
    for exercise in exercises:
        assert exercise.title in bookmarks
        first = min(
            number
            for number, page in enumerate(reader.pages, start=1)
            if number > 2 and exercise.title in words_of(page)
        )
        entry = contents[contents.index(exercise.title) :]
        assert re.match(rf"{re.escape(exercise.title)}[ .]*{first}\b", entry)
        assert f"Exercises: {exercise.level}" in contents
        assert exercise.ladder is not None
        for tempo in exercise.ladder.tempos:
            track = expand(exercise, tempo, repeats=exercise.ladder.repeats)
            assert f"{tempo} bpm {clock_text(track.duration)}" in entry
    assert_margins_are_white(one)


ABC_MARCH = """X:1
T:The Larkmoor Road
R:march
M:2/4
L:1/8
K:HP
|:{g}B{d}B {g}c{d}c|{g}d2 {g}e2|{g}f{g}e {g}d{g}c|{g}B2 {g}A2:|
"""


def march() -> Exercise:
    return read_exercise(Source("march.abc", ABC_MARCH.encode()))


def test_a_booklet_mixes_tunes_and_exercises_in_order_and_lists_them_by_type_and_level() -> None:
    given = [shipped("shakes"), march(), shipped("first-strikes"), shipped("birls")]
    one = pages(*given, booklet=Booklet("Winter term"))
    reader = read(one)
    starts = one.composed.first_leaves
    assert starts == tuple(sorted(starts))
    printed = words(reader)
    order = [printed.rindex(exercise.title) for exercise in given]
    assert order == sorted(order)
    assert "1 tune, 3 exercises" in words_of(reader.pages[0])
    contents = words_of(reader.pages[1])
    headings = (
        "Exercises: beginner",
        "First strikes",
        "Exercises: intermediate",
        "Birls",
        "Exercises: advanced",
        "Shakes",
        "March",
        "The Larkmoor Road",
    )
    found = [contents.index(heading) for heading in headings]
    assert found == sorted(found)


@pytest.mark.parametrize("count", range(1, 14))
def test_a_folded_booklet_reads_in_order_when_its_sheets_are_folded(count: int) -> None:
    sides = impositions(count, Imposition.FOLDED)
    # Printed on both sides and laid on each other, the sheets have these pages from the outside in.
    fronts, backs = sides[::2], sides[1::2]
    pages_in_order = [
        leaf for front, back in zip(fronts, backs, strict=True) for leaf in (front[1], back[0])
    ]
    pages_in_order += [
        leaf
        for front, back in reversed(list(zip(fronts, backs, strict=True)))
        for leaf in (back[1], front[0])
    ]
    assert pages_in_order[:count] == list(range(count))
    assert pages_in_order[count:] == [None] * (-count % 4)


def test_pairs_are_read_from_the_left() -> None:
    assert impositions(3, Imposition.PAIRS) == ((0, 1), (2, None))
    assert impositions(2, Imposition.SINGLE) == ((0,), (1,))


@pytest.mark.parametrize("imposition", [Imposition.PAIRS, Imposition.FOLDED])
@pytest.mark.parametrize("paper", Paper)
def test_two_leaves_stand_on_a_sheet_within_their_margins(
    imposition: Imposition, paper: Paper
) -> None:
    settings = replace(USUAL_SETTINGS, imposition=imposition, paper=paper)
    one = best_pages(shipped("shakes"), shipped("slurs"), settings=settings, booklet=Booklet("Two"))
    reader = read(one)
    sides = len(impositions(one.count(), imposition))
    assert len(reader.pages) == sides
    width, height = (float(side) for side in reader.pages[0].mediabox[2:])
    assert width > height
    for png in one.pngs(50):
        page = np.asarray(Image.open(io.BytesIO(png)).convert("L"))
        middle = page.shape[1] // 2
        gutter = int(settings.side_mm / 25.4 * 50) - 1
        assert page[:, middle - gutter : middle + gutter].min() > 250
        assert page[:, :gutter].min() > 250


def test_each_line_is_a_card_with_its_exercise_named_on_it() -> None:
    exercise = shipped("crossing-noises")
    settings = replace(USUAL_SETTINGS, imposition=Imposition.CARDS, link=LINE_LINK)
    one = best_pages(exercise, settings=settings)
    placed = [placed for leaf in one.composed.leaves for placed in leaf.placed]
    cards = [one for one in placed if one.element.kind == "card"]
    assert len(cards) == len(exercise.lines)
    assert words(read(one)).count(exercise.title) >= len(cards)
    belongs = [one.element for one in placed if one.element.kind == "belongs"]
    assert len({round(height, 6) for height in measured(one, *belongs)}) == 1
    for kind in ("heading", "boxes", "staff", "advice", "code"):
        for part in (one for one in placed if one.element.kind == kind):
            width = part.element.width or 0
            assert any(
                card.x < part.x
                and part.x + width < card.x + (card.element.width or 0)
                and card.y < part.y < card.y + card.element.height
                for card in cards
            )
    assert_margins_are_white(one)


def test_each_card_shows_its_time_signature_and_of_a_page_the_first_line_does() -> None:
    for imposition in (Imposition.CARDS, Imposition.SINGLE):
        settings = replace(USUAL_SETTINGS, imposition=imposition)
        first, *others = material_of(shipped("slurs"), settings).lines
        assert first.bars[0][0].meter
        for line in others:
            assert bool(line.bars[0][0].meter) is (imposition is Imposition.CARDS)
        assert not any(bar.meter for line in others for stack in line.bars[1:] for bar in stack)


def test_the_foot_of_a_page_has_as_many_words_of_the_title_as_there_is_room_for() -> None:
    def foot(title: str) -> str:
        one = pages(replace(shipped("every-doubling-from-low-g-to-f"), title=title))
        before = words(read(one)).partition(" 2 / ")[0]
        return before.rpartition("next once it is clean")[2].strip()

    whole = "Every doubling from low G to F in thirds, rising"
    assert len(whole) > 40
    assert foot(whole) == whole
    longer = f"{whole} and falling, then in fourths and fifths, opened and closed"
    shortened = foot(longer)
    assert len(shortened) > 40
    assert shortened.endswith("…")
    assert longer.startswith(shortened[:-1])
    assert longer[len(shortened) - 1] in " ,"


def test_a_page_of_cards_names_no_exercise_that_has_none_on_it() -> None:
    settings = replace(USUAL_SETTINGS, imposition=Imposition.CARDS)
    reader = read(best_pages(shipped("slurs"), shipped("birls"), settings=settings))
    assert "Slurs" in reader.pages[0].extract_text()
    last = reader.pages[-1].extract_text()
    assert "Birls" in last
    assert "Slurs" not in last


def movements_in(one: Pages) -> list[str]:
    """The movements whose staves are placed on the pages, in order."""
    return [
        one.exercises[placed.element.exercise].explained[placed.element.index].name
        for leaf in one.composed.leaves
        for placed in leaf.placed
        if placed.element.kind == "explained"
    ]


def test_cards_are_as_few_pages_as_can_be_and_no_line_that_shares_a_row_is_broken() -> None:
    cards = replace(USUAL_SETTINGS, imposition=Imposition.CARDS)
    for name in ("f-gracenotes", "one-movement-four-times"):
        laid = fitted([material_of(shipped(name), cards)], cards)
        assert laid.count() == 1
        content = laid.exercises[0]
        shared = [index for row in content.rows if len(row) > 1 for index in row]
        assert all(len(content.lines[index].staves) == 1 for index in shared)
        assert bool(shared) is (name == "f-gracenotes")


def test_cards_share_a_row_only_where_that_saves_a_page() -> None:
    cards = replace(USUAL_SETTINGS, imposition=Imposition.CARDS)
    for name in ("holding-and-cutting", "three-in-a-bar"):
        (content,) = best_pages(shipped(name), settings=cards).exercises
        assert pages(shipped(name), settings=cards).count() == 1
        assert [len(row) for row in content.rows] == [1] * len(content.lines)


def test_two_cards_that_touch_have_one_dashed_edge_between_them() -> None:
    # It has rows of two cards and of one.
    one = best_pages(
        shipped("f-gracenotes"), settings=replace(USUAL_SETTINGS, imposition=Imposition.CARDS)
    )
    pixels_per_inch = 300
    ((leaf,), (png,)) = one.composed.leaves, one.pngs(pixels_per_inch)
    page = np.asarray(Image.open(io.BytesIO(png)).convert("L"))
    cards = [placed for placed in leaf.placed if placed.element.kind == "card"]
    assert len({card.element.width for card in cards}) == 2
    for card in cards:
        ends = (card.x + (card.element.width or 0), card.y + (card.element.height or 0))
        left, top, right, bottom = (
            round(mm / 25.4 * pixels_per_inch) for mm in (card.x, card.y, *ends)
        )
        edges = [page[y - 1 : y + 2, left:right].min(axis=0) for y in (top, bottom)]
        edges += [page[top:bottom, x - 1 : x + 2].min(axis=1) for x in (left, right)]
        for edge in edges:
            assert 0.4 < (edge < 128).mean() < 0.6


def test_each_movement_is_explained_once_opened_closed_and_fingered() -> None:
    explaining = replace(USUAL_SETTINGS, explain=True)
    warm_up = shipped("daily-warm-up")
    one = pages(warm_up, settings=explaining)
    named = [
        note.ornament
        for line in warm_up.lines
        for note in line.melody_notes
        if note.ornament and len(note.slots) > 1
    ]
    assert movements_in(one) == list(dict.fromkeys(named))
    for movement in one.exercises[0].explained:
        assert movement.heading.casefold().startswith(movement.name.casefold())
        assert [
            text.text for text in movement.staff.texts if text.text in ("opened", "closed")
        ] == [
            "opened",
            "closed",
        ]
        assert [label for label, _ in movement.staff.labels] == ["thumb", "left", "right"]
    text = words(read(one))
    assert "flick: lifts and closes again" in text
    assert_margins_are_white(one)
    # In a booklet, each movement stands with the first exercise that has it.
    several = [shipped("doublings-opened"), shipped("grips-and-taorluaths"), warm_up]
    booklet = pages(*several, settings=explaining, booklet=Booklet("Winter term"))
    found = movements_in(booklet)
    assert len(set(found)) == len(found)
    assert set(found) >= {"doubling", "grip", "taorluath"} | set(named)
    assert not movements_in(pages(warm_up))


def test_what_has_one_part_needs_no_explaining() -> None:
    one = pages(shipped("first-strikes"), settings=replace(USUAL_SETTINGS, explain=True))
    assert not movements_in(one)
    assert "flick" not in words(read(one))


def test_a_line_too_tall_for_a_card_is_refused() -> None:
    bar = doublings().lines[0].bars[1]
    long = replace(doublings(), lines=(Line((bar,) * 64, "Sixty-four bars"),))
    with pytest.raises(RungwiseError) as caught:
        best_pages(long, settings=replace(USUAL_SETTINGS, imposition=Imposition.CARDS))
    assert "card" in str(caught.value)


LINE_LINK = "https://example.org/{exercise}/{line}"


def addresses(reader: PdfReader) -> list[str]:
    """The web addresses that can be clicked on, in order."""
    return [
        str(thing["/A"]["/URI"])
        for page in reader.pages
        for annotation in page.get("/Annots", [])
        if "/URI" in (thing := annotation.get_object()).get("/A", {})
    ]


def test_each_line_or_each_exercise_has_its_own_qr_code() -> None:
    exercises = [shipped("slurs"), shipped("birls")]
    booklet = Booklet("Winter term")
    for pattern, wanted in (
        (
            LINE_LINK,
            [f"https://example.org/slurs/{n}" for n in range(1, 8)]
            + [f"https://example.org/birls/{n}" for n in range(1, 5)],
        ),
        (
            "https://example.org/{exercise}",
            ["https://example.org/slurs", "https://example.org/birls"],
        ),
        (LINK, [LINK]),
    ):
        one = pages(*exercises, settings=replace(USUAL_SETTINGS, link=pattern), booklet=booklet)
        assert addresses(read(one)) == wanted
        assert_margins_are_white(one)
    codes = [
        placed
        for leaf in pages(
            shipped("slurs"), settings=replace(USUAL_SETTINGS, link=LINE_LINK)
        ).composed.leaves
        for placed in leaf.placed
        if placed.element.kind == "code"
    ]
    assert len(codes) == 7


def test_the_length_of_its_track_stands_over_each_box_once_or_for_each_line() -> None:
    exercise = shipped("birls")
    assert exercise.ladder is not None
    (first, *others) = content_of(exercise, USUAL_SETTINGS).lines
    assert first.durations == tuple(
        clock_text(expand(exercise, tempo, repeats=exercise.ladder.repeats).duration)
        for tempo in exercise.ladder.tempos
    )
    assert not any(line.durations for line in others)
    each = content_of(exercise, USUAL_SETTINGS, usual_settings().changed(each_line=True))
    assert all(len(line.durations) == len(line.rungs) for line in each.lines)
    text = words(read(pages(exercise)))
    assert all(duration in text for duration in first.durations)


def words_of(page: Any) -> str:
    return re.sub(r"\s+", " ", page.extract_text()).strip()


@pytest.mark.parametrize(
    ("seconds", "text"), [("0.4", "0:00"), ("59.6", "1:00"), ("65", "1:05"), ("3725", "1:02:05")]
)
def test_durations_are_written_as_clocks_show_them(seconds: str, text: str) -> None:
    assert clock_text(Fraction(seconds)) == text


def test_the_printed_qr_code_is_that_of_the_link() -> None:
    pixels_per_inch = 200
    one = pages(shipped("shakes"), settings=replace(USUAL_SETTINGS, link=LINK))
    (png,) = one.pngs(pixels_per_inch)
    page = np.asarray(Image.open(io.BytesIO(png)).convert("L"))
    millimetre = pixels_per_inch / 25.4
    # The code is 22 mm wide, its quiet zone of four modules included, in the upper right corner.
    right = page.shape[1] - SIDE_MM * millimetre
    left, top = right - 22 * millimetre, HEAD_MM * millimetre
    wanted = [[bool(module) for module in row] for row in segno.make(LINK, error="m").matrix]
    module = 22 * millimetre / (len(wanted) + 8)
    seen = [
        [
            bool(page[int(top + (row + 4.5) * module), int(left + (column + 4.5) * module)] < 128)
            for column in range(len(wanted))
        ]
        for row in range(len(wanted))
    ]
    assert seen == wanted
    uris = [
        annotation.get_object()["/A"]["/URI"]
        for annotation in read(one).pages[0]["/Annots"]
        if "/URI" in annotation.get_object().get("/A", {})
    ]
    assert LINK in uris


ODD_TITLES = [
    "Port-à-beul: Òran na cruinneige, ṁór is ḃeag",
    "指の練習 ・ 夜の教室",
    "慢速练习：装饰音与节拍",
    "慢速練習：裝飾音與節拍",
    "느린 연습 - 꾸밈음과 박자 뷁",
    "Warm-up 🎶 for 👩‍🎓",
    "A" * 300,
    "Taorluath " * 30,
    "#strong[bold] $x^2$ \\ <label> @ref `raw` //comment",
    'Quotes "inside" {braces} %s {0}',
    "Two\nlines\tand a tab\x07",
]


def seen(text: str) -> str:
    """The text without spaces and without what only joins or parts letters."""
    return re.sub(r"[\s\u200b\u200d\ufe0f]", "", text)


@pytest.mark.parametrize("title", ODD_TITLES)
def test_a_title_in_any_script_is_printed_as_it_is_written(title: str) -> None:
    exercise = replace(
        doublings(title=title),
        audience=title,
        lines=(replace(doublings().lines[0], heading=title),),
    )
    one = pages(exercise)
    assert one.exercises[0].remarks == ()
    # On the page long titles are broken over lines, overlong words by zero-width spaces.
    letters = seen(title).replace("\x07", "")
    reader = read(one)
    assert reader.metadata is not None
    assert seen(str(reader.metadata.title)) == letters
    assert seen(titles_in(reader.outline)[0]) == letters
    assert seen(words(reader)).count(letters) >= 3
    assert_margins_are_white(one)


def test_a_blank_title_prints_as_exercise() -> None:
    reader = read(pages(doublings(title="  ")))
    assert titles_in(reader.outline)[0] == "Exercise"
    assert reader.metadata is not None
    assert reader.metadata.title == "Exercise"


def test_kana_make_a_page_japanese_and_nothing_else_does() -> None:
    def faces(title: str) -> str:
        return " ".join(
            str(font["/BaseFont"]) for font in fonts_of(read(pages(doublings(title=title))))
        )

    assert "CJKjp" in faces("指の練習")
    assert "CJKjp" not in faces("慢速练习")
    assert "CJKsc" in faces("慢速练习")
    assert "CJKkr" in faces("느린 연습")


def test_letters_that_no_font_has_are_boxes_and_are_named() -> None:
    one = pages(doublings(title="Tune 𐎀"))
    (remark,) = one.exercises[0].remarks
    assert "𐎀" in remark
    assert one.title == "Tune □"


def single_note() -> Exercise:
    note = MelodyNote(Fraction(1), (Slot(Note.LOW_G),))
    return Exercise("One", (Line((Bar((note,), Meter(1, 4)),)),))


def test_a_single_note_and_a_line_of_64_bars_print() -> None:
    bar = doublings().lines[0].bars[1]
    long = replace(doublings(), lines=(Line((bar,) * 64, "Sixty-four bars"),))
    for exercise in (single_note(), long):
        one = pages(exercise)
        assert_margins_are_white(one)
        assert one.count() == (1 if exercise.title == "One" else 2)


def test_no_word_of_advice_has_a_row_to_itself() -> None:
    rows = [
        row.strip()
        for page in read(best_pages(shipped("holding-and-cutting"))).pages
        for row in page.extract_text().splitlines()
    ]
    assert "sounds\N{NO-BREAK SPACE}between." in rows
    assert "between." not in rows
    assert ending_together("Rest.") == "Rest."
    long = "Fingerwechselbewegungen nacheinander"
    assert ending_together(long) == long


def test_a_heading_never_stands_at_the_foot_of_a_page_without_its_staff() -> None:
    bar = doublings().lines[0].bars[1]
    # Lines of several systems may be parted, but not before the first of them.
    for bars, count in ((1, 30), (9, 12), (17, 8)):
        exercise = replace(
            doublings(), lines=tuple(Line((bar,) * bars, f"Here {n}") for n in range(count))
        )
        one = pages(exercise)
        reader = read(one)
        assert len(reader.pages) > 1
        for page, png in zip(reader.pages, one.pngs(50), strict=True):
            rows = np.flatnonzero(
                np.asarray(Image.open(io.BytesIO(png)).convert("L"))[:, 50:-50].min(axis=1) < 128
            )
            found = places(page)
            last = max((y for text, y in found if "Here" in text), default=None)
            foot = min(y for text, y in found if "for each tempo" in text)
            if last is not None:
                # A staff with its gracenotes is at least 12 mm high.
                below = [row for row in rows if last < row * 72 / 50 < foot]
                assert len(below) * 25.4 / 50 > 8


def places(page: Any) -> list[tuple[str, float]]:
    """Each piece of text of a page with its distance from the upper edge, in points."""
    found: list[tuple[str, float]] = []
    height = float(page.mediabox[3])

    def visit(text: str, outer: list[float], inner: list[float], *_: Any) -> None:
        if text.strip():
            y = inner[4] * outer[1] + inner[5] * outer[3] + outer[5]
            found.append((text, height - y))

    page.extract_text(visitor_text=visit)
    return found


def sizes_of_print(reader: PdfReader) -> dict[str, float]:
    """The size in points that each piece of text has."""
    found: dict[str, float] = {}

    def visit(text: str, outer: list[float], inner: list[float], _font: Any, size: float) -> None:
        if text.strip():
            found[text.strip()] = abs(size * inner[3] * outer[3])

    for page in reader.pages:
        page.extract_text(visitor_text=visit)
    return found


@pytest.mark.parametrize("name", ["every-doubling-from-low-g-to-f", "doublings-over-a-wide-step"])
def test_what_is_read_while_playing_is_never_smaller_than_nine_and_a_half_points(name: str) -> None:
    normal = replace(USUAL_SETTINGS, size=PrintSize.NORMAL)
    content = content_of(shipped(name), normal)
    printed = sizes_of_print(read(pages(shipped(name), settings=normal)))
    advice = [sentence for line in content.lines for sentence in line.advice]
    small = {size for text, size in printed.items() if text in " ".join(advice) and len(text) > 9}
    rungs = {printed[rung] for rung in content.lines[0].rungs}
    assert {round(size, 1) for size in small | rungs} == {9.5}


def test_an_exercise_that_leaves_its_page_empty_is_printed_larger() -> None:
    exercise = shipped("doublings-over-a-wide-step")
    usual, larger = pages(exercise), best_pages(exercise)
    assert larger.settings.scale >= 1.4
    assert larger.count() == 1
    assert usual.filled()[1] < larger.filled()[1] <= 1
    assert_margins_are_white(larger)
    before, after = (
        next(size for text, size in sizes_of_print(read(one)).items() if text == "50")
        for one in (usual, larger)
    )
    assert after == pytest.approx(larger.settings.scale * before, abs=0.1)


@pytest.mark.parametrize("name", sampled(SHIPPED, 8))
def test_a_shipped_exercise_fills_its_pages_and_none_is_left_with_a_line_or_two(name: str) -> None:
    exercise = shipped(name)
    usual, best = pages(exercise), best_pages(exercise)
    assert best.count() <= usual.count()
    assert best.count() <= (3 if name == "long-runs" else 2) or len(exercise.lines) == 70
    assert best.filled()[1] <= 1 + 1e-6
    (ends,) = best.line_pages()
    on_page = [ends.count(number) for number in range(1, best.count() + 1)]
    assert min(on_page) >= max(on_page) / 2
    # Two lines in the largest print may leave half of their page white.
    assert best.filled()[1] > 0.48
    assert_margins_are_white(best)


@pytest.mark.parametrize("name", ["slurs", "daily-warm-up", "fourteen-lines-of-doublings"])
def test_a_heading_is_nearer_to_its_own_staff_than_to_the_line_before(name: str) -> None:
    one = best_pages(shipped(name))
    for leaf in one.composed.leaves:
        heads = [placed for placed in leaf.placed if placed.element.kind == "heading"]
        for before, after in pairwise(heads):
            if before.x == after.x:
                above = after.y - bottom_of(one, leaf, before.element.index)
                below = top_of_staff(leaf, after.element.index) - bottom_of_heading(one, after)
                assert 0 < below < above


def bottom_of_heading(one: Pages, heading: Placed) -> float:
    (size,) = measured(one, heading.element)
    return heading.y + size


def top_of_staff(leaf: Leaf, line: int) -> float:
    return min(
        placed.y
        for placed in leaf.placed
        if placed.element.kind == "staff" and placed.element.index == line
    )


def bottom_of(one: Pages, leaf: Leaf, line: int) -> float:
    """How far down the staves and the advice of a line reach."""
    parts = [
        placed
        for placed in leaf.placed
        if placed.element.index == line and placed.element.kind in ("staff", "advice")
    ]
    sizes = measured(one, *(placed.element for placed in parts))
    return max(placed.y + size for placed, size in zip(parts, sizes, strict=True))


def measured(one: Pages, *elements: Element) -> list[float]:
    """How tall elements are as Typst sets them."""
    found = size_of(one, elements)
    return [found[element][1] for element in elements]


def test_a_size_that_was_asked_for_is_kept() -> None:
    exercise = shipped("shakes")
    for size in PrintSize:
        asked = best_pages(exercise, settings=replace(USUAL_SETTINGS, size=size))
        assert asked.settings.scale == 1
        assert asked.settings.size is size


def test_a_whole_book_in_compact_print_has_fourteen_lines_on_a_page() -> None:
    compact = replace(USUAL_SETTINGS, size=PrintSize.COMPACT)
    one = best_pages(shipped("fourteen-lines-of-doublings"), settings=compact)
    assert one.count() == 1
    assert_margins_are_white(one)
    book = best_pages(shipped("every-doubling-from-low-g-to-f"), settings=compact)
    assert book.count() * 14 <= 70


def test_short_lines_pair_up_where_that_saves_a_page_and_an_odd_one_stays_in_its_column() -> None:
    exercise = shipped("f-gracenotes")
    assert pages(exercise).count() == 2
    one = best_pages(exercise)
    assert one.count() == 1
    assert any(len(row) == 2 for row in one.exercises[0].rows)
    cards = pages(
        exercise, settings=replace(USUAL_SETTINGS, paired=True, imposition=Imposition.CARDS)
    )
    for line in {line for row in cards.exercises[0].rows if len(row) > 1 for line in row}:
        assert len(cards.exercises[0].lines[line].staves) == 1
    odd = pages(
        replace(exercise, lines=exercise.lines[:5]), settings=replace(USUAL_SETTINGS, paired=True)
    )
    assert odd.exercises[0].rows == ((0, 1), (2, 3), (4,))
    places = {
        placed.element.index: placed
        for leaf in odd.composed.leaves
        for placed in leaf.placed
        if placed.element.kind == "boxes"
    }
    ends = [place.x + (place.element.width or 0) for place in places.values()]
    assert ends[4] == pytest.approx(ends[2], abs=0.1)


def test_staves_are_a_little_smaller_only_where_that_saves_a_page_and_text_is_not() -> None:
    exercise = shipped("slurs")
    normal = best_pages(exercise, settings=replace(USUAL_SETTINGS, size=PrintSize.NORMAL))
    one = best_pages(exercise)
    assert (normal.count(), one.count()) == (2, 1)
    assert 0.9 <= one.settings.scale < 1
    assert one.settings.small_pt == normal.settings.small_pt == 9.5


def test_a_booklet_has_one_size_as_large_as_its_pages_have_room_for() -> None:
    exercises = [shipped("first-strikes"), shipped("gracenotes-in-turn")]
    booklet = best_pages(*exercises, booklet=Booklet("Winter term"))
    assert booklet.count() == pages(*exercises, booklet=Booklet("Winter term")).count()
    assert booklet.settings.scale > 1
    assert_margins_are_white(booklet)


def test_exercises_of_a_booklet_begin_where_there_is_room_and_are_not_torn_apart() -> None:
    names = ("first-strikes", "gracenotes-in-turn", "slurs", "shakes")
    one = pages(*map(shipped, names), booklet=Booklet("Winter term"))
    starts = one.composed.first_leaves
    # Cover and contents, then two short exercises on a page.
    assert starts[:2] == (3, 3)
    assert starts == tuple(sorted(starts))
    for lines in one.line_pages():
        assert len(set(lines)) == 1 or len(lines) >= 7
    reader = read(one)
    for name, page in zip(names, starts, strict=True):
        assert shipped(name).title in words_of(reader.pages[page - 1])


def test_a_heading_is_kept_from_its_staff_by_no_room_for_marks_of_later_systems() -> None:
    children = replace(USUAL_SETTINGS, size=PrintSize.CHILDREN)
    (content,) = pages(shipped("f-gracenotes"), settings=children).exercises
    later, none, first = (content.lines[index].staves for index in (2, 5, 1))
    assert ['class="mark"' in staff.svg for staff in later] == [False, True]
    assert not any('class="mark"' in staff.svg for staff in none)
    assert ['class="mark"' in staff.svg for staff in first] == [True, False]
    # Notes and their names reach as far down in both.
    assert later[0].height == pytest.approx(none[0].height)
    assert later[1].height > later[0].height
    # Systems of one line stand evenly.
    assert first[0].height == first[1].height


def test_short_lines_stand_two_to_a_row_each_under_its_heading() -> None:
    exercise = shipped("throws-on-e-and-f")
    # A ruler stands under opened movements only, and below what is level.
    settings = replace(USUAL_SETTINGS, counting=Counting.NONE)
    one = pages(replace(exercise, lines=exercise.lines[:7]), settings=settings)
    (content,) = one.exercises
    assert content.rows == ((0, 1), (2, 3), (4, 5), (6,))
    half = USUAL_SETTINGS.system_units / 2
    for row in content.rows[:-1]:
        left, right = (content.lines[index].staves[0] for index in row)
        assert left.height == right.height
        assert max(left.width, right.width) < half
    text = words(read(one))
    # Each line is read to its end before the one beside it.
    for line in content.lines:
        after = text[text.index(f"{line.number} {line.heading}") :]
        if line.advice:
            assert after.index(line.advice[0]) < 120
    assert_margins_are_white(one)


def test_boxes_of_lines_that_share_a_row_stand_alike_and_no_heading_is_broken_for_them() -> None:
    for name in ("light-strikes", "throws-on-e-and-f", "tachums"):
        laid = fitted([material_of(shipped(name), USUAL_SETTINGS)])
        for leaf in laid.composed.leaves:
            heads = {one.element.index: one for one in leaf.placed if one.element.kind == "heading"}
            boxes = {one.element.index: one for one in leaf.placed if one.element.kind == "boxes"}
            under = {index: boxes[index].y > heads[index].y + 2 for index in heads}
            for row in laid.exercises[0].rows:
                assert len({under[index] for index in row}) == 1, (name, row)
        assert laid.composed.wrapped == 0


@pytest.mark.parametrize("name", ["strikes-between-notes", "throws-on-e-and-f"])
def test_headings_beside_each_other_stand_level_where_one_has_times_over_its_boxes(
    name: str,
) -> None:
    laid = fitted([material_of(shipped(name), USUAL_SETTINGS)])
    first = laid.composed.leaves[0].placed
    tops = [
        next(one.y for one in first if (one.element.kind, one.element.index) == (kind, line))
        for kind in ("heading", "boxes")
        for line in (0, 1)
    ]
    assert tops[0] == tops[1]
    # The boxes themselves do, too: those with times over them begin above the others.
    assert 2 < tops[3] - tops[2] < 6


def test_a_line_printed_alone_keeps_its_number() -> None:
    exercise = doublings(lines=3)
    alone = exercise.only(3)
    content = content_of(alone, USUAL_SETTINGS)
    assert [line.number for line in content.lines] == [3]
    assert content.lines[0].staves[0].alternative.startswith("Line 3")
    assert re.search(r"\b3\b", words(read(pages(alone))))


def test_lines_are_shared_out_evenly_where_the_last_page_would_be_nearly_empty() -> None:
    one = pages(shipped("every-doubling-from-low-g-to-f"))
    (ends,) = one.line_pages()
    on_page = [ends.count(number) for number in range(1, one.count() + 1)]
    assert sum(on_page) == 70
    # The first page has the head and most of the advice.
    assert max(on_page[1:]) - min(on_page[1:]) <= 1


def test_a_line_is_torn_apart_only_where_that_saves_a_page_or_half_of_one() -> None:
    children = replace(USUAL_SETTINGS, size=PrintSize.CHILDREN)
    laid = fitted([material_of(shipped("the-nine-notes"), children)], children)
    assert len(laid.exercises[0].lines[0].staves) == 3
    assert laid.composed.torn == 0
    between, inside = Gap(1, 1), Gap(1, 1, cost=0.25)
    parts = [Part(40, gap) for gap in (between, inside, between, between)]
    assert pages_of_parts(parts, 90) == (range(2), range(2, 4))
    # One that fills a page does not leave the half before it empty.
    tall = [Part(40, gap) for gap in (between, between, inside, between)]
    assert pages_of_parts(tall, 90) == (range(2), range(2, 4))
    assert pages_of_parts(tall[:3], 90) == (range(1), range(1, 3))


def test_rather_the_last_page_is_short_than_one_in_the_middle() -> None:
    parts = [Part(height, Gap(1, 1)) for height in (60, 50, 45, 45)]
    assert pages_of_parts(parts, 100) == (range(1), range(1, 3), range(3, 4))


def test_boxes_end_over_the_end_of_a_staff_that_stands_under_the_first_bars_of_others() -> None:
    landscape = replace(USUAL_SETTINGS, landscape=True)
    one = pages(shipped("first-march-steps"), settings=landscape)
    ends = {}
    for placed in one.composed.leaves[0].placed:
        kind, line = placed.element.kind, placed.element.index
        if line == 2 and kind == "boxes":
            ends[kind] = placed.x + (placed.element.width or 0)
        elif line == 2 and kind == "staff":
            unit = landscape.space_mm / UNITS_A_SPACE
            ends[kind] = placed.x + one.exercises[0].lines[2].staves[0].width * unit
    assert SIDE_MM + landscape.half_mm + 1 < ends["staff"] < SIDE_MM + landscape.line_mm / 2 + 10
    assert ends["boxes"] == pytest.approx(ends["staff"], abs=0.2)


@pytest.mark.parametrize(("name", "short"), [("thumb-gracenotes", 2), ("birls", 0)])
def test_boxes_with_no_room_over_a_short_staff_end_where_those_of_whole_lines_do(
    name: str, short: int
) -> None:
    one = pages(shipped(name))
    width = one.exercises[0].lines[short].staves[0].width
    assert width * USUAL_SETTINGS.space_mm / UNITS_A_SPACE < 0.6 * USUAL_SETTINGS.line_mm
    ends = [
        placed.x + (placed.element.width or 0)
        for leaf in one.composed.leaves
        for placed in leaf.placed
        if placed.element.kind == "boxes"
    ]
    assert len(ends) == len(one.exercises[0].lines)
    assert ends == pytest.approx([SIDE_MM + USUAL_SETTINGS.line_mm] * len(ends), abs=0.1)


def test_the_lines_that_fit_a_page_are_as_many_as_fit() -> None:
    book = shipped("every-doubling-from-low-g-to-f")
    for count in (1, 2):
        lines = lines_that_fit(book, count)
        assert 0 < lines < len(book.lines)
        assert pages_of(replace(book, lines=book.lines[:lines])) == count
        assert pages_of(replace(book, lines=book.lines[: lines + 1])) == count + 1


def test_an_exercise_that_fits_keeps_all_its_lines() -> None:
    assert lines_that_fit(shipped("shakes"), 1) == len(shipped("shakes").lines)


def test_svg_and_png_have_a_file_for_each_page(tmp_path: Path) -> None:
    book = replace(
        shipped("every-doubling-from-low-g-to-f"),
        lines=shipped("every-doubling-from-low-g-to-f").lines[:9],
    )
    paths = write_sheet(book, tmp_path / "book.png")
    assert [path.name for path in paths] == ["book-1.png", "book-2.png"]
    for path in paths:
        assert Image.open(path).size == (1240, 1754)
    (path,) = write_sheet(shipped("shakes"), tmp_path / "one.svg")
    assert path.name == "one.svg"
    assert path.read_text("utf-8").startswith("<svg")


@pytest.mark.parametrize("name", ["sheet.docx", "sheet"])
def test_an_unknown_ending_is_refused_before_anything_is_written(name: str, tmp_path: Path) -> None:
    with pytest.raises(RungwiseError) as caught:
        write_sheet(single_note(), tmp_path / name)
    assert ".pdf" in str(caught.value)
    assert not list(tmp_path.iterdir())


def test_a_folder_that_does_not_exist_is_made(tmp_path: Path) -> None:
    path = tmp_path / "new" / "sheet.pdf"
    write_sheet(single_note(), path)
    assert path.read_bytes().startswith(b"%PDF")


def test_what_was_there_stays_when_a_sheet_cannot_be_written(tmp_path: Path) -> None:
    target = tmp_path / "sheet.pdf"
    target.mkdir()
    with pytest.raises(RungwiseError):
        write_sheet(single_note(), target)
    assert target.is_dir()
    assert [path.name for path in tmp_path.iterdir()] == ["sheet.pdf"]
