"""The model of bore and holes against a published measurement of impedance, resonance by resonance.

Source: A. Ernoult, J. Chabassier, S. Rodriguez, A. Humeau, Full waveform inversion for bore
reconstruction of woodwind-like instruments, Acta Acustica 5 (2021) 47, doi 10.1051/aacus/2021038:
input impedances, measured at 20 degrees Celsius, of a cylinder and of a tube with four holes, no
wider than a chanter near its reed, and what the authors measured of both. The data are public, with
the library Openwind (its folder of examples of that name). The peaks below were read off them, the
logarithm of the size laid on a parabola of 13 Hz: hertz, and decibels over the wave impedance of
the tube; of the tube with holes the mean of three sessions, which differ by up to 8 cents.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from renderer.sound.acoustics.bore import AIR_DENSITY, SPEED_OF_SOUND, Bore, Hole, response

SLOWER_AT_20_DEGREES = math.sqrt(293.15 / 298.15)
"""The model's air has 25 degrees; the speed of sound goes with the root of the temperature."""

CYLINDER = Bore(0.436, 0.00195, 0.0, 0.0, ())
CYLINDER_PEAKS = (
    *((184.9, 21.3), (570.0, 16.1), (956.9, 14.0), (1345.3, 12.7), (1735.2, 11.7), (2123.4, 10.6)),
    *((2514.7, 10.0), (2904.1, 9.4), (3293.7, 8.5), (3684.8, 8.2)),
)

TUBE = Bore(
    *(0.2875, 0.002, 0.0, 0.0),
    (
        Hole(0.10, 0.0015, 0.0017, 0),
        Hole(0.13, 0.00175, 0.0013, 1),
        Hole(0.18, 0.00175, 0.0015, 2),
        Hole(0.24, 0.00125, 0.0014, 3),
    ),
)
TUBE_PEAKS = {
    "xxxx": (
        *((283.5, 22.3), (866.3, 18.3), (1449.3, 15.3), (2039.0, 13.6), (2625.6, 12.5)),
        *((3232.6, 11.5), (3794.1, 10.2)),
    ),
    "xxxo": (
        *((332.2, 22.8), (1012.0, 18.1), (1690.1, 15.5), (2367.2, 13.1), (2914.7, 7.7)),
        *((3263.9, 8.9), (3809.3, 10.9)),
    ),
    "xxox": (
        *((447.8, 24.1), (1342.0, 18.2), (1505.9, 5.9), (2286.0, 16.5), (2964.6, 2.7)),
        (3254.1, 14.1),
    ),
    "xoxx": ((619.2, 25.7), (1862.6, 19.5), (2089.4, 5.6), (3047.9, 12.3), (3236.8, 13.3)),
    "oxxx": ((771.3, 24.9), (877.2, 16.6), (2368.0, 18.9), (2650.8, 9.0)),
}
"""From the upper end; x is closed, o is open. The last is like a G gracenote on low G."""


def modelled_peaks(bore: Bore, fingering: str = "") -> NDArray[np.float64]:
    """The model's peaks between 100 and 4000 Hz, as hertz at 20 degrees and decibels."""
    hz = np.arange(90.0, 4100.0, 0.5)
    closed = frozenset(at for at, sign in enumerate(fingering) if sign == "x")
    wave = AIR_DENSITY * SPEED_OF_SOUND / (np.pi * bore.radius_at_reed**2)
    size = np.abs(response(bore, closed, hz / SLOWER_AT_20_DEGREES).impedance) / wave
    tops = 1 + np.flatnonzero((size[:-2] < size[1:-1]) & (size[1:-1] >= size[2:]))
    before, here, after = (20 * np.log10(size[tops + beside]) for beside in (-1, 0, 1))
    shift = 0.5 * (before - after) / (before - 2 * here + after)
    return np.column_stack((hz[tops] + shift * (hz[1] - hz[0]), here))


def differences(
    peaks: tuple[tuple[float, float], ...], found: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """How far the model lies above what was measured at each peak: cents, and decibels."""
    measured = np.array(peaks)
    nearest = np.abs(found[:, 0] - measured[:, :1]).argmin(axis=1)
    assert len(set(nearest)) == len(measured), "two measured peaks are one in the model"
    ratio = found[nearest, 0] / measured[:, 0]
    return 1200 * np.log2(ratio), found[nearest, 1] - measured[:, 1]


def test_the_resonances_of_a_measured_cylinder_are_within_twelve_cents() -> None:
    # 5.6 cents rms; the lowest, where losses at the wall count most, 10.7 flat.
    cents, db = differences(CYLINDER_PEAKS, modelled_peaks(CYLINDER))
    assert math.sqrt(np.mean(cents**2)) == pytest.approx(5.6, abs=0.3)
    assert np.abs(cents).max() < 12
    assert np.abs(db).max() < 0.7


@pytest.mark.parametrize("fingering", TUBE_PEAKS)
def test_the_resonances_of_a_measured_tube_with_holes_are_within_fifteen_cents(
    fingering: str,
) -> None:
    # The worst are the lowest of all: with no hole open 13.6 flat, with the uppermost 8.8 sharp.
    cents, db = differences(TUBE_PEAKS[fingering], modelled_peaks(TUBE, fingering))
    assert np.abs(cents).max() < 15
    assert np.abs(db).max() < 2


def test_all_resonances_of_the_tube_are_six_cents_off_on_average() -> None:
    both = [differences(peaks, modelled_peaks(TUBE, one)) for one, peaks in TUBE_PEAKS.items()]
    cents, db = (np.concatenate(part) for part in zip(*both, strict=True))
    assert math.sqrt(np.mean(cents**2)) == pytest.approx(5.6, abs=0.3)
    assert math.sqrt(np.mean(db**2)) == pytest.approx(0.84, abs=0.1)


def test_opening_a_hole_moves_the_lowest_resonance_as_far_as_was_measured() -> None:
    """What false fingerings and gracenotes rest on: intervals between fingerings of one tube."""
    measured = [TUBE_PEAKS[fingering][0][0] for fingering in TUBE_PEAKS]
    found = [modelled_peaks(TUBE, fingering)[0, 0] for fingering in TUBE_PEAKS]
    apart = [1200 * np.log2(hz / row[0]) for row in (measured, found) for hz in row]
    off = np.array(apart[len(found) :]) - apart[: len(found)]
    assert apart[len(found) - 1] > 1700
    assert np.abs(off).max() < 25
    assert np.all(np.diff(off) > -2)


def test_two_resonances_side_by_side_come_out_as_strong_as_they_were_measured() -> None:
    # With only the uppermost hole open: 8.3 dB apart, a little over two semitones.
    measured = np.array(TUBE_PEAKS["oxxx"][:2])
    found = modelled_peaks(TUBE, "oxxx")[:2]
    assert found[0, 1] - found[1, 1] == pytest.approx(measured[0, 1] - measured[1, 1], abs=1.5)
