"""Frequencies and amplitudes of partials to loudness in LUFS (ITU-R BS.1770-4).

Worked out on the partials themselves, so that notes can be brought to one loudness before
there are any samples. A peak amplitude of 1 is full scale.
"""

import numpy as np
import numpy.typing as npt

# ITU-R BS.1770-4, tables 1 and 2: the two filters at 48 kHz, and the offset of its formula 2.
_FILTER_RATE_HZ = 48000.0
_SHELF = (
    (1.53512485958697, -2.69169618940638, 1.19839281085285),
    (1.0, -1.69065929318241, 0.73248077421585),
)
_HIGH_PASS = ((1.0, -2.0, 1.0), (1.0, -1.99004745483398, 0.99007225036621))
_OFFSET_LUFS = -0.691


def loudness_of_partials_lufs(
    partials_hz: npt.NDArray[np.floating], amplitudes: npt.NDArray[np.floating]
) -> float:
    """Loudness of steady partials in one channel; both arrays are of shape (partials,)."""
    delay = np.exp(-2j * np.pi * partials_hz / _FILTER_RATE_HZ)
    gain = np.ones(len(partials_hz))
    for numerator, denominator in (_SHELF, _HIGH_PASS):
        gain *= np.abs(np.polyval(numerator[::-1], delay) / np.polyval(denominator[::-1], delay))
    power = np.sum((gain * amplitudes) ** 2) / 2.0
    return float(_OFFSET_LUFS + 10.0 * np.log10(power))
