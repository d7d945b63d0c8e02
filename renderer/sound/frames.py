"""The one place where time becomes frames: exact seconds to the number of a sample frame."""

from __future__ import annotations

from fractions import Fraction

LOWEST_RATE = 8_000
HIGHEST_RATE = 192_000
"""Sample rates in frames a second that tracks can be rendered at, both included."""


def frame_at(time: Fraction, rate: int) -> int:
    """Return the frame nearest to `time` seconds, a half rounded up.

    Frames always come from times counted from the start of the track, never from adding lengths
    up, so that nothing drifts however long the track.
    """
    # floor(time * rate + 1/2) in whole numbers: a tenth of the cost of Fraction arithmetic.
    return (2 * time.numerator * rate + time.denominator) // (2 * time.denominator)
