"""Chanters made of sines, whose tuning is known: players, drones, rooms and phones for tests."""

from __future__ import annotations

import subprocess
from dataclasses import dataclass, field
from pathlib import Path

import imageio_ffmpeg
import numpy as np
from numpy.typing import NDArray

from renderer.notation.pitch import Note
from renderer.sound.tuning import scales

Samples = NDArray[np.float32]

PARTIALS = 12
GRACENOTE_S = 0.045


@dataclass(frozen=True)
class Tuning:
    """The nine notes of a chanter in hertz as they sound, and its drones."""

    hz: tuple[float, ...]
    scale: str
    is_practice: bool
    drones_hz: tuple[float, ...] = ()

    @property
    def low_a_hz(self) -> float:
        return self.hz[Note.LOW_A]


def random_tuning(
    rng: np.random.Generator, *, practice: bool | None = None, drones: bool = False
) -> Tuning:
    """A low A from 430 to 490 Hz, each other note within 30 cents of one of the scales."""
    is_practice = bool(rng.random() < 0.3) if practice is None else practice
    if drones:
        is_practice = False
    scale = list(scales().values())[int(rng.integers(3))]
    low_a = rng.uniform(430, 490) / (2 if is_practice else 1)
    off = np.clip(rng.normal(0, 12, 9), -30, 30)
    off[Note.LOW_A] = 0
    hz = tuple(low_a * r * 2 ** (o / 1200) for r, o in zip(scale.ratios, off, strict=True))
    sound: tuple[float, ...] = ()
    if drones:
        by = rng.normal(0, 4, 3)
        sound = (
            low_a / 4 * 2 ** (by[0] / 1200),
            low_a / 2 * 2 ** (by[1] / 1200),
            low_a / 2 * 2 ** ((by[1] + rng.uniform(1.5, 6) * rng.choice([-1, 1])) / 1200),
        )
    return Tuning(hz, scale.name, is_practice, tuple(map(float, sound)))


@dataclass(frozen=True)
class Sounding:
    """A pitch and its length in seconds; `note` is None for squeaks."""

    note: Note | None
    hz: float
    seconds: float
    is_gracenote: bool = False


def performance(
    rng: np.random.Generator, tuning: Tuning, *, least_seconds: float = 20.0
) -> list[Sounding]:
    """Up and down the scale at a speed of its own, then a tune; with gracenotes and squeaks."""
    melody = [*Note, *reversed(list(Note))]
    played: list[Sounding] = []
    slow = rng.uniform(0.35, 1.2)
    seconds = 0.0
    while seconds < least_seconds:
        for note in melody:
            length = slow * rng.uniform(0.6, 1.5)
            if rng.random() < 0.4:
                above = [n for n in (Note.HIGH_G, Note.D, Note.E, Note.HIGH_A) if n != note]
                grace = above[int(rng.integers(len(above)))]
                hz = tuning.hz[grace] * 2 ** (rng.uniform(-40, 0) / 1200)
                played.append(Sounding(grace, hz, GRACENOTE_S, True))
            if rng.random() < 0.03:
                squeak = tuning.low_a_hz * 2 ** rng.uniform(-0.2, 1.2)
                played.append(Sounding(None, squeak, rng.uniform(0.05, 0.15)))
            played.append(Sounding(note, tuning.hz[note], length))
            seconds += length
        slow = rng.uniform(0.16, 0.5)
        step = rng.choice([-2, -1, -1, 0, 1, 1, 2, 4], 24)
        at = np.clip(np.cumsum(step) + int(rng.integers(9)), 0, 8)
        melody = [Note(int(a)) for a in at]
    return played


def amplitudes(rng: np.random.Generator, count: int = PARTIALS) -> NDArray[np.float64]:
    """Partials that fall as 1/k, each up to some decibels off."""
    return 10 ** (rng.normal(0, 3, count) / 20) / np.arange(1, count + 1)


def _sine(turns: NDArray[np.float64]) -> NDArray[np.float32]:
    # Whole turns are left out first, so that single precision, which is fast, is exact enough.
    return np.asarray(np.sin(np.float32(2 * np.pi) * (turns % 1.0).astype(np.float32)), np.float32)


def sound_of(
    played: list[Sounding], rate: int, rng: np.random.Generator, *, change_s: float = 0.004
) -> tuple[Samples, list[tuple[float, float]]]:
    """The sound, mean square about 0.02, and when each sounding begins and ends, in seconds."""
    total = sum(one.seconds for one in played)
    sound = np.zeros(int(total * rate) + rate // 10)
    fade = int(change_s * rate)
    slope = np.sin(np.linspace(0, np.pi / 2, fade))
    colours: dict[object, NDArray[np.float64]] = {}
    start_s, times = 0.05, []
    for one in played:
        colour = colours.setdefault(one.note, amplitudes(rng))
        first = int(start_s * rate)
        frames = int((start_s + one.seconds) * rate) - first + fade
        times.append((start_s, start_s + one.seconds))
        start_s += one.seconds
        if first + frames > len(sound):
            frames = len(sound) - first
        t = np.arange(frames) / rate
        tone = np.zeros(frames)
        for k, amplitude in enumerate(colour, 1):
            if k * one.hz < 0.48 * rate:
                tone += amplitude * _sine(k * one.hz * t + rng.uniform())
        tone /= np.sqrt(np.sum(colour**2) / 2)
        tone[:fade] *= slope
        tone[-fade:] *= slope[::-1]
        sound[first : first + frames] += 0.14 * tone
    return sound.astype(np.float32), times


def drones_sound(
    hz: tuple[float, ...], frames: int, rate: int, rng: np.random.Generator, *, level_db: float = -6
) -> Samples:
    """Drones whose pitches stand, together so many dB above the chanter's mean square."""
    t = np.arange(frames) / rate
    sound = np.zeros(frames)
    for one in hz:
        colour = amplitudes(rng, 16)
        part = np.zeros(frames)
        for k, amplitude in enumerate(colour, 1):
            if k * one < 0.48 * rate:
                part += amplitude * _sine(k * one * t + rng.uniform())
        sound += part / np.sqrt(np.sum(colour**2) / 2)
    sound *= 0.14 * 10 ** (level_db / 20) / np.sqrt(len(hz))
    return sound.astype(np.float32)


def reverberated(
    sound: Samples, rate: int, rng: np.random.Generator, seconds: float, *, direct_db: float = 3.0
) -> Samples:
    """In a room: direct sound and a tail of noise that dies away by 60 dB in so many seconds."""
    t = np.arange(int(seconds * rate)) / rate
    tail = rng.normal(size=len(t)) * 10 ** (-3 * t / seconds)
    tail[: int(0.005 * rate)] = 0
    tail *= 10 ** (-direct_db / 20) / np.sqrt(np.sum(tail**2))
    tail[0] = 1.0
    size = 1 << (len(sound) + len(tail)).bit_length()
    product = np.fft.irfft(np.fft.rfft(sound, size) * np.fft.rfft(tail, size), size)
    out = product[: len(sound)]
    return np.asarray(out * np.sqrt(np.mean(sound**2) / np.mean(out**2)), np.float32)


def with_noise(sound: Samples, rng: np.random.Generator, snr_db: float) -> Samples:
    """White noise, so many dB below the sound's mean square."""
    noise = np.sqrt(np.mean(sound**2)) * 10 ** (-snr_db / 20)
    return np.asarray(sound + rng.normal(0, noise, len(sound)), np.float32)


CODECS = {
    "mp3": (".mp3", ["-c:a", "libmp3lame", "-b:a", "96k"]),
    "aac": (".m4a", ["-c:a", "aac", "-b:a", "64k"]),
    "opus": (".opus", ["-c:a", "libopus", "-b:a", "32k"]),
    "amr": (".3gp", ["-c:a", "libopencore_amrnb", "-b:a", "12.2k", "-ar", "8000"]),
}


@dataclass(frozen=True)
class Case:
    """One synthesised recording."""

    seed: int
    snr_db: float = 20.0
    drones: bool = False
    room_s: float = 0.0
    rate: int = 44_100
    least_seconds: float = 20.0
    practice: bool | None = None
    names: tuple[str, ...] = field(default=())

    def make(self) -> tuple[Samples, Tuning, list[Sounding], list[tuple[float, float]]]:
        rng = np.random.default_rng(self.seed)
        tuning = random_tuning(rng, drones=self.drones, practice=self.practice)
        played = performance(rng, tuning, least_seconds=self.least_seconds)
        sound, times = sound_of(played, self.rate, rng)
        chanter_power = float(np.mean(sound**2))
        if tuning.drones_hz:
            sound = sound + drones_sound(tuning.drones_hz, len(sound), self.rate, rng)
        if self.room_s:
            sound = reverberated(sound, self.rate, rng, self.room_s)
        noise = np.sqrt(chanter_power) * 10 ** (-self.snr_db / 20)
        sound = sound + rng.normal(0, noise, len(sound)).astype(np.float32)
        return sound.astype(np.float32), tuning, played, times


def write(path: Path, sound: Samples, rate: int) -> Path:
    """Write a recording by the ending of its name; those of phones at phones' rates."""
    import soundfile

    codec = next((options for suffix, options in CODECS.values() if suffix == path.suffix), None)
    if codec is None:
        soundfile.write(path, sound, rate, subtype="PCM_16")
        return path
    # Debian's ffmpeg has no encoder for AMR; that of imageio-ffmpeg has one.
    program = imageio_ffmpeg.get_ffmpeg_exe() if path.suffix == ".3gp" else "ffmpeg"
    command = [program, "-loglevel", "error", "-y", "-f", "f32le", "-ar", str(rate), "-ac", "1"]
    command += ["-i", "pipe:0", *codec, str(path)]
    subprocess.run(command, input=sound.astype("<f4").tobytes(), check=True)
    return path
