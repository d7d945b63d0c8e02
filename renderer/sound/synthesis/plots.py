"""The finished SoundFont to pictures: what each preset holds, as FluidSynth plays it.

One PNG a preset. For a sustained voice: its partials, its spectrogram, and its level over a
minute. For the strokes: their waveforms and spectrograms. Levels are in decibels of full scale.
"""

from io import BytesIO
from pathlib import Path

import fluidsynth
import matplotlib as mpl
import numpy as np
import numpy.typing as npt
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from PIL import Image

from renderer.sound.synthesis.soundfont import PERCUSSION_BANK
from renderer.sound.synthesis.tables import StrokeTable, ToneTable, read_voice_tables
from renderer.sound.units import key_to_hz

Floats = npt.NDArray[np.float64]

NOTE_NAMES = ("low G", "low A", "B", "C", "D", "E", "F", "high G", "high A")
LEVELS_DRAWN = ("low G", "low A", "high A")  # more would hide one another
MINUTE_S = 60.0
LEVEL_WINDOW_S = 0.2
DOTS_PER_INCH = 70


def draw_plots(soundfont: Path, folder: Path) -> list[Path]:
    """Draw every preset of the project's SoundFont into `folder`; returns the files written."""
    mpl.use("Agg")
    tables = read_voice_tables()
    written = [_draw_tone(tone, soundfont, folder, tables.rate_hz) for tone in tables.tones]
    written.append(_draw_strokes(tables.strokes, soundfont, folder, tables.rate_hz))
    return written


def _play(
    soundfont: Path, preset: tuple[int, int], key: int, seconds: float, rate_hz: int
) -> Floats:
    synth = fluidsynth.Synth(gain=1.0, samplerate=float(rate_hz))
    synth.setting("synth.reverb.active", 0)
    synth.setting("synth.chorus.active", 0)
    bank, program = preset
    synth.program_select(0, synth.sfload(str(soundfont)), bank, program)
    synth.noteon(0, key, 127)
    left: Floats = synth.get_samples(round(seconds * rate_hz))[::2] / 32768.0
    synth.delete()
    return left


def _draw_tone(tone: ToneTable, soundfont: Path, folder: Path, rate_hz: int) -> Path:
    figure = Figure(figsize=(11, 10), layout="constrained")
    spectrum, spectrogram, level = figure.subplots(3, 1)
    main = 1 if len(tone.keys) > 1 else 0
    names = NOTE_NAMES if len(tone.keys) > 1 else (tone.name,)

    for index, (name, key) in enumerate(zip(names, tone.keys, strict=True)):
        played = _play(soundfont, (0, tone.program), key, MINUTE_S, rate_hz)
        _plot_partials(
            spectrum, played[: 6 * rate_hz], key_to_hz(key), name, index == main, rate_hz
        )
        if name in LEVELS_DRAWN or len(names) == 1:
            _plot_level(level, played, name, rate_hz)
        if index == main:
            _plot_spectrogram(spectrogram, played[: 12 * rate_hz], rate_hz, 4096)
            spectrogram.set_title(f"{name}, 12 seconds")
    spectrum.set_title(f"{tone.name}: partials (odd ones filled, even ones open)")
    spectrum.set(xscale="log", xlim=(80, 20000), ylim=(-75, 3))
    spectrum.set(xlabel="hertz", ylabel="dB under the strongest")
    spectrum.set_xticks([100, 200, 500, 1000, 2000, 5000, 10000], minor=False)
    spectrum.xaxis.set_major_formatter(lambda value, _: f"{value:g}")
    spectrum.grid(alpha=0.3)
    level.set_title(f"level over a minute, {LEVEL_WINDOW_S:g} s windows, from each note's mean")
    level.set(xlim=(0, MINUTE_S), ylim=(-1.5, 1.5), xlabel="seconds", ylabel="dB")
    level.grid(alpha=0.3)
    if len(names) > 1:
        spectrum.legend(loc="lower left", fontsize=8)
        level.legend(loc="lower left", fontsize=8)
    return _save(figure, folder, tone.name)


def _plot_partials(
    axes: Axes, played: Floats, tone_hz: float, name: str, full: bool, rate_hz: int
) -> None:
    spectrum = np.abs(np.fft.rfft(played * np.blackman(len(played)))) ** 2
    hertz = np.fft.rfftfreq(len(played), 1.0 / rate_hz)
    orders = np.arange(1, int(0.45 * rate_hz / tone_hz) + 1)
    power = np.array([spectrum[np.abs(hertz - n * tone_hz) < 20.0].sum() for n in orders])
    levels_db = 10.0 * np.log10(power / power.max())
    if not full:
        axes.plot(orders * tone_hz, levels_db, linewidth=0.6, alpha=0.6, label=name)
        return
    odd = orders % 2 == 1
    axes.vlines(orders * tone_hz, -90, levels_db, color="0.3", linewidth=1.2)
    axes.plot((orders * tone_hz)[odd], levels_db[odd], "ko", markersize=5, label=name)
    axes.plot(
        (orders * tone_hz)[~odd], levels_db[~odd], "o", color="k", markerfacecolor="w", markersize=5
    )


def _plot_spectrogram(axes: Axes, played: Floats, rate_hz: int, window: int) -> None:
    axes.specgram(
        played + 1e-12,
        NFFT=window,
        Fs=rate_hz,
        noverlap=window // 2,
        scale="dB",
        vmin=-130,
        vmax=-30,
        cmap=mpl.colormaps["magma"].resampled(24),
    )
    axes.set(ylim=(0, 6000), xlabel="seconds", ylabel="hertz")


def _plot_level(axes: Axes, played: Floats, name: str, rate_hz: int) -> None:
    window = round(LEVEL_WINDOW_S * rate_hz)
    power = (played[window : len(played) // window * window].reshape(-1, window) ** 2).mean(axis=1)
    levels_db = 10.0 * np.log10(power / power.mean())
    times_s = (np.arange(len(levels_db)) + 1.5) * LEVEL_WINDOW_S
    axes.plot(times_s, levels_db, linewidth=0.8, label=name)


def _draw_strokes(
    strokes: tuple[StrokeTable, ...], soundfont: Path, folder: Path, rate_hz: int
) -> Path:
    figure = Figure(figsize=(14, 6), layout="constrained")
    columns = figure.subplots(2, len(strokes))
    for (wave, spectrogram), stroke in zip(columns.T, strokes, strict=True):
        played = _play(soundfont, (PERCUSSION_BANK, 0), stroke.key, 0.5, rate_hz)
        wave.plot(np.arange(len(played)) / rate_hz * 1000.0, played, linewidth=0.4)
        wave.set_title(f"{stroke.name}, key {stroke.key}", fontsize=9)
        wave.set(ylim=(-0.5, 0.5), xlabel="milliseconds")
        _plot_spectrogram(spectrogram, played, rate_hz, 512)
        spectrogram.set(ylim=(0, 20000))
    return _save(figure, folder, "Clicks and drum")


def _save(figure: Figure, folder: Path, name: str) -> Path:
    path = folder / f"{name.lower().replace(' ', '-')}.png"
    drawn = BytesIO()
    figure.savefig(drawn, dpi=DOTS_PER_INCH)
    # A palette of few colours, since the pictures are kept with the source.
    Image.open(drawn).convert("P", palette=Image.Palette.ADAPTIVE, colors=128).save(
        path, optimize=True
    )
    return path
