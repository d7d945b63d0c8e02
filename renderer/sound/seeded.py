"""Numbers that look random and are the same everywhere: whole numbers of 32 bits, mixed.

`mixed` is five operations on unsigned 32-bit numbers, so that a program in another language repeats
it bit by bit; in JavaScript, with `x >>>= 0` before each shift and `Math.imul` for each product:

    x ^= x >>> 16; x = Math.imul(x, 0x7feb352d)
    x ^= x >>> 15; x = Math.imul(x, 0x846ca68b)
    x ^= x >>> 16

Shifts and factors: C. Wellons, Prospecting for Hash Functions (2018), `lowbias32`, public domain.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

_MASK = 0xFFFF_FFFF


def mixed(number: int) -> int:
    """Return a number of 32 bits that depends on every bit of `number`, modulo 2^32."""
    x = number & _MASK
    x = ((x ^ (x >> 16)) * 0x7FEB352D) & _MASK
    x = ((x ^ (x >> 15)) * 0x846CA68B) & _MASK
    return x ^ (x >> 16)


def share(number: int) -> float:
    """Return a number from 0 up to 1 that belongs to `number`."""
    return mixed(number) / 2**32


def turns(seed: int, count: int) -> NDArray[np.float64]:
    """Return the shares that belong to `seed` times 2^16 and the numbers after it, shape (count,).

    Parameters
    ----------
    seed:
        0 to 65,535; rows of different seeds share no number up to a count of 65,536.
    count:
        How many.
    """
    x = (np.arange(count, dtype=np.uint64) + np.uint64(seed << 16)) & np.uint64(_MASK)
    x = ((x ^ (x >> np.uint64(16))) * np.uint64(0x7FEB352D)) & np.uint64(_MASK)
    x = ((x ^ (x >> np.uint64(15))) * np.uint64(0x846CA68B)) & np.uint64(_MASK)
    return np.asarray((x ^ (x >> np.uint64(16))) / 2**32, np.float64)
