"""What `rungwise check` costs: 5,000 walked lines against 1,250, and where the time goes.

Run it with `python -m tests.benchmarks.bench_check`. Seconds are of the processor; ratios are of
figures taken in one run.
"""

from __future__ import annotations

import contextlib
import io
import time
from pathlib import Path
from tempfile import TemporaryDirectory

from typer.testing import CliRunner

from renderer.commands.app import app
from renderer.reading.exercise import read_exercise
from renderer.technique.report import assess
from renderer.timing.fit import fastest_and_even_tempos

NOTES = ("low A", "B", "C", "D", "E", "F")
ORNAMENTS = ("doubling", "grip", "strike")


def walked_lines(count: int) -> str:
    """Runs of three notes, a movement walked over each: four bars a line, a heading for each."""
    entries = ['meter = "3/4"\n']
    for number in range(count):
        first, second, third = number % 6, number // 6 % 6, number // 36 % 6
        second = (first + 1) % 6 if second == first else second
        third = (second + 1) % 6 if third == second else third
        run = ", ".join(NOTES[index] for index in (first, second, third))
        entries.append(
            f'[[lines]]\nheading = "{number}"\nrun = "{run}"\n'
            f'ornament = "{ORNAMENTS[number % 3]}"\nwalk = true\n'
        )
    return "\n".join(entries)


def seconds_of(path: Path) -> tuple[float, float]:
    """Seconds of the processor for a whole check, and for it without reading and printing."""
    start = time.process_time()
    with contextlib.redirect_stdout(io.StringIO()):
        CliRunner().invoke(app, ["check", str(path)])
    whole = time.process_time() - start
    exercise = read_exercise(path)
    start = time.process_time()
    assess(exercise)
    fastest_and_even_tempos(exercise)
    return whole, time.process_time() - start


def main() -> None:
    """Print the figures."""
    figures = []
    with TemporaryDirectory() as folder:
        path = Path(folder) / "lines.toml"
        for count in (1_250, 5_000):
            path.write_text(walked_lines(count), "utf-8")
            whole, working = seconds_of(path)
            figures.append(whole)
            print(f"  {count} lines: {whole:.1f} s, {working:.1f} of them for advice and tempos")
    print(f"  four times the lines take {figures[1] / figures[0]:.1f} times the time")


if __name__ == "__main__":
    main()
