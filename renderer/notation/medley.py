"""Several exercises as one: tunes that are played one after the other, each as it is by itself.

Every tune keeps its tempo (a mark at its beginning), its meter, its repeats, the lengths of its
movements, where its gracenotes lie and the order of its parts. What it has beside its music becomes
a line of the medley's notes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from renderer.errors import failure
from renderer.notation.limits import LONGEST_TEXT, MOST_LINES
from renderer.notation.score import Exercise, Line


def medley_of(title: str, tunes: Sequence[Exercise]) -> Exercise:
    """Return tunes as one exercise.

    Parameters
    ----------
    title:
        Of the medley.
    tunes:
        At least one; each may be a medley itself, whose tunes are taken over.

    Returns
    -------
    An exercise at the first tune's tempo.

    Raises
    ------
    RungwiseError
        For more lines than an exercise may have.
    """
    first = tunes[0]
    lines: list[Line] = []
    order: list[int] = []
    notes: list[str] = []
    remarks = [remark for tune in tunes for remark in tune.remarks]
    for tune in tunes:
        begin = len(lines)
        lines += _lines(tune, first)
        order += [begin + line for line in tune.order or range(1, len(tune.lines) + 1)]
        about = ", ".join(filter(None, (tune.tune_type, tune.composer, tune.origin)))
        notes += [f"{tune.title}: {about}"] * bool(about) + tune.notes.splitlines()
    if len(lines) > MOST_LINES:
        raise failure(
            f"the medley has {len(lines)} lines", f"take fewer tunes; at most {MOST_LINES}"
        )
    return Exercise(
        title=title,
        lines=tuple(lines),
        tempo=first.tempo,
        gracenotes=first.gracenotes,
        inner=first.inner,
        beat=first.beat,
        audience=first.audience if len({tune.audience for tune in tunes}) == 1 else "",
        notes="\n".join(notes)[:LONGEST_TEXT],
        order=() if order == list(range(1, len(lines) + 1)) else tuple(order),
        remarks=tuple(dict.fromkeys(remarks)),
        played_once=first.played_once,
    )


def _lines(tune: Exercise, first: Exercise) -> list[Line]:
    """A tune's lines, saying themselves what the medley does not say as the tune did."""
    inner = None if tune.inner == first.inner else tune.inner
    beat = None if tune.beat == first.beat else tune.beat
    own = tune.gracenotes.length
    gracenote = None if own == first.gracenotes.length else own
    placed = tune.gracenotes.placement
    placement = None if placed == first.gracenotes.placement else placed
    lines = [
        replace(
            line,
            inner=inner if line.inner is None else line.inner,
            beat=beat if line.beat is None else line.beat,
            gracenote=gracenote if line.gracenote is None else line.gracenote,
            placement=placement if line.placement is None else line.placement,
        )
        for line in tune.lines
    ]
    opening, *rest = lines[0].bars
    mark = opening.tempo or (None if tune is first else tune.tempo)
    bars = (replace(opening, tempo=mark), *rest)
    lines[0] = replace(lines[0], bars=bars, tune=lines[0].tune or tune.title)
    return lines
