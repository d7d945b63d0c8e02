"""The page as it sounds live, while the browser's main thread does something else."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tests.page.browsers import (
    Browsers,
    Watched,
    needs_chromium,
    needs_firefox,
    needs_sink,
    opened,
    served,
)
from tests.page.pages import difference_db, matched, page_of, track_of

RATE = 44_100
TURN = """
title = "A turn"
meter = "3/4"
tempo = 66
[[lines]]
abc = "{g}A4 {d}A2 | {gBd}B2{g}c2{d}B2 | {GdG}e4 {ag}a2 |]"
"""

MOST_TURNS = 20
"""On a machine that has too much else to do to play without gaps: each turn tells by itself."""
SLOWER = 6
"""How much slower than this machine the script is when it begins."""

BLOCK = """() => {
  const until = performance.now() + 2500;
  while (performance.now() < until);
}"""

# Runs on the browser's own thread for sound, where nothing of the page's script can hold it up.
TAP = """
class Tap extends AudioWorkletProcessor {
  process([input]) {
    if (input.length) this.port.postMessage([currentFrame, input.map((one) => one.slice())]);
    return true;
  }
}
registerProcessor("tap", Tap);
"""
LISTEN = """async () => {
  const { player } = rungwise;
  player.context = new AudioContext({ sampleRate: 44100 });
  await player.context.resume();
  await player.context.audioWorklet.addModule("tap.js");
  // Two sides always: what is silent for a moment comes with one.
  const sides = { channelCount: 2, channelCountMode: "explicit" };
  const node = new AudioWorkletNode(player.context, "tap", sides);
  window.taken = [];
  node.port.onmessage = (event) => window.taken.push(event.data);
  window.missed = 0;
  const started = player._started.bind(player);
  player._started = (made, missed) => {
    window.missed += missed;
    return started(made, missed);
  };
  rungwise.play();
  player._master.connect(node);
}"""
SETTLED = "() => { window.settled = rungwise.player.frame; }"
APART = """() => {
  const { player } = rungwise;
  const { taken, settled } = window;
  const all = taken.map(([at, sides]) => [at - player._origin, sides]);
  // The first piece, and all from where it is laid well ahead.
  const heard = all.filter(([at]) => (at >= 0 && at + 128 < 0.4 * 44100) || at > settled);
  const [begin, end] = [heard[0][0], heard.at(-1)[0] + 128];
  const chanter = player.rendition.chanter(begin, end);
  const clicks = player.rendition.metronome(begin, end, player._struckGains);
  const { frame: struck, loop, beginning } = player._known;
  let [apart, loudest] = [0, 0];
  for (const [at, sides] of heard) {
    for (let n = 0; n < 128; n++) {
      const frame = at + n;
      for (const side of [0, 1]) {
        const sounds = sides[side][n];
        const since = frame - struck;
        const runs = loop[side][frame % loop[side].length];
        const drone = since < 0 ? 0 : (beginning[side][since] ?? runs);
        const laid = chanter[frame - begin] + clicks[frame - begin] + drone;
        apart = Math.max(apart, Math.abs(sounds - laid));
        loudest = Math.max(loudest, Math.abs(sounds));
      }
    }
  }
  return [heard.length, apart, loudest, window.missed];
}"""


def played(chromium: Any, address: str) -> tuple[int, float, float, int]:
    """Play a page whose main thread is blocked for seconds; say how far apart what sounds is.

    Returns how many blocks of sound were compared, their largest difference and sample, and how
    many frames were laid too late, on a machine that was held up for longer than that.
    """
    context = chromium.new_context(bypass_csp=True)
    watched = opened(context, address)
    # As on a telephone: what takes long before the beginning makes it later, not wrong.
    slow = context.new_cdp_session(watched.page)
    slow.send("Emulation.setCPUThrottlingRate", {"rate": SLOWER})
    watched.run(LISTEN)
    slow.send("Emulation.setCPUThrottlingRate", {"rate": 1})
    # Laid well ahead, as it is sooner or later on any machine; from then on nothing is late.
    watched.wait("rungwise.player._laidTo > rungwise.player.frame + 18 * 44100")
    # Nor are the drones, made while all else sounded.
    watched.wait("rungwise.player.frame > rungwise.player._known?.frame")
    watched.run(SETTLED)
    for _ in range(2):
        watched.run(BLOCK)
    watched.wait("rungwise.player.frame > settled + 7 * 44100")
    blocks, apart, loudest, missed = watched.run(APART)
    watched.page.click(".play")
    context.close()
    return blocks, apart, loudest, missed


@needs_chromium
def test_a_dropped_frame_of_the_picture_moves_no_sample_of_the_sound(
    chromium: Any, tmp_path: Path
) -> None:
    """While the main thread is blocked for seconds the sound goes on as it was laid."""
    page = page_of(TURN, tmp_path)
    (tmp_path / "tap.js").write_text(TAP)
    with served(tmp_path) as at:
        for _ in range(MOST_TURNS):
            blocks, apart, loudest, missed = played(chromium, at(page.name))
            if not missed:
                break
    assert blocks > 1_000
    assert loudest > 0.1
    assert apart < 1e-6


def _lags(recorded: NDArray[Any], ours: NDArray[Any]) -> list[tuple[int, float]]:
    """Return how late each quarter of a second is found, in frames, and how unlike it is in dB."""
    window = RATE // 4
    size = 2 ** int(np.ceil(np.log2(len(recorded) + window)))
    spectrum = np.fft.rfft(recorded, size)
    sums = np.concatenate(([0.0], np.cumsum(recorded**2)))
    power = sums[window:] - sums[:-window]
    found = []
    for first in range(2 * RATE, 8 * RATE, window):
        piece = ours[first : first + window]
        like = np.fft.irfft(spectrum * np.conj(np.fft.rfft(piece, size)), size)[: len(power)]
        at = int(np.argmax(like / np.sqrt(power + 1e-6)))
        heard, _ = matched(recorded[at : at + window], piece)
        found.append((at - first, difference_db(heard, piece)))
    return found


def pauses_and_goes_on(watched: Watched) -> None:
    """Fail unless a pause holds everything where it is, and nothing is lost by it."""
    watched.page.click(".play")
    watched.wait("rungwise.player.frame > 44100")
    watched.run("rungwise.player.pause()")
    watched.wait("rungwise.player.context.state === 'suspended'")
    at = watched.run("rungwise.player.frame")
    watched.page.wait_for_timeout(500)
    assert watched.run("rungwise.player.frame") == at
    watched.run("rungwise.player.resume()")
    watched.wait(f"rungwise.player.frame > {at} + 4410")
    # Stopped while it is held, it plays again when it is started.
    watched.run("rungwise.player.pause()")
    watched.page.click(".play")
    assert not watched.run("rungwise.player.isPlaying")
    watched.page.click(".play")
    watched.wait("rungwise.player.isPlaying && rungwise.player.frame > 44100")
    watched.page.click(".play")


@needs_firefox
@needs_sink
def test_what_firefox_plays_live_is_our_wav_to_the_sample(start: Browsers, tmp_path: Path) -> None:
    """Recorded behind the browser, blocked meanwhile: each note at its frame, below -60 dB apart.

    A machine that is too busy leaves gaps in what it plays; then it is played and recorded again.
    """
    page = page_of(TURN, tmp_path)
    ours = track_of(TURN, tmp_path, "--repeats", "2")[:, 0]
    context = start("firefox").new_context()
    watched = opened(context, page.as_uri())
    lags: list[tuple[int, float]] = []
    for turn in range(MOST_TURNS):
        path = tmp_path / f"{turn}.f32"
        with start.recorded(path):
            watched.page.click(".play")
            watched.wait("rungwise.player.heardFrame > 3 * 44100")
            watched.run(BLOCK)
            watched.wait("rungwise.player.heardFrame > 9 * 44100")
            watched.page.wait_for_timeout(1_000)
        watched.page.click(".play")
        left = np.fromfile(path, "<f4").astype(np.float64)
        lags = _lags(left[: len(left) // 2 * 2 : 2], ours)
        if len({lag for lag, _ in lags}) == 1:
            break
    pauses_and_goes_on(watched)
    context.close()
    assert len(lags) == 24
    assert len({lag for lag, _ in lags}) == 1
    assert max(apart for _, apart in lags) < -60


@needs_chromium
def test_a_pause_holds_everything_where_it_is(page: Watched) -> None:
    pauses_and_goes_on(page)
