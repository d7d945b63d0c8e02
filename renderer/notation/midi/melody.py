"""From the tracks of a MIDI file to melodies: one note at a time, as a chanter plays.

Keyboards and sequencers hold a note a little into the next, and a piper may have recorded drones
along with the chanter. Such overlaps are cut and such drones left out; chords are no melody.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, replace

from renderer.notation.midi.file import MidiContents, Sounded, Voice

SAME_TIME_SECONDS = 0.03
"""Notes that begin within this are a chord; one that ends within this of the next is legato."""

_LONGEST_LEGATO_SECONDS = 0.15
_LEAST_NOTES_OVER_A_DRONE = 4
"""What is held below so many notes that begin meanwhile is a drone (both: judgement)."""

_DRONES_LEFT_OUT = "Notes held below the melody are left out, as drones."


@dataclass(frozen=True, slots=True)
class Melody:
    """A melody: the voice that it was found in, its notes without overlaps, and what was done."""

    voice: Voice
    notes: list[Sounded]
    remarks: tuple[str, ...] = ()

    @property
    def is_one_note(self) -> bool:
        """Whether it never leaves its first pitch, as a drone does."""
        return len({note.key for note in self.notes}) == 1


@dataclass(frozen=True, slots=True)
class Clash:
    """The first two notes of a voice that sound together for longer than legato notes do."""

    voice: Voice
    held: Sounded
    begun: Sounded


def melodies_of(contents: MidiContents) -> tuple[list[Melody], list[Clash]]:
    """Return the melodies of a file, those that needed nothing left out first, and what is none."""
    plain: list[Melody] = []
    above_drones: list[Melody] = []
    clashes: list[Clash] = []
    for voice in contents.voices:
        notes, clash = _one_at_a_time(voice.notes, contents)
        if clash is None:
            plain.append(Melody(voice, notes))
            continue
        notes, above = _one_at_a_time(_without_drones(voice.notes), contents)
        if above is None:
            above_drones.append(Melody(voice, notes, (_DRONES_LEFT_OUT,)))
        else:
            clashes.append(Clash(voice, *clash))
    return plain + above_drones, clashes


def _one_at_a_time(
    notes: Sequence[Sounded], contents: MidiContents
) -> tuple[list[Sounded], tuple[Sounded, Sounded] | None]:
    """The notes without legato overlaps, up to the first two that sound together, and those."""
    found: list[Sounded] = []
    for note in notes:
        if found and note.start < found[-1].end:
            last = found[-1]
            overlap = contents.seconds(last.end) - contents.seconds(note.start)
            apart = contents.seconds(note.start) - contents.seconds(last.start)
            tick = contents.seconds(note.start + contents.tick) - contents.seconds(note.start)
            legato = max(SAME_TIME_SECONDS + tick, min(_LONGEST_LEGATO_SECONDS, apart / 2))
            if overlap > legato or note.start <= last.start:
                return found, (last, note)
            found[-1] = replace(last, end=note.start)
        found.append(note)
    return found, None


def _without_drones(notes: Sequence[Sounded]) -> list[Sounded]:
    """The notes but for those that are held while several higher ones begin."""
    starts = [note.start for note in notes]
    kept = []
    for note in notes:
        meanwhile = range(bisect_right(starts, note.start), bisect_left(starts, note.end))
        is_drone = len(meanwhile) >= _LEAST_NOTES_OVER_A_DRONE and all(
            notes[index].key > note.key for index in meanwhile
        )
        if not is_drone:
            kept.append(note)
    return kept
