"""How soon a practice page opens, sounds and shows: printed, not asserted.

`python -m tests.benchmarks.bench_page [chromium|firefox] [EXERCISE]`: how large the page is, how
long it takes to open, from the press to the first sound by the audio's clock, how far the picture
is behind that clock when it shows a note, and the memory of the script, all in one run.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

from tests.page.browsers import browsers, opened
from tests.page.pages import invoked

PLAYED_S = 60

_WATCH = """() => {
  window.late = [];
  let known = null;
  const show = rungwise.showHeard.bind(rungwise);
  rungwise.showHeard = (frame) => {
    show(frame);
    const event = rungwise.player.eventAt(frame);
    if (event && event !== known) {
      known = event;
      window.late.push((rungwise.player.heardFrame - event.start) / 44.1);
    }
  };
}"""
_PRESS = """() => {
  const began = performance.now();
  rungwise.play();
  const laid = performance.now();
  const { player } = rungwise;
  return [laid - began, (player._origin / 44100 - player.context.currentTime) * 1000];
}"""


def main() -> None:
    """Print it all."""
    name = sys.argv[1] if len(sys.argv) > 1 else "chromium"
    exercise = sys.argv[2] if len(sys.argv) > 2 else "doublings-opened"
    with TemporaryDirectory() as folder, browsers() as start:
        page = Path(folder) / "page.html"
        began = time.perf_counter()
        invoked("page", exercise, "-o", page)
        made = time.perf_counter() - began
        print(f"{exercise}: {page.stat().st_size / 1e6:.2f} MB, made in {made:.1f} s")
        context = start(name).new_context(viewport={"width": 1280, "height": 800})
        began = time.perf_counter()
        watched = opened(context, page.as_uri())
        lines = watched.page.locator(".line").count()
        print(f"{name}: {lines} lines open in {time.perf_counter() - began:.2f} s")
        watched.page.wait_for_timeout(5_000)
        if name == "chromium":
            used = watched.run("performance.memory.usedJSHeapSize") / 1e6
            print(f"memory of the script: {used:.0f} MB, arrays of samples among it")
        watched.run(_WATCH)
        work, wait = watched.run(_PRESS)
        print(f"from the press to the first sound: {work + wait:.0f} ms, {work:.0f} of them work")
        watched.wait(f"rungwise.player.heardFrame > {44_100 * PLAYED_S}")
        late = np.array(watched.run("window.late"))
        middle, most = np.percentile(late, [50, 95])
        print(
            f"{len(late)} notes are shown {middle:.0f} ms after they sound, 95 % within {most:.0f}"
        )
        context.close()


if __name__ == "__main__":
    main()
