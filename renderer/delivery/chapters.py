"""The chapters of a track: where each of its lines begins, on each of its rungs.

A chapter begins with the line's first event, which is a movement's first part where that comes
before the beat; so whoever jumps to it hears all of the line and nothing before it. What comes
before the first line is a chapter too, so that the chapters tile the track.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction
from typing import TypeVar

from renderer.delivery.tags import Chapter
from renderer.notation.line_names import line_name, tunes_of
from renderer.order.names import tempo_label
from renderer.timing.expand import Timeline
from renderer.timing.room import moved_to_the_start
from renderer.timing.timeline import Section, SectionKind

_T = TypeVar("_T")

MOST_CHAPTERS = 255
"""MP3 counts them in one byte (ID3v2 Chapter Frame Addendum 1.0, the entry count of CTOC), and so
does the list that players of M4A read."""


def _first_event(timeline: Timeline, number: int, section: Section) -> Fraction:
    chain = timeline.chains[section.line - 1]
    if number in timeline.heads:
        chain = moved_to_the_start(chain)
    if not chain.soundings:
        return section.start
    return section.start + chain.soundings[0].start.at(timeline.seconds_per_beat)


def _title(timeline: Timeline, section: Section) -> str:
    written = timeline.order.line_number(section.line) - 1
    heading = section.heading.strip()
    tunes = tunes_of(timeline.written)
    words = [line_name(tunes, written + 1, timeline.written.number_of(written)), heading]
    if tunes and heading:
        # Parts of a tune have names or numbers.
        words = [heading]
    words.append(f"{tempo_label(section.tempo)} bpm")
    if section.inner is not None:
        words.append(f"inner notes {section.inner}")
    return ", ".join(filter(None, words))


def _lines(timeline: Timeline) -> Iterator[tuple[Fraction, str, bool]]:
    """Yield where each line begins on each rung, its chapter's title, and whether a rung begins."""
    before: tuple[object, ...] = ()
    for number, section in enumerate(timeline.sections):
        # The learner's turn belongs to the line, and so do its other playings.
        if section.kind is not SectionKind.LINE or section.turn > 1:
            continue
        rung = section.tempo, section.inner
        yield _first_event(timeline, number, section), _title(timeline, section), rung != before
        before = rung


def chapters_of(timeline: Timeline, duration: Fraction) -> tuple[Chapter, ...]:
    """Return the chapters of a track; none where a single line is all that there is.

    Parameters
    ----------
    timeline:
        From `renderer.order.tracks.timeline_of`.
    duration:
        How long the track lasts, in seconds, with what a room adds to it.

    Returns
    -------
    At most `MOST_CHAPTERS`: where there are more lines, one for each rung, or for as many of them
    as there is room for, evenly spread.
    """
    lines = list(_lines(timeline))
    if len(lines) < 2:
        return ()
    begins = [(start, title) for start, title, _ in lines]
    if len(begins) >= MOST_CHAPTERS and sum(is_rung for *_, is_rung in lines) > 1:
        begins = [(start, title) for start, title, is_rung in lines if is_rung]
    begins = thinned(begins, MOST_CHAPTERS - 1)
    if begins[0][0] > 0:
        begins.insert(0, (Fraction(0), "Count-in"))
    ends = [*(start for start, _ in begins[1:]), duration]
    return tuple(
        Chapter(start, end, title) for (start, title), end in zip(begins, ends, strict=True)
    )


def thinned(row: Sequence[_T], most: int) -> list[_T]:
    """Return so many of a row at most, evenly spread, its first among them."""
    step = -(-len(row) // most)
    return list(row[::step])
