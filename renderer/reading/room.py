"""Room for the movements of scores that do not say how long their inner notes are."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction

from renderer.notation.length import Length
from renderer.notation.limits import LEAST_SOUNDING_MS
from renderer.notation.score import USUAL_INNER, Exercise, Line, MelodyNote, Slot


def with_room(exercise: Exercise) -> Exercise:
    """Return a score whose movements fit at its own tempo, where it leaves their length open.

    Scores of others show gracenotes and not how long they are. Where the usual inner notes are
    too long for a movement of the score, all of them get what the tightest leaves; it is said in
    a remark. Where no length would do, the exercise stays as it is.
    """
    if exercise.states_inner or exercise.inner != USUAL_INNER:
        return exercise
    gracenote_ms = exercise.gracenotes.length.value
    room_ms = min(_inner_rooms_ms(exercise), default=USUAL_INNER.value) // 1
    if not gracenote_ms + LEAST_SOUNDING_MS <= room_ms < USUAL_INNER.value:
        return exercise
    inner = Length(Fraction(room_ms), "ms")
    return replace(exercise, inner=inner, remarks=(*exercise.remarks, _remark(inner)))


def _remark(inner: Length) -> str:
    return (
        f"Inner notes of movements last {inner} and not {USUAL_INNER}, since otherwise they would "
        "not fit at its tempo."
    )


def with_inner(exercise: Exercise, inner: Length) -> Exercise:
    """Return an exercise all of whose movements have inner notes of one length, as asked for."""
    lines = tuple(replace(line, inner=None) for line in exercise.lines)
    # What was made room for is no longer so.
    remarks = tuple(one for one in exercise.remarks if one != _remark(exercise.inner))
    return replace(exercise, inner=inner, lines=lines, remarks=remarks, states_inner=True)


def _inner_rooms_ms(exercise: Exercise) -> Iterator[Fraction]:
    """Yield what each movement leaves for one inner note, in milliseconds."""
    before_the_beat = exercise.gracenotes.placement == "before the beat"
    tempo = exercise.tempo
    for line in exercise.lines:
        notes, tempo = _sounding_ms(line, tempo)
        if line.inner is not None:
            continue
        # A line follows itself where it is repeated.
        for (length_ms, parts), (_, next_parts) in zip(notes, notes[1:] + notes[:1], strict=True):
            if len(parts) < 2:
                continue
            # Its gracenote takes its time from the melody note.
            taker = next_parts[:1] if before_the_beat else parts[-1:]
            is_led = any(slot.gracenote is not None for slot in taker)
            kept_ms = LEAST_SOUNDING_MS + (exercise.gracenotes.length.value if is_led else 0)
            yield (length_ms - kept_ms) / (len(parts) - 1)


def _sounding_ms(
    line: Line, tempo: Fraction
) -> tuple[list[tuple[Fraction, tuple[Slot, ...]]], Fraction]:
    """Return how long each note or rest lasts with its slots (a rest has none), and the last tempo.

    What is tied to a note lasts on in it.
    """
    notes: list[tuple[Fraction, tuple[Slot, ...]]] = []
    for bar in line.bars:
        tempo = tempo if bar.tempo is None else bar.tempo
        for item in bar.items:
            length_ms = item.beats * 60_000 / tempo
            if isinstance(item, MelodyNote) and item.tied and notes:
                before_ms, slots = notes[-1]
                notes[-1] = before_ms + length_ms, slots
            else:
                notes.append((length_ms, item.slots if isinstance(item, MelodyNote) else ()))
    return notes, tempo
