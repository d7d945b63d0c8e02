"""The calendar of a practice plan, read by a kept library (icalendar; RFC 5545)."""

from __future__ import annotations

from datetime import date, datetime, time, timedelta

import icalendar

from renderer.delivery.practice_calendar import practice_calendar
from renderer.reading.exercise import read_exercise
from renderer.reading.library import find_exercise
from renderer.timing.practice import PracticePlan
from tests.delivery.larkmoor import planned

START = date(2026, 2, 27)
MADE = date(2026, 2, 1)


def plan() -> PracticePlan:
    return planned(read_exercise(find_exercise("throws-on-d")), 10, 5)


def events(content: bytes) -> list[icalendar.Event]:
    calendar = icalendar.Calendar.from_ical(content)
    return [one for one in calendar.walk("VEVENT") if isinstance(one, icalendar.Event)]


def test_each_day_is_an_event_that_lasts_as_long_as_the_practice() -> None:
    made = plan()
    found = events(practice_calendar(made, START, time(18, 30), ordered=MADE))
    assert len(found) == len(made.days)
    for event, day in zip(found, made.days, strict=True):
        begin, end = event.decoded("dtstart"), event.decoded("dtend")
        assert begin == datetime.combine(START + timedelta(days=day.number - 1), time(18, 30))
        assert (
            timedelta()
            <= (end - begin) - timedelta(seconds=float(day.seconds))
            < timedelta(minutes=1)
        )
        assert "Throws on D" in str(event["summary"])
        assert str(event["description"]).count("\n") == len(day.items)


def test_the_same_plan_gives_the_same_file_and_its_events_are_told_apart() -> None:
    content = practice_calendar(plan(), START, time(18, 30), ordered=MADE)
    assert content == practice_calendar(plan(), START, time(18, 30), ordered=MADE)
    uids = [str(event["uid"]) for event in events(content)]
    assert len(set(uids)) == len(uids)


def test_lines_end_as_the_standard_asks_and_are_folded() -> None:
    content = practice_calendar(plan(), START, time(18, 30), ordered=MADE)
    lines = content.split(b"\r\n")
    # RFC 5545, 3.1: lines end in CRLF and should not be longer than 75 octets.
    assert b"\n" not in b"".join(lines)
    assert max(map(len, lines)) <= 75
