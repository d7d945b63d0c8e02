"""Whether the beat is heard through the track and a learner's own chanter, by third octaves.

The masker is the track's chanter and drones and, beside them, the learner: the same chanter 6 dB
louder, its power added. A click is heard where one third octave of its first 20 ms stands out.
Bands: IEC 61260-1, base 2, hard edges.
"""

from __future__ import annotations

from itertools import pairwise, product

import numpy as np
import pytest
from numpy.typing import NDArray

from renderer.notation.pitch import Note
from renderer.order.tracks import expand
from renderer.sound.balance import balance, drone_channels, drones_loop
from renderer.sound.mix_settings import Layout
from renderer.sound.tuning import Chanter
from renderer.timing.timeline import ClickKind
from tests.sound.playing import doubled, exercise, instrument, mixing

RATE = 44_100
WINDOW = round(0.02 * RATE)
LEARNER_POWER = 10 ** (6 / 10)
CENTRES_HZ = 1_000 * 2.0 ** (np.arange(-6, 13) / 3)
TUNE = exercise(doubled(Note.LOW_A, Note.B, Note.C, Note.E))


def band_powers(sound: NDArray[np.float32], over_frames: int) -> NDArray[np.float64]:
    """Mean square of each third octave, of a sound that lies within `over_frames`."""
    spectrum = np.abs(np.fft.rfft(sound)) ** 2 * 2 / len(sound) / over_frames
    hz = np.fft.rfftfreq(len(sound), 1 / RATE)
    return np.array(
        [
            spectrum[(hz >= centre * 2 ** (-1 / 6)) & (hz < centre * 2 ** (1 / 6))].sum()
            for centre in CENTRES_HZ
        ]
    )


@pytest.mark.parametrize(
    ("chanter", "pitch", "scale", "layout"),
    [
        *product(Chanter, ("425", "A", "B flat", "478", "490"), ("harmonic",), (Layout.MONO,)),
        *product(Chanter, ("478",), ("MacNeill", "equal"), (Layout.MONO, Layout.STEREO)),
    ],
)
def test_every_click_is_heard_through_every_note(
    chanter: Chanter, pitch: str, scale: str, layout: Layout
) -> None:
    sounding = instrument(pitch, scale, chanter)
    levels = balance(expand(TUNE), sounding, mixing(layout=layout))
    loop = drones_loop(drone_channels(sounding.drones, layout), levels.gains.drones)
    drones = band_powers(loop[:, 0], len(loop))
    for note, tone in levels.tones.items():
        playing = band_powers(tone.samples[:, 0], len(tone.samples))
        masker = playing * (1 + LEARNER_POWER) + drones
        for kind, least_db in (
            (ClickKind.ACCENT, 10),
            (ClickKind.BEAT, 10),
            (ClickKind.SUBDIVISION, 4),
        ):
            click = np.zeros(8 * WINDOW, np.float32)
            sound = levels.clicks[kind][:WINDOW, 0]
            click[: len(sound)] = sound
            over_db = 10 * np.log10(band_powers(click, WINDOW) / masker)
            assert over_db.max() >= least_db, f"{kind} under {note}"


def test_clicks_are_told_apart_by_pitch_and_by_level() -> None:
    clicks = instrument().percussion.clicks
    order = [ClickKind.SUBDIVISION, ClickKind.BEAT, ClickKind.ACCENT]
    energies = [clicks[kind].energy for kind in order]
    strongest = []
    for kind in order:
        spectrum = np.abs(np.fft.rfft(clicks[kind].samples, 8 * WINDOW)) ** 2
        hz = np.fft.rfftfreq(8 * WINDOW, 1 / RATE)
        heard = (hz > 2_800) & (hz < 7_000)
        # By ear the part under 7 kHz, which those hear who lack the top.
        strongest.append(float(hz[heard][np.argmax(spectrum[heard])]))
    for softer, louder in pairwise(energies):
        assert 10 * np.log10(louder / softer) >= 0.7
    for lower, higher in pairwise(strongest):
        assert higher / lower >= 1.15
