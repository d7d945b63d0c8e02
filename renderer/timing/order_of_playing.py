"""The order in which an exercise's bars are played: signs as written in, bars in order out.

Nothing else in the program plays out repeats, endings, da capo, dal segno or the order of parts.

- A repeat goes back to the bar that opens it; without one, to the bar after the last repeat, after
  a double bar line, or to the beginning of its line. A double bar inside an opened repeat does not
  move that place.
- A bar with endings is played in those passes only; a lone bracket under a repeat is the first
  ending, the second left unmarked.
- A jump (da capo, dal segno) is taken once, after all passes of its bar. From there on every repeat
  is played once with its last ending, up to the fine or to where it goes to the coda; the coda has
  its repeats again (common practice).
- Of a medley every tune is played by itself: none of its signs leads into another tune.
- A tempo mark holds for the bars that it stands over as written: going back goes back to its tempo.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import accumulate, groupby
from math import ceil

from renderer.errors import failure
from renderer.notation.limits import MOST_BARS, MOST_QUARTERS, MOST_WRITTEN_NOTES
from renderer.notation.score import Bar, Exercise, Line, MelodyNote, bar_numbers
from renderer.notation.signs import NO_SIGNS, Signs

MOST_JUMPS = 100
"""That are followed: beyond what anyone writes, and short of endless."""


@dataclass(frozen=True, slots=True)
class PlayedBar:
    """One playing of a written bar.

    Parameters
    ----------
    line, bar:
        The written bar, from 1: line in the exercise, bar in the line.
    turn:
        Which time it is played, from 1.
    """

    line: int
    bar: int
    turn: int


@dataclass(frozen=True, slots=True)
class PlayedExercise:
    """An exercise with its bars in the order in which they are played.

    Parameters
    ----------
    written:
        The exercise as written.
    exercise:
        The same without any sign: a line for each run of bars of one written line.
    lines:
        The written bar of every bar of `exercise`, line by line.
    """

    written: Exercise
    exercise: Exercise
    lines: tuple[tuple[PlayedBar, ...], ...]

    @property
    def tunes(self) -> tuple[range, ...]:
        """The lines of `exercise` (from 0) that are played as one piece, without a gap.

        Those of each tune, where there are repeats or jumps or several tunes; each line of a plain
        exercise by itself.
        """
        lines = self.exercise.lines
        is_tune = self.exercise is not self.written or any(line.tune for line in lines)
        begins = [at for at, line in enumerate(lines) if at == 0 or not is_tune or line.tune]
        return tuple(map(range, begins, [*begins[1:], len(lines)]))

    def repeated(self, times: int) -> PlayedExercise:
        """Return the exercise with each of its tunes played so many times in a row."""
        order: list[int] = []
        lines: list[Line] = []
        for tune in self.tunes:
            for turn in range(times):
                order += tune
                first, *rest = (self.exercise.lines[at] for at in tune)
                lines += [replace(first, tune="") if turn else first, *rest]
        numbers = tuple(self.exercise.number_of(at) for at in order)
        music = replace(self.exercise, lines=tuple(lines), numbers=numbers)
        return PlayedExercise(self.written, music, tuple(self.lines[at] for at in order))

    def line_number(self, played_line: int) -> int:
        """The written line (from 1) of a line of `exercise` (from 1)."""
        return self.lines[played_line - 1][0].line


@dataclass(frozen=True, slots=True)
class _Flat:
    """Bars of several lines in one row: their places, their signs, and where lines begin."""

    places: tuple[tuple[int, int], ...]
    signs: tuple[Signs, ...]

    def begins_line(self, at: int) -> bool:
        return self.places[at][1] == 1


@dataclass(frozen=True, slots=True)
class _Section:
    """Bars that are repeated together, and how often they are played in all."""

    bars: range
    passes: int


def _orders(exercise: Exercise) -> list[list[int]]:
    """The lines (from 1) of each tune of a medley in the order in which they are played."""
    order = exercise.order or range(1, len(exercise.lines) + 1)
    length = sum(len(exercise.lines[line - 1].bars) for line in order)
    if length > MOST_BARS and exercise.order:
        raise failure(
            f"its parts play out to more than {MOST_BARS} bars",
            "shorten the order of its parts, or play it with --no-repeats",
            file=exercise.source,
        )
    tunes = list(accumulate(bool(line.tune) for line in exercise.lines))
    return [list(lines) for _, lines in groupby(order, lambda line: tunes[line - 1])]


def _flat(exercise: Exercise, order: Sequence[int]) -> _Flat:
    places, signs = [], []
    for line in order:
        for number, bar in enumerate(exercise.lines[line - 1].bars, start=1):
            places.append((line, number))
            signs.append(bar.signs)
    return _Flat(tuple(places), tuple(signs))


def _sections(flat: _Flat, start: int = 0) -> Iterator[_Section]:
    begin, is_open = start, False
    for at in range(start, len(flat.signs)):
        here = flat.signs[at]
        after = flat.signs[at + 1] if at + 1 < len(flat.signs) else None
        is_open |= here.opens
        endings_go_on = bool(here.endings) and after is not None and bool(after.endings)
        ends = bool(here.closes or here.endings)
        if after is not None and not is_open:
            ends |= here.double or flat.begins_line(at + 1)
        if after is None or ((ends or after.opens) and not endings_go_on):
            bars = range(begin, at + 1)
            yield _Section(bars, _passes([flat.signs[bar] for bar in bars]))
            begin, is_open = at + 1, False


def _passes(signs: Sequence[Signs]) -> int:
    closes = max(sign.closes for sign in signs)
    brackets = {sign.endings for sign in signs if sign.endings}
    last = max((number for numbers in brackets for number in numbers), default=1)
    if not closes:
        return last
    # A lone bracket is the first ending; the second one was left unmarked.
    return max(last, closes if len(brackets) < 2 else 1)


def _pass_of(flat: _Flat, section: _Section, turn: int) -> Iterator[int]:
    for at in section.bars:
        sign = flat.signs[at]
        if sign.endings and turn not in sign.endings:
            continue
        yield at
        if sign.closes and turn < section.passes:
            return


def _with_repeats(flat: _Flat, start: int = 0) -> Iterator[int]:
    for section in _sections(flat, start):
        for turn in range(1, section.passes + 1):
            yield from _pass_of(flat, section, turn)


def _once(flat: _Flat, start: int = 0) -> Iterator[int]:
    """Every bar once from a place on, endings that lead back left out."""
    for section in _sections(flat):
        if section.bars.stop > start:
            yield from (at for at in _pass_of(flat, section, section.passes) if at >= start)


class _TooManyBarsError(Exception):
    pass


def _bounded(bars: Iterator[int]) -> list[int]:
    row: list[int] = []
    for at in bars:
        row.append(at)
        if len(row) > MOST_BARS:
            raise _TooManyBarsError
    return row


def _played_order(flat: _Flat) -> list[int]:
    order: list[int] = []
    taken: set[int] = set()
    path, is_going_back = _bounded(_with_repeats(flat)), False
    last = {at: index for index, at in enumerate(path)}
    index = 0
    while index < len(path):
        at, sign = path[index], flat.signs[path[index]]
        order.append(at)
        if len(order) > MOST_BARS:
            raise _TooManyBarsError
        is_last_pass = last[at] == index
        index += 1
        if not is_last_pass:
            continue
        coda = _coda(flat, at) if is_going_back and sign.to_coda else None
        if coda is not None:
            path, is_going_back = _bounded(_with_repeats(flat, coda)), False
        elif is_going_back and sign.fine:
            break
        elif sign.jump is not None and at not in taken:
            taken.add(at)
            if len(taken) > MOST_JUMPS:
                raise _TooManyBarsError
            start = 0 if sign.jump.startswith("D.C.") else _segno(flat, at)
            path, is_going_back = _bounded(_once(flat, start)), True
        else:
            continue
        last = {at: index for index, at in enumerate(path)}
        index = 0
    return order


def _segno(flat: _Flat, at: int) -> int:
    """The last segno before a place, else the first one, else the beginning."""
    signs = [index for index, sign in enumerate(flat.signs) if sign.segno]
    return next((index for index in reversed(signs) if index <= at), signs[0] if signs else 0)


def _coda(flat: _Flat, at: int) -> int | None:
    return next((index for index in range(at + 1, len(flat.signs)) if flat.signs[index].coda), None)


def order_of_playing(exercise: Exercise) -> tuple[tuple[PlayedBar, ...], ...]:
    """Return an exercise's bars in the order in which they are played.

    Parameters
    ----------
    exercise:
        Its lines' signs and the order of its lines hold; where it is `played_once`, each bar is
        played once, in the order in which it is written, and of endings the last.

    Returns
    -------
    The bars in runs: each run is of one line.

    Raises
    ------
    RungwiseError
        Beyond `MOST_BARS`.
    """
    return tuple(run for tune in _runs_of_tunes(exercise) for run in tune)


_Runs = list[tuple[PlayedBar, ...]]


def _runs_of_tunes(exercise: Exercise) -> list[_Runs]:
    """The runs of each tune of a medley; of any other exercise, of all of it."""
    turns: dict[tuple[int, int], int] = {}
    tunes: list[_Runs] = []
    bars = 0
    for lines in _orders(replace(exercise, order=()) if exercise.played_once else exercise):
        flat = _flat(exercise, lines)
        try:
            order = _bounded(_once(flat)) if exercise.played_once else _played_order(flat)
            bars += len(order)
            if bars > MOST_BARS:
                raise _TooManyBarsError
        except _TooManyBarsError:
            raise failure(
                f"the repeats play out to more than {MOST_BARS} bars or {MOST_JUMPS} jumps",
                "take repeats out of it, or play it with --no-repeats",
                file=exercise.source,
            ) from None
        runs: list[list[PlayedBar]] = []
        for at in order:
            line, bar = place = flat.places[at]
            turns[place] = turns.get(place, 0) + 1
            if not runs or runs[-1][-1].line != line:
                runs.append([])
            runs[-1].append(PlayedBar(line, bar, turns[place]))
        tunes.append(list(map(tuple, runs)))
    return tunes


def _has_signs(exercise: Exercise) -> bool:
    return bool(exercise.order) or any(
        bar.signs != NO_SIGNS for line in exercise.lines for bar in line.bars
    )


def played(exercise: Exercise) -> PlayedExercise:
    """Return an exercise with its bars in the order in which they are played.

    Its lines keep the numbers and its bars the numbers and ids that they have as written.

    Raises
    ------
    RungwiseError
        Beyond `MOST_BARS`.
    """
    if not _has_signs(exercise):
        lines = tuple(
            tuple(PlayedBar(line, bar, 1) for bar in range(1, len(written.bars) + 1))
            for line, written in enumerate(exercise.lines, start=1)
        )
        return PlayedExercise(exercise, exercise, lines)
    tunes = _runs_of_tunes(exercise)
    runs = tuple(run for tune in tunes for run in tune)
    firsts = {id(tune[0]) for tune in tunes if tune}
    names = _tune_names(exercise)
    tempos = _tempos(exercise)
    numbers = [bar_numbers(line) for line in exercise.lines]
    lines_played: list[Line] = []
    now = exercise.tempo
    for run in runs:
        written = exercise.lines[run[0].line - 1]
        bars: list[Bar] = []
        for place in run:
            tempo = tempos[place.line - 1][place.bar - 1]
            bar = written.bars[place.bar - 1]
            mark = bar.tempo if tempo == now else tempo
            before = bars[-1] if bars else None
            number = numbers[place.line - 1][place.bar - 1]
            bars.append(_untied(replace(bar, tempo=mark, signs=NO_SIGNS, number=number), before))
            now = tempo
        tune = names[run[0].line - 1] if id(run) in firsts else ""
        lines_played.append(replace(written, bars=tuple(bars), tune=tune))
    music = replace(
        exercise,
        lines=tuple(lines_played),
        order=(),
        numbers=tuple(exercise.number_of(run[0].line - 1) for run in runs),
    )
    return PlayedExercise(exercise, music, runs)


def _tune_names(exercise: Exercise) -> list[str]:
    """Of every line, the tune that it belongs to; empty outside medleys."""
    names: list[str] = []
    for line in exercise.lines:
        names.append(line.tune or (names[-1] if names else ""))
    return names


def played_alone(exercise: Exercise) -> Exercise:
    """Return an exercise with the repeats of each line played out within that line.

    What leads from one line to another (da capo, the order of parts) is left out: so one practises
    a part of a tune by itself.
    """
    if not _has_signs(exercise):
        return exercise
    lines = []
    for number, line in enumerate(exercise.lines, start=1):
        alone = replace(exercise.only(number), played_once=exercise.played_once)
        runs = played(alone).exercise.lines
        lines.append(replace(line, bars=tuple(bar for run in runs for bar in run.bars)))
    return replace(exercise, lines=tuple(lines), order=())


def _tempos(exercise: Exercise) -> list[list[Fraction]]:
    """The tempo of every written bar, line by line."""
    tempo = exercise.tempo
    tempos = []
    for line in exercise.lines:
        row = []
        for bar in line.bars:
            tempo = tempo if bar.tempo is None else bar.tempo
            row.append(tempo)
        tempos.append(row)
    return tempos


def _untied(bar: Bar, before: Bar | None) -> Bar:
    """The bar without a tie into its first note where what is played before is another note."""
    first = bar.items[0] if bar.items else None
    if not isinstance(first, MelodyNote) or not first.tied:
        return bar
    last = before.items[-1] if before is not None else None
    if isinstance(last, MelodyNote) and last.note == first.note:
        return bar
    return replace(bar, items=(replace(first, tied=False), *bar.items[1:]))


def check_length(exercise: Exercise) -> None:
    """Raise a `RungwiseError` for an exercise that is too long with its repeats played out."""
    order = played(exercise)
    if order.exercise is exercise:
        return
    bars = [bar for line in order.exercise.lines for bar in line.bars]
    notes = sum(len(bar.items) for bar in bars)
    quarters = sum((bar.beats * bar.meter.beat_value * 4 for bar in bars), Fraction(0))
    for count, what, most in (
        (notes, "has {} notes", MOST_WRITTEN_NOTES),
        (ceil(quarters), "lasts {} quarter notes", MOST_QUARTERS),
    ):
        if count > most:
            raise failure(
                f"it {what.format(count)} with its repeats played out",
                f"divide it, or play it with --no-repeats; at most {most} are played",
                file=exercise.source,
            )
