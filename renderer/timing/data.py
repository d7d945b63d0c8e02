"""A timeline as plain data, for a second player of the same track, a page or a listener.

Times stand twice: `start_ms` and `length_ms` in milliseconds to the nanosecond, for people, and
`start` in seconds, exact, as the text of a fraction (`16/3`), for whoever has to place a sample.
An item ends `length_ms` on; the events, and the sections, tile the track. Lines, bars, items and
slots are counted from 1; `id` is the note's name in sheets and in MusicXML files, the same where a
line is taken alone. What does not apply is None.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction
from typing import Any

from renderer.notation.score import Exercise, bar_numbers
from renderer.timing.expand import Timeline
from renderer.timing.soundings import Chain, Moment
from renderer.timing.timeline import Event

COLUMNS = (
    "start_ms",
    "length_ms",
    "note",
    "role",
    "line",
    "bar",
    "item",
    "slot",
    "turn",
    "id",
    "bar_number",
)


def _milliseconds(seconds: Fraction) -> float | int:
    value = round(seconds * 1000, 6)
    return int(value) if value.denominator == 1 else float(value)


def _time(start: Fraction, length: Fraction) -> dict[str, Any]:
    # Starts and ends are rounded, not lengths, so that the printed rows tile as the events do.
    first, last = round(start * 1000, 6), round((start + length) * 1000, 6)
    return {"start_ms": _milliseconds(start), "length_ms": _milliseconds((last - first) / 1000)}


def _event(event: Event, numbers: Sequence[Sequence[str]]) -> dict[str, Any]:
    number = numbers[event.line - 1][event.bar - 1] if event.line else None
    return _time(event.start, event.length) | {
        "note": None if event.note is None else event.note.label,
        "role": event.role.value,
        "line": event.number or None,
        "bar": event.bar + event.bars_before if event.line else None,
        "item": event.item or None,
        "slot": event.slot or None,
        "turn": event.turn or None,
        "id": event.note_id or None,
        "bar_number": number,
    }


def event_rows(timeline: Timeline) -> Iterator[dict[str, Any]]:
    """Yield one row an event, keyed by `COLUMNS`.

    `bar` counts what stands between the bar lines of the line, as ids do; `bar_number` is the
    number that the bar is known by (`bar_numbers`).
    """
    numbers = _numbers(timeline.written)
    return (_event(event, numbers) for event in timeline)


def _numbers(written: Exercise) -> list[tuple[str, ...]]:
    return [bar_numbers(line) for line in written.lines]


def _moment(moment: Moment) -> dict[str, str]:
    return {"beats": str(moment.beats), "seconds": str(moment.seconds)}


def _chain(chain: Chain) -> list[dict[str, Any]]:
    return [
        {
            "start": _moment(sounding.start),
            "gracenote_lasts": _moment(sounding.gracenote_lasts),
            "gracenote": None if sounding.gracenote is None else sounding.gracenote.label,
            "note": None if sounding.note is None else sounding.note.label,
            "role": sounding.role.value,
            "bar": sounding.bar,
            "item": sounding.item,
            "slot": sounding.slot,
        }
        for sounding in chain.soundings
    ]


def timeline_data(timeline: Timeline) -> dict[str, Any]:
    """Return all of a timeline as what JSON holds.

    Returns
    -------
    `title`, `tempo` (beats a minute; of a track that climbs those of its first rung, in whose beats
    all is counted), `duration` (seconds; both exact) and `drones_start`; `sections`, each with its
    own tempo and, where that changes within the track, the length of inner notes; `events`,
    `clicks` and `rolls` in order; `played`: each line as it is played, with its soundings as
    moments (so many beats plus so many seconds from the line's start), from which the events of a
    nearby tempo follow; `remarks`.
    """
    written = timeline.written
    numbers = _numbers(written)
    return {
        "title": written.title,
        "tempo": str(timeline.tempo),
        "duration": str(timeline.duration),
        "duration_ms": _milliseconds(timeline.duration),
        "drones_start": str(timeline.drones_start),
        "drones_start_ms": _milliseconds(timeline.drones_start),
        "sections": [
            {"start": str(section.start)}
            | _time(section.start, section.length)
            | {
                "kind": section.kind.value,
                "line": written.id_number(timeline.order.line_number(section.line) - 1),
                "played": section.line,
                "turn": section.turn,
                "heading": section.heading,
                "tempo": str(section.tempo),
                "inner": None if section.inner is None else str(section.inner),
            }
            for section in timeline.sections
        ],
        "events": [{"start": str(event.start)} | _event(event, numbers) for event in timeline],
        "clicks": [
            {
                "start": str(click.start),
                "start_ms": _milliseconds(click.start),
                "kind": click.kind.value,
                "section": click.section.value,
            }
            for click in timeline.clicks()
        ],
        "rolls": [
            {"start": str(roll.start), "length": str(roll.length), "beats": roll.beats}
            | _time(roll.start, roll.length)
            for roll in timeline.rolls
        ],
        "played": [
            {
                "line": written.id_number(timeline.order.line_number(number) - 1),
                "heading": line.heading,
                "beats": str(chain.beats),
                "soundings": _chain(chain),
            }
            for number, (line, chain) in enumerate(
                zip(timeline.exercise.lines, timeline.chains, strict=True), start=1
            )
        ],
        "remarks": list(timeline.remarks),
    }
