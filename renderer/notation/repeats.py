"""Repeats, endings and jumps of a score: measures as written in, measures in playing order out."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from renderer.errors import failure
from renderer.notation.limits import MOST_BARS
from renderer.notation.written import Measure

MOST_PASSES = 99
"""How often a repeat is played, and the highest number of an ending."""
JUMPS_LEFT_OUT = (
    "Da capo, dal segno, coda and fine are not played out: the music is read in the order in which "
    "it is written."
)
_JUMP = re.compile(
    r"\bD\.?\s?[CS]\.?(?!\w)|\bda\s?capo\b|\bda[cl]\s?(?:segno|coda)\b|\bto\s+coda\b"
    r"|^\W*(?:fine|segno|coda)\W*$",
    re.IGNORECASE,
)


def is_jump(words: str) -> bool:
    """Whether words above the staff send the player elsewhere, such as `D.C. al Fine`."""
    return len(words) <= 80 and _JUMP.search(words) is not None


def passes_of_ending(text: str) -> tuple[int, ...]:
    """Return the passes that an ending's number names, such as `1, 2` or `1-3`, in order."""
    numbers: set[int] = set()
    for first, last in re.findall(r"(\d{1,3})(?:\s*-\s*(\d{1,3}))?", text[:1000]):
        numbers.update(range(int(first), min(int(last or first), MOST_PASSES) + 1))
    return tuple(sorted(number for number in numbers if 1 <= number <= MOST_PASSES))


@dataclass(frozen=True, slots=True)
class _Section:
    """Measures that are repeated together, and how often they are played in all."""

    measures: tuple[Measure, ...]
    passes: int


def _sections(measures: Sequence[Measure]) -> Iterator[_Section]:
    start = 0
    for at, measure in enumerate(measures):
        after = measures[at + 1] if at + 1 < len(measures) else None
        endings_go_on = bool(measure.endings) and after is not None and bool(after.endings)
        ends = bool(measure.closes or measure.endings) and not endings_go_on
        if ends or after is None or (after.opens and not endings_go_on):
            section = tuple(measures[start : at + 1])
            yield _Section(section, _passes(section))
            start = at + 1


def _passes(section: Sequence[Measure]) -> int:
    closes = max(measure.closes for measure in section)
    brackets = {measure.endings for measure in section if measure.endings}
    last = max((number for numbers in brackets for number in numbers), default=1)
    if not closes:
        return last
    # A lone bracket is the first ending; the second one was left unmarked.
    return max(last, closes if len(brackets) < 2 else 1)


def played_out(measures: Sequence[Measure]) -> list[Measure]:
    """Return the measures in the order in which they are played.

    A repeat goes back to the last measure that opens one, else to the measure after the last
    repeat, else to the start. A measure with `endings` is played in those passes only. A repeat
    inside a line goes on with the line; one over several lines begins them anew.

    Raises `RungwiseError` beyond `MOST_BARS`.
    """
    order: list[Measure] = []
    for section in _sections(measures):
        one_line = not any(measure.begins_line for measure in section.measures[1:])
        for turn in range(1, section.passes + 1):
            for index, measure in enumerate(section.measures):
                if measure.endings and turn not in measure.endings:
                    continue
                if len(order) >= MOST_BARS:
                    raise failure(
                        f"the repeats play out to more than {MOST_BARS} bars",
                        "take repeats out of the score, or read it without them",
                        place=measure.place,
                    )
                again = turn > 1 and index == 0 and one_line
                order.append(replace(measure, begins_line=False, heading="") if again else measure)
                if measure.closes and turn < section.passes:
                    break
    return order


def read_once(measures: Sequence[Measure]) -> list[Measure]:
    """Return the measures once each, without their repeat signs and endings."""
    return [replace(m, opens=False, closes=0, endings=()) for m in measures]
