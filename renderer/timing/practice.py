"""A practice plan: an exercise and the time there is, to what is played on which day how fast.

Every line comes up, harder lines more often. A line climbs one rung of the ladder at a time, and
each new rung is followed at once by a step back to the one before, so that speed is not bought with
untidiness. Hands rest after some minutes of playing. Times are exact seconds.
"""

from __future__ import annotations

import heapq
from bisect import bisect_left
from collections import Counter
from dataclasses import dataclass, replace
from fractions import Fraction
from math import ceil

from renderer.errors import failure
from renderer.notation.limits import MOST_DAYS, MOST_MINUTES, SLOWEST_TEMPO
from renderer.notation.score import Exercise, Ladder
from renderer.technique.report import line_difficulty
from renderer.timing.fit import fastest_tempo, spoken_limit
from renderer.timing.order_of_playing import played_alone
from renderer.timing.rungs import rungs
from renderer.timing.soundings import chains_of

PLAY_SECONDS, REST_SECONDS = 5 * 60, 60
"""Playing between two rests, and a rest (judgement)."""

HARDEST_TO_EASIEST = 3
"""How many times as often as the easiest line the hardest comes up, time allowing (judgement)."""

LEAST_REPEATS = 2
"""A line played once is heard, not practised (judgement)."""

MOST_REPEATS_TO_FILL = 10
"""Up to so many playings at a tempo are planned where the days have time for them (judgement)."""

USUAL_LADDER = Ladder(tuple(Fraction(share) for share in (60, 70, 80, 90, 100)), percent=True)
"""For exercises without a ladder (judgement)."""

MOST_REPEATS_A_BLOCK = 100
MOST_LOOK_AHEAD = 60
"""How many practices that do not fit into the rest of a day are passed over for a shorter one."""


@dataclass(frozen=True, slots=True)
class Block:
    """A line played at one tempo, a bar of count-in included.

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
class PracticePlan:
    """The days of a plan, and what the player should know about it."""

    exercise: Exercise
    days: tuple[Day, ...]
    remarks: tuple[str, ...] = ()

    def practices(self, line: int) -> int:
        """On how many days a line (from 1) comes up."""
        return sum(
            any(isinstance(item, Block) and item.line == line for item in day.items)
            for day in self.days
        )


@dataclass(frozen=True, slots=True)
class _Practised:
    """A line of the exercise: its rungs from slow to fast, and its length in beats."""

    number: int
    difficulty: float
    tempos: tuple[Fraction, ...]
    count_in: Fraction
    beats: Fraction
    repeats: int

    def played(self, times: int) -> _Practised:
        """The same line so many times in a row."""
        return replace(self, repeats=times)

    def block(self, rung: int, *, is_step_back: bool = False) -> Block:
        tempo = self.tempos[rung]
        beats = self.count_in + self.repeats * self.beats
        return Block(self.number, tempo, self.repeats, beats * 60 / tempo, is_step_back)

    def rung(self, practice: int, practices: int) -> int:
        """The rung of one practice of so many: up by one at most, spread over what there is."""
        if practices <= len(self.tempos):
            return practice
        return practice * len(self.tempos) // practices

    def practice(self, practice: int, practices: int) -> _Practice:
        rung = self.rung(practice, practices)
        is_new = rung > 0 and self.rung(practice - 1, practices) < rung
        blocks: tuple[Block, ...] = (self.block(rung),)
        if is_new:
            blocks = (*blocks, self.block(rung - 1, is_step_back=True))
        return _Practice(self, blocks, ceil(1000 * sum(block.seconds for block in blocks)))


@dataclass(frozen=True, slots=True)
class _Practice:
    """One coming up of a line; `ms` is rounded up, so that what fits by it does fit."""

    line: _Practised
    blocks: tuple[Block, ...]
    ms: int


def practice_plan(
    exercise: Exercise, minutes: int, days: int, *, repeats: int | None = None
) -> PracticePlan:
    """Spread an exercise's lines and rungs over days.

    Parameters
    ----------
    exercise:
        Its ladder gives the rungs; without one, 60 to 100 per cent of its tempo.
    minutes:
        A day, rests included.
    days:
        How many.
    repeats:
        How often a line is played at a rung; left out, as the ladder says and at least twice, and
        more often where every line comes up on every day and time is left.

    Raises
    ------
    RungwiseError
        If a number is out of range, a line fits at none of the rungs, or the time is too short for
        every line to come up once.
    """
    for name, value, most in (("minutes", minutes, MOST_MINUTES), ("days", days, MOST_DAYS)):
        if not 1 <= value <= most:
            raise failure(
                f"{value} is out of range", f"write a number from 1 to {most}", place=name
            )
    if repeats is not None and not 1 <= repeats <= MOST_REPEATS_A_BLOCK:
        raise failure(
            f"{repeats} is out of range",
            f"write a number from 1 to {MOST_REPEATS_A_BLOCK}",
            place="repeats",
        )
    lines, remarks = _practised(exercise, repeats)
    if repeats is None:
        lines = _filled(lines, minutes, days)
    order = _granted(lines, days)
    once = _packed(order[: len(lines)], minutes, days)
    if once is None:
        raise failure(_too_short(lines, minutes, days), _too_short_remedy(), file=exercise.source)
    # The most practices that can be packed, found by halving: packing gets no easier with more.
    counts = range(len(lines), len(order) + 1)
    found = bisect_left(counts, True, key=lambda n: _packed(order[:n], minutes, days) is None)
    packed = _packed(order[: counts[found - 1]], minutes, days) or once
    longest = max(day.seconds for day in packed)
    if longest <= 30 * minutes:
        remarks += (
            f"The longest day takes {ceil(longest / 60)} of {_counted(minutes, 'minute')}: "
            "--repeats fills them, or an exercise with more lines.",
        )
    return PracticePlan(exercise, packed, remarks)


def _practised(
    exercise: Exercise, repeats: int | None
) -> tuple[tuple[_Practised, ...], tuple[str, ...]]:
    ladder = exercise.ladder or USUAL_LADDER
    tempos = sorted(set(rungs(ladder, exercise.tempo)))
    times = max(LEAST_REPEATS, ladder.repeats) if repeats is None else repeats
    lines: list[_Practised] = []
    remarks: list[str] = []
    exercise = played_alone(exercise)
    each = zip(exercise.lines, chains_of(exercise), strict=True)
    for number, (line, chain) in enumerate(each, start=1):
        fastest = fastest_tempo(exercise, chain)
        fitting = [tempo for tempo in tempos if fastest is None or tempo <= fastest]
        if not fitting:
            raise failure(
                f"line {number} fits at none of the rungs",
                _slower_remedy(fastest or Fraction(0)),
                file=exercise.source,
            )
        if fastest is not None and len(fitting) < len(tempos):
            remarks.append(
                f"Line {number} fits up to {spoken_limit(fastest)} beats a minute and is not "
                "practised faster."
            )
        count_in = line.bars[0].meter.beats * chain.stretch[0]
        difficulty = line_difficulty(line)
        lines.append(
            _Practised(number, difficulty, tuple(fitting), count_in, Fraction(chain.beats), times)
        )
    return tuple(lines), tuple(remarks)


def _filled(lines: tuple[_Practised, ...], minutes: int, days: int) -> tuple[_Practised, ...]:
    """Return the lines with as many repeats as there is time for on every day."""
    usual = lines[0].repeats

    def too_many(times: int) -> bool:
        everything = _granted(tuple(line.played(times) for line in lines), days)
        return _packed(everything, minutes, days) is None

    most = max(usual, MOST_REPEATS_TO_FILL)
    times = usual + bisect_left(range(usual, most + 1), True, key=too_many) - 1
    return tuple(line.played(max(usual, times)) for line in lines)


def _granted(lines: tuple[_Practised, ...], days: int) -> list[_Practised]:
    """Return who gets the next practice, again and again: each line once, then by need.

    The need of a line is its weight divided by the practices that it would then have (the
    divisor method of D'Hondt), which never gives an easier line more than a harder one.
    """
    difficulties = [line.difficulty for line in lines]
    least, most = min(difficulties), max(difficulties)
    order = sorted(lines, key=lambda line: (-line.difficulty, line.number))

    def weight(line: _Practised) -> float:
        share = (line.difficulty - least) / (most - least) if most > least else 1.0
        return 1 + (HARDEST_TO_EASIEST - 1) * share

    granted = list(order)
    queue = [(-weight(line) / 2, place, 1) for place, line in enumerate(order) if days > 1]
    heapq.heapify(queue)
    while queue:
        _, place, count = heapq.heappop(queue)
        granted.append(order[place])
        if count + 1 < days:
            heapq.heappush(queue, (-weight(order[place]) / (count + 2), place, count + 1))
    return granted


def _packed(granted: list[_Practised], minutes: int, days: int) -> tuple[Day, ...] | None:
    """Return the practices packed into days, or None where they do not fit."""
    counts: dict[int, int] = {}
    for line in granted:
        counts[line.number] = counts.get(line.number, 0) + 1
    places: list[tuple[float, float, int, int, _Practised]] = []
    for line in {line.number: line for line in granted}.values():
        count = counts[line.number]
        for practice in range(count):
            middle = (2 * practice + 1) / (2 * count)
            places.append((middle, -line.difficulty, line.number, practice, line))
    places.sort(key=lambda place: place[:4])
    waiting = [line.practice(practice, counts[line.number]) for *_, practice, line in places]
    room_ms = 60_000 * minutes
    left_ms = sum(practice.ms for practice in waiting)
    packed: list[Day] = []
    for number in range(1, days + 1):
        days_left = days - number + 1
        if left_ms > room_ms * days_left:
            return None
        today, waiting = _one_day(waiting, room_ms, left_ms / days_left, days_left)
        left_ms -= sum(practice.ms for practice in today)
        packed.append(Day(number, _with_breaks(today)))
    return None if waiting else tuple(packed)


def _one_day(
    waiting: list[_Practice], room_ms: int, share_ms: float, days_left: int
) -> tuple[list[_Practice], list[_Practice]]:
    """Take a day's share of the practices that wait; a line comes up once a day."""
    counts = Counter(practice.line.number for practice in waiting)
    # Lines that must come up on every day that is left do so, whatever the day's share.
    urgent = {number for number, count in counts.items() if count >= days_left}
    today: list[_Practice] = []
    later: list[_Practice] = []
    lines: set[int] = set()
    played_ms = 0
    passed_over = 0
    for is_urgent in (True, False):
        later = []
        for index, practice in enumerate(waiting):
            if not is_urgent and (played_ms >= share_ms or passed_over > MOST_LOOK_AHEAD):
                later += waiting[index:]
                break
            number = practice.line.number
            if is_urgent and number not in urgent:
                later.append(practice)
                continue
            fits = number not in lines and (
                played_ms + practice.ms <= room_ms and _day_ms([*today, practice]) <= room_ms
            )
            # What waits for the same line must wait too, or its rungs would change places.
            lines.add(number)
            if fits:
                today.append(practice)
                played_ms += practice.ms
            else:
                later.append(practice)
                passed_over += not is_urgent
        waiting = later
    return today, later


def _stretches(practices: list[_Practice]) -> list[list[_Practice]]:
    """Divide a day, from the easier line to the harder, where the hands rest."""
    stretches: list[list[_Practice]] = [[]]
    played_ms = 0
    for one in sorted(practices, key=lambda one: (one.line.difficulty, one.line.number)):
        if played_ms and played_ms + one.ms > 1000 * PLAY_SECONDS:
            stretches.append([])
            played_ms = 0
        stretches[-1].append(one)
        played_ms += one.ms
    return stretches


def _day_ms(practices: list[_Practice]) -> int:
    rests = len(_stretches(practices)) - 1
    return sum(one.ms for one in practices) + 1000 * REST_SECONDS * rests


def _with_breaks(practices: list[_Practice]) -> tuple[Block | Break, ...]:
    """Return a day's blocks with rests for the hands between its stretches."""
    items: list[Block | Break] = []
    for number, stretch in enumerate(_stretches(practices)):
        if number:
            items.append(Break(Fraction(REST_SECONDS)))
        items += [block for one in stretch for block in one.blocks]
    return tuple(items)


def _too_short(lines: tuple[_Practised, ...], minutes: int, days: int) -> str:
    once = sum((line.block(0).seconds for line in lines), Fraction(0))
    longest = max(line.block(0).seconds for line in lines)
    time = _counted(minutes, "minute")
    if longest > 60 * minutes:
        return (
            f"one line alone takes {float(longest) / 60:.1f} minutes at the slowest rung, and a "
            f"day has {time}"
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
