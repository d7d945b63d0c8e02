"""`rungwise events`: the timed events of a track, as CSV or JSON.

Times are in milliseconds from the start of the track, to the nanosecond.
"""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from renderer.commands.options import (
    EventFormat,
    Replace,
    read_played,
    refuse_several,
    refuse_to_replace,
    settled,
    write_output,
)
from renderer.order.settings import Settings

if TYPE_CHECKING:
    from renderer.timing.expand import Timeline


def _as_text(timeline: Timeline, settings: Settings, form: EventFormat) -> str:
    from renderer.order.track_data import track_data
    from renderer.timing.data import COLUMNS, event_rows

    if form is EventFormat.JSON:
        return json.dumps(track_data(timeline, settings), indent=1) + "\n"
    out = io.StringIO()
    writer = csv.DictWriter(out, COLUMNS, lineterminator="\n")
    writer.writeheader()
    writer.writerows(event_rows(timeline))
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
    replace: Replace = False,
) -> None:
    """Print the timed events of a track: every note, gracenote and rest with its start.

    Reads an exercise; writes CSV to the screen or to -o, or JSON with all else that another player
    of the track needs: settings, sections, clicks, rolls, when the drones start. Times count from
    the start of the track, count-in included, as `rungwise render` plays it with the same settings.

    Example: rungwise events doublings.toml --tempo 60 --format csv
    """
    from renderer.delivery.claims import of_line, which_is_read
    from renderer.order.tracks import timeline_of

    refuse_to_replace(file, output)
    refuse_several(settings, "events are those of one track")
    timeline = timeline_of(read_played(file, settings), settings)
    which = which_is_read(settings)
    write_output(
        output,
        _as_text(timeline, settings, form),
        of_line("a table of events", settings),
        [file],
        which,
        replace=replace,
    )
