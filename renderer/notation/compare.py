"""What a written form did not hold: two exercises compared, differences in sentences.

Used after writing a file and reading it back, so that nothing is lost without a word.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction

from renderer.errors import RungwiseError
from renderer.notation.printed import Opened, printed_line
from renderer.notation.score import Bar, Exercise, Item, MelodyNote, bar_numbers

MOST_DIFFERENCES = 12
MOST_BARS_NAMED = 8
_CLOSE = Fraction(1, 100_000)
"""Tempos are written with six decimals."""


def _same_tempo(one: Fraction | None, other: Fraction | None) -> bool:
    if one is None or other is None:
        return one is other
    return abs(one - other) <= _CLOSE * one


def _one_line(text: str) -> str:
    return " ".join(text.split())


def music_of(bar: Bar) -> tuple[tuple[object, ...], ...]:
    """A bar's music, without how its ornaments are divided into slots or named.

    A note tied to the one before it in the bar is one longer note.
    """
    music: list[tuple[object, ...]] = []
    joined: list[Item] = []
    for item in bar.items:
        last = joined[-1] if joined else None
        if isinstance(item, MelodyNote) and item.tied and isinstance(last, MelodyNote):
            joined[-1] = replace(last, beats=last.beats + item.beats)
        else:
            joined.append(item)
    for item in joined:
        if isinstance(item, MelodyNote):
            music.append((item.beats, item.note, item.group, item.tied))
        else:
            music.append((item.beats,))
    return tuple(music)


def _names(bar: Bar) -> list[tuple[object, ...]]:
    notes = (item for item in bar.items if isinstance(item, MelodyNote) and not item.tied)
    return [(item.ornament or "the ornament", item.slots) for item in notes]


def _sounds_alike(before: Exercise, after: Exercise, line: int, opened: Opened) -> bool:
    """Whether a line is the same once its opened movements are written out as notes."""
    # What is written in groups stands for what the exercise itself asks for.
    asked: Opened = "open" if opened == "open" else "as written"
    try:
        one, other = (
            [[(n.length, n.note, [s.note for s in n.group]) for n in bar] for bar in printed.notes]
            for printed in (printed_line(before, line, asked), printed_line(after, line))
        )
    except RungwiseError:
        return False
    return one == other


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
    if before.beat != after.beat:
        yield f"which slot of a movement is on the beat ({before.beat})"
    one, other = before.ladder, after.ladder
    same_ladder = (one is None) == (other is None) and (
        one is None
        or other is None
        or (
            (one.percent, one.repeats, one.inner, len(one.tempos))
            == (other.percent, other.repeats, other.inner, len(other.tempos))
            and all(map(_same_tempo, one.tempos, other.tempos))
        )
    )
    if not same_ladder:
        yield "the ladder"
    for name, value, kept in (
        ("whom it is for", before.audience, after.audience),
        ("its purpose", before.purpose, after.purpose),
        ("its level", before.level, after.level),
        ("the composer", before.composer, after.composer),
        ("the type of tune", before.tune_type, after.tune_type),
        ("the origin", before.origin, after.origin),
        ("the notes", before.notes, after.notes),
    ):
        if _one_line(value) != _one_line(kept):
            yield f"{name} ({_one_line(value)[:60]})"
    if before.own_movements != after.own_movements:
        yield "its own movements, or how it plays those of the book"
    if before.own_chanter != after.own_chanter:
        yield "the pitches of its chanter"
    if before.order != after.order:
        yield "the order of its lines"


def _without_idle_marks(exercise: Exercise) -> Exercise:
    """The exercise without the tempo marks that say what holds already."""
    tempo = exercise.tempo
    lines = []
    for line in exercise.lines:
        bars = []
        for bar in line.bars:
            idle = _same_tempo(bar.tempo, tempo)
            tempo = bar.tempo or tempo
            bars.append(replace(bar, tempo=None) if idle else bar)
        lines.append(replace(line, bars=tuple(bars)))
    return replace(exercise, lines=tuple(lines))


def _played(number: int, before: Exercise, after: Exercise) -> Iterator[str]:
    one, other = before.lines[number - 1], after.lines[number - 1]
    if before.inner_of(one) != after.inner_of(other) and one.inner is not None:
        yield f"the inner notes' length of line {number} ({one.inner})"
    if before.beat_of(one) != after.beat_of(other) and one.beat is not None:
        yield f"which slot of a movement is on the beat in line {number} ({one.beat})"
    if before.gracenote_of(one) != after.gracenote_of(other) and one.gracenote is not None:
        yield f"the gracenotes' length in line {number} ({one.gracenote})"
    if before.placement_of(one) != after.placement_of(other) and one.placement is not None:
        yield f"the gracenotes' placement in line {number} ({one.placement})"


def _signs_lost(bar: Bar, kept: Bar) -> Iterator[str]:
    """What a bar has beside its music that was not read back."""
    if bar.words != kept.words:
        yield "the words"
    if bar.number != kept.number:
        yield "the number"
    for name, was, now in (
        ("the repeat sign", bar.signs.opens, kept.signs.opens),
        ("the repeat sign", bar.signs.closes, kept.signs.closes),
        ("the ending", bar.signs.endings, kept.signs.endings),
        ("the double bar line", bar.signs.double, kept.signs.double),
        ("the segno", bar.signs.segno, kept.signs.segno),
        ("the coda", bar.signs.coda, kept.signs.coda),
        ("the way to the coda", bar.signs.to_coda, kept.signs.to_coda),
        ("the fine", bar.signs.fine, kept.signs.fine),
        ("the jump", bar.signs.jump, kept.signs.jump),
    ):
        if was != now:
            yield name


def _bars_in_words(numbers: list[str]) -> str:
    named = ", ".join(dict.fromkeys(numbers[:MOST_BARS_NAMED]))
    more = f" and {len(numbers) - MOST_BARS_NAMED} more" * (len(numbers) > MOST_BARS_NAMED)
    return f"bar {named}{more}"


def _line(number: int, before: Exercise, after: Exercise, opened: Opened) -> Iterator[str]:
    one, other = before.lines[number - 1], after.lines[number - 1]
    if _one_line(one.heading) != _one_line(other.heading):
        yield f"the heading of line {number} ({_one_line(one.heading)[:60]})"
    if _one_line(one.tune) != _one_line(other.tune):
        yield f"the tune that begins with line {number} ({_one_line(one.tune)[:60]})"
    yield from _played(number, before, after)
    if len(one.bars) != len(other.bars):
        yield f"line {number}'s bars: {len(one.bars)} are read back as {len(other.bars)}"
        return
    yield from _bars(number, before, after, opened)


def _bars(number: int, before: Exercise, after: Exercise, opened: Opened) -> Iterator[str]:
    known_as = bar_numbers(before.lines[number - 1])
    names: dict[object, None] = {}
    changed: list[str] = []
    lost: dict[str, list[str]] = {}
    pairs = zip(before.lines[number - 1].bars, after.lines[number - 1].bars, strict=True)
    for index, (bar, kept) in enumerate(pairs):
        own_number = known_as[index]
        place = f"line {number}, bar {own_number}"
        if bar.meter != kept.meter:
            yield f"{place}: the meter {bar.meter} is read back as {kept.meter}"
        if not _same_tempo(bar.tempo, kept.tempo):
            yield f"{place}: the tempo mark"
        for what in _signs_lost(bar, kept):
            lost.setdefault(what, []).append(own_number)
        if music_of(bar) != music_of(kept):
            changed.append(own_number)
        else:
            movements = zip(_names(bar), _names(kept), strict=True)
            names |= {was[0]: None for was, now in movements if was != now}
    if changed and _sounds_alike(before, after, number, opened):
        yield f"line {number}: which of its notes are opened movements"
    elif changed:
        bars = _bars_in_words(changed)
        yield f"line {number}: the notes of {bars}, which are read back differently"
    for what, numbers in lost.items():
        yield f"line {number}: {what} of {_bars_in_words(numbers)}"
    for name in names:
        yield f"line {number}: {name} is not read back as the same movement"


def differences(before: Exercise, after: Exercise, *, opened: Opened = "as written") -> list[str]:
    """Return what `after` lacks of `before`, as phrases; at most `MOST_DIFFERENCES` and a count.

    Parameters
    ----------
    before, after:
        What was written, and what was read back.
    opened:
        How the ornaments were written.
    """
    before, after = _without_idle_marks(before), _without_idle_marks(after)
    found = list(_settings(before, after))
    if len(before.lines) != len(after.lines):
        count = len(before.lines)
        lines = "1 line is" if count == 1 else f"{count} lines are"
        found.append(f"{lines} read back as {len(after.lines)}")
    else:
        for number in range(1, len(before.lines) + 1):
            found += _line(number, before, after, opened)
    if len(found) > MOST_DIFFERENCES:
        rest = len(found) - MOST_DIFFERENCES
        found = [*found[:MOST_DIFFERENCES], f"{rest} more differences"]
    return found
