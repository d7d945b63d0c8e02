"""Pages for tests, and the tracks that they are held against."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import numpy as np
import soundfile
from numpy.typing import NDArray
from typer.testing import CliRunner

from renderer.commands.app import app

WIDE = """
title = "Doublings over a wide step"
for = "Larkmoor evening class"
meter = "3/4"
tempo = 60
[[lines]]
heading = "Low A to E"
run = "low A, C, E"
ornament = "doubling"
walk = true
inner = "1/2 beat"
[[lines]]
heading = "Grips"
run = "C, E, F"
ornament = "grip"
[[lines]]
heading = "Written out"
abc = "{g}A4 {d}A{e}A | {gBd}B2 {g}B2{d}A2 | {Gdc}d6 |]"
[ladder]
from = 50
to = 80
step = 10
repeats = 2
"""


def invoked(*arguments: str | Path) -> str:
    """Return what `rungwise` prints; fail where it fails."""
    run = CliRunner().invoke(app, list(map(str, arguments)))
    assert run.exit_code == 0, (run.output, run.exception)
    return run.output


def page_of(text: str, folder: Path, *options: str, name: str = "page") -> Path:
    """Write a definition, and return the page that is made of it."""
    definition = folder / f"{name}.toml"
    definition.write_text(text)
    page = folder / f"{name}.html"
    invoked("page", definition, "-o", page, *options)
    return page


def data_of(page: Path) -> Any:
    """Return the data in a page."""
    found = re.search(
        r'<script type="application/json" id="data">(.*?)</script>', page.read_text(), re.DOTALL
    )
    assert found is not None
    return json.loads(found[1])


def track_of(text: str, folder: Path, *options: str) -> NDArray[np.float64]:
    """Return the samples of the one track that `rungwise render` makes, (frames, channels)."""
    definition = folder / "track.toml"
    definition.write_text(text)
    out = folder / "tracks"
    invoked("render", definition, "-o", out, "--format", "wav", *options)
    (path,) = out.glob("*.wav")
    samples, rate = soundfile.read(path, dtype="float64", always_2d=True)
    assert rate == 44_100
    return np.asarray(samples)


def difference_db(theirs: NDArray[Any], ours: NDArray[Any]) -> float:
    """Return the power of the difference of two signals beside that of ours, in decibels."""
    apart = float(np.sum((theirs - ours) ** 2))
    return 10 * float(np.log10(apart / float(np.sum(ours**2))))


def matched(theirs: NDArray[Any], ours: NDArray[Any]) -> tuple[NDArray[Any], float]:
    """Return a signal at the level of another, and by how many decibels it was louder.

    The levels of a page are those of one of its tracks; others may be a little louder or softer.
    """
    gain = float(np.sum(theirs * ours) / np.sum(ours**2))
    return theirs / gain, 20 * float(np.log10(gain))
