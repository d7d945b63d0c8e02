"""What parts of tunes are called that have no name, and where a bar goes on in an ending."""

from __future__ import annotations

import io

import mido
import pytest

from renderer.delivery.chapters import chapters_of
from renderer.delivery.midi_writer import midi_sound, write_midi
from renderer.delivery.sheet.bar_lines import line_after
from renderer.delivery.sheet.engraving import engrave
from renderer.notation.line_names import line_name, tunes_of
from renderer.notation.score import Exercise, goes_on_in_an_ending
from renderer.notation.source_file import Source
from renderer.order.settings import usual_settings
from renderer.order.tracks import expand
from renderer.reading.exercise import read_exercise

HEAD = "X:1\nT:The Larkmoor Turn\nM:2/4\nL:1/8\nQ:1/4=60\nK:HP\n"


def read(music: str, head: str = HEAD) -> Exercise:
    return read_exercise(Source("tune.abc", f"{head}{music}\n".encode()))


TUNE = read('|:A4|B4:|\nc4|d4||\n"^Last part"e4|f4|]')


def test_parts_of_a_tune_are_numbered_and_those_with_a_name_have_it() -> None:
    timeline = expand(TUNE, 60)
    titles = [chapter.title for chapter in chapters_of(timeline, timeline.duration)]
    assert titles[-3:] == ["Part 1, 60 bpm", "Part 2, 60 bpm", "Last part, 60 bpm"]
    file = mido.MidiFile(file=io.BytesIO(write_midi(timeline, midi_sound(usual_settings()))))
    markers = [one.text for track in file.tracks for one in track if one.type == "marker"]
    assert list(dict.fromkeys(markers)) == ["Part 1", "Part 2", "Last part"]


def test_lines_of_an_exercise_have_their_numbers() -> None:
    exercise = read("A4|B4||\nc4|d4|]")
    assert tunes_of(exercise) == ()
    assert [line_name((), number, number + 4) for number in (1, 2)] == ["Line 5", "Line 6"]


def test_parts_of_each_tune_of_a_medley_are_counted_by_themselves() -> None:
    assert [line_name((1, 1, 2, 2), number, number) for number in (1, 2, 3, 4)] == [
        "Part 1", "Part 2", "Part 1", "Part 2",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("music", "inside"),
    [
        ("|:A4|B2 [1 c2:|[2 d2||", [False, True, False, False]),
        ("|:A4|[1 c4:|[2 d4||", [False, False, False]),
        ("A4|B2|[M:1/4]c2|]", [False, False, False]),
    ],
)
def test_no_bar_line_stands_where_an_ending_begins_inside_a_bar(
    music: str, inside: list[bool]
) -> None:
    (line,) = read(music).lines
    assert goes_on_in_an_ending(line.bars) == inside
    (engraved,) = engrave(read(music)).lines
    drawn = [line_after(bar, None, 1000.0, 0.0) for bar in engraved.bars]
    assert [text == "" for text in drawn] == inside
