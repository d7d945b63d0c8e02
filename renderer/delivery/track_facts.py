"""What a manifest says of a track: how it sounds, and where each line and bar of it begins."""

from __future__ import annotations

from typing import Any

from renderer.delivery.tags import Tags
from renderer.notation.kept_settings import decimal_text
from renderer.order.track_job import TrackJob
from renderer.sound.breaking_off import asking
from renderer.timing.expand import Timeline
from renderer.timing.timeline import SectionKind

BUT_FOR_PLACE = "but-for-place"
"""The manifest's word for what decides a track but for its place among the others."""


def track_facts(
    job: TrackJob, tags: Tags, timeline: Timeline, loudness_lufs: float
) -> dict[str, Any]:
    """Return what a manifest says of a track, times in seconds.

    Parameters
    ----------
    job, tags:
        Which track, and what players show of it.
    timeline, loudness_lufs:
        Its events, and how loud it is.
    """
    return {
        "title": tags.title,
        BUT_FOR_PLACE: job.digest_but_for_place,
        "seconds": round(float(job.duration), 6),
        # Of a track that climbs, its rungs.
        "tempo": [decimal_text(one) for one in job.settings.tempos_of(job.exercise)],
        "pitch": job.pitch.label,
        "low-a-hz": job.pitch.low_a_hz,
        "loudness-lufs": float(loudness_lufs),
        "lines": places_in(timeline),
    }


def places_in(timeline: Timeline) -> list[dict[str, Any]]:
    """Return every playing of a line, in order, with where it and its bars begin.

    Returns
    -------
    For each playing the line's number and heading, its start and the starts of its bars in the
    order in which they are played, in seconds to the microsecond.
    """
    bars: list[tuple[float, int]] = []
    last = (0, 0, 0)
    for event in asking(timeline):
        here = (event.line, event.bar, event.turn)
        if event.line and here != last:
            bars.append((float(event.start), event.line))
        last = here
    found: list[dict[str, Any]] = []
    at = 0
    written = timeline.exercise
    for section in timeline.sections:
        if section.kind is not SectionKind.LINE:
            continue
        start, end = float(section.start), float(section.start + section.length)
        starts = []
        while at < len(bars) and bars[at][0] < end:
            if bars[at][0] >= start:
                starts.append(round(bars[at][0], 6))
            at += 1
        found.append(
            {
                "line": written.number_of(section.line - 1),
                "heading": section.heading,
                "start": round(start, 6),
                "bars": starts,
            }
        )
    return found
