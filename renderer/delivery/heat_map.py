"""Coverage as a picture: a panel a movement, how often each note is approached from each.

Rows are the note before, columns the melody note. The darker, the more often, on one scale for all
panels, which stands under them with what else there is to be told apart. A possible approach that
is never played is outlined; one that is none is left grey.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from pathlib import Path

from renderer.delivery.charts import check_suffix, picture, text
from renderer.errors import failure
from renderer.notation.pitch import Note
from renderer.technique.coverage import Coverage

_PANEL = 330
_HEAD = 40
_FOOT = 64
_LEFT, _TOP, _GRID = 78, 40, 230
"""Points: a panel's width and height, the heights of the heading and of the key, and where in a
panel its cells lie."""

_TITLE_SIZE = 15
_LETTER = 1.0
"""Of the title, and how wide its letters are in their height at most, so that long ones fit."""

_KEY_WIDTH = 150
_KEY_HEIGHT = 14

_MOST_PANELS = 24
"""A picture of more could not be read."""

_OUTLINE = "#b03a2e"
_FRAME = "#8a867e"
_GREY = "#e9e7e2"
_PALE, _DARK = (255, 253, 224), (16, 62, 120)
"""Red, green and blue of no time at all and of the most."""


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
    shown = coverages[:_MOST_PANELS]
    columns = min(3, len(shown))
    rows = math.ceil(len(shown) / columns)
    width, height = columns * _PANEL, rows * _PANEL + _HEAD + _FOOT
    size = min(_TITLE_SIZE, (width - 20) / (_LETTER * max(1, len(title))))
    drawn = [text(width / 2, 26, title, size=size)] if title else []
    most = max(1, *(count for one in shown for count in _counts(one).values()), 1)
    for number, coverage in enumerate(shown):
        row, column = divmod(number, columns)
        # Panels of a last row that is not full stand in its middle, as the title does over all.
        missing = columns - min(columns, len(shown) - row * columns)
        left = (column + missing / 2) * _PANEL
        place = f"translate({left:g} {row * _PANEL + _HEAD})"
        drawn += [f'<g transform="{place}">', *_panel(coverage, among, most), "</g>"]
    drawn += _key(width, height - _FOOT, most)
    return picture(drawn, width, height, suffix)


def _counts(coverage: Coverage) -> dict[tuple[Note, Note], int]:
    """Return how often each way in is played, those that are possible and never played at 0."""
    counts = dict.fromkeys(coverage.possible, 0)
    for (coming_from, note), count in coverage.counts.items():
        if coming_from is not None:
            counts[coming_from, note] = count
    return counts


def _key(width: float, top: float, most: int) -> list[str]:
    """Draw what the colours mean: one scale for all panels, and the cells without a count."""
    steps = min(most, 10) + 1
    step = _KEY_WIDTH / steps
    left = width / 2 - _KEY_WIDTH / 2
    drawn = [text(left - 8, top + 22, "how often: 0", anchor="end")]
    for number in range(steps):
        look = f'fill="{_shade(number / (steps - 1))}"'
        drawn.append(_rectangle(left + number * step, top + 11, step, look, _KEY_HEIGHT))
    look = f'fill="none" stroke="{_FRAME}" stroke-width="0.6"'
    drawn.append(_rectangle(left, top + 11, _KEY_WIDTH, look, _KEY_HEIGHT))
    drawn.append(text(left + _KEY_WIDTH + 8, top + 22, str(most), anchor="start"))
    side, y = _KEY_HEIGHT, top + 36
    outlined = f'fill="{_shade(0)}" stroke="{_OUTLINE}" stroke-width="1.4"'
    for x, look, words in (
        (width / 2 - 150, outlined, "possible, never played"),
        (width / 2 + 12, f'fill="{_GREY}" stroke="{_FRAME}" stroke-width="0.6"', "no way in"),
    ):
        drawn.append(_rectangle(x, y, side, look))
        drawn.append(text(x + side + 6, y + 11, words, anchor="start"))
    return drawn


def _notes_drawn(coverage: Coverage, among: Collection[Note]) -> list[Note]:
    """Both axes have the same notes, so that the diagonal is where nothing moves."""
    played = {note for approach in coverage.counts for note in approach if note is not None}
    return [note for note in Note if note in among or note in played]


def _rectangle(x: float, y: float, width: float, look: str, height: float | None = None) -> str:
    """Return a rectangle; a square if the height is left out."""
    tall = width if height is None else height
    return f'<rect x="{x:g}" y="{y:g}" width="{width:g}" height="{tall:g}" {look}/>'


def _shade(share: float) -> str:
    mixed = (p + (d - p) * share for p, d in zip(_PALE, _DARK, strict=True))
    return "#" + "".join(f"{round(part):02x}" for part in mixed)


def _panel(coverage: Coverage, among: Collection[Note], most: int) -> list[str]:
    """Draw one movement: the note before goes up, the melody note to the right.

    `most` is the count that is darkest.
    """
    notes = _notes_drawn(coverage, among)
    side = _GRID / max(1, len(notes))
    counts = _counts(coverage)

    def corner(before: Note, note: Note) -> tuple[float, float]:
        return _LEFT + notes.index(note) * side, _TOP + _GRID - (notes.index(before) + 1) * side

    drawn = [_rectangle(_LEFT, _TOP, _GRID, f'fill="{_GREY}"')]
    for way, count in counts.items():
        if not set(way) <= set(notes):
            continue
        x, y = corner(*way)
        look = f'fill="{_shade(count / most)}" stroke="white"'
        drawn.append(_rectangle(x, y, side, look))
        if count:
            ink = "white" if count > most / 2 else "black"
            drawn.append(text(x + side / 2, y + side / 2 + 4, str(count), ink=ink))
    for way in coverage.missing:
        if set(way) <= set(notes):
            x, y = corner(*way)
            look = f'fill="none" stroke="{_OUTLINE}" stroke-width="1.4"'
            drawn.append(_rectangle(x + 0.08 * side, y + 0.08 * side, 0.84 * side, look))
    bottom = _TOP + _GRID
    for place, note in enumerate(notes):
        middle = (place + 0.5) * side
        x = _LEFT + middle
        turn = f' transform="rotate(-45 {x:g} {bottom + 22:g})"'
        drawn.append(text(x, bottom + 22, note.label, more=turn))
        drawn.append(text(_LEFT - 24, bottom - middle + 4, note.label))
    drawn.append(text(_LEFT + _GRID / 2, bottom + 46, "on this note"))
    turn = f' transform="rotate(-90 14 {_TOP + _GRID / 2:g})"'
    drawn.append(text(14, _TOP + _GRID / 2, "coming from", more=turn))
    total = len(coverage.possible)
    subtitle = f"{coverage.covered} of {total} ways in" if total else "not in the book"
    drawn.append(text(_LEFT + _GRID / 2, _TOP - 12, f"{coverage.ornament}: {subtitle}", size=12))
    return drawn
