"""The tables that the SoundFont is computed from, against published acoustics.

Each test names its source. What has no published figure is marked as judgement in
`soundfonts/README.md` and is not tested here.
"""

import numpy as np
import pytest
from scipy.special import jn_zeros

from renderer.sound.synthesis.tones import loudness_of_partials_lufs, note_partials
from renderer.sound.synthesis.voice_tables import read_voice_tables
from renderer.sound.units import key_to_hz

TABLES = read_voice_tables()
TONES = {tone.name: tone for tone in TABLES.tones}
STROKES = {stroke.name: stroke for stroke in TABLES.strokes}


@pytest.mark.parametrize("name", ["Snare right", "Snare left"])
def test_the_drums_modes_stand_in_the_ratios_of_an_ideal_membrane(name: str) -> None:
    # Theory of the ideal circular membrane: mode (m, n) at the n-th zero of the Bessel function
    # J_m. The first six in order are 01, 11, 21, 02, 31, 12. The mode after them is the stick's.
    zeros = [jn_zeros(m, n)[n - 1] for m, n in ((0, 1), (1, 1), (2, 1), (0, 2), (3, 1), (1, 2))]
    modes_hz = [mode[0] for mode in STROKES[name].modes[:6]]
    assert np.array(modes_hz) / modes_hz[0] == pytest.approx(np.array(zeros) / zeros[0], rel=0.005)


def test_the_thirtieth_partial_of_the_bass_drone_still_stands_out() -> None:
    # E. Macpherson, Pipe tuning measurement method (web page, University of Western Ontario):
    # in a recording of a full set, the 30th harmonic of the lowest drone, just above 3.5 kHz, is
    # a clear isolated peak.
    partials = note_partials(TONES["Bass drone"], 0, TABLES.rate_hz, 19000.0)
    levels_db = 20.0 * np.log10(partials.amplitudes / partials.amplitudes.max())
    assert levels_db[partials.orders == 30][0] > -35.0


@pytest.mark.parametrize("name", ["Practice chanter", "Pipe chanter"])
def test_the_chanters_high_notes_are_a_little_quieter_than_the_low_ones(name: str) -> None:
    # A. R. Carruthers, The acoustical environment of the Highland bagpipe out of doors, part 2:
    # the higher notes of the chanter are quieter than the low ones. He gives no figure there, and
    # less than the 2 LU that let a note jump out is kept to.
    tone = TONES[name]
    heard_lufs = []
    for index, key in enumerate(tone.keys):
        partials = note_partials(tone, index, TABLES.rate_hz, 19000.0)
        heard_lufs.append(
            loudness_of_partials_lufs(partials.orders * key_to_hz(key), partials.amplitudes)
        )
    assert np.all(np.diff(heard_lufs) < 0.001)
    assert 0.2 < heard_lufs[0] - heard_lufs[-1] < 2.0


def test_the_tenor_drones_fundamental_is_its_strongest_partial() -> None:
    # Effect of drone reed material on great highland bagpipe sound (HAL hal-01341956): listeners
    # preferred tenor drones with a strong fundamental and less energy in the higher harmonics.
    partials = note_partials(TONES["Tenor drone"], 0, TABLES.rate_hz, 19000.0)
    assert int(partials.orders[np.argmax(partials.amplitudes)]) == 1
    high = partials.orders * 220.0 > 3000.0
    assert np.sum(partials.amplitudes[high] ** 2) < 0.02 * np.sum(partials.amplitudes**2)
