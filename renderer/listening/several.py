"""Several chanters heard, laid beside each other: the tuning in their middle and who is off it.

Pitches are in hertz in the pipe chanter's octave, distances in cents above the middle. What mends
a note is the trade's (common practice): tape over the top of a hole flattens its note, less tape
sharpens it; a reed set deeper sharpens the chanter, its top hand most; a reed drawn out flattens it
likewise. A drone drawn longer sounds lower.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from renderer.errors import WrongValueError
from renderer.listening.drones import Drones, names_of
from renderer.listening.hearing import HeardChanter
from renderer.notation.pitch import Note
from renderer.sound.units import ratio_to_cents

HEARD_CENTS = 4.0
"""Notes that are less apart are in tune with each other to most ears (judgement)."""
_BEATS_HZ = 0.15
"""Slower beats than one in seven seconds are not heard as beats in a tune (judgement)."""
_TOP_HAND = (Note.E, Note.F, Note.HIGH_G, Note.HIGH_A)
_LOW_HAND = (Note.LOW_G, Note.LOW_A, Note.B, Note.C, Note.D)
_WHOLE_SHARE = 0.8


@dataclass(frozen=True, slots=True)
class Mending:
    """One note of one chanter that is off, and what the trade does about it.

    Parameters
    ----------
    chanter:
        By its name.
    note:
        None where the whole chanter, or its top hand, is meant.
    cents:
        How far it is above the others.
    remedy:
        What to do, as a sentence.
    """

    chanter: str
    note: Note | None
    cents: float
    remedy: str


@dataclass(frozen=True, slots=True)
class Compared:
    """Several chanters.

    Parameters
    ----------
    middle_hz:
        The median of those that have a note, by note; low A is always there.
    off_cents:
        How far each chanter's notes are above it, by name and note; only notes that were heard.
    nearest:
        The chanter nearest to the middle.
    mendings:
        What to mend, the worst first.
    """

    middle_hz: Mapping[Note, float]
    off_cents: Mapping[str, Mapping[Note, float]]
    nearest: str
    mendings: tuple[Mending, ...]


def compare(chanters: Mapping[str, HeardChanter]) -> Compared:
    """Lay chanters beside each other.

    Parameters
    ----------
    chanters:
        By name, at least two.

    Raises
    ------
    WrongValueError
        If practice chanters and pipe chanters are among them, or no two have a note in common.
    """
    if len({one.is_practice for one in chanters.values()}) > 1:
        practice = ", ".join(name for name, one in chanters.items() if one.is_practice)
        raise WrongValueError(
            f"practice chanters ({practice}) and pipe chanters are among them",
            "compare those of one kind",
        )
    middle: dict[Note, float] = {}
    for note in Note:
        heard = [one.notes[note].hz for one in chanters.values() if one.notes[note].is_heard]
        if heard:
            middle[note] = statistics.median(heard)
    if Note.LOW_A not in middle:
        middle[Note.LOW_A] = statistics.median(one.low_a_hz for one in chanters.values())
    off = {
        name: {
            note: ratio_to_cents(one.notes[note].hz / middle[note])
            for note in Note
            if one.notes[note].is_heard
        }
        for name, one in chanters.items()
    }
    nearest = min(off, key=lambda name: _root_mean_square(tuple(off[name].values())))
    mendings = [mending for name in off for mending in _mendings(name, off[name])]
    mendings.sort(key=lambda one: -abs(one.cents))
    return Compared(middle, off, nearest, tuple(mendings))


def _root_mean_square(values: Sequence[float]) -> float:
    return math.sqrt(sum(value**2 for value in values) / max(1, len(values)))


def _mendings(name: str, off: Mapping[Note, float]) -> list[Mending]:
    """Say of one chanter what to do: to the reed, if all goes one way, then to single notes."""
    rest, found = dict(off), []
    for notes, whole in ((tuple(Note), True), (_TOP_HAND, False)):
        values = [rest[note] for note in notes if note in rest]
        others = [rest[note] for note in _LOW_HAND if note in rest]
        if len(values) < 3:
            continue
        shared = statistics.median(values)
        alike = sum(value * shared > 0 and abs(value) > HEARD_CENTS / 2 for value in values)
        is_own = whole or not others or abs(statistics.median(others)) < HEARD_CENTS
        if abs(shared) < HEARD_CENTS or alike < _WHOLE_SHARE * len(values) or not is_own:
            continue
        way = "Draw the reed out a little" if shared > 0 else "Set the reed a little deeper"
        what = "the whole chanter" if whole else "its top hand"
        side = "sharp" if shared > 0 else "flat"
        remedy = f"{way}: {what} is {side}, and the top hand moves most."
        found.append(Mending(name, None, shared, remedy))
        for note in notes:
            if note in rest:
                rest[note] -= shared
    for note, cents in rest.items():
        if abs(cents) >= HEARD_CENTS:
            found.append(Mending(name, note, cents, note_remedy(note, cents)))
    return found


def note_remedy(note: Note, cents: float) -> str:
    """Return what the trade does about a note that is so many cents sharp (flat if below 0)."""
    if note is Note.LOW_G:
        # It comes from no finger hole.
        if cents > 0:
            return "Low G is sharp: a little tape over the top of the two lowest, open holes."
        return "Low G is flat: take tape off the two lowest, open holes."
    if cents > 0:
        return f"Put tape over the top of {note}'s hole."
    return f"Take tape off {note}'s hole; if it has none, set the reed a little deeper."


def drone_advice(drones: Drones, low_a_hz: float) -> tuple[str, ...]:
    """Return for each drone whether to move it and which way, those that beat fastest first.

    Parameters
    ----------
    drones:
        Their pitches.
    low_a_hz:
        The chanter's low A in the pipe chanter's octave, which drones are tuned to.
    """
    found = []
    for name, (hz, order) in names_of(drones).items():
        beat = hz * order - low_a_hz
        cents = ratio_to_cents(hz * order / low_a_hz)
        if abs(beat) < _BEATS_HZ:
            found.append((abs(beat), f"The {name} is in tune with low A."))
        else:
            way = "longer (up), it is sharp" if beat > 0 else "shorter (down), it is flat"
            found.append(
                (
                    abs(beat),
                    f"Make the {name} {way} by {abs(cents):.1f} cents: {abs(beat):.1f} "
                    f"beats a second against low A.",
                ),
            )
    return tuple(text for _, text in sorted(found, reverse=True))
