"""Vibrato out of a tone: a chanter has none, and a gracenote would catch it at any moment.

The phase of the tone's strongest low partial is followed through time, and the tone is replayed at
a speed that makes it advance evenly. Mean pitch stays what it was. Samples are arrays (frames,).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from renderer.sound.steady import Samples

_PARTIALS = 4
_WIDEST_HZ = 60.0
_WIDEST_SHARE = 0.4
_EDGE_S = 0.05
REACH = 24
"""How many frames on either side a value between frames is made of."""


def without_vibrato(tone: Samples, hz: float, rate: int) -> tuple[Samples, float]:
    """Return the tone at an even pitch, a tenth of a second shorter, and how deep its vibrato was.

    Parameters
    ----------
    tone:
        A held tone.
    hz:
        Its pitch within a few per cent.
    rate:
        Frames a second.

    Returns
    -------
    tuple of tone and float
        The depth is half the span of the pitch, in cents.
    """
    spectrum = np.fft.fft(tone.astype(np.float64))
    at_hz = np.fft.fftfreq(len(tone), 1 / rate)
    width = min(_WIDEST_SHARE * hz, _WIDEST_HZ)

    def band(order: int) -> NDArray[np.complex128]:
        away = np.abs(at_hz - order * hz) / width
        weight = np.cos(0.5 * np.pi * np.minimum(away, 1.0)) ** 2
        return np.asarray(spectrum * weight, np.complex128)

    bands = [band(order) for order in range(1, _PARTIALS + 1)]
    strongest = int(np.argmax([float(np.sum(np.abs(one) ** 2)) for one in bands]))
    phase = np.unwrap(np.angle(np.fft.ifft(bands[strongest])))

    edge = round(_EDGE_S * rate)
    frames = np.arange(edge, len(tone) - edge)
    inner = np.maximum.accumulate(phase[edge:-edge])
    even = np.linspace(inner[0], inner[-1], len(inner))
    places = np.interp(even, inner, frames)

    smooth = rate // 50
    speed = (inner[smooth:] - inner[:-smooth]) / smooth
    cents = 1200 * np.log2(speed / np.median(speed))
    depth = float(np.percentile(cents, 95) - np.percentile(cents, 5)) / 2
    return read_between(tone, places).astype(np.float32), depth


def read_between(tone: Samples, places: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return a tone's values between its frames, each by the frames around it.

    The error is under -80 dB of the tone below a quarter of the rate (tested).

    Parameters
    ----------
    tone:
        Samples.
    places:
        In frames, at least `REACH` from both ends.
    """
    first = np.floor(places).astype(int)
    values = np.zeros(len(places))
    for step in range(1 - REACH, REACH + 1):
        away = places - (first + step)
        # Shannon's interpolation under a Hann window.
        values += tone[first + step] * np.sinc(away) * np.cos(0.5 * np.pi * away / REACH) ** 2
    return values
