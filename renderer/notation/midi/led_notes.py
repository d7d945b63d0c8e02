"""From the notes of a MIDI melody to tones: a melody note with the short notes that lead into it.

What is short is told in seconds, or by the marks in files of our own.
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

from renderer.notation.definition.fields import read_inner
from renderer.notation.kept_settings import LINE_INNER
from renderer.notation.midi.file import MidiContents, Sounded
from renderer.notation.midi.marks import NoteMark, keys_of
from renderer.notation.midi.melody import SAME_TIME_SECONDS, Melody
from renderer.notation.written import Reading


@dataclass(frozen=True, slots=True)
class Tone:
    """A melody note with the short notes before it.

    `anchor` is how many of them sound before the slot that lies on the beat, `is_led` whether that
    slot has a gracenote.
    """

    group: tuple[Sounded, ...]
    main: Sounded
    is_led: bool
    anchor: int = 0

    @property
    def start(self) -> Fraction:
        return self.group[0].start if self.group else self.main.start


_ROUNDING = 1.02
"""How much longer than stated an inner note of our own may be once on ticks (judgement)."""


def _gracenote_seconds(contents: MidiContents, reading: Reading) -> float:
    """The longest note that can be a gracenote; files of our own say how long inner notes are."""
    longest = reading.gracenote_under_ms
    for name, value in contents.settings.items():
        if name == "inner length" or name.startswith(LINE_INNER):
            # What is no length is said where the settings are read.
            with contextlib.suppress(ValueError):
                for length in read_inner(value).lengths:
                    if not length.is_share_of_beat:
                        longest = max(longest, float(length.value) * _ROUNDING)
    return longest / 1000


def tones_of(melody: Melody, contents: MidiContents, reading: Reading) -> Iterator[Tone]:
    """Yield the tones of a melody in order.

    Parameters
    ----------
    melody:
        One note at a time.
    contents:
        The file that it is from, for its tempos and settings.
    reading:
        Up to which length a note may be a gracenote.
    """
    notes, marks = melody.notes, melody.voice.marks
    longest = _gracenote_seconds(contents, reading)
    group: list[Sounded] = []
    index = 0
    while index < len(notes):
        mark = marks.get(notes[index].start)
        marked = None
        if mark is not None:
            marked = _marked(notes[index : index + 2 * len(mark.slots)], mark, contents)
        if marked is not None:
            yield from _loose(group)
            yield marked
            group = []
            index += len(marked.group) + 1
            continue
        note = notes[index]
        after = notes[index + 1] if index + 1 < len(notes) else None
        # Up to the next one: a note may sound for a part of its length only.
        until = note.end if after is None else after.start
        if contents.seconds(until) - contents.seconds(note.start) >= longest:
            yield Tone(tuple(group), note, _begins_with_a_gracenote(group, note))
            group = []
        else:
            group.append(note)
        index += 1
    # Short notes that lead to nothing longer are notes of their own.
    yield from _loose(group)


def _marked(notes: Sequence[Sounded], mark: NoteMark, contents: MidiContents) -> Tone | None:
    """The written note that a mark spells, if these notes (and maybe more) still sound it."""
    keys = keys_of(mark.slots)
    found = notes[: len(keys)]
    if not keys or len(found) < len(keys):
        return None
    # Whoever moves the track to another key leaves the text as it was.
    moved = found[0].key - keys[0]
    is_spelled = all(note.key - key == moved for note, key in zip(found, keys, strict=True))
    if not is_spelled or not all(_follows(b, a, contents) for a, b in pairwise(found)):
        return None
    ahead = len(keys_of(mark.slots[: mark.anchor]))
    is_led = mark.slots[mark.anchor].gracenote is not None
    return Tone(tuple(found[:-1]), found[-1], is_led, ahead)


def _loose(notes: Sequence[Sounded]) -> Iterator[Tone]:
    yield from (Tone((), note, is_led=False) for note in notes)


def _follows(after: Sounded, note: Sounded, contents: MidiContents) -> bool:
    """Whether a note begins where another ends, as far as one hears."""
    return contents.seconds(after.start) - contents.seconds(note.end) < SAME_TIME_SECONDS


def _begins_with_a_gracenote(group: Sequence[Sounded], main: Sounded) -> bool:
    """Whether the first of a group is a gracenote, as `slots_of_group` reads it."""
    second = (*group, main)[1:2]
    return len(group) == 1 or (bool(group) and group[0].key > second[0].key)
