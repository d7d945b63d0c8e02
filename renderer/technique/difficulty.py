"""How hard a line is on the fingers: finger changes in, one number out.

Every change adds points for each `Causes` that it has; a line's difficulty is its points divided
by its beats, so that a long line is not harder than a short one for its length alone. More of any
cause in the same beats always makes a line harder. The points of each cause are in
`fingering.toml` under `[difficulty]`; they are a judgement of this project, there to put lines in
order, and stand for nothing that could be measured. Tempo does not enter.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable
from dataclasses import dataclass, fields
from fractions import Fraction
from functools import cache
from importlib import resources

from renderer.technique.fingering import Change, big_change, safe_hold


@dataclass(frozen=True, slots=True)
class Causes:
    """How often each cause of difficulty occurs; all counts.

    Parameters
    ----------
    finger:
        Fingers that move, over all changes.
    both_hands:
        Changes that both hands take part in.
    gracenote:
        Gracenotes.
    crossing_noise:
        Changes in which a low note may sound between.
    silent_finger:
        Fingers that must move unheard and are easily forgotten.
    missing_hold:
        Fingers missing to a safe hold, over all changes.
    big_change:
        Fingers of big changes from the limit on (4 fingers count 1, 5 count 2).
    choke:
        G gracenotes on low G.
    """

    finger: int = 0
    both_hands: int = 0
    gracenote: int = 0
    crossing_noise: int = 0
    silent_finger: int = 0
    missing_hold: int = 0
    big_change: int = 0
    choke: int = 0

    @property
    def counts(self) -> tuple[int, ...]:
        """The counts in the order of the fields."""
        return tuple(getattr(self, name) for name in _NAMES)


_NAMES = tuple(field.name for field in fields(Causes))


@cache
def _points() -> Causes:
    text = (resources.files(__package__) / "fingering.toml").read_text(encoding="utf-8")
    return Causes(**tomllib.loads(text)["difficulty"])


def points_of(causes: Causes) -> dict[str, int]:
    """Return the points that each cause adds, by its name, the largest first."""
    weighed = zip(_NAMES, causes.counts, _points().counts, strict=True)
    rows = {name: count * points for name, count, points in weighed}
    return dict(sorted(rows.items(), key=lambda row: -row[1]))


def causes_of(changes: Iterable[Change]) -> Causes:
    """Count what makes a succession of finger changes hard."""
    counts = [_causes(change).counts for change in changes]
    return Causes(*map(sum, zip(*counts, strict=True))) if counts else Causes()


@cache
def _causes(change: Change) -> Causes:
    return Causes(
        finger=len(change.moved),
        both_hands=int(len(change.hands) == 2),
        gracenote=int(change.gracenote is not None),
        crossing_noise=int(change.crossing is not None),
        silent_finger=len(change.easily_forgotten),
        missing_hold=max(0, safe_hold() - change.loosest),
        big_change=max(0, len(change.travelling) - big_change() + 1),
        choke=int(change.chokes),
    )


def difficulty(causes: Causes, beats: Fraction) -> float:
    """Return points a beat: 0 for a held note, about 10 and more for hard lines.

    Parameters
    ----------
    causes:
        What the line has.
    beats:
        How long it is; above 0.

    Raises
    ------
    ValueError
        If `beats` is not above 0.
    """
    if beats <= 0:
        raise ValueError(f"a line lasts more than 0 beats, not {beats}")
    return float(sum(points_of(causes).values()) / beats)
