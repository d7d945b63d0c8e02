"""A practice plan as a calendar file: one event a day, in iCalendar (RFC 5545).

Times are floating (no time zone), since practice is at the same hour wherever the player is.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, date, datetime, time, timedelta
from math import ceil
from uuid import NAMESPACE_URL, uuid5

from icalendar import Calendar, Event

from renderer.notation.score import Exercise
from renderer.notation.source_file import without_controls
from renderer.timing.fit import spoken_tempo
from renderer.timing.practice import Block, Day, PracticePlan


def block_text(exercise: Exercise, block: Block) -> str:
    """Return a block in words: `Line 3 (Low A to D): 60, twice`."""
    heading = without_controls(exercise.lines[block.line - 1].heading)
    name = f"Line {block.line} ({heading})" if heading else f"Line {block.line}"
    times = {1: "once", 2: "twice"}.get(block.repeats, f"{block.repeats} times")
    back = ", stepping back" if block.is_step_back else ""
    return f"{name}: {spoken_tempo(block.tempo)} beats a minute, {times}{back}"


def _description(exercise: Exercise, day: Day) -> str:
    rows = [
        block_text(exercise, item)
        if isinstance(item, Block)
        else f"Rest your hands for {float(item.seconds):.0f} seconds."
        for item in day.items
    ]
    return "\n".join([*rows, "A line goes on to its next tempo once it was clean."])


def practice_calendar(plan: PracticePlan, start: date, at: time, *, ordered: date) -> bytes:
    """Return the calendar file of a plan.

    Parameters
    ----------
    plan:
        Days without practice get no event.
    start:
        The first day.
    at:
        When practice begins on each day.
    ordered:
        The day that the plan is of, for the time stamp by which calendars tell which one is newer.
    """
    stamp = datetime.combine(ordered, time(), UTC)
    calendar = Calendar()
    calendar.add("prodid", "-//Rungwise//Practice plan//EN")
    calendar.add("version", "2.0")
    for event in _events(plan, start, at, stamp):
        calendar.add_component(event)
    content: bytes = calendar.to_ical()
    return content


def _events(plan: PracticePlan, start: date, at: time, stamp: datetime) -> Sequence[Event]:
    events = []
    for day in plan.days:
        if not day.items:
            continue
        begin = datetime.combine(start + timedelta(days=day.number - 1), at)
        event = Event()
        # The same plan imported again replaces its events, another plan does not.
        event.add("uid", f"{uuid5(NAMESPACE_URL, f'{plan.exercise.title} {begin}')}@rungwise")
        event.add("dtstamp", stamp)
        event.add("dtstart", begin)
        event.add("dtend", begin + timedelta(minutes=ceil(day.seconds / 60)))
        event.add("summary", f"Practice: {without_controls(plan.exercise.title)}, day {day.number}")
        event.add("description", _description(plan.exercise, day))
        events.append(event)
    return events
