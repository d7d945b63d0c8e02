"""How long the workbench takes: to its first page, from a key to the staff, from a press to sound.

In headless Chromium against the real server, for exercises of 10, 70 and 500 lines. Each figure is
the median of a few; a keystroke's holds the pause after which typing is looked at. A machine that
does something else meanwhile makes all of them longer.

    python -m tests.benchmarks.bench_workbench
"""

from __future__ import annotations

import statistics
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

from tests.page.browsers import CHROMIUM, browsers
from tests.workbench.benches import running

SIZES = (10, 70, 500)
NOTES = ("low A", "B", "C", "D", "E", "F")

_READY = "window.rungwise.screen.words !== null && window.rungwise.hearing.player !== null"
_KEYSTROKES = """async () => {
  const { screen } = window.rungwise;
  const host = () => screen.staves.hostOf(screen.read.lines[1]);
  const found = [];
  for (const typed of ["B, ", "C, ", "D, ", "E, ", "F, "]) {
    const before = host();
    const { text } = screen.text;
    const from = text.indexOf("run = ", text.indexOf('"Line 2"')) + 7;
    const begun = performance.now();
    screen.text.view.dispatch({ changes: { from, insert: typed } });
    while (host() === before || !host().querySelector("svg")) {
      await new Promise((r) => setTimeout(r, 2));
    }
    found.push(performance.now() - begun);
    await new Promise((r) => setTimeout(r, 1_000));
  }
  return found;
}"""
_PRESSES = """async () => {
  const { hearing } = window.rungwise;
  const found = [];
  for (let index = 0; index < 5; index++) {
    const begun = performance.now();
    hearing.play(index, { bar: 1, item: 1 });
    const { player } = hearing;
    const ahead = player._origin / player.sound.rate - player.context.currentTime;
    found.push(performance.now() - begun + 1_000 * Math.max(0, ahead));
    await new Promise((r) => setTimeout(r, 300));
    hearing.stop();
  }
  return found;
}"""


def written(count: int) -> str:
    """Return a definition of so many lines, no two alike."""
    lines = (
        f'[[lines]]\nheading = "Line {n + 1}"\nrun = "{NOTES[n % 6]}, {NOTES[(5 * n + 1) % 6]}, '
        f'{NOTES[n // 6 % 6]}"\nornament = "doubling"\nwalk = true\n'
        for n in range(count)
    )
    return 'title = "A book"\nmeter = "3/4"\n' + "".join(lines)


def _median(page: Any, script: str) -> str:
    return f"{statistics.median(page.evaluate(script)):6.0f} ms"


def main() -> None:
    """Print the table."""
    if CHROMIUM is None:
        sys.exit("Chromium is missing: see `make system-test`")
    with tempfile.TemporaryDirectory() as folder, browsers() as start:
        for count in SIZES:
            (Path(folder) / f"{count}.toml").write_text(written(count))
        page = start("chromium").new_context(viewport={"width": 1280, "height": 900}).new_page()
        page.set_default_timeout(600_000)
        begun = time.perf_counter()
        with running(Path(folder)) as bench:
            page.goto(bench.address)
            page.wait_for_selector(".bar")
            shown = time.perf_counter() - begun
            page.wait_for_selector(".example svg")
            drawn = time.perf_counter() - begun
            print(f"start to first page {shown:.2f} s, to its staves {drawn:.2f} s")
            print("lines  keystroke to staff  press to sound")
            for count in SIZES:
                page.goto(f"http://127.0.0.1:{bench.port}/#/write/{count}.toml")
                page.wait_for_selector(".entry svg")
                while not page.evaluate(_READY):
                    page.wait_for_timeout(50)
                page.wait_for_timeout(3_000)
                keystroke, press = _median(page, _KEYSTROKES), _median(page, _PRESSES)
                print(f"{count:5}  {keystroke:>18}  {press:>14}")


if __name__ == "__main__":
    main()
