"""All of a track as plain data: what another player of the same track needs, and nothing besides.

To the timeline (`renderer.timing.data`) come the settings of this very track and what each event
sounds, as a fingering: a gracenote's depends on the notes around it, and nobody is to work that out
again. With the loops of `renderer.sound.balance.balance` it can be played as it is rendered.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from renderer.order.settings import Settings, every_plain
from renderer.sound.fingers import fingered_events
from renderer.technique.fingering import fingering, written
from renderer.timing.data import timeline_data
from renderer.timing.expand import Timeline


def track_data(timeline: Timeline, settings: Settings) -> dict[str, Any]:
    """Return a track as what JSON holds.

    Parameters
    ----------
    timeline:
        From `renderer.order.tracks.timeline_of`.
    settings:
        Those that it was made with.

    Returns
    -------
    What `timeline_data` does, each event with its `fingering` (`x xxx | xx--` from the left thumb
    down, x closed; None where the chanter is silent), and `settings`: all that a track differs by,
    by their keys, with its tempo (or the rungs that it climbs) and its repeats whoever has asked
    for them.
    """
    repeats = settings.repeats_of(timeline.written)
    tempo = timeline.tempo if settings.climb is None else None
    own = replace(settings, tempo=tempo, ladder=None, repeats=repeats)
    data = timeline_data(timeline)
    sounding = fingered_events(timeline, pure=settings.gracenotes == "pure")
    for event, one in zip(data["events"], sounding, strict=True):
        closed = one.sounding
        if closed is not None and not isinstance(closed, frozenset):
            closed = fingering(closed)
        event["fingering"] = None if closed is None else written(closed)
    return {"settings": every_plain(own, "events"), **data}
