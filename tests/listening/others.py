"""Estimators of pitch written by others, for comparison: Praat's, and librosa's where it is there.

Praat is under the GPL and is no part of the program; librosa (ISC) brings more than 200 MB along
and is asked for only where somebody has installed it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from renderer.listening.harmonics import estimate
from renderer.notation.pitch import Note
from tests.listening.chanters import Sounding

Samples = NDArray[np.float32]
Estimator = Callable[[Samples, int, float], float]
Track = tuple[NDArray[np.float64], NDArray[np.float64]]
"""Moments in seconds and what sounds at each in hertz, 0 for nothing; both of shape (frames,)."""
TrackOf = Callable[[Samples, int, float, float], Track]


def ours(tone: Samples, rate: int, near_hz: float) -> float:
    """The median of pieces of 0.3 s, as stretches are measured; begins 20 cents off."""
    count = max(1, round(len(tone) / rate / 0.3))
    found = [
        estimate(part, rate, near_hz * 2 ** (20 / 1200)).hz for part in np.array_split(tone, count)
    ]
    return float(np.mean(found))


def praat(tone: Samples, rate: int, near_hz: float) -> float:
    """Praat's autocorrelation method (P. Boersma, 1993), the median of its frames."""
    import parselmouth

    sound = parselmouth.Sound(tone.astype(np.float64), rate)
    pitch = sound.to_pitch_ac(
        pitch_floor=0.6 * near_hz, pitch_ceiling=1.7 * near_hz, very_accurate=True
    )
    hz = pitch.selected_array["frequency"]
    return float(np.median(hz[hz > 0]))


def pyin(tone: Samples, rate: int, near_hz: float) -> float:
    """Librosa's pYIN (M. Mauch and S. Dixon, 2014), bins of 1 cent, the median of its frames."""
    import librosa

    hz, *_ = librosa.pyin(
        tone, fmin=0.7 * near_hz, fmax=1.5 * near_hz, sr=rate, resolution=0.01, frame_length=4096
    )
    return float(np.nanmedian(hz))


def estimators() -> dict[str, Estimator]:
    """Those that are there."""
    found: dict[str, Estimator] = {"ours": ours, "Praat": praat}
    try:
        import librosa  # noqa: F401
    except ImportError:
        return found
    return {**found, "pYIN": pyin}


def praat_track(sound: Samples, rate: int, lowest_hz: float, highest_hz: float) -> Track:
    """What Praat hears of some sound between two pitches."""
    import parselmouth

    pitch = parselmouth.Sound(sound.astype(np.float64), rate).to_pitch_ac(
        pitch_floor=lowest_hz, pitch_ceiling=highest_hz, very_accurate=True
    )
    return np.asarray(pitch.xs()), np.asarray(pitch.selected_array["frequency"])


def pyin_track(sound: Samples, rate: int, lowest_hz: float, highest_hz: float) -> Track:
    """What pYIN hears of it, in bins of 1 cent, moving by 10 octaves a second at most."""
    import librosa

    hz, *_ = librosa.pyin(
        sound,
        fmin=lowest_hz,
        fmax=highest_hz,
        sr=rate,
        resolution=0.01,
        frame_length=4096,
        max_transition_rate=10,
    )
    return librosa.times_like(hz, sr=rate, hop_length=1024), np.nan_to_num(hz)


def tracks() -> dict[str, TrackOf]:
    """Those of the others that are there."""
    found: dict[str, TrackOf] = {"Praat": praat_track}
    return {**found, "pYIN": pyin_track} if "pYIN" in estimators() else found


_SHORTEST_S, _TRIM_S = 0.25, 0.05
_REACH = 1.1


def told_of_notes(
    track_of: TrackOf,
    sound: Samples,
    rate: int,
    times: Sequence[tuple[float, float]],
    played: Sequence[Sounding],
) -> dict[Note, float]:
    """What another estimator says of each note of a recording: the median of all its moments.

    It is told when which note sounds, and to look for it within a tenth of its pitch: which note is
    which is not asked of it.
    """
    found: dict[Note, list[NDArray[np.float64]]] = {}
    for (start, end), one in zip(times, played, strict=True):
        if one.note is None or one.is_gracenote or end - start < _SHORTEST_S:
            continue
        part = sound[round((start + _TRIM_S) * rate) : round((end - _TRIM_S) * rate)]
        # From a whole hertz on: bins of 1 cent do not lie on what is looked for.
        _, hz = track_of(part, rate, float(int(one.hz / _REACH)), one.hz * _REACH)
        found.setdefault(one.note, []).append(hz[hz > 0])
    medians = {note: np.concatenate(each) for note, each in found.items()}
    return {note: float(np.median(each)) for note, each in medians.items() if len(each)}
