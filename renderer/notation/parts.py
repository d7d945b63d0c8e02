"""Parts of an exercise to practise: some of its lines, some of their bars, with a note to lead in.

A part keeps the numbers that lines and bars have in the whole, on sheets, in messages and in note
ids, and the tempo that marks before it have set. Bars that are taken out of their line are played
once, in the order in which they are written: repeats, endings and jumps would lead out of them.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

from renderer.errors import failure
from renderer.notation.score import (
    Bar,
    Exercise,
    Item,
    Line,
    MelodyNote,
    Rest,
    Slot,
    bar_numbers,
)
from renderer.notation.signs import NO_SIGNS

Span = tuple[int, int]
"""The numbers of a first and a last bar."""


def numbers_in_words(numbers: Sequence[int]) -> str:
    """Return numbers that rise as people list them: `2`, `2 and 5`, `2, 5 to 7`."""
    runs: list[list[int]] = []
    for number in numbers:
        if runs and runs[-1][-1] == number - 1 and len(numbers) > 2:
            runs[-1].append(number)
        else:
            runs.append([number])
    words = [f"{run[0]} to {run[-1]}" if len(run) > 1 else str(run[0]) for run in runs]
    return " and ".join(words) if len(words) < 3 else ", ".join(words)


def part_title(title: str, lines: Sequence[int], bars: Span | None) -> str:
    """Return the title of a part: `Birls, line 2, bars 3 to 4`.

    Parameters
    ----------
    title:
        Of the whole.
    lines:
        The numbers of its lines; empty for all of them.
    bars:
        Which of their bars; None for all of them.
    """
    words = [title]
    if lines:
        words.append(f"line{'s' if len(lines) > 1 else ''} {numbers_in_words(lines)}")
    if bars is not None:
        first, last = bars
        words.append(f"bar {first}" if first == last else f"bars {first} to {last}")
    return ", ".join(words)


def part_of(
    exercise: Exercise, lines: Sequence[int], bars: Span | None, *, led_in: bool
) -> Exercise:
    """Return some lines of an exercise, or some bars of them.

    Parameters
    ----------
    exercise:
        The whole.
    lines:
        The numbers of the lines, from 1, rising; empty for all of them.
    bars:
        The first and the last bar of each line, by the numbers that `bar_numbers` gives them. Lines
        that do not have them are left out.
    led_in:
        Whether the note before comes before each line or its bars, after a rest that fills its bar.

    Raises
    ------
    RungwiseError
        If there is no such line, or no line has the bars.
    """
    name = Path(exercise.source).name or exercise.title
    count = len(exercise.lines)
    wrong = [number for number in lines if not 1 <= number <= count]
    if wrong:
        remedy = f"choose from 1 to {count}" if count > 1 else "it has only one line"
        place = "line" if len(lines) == 1 else "lines"
        raise failure(f"{name} has no line {wrong[0]}", remedy, place=place)
    numbers = list(lines or range(1, count + 1))
    tempos = _tempos(exercise)
    found: dict[int, Line] = {}
    without: list[int] = []
    for number in numbers:
        line = exercise.lines[number - 1]
        at = range(len(line.bars)) if bars is None else _bars_of(line, bars)
        if not at:
            continue
        is_cut = bars is not None or (led_in and number > 1)
        follows = number - 1 in found and bars is None
        part = _cut(line, at, None if follows else tempos[number - 1], sign=not is_cut)
        if led_in:
            lead = _lead_in(exercise, tempos, number, at.start)
            if lead is None:
                without.append(number)
            else:
                first, *rest = part.bars
                if first.tempo == lead.tempo:
                    first = replace(first, tempo=None)
                bars_before = part.bars_before - 1
                part = replace(part, bars=(lead, first, *rest), bars_before=bars_before)
        found[number] = part
    if not found and bars is not None:
        asked = part_title("", (), bars).removeprefix(", ")
        there = dict.fromkeys(bar_numbers(exercise.lines[numbers[0] - 1]))
        has = numbers_in_words([int(one) for one in there if one.isdecimal()])
        raise failure(
            f"no line of {name} has {asked}",
            f"choose among those that there are: line {numbers[0]} has {has}",
            place="bars",
        )
    kept = tuple(found)
    steady = all(after == before + 1 for before, after in pairwise(kept))
    remark = _without(without)
    return replace(
        exercise,
        title=part_title(exercise.title, kept if lines or len(kept) < count else (), bars),
        whole_title=exercise.title,
        lines=tuple(found.values()),
        first_number=kept[0],
        numbers=() if steady else kept,
        order=(),
        remarks=exercise.remarks + remark,
    )


def _without(numbers: Sequence[int]) -> tuple[str, ...]:
    if not numbers:
        return ()
    return (f"No note comes before line {numbers_in_words(numbers)}, so none leads in.",)


def _bars_of(line: Line, bars: Span) -> range:
    """The indexes of the bars that are asked for; of a line that counts its own, all of them."""
    first, last = bars
    is_numbered = any(bar.number for bar in line.bars)
    labels = bar_numbers(line)
    at = [
        index
        for index, label in enumerate(labels)
        if label.isdecimal() and first <= int(label) <= last
    ]
    is_whole = bool(at) and int(labels[at[0]]) == first and int(labels[at[-1]]) == last
    return range(at[0], at[-1] + 1) if at and (is_whole or is_numbered) else range(0)


def _tempos(exercise: Exercise) -> list[list[Fraction | None]]:
    """The mark that holds in every bar, line by line; None where none was set."""
    now: Fraction | None = None
    rows: list[list[Fraction | None]] = []
    for line in exercise.lines:
        row: list[Fraction | None] = []
        for bar in line.bars:
            now = now if bar.tempo is None else bar.tempo
            row.append(now)
        rows.append(row)
    return rows


def _cut(line: Line, at: range, tempos: Sequence[Fraction | None] | None, *, sign: bool) -> Line:
    """Some bars of a line; `tempos` are set where it does not go on from another line."""
    labels = bar_numbers(line)
    bars = [line.bars[index] for index in at]
    if not sign:
        bars = [
            replace(bar, signs=NO_SIGNS, number=labels[index])
            for index, bar in zip(at, bars, strict=True)
        ]
    if tempos is not None:
        bars[0] = replace(bars[0], tempo=tempos[at.start])
    if at.start:
        bars[0] = replace(bars[0], items=tuple(_untied(bars[0].items)))
    return replace(line, bars=tuple(bars), bars_before=line.bars_before + at.start)


def _untied(items: Iterable[Item]) -> Iterable[Item]:
    for index, item in enumerate(items):
        if index == 0 and isinstance(item, MelodyNote) and item.tied:
            yield replace(item, tied=False)
        else:
            yield item


def _lead_in(
    exercise: Exercise, tempos: Sequence[Sequence[Fraction | None]], number: int, at: int
) -> Bar | None:
    """The bar before another, all but its last note silent; None where no note is there."""
    line = exercise.lines[number - 1]
    if at == 0 and number == 1:
        return None
    if at == 0:
        line, at = exercise.lines[number - 2], len(exercise.lines[number - 2].bars)
        number -= 1
    bar = line.bars[at - 1]
    *before, last = bar.items
    if not isinstance(last, MelodyNote):
        return None
    # As many items as in the whole, so that the note has its own id.
    rests = tuple(Rest(item.beats) for item in before)
    note = MelodyNote(last.beats, (Slot(last.note),))
    return Bar(
        (*rests, note), bar.meter, tempos[number - 1][at - 1], number=bar_numbers(line)[at - 1]
    )
