"""What the page's own player gives to a browser, rendered by it offline, beside our WAV."""

from __future__ import annotations

import base64
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tests.page.pages import difference_db, matched

RENDERED = """async ([frames, line, pitch, form, tempo]) => {
  const { player, choice } = rungwise;
  rungwise.takeLine(line, false);
  rungwise.tune(pitch, 0);
  rungwise.change({ form, mode: "loop" });
  rungwise.typeTempo(tempo);
  const context = new OfflineAudioContext(2, frames + 4096, 44100);
  player.context = context;
  rungwise.play();
  player.layTo(frames + 44100);
  const heard = await context.startRendering();
  const starts = player.rendition.events.map((one) => one.start);
  const begin = player._origin;
  player.stop();
  player.context = null;
  let text = "";
  for (const side of [0, 1]) {
    const part = new Uint8Array(heard.getChannelData(side).slice(begin, begin + frames).buffer);
    for (let n = 0; n < part.length; n += 8192) {
      text += String.fromCharCode(...part.subarray(n, n + 8192));
    }
  }
  return [starts, btoa(text)];
}"""
"""Called with how many frames, which line, pitch, form and tempo; gives the frames of the events
and the samples, left, then right."""


def is_our_wav(told: Any, ours: NDArray[np.float64], starts: list[int], what: Any) -> None:
    """Fail where what `RENDERED` has told is not our WAV (frames, 2), by the frames of its events.

    Every onset at its frame; the whole less than -60 dB apart, no tenth of a second by much more.
    """
    begins, text = told
    # Those of the last round's end belong to the next one.
    assert begins[: len(starts)] == starts, what
    heard = np.frombuffer(base64.b64decode(text), "<f4").reshape(2, -1).T.astype(np.float64)
    same = slice(0, len(ours) - 1_764)
    theirs, louder_db = matched(heard[same], ours[same])
    assert abs(louder_db) < 1.5, what
    assert difference_db(theirs, ours[same]) < -60, what
    for first in range(22_050, len(ours) - 6_174, 4_410):
        piece = slice(first, first + 4_410)
        assert difference_db(theirs[piece], ours[piece]) < -50, (what, first)
