"""The finished SoundFont to pictures: what each preset holds, as FluidSynth plays it.

One PNG a preset. For a sustained voice: its partials, its spectrogram, and its level over a
minute. For the strokes: their waveforms and spectrograms. Levels are in decibels under the
strongest.
"""

from collections.abc import Iterator
from io import BytesIO
from pathlib import Path

import matplotlib as mpl
import numpy as np
import numpy.typing as npt
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from PIL import Image
from scipy import signal

from renderer.sound.synth import SYNTH_RATE, SoundFontPlayer
from renderer.sound.synthesis.soundfont import PERCUSSION_BANK
from renderer.sound.synthesis.voice_tables import StrokeTable, ToneTable, read_voice_tables
from renderer.sound.units import key_to_hz

Samples = npt.NDArray[np.float32]

NOTE_NAMES = ("low G", "low A", "B", "C", "D", "E", "F", "high G", "high A")
LEVELS_DRAWN = ("low G", "low A", "high A")
LEVEL_GRID_DB, LEVELS_APART_DB = 0.5, 1.0
"""Notes stand one under the other, so that they can be told apart without colours."""
MINUTE_S = 60.0
LEVEL_WINDOW_S = 0.2
SPECTROGRAM_DB = 80.0
DOTS_PER_INCH = 70
PARTIALS_IN_SPECTROGRAM = 20  # more would run into each other
CLICK_S, STROKE_S = 0.05, 0.5
HIGHEST_CLICK_HZ, HIGHEST_STROKE_HZ = 12_000, 20_000


def draw_plots(soundfont: Path, folder: Path) -> Iterator[Path]:
    """Draw every preset of the project's SoundFont into `folder`; yields each file as written."""
    mpl.use("Agg")
    tables = read_voice_tables()
    with SoundFontPlayer(soundfont) as player:
        for tone in tables.tones:
            yield _draw_tone(tone, player, folder)
        yield _draw_strokes(tables.strokes, player, folder)


def _draw_tone(tone: ToneTable, player: SoundFontPlayer, folder: Path) -> Path:
    names = NOTE_NAMES if len(tone.keys) > 1 else (tone.name,)
    rows = -(-len(names) // 3)
    figure = Figure(figsize=(11, 5 + 2.2 * rows), layout="constrained")
    above, below = figure.subfigures(2, 1, height_ratios=(2.2 * rows, 5), squeeze=False).flat
    panels = above.subplots(rows, min(3, len(names)), sharex=True, sharey=True, squeeze=False)
    spectrogram, level = below.subplots(2, 1)
    main = 1 if len(names) > 1 else 0
    drawn = [name for name in names if name in LEVELS_DRAWN] or list(names)
    for index, (name, key) in enumerate(zip(names, tone.keys, strict=True)):
        played = player.play(0, tone.program, key, round(MINUTE_S * SYNTH_RATE))
        _plot_partials(panels.flat[index], played[: 6 * SYNTH_RATE], key_to_hz(key), name)
        if name in drawn:
            _plot_level(level, played, -LEVELS_APART_DB * drawn.index(name))
        if index == main:
            highest_hz = min(6000.0, (PARTIALS_IN_SPECTROGRAM + 0.5) * key_to_hz(key))
            window = 4096 if highest_hz >= 6000.0 else 16_384
            _plot_spectrogram(spectrogram, played[: 12 * SYNTH_RATE], window, highest_hz)
            spectrogram.set_title(f"{name}, 12 seconds")
    above.suptitle(f"{tone.name}: partials under the strongest, odd ones filled, even ones open")
    above.supxlabel("hertz")
    above.supylabel("dB")
    level.set_title(
        f"level over a minute, {LEVEL_WINDOW_S:g} s windows, from each note's mean: "
        f"a line of the grid every {LEVEL_GRID_DB:g} dB"
    )
    means = [-LEVELS_APART_DB * row for row in range(len(drawn))]
    lowest, highest = means[-1] - LEVELS_APART_DB, LEVELS_APART_DB
    level.set(xlim=(0, MINUTE_S), ylim=(lowest, highest), xlabel="seconds")
    level.set_yticks(means, labels=drawn)
    level.set_yticks(np.arange(lowest, highest + 0.1, LEVEL_GRID_DB), minor=True)
    level.grid(which="both", alpha=0.3)
    return save(figure, folder, tone.name)


def _plot_partials(axes: Axes, played: Samples, tone_hz: float, name: str) -> None:
    spectrum = np.abs(np.fft.rfft(played * np.blackman(len(played)))) ** 2
    hertz = np.fft.rfftfreq(len(played), 1.0 / SYNTH_RATE)
    orders = np.arange(1, int(0.45 * SYNTH_RATE / tone_hz) + 1)
    power = np.array([spectrum[np.abs(hertz - n * tone_hz) < 20.0].sum() for n in orders])
    levels_db = 10.0 * np.log10(power / power.max())
    odd = orders % 2 == 1
    axes.vlines(orders * tone_hz, -90, levels_db, color="0.6", linewidth=1)
    axes.plot((orders * tone_hz)[odd], levels_db[odd], "ko", markersize=4)
    axes.plot((orders * tone_hz)[~odd], levels_db[~odd], "ko", markerfacecolor="w", markersize=4)
    axes.set(xscale="log", xlim=(80, 16000), ylim=(-65, 4))
    axes.set_xticks([100, 300, 1000, 3000, 10000], minor=False)
    axes.xaxis.set_major_formatter(lambda value, _: f"{value:g}")
    axes.text(0.97, 0.95, name, transform=axes.transAxes, ha="right", va="top", weight="bold")
    axes.grid(alpha=0.3)


def _plot_spectrogram(axes: Axes, played: Samples, window: int, highest_hz: float) -> None:
    hertz, times_s, power = signal.spectrogram(
        played, SYNTH_RATE, "hann", window, 3 * window // 4, detrend=False
    )
    axes.imshow(
        10.0 * np.log10(np.maximum(power / power.max(), 1e-12)),
        extent=(times_s[0], times_s[-1], hertz[0], hertz[-1]),
        aspect="auto",
        origin="lower",
        vmin=-SPECTROGRAM_DB,
        vmax=0.0,
        cmap=mpl.colormaps["magma"].resampled(24),
    )
    axes.set(ylim=(0, highest_hz), xlabel="seconds", ylabel="hertz")


def _plot_level(axes: Axes, played: Samples, mean_db: float) -> None:
    window = round(LEVEL_WINDOW_S * SYNTH_RATE)
    power = (played[window : len(played) // window * window].reshape(-1, window) ** 2).mean(axis=1)
    levels_db = 10.0 * np.log10(power / power.mean())
    times_s = (np.arange(len(levels_db)) + 1.5) * LEVEL_WINDOW_S
    axes.plot(times_s, mean_db + levels_db, color="k", linewidth=0.8)


def _draw_strokes(strokes: tuple[StrokeTable, ...], player: SoundFontPlayer, folder: Path) -> Path:
    figure = Figure(figsize=(14, 6), layout="constrained")
    columns = figure.subplots(2, len(strokes))
    frames = round(STROKE_S * SYNTH_RATE)
    sounds = [player.play(PERCUSSION_BANK, 0, stroke.key, frames) for stroke in strokes]
    peak = max(np.abs(played).max() for played in sounds)
    for (wave, spectrogram), stroke, played in zip(columns.T, strokes, sounds, strict=True):
        is_click = stroke.name.endswith("click")
        shown_s = CLICK_S if is_click else STROKE_S
        wave.plot(np.arange(len(played)) / SYNTH_RATE * 1000.0, played / peak, linewidth=0.4)
        wave.set_title(f"{stroke.name}, key {stroke.key}", fontsize=9)
        wave.set(xlim=(0, 1000 * shown_s), ylim=(-1, 1), xlabel="milliseconds")
        highest_hz = HIGHEST_CLICK_HZ if is_click else HIGHEST_STROKE_HZ
        _plot_spectrogram(spectrogram, played, 256 if is_click else 512, highest_hz)
        spectrogram.set(xlim=(0, shown_s))
    return save(figure, folder, "Clicks and drum")


def save(figure: Figure, folder: Path, name: str) -> Path:
    """Write a picture into `folder`, in few colours; return the file."""
    path = folder / f"{name.lower().replace(' ', '-')}.png"
    drawn = BytesIO()
    figure.savefig(drawn, dpi=DOTS_PER_INCH)
    # A palette of few colours, since the pictures are kept with the source.
    Image.open(drawn).convert("P", palette=Image.Palette.ADAPTIVE, colors=128).save(
        path, optimize=True
    )
    return path
