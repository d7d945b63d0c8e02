"""What a large book costs: expanding 5,000 lines against 500, abridging, planning.

Run it with `python -m tests.benchmarks.bench_compose`. Ratios are of figures taken in one run.
"""

from __future__ import annotations

import time
import tracemalloc
from collections.abc import Callable
from functools import partial

from renderer.notation.definition.reader import parse_definition, read_definition
from renderer.notation.definition.text import definition_text
from renderer.reading.library import find_exercise
from renderer.technique.abridge import Candidate, Selection, abridge, candidate, cover_all
from renderer.technique.coverage import coverage
from renderer.technique.realise import expand_definition, realise
from tests.delivery.larkmoor import planned

SPANS = '["third", "fourth", "fifth", "sixth", "seventh", "octave", "ninth"]'


def book(lines: int) -> str:
    """Runs of six notes that turn, a doubling walked over each: seven bars a line."""
    return (
        f'[[lines]]\nruns = {{ span = {SPANS}, notes = 6, direction = "turning", '
        f'among = "low G to high A", limit = {lines} }}\nornament = "doubling"\nwalk = true\n'
    )


def written(text: str) -> str:
    """The same lines, each with an entry of its own."""
    return definition_text(expand_definition(parse_definition(text)))


def measured(work: Callable[[], object]) -> tuple[float, float]:
    """Seconds, and the peak of Python's memory in megabytes (in a second, slower run)."""
    start = time.perf_counter()
    work()
    seconds = time.perf_counter() - start
    tracemalloc.start()
    work()
    peak = tracemalloc.get_traced_memory()[1] / 1e6
    tracemalloc.stop()
    return seconds, peak


def _realised(text: str) -> object:
    return realise(parse_definition(text))


def expanding() -> None:
    for name, text_of in (("one entry that stands for all", book), ("an entry a line", None)):
        figures = []
        for lines in (500, 5_000):
            text = book(lines) if text_of is not None else written(book(lines))
            seconds, megabytes = measured(partial(_realised, text))
            print(f"  {name}: {lines} lines in {seconds:.2f} s, {megabytes:.0f} MB at the peak")
            figures.append((seconds, megabytes))
        (few_s, few_mb), (many_s, many_mb) = figures
        print(
            f"  {name}: ten times the lines take {many_s / few_s:.1f} times the time and "
            f"{many_mb / few_mb:.1f} times the memory"
        )


def candidates(text: str | None) -> list[Candidate]:
    read = (
        read_definition(find_exercise("every-doubling-from-low-g-to-f"))
        if text is None
        else parse_definition(text)
    )
    definition = expand_definition(read)
    music = realise(definition)
    return [candidate(line, one) for line, one in zip(music.lines, definition.lines, strict=True)]


def abridging() -> None:
    two = (
        '[[lines]]\nruns = { direction = ["both", "turning"], among = "low A to F" }\n'
        'ornament = ["doubling", "grip"]\nwalk = true\n'
    )
    for name, lines in (
        ("the full book", candidates(None)),
        ("runs in three directions with two movements", candidates(two)),
    ):
        total = len({approach for one in lines for approach in one.approaches})

        def told(what: str, work: Callable[[], Selection], total: int = total) -> None:
            start = time.perf_counter()
            chosen = work()
            seconds = time.perf_counter() - start
            bound = (
                f"at most {chosen.most_coverable}"
                if chosen.fewest_lines is None
                else f"at least {chosen.fewest_lines} lines"
            )
            print(
                f"    {what}: {len(chosen.lines)} lines cover {len(chosen.covered)} of {total}, "
                f"bound {bound}, {'proven' if chosen.is_proven else 'not proven'}, {seconds:.1f} s"
            )

        print(f"  {name}, {len(lines)} lines")
        for count in (5, 10, 12, 20):
            told(f"--lines {count}", partial(abridge, lines, count))
        told("--cover all", partial(cover_all, lines))


def planning() -> None:
    exercise = realise(read_definition(find_exercise("every-doubling-from-low-g-to-f")))
    for minutes, days in ((20, 14), (60, 100)):
        start = time.perf_counter()
        plan = planned(exercise, minutes, days)
        seconds = time.perf_counter() - start
        used = float(sum(day.seconds for day in plan.days)) / (60 * minutes * days)
        print(
            f"  {len(exercise.lines)} lines over {days} days of {minutes} minutes in "
            f"{seconds:.2f} s; {100 * used:.0f}% of the time is used"
        )
    start = time.perf_counter()
    coverage([exercise])
    print(f"  coverage of the full book in {1000 * (time.perf_counter() - start):.0f} ms")


def main() -> None:
    print("Expanding")
    expanding()
    print("Abridging")
    abridging()
    print("Planning and coverage")
    planning()


if __name__ == "__main__":
    main()
