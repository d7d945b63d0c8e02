"""`rungwise events`: the timed events of a track, as CSV or JSON.

Times are in milliseconds from the start of the track, to the nanosecond.
"""

from __future__ import annotations

import csv
import io
import json
import sys
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from renderer.commands.options import (
    EventFormat,
    read_played,
    refuse_several,
    refuse_to_replace,
    settled,
)
from renderer.order.settings import Settings

if TYPE_CHECKING:
    from renderer.timing.expand import Timeline

COLUMNS = ("start_ms", "length_ms", "note", "role", "line", "bar")


def _milliseconds(seconds: Fraction) -> float | int:
    # Starts and ends are rounded, not lengths, so that the printed rows tile as the events do.
    value = round(seconds * 1000, 6)
    return int(value) if value.denominator == 1 else float(value)


def event_rows(timeline: Timeline) -> list[dict[str, Any]]:
    """Return one row an event, keyed by `COLUMNS`; what does not apply is None."""
    rows = []
    for event in timeline:
        start, end = round(event.start * 1000, 6), round(event.end * 1000, 6)
        rows.append(
            {
                "start_ms": _milliseconds(event.start),
                "length_ms": _milliseconds((end - start) / 1000),
                "note": None if event.note is None else event.note.label,
                "role": event.role.value,
                "line": event.line or None,
                "bar": event.bar or None,
            }
        )
    return rows


def _as_text(rows: list[dict[str, Any]], form: EventFormat) -> str:
    if form is EventFormat.JSON:
        return json.dumps(rows, indent=1) + "\n"
    out = io.StringIO()
    writer = csv.DictWriter(out, COLUMNS, lineterminator="\n")
    writer.writeheader()
    for row in rows:
        writer.writerow(row)
    return out.getvalue()


@settled("events")
def events(
    file: Annotated[Path, typer.Argument(help="An exercise, or the name of a shipped one.")],
    settings: Settings,
    form: Annotated[
        EventFormat, typer.Option("--format", case_sensitive=False, help="How to print them.")
    ] = EventFormat.CSV,
    output: Annotated[
        Path | None, typer.Option("-o", "--output", help="Write to a file instead.")
    ] = None,
) -> None:
    """Print the timed events of a track: every note, gracenote and rest with its start.

    Reads an exercise; writes CSV or JSON to the screen or to -o. Times count from the start of the
    track, count-in included, as `rungwise render` plays it with the same settings.

    Example: rungwise events doublings.toml --tempo 60 --format csv
    """
    from renderer.order.tracks import timeline_of

    refuse_to_replace(file, output)
    refuse_several(settings, "events are those of one track")
    timeline = timeline_of(read_played(file, settings), settings)
    text = _as_text(event_rows(timeline), form)
    if output is None:
        sys.stdout.write(text)
    else:
        from renderer.delivery.files import write_whole

        write_whole(output, text.encode())
