"""The tempo ladder: from a ladder as written to the tempos of its rungs, in beats per minute."""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction

from renderer.notation.score import Ladder
from renderer.notation.tempo import exact_tempo


def rungs(ladder: Ladder | None, tempo: Fraction) -> tuple[Fraction, ...]:
    """Return the ladder's tempos in practice order.

    Parameters
    ----------
    ladder:
        The ladder as written; None stands for one rung at `tempo`.
    tempo:
        The target tempo that per cents refer to.

    Raises
    ------
    RungwiseError
        If a rung is out of range.
    """
    tempos: Iterable[Fraction]
    if ladder is None:
        tempos = (tempo,)
    elif ladder.percent:
        tempos = (tempo * share / 100 for share in ladder.tempos)
    else:
        tempos = ladder.tempos
    return tuple(exact_tempo(rung) for rung in tempos)
