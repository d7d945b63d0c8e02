"""What a written form did not hold: two exercises compared, differences in sentences.

Used after writing a file and reading it back, so that nothing is lost without a word.
"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

from renderer.notation.score import Bar, Exercise, Line, MelodyNote

MOST_DIFFERENCES = 12
_CLOSE = Fraction(1, 100_000)
"""Tempos are written with six decimals."""


def _same_tempo(one: Fraction | None, other: Fraction | None) -> bool:
    if one is None or other is None:
        return one is other
    return abs(one - other) <= _CLOSE * one


def _one_line(text: str) -> str:
    return " ".join(text.split())


def music_of(bar: Bar) -> tuple[tuple[object, ...], ...]:
    """A bar's music, without how its ornaments are divided into slots or named."""
    return tuple(
        (item.beats, item.note, item.group, item.tied)
        if isinstance(item, MelodyNote)
        else (item.beats,)
        for item in bar.items
    )


def _settings(before: Exercise, after: Exercise) -> Iterator[str]:
    if _one_line(before.title) != _one_line(after.title):
        yield "the title"
    if not _same_tempo(before.tempo, after.tempo):
        yield f"the tempo of {float(before.tempo):g} beats a minute"
    if before.gracenotes != after.gracenotes:
        yield f"the gracenotes' length and placement ({before.gracenotes.length}, " + (
            f"{before.gracenotes.placement})"
        )
    if before.inner != after.inner:
        yield f"the inner notes' length ({before.inner})"
    one, other = before.ladder, after.ladder
    same_ladder = (one is None) == (other is None) and (
        one is None
        or other is None
        or (
            (one.percent, one.repeats, len(one.tempos))
            == (other.percent, other.repeats, len(other.tempos))
            and all(map(_same_tempo, one.tempos, other.tempos))
        )
    )
    if not same_ladder:
        yield "the ladder"
    for name, value, kept in (
        ("whom it is for", before.audience, after.audience),
        ("its purpose", before.purpose, after.purpose),
        ("its level", before.level, after.level),
    ):
        if _one_line(value) != _one_line(kept):
            yield f"{name} ({_one_line(value)[:60]})"


def _line(number: int, before: Line, after: Line) -> Iterator[str]:
    if _one_line(before.heading) != _one_line(after.heading):
        yield f"the heading of line {number} ({_one_line(before.heading)[:60]})"
    if before.inner != after.inner:
        yield f"the inner notes' length of line {number} ({before.inner})"
    if len(before.bars) != len(after.bars):
        yield f"line {number}'s bars: {len(before.bars)} are read back as {len(after.bars)}"
        return
    names: dict[str, None] = {}
    for bar_number, (one, other) in enumerate(zip(before.bars, after.bars, strict=True), start=1):
        place = f"line {number}, bar {bar_number}"
        if one.meter != other.meter:
            yield f"{place}: the meter {one.meter} is read back as {other.meter}"
        if not _same_tempo(one.tempo, other.tempo):
            yield f"{place}: the tempo mark"
        if music_of(one) != music_of(other):
            yield f"{place}: notes are read back differently"
            continue
        for item, kept in zip(one.items, other.items, strict=True):
            if not isinstance(item, MelodyNote) or not isinstance(kept, MelodyNote):
                continue
            if item.ornament != kept.ornament or item.slots != kept.slots:
                names[item.ornament or "the ornament"] = None
    for name in names:
        yield f"line {number}: {name} is not read back as the same movement"


def differences(before: Exercise, after: Exercise) -> list[str]:
    """Return what `after` lacks of `before`, as phrases; at most `MOST_DIFFERENCES` and a count."""
    found = list(_settings(before, after))
    if len(before.lines) != len(after.lines):
        found.append(f"{len(before.lines)} lines are read back as {len(after.lines)}")
    else:
        for number, (one, other) in enumerate(zip(before.lines, after.lines, strict=True), start=1):
            found += _line(number, one, other)
    if len(found) > MOST_DIFFERENCES:
        rest = len(found) - MOST_DIFFERENCES
        found = [*found[:MOST_DIFFERENCES], f"{rest} more differences"]
    return found
