"""A practice plan: an exercise and the time there is, to what is played on which day how fast.

Lines join from the easiest to the hardest, and harder ones come up more often. A line climbs one
rung of the ladder at a time, and each new rung is followed at once by a step back to the one
before, so that speed is not bought with untidiness. Whether it climbs is the learner's to tick: the
next rung is for a line that was clean, and the dates are a proposal. Hands rest after ten minutes
of playing. Times are exact seconds.
"""

from __future__ import annotations

import heapq
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise
from math import ceil

from renderer.errors import failure
from renderer.notation.limits import MOST_DAYS, MOST_MINUTES, MOST_PLAYINGS, SLOWEST_TEMPO
from renderer.notation.score import Exercise, Ladder
from renderer.technique.report import line_difficulty, plays_opened
from renderer.timing.fit import fastest_tempos, spoken_limit, spoken_tempo

PLAY_SECONDS, REST_SECONDS = 10 * 60, 3 * 60
"""Playing between two rests, and a rest: a few minutes after every ten (common practice)."""

HARDEST_TO_EASIEST = 3
"""How many times as often as the easiest line the hardest comes up, time allowing (judgement)."""

LEAST_REPEATS = 2
"""A line played once is heard, not practised (judgement)."""

LEAST_PLAYINGS = 12
"""A line that is played less often in a whole plan is not learnt by it (judgement)."""

MOST_REPEATS_TO_FILL = 10
"""Up to so many playings at a tempo are planned where the days have time for them (judgement)."""

USUAL_LADDER = Ladder(tuple(Fraction(share) for share in (60, 70, 80, 90, 100)), percent=True)
"""For exercises without a ladder (judgement)."""

MOST_REPEATS_A_BLOCK = 100
_CLOSE_ENOUGH = 100
"""The most practices that fit are sought to one in so many; the rest of the time stays free."""

_MOST_NAMED = 12
"""How many lines a remark names by their numbers."""


@dataclass(frozen=True, slots=True)
class Block:
    """A line played at one tempo, its count-in included.

    Parameters
    ----------
    line:
        Which line of the exercise, from 1.
    tempo:
        Beats per minute.
    repeats:
        How often it is played.
    seconds:
        How long that takes.
    is_step_back:
        Whether it goes over the rung below once more after a new rung.
    """

    line: int
    tempo: Fraction
    repeats: int
    seconds: Fraction
    is_step_back: bool = False


@dataclass(frozen=True, slots=True)
class Break:
    """A rest for the hands."""

    seconds: Fraction


@dataclass(frozen=True, slots=True)
class Day:
    """What is practised on a day, in order; `number` counts from 1."""

    number: int
    items: tuple[Block | Break, ...]

    @property
    def seconds(self) -> Fraction:
        """How long it takes, rests included."""
        return sum((item.seconds for item in self.items), Fraction(0))


@dataclass(frozen=True, slots=True)
class PlannedLine:
    """A line of the exercise in a plan.

    Parameters
    ----------
    number:
        Which line, from 1.
    difficulty:
        Its points (see `renderer.technique.difficulty`).
    tempos:
        The rungs at which it fits, from slow to fast, in beats per minute.
    practices:
        On how many days it comes up.
    playings:
        How often it is played in all, steps back included.
    """

    number: int
    difficulty: float
    tempos: tuple[Fraction, ...]
    practices: int
    playings: int

    @property
    def reaches(self) -> Fraction:
        """The fastest rung that the plan has time for."""
        return self.tempos[min(self.practices, len(self.tempos)) - 1]


@dataclass(frozen=True, slots=True)
class PracticePlan:
    """The days of a plan, its lines from easy to hard, and what the player should know about it.

    `tracks` says in sentences what is not as usual with the tracks, `led_in` what a line is led in
    by.
    """

    exercise: Exercise
    days: tuple[Day, ...]
    lines: tuple[PlannedLine, ...]
    remarks: tuple[str, ...] = ()
    tracks: tuple[str, ...] = ()
    led_in: str = "after a bar of count-in"

    def practices(self, line: int) -> int:
        """On how many days a line (from 1) comes up."""
        return next(one.practices for one in self.lines if one.number == line)


@dataclass(frozen=True, slots=True)
class _Practised:
    """A line of the exercise: its rungs from slow to fast, and its length in beats."""

    number: int
    difficulty: float
    tempos: tuple[Fraction, ...]
    lead_in: Fraction
    beats: Fraction
    repeats: int

    def played(self, times: int) -> _Practised:
        """The same line so many times in a row."""
        return replace(self, repeats=times)

    def block(self, rung: int, *, is_step_back: bool = False) -> Block:
        tempo = self.tempos[rung]
        beats = self.lead_in + self.repeats * self.beats
        return Block(self.number, tempo, self.repeats, beats * 60 / tempo, is_step_back)

    def rung(self, practice: int, practices: int) -> int:
        """The rung of one practice of so many: up by one at most, spread over what there is."""
        if practices <= len(self.tempos):
            return practice
        return practice * len(self.tempos) // practices

    def rung_ms(self) -> list[int]:
        """How long a playing at each rung takes, rounded up, so that what fits by it does fit."""
        beats = self.lead_in + self.repeats * self.beats
        return [ceil(60_000 * beats / tempo) for tempo in self.tempos]

    def playings(self, practices: int) -> int:
        """How often it is played in so many practices, steps back included."""
        return self.repeats * (practices + min(practices, len(self.tempos)) - 1)

    def practices_for(self, playings: int) -> int:
        """How many practices hold so many playings."""
        count = 1
        while self.playings(count) < playings:
            count += 1
        return count

    def blocks(self, practice: int, practices: int) -> tuple[Block, ...]:
        rung = self.rung(practice, practices)
        if rung == 0 or self.rung(practice - 1, practices) == rung:
            return (self.block(rung),)
        return (self.block(rung), self.block(rung - 1, is_step_back=True))


@dataclass(frozen=True, slots=True)
class _Visit:
    """One coming up of a line: which of how many, and how long it takes."""

    line: _Practised
    practice: int
    practices: int
    ms: int


_Packed = list[list[_Visit]]
"""The visits of each day, in the order in which they were packed."""


def practice_plan(
    exercise: Exercise,
    tempos: Sequence[Fraction],
    lasting: Callable[[int, Fraction], tuple[Fraction, Fraction]],
    minutes: int,
    days: int,
    *,
    repeats: int | None,
    playings: int | None,
) -> PracticePlan:
    """Spread an exercise's lines and rungs over days.

    Parameters
    ----------
    exercise:
        What is practised.
    tempos:
        The rungs, in beats a minute.
    lasting:
        From a line (its number from 1) and a tempo at which it fits to the beats of what leads into
        it and of each time that it is played.
    minutes:
        A day, rests included.
    days:
        How many.
    repeats:
        How often a line is played at a rung; left out, as the ladder says and at least twice, and
        more often where every line comes up on every day and time is left.
    playings:
        How often each line is played at least, all days and rungs together; left out, 12 where
        there is time for it.

    Raises
    ------
    RungwiseError
        If a number is out of range, a line fits at none of the rungs, or the time is too short for
        every line to come up once, or to be played as often as asked for.
    """
    for name, value, most in (
        ("minutes", minutes, MOST_MINUTES),
        ("days", days, MOST_DAYS),
        ("repeats", repeats, MOST_REPEATS_A_BLOCK),
        ("playings", playings, MOST_PLAYINGS),
    ):
        if value is not None and not 1 <= value <= most:
            raise failure(
                f"{value} is out of range", f"write a number from 1 to {most}", place=name
            )
    lines, remarks = _practised(exercise, tempos, lasting, repeats)
    if repeats is None:
        lines = _filled(lines, minutes, days)
    aim = LEAST_PLAYINGS if playings is None else playings
    order, enough = _granted(lines, days, aim)
    least = enough if playings is not None else len(lines)
    packed = None if least is None else _packed(order[:least], minutes, days)
    if least is None or packed is None:
        raise failure(
            _too_short(lines, minutes, days, playings), _too_short_remedy(), file=exercise.source
        )
    counts, packed = _most(order, least, packed, minutes, days)
    planned = tuple(
        PlannedLine(
            line.number,
            line.difficulty,
            line.tempos,
            counts[line.number],
            line.playings(counts[line.number]),
        )
        for line in lines
    )
    made = tuple(Day(number, _with_breaks(today)) for number, today in enumerate(packed, start=1))
    remarks += tuple(_shortcomings(planned, aim))
    most = max(len(line.tempos) for line in planned)
    if most > days:
        remarks += (
            f"{most} rungs are too many for {_counted(days, 'day')}, since a line climbs one a day "
            "at most: larger steps reach the top.",
        )
    longest = max(day.seconds for day in made)
    if longest <= 30 * minutes:
        remarks += (
            f"The longest day takes {ceil(longest / 60)} of {_counted(minutes, 'minute')}: "
            "more repeats of each line fill them, or an exercise with more lines.",
        )
    return PracticePlan(exercise, made, planned, remarks)


def _practised(
    exercise: Exercise,
    rungs: Sequence[Fraction],
    lasting: Callable[[int, Fraction], tuple[Fraction, Fraction]],
    repeats: int | None,
) -> tuple[tuple[_Practised, ...], tuple[str, ...]]:
    """Return the lines from the easiest to the hardest."""
    tempos = sorted(set(rungs))
    usual = LEAST_REPEATS if exercise.ladder is None else exercise.ladder.repeats
    times = max(LEAST_REPEATS, usual) if repeats is None else repeats
    lines: list[_Practised] = []
    slower: dict[str, list[int]] = {}
    each = zip(exercise.lines, fastest_tempos(exercise), strict=True)
    for number, (line, fastest) in enumerate(each, start=1):
        fitting = [tempo for tempo in tempos if fastest is None or tempo <= fastest]
        if not fitting:
            raise failure(
                f"line {number} fits at none of the rungs",
                _slower_remedy(fastest or Fraction(0)),
                file=exercise.source,
            )
        if fastest is not None and len(fitting) < len(tempos):
            slower.setdefault(spoken_limit(fastest), []).append(number)
        lead_in, beats = lasting(number, fitting[0])
        difficulty = line_difficulty(
            line, tempo=exercise.tempo, opened=plays_opened(exercise, line)
        )
        lines.append(_Practised(number, difficulty, tuple(fitting), lead_in, beats, times))
    lines.sort(key=lambda line: (line.difficulty, line.number))
    remarks = (
        f"{_named(numbers)} {'fits' if len(numbers) == 1 else 'fit'} up to {limit} beats a minute "
        f"and {'is' if len(numbers) == 1 else 'are'} not practised faster."
        for limit, numbers in slower.items()
    )
    return tuple(lines), tuple(remarks)


def _filled(lines: tuple[_Practised, ...], minutes: int, days: int) -> tuple[_Practised, ...]:
    """Return the lines with as many repeats as there is time for on every day."""
    usual = lines[0].repeats
    filled = lines
    for times in range(usual + 1, MOST_REPEATS_TO_FILL + 1):
        more = tuple(line.played(times) for line in lines)
        fastest_ms = sum(min(line.rung_ms()) for line in more)
        if fastest_ms > 60_000 * minutes or _packed(list(more) * days, minutes, days) is None:
            break
        filled = more
    return filled


def _granted(
    lines: tuple[_Practised, ...], days: int, playings: int
) -> tuple[list[_Practised], int | None]:
    """Return who gets the next practice, again and again, and how many give all their playings.

    Each line comes up once; then each until it is played so often, the least practised first; then
    by need, which is a line's weight divided by the practices that it would then have (the divisor
    method of D'Hondt): it never gives an easier line more than a harder one. None where the days
    are too few for so many playings of some line.
    """
    least, most = lines[0].difficulty, lines[-1].difficulty
    wanted = [min(days, line.practices_for(playings)) for line in lines]
    reachable = all(
        line.playings(want) >= playings for line, want in zip(lines, wanted, strict=True)
    )
    granted: list[_Practised] = []
    for level in range(max(wanted)):
        granted += [
            line
            for line, want in zip(reversed(lines), reversed(wanted), strict=True)
            if want > level
        ]
    enough = len(granted) if reachable else None

    def need(place: int, count: int) -> float:
        line = lines[place]
        share = (line.difficulty - least) / (most - least) if most > least else 1.0
        return (1 + (HARDEST_TO_EASIEST - 1) * share) / (count + 1)

    queue = [
        (-need(place, count), -place, count) for place, count in enumerate(wanted) if count < days
    ]
    heapq.heapify(queue)
    while queue:
        _, place, count = heapq.heappop(queue)
        granted.append(lines[-place])
        if count + 1 < days:
            heapq.heappush(queue, (-need(-place, count + 1), place, count + 1))
    return granted, enough


def _most(
    order: list[_Practised], least: int, packed: _Packed, minutes: int, days: int
) -> tuple[Counter[int], _Packed]:
    """Return the most practices that can be packed, by line, and the packed days.

    Sought by halving; `packed` has the first `least` practices.
    """
    room_ms = 60_000 * minutes * days
    fastest_ms = {line.number: min(line.rung_ms()) for line in order[:least]}
    most, taken = 0, 0
    while most < len(order) and taken <= room_ms:
        taken += fastest_ms.setdefault(order[most].number, min(order[most].rung_ms()))
        most += 1
    fits, too_many = least, most + 1
    while too_many - fits > max(1, fits // _CLOSE_ENOUGH):
        middle = (fits + too_many) // 2
        trial = _packed(order[:middle], minutes, days)
        if trial is None:
            too_many = middle
        else:
            fits, packed = middle, trial
    return Counter(line.number for line in order[:fits]), packed


def _visits(granted: Sequence[_Practised]) -> list[_Visit]:
    """Return every coming up of every line in the order in which they are practised.

    Easy lines begin first, and the practices of a line are spread evenly from there to the end.
    """
    counts = Counter(line.number for line in granted)
    lines = sorted(
        {line.number: line for line in granted}.values(),
        key=lambda line: (line.difficulty, line.number),
    )
    placed: list[tuple[float, int, int, _Visit]] = []
    start = 0.0
    for rank, line in enumerate(lines):
        count = counts[line.number]
        # No line begins before an easier one.
        start = max(start, rank / (len(lines) * count))
        ms = line.rung_ms()
        rung_before = 0
        for practice in range(count):
            rung = line.rung(practice, count)
            taken = ms[rung] + (ms[rung - 1] if rung > rung_before else 0)
            rung_before = rung
            at = start + (1 - start) * practice / count
            placed.append((at, rank, practice, _Visit(line, practice, count, taken)))
    placed.sort(key=lambda one: one[:3])
    return [visit for *_, visit in placed]


class _Room:
    """What of a day is taken, with the rests that it needs at most."""

    __slots__ = ("longest_ms", "played_ms")

    def __init__(self) -> None:
        self.played_ms = 0
        self.longest_ms = 0

    def holds(self, ms: int, room_ms: int) -> bool:
        """Whether so much more fits into the day, wherever its rests will fall."""
        played, longest = self.played_ms + ms, max(self.longest_ms, ms)
        play_ms = 1000 * PLAY_SECONDS
        # A stretch that has ended lacked at most the longest practice to ten minutes, and two
        # stretches in a row are longer than ten minutes.
        rests = 2 * played // play_ms
        if longest < play_ms:
            rests = min(rests, played // (play_ms - longest))
        return played + 1000 * REST_SECONDS * rests <= room_ms

    def take(self, ms: int) -> None:
        self.played_ms += ms
        self.longest_ms = max(self.longest_ms, ms)


def _packed(granted: Sequence[_Practised], minutes: int, days: int) -> _Packed | None:
    """Return the practices packed into days, or None where they do not fit.

    A line comes up once a day at most, and its practices keep their order.
    """
    room_ms = 60_000 * minutes
    visits = _visits(granted)
    total_ms = sum(visit.ms for visit in visits)
    if total_ms > room_ms * days:
        return None
    packed: _Packed = [[] for _ in range(days)]
    rooms = [_Room() for _ in range(days)]
    last: dict[int, int] = {}
    joined = passed_ms = 0
    for visit in visits:
        # A day's share of the time, and time for what is still to come of this line.
        wanted = passed_ms * days // max(total_ms, 1)
        passed_ms += visit.ms
        earliest = last.get(visit.line.number, -1) + 1
        latest = days - (visit.practices - visit.practice)
        if visit.practice == 0:
            # No line joins before an easier one, if it can still come up as often as it should.
            earliest = min(joined, latest)
        begin = min(max(wanted, earliest), latest)
        forward = range(begin, latest + 1)
        backward = range(begin - 1, earliest - 1, -1)
        for day in (*forward, *backward):
            if rooms[day].holds(visit.ms, room_ms):
                break
        else:
            return None
        rooms[day].take(visit.ms)
        packed[day].append(visit)
        last[visit.line.number] = day
        if visit.practice == 0:
            joined = day
    return packed


def _stretches(visits: Sequence[_Visit]) -> list[list[_Visit]]:
    """Divide a day, from the easier line to the harder, where the hands rest."""
    stretches: list[list[_Visit]] = [[]]
    played_ms = 0
    for one in sorted(visits, key=lambda one: (one.line.difficulty, one.line.number)):
        if played_ms and played_ms + one.ms > 1000 * PLAY_SECONDS:
            stretches.append([])
            played_ms = 0
        stretches[-1].append(one)
        played_ms += one.ms
    return stretches


def _with_breaks(visits: Sequence[_Visit]) -> tuple[Block | Break, ...]:
    """Return a day's blocks with rests for the hands between its stretches."""
    items: list[Block | Break] = []
    for number, stretch in enumerate(_stretches(visits)):
        if number:
            items.append(Break(Fraction(REST_SECONDS)))
        items += [
            block for one in stretch for block in one.line.blocks(one.practice, one.practices)
        ]
    return tuple(items)


def _shortcomings(lines: Sequence[PlannedLine], playings: int) -> list[str]:
    """Say what the time does not reach: the top rung, and playings enough."""
    said = []
    short = sorted(line.number for line in lines if line.practices < len(line.tempos))
    if short:
        reached = sorted({line.reaches for line in lines if line.number in set(short)})
        tempos = " to ".join(dict.fromkeys((spoken_tempo(reached[0]), spoken_tempo(reached[-1]))))
        verb = "does" if len(short) == 1 else "do"
        said.append(
            f"{_named(short)} {verb} not reach the top rung in this time, but {tempos}: plan more "
            "days or minutes, or go on after the last day."
        )
    seldom = sorted(line.number for line in lines if line.playings < playings)
    if seldom:
        least = min(line.playings for line in lines)
        verb = "is" if len(seldom) == 1 else "are"
        said.append(
            f"{_named(seldom)} {verb} played fewer than {playings} times in all, some {least} "
            "times: plan more days or minutes, or fewer lines."
        )
    return said


def _named(numbers: Sequence[int]) -> str:
    """Return lines by their numbers, neighbours joined: `Line 4`, `Lines 1 to 3, 7 and 9`."""
    if len(numbers) == 1:
        return f"Line {numbers[0]}"
    runs: list[list[int]] = [[numbers[0]]]
    for before, after in pairwise(numbers):
        if after == before + 1:
            runs[-1].append(after)
        else:
            runs.append([after])
    words: list[str] = []
    for run in runs:
        words += [f"{run[0]} to {run[-1]}"] if len(run) > 2 else [str(number) for number in run]
    if len(words) > _MOST_NAMED:
        return f"{len(numbers)} lines"
    *rest, last = words
    return f"Lines {', '.join(rest)} and {last}" if rest else f"Lines {last}"


def _too_short(lines: tuple[_Practised, ...], minutes: int, days: int, playings: int | None) -> str:
    once = sum((line.block(0).seconds for line in lines), Fraction(0))
    longest = max(line.block(0).seconds for line in lines)
    time = _counted(minutes, "minute")
    if longest > 60 * minutes:
        return (
            f"one line alone takes {float(longest) / 60:.1f} minutes at the slowest rung, and a "
            f"day has {time}"
        )
    if playings is not None and _packed(lines, minutes, days) is not None:
        return (
            f"playing each of {_counted(len(lines), 'line')} {playings} times does not fit into "
            f"{_counted(days, 'day')} of {time}, rests included"
        )
    return (
        f"practising each of {_counted(len(lines), 'line')} once takes {float(once) / 60:.1f} "
        f"minutes, rests not counted, and {_counted(days, 'day')} of {time} do not hold them"
    )


def _counted(count: int, noun: str) -> str:
    return f"{count} {noun}" if count == 1 else f"{count} {noun}s"


def _slower_remedy(fastest: Fraction) -> str:
    if fastest < SLOWEST_TEMPO:
        return "write longer notes, or shorten the gracenotes or inner notes"
    return f"begin the ladder at {spoken_limit(fastest)} beats a minute or slower"


def _too_short_remedy() -> str:
    return "plan more minutes or days, or shorten the exercise with `rungwise abridge`"
