"""How soon a practice page opens, sounds and shows: printed, not asserted.

`python -m tests.benchmarks.bench_page [chromium|firefox] [EXERCISE...]`: how large a page is, how
long it takes to open, from the press to the first sound by the audio's clock (at once after
opening, and later), how far the picture is behind that clock when it shows a note over a minute,
and the memory of its process, all in one run. Without exercises: a short one, and a book of 70
lines.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np
import psutil

from tests.page.browsers import Watched, browsers, opened
from tests.page.pages import invoked

PLAYED_S = 60
AWAITED_MS = 30
USUAL = ("doublings-opened", "every-doubling-from-low-g-to-f")

# A frame is missed where a browser leaves out at least one of 60 a second.
MISSED_MS = 25

_WATCH = """() => {
  window.late = [];
  let known = null;
  let before = performance.now();
  const show = rungwise.showHeard.bind(rungwise);
  rungwise.showHeard = (frame) => {
    const now = performance.now();
    const gap = now - before;
    before = now;
    show(frame);
    // Drawn now, seen with the next frame of the screen: `frame` is what is heard then.
    const event = rungwise.player.eventAt(frame);
    if (event && event !== known) {
      known = event;
      window.late.push([(rungwise.player.heardFrame - event.start) / 44.1, gap]);
    }
  };
}"""
_PRESSED = """() => {
  const opens = ({ timeStamp }) => {
    if (rungwise.player.context?.currentTime > 0) window.opens = performance.now() - timeStamp;
    else requestAnimationFrame(() => opens({ timeStamp }));
  };
  document.addEventListener("click", opens, { capture: true, once: true });
  document.addEventListener("click", (event) => { window.pressed = event.timeStamp; }, true);
}"""
# By the clock of what is heard: how long before now it was at the first frame.
_FIRST_SOUND = """() => performance.now() - rungwise.player.heardFrame / 44.1 - window.pressed"""


def first_sound_ms(watched: Watched) -> float:
    """Press, and return how long it takes until something leaves the browser; stop again."""
    watched.page.click(".play")
    watched.wait("rungwise.player.heardFrame > 44100")
    found = float(watched.run(_FIRST_SOUND))
    watched.page.click(".play")
    watched.wait("!rungwise.player.isPlaying")
    return found


def memory_mb() -> float:
    """Return the memory of the page's process that is its alone: of all that render the largest."""
    sizes = [0.0]
    for one in psutil.Process().children(recursive=True):
        if "--type=renderer" in one.cmdline() or "-isForBrowser" in one.cmdline():
            sizes.append(one.memory_full_info().uss / 1e6)
    return max(sizes)


def practised(name: str, page: Path, start: Any) -> None:
    """Open a page, press twice, and watch its notes for a minute."""
    context = start(name).new_context(viewport={"width": 1280, "height": 800})
    context.new_page().close()  # the browser itself is there
    began = time.perf_counter()
    watched = opened(context, page.as_uri())
    took = time.perf_counter() - began
    lines = watched.page.locator(".line").count()
    print(f"{name}: {lines} lines open in {took:.2f} s")
    watched.run(_PRESSED)
    print(f"from the press to the first sound: {first_sound_ms(watched):.0f} ms at once", end=" ")
    opens = watched.run("window.opens")
    watched.page.wait_for_timeout(5_000)
    later = first_sound_ms(watched)
    print(f"(the browser has opened its sound after {opens:.0f}), {later:.0f} ms later")
    watched.run(_WATCH)
    watched.page.click(".play")
    # Asked nothing meanwhile: each question takes time of the page's.
    watched.page.wait_for_timeout(1_000 * PLAYED_S)
    late = np.array(watched.run("window.late"))
    print(f"memory of its process: {memory_mb():.0f} MB")
    lags, gaps = late.T
    most = np.percentile(np.abs(lags), 95)
    beyond = np.abs(lags) > AWAITED_MS
    missed = int(np.sum(beyond & (gaps > MISSED_MS)))
    print(
        f"{len(late)} notes are lit {lags.min():.0f} to {lags.max():.0f} ms after they sound, 95 %"
        f" within {most:.0f}; {int(beyond.sum())} of them more than {AWAITED_MS} off, {missed} of"
        f" these where the browser left out a frame (longest pause {gaps.max():.0f} ms)"
    )
    context.close()


def main() -> None:
    """Print it all."""
    name = sys.argv[1] if len(sys.argv) > 1 else "chromium"
    with TemporaryDirectory() as folder, browsers(patient=False) as start:
        for exercise in sys.argv[2:] or USUAL:
            page = Path(folder) / f"{exercise}.html"
            began = time.perf_counter()
            invoked("page", exercise, "-o", page)
            made = time.perf_counter() - began
            print(f"{exercise}: {page.stat().st_size / 1e6:.2f} MB, made in {made:.1f} s")
            practised(name, page, start)


if __name__ == "__main__":
    main()
