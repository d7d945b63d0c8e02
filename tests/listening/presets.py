"""Instruments of SoundFonts, played by FluidSynth in known tunings: sound that is not ours."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

Samples = NDArray[np.float32]

FLUID = Path("/usr/share/sounds/sf2/FluidR3_GM.sf2")
"""Debian's package `fluid-soundfont-gm`."""
RATE = 44_100
_BEND_SEMITONES = 2


def played(
    notes: Sequence[tuple[Sequence[float], float]],
    program: int,
    *,
    soundfont: Path = FLUID,
    velocity: int = 100,
    channels: int = 8,
) -> Samples:
    """Play chords one after the other.

    Parameters
    ----------
    notes:
        Keys that sound together, fractional (69 is A at 440 Hz), and their length in seconds.
    program:
        Of General MIDI, from 0.
    """
    synth, font = _synth(float(RATE), soundfont)
    for channel in range(channels):
        synth.program_select(channel, font, 0, program)
        synth.cc(channel, 101, 0)
        synth.cc(channel, 100, 0)
        synth.cc(channel, 6, _BEND_SEMITONES)
    blocks = []
    for keys, seconds in notes:
        struck = []
        for channel, key in enumerate(keys):
            whole = round(key)
            # FluidSynth cuts bends to whole cents: a little more than the cents that are meant.
            cents = round(100 * (key - whole)) + 0.05
            synth.pitch_bend(channel, round(cents / 100 / _BEND_SEMITONES * 8192))
            synth.noteon(channel, whole, velocity)
            struck.append((channel, whole))
        blocks.append(synth.get_samples(round(seconds * RATE)))
        for channel, whole in struck:
            synth.noteoff(channel, whole)
    synth.delete()
    return _mono(np.concatenate(blocks))


def played_off(key: int, cents: float, seconds: float, program: int) -> Samples:
    """Play a note of FluidR3 at exactly so many cents more than the preset has it.

    FluidSynth cuts every pitch to whole cents. So it plays the key at another rate than `RATE`, at
    which its samples are then taken to be: that moves it by the ratio of the two, and exactly.
    """
    synth, font = _synth(RATE * 2 ** (-cents / 1200), FLUID)
    synth.program_select(0, font, 0, program)
    synth.noteon(0, key, 100)
    sound = _mono(synth.get_samples(round(seconds * RATE)))
    synth.delete()
    return sound


def _synth(rate: float, soundfont: Path) -> tuple[Any, int]:
    """Return a synthesiser without reverberation and chorus, and its number of the SoundFont."""
    import fluidsynth

    synth = fluidsynth.Synth(gain=0.5, samplerate=rate)
    synth.setting("synth.reverb.active", 0)
    synth.setting("synth.chorus.active", 0)
    # Only the samples that sound: the whole of FluidR3 is 140 MB.
    synth.setting("synth.dynamic-sample-loading", 1)
    return synth, synth.sfload(str(soundfont))


def _mono(sound: NDArray[np.int16]) -> Samples:
    stereo = sound.astype(np.float32).reshape(-1, 2) / 32768
    return np.asarray(stereo.mean(axis=1), np.float32)
