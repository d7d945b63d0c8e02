"""What the fingers make the chanter sound: timed events to fingerings.

A gracenote is a finger lifted, or tapped, while the others do what its neighbours ask for, so that
what sounds depends on both; a noise sounds between two fingerings. Notes have their own.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from fractions import Fraction

from renderer.notation.pitch import Note
from renderer.technique.finger_changes import gracenote_fingering, noise_fingering
from renderer.technique.fingering import Fingering, fingering, sounding
from renderer.timing.timeline import Event, Role

Sounding = Note | Fingering
"""What names a tone: one of the nine notes by its own fingering, or any other fingering."""


def own_note(closed: Fingering) -> Sounding:
    """Return the note whose own fingering this is, or the fingering itself."""
    return _OWN.get(closed, closed)


_OWN = {fingering(note): note for note in Note}


def named_note(sound: Sounding) -> Note:
    """Return the note that a tone is named by."""
    return sound if isinstance(sound, Note) else sounding(sound)


def is_lower(one: Sounding, other: Sounding) -> bool:
    """Return whether one tone is named by a lower note than another: fingers have come down."""
    return named_note(one) < named_note(other)


@dataclass(frozen=True, slots=True)
class FingeredEvent:
    """An event of the chanter, where it ends (seconds) and what it sounds; None is silence."""

    event: Event
    end: Fraction
    sounding: Sounding | None


def fingered_events(events: Iterable[Event], *, pure: bool = False) -> Iterator[FingeredEvent]:
    """Yield the chanter's events with the fingerings that sound.

    Parameters
    ----------
    events:
        In order, tiling the track.
    pure:
        Whether gracenotes and noises sound as the nine notes do.
    """
    note: Note | None = None
    closed: Fingering | None = None
    ahead = iter(events)
    current = next(ahead, None)
    while current is not None:
        following = next(ahead, None)
        after = None if following is None else following.note
        if current.note is None:
            note = closed = None
        elif not pure and current.role is Role.GRACENOTE:
            target = current.note if after is None else after
            closed = gracenote_fingering(target if note is None else note, current.note, target)
        elif not pure and current.role is Role.CROSSING_NOISE and closed and after is not None:
            closed = noise_fingering(closed, fingering(after), current.note)
        else:
            note = current.note
            closed = fingering(note)
        # Where the next begins: to add up start and length takes longer.
        end = current.end if following is None else following.start
        yield FingeredEvent(current, end, None if closed is None else own_note(closed))
        current = following
