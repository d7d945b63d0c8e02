"""Vibrato out of a tone: a chanter has none, and a gracenote would catch it at any moment.

The phase of the tone's strongest low partial is followed through time, and the tone is replayed at
a speed that makes it advance evenly. Mean pitch stays what it was. Samples are arrays (frames,).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from renderer.sound.steady import Samples, smooth_length

_PARTIALS = 4
_WIDEST_HZ = 60.0
_WIDEST_SHARE = 0.4
_EDGE_S = 0.05
REACH = 24
"""How many frames on either side a value between frames is made of."""
_AT_A_TIME = 16_384


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
    # Lengths with large prime factors take ten times as long to transform.
    tone = tone[: smooth_length(len(tone))]
    spectrum = np.fft.rfft(tone.astype(np.float64))
    hz_per_bin = rate / len(tone)
    width = min(_WIDEST_SHARE * hz, _WIDEST_HZ)

    def band(order: int) -> tuple[slice, NDArray[np.complex128]]:
        lowest, highest = (round((order * hz + side * width) / hz_per_bin) for side in (-1, 1))
        away = (np.arange(lowest, highest) * hz_per_bin - order * hz) / width
        weight = np.cos(0.5 * np.pi * np.clip(away, -1.0, 1.0)) ** 2
        at = slice(lowest, highest)
        return at, np.asarray(spectrum[at] * weight[: len(spectrum[at])], np.complex128)

    bands = [band(order) for order in range(1, _PARTIALS + 1)]
    at, heard = max(bands, key=lambda one: float(np.sum(np.abs(one[1]) ** 2)))
    alone = np.zeros(len(tone), np.complex128)
    alone[at] = heard
    phase = np.unwrap(np.angle(np.fft.ifft(alone)))

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
    values = np.empty(len(places))
    for at in range(0, len(places), _AT_A_TIME):
        values[at : at + _AT_A_TIME] = _between(tone, places[at : at + _AT_A_TIME])
    return values


def _between(tone: Samples, places: NDArray[np.float64]) -> NDArray[np.float64]:
    """Interpolate as Shannon does, under a Hann window.

    Of both functions the part that a place has is worked out once: the sine of `sinc` only changes
    its sign from frame to frame, and the window is a cosine of a sum.
    """
    first = np.floor(places).astype(int)
    within = np.maximum(places - first, 1e-9)
    cosine, sine = (turn(np.pi * within / REACH) / 2 for turn in (np.cos, np.sin))
    total = np.zeros(len(places))
    for step in range(1 - REACH, REACH + 1):
        turned = np.pi * step / REACH
        window = 0.5 + cosine * np.cos(turned) + sine * np.sin(turned)
        sign = -1.0 if step % 2 else 1.0
        total += tone[first + step] * window * (sign / (within - step))
    between = total * np.sin(np.pi * within) / np.pi
    return np.asarray(np.where(places == first, tone[first], between), np.float64)
