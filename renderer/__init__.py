"""Rungwise: play-along practice tracks and sheets for Highland pipe exercises.

from renderer import read_exercise, expand, render

exercise = read_exercise("doublings.toml")
for event in expand(exercise, tempo=60):
    print(float(event.start), event.note, event.role)
render(exercise, "out", ladder=[50, 60, 70], pitch=["A", "B flat"])
"""

from __future__ import annotations

TYPE_CHECKING = False  # what a type checker takes for true; `typing` is slow to import
if TYPE_CHECKING:
    from typing import Any

    from renderer.delivery.for_analysts import to_arrays, to_pretty_midi
    from renderer.delivery.packing.making import make
    from renderer.delivery.render import render
    from renderer.errors import Problem, RungwiseError
    from renderer.order.packs import read_pack
    from renderer.order.tracks import expand
    from renderer.reading.exercise import read_exercise
    from renderer.reading.music21_streams import from_music21, to_music21

__version__ = "0.2.0"

__all__ = [
    "Problem",
    "RungwiseError",
    "expand",
    "from_music21",
    "make",
    "read_exercise",
    "read_pack",
    "render",
    "to_arrays",
    "to_music21",
    "to_pretty_midi",
]

_HOMES = {
    "Problem": "renderer.errors",
    "RungwiseError": "renderer.errors",
    "expand": "renderer.order.tracks",
    "from_music21": "renderer.reading.music21_streams",
    "make": "renderer.delivery.packing.making",
    "read_exercise": "renderer.reading.exercise",
    "read_pack": "renderer.order.packs",
    "render": "renderer.delivery.render",
    "to_arrays": "renderer.delivery.for_analysts",
    "to_music21": "renderer.reading.music21_streams",
    "to_pretty_midi": "renderer.delivery.for_analysts",
}


def __getattr__(name: str) -> Any:
    # Each name brings its packages along only when it is used, so that the command line starts
    # without them.
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from importlib import import_module

    return getattr(import_module(_HOMES[name]), name)
