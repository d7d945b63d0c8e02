"""Independent measurements of samples: pitch, onsets, loudness. None knows how tracks are made."""

from __future__ import annotations

import re
import subprocess
from dataclasses import dataclass
from pathlib import Path

import imageio_ffmpeg
import numpy as np
import soundfile
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from tests.limits import HANG_S

Samples = NDArray[np.float32]


def cents(hz: float, reference_hz: float) -> float:
    """Return how far `hz` is above the reference, in cents."""
    return float(1200 * np.log2(hz / reference_hz))


def pitch_by_phase(tone: Samples, near_hz: float, rate: int, *, partial: int = 1) -> float:
    """Return the pitch of a steady tone in hertz, by the phase of one of its partials.

    The partial's place is read off a windowed spectrum within 3 per cent of where it should be;
    the slope of its phase through time, by linear regression, says exactly what it is.
    """
    time = np.arange(len(tone)) / rate
    spectrum = np.abs(np.fft.rfft(tone * np.hanning(len(tone)), 4 * len(tone)))
    hz_per_bin = rate / (4 * len(tone))
    low, high = (int(partial * near_hz * factor / hz_per_bin) for factor in (0.97, 1.03))
    coarse = (low + int(np.argmax(spectrum[low : high + 1]))) * hz_per_bin
    turned = tone * np.exp(-2j * np.pi * coarse * time)
    size, hop = rate // 10, rate // 50
    window = np.hanning(size)
    smooth = sliding_window_view(turned, size)[::hop] @ (window / window.sum())
    phase = np.unwrap(np.angle(smooth))
    slope = float(np.polyfit(np.arange(len(phase)) * hop / rate, phase, 1)[0])
    return (coarse + slope / (2 * np.pi)) / partial


def _spectra(sound: Samples, starts: NDArray[np.int64], size: int) -> NDArray[np.float64]:
    """Magnitudes of windowed stretches of `size` frames, shape (starts, bins), up to 6 kHz."""
    frames = sound[starts[:, np.newaxis] + np.arange(size)] * np.hanning(size).astype(np.float32)
    return np.asarray(np.abs(np.fft.rfft(frames, 1024, axis=1))[:, :140], np.float64)


def onsets_s(
    sound: Samples, rate: int, *, window_s: float = 0.018, least_change: float = 0.5
) -> NDArray[np.float64]:
    """Return where the spectrum of a sound (frames,) changes, in seconds.

    Millisecond by millisecond the spectra of a window before and of one after are compared; a peak
    of their difference (as a share of the louder one) is a change. It is placed where the spectrum
    of a window half as long turns from being more like what was before to being more like what
    comes after. Windows must be longer than two periods of the sound.
    """
    size, short, step = round(window_s * rate), round(window_s * rate / 2), rate // 1000
    places = np.arange(2 * size, len(sound) - 2 * size, step)
    before = _spectra(sound, places - size, size)
    after = _spectra(sound, places, size)
    scale = np.maximum(np.linalg.norm(before, axis=1), np.linalg.norm(after, axis=1))
    change = np.linalg.norm(before - after, axis=1) / np.maximum(scale, 0.02 * scale.max())
    found = []
    for index in range(10, len(change) - 10):
        if change[index] < least_change or change[index] < change[index - 10 : index + 11].max():
            continue
        at = int(places[index])
        early = _spectra(sound, np.arange(at - size - short, at - size + short, step), short)
        late = _spectra(sound, np.arange(at + size - 2 * short, at + size, step), short)
        basis = np.stack((early.mean(axis=0), late.mean(axis=0)), axis=1)
        starts = np.arange(at - size, at + size - short, rate // 5000)
        shares = np.linalg.lstsq(basis, _spectra(sound, starts, short).T, rcond=None)[0]
        lead = shares[1] - shares[0]
        if np.linalg.norm(basis[:, 0]) < 0.01 * np.linalg.norm(basis[:, 1]):
            lead = shares[1] - 0.5  # out of silence: where half of what comes after is there
        turn = int(np.argmax(lead > 0))
        if turn:
            part = lead[turn - 1] / (lead[turn - 1] - lead[turn])
            found.append((starts[turn - 1] + part * (rate // 5000) + short / 2) / rate)
    return np.array(found)


@dataclass(frozen=True)
class Metered:
    """What ffmpeg's ebur128 filter says: integrated loudness (LUFS) and true peak (dBTP)."""

    loudness_lufs: float
    true_peak_dbtp: float


def metered(sound: Samples, rate: int, folder: Path) -> Metered:
    """Measure a track (frames, channels) with ffmpeg's ebur128 filter (EBU R 128)."""
    path = folder / "metered.wav"
    soundfile.write(path, sound, rate, "FLOAT")
    command = [imageio_ffmpeg.get_ffmpeg_exe(), "-hide_banner", "-nostats", "-i", str(path)]
    command += ["-af", "ebur128=peak=true", "-f", "null", "-"]
    run = subprocess.run(command, capture_output=True, text=True, check=True, timeout=HANG_S)
    summary = run.stderr[run.stderr.rindex("Summary:") :]
    loudness = re.search(r"I:\s+(-?[\d.]+) LUFS", summary)
    peak = re.search(r"Peak:\s+(-?[\d.]+|-inf) dBFS", summary)
    assert loudness is not None
    assert peak is not None
    return Metered(float(loudness[1]), float(peak[1]))
