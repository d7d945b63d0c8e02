"""A timeline as plain data: all that a second player of the track needs, under names that last."""

from __future__ import annotations

import json
from dataclasses import replace
from fractions import Fraction
from xml.etree import ElementTree

from hypothesis import given

from renderer.notation.length import Length
from renderer.notation.musicxml.writer import write_musicxml
from renderer.notation.pitch import Note
from renderer.notation.playing import EVEN, Inner
from renderer.notation.score import Bar, Exercise, Line, Meter
from renderer.order.tracks import expand
from renderer.timing.data import timeline_data
from renderer.timing.timeline import Event, Role
from tests.delivery.larkmoor import doublings, plain
from tests.sampling import examples
from tests.timing.strategies import exercises


def _printed(exercise: Exercise) -> set[str]:
    """The names of the notes in a score, as sheets are engraved from."""
    root = ElementTree.fromstring(write_musicxml(exercise))
    return {note.get("id", "") for note in root.iter("note")}


def test_two_lines_taken_alone_share_no_name_with_each_other() -> None:
    whole = doublings(lines=3)
    names = {event.note_id for event in expand(whole) if event.note_id}
    alone = [
        {event.note_id for event in expand(whole.only(number)) if event.note_id}
        for number in (1, 2, 3)
    ]
    assert alone[0] | alone[1] | alone[2] == names
    assert not alone[0] & alone[1]
    assert not alone[1] & alone[2]
    assert all(name.startswith("L2-B") for name in alone[1])


def test_a_line_alone_has_the_same_names_on_its_sheet_as_in_its_track() -> None:
    whole = doublings(lines=3)
    for exercise in (whole, whole.only(1), whole.only(3)):
        sounding = {event.note_id for event in expand(exercise) if event.note is not None}
        assert sounding <= _printed(exercise)
    assert _printed(whole.only(3)) <= _printed(whole)


def test_the_data_tells_what_the_track_has() -> None:
    timeline = expand(
        doublings(lines=2), 60, count_in=1, count_in_style="rolls", repeats=2, mix="echo", gap=1
    )
    data = timeline_data(timeline)
    assert json.loads(json.dumps(data)) == data
    assert [section["kind"] for section in data["sections"]] == [
        "count-in", *["line", "echo"] * 2, "gap", *["line", "echo"] * 2
    ]  # fmt: skip
    assert [section["line"] for section in data["sections"]] == [1] * 5 + [2] * 5
    assert len(data["rolls"]) == 2
    # The drones strike in on the second roll.
    assert data["drones_start"] == data["rolls"][1]["start"]
    assert data["drones_start_ms"] > 0
    assert {click["section"] for click in data["clicks"]} == {"line", "echo", "gap"}
    played = [event for event in data["events"] if event["note"] is not None]
    assert {event["turn"] for event in played} == {1, 2}
    assert all(
        event[name] is not None
        for event in played
        for name in ("line", "bar", "item", "slot", "turn", "id")
    )


@examples(30)
@given(exercises())
def test_the_exact_starts_are_those_of_the_events_and_follow_from_the_moments(
    exercise: Exercise,
) -> None:
    exercise = replace(exercise, first_number=4)
    timeline = expand(exercise, count_in=1)
    data = timeline_data(timeline)
    starts = [Fraction(event["start"]) for event in data["events"]]
    assert starts == [event.start for event in timeline]
    ends = [*starts[1:], Fraction(data["duration"])]
    assert all(start < end for start, end in zip(starts, ends, strict=True))
    beat = 60 / Fraction(data["tempo"])
    for section in data["sections"]:
        if section["kind"] != "line":
            continue
        line = data["played"][section["played"] - 1]
        assert section["line"] == line["line"] >= 4
        for sounding in line["soundings"]:
            moment = sounding["start"]
            at = Fraction(moment["beats"]) * beat + Fraction(moment["seconds"])
            assert Fraction(section["start"]) + at in starts


def test_what_nobody_wrote_has_no_place_in_the_music() -> None:
    event = Event(Fraction(3), Fraction(1), None, Role.REST)
    assert (event.line, event.bar, event.item, event.slot, event.turn, event.number) == (0,) * 6
    assert event.note_id == ""
    assert event.end == 4


def test_a_roll_lasts_three_beats() -> None:
    track = expand(doublings(), 60, count_in_style="rolls")
    assert [(roll.start, roll.length, roll.beats) for roll in track.rolls] == [(0, 3, 3), (4, 3, 3)]


def seventy() -> Exercise:
    """Two lines of one bar in 3/4 at 70 beats a minute, whose bars carry numbers of their own."""
    meter = Meter(3, 4)
    notes = (plain(Note.LOW_A), plain(Note.B), plain(Note.C))
    lines = tuple(Line((Bar(notes, meter, number=number),)) for number in ("7", "8a"))
    return Exercise(title="Seventy", tempo=Fraction(70), lines=lines)


def test_milliseconds_are_rounded_to_the_nanosecond_and_tile() -> None:
    data = timeline_data(expand(seventy().only(1), count_in=0))
    times = [(event["start_ms"], event["length_ms"]) for event in data["events"]]
    # A beat lasts 6/7 s. Starts and ends are rounded, so the lengths are 857.142857,
    # 1714.285714 - 857.142857 and 2571.428571 - 1714.285714.
    assert times == [(0, 857.142857), (857.142857, 857.142857), (1714.285714, 857.142857)]
    assert [event["start"] for event in data["events"]] == ["0", "6/7", "12/7"]
    (section,) = data["sections"]
    assert (section["start_ms"], section["length_ms"]) == (0, 2571.428571)
    assert section["inner"] is None
    assert (data["duration"], data["duration_ms"]) == ("18/7", 2571.428571)


def test_whole_milliseconds_are_whole_numbers() -> None:
    data = timeline_data(expand(seventy().only(1), 60, count_in=0))
    assert json.dumps(data["events"][1]["start_ms"]) == "1000"
    assert json.dumps(data["duration_ms"]) == "3000"


def test_bars_have_the_numbers_of_the_score() -> None:
    data = timeline_data(expand(seventy(), count_in=1, gap=0))
    numbers = [(event["line"], event["bar"], event["bar_number"]) for event in data["events"]]
    assert numbers == [(None, None, None), *[(1, 1, "7")] * 3, *[(2, 1, "8a")] * 3]


def test_a_section_says_how_its_movements_are_played() -> None:
    stages = (EVEN, Inner((Length(Fraction(80), "ms"),)))
    timeline = expand(doublings(), 60, count_in=0, gap=0, open_to_close=stages)
    said = [section["inner"] for section in timeline_data(timeline)["sections"]]
    assert said == ["even", "80 ms"]
