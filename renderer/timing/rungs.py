"""The tempo ladder: from a ladder as written to the tempos of its rungs, in beats per minute."""

from __future__ import annotations

from fractions import Fraction

from renderer.notation.score import Ladder
from renderer.timing.expand import check_tempo


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
    tempos: tuple[Fraction, ...]
    if ladder is None:
        tempos = (tempo,)
    elif ladder.percent:
        tempos = tuple(tempo * share / 100 for share in ladder.tempos)
    else:
        tempos = ladder.tempos
    for rung in tempos:
        check_tempo(rung)
    return tempos
