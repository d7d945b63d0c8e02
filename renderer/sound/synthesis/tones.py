"""Levels of partials to sustained tones: one loop of 16-bit frames that repeats without a seam.

A loop of `frames` frames holds a whole number of periods, and everything in it, partials and
their slow fluctuations alike, is a whole multiple of `rate / frames`. The last frame is
therefore followed by the first as by any other, and the pitch is exact by construction.
Frequencies in hertz, phases in turns, lengths in frames.

Random choices come from `random.Random(text).random()`, whose sequence the Python manual
promises to keep ("Notes on Reproducibility"), so that a rebuild gives the same bytes.
"""

import random
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from renderer.notation.pitch import Note
from renderer.sound.acoustics.fingering_tone import fingered
from renderer.sound.loudness import k_weighting, lufs
from renderer.sound.synthesis.voice_tables import ToneTable
from renderer.sound.tuning import Chanter
from renderer.sound.units import db_to_gain, key_to_hz
from renderer.technique.fingering import fingering

Floats = npt.NDArray[np.float64]

FULL_SCALE = 32768
FASTEST_FLUCTUATION_HZ = 20.0
LEAST_LEVEL_DB = -96.0  # below the last bit of 16
PHASE_TRIALS = 400
PHASE_STEPS = 256  # phases are whole steps of 1/256 turn


@dataclass(frozen=True)
class LoopLength:
    """A loop of `frames` frames that holds `periods` whole periods of the tone."""

    frames: int
    periods: int


@dataclass(frozen=True, eq=False)
class Partials:
    """The partials of one note: order 1 is the fundamental. Amplitudes are of full scale 1."""

    orders: npt.NDArray[np.int64]
    amplitudes: Floats
    phases_turns: Floats


def loudness_of_partials_lufs(
    partials_hz: npt.NDArray[np.floating], amplitudes: npt.NDArray[np.floating]
) -> float:
    """Loudness of steady partials in one channel, both arrays (partials,); full scale is 1.

    Worked out on the partials themselves, so that notes are brought to one loudness before there
    are any samples.
    """
    return lufs(float(np.sum(k_weighting(partials_hz.astype(np.float64)) * amplitudes**2)) / 2.0)


def loop_length(tone_hz: float, rate_hz: int, about_s: float) -> LoopLength:
    """The loop within 2 per cent of `about_s` whose pitch is nearest to `tone_hz`.

    The longest wins among equals; the error is at most half a frame in the whole loop.
    """
    most = int(about_s * 1.02 * tone_hz)
    least = max(1, int(about_s * 0.98 * tone_hz))

    def pitch_error(periods: int) -> float:
        frames = round(periods * rate_hz / tone_hz)
        # Rounded, so that the last bit of a logarithm cannot decide between equals.
        return round(abs(periods * rate_hz / (frames * tone_hz) - 1.0), 12)

    periods = min(range(most, least - 1, -1), key=pitch_error)
    return LoopLength(round(periods * rate_hz / tone_hz), periods)


def note_partials(tone: ToneTable, index: int, rate_hz: int, highest_hz: float) -> Partials:
    """Levels and phases of all partials of the `index`-th note, at the loudness it should have."""
    tone_hz = key_to_hz(tone.keys[index])
    draw = random.Random(f"{tone.name}, partials, key {tone.keys[index]}").random
    orders = np.arange(1, int(highest_hz / tone_hz) + 1)

    at_hz, at_db = np.array(tone.envelope).T
    levels_db = np.interp(np.log(orders * tone_hz), np.log(at_hz), at_db)
    levels_db[0] += tone.first_offset_db
    even = orders % 2 == 0
    at_order, offset_db = np.array(tone.even_offset_db).T
    levels_db += np.where(even, np.interp(orders, at_order, offset_db), 0.0)
    if tone.chanter:
        own = fingered(Chanter(tone.chanter), fingering(Note(index))).levels_db[: len(orders)]
        levels_db[: len(own)] += own
    levels_db += np.array([tone.individual_db * (2.0 * draw() - 1.0) for _ in orders])
    if tone.even_below_first_six_db:
        ceiling = levels_db[[0, 2, 4]].min() - tone.even_below_first_six_db
        levels_db[[1, 3, 5]] = np.minimum(levels_db[[1, 3, 5]], ceiling)

    target_lufs = tone.loudness_lufs + tone.note_loudness_lu[index]
    amplitudes: Floats = 10.0 ** (levels_db / 20.0)
    now_lufs = loudness_of_partials_lufs(orders * tone_hz, amplitudes)
    amplitudes *= db_to_gain(target_lufs - now_lufs)

    heard = 20.0 * np.log10(amplitudes) > LEAST_LEVEL_DB
    orders, amplitudes = orders[heard], amplitudes[heard]
    phases = _phases_of_low_peak(amplitudes, orders, f"{tone.name}, phases, {tone.keys[index]}")
    return Partials(orders, amplitudes, phases)


def _phases_of_low_peak(amplitudes: Floats, orders: npt.NDArray[np.int64], seed: str) -> Floats:
    """The phases, of some hundreds tried, that give the lowest peak.

    Trials start from M. R. Schroeder's phases (Synthesis of low-peak-factor signals, IEEE Trans.
    Inform. Theory 16, 1970, 85-89), strewn by a different amount each. A chain of best steps
    would get lower still, but its outcome would hang on the last bit of each step.
    """
    draw = random.Random(seed).random
    power = amplitudes**2 / np.sum(amplitudes**2)
    below = np.concatenate(([0.0], np.cumsum(power)[:-1]))
    schroeder_turns = -np.concatenate(([0.0], np.cumsum(below[1:])))

    strewn = np.array([[draw() - 0.5 for _ in orders] for _ in range(PHASE_TRIALS)])
    width = np.linspace(0.0, 1.0, PHASE_TRIALS)[:, np.newaxis]
    turns = np.round((schroeder_turns + width * strewn) * PHASE_STEPS) / PHASE_STEPS % 1.0

    points = 16 * int(orders[-1])
    spectra = np.zeros((PHASE_TRIALS, points // 2 + 1), dtype=np.complex128)
    spectra[:, orders] = amplitudes * np.exp(2j * np.pi * turns)
    peaks = np.abs(np.fft.irfft(spectra, points, axis=1)).max(axis=1)
    best: Floats = turns[int(np.argmin(np.round(peaks / peaks.min(), 9)))]
    return best


def loop_frames(
    tone: ToneTable, index: int, partials: Partials, length: LoopLength, rate_hz: int
) -> Floats:
    """One loop of a note, full scale 1: its partials, each with its own slow fluctuation."""
    name = f"{tone.name}, fluctuation, key {tone.keys[index]}"
    loops_hz = rate_hz / length.frames
    sidebands = np.arange(1, int(FASTEST_FLUCTUATION_HZ / loops_hz) + 1)
    shape = 1.0 / np.sqrt(1.0 + (sidebands * loops_hz / tone.fluctuation_corner_hz) ** 2)
    # Of an amplitude 1 + a(t), with a(t) a sum of cosines; 8.686 dB is a factor of e.
    shape *= np.sqrt(2.0 / np.sum(shape**2)) / (20.0 / np.log(10.0))

    partials_hz = partials.orders * length.periods * loops_hz
    rms_db = np.interp(partials_hz, (0.0, 5000.0), tone.partial_rms_db)
    own = np.array(
        [_turning(f"{name}, partial {order}", len(sidebands)) for order in partials.orders]
    )
    own *= rms_db[:, np.newaxis]
    # What the partials do by themselves changes the tone's colour; taken together it must not
    # change its level, or a tone of few strong partials would be heard to pump.
    power = partials.amplitudes**2 / np.sum(partials.amplitudes**2)
    own -= power @ own
    # The bag's pressure, common to all partials. Layers of a note have it each of its own.
    common = tone.level_rms_db * _turning(f"{name}, {length.frames} frames", len(sidebands))

    spectrum = np.zeros(length.frames // 2 + 1, dtype=np.complex128)
    carriers = partials.amplitudes / 2.0 * np.exp(2j * np.pi * partials.phases_turns)
    for order, carrier, turning in zip(partials.orders, carriers, own + common, strict=True):
        centre = int(order) * length.periods
        spectrum[centre] += carrier
        spectrum[centre + sidebands] += carrier * shape * turning / 2.0
        spectrum[centre - sidebands] += carrier * shape * np.conj(turning) / 2.0
    frames: Floats = np.fft.irfft(spectrum, length.frames) * length.frames
    return frames


def _turning(seed: str, count: int) -> npt.NDArray[np.complex128]:
    """`count` numbers of size 1 and random angle."""
    draw = random.Random(seed).random
    turning: npt.NDArray[np.complex128] = np.exp(
        2j * np.pi * np.array([draw() for _ in range(count)])
    )
    return turning


def to_16_bit(frames: Floats) -> npt.NDArray[np.int16]:
    """Round full scale 1 to 16 bits. Raises ValueError where that would clip."""
    rounded = np.round(frames * FULL_SCALE)
    if np.abs(rounded).max() > FULL_SCALE - 1:
        raise ValueError(f"peak of {np.abs(frames).max():.3f} of full scale")
    return rounded.astype(np.int16)
