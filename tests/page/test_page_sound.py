"""The page's sound is the track's: made in JavaScript of spectral lines, held against our WAV."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from renderer.order.tracks import expand
from renderer.reading.exercise import read_exercise
from renderer.sound.frames import frame_at
from tests.page.node import needs_node, run
from tests.page.pages import difference_db, page_of, track_of

ONE_LINE = """
title = "One line"
meter = "3/4"
tempo = 60
[[lines]]
abc = "{{g}}A4 {{d}}A2 | {{gBd}}B2{{g}}c2{{d}}B2 | {{GdG}}e6 | {{ag}}a4 f2 |]"
{inner}
"""
CLOSED = ONE_LINE.format(inner="")
OPENED = ONE_LINE.format(inner='inner = "even"')


def _ends(frames: int) -> slice:
    # At its end a track stops within 40 ms; a page goes on.
    return slice(0, frames - 1_764)


@needs_node
@pytest.mark.parametrize(
    ("text", "pitch", "chanter", "tempo"),
    [
        (CLOSED, "A", "practice", "60"),
        (OPENED, "B flat", "practice", "53.7"),
        (CLOSED, "478", "pipe", "71.3"),
        (OPENED, "A", "pipe", "66.6"),
    ],
    ids=["closed at A", "opened at B flat", "closed at 478", "opened on the pipe chanter"],
)
def test_the_page_differs_from_our_wav_by_less_than_60_db(
    text: str, pitch: str, chanter: str, tempo: str, tmp_path: Path
) -> None:
    options = ("--pitch", pitch, "--chanter", chanter, "--tempo", tempo)
    page = page_of(text, tmp_path, *options)
    ours = track_of(text, tmp_path, *options, "--repeats", "3")
    out = tmp_path / "page.f32"
    asked = {"page": str(page), "form": "written", "tempo": tempo, "rounds": 3, "cents": 0}
    told = run("play.mjs", asked | {"out": str(out)}, tmp_path)
    theirs = np.fromfile(out, "<f4").reshape(-1, 2).astype(np.float64)
    assert told["frames"] == len(theirs) == len(ours)
    timeline = expand(read_exercise(str(tmp_path / "page.toml")), tempo, repeats=3)
    assert told["events"] == [frame_at(event.start, 44_100) for event in timeline]
    same = _ends(len(ours))
    assert difference_db(theirs[same], ours[same]) < -60
    # Nowhere worse by much: no stretch of a tenth of a second that is something else.
    for start in range(22_050, len(ours) - 6_174, 4_410):
        piece = slice(start, start + 4_410)
        assert difference_db(theirs[piece], ours[piece]) < -50, start


@needs_node
def test_finer_tuning_moves_every_pitch_and_the_drones_alike(tmp_path: Path) -> None:
    """Twelve cents up is what the page of a chanter plays that stands twelve cents higher."""
    higher = 440 * 2 ** (12 / 1200)
    plain = page_of(CLOSED, tmp_path, "--pitch", "A", name="plain")
    tuned = page_of(CLOSED, tmp_path, "--pitch", f"{higher:.4f}", name="tuned")
    heard = []
    for page, cents in ((plain, 12), (tuned, 0)):
        out = tmp_path / f"{page.stem}.f32"
        asked = {"page": str(page), "form": "written", "tempo": "60", "rounds": 1, "cents": cents}
        run("play.mjs", asked | {"out": str(out)}, tmp_path)
        heard.append(np.fromfile(out, "<f4").reshape(-1, 2).astype(np.float64))
    spectra = [np.abs(np.fft.rfft(one[:, 0] * np.hanning(len(one)))) for one in heard]
    top = [int(np.argmax(one)) for one in spectra]
    assert top[0] == top[1]
    # As loud, and as bright: where chanter and drones share partials, their phases decide the rest.
    hz = np.fft.rfftfreq(len(heard[0]), 1 / 44_100)
    for low in 100 * 2 ** (np.arange(20) / 3):
        band = (hz >= low) & (hz < low * 2 ** (1 / 3))
        powers = [float(np.sum(one[band] ** 2)) for one in spectra]
        if powers[1] > 1e-5 * float(np.sum(spectra[1] ** 2)):
            assert abs(10 * np.log10(powers[0] / powers[1])) < 1, low
