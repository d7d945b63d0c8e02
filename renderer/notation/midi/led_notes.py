"""From the notes of a MIDI melody to tones: a melody note with the short notes that lead into it.

What is short is told in seconds, or by the marks in files of our own.
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from math import sqrt

from renderer.notation.definition.fields import read_inner
from renderer.notation.kept_settings import LINE_INNER
from renderer.notation.midi.file import MidiContents, Sounded
from renderer.notation.midi.marks import NoteMark, keys_of
from renderer.notation.midi.melody import SAME_TIME_SECONDS, Melody


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

USUAL_SECONDS = 0.08
"""A shorter note is a gracenote where a file's own lengths do not tell: a third more than the 60 ms
that gracenotes last at most (from memory)."""

LONGEST_SECONDS = 0.25
"""Of a gracenote, as in definitions."""

LEAST_GAP = 1.5
"""How many times as long as the longest gracenote the shortest note is (judgement)."""

MOST_GRACENOTES_A_NOTE = 8
"""On average: a crunluath has seven."""

MOST_GAPS = 4
"""Gaps between lengths that are tried, the widest first."""


def is_our_own(contents: MidiContents) -> bool:
    """Whether a file says what its short notes are."""
    return bool(contents.settings)


def seconds_of_own(contents: MidiContents) -> float:
    """The longest note that can be a gracenote or inner note in a file that says how long they are.

    Notes that its marks spell are read by them, however long.
    """
    longest = USUAL_SECONDS
    for name, value in contents.settings.items():
        if name == "inner length" or name.startswith(LINE_INNER):
            # What is no length is said where the settings are read.
            with contextlib.suppress(ValueError):
                for length in read_inner(value).lengths:
                    if not length.is_share_of_beat:
                        longest = max(longest, float(length.value) / 1000 * _ROUNDING)
    return longest


def _seconds_until_next(melody: Melody, contents: MidiContents) -> list[float]:
    """How long notes last up to the next: a note may sound for a part of its length only."""
    starts = [contents.seconds(note.start) for note in melody.notes]
    ends = [*starts[1:], contents.seconds(melody.notes[-1].end)]
    return [end - start for start, end in zip(starts, ends, strict=True)]


@dataclass(frozen=True, slots=True)
class Way:
    """A way to tell gracenotes: what is shorter is one, and what is said of it."""

    seconds: float
    said: str


_OTHERWISE = "--gracenote-under says otherwise."
_NO_GRACENOTES = Way(0, "")
_BY_THE_USUAL = Way(
    USUAL_SECONDS,
    f"Notes under {USUAL_SECONDS * 1000:.0f} ms are read as gracenotes: no gap in the file's "
    f"lengths tells. {_OTHERWISE}",
)


def ways_to_tell(melody: Melody, contents: MidiContents) -> list[Way]:
    """Return the ways in which a melody's gracenotes may be told, those first that find fewer.

    That is by each gap between a group of short lengths and one of long ones. None of them may be
    one, unless there are notes that are too short for a melody; those are gracenotes where no gap
    tells either.
    """
    # What lasts less than a millisecond is a slip of a keyboard, not a group of its own.
    lengths = sorted(max(0.001, seconds) for seconds in _seconds_until_next(melody, contents))
    gaps = [
        (short, long)
        for index, (short, long) in enumerate(pairwise(lengths), start=1)
        if long >= LEAST_GAP * short
        and short <= LONGEST_SECONDS
        and index <= MOST_GRACENOTES_A_NOTE * (len(lengths) - index)
    ]
    gaps.sort(key=lambda gap: gap[1] / gap[0], reverse=True)
    ways = [
        # As many times longer than the short notes as it is shorter than the long ones.
        Way(
            sqrt(short * long),
            f"Notes up to {short * 1000:.0f} ms are read as gracenotes: the next longer ones last "
            f"{long * 1000:.0f} ms. {_OTHERWISE}",
        )
        for short, long in gaps[:MOST_GAPS]
    ]
    if lengths[0] >= USUAL_SECONDS:
        ways.append(_NO_GRACENOTES)
    elif not any(short < USUAL_SECONDS <= long for short, long in gaps[:MOST_GAPS]):
        ways.append(_BY_THE_USUAL)
    return sorted(ways, key=lambda way: way.seconds)


def tones_of(melody: Melody, contents: MidiContents, gracenote_seconds: float) -> Iterator[Tone]:
    """Yield the tones of a melody in order.

    Parameters
    ----------
    melody:
        One note at a time.
    contents:
        The file that it is from, for its tempos and settings.
    gracenote_seconds:
        A shorter note may be a gracenote.
    """
    notes, marks = melody.notes, melody.voice.marks
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
        if contents.seconds(until) - contents.seconds(note.start) >= gracenote_seconds:
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
