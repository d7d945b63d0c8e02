"""Modes, noise and contacts to struck sounds: metronome clicks and the pipe band's snare drum.

A stroke begins at frame 0 and has its peak within the first few milliseconds, so that it can be
placed to the frame. Full scale is 1, times in seconds, decay times are to -60 dB.
"""

import random
from collections.abc import Callable

import numpy as np
import numpy.typing as npt

from renderer.sound.synthesis.voice_tables import StrokeTable
from renderer.sound.units import db_to_gain

Floats = npt.NDArray[np.float64]

DECAY_NEPERS = float(np.log(1000.0))  # 60 dB
RISE_S = 0.0003  # a contact is not instantaneous; also keeps the onset free of high partials
FADE_S = 0.01
STRUCK_S = 0.02  # what the level of a stroke is measured over
SKIRT_OCTAVES = 1.0  # of noise, inside its band


def stroke_frames(stroke: StrokeTable, rate_hz: int, highest_hz: float) -> Floats:
    """The frames of one stroke, at the level that its table asks for."""
    count = round(stroke.length_s * rate_hz)
    frames = np.zeros(count)
    for number, (time_s, hit_db) in enumerate(stroke.hits):
        start = round(time_s * rate_hz)
        contact = _contact(stroke, number, count - start, rate_hz, highest_hz)
        frames[start:] += db_to_gain(hit_db) * contact
    fade = round(FADE_S * rate_hz)
    frames[-fade:] *= 0.5 + 0.5 * np.cos(np.pi * (np.arange(fade) + 1) / fade)
    struck = frames[: round(STRUCK_S * rate_hz)]
    frames *= db_to_gain(stroke.level_dbfs) / np.sqrt(np.mean(struck**2))
    return frames


def _contact(
    stroke: StrokeTable, number: int, count: int, rate_hz: int, highest_hz: float
) -> Floats:
    times_s = np.arange(count) / rate_hz
    decaying_s = np.maximum(times_s - stroke.hold_s, 0.0)
    draw = random.Random(f"{stroke.name}, contact {number}").random
    frames = np.zeros(count)
    for mode_hz, level_db, decay_s in stroke.modes:
        amplitude = db_to_gain(level_db) * np.exp(-DECAY_NEPERS * decaying_s / decay_s)
        frames += amplitude * np.sin(2.0 * np.pi * mode_hz * times_s)
    for low_hz, high_hz, level_db, decay_s in stroke.noise:
        amplitude = db_to_gain(level_db) * np.exp(-DECAY_NEPERS * times_s / decay_s)
        frames += amplitude * _noise(draw, count, (low_hz, min(high_hz, highest_hz)), rate_hz)
    rise = round(RISE_S * rate_hz)
    frames[:rise] *= 0.5 - 0.5 * np.cos(np.pi * np.arange(rise) / rise)
    return frames


def _noise(
    draw: Callable[[], float], count: int, band_hz: tuple[float, float], rate_hz: int
) -> Floats:
    """Noise of rms 1 between two frequencies, with soft skirts inside them."""
    white = np.array([2.0 * draw() - 1.0 for _ in range(count)])
    spectrum = np.fft.rfft(white)
    octaves = np.log2(np.maximum(np.fft.rfftfreq(count, 1.0 / rate_hz), 1.0))
    low, high = np.log2(band_hz)
    skirt = np.minimum(octaves - low, high - octaves) / SKIRT_OCTAVES
    spectrum *= 0.5 - 0.5 * np.cos(np.pi * np.clip(skirt, 0.0, 1.0))
    noise = np.fft.irfft(spectrum, count)
    noise /= np.sqrt(np.mean(noise**2))
    return noise
