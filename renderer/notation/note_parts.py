"""A written note's parts: how long gracenotes and inner notes last, and which slot is on the beat.

What an exercise, a line and the ornament book say is brought together here, once, for what is
played and what is printed. Lengths are in ms or in beats of the note's bar; real time is the
business of `renderer.timing`.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from renderer.notation.length import Length
from renderer.notation.limits import LEAST_GRACENOTE_MS
from renderer.notation.playing import aligned, slot_on_the_beat
from renderer.notation.score import Exercise, Line, MelodyNote


@dataclass(frozen=True, slots=True)
class Parts:
    """How a written note with its ornament is divided.

    Parameters
    ----------
    anchor:
        The index, from 0, of the slot that begins on the beat.
    gracenote:
        How long each gracenote lasts.
    inner:
        The length of each inner note, in order.
    least, least_gracenote:
        The least that each inner note and a gracenote may be shortened to; what is a share of the
        beat keeps its length.
    is_opened:
        Whether the note is written out as notes: its inner notes or gracenotes are shares of the
        beat.
    ends_on_beat:
        Whether the gracenote of the slot on the beat ends there, and does not begin there.
    """

    anchor: int
    gracenote: Length
    inner: tuple[Length, ...]
    least: tuple[Length, ...]
    least_gracenote: Length
    is_opened: bool
    ends_on_beat: bool

    @property
    def holds_gracenotes(self) -> bool:
        """Whether the length of an inner note is that of its slot, its gracenote within it."""
        return not self.gracenote.is_share_of_beat and any(
            length.is_share_of_beat for length in self.inner
        )


def parts_of(exercise: Exercise, line: Line, note: MelodyNote) -> Parts:
    """Return the parts of a note of a line.

    Opened gracenotes open the notes between them as well, each as long as a gracenote, unless
    `inner` is a share of the beat itself.
    """
    gracenote = exercise.gracenote_of(line)
    inner_notes = len(note.slots) - 1
    wanted = exercise.inner_of(line)
    if wanted.is_even:
        inner = (_even_share(note, gracenote),) * inner_notes
    else:
        inner = aligned(wanted.lengths or note.playing.inner, inner_notes)
    if gracenote.is_share_of_beat:
        inner = tuple(length if length.is_share_of_beat else gracenote for length in inner)
    is_opened = any(length.is_share_of_beat for length in inner) or (
        gracenote.is_share_of_beat and any(slot.gracenote is not None for slot in note.slots)
    )
    beat = exercise.beat_of(line)
    if beat is None:
        # Tutors print opened movements as the time of their own note (common practice).
        beat = "first" if is_opened else note.playing.beat
    return Parts(
        anchor=slot_on_the_beat(beat, inner_notes + 1),
        gracenote=gracenote,
        inner=inner,
        least=inner if is_opened else _least(note, inner),
        least_gracenote=gracenote if gracenote.is_share_of_beat else _least_of(gracenote),
        is_opened=is_opened,
        ends_on_beat=exercise.placement_of(line) == "before the beat",
    )


def _even_share(note: MelodyNote, gracenote: Length) -> Length:
    left = note.beats
    if gracenote.is_share_of_beat:
        left -= gracenote.value * sum(slot.gracenote is not None for slot in note.slots)
    return Length(Fraction(left, len(note.slots)), "beat")


def _least_of(gracenote: Length) -> Length:
    return min(gracenote, Length(Fraction(LEAST_GRACENOTE_MS), "ms"), key=_value)


def _value(length: Length) -> Fraction:
    return length.value


def _least(note: MelodyNote, inner: tuple[Length, ...]) -> tuple[Length, ...]:
    return tuple(
        min(length, least, key=_value)
        for length, least in zip(inner, aligned(note.playing.least, len(inner)), strict=True)
    )
