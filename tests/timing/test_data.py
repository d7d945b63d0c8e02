"""A timeline as plain data: all that a second player of the track needs, under names that last."""

from __future__ import annotations

import json
from dataclasses import replace
from fractions import Fraction
from xml.etree import ElementTree

from hypothesis import given, settings

from renderer.notation.musicxml.writer import write_musicxml
from renderer.notation.score import Exercise
from renderer.order.tracks import expand
from renderer.timing.data import timeline_data
from renderer.timing.timeline import Event, Role
from tests.delivery.larkmoor import doublings
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


@settings(max_examples=30)
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
