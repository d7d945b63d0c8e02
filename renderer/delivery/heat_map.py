"""Coverage as a picture: a panel a movement, how often each note is approached from each.

Rows are the note before, columns the melody note. The darker, the more often. A possible approach
that is never played is outlined; one that cannot be played is left grey.
"""

from __future__ import annotations

import io
import math
from collections.abc import Collection, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from renderer.errors import failure
from renderer.notation.pitch import Note
from renderer.technique.coverage import Coverage

if TYPE_CHECKING:
    from numpy.typing import NDArray

SUFFIXES = (".png", ".svg")

_PANEL_INCHES = 4.6
_MOST_PANELS = 24
"""A picture of more could not be read."""

_OUTLINE = "#b03a2e"
_GREY = "#e9e7e2"


def heat_map(
    coverages: Sequence[Coverage],
    suffix: str,
    *,
    among: Collection[Note] = tuple(Note),
    title: str = "",
) -> bytes:
    """Return the picture's file contents.

    Parameters
    ----------
    coverages:
        At least one.
    suffix:
        `.png` or `.svg`.
    among:
        The notes in question: these are drawn, and others that are played all the same.
    title:
        Stands over the whole; may be empty.

    Raises
    ------
    RungwiseError
        For another suffix, and for nothing to draw.
    """
    check_suffix(Path(f"map{suffix}"))
    if not coverages:
        raise failure(
            "there are no movements and no gracenotes to draw", "choose an exercise that has some"
        )
    import matplotlib as mpl
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    shown = coverages[:_MOST_PANELS]
    columns = min(3, len(shown))
    rows = math.ceil(len(shown) / columns)
    # Text stays text in the SVG; a fixed salt keeps its ids, and so the file, the same every time.
    with mpl.rc_context({"svg.fonttype": "none", "svg.hashsalt": "rungwise", "font.size": 9}):
        figure = Figure(
            figsize=(_PANEL_INCHES * columns, _PANEL_INCHES * rows + 0.5), layout="constrained"
        )
        FigureCanvasAgg(figure)
        if title:
            # A teacher's dollar signs are no formulas.
            figure.suptitle(title, parse_math=False)
        axes = figure.subplots(rows, columns, squeeze=False).ravel()
        for axis in axes[len(shown) :]:
            axis.set_visible(False)
        for axis, coverage in zip(axes, shown, strict=False):
            _draw(axis, coverage, among)
        content = io.BytesIO()
        figure.savefig(
            content, format=suffix[1:], dpi=150, metadata={"Date": None} if suffix == ".svg" else {}
        )
    return content.getvalue()


def check_suffix(path: Path) -> None:
    """Raise a `RungwiseError` unless the path ends like a picture that can be written."""
    if path.suffix.lower() not in SUFFIXES:
        raise failure(
            f"pictures that end in {path.suffix!r} are not written",
            "name a file that ends in .png or .svg",
            file=str(path),
        )


def _notes_drawn(coverage: Coverage, among: Collection[Note]) -> list[Note]:
    """Both axes have the same notes, so that the diagonal is where nothing moves."""
    played = {note for approach in coverage.counts for note in approach if note is not None}
    return [note for note in Note if note in among or note in played]


def _counts(coverage: Coverage, notes: Sequence[Note]) -> NDArray[Any]:
    """How often each approach is played, (before, note); not a number where it cannot be."""
    import numpy as np

    at = {note: index for index, note in enumerate(notes)}
    counts = np.full((len(notes), len(notes)), np.nan)
    for before, note in coverage.possible:
        counts[at[before], at[note]] = 0
    for (coming_from, note), count in coverage.counts.items():
        if coming_from is not None:
            counts[at[coming_from], at[note]] = count
    return counts


def _draw(axis: Any, coverage: Coverage, among: Collection[Note]) -> None:
    import numpy as np
    from matplotlib.patches import Rectangle

    notes = _notes_drawn(coverage, among)
    counts = _counts(coverage, notes)
    most = max(1.0, float(np.nanmax(counts)) if not np.isnan(counts).all() else 1.0)
    axis.set_facecolor(_GREY)
    axis.imshow(counts, origin="lower", cmap="YlGnBu", vmin=0, vmax=most * 1.25)
    for before, note in np.argwhere(~np.isnan(counts)):
        count = int(counts[before, note])
        if count:
            ink = "white" if count > 0.6 * most * 1.25 else "black"
            axis.text(note, before, str(count), ha="center", va="center", color=ink)
    for before, note in coverage.missing:
        left, bottom = notes.index(note) - 0.42, notes.index(before) - 0.42
        axis.add_patch(
            Rectangle((left, bottom), 0.84, 0.84, fill=False, edgecolor=_OUTLINE, lw=1.4)
        )
    labels = [note.label for note in notes]
    axis.set_xticks(range(len(notes)), labels, rotation=45, ha="right")
    axis.set_yticks(range(len(notes)), labels)
    axis.set_xticks(np.arange(-0.5, len(notes)), minor=True)
    axis.set_yticks(np.arange(-0.5, len(notes)), minor=True)
    axis.grid(which="minor", color="white", linewidth=1)
    axis.tick_params(which="both", length=0)
    axis.spines[:].set_visible(False)
    axis.set_xlabel("on this note")
    axis.set_ylabel("coming from")
    total = len(coverage.possible)
    subtitle = f"{coverage.covered} of {total} ways in" if total else "not in the book"
    axis.set_title(f"{coverage.ornament}: {subtitle}", parse_math=False)
