"""The page's sound is the track's: made in JavaScript of spectral lines, held against our WAV."""

from __future__ import annotations

import json
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from renderer.sound.frames import frame_at
from tests.page.node import needs_node, run
from tests.page.pages import difference_db, invoked, page_of, track_of

ONE_LINE = """
title = "One line"
meter = "3/4"
tempo = 60
[[lines]]
abc = "{{g}}A4 {{d}}A2 | {{gBd}}B2{{g}}c2{{d}}B2 | {{GdG}}e6 | {{ag}}a4 f2 |]"
{inner}
"""
CLOSED = ONE_LINE.format(inner="")
CROSSING = """
title = "Noises between"
meter = "4/4"
[[lines]]
abc = "c2 e2 d2 f2 | {g}c2 e2 {g}d2 f2 | G2 f2 e2 {g}c2 |]"
"""
OPENED = ONE_LINE.format(inner='inner = "even"')


def _ends(frames: int) -> slice:
    # At its end a track stops within 40 ms; a page goes on.
    return slice(0, frames - 1_764)


def _heard(page: Path, out: Path, folder: Path, **asked: Any) -> tuple[Any, Any]:
    """Return what the page's modules tell of a line, and its samples, (frames, 2)."""
    usual = {"page": str(page), "form": "written", "rounds": 3, "cents": 0, "out": str(out)}
    told = run("play.mjs", usual | asked, folder)
    return told, np.fromfile(out, "<f4").reshape(-1, 2).astype(np.float64)


@needs_node
@pytest.mark.parametrize(
    ("text", "pitch", "chanter", "tempo", "more"),
    [
        (OPENED, "B flat", "practice", "53.7", ()),
        (OPENED, "478", "pipe", "66.6", ()),
        # A beat of half a second: a roll has six and a half buzzes a beat, a tie.
        (CLOSED, "B flat", "pipe", "120", ("--count-in-style", "rolls", "--introduction", "E")),
        (CROSSING, "A", "practice", "64.2", ("--show-crossing", "--count-in", "2")),
        (CROSSING, "478", "pipe", "90", ("--show-crossing", "--gracenotes", "pure", "--steady")),
        (CLOSED, "A", "practice", "88", ("--count-in", "0")),
    ],
    ids=[
        "opened at B flat",
        "opened on the pipe chanter",
        "after rolls and an introductory E",
        "with crossing noises after two bars",
        "pure and steady with crossing noises",
        "without a count-in",
    ],
)
def test_the_page_differs_from_our_wav_by_less_than_60_db(
    text: str, pitch: str, chanter: str, tempo: str, more: tuple[str, ...], tmp_path: Path
) -> None:
    options = ("--pitch", pitch, "--chanter", chanter, "--tempo", tempo, *more)
    page = page_of(text, tmp_path, *options)
    # By three rounds of it a page's levels are set.
    ours = track_of(text, tmp_path, *options, "--repeats", "3")
    rounds = 6 if "--show-crossing" in more else 3
    told, theirs = _heard(page, tmp_path / "page.f32", tmp_path, tempo=tempo, rounds=rounds)
    assert told["frames"] == len(theirs) == len(ours)
    events = invoked(
        "events",
        tmp_path / "page.toml",
        "--format",
        "json",
        "--tempo",
        tempo,
        "--repeats",
        "3",
        *more,
    )
    starts = [Fraction(one["start"]) for one in json.loads(events)["events"]]
    assert told["events"] == [frame_at(start, 44_100) for start in starts]
    same = _ends(len(ours))
    assert difference_db(theirs[same], ours[same]) < -60
    # Nowhere worse by much: no stretch of a tenth of a second that is something else. What rings on
    # between two rolls is soft beside what a track of 16 bits rounds off.
    soft = 1e-5 * float(np.mean(ours**2))
    for start in range(22_050, len(ours) - 6_174, 4_410):
        piece = slice(start, start + 4_410)
        if float(np.mean(ours[piece] ** 2)) > soft:
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
    size = 2 ** (len(heard[0]).bit_length() - 1)
    spectra = [np.abs(np.fft.rfft(one[:size, 0] * np.hanning(size))) for one in heard]
    top = [int(np.argmax(one)) for one in spectra]
    assert top[0] == top[1]
    # As loud, and as bright: where chanter and drones share partials, their phases decide the rest.
    hz = np.fft.rfftfreq(size, 1 / 44_100)
    for low in 100 * 2 ** (np.arange(20) / 3):
        band = (hz >= low) & (hz < low * 2 ** (1 / 3))
        powers = [float(np.sum(one[band] ** 2)) for one in spectra]
        if powers[1] > 1e-5 * float(np.sum(spectra[1] ** 2)):
            assert abs(10 * np.log10(powers[0] / powers[1])) < 1, low
