"""What is no chanter: speech and music made of sines and of other instruments, for tests."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from tests.listening.presets import FLUID, played

Samples = NDArray[np.float32]
RATE = 44_100


def speech_like(seconds: float = 20.0, *, seed: int = 1, hz: float = 130.0) -> Samples:
    """Syllables with a voice that glides and formants that move, and hisses between them."""
    rng = np.random.default_rng(seed)
    parts: list[NDArray[np.float64]] = []
    total = 0
    while total < seconds * RATE:
        frames = int(rng.uniform(0.08, 0.35) * RATE)
        t = np.linspace(0, 1, frames)
        if rng.random() < 0.3:
            part = rng.normal(0, 0.03, frames)
        else:
            begin, end = hz * 2 ** rng.normal(0, 0.25, 2)
            phase = 2 * np.pi * np.cumsum(begin + (end - begin) * t) / RATE
            formants = (rng.uniform(300, 800), rng.uniform(900, 2200), 2700.0)
            part = np.zeros(frames)
            for k in range(1, 30):
                level = sum(1 / (1 + ((k * begin - f) / 120) ** 2) for f in formants)
                part += level * np.sin(k * phase) / k**0.5
            part *= np.sin(np.pi * t) ** 0.5 * 0.1
        parts += [part, np.zeros(int(rng.uniform(0.0, 0.2) * RATE))]
        total += len(parts[-1]) + frames
    sound = np.concatenate(parts)
    return (sound + rng.normal(0, 0.001, len(sound))).astype(np.float32)


def piano_chords(program: int = 0) -> Samples:
    """A cadence in C, over and over."""
    chords = ([48, 60, 64, 67], [41, 60, 65, 69], [43, 59, 62, 67], [48, 60, 64, 72])
    return played([(chord, 0.8) for chord in chords] * 6, program, soundfont=FLUID)


def melody(program: int, *, lowest: int = 60) -> Samples:
    """Two octaves up and down in C major and some chromatic steps, on one instrument."""
    rng = np.random.default_rng(3)
    steps = [0, 2, 4, 5, 7, 9, 11, 12, 14, 16, 17, 19, 21, 23, 24]
    keys = [lowest + s for s in (*steps, *reversed(steps))]
    keys += [int(lowest + rng.integers(25)) for _ in range(30)]
    return played([([key], 0.45) for key in keys], program, soundfont=FLUID)


def noise(seconds: float = 20.0) -> Samples:
    return np.random.default_rng(0).normal(0, 0.1, int(seconds * RATE)).astype(np.float32)
