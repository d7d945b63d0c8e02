"""What every shipped exercise plays, exactly, as a table: has a change of the code changed music?

    python -m tests.timing.shipped_events

prints what differs from `shipped_events.csv` and writes the table anew; a commit with a change of
it says what was meant. Each row is a track with the usual settings, at the slowest and at the
target tempo of an exercise: how many events the chanter has, how long it plays (seconds, exact),
and a digest over all of it: events, sections, clicks and rolls.
"""

from __future__ import annotations

import csv
import hashlib
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path

from renderer import expand
from renderer.notation.score import Exercise
from renderer.reading.exercise import read_exercise
from renderer.reading.library import shipped_exercises
from renderer.timing.expand import Timeline
from tests.delivery.larkmoor import rungs

TABLE = Path(__file__).with_suffix(".csv")
COLUMNS = ("exercise", "tempo", "events", "seconds", "digest")

Row = tuple[str, ...]


def _lines(timeline: Timeline) -> Iterator[str]:
    for event in timeline:
        note = "" if event.note is None else event.note.label
        place = (event.line, event.bar, event.item, event.slot, event.turn, event.number)
        yield f"{event.start} {event.length} {note} {event.role.value} {place}"
    for section in timeline.sections:
        played = (section.line, section.turn)
        yield f"{section.kind.value} {section.start} {section.length} {played}"
    for click in timeline.clicks():
        yield f"{click.kind.value} {click.start} {click.section.value}"
    for roll in timeline.rolls:
        yield f"roll {roll.start} {roll.length} {roll.beats}"


def row(name: str, exercise: Exercise, tempo: Fraction) -> Row:
    """The row of one track; see the head of this module."""
    timeline = expand(exercise, tempo)
    digest = hashlib.sha256("\n".join(_lines(timeline)).encode()).hexdigest()[:16]
    events = sum(1 for _ in timeline)
    return name, str(tempo), str(events), str(timeline.duration), digest


def rows_of(name: str) -> list[Row]:
    """The rows of a shipped exercise, by its name."""
    exercise = read_exercise(name)
    tempos = rungs(exercise)
    return [row(name, exercise, tempo) for tempo in dict.fromkeys((tempos[0], tempos[-1]))]


def kept() -> list[Row]:
    """The rows of the table."""
    with TABLE.open(encoding="utf-8", newline="") as file:
        return [tuple(one) for one in csv.reader(file)][1:]


def main() -> None:
    """Renew the table and print what has changed."""
    before = set(kept()) if TABLE.exists() else set()
    now = [row for one in shipped_exercises() for row in rows_of(one.name)]
    for one in sorted(before - set(now)):
        print("-", *one)
    for one in sorted(set(now) - before):
        print("+", *one)
    with TABLE.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file, lineterminator="\n").writerows([COLUMNS, *now])


if __name__ == "__main__":
    main()
