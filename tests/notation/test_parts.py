"""Parts of an exercise: what is taken out keeps its numbers, its tempo and its names."""

from __future__ import annotations

import csv
import io
from fractions import Fraction
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest
from typer.testing import CliRunner

from renderer.commands.app import app
from renderer.errors import RungwiseError
from renderer.notation.musicxml.writer import write_musicxml
from renderer.notation.parts import numbers_in_words, part_of
from renderer.notation.pitch import Note
from renderer.notation.score import Exercise, MelodyNote, Rest, bar_numbers
from renderer.notation.source_file import Source
from renderer.order.jobs import job_from_json, job_json
from renderer.order.order import Order
from renderer.order.track_job import TrackJob
from renderer.order.tracks import expand
from renderer.reading.exercise import read_exercise
from renderer.timing.timeline import Role
from tests.delivery.larkmoor import asked

MARCH = b"""X:1
T:Larkmoor march
M:2/4
L:1/8
Q:1/4=60
K:HP
P:A
|: ef | A2 c2 | [Q:1/4=72] {g}e2 f2 | {g}c2 {gef}e2 | A2 :|
P:B
|: ac | e2 {g}c>e | {g}f2 ef | {Gdc}d4 | A2 :|
"""


@pytest.fixture
def march() -> Exercise:
    return read_exercise(Source("march.abc", MARCH))


def names(exercise: Exercise) -> list[str]:
    return [event.note_id for event in expand(exercise, 60) if event.role is Role.MELODY]


def test_bars_keep_their_numbers_and_the_names_of_their_notes(march: Exercise) -> None:
    part = part_of(march, (2,), (3, 4), led_in=False)
    assert part.title == "Larkmoor march, line 2, bars 3 to 4"
    assert part.whole_title == "Larkmoor march"
    assert [part.bar_number(0, at) for at in (0, 1)] == ["3", "4"]
    whole = set(names(march))
    assert set(names(part)) <= whole
    assert {name.split("-")[0] for name in names(part)} == {"L2"}
    # Ids count the pickup, which is bar 0.
    assert {name.split("-")[1] for name in names(part)} == {"B4", "B5"}
    assert [march.bar_number(1, at) for at in range(5)] == ["0", "1", "2", "3", "4"]
    pickup = part_of(march, (2,), (0, 1), led_in=False)
    assert {name.split("-")[1] for name in names(pickup)} == {"B1", "B2"}


def test_sheet_and_track_of_a_part_name_its_notes_alike(march: Exercise) -> None:
    for led_in in (False, True):
        for lines, bars in (((), (3, 4)), ((2,), (1, 2)), ((2,), None)):
            part = part_of(march, lines, bars, led_in=led_in)
            root = ElementTree.fromstring(write_musicxml(part))
            printed = {note.get("id", "") for note in root.iter("note")}
            sounding = {one.note_id for one in expand(part, 60) if one.note is not None}
            assert sounding <= printed


def test_bars_are_played_once_at_the_tempo_that_marks_before_them_have_set(march: Exercise) -> None:
    part = part_of(march, (1,), (3, 4), led_in=False)
    timeline = expand(part, 60, count_in=1)
    # Two bars at 72: four beats and two, after a bar of clicks at the same tempo.
    assert timeline.duration == Fraction(60, 72) * (2 + 2 + 1)
    assert [section.turn for section in timeline.sections] == [1, 1]


def test_the_note_before_leads_in_after_a_rest_that_fills_its_bar(march: Exercise) -> None:
    part = part_of(march, (2,), (3, 3), led_in=True)
    lead, bar = part.lines[0].bars
    *rests, note = lead.items
    assert all(isinstance(one, Rest) for one in rests)
    assert isinstance(note, MelodyNote)
    assert (note.note, note.group, lead.number) == (Note.F, (), "2")
    assert lead.beats == march.lines[1].bars[2].beats
    assert bar.items == march.lines[1].bars[3].items
    # Its id is the one that it has in the whole.
    assert names(part)[0] in names(march)


def test_the_last_note_of_the_line_before_leads_into_a_line(march: Exercise) -> None:
    part = part_of(march, (2,), None, led_in=True)
    note = part.lines[0].bars[0].items[-1]
    assert isinstance(note, MelodyNote)
    assert note.note is Note.LOW_A
    assert not part.remarks
    first = part_of(march, (1,), None, led_in=True)
    assert first.lines[0].bars[0] == march.lines[0].bars[0]
    assert first.remarks == ("No note comes before line 1, so none leads in.",)


def test_pieces_of_a_bar_have_one_number_and_a_scores_own_numbers_go_first() -> None:
    head = "X:1\nT:Reel\nM:4/4\nL:1/4\nK:HP\n"
    tune = f"{head}e|ABcd|AB[Q:1/4=80]cd|e3:|f|ABcd|[I:setbarnb 12]e3|]\n"
    (line,) = read_exercise(Source("reel.abc", tune.encode())).lines
    assert bar_numbers(line) == ("0", "1", "2", "2", "3", "3", "4", "12")


LINES = "\n".join(f'[[lines]]\nrun = "low A, {n}, E"\nornament = "doubling"' for n in "BCDBCDB")


def test_lines_keep_their_numbers_on_sheets_and_in_names() -> None:
    whole = read_exercise(Source("seven.toml", LINES.encode()))
    part = part_of(whole, (2, 5, 6, 7), None, led_in=False)
    assert part.title.endswith(", lines 2 and 5 to 7")
    assert [part.number_of(at) for at in range(4)] == [2, 5, 6, 7]
    assert set(names(part)) < set(names(whole))
    assert {name.split("-")[0] for name in names(part)} == {"L2", "L5", "L6", "L7"}


def test_a_line_without_the_bars_is_left_out_and_none_with_them_is_refused(march: Exercise) -> None:
    text = 'meter = "3/4"\n[[lines]]\nabc = "A2 B2 c2 | d6 | e6"\n[[lines]]\nabc = "A6 | e6"'
    whole = read_exercise(Source("two.toml", text.encode()))
    assert part_of(whole, (), (2, 3), led_in=False).number_of(0) == 1
    assert len(part_of(whole, (), (2, 3), led_in=False).lines) == 1
    with pytest.raises(RungwiseError, match=r"no line of march.abc has bars 40 to 41.*line 1 has"):
        part_of(march, (), (40, 41), led_in=False)
    with pytest.raises(RungwiseError, match=r"no line 9.*Choose from 1 to 2"):
        part_of(whole, (2, 9), None, led_in=False)


def test_bars_of_a_score_are_found_by_its_own_numbers_across_its_lines() -> None:
    music = read_exercise("six-eight-march")
    own = [bar.number for line in music.lines for bar in line.bars]
    if not any(own):
        numbered = [
            [int(music.bar_number(at, index)) for index in range(len(line.bars))]
            for at, line in enumerate(music.lines)
        ]
        part = part_of(music, (), (2, 3), led_in=False)
        assert len(part.lines) == sum({2, 3} <= set(row) for row in numbered)


@pytest.mark.parametrize(
    ("numbers", "words"),
    [([2], "2"), ([2, 5], "2 and 5"), ([2, 5, 6, 7], "2 and 5 to 7"), ([1, 2], "1 and 2")],
)
def test_numbers_are_listed_as_people_do(numbers: list[int], words: str) -> None:
    assert numbers_in_words(numbers) == words


@pytest.mark.parametrize(
    "given",
    [
        {"bars": "3-4"},
        {"line": 2, "bars": "3"},
        {"lines": "1-2", "bars": "2-3", "lead_in": True},
        {"lines": "2", "each_line": True, "bars": "2-3"},
        {"lines": "1-2", "each_line": True, "lead_in": True, "climb": "50:60:5"},
    ],
    ids=str,
)
def test_tracks_of_parts_read_back_as_they_were(given: dict[str, Any]) -> None:
    order = Order((Source("march.abc", MARCH),), asked(**given))
    for job in order.jobs(Path()):
        again = job_from_json(job_json(job))
        assert again.digest == job.digest
        assert isinstance(again, TrackJob)
        assert list(again.timeline()) == list(job.timeline())


def test_bars_climb_twenty_times_in_one_track(tmp_path: Path) -> None:
    (tmp_path / "march.abc").write_bytes(MARCH)
    words = [str(tmp_path / "march.abc"), "--line", "2", "--bars", "3-4", "--climb", "50:88:2"]
    run = CliRunner().invoke(app, ["events", *words])
    assert run.exit_code == 0, run.output
    rows = list(csv.DictReader(io.StringIO(run.stdout)))
    firsts = [
        row for row in rows if (row["bar_number"], row["item"], row["role"]) == ("3", "1", "melody")
    ]
    assert [row["turn"] for row in firsts] == [str(turn) for turn in range(1, 21)]
    assert {row["bar_number"] for row in rows} == {"", "3", "4"}
