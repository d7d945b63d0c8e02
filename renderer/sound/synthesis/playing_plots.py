"""What tracks do with the tones to a picture: gracenotes, changes, breath, drones striking in.

Beside each is what it was before: gracenotes as the nine notes, a plain fade of 3 ms from note to
note, tones without noise, drones that swell up settled.
"""

from __future__ import annotations

import math
from itertools import permutations
from pathlib import Path

import numpy as np
import numpy.typing as npt
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from renderer.notation.pitch import Note
from renderer.sound.acoustics.fingering_tone import fingered
from renderer.sound.bank import Tone
from renderer.sound.drones_part import DRONES_SWELL_S
from renderer.sound.instrument import Instrument, make_instrument
from renderer.sound.noise import noise_loop
from renderer.sound.note_change import CHANGE_S, note_change
from renderer.sound.splice import EndlessTone, rising_gain
from renderer.sound.strike_in import struck_in
from renderer.sound.synthesis.plots import save
from renderer.sound.tuning import Chanter, frequency_hz, parse_pitch, scale_named
from renderer.technique.finger_changes import gracenote_fingering

Samples = npt.NDArray[np.float64]

RATE = 44_100
PLAIN_FADE_S = 0.003
"""How long a fade from note to note took before changes were made like fingers'."""

_TURNS = 12
_AROUND_S = 0.012
_WINDOW_S = 0.001


def draw_playing(folder: Path) -> Path:
    """Draw it into `folder`; return the file."""
    figure = Figure(figsize=(11, 9), layout="constrained")
    (gracenotes, changes), (breath, drones) = figure.subplots(2, 2)
    _plot_gracenotes(gracenotes)
    _plot_changes(changes)
    _plot_breath(breath)
    _plot_drones(drones)
    return save(figure, folder, "gracenotes-changes-breath-and-drones")


def _instrument(chanter: Chanter, *, steady: bool = False) -> Instrument:
    return make_instrument(
        parse_pitch(478), scale_named(), chanter, rate=RATE, voice=None, drone_voice=None,
        steady=steady,
    )  # fmt: skip


def gracenote_cents(chanter: Chanter, gracenote: Note, note: Note) -> float:
    """Return how far a gracenote on a note is from the note that it is called after."""
    return fingered(chanter, gracenote_fingering(note, gracenote, note)).cents


def _plot_gracenotes(axes: Axes) -> None:
    for chanter, marker in ((Chanter.PIPE, "o"), (Chanter.PRACTICE, "s")):
        for gracenote, colour in ((Note.HIGH_G, "C0"), (Note.E, "C2"), (Note.D, "C1")):
            notes = [note for note in Note if note < gracenote]
            cents = [gracenote_cents(chanter, gracenote, note) for note in notes]
            face = colour if chanter is Chanter.PIPE else "w"
            axes.plot(
                [note.value for note in notes], cents, marker, color=colour, markerfacecolor=face,
                label=f"{gracenote.label}, {chanter}",
            )  # fmt: skip
    axes.axhline(0, color="0.3", linewidth=1, linestyle="--", label="before")
    axes.set_xticks([note.value for note in Note if note < Note.HIGH_G])
    axes.set_xticklabels([note.label for note in Note if note < Note.HIGH_G])
    axes.set(title="Gracenotes on each note: pitch", ylabel="cents from the note they are called")
    axes.legend(fontsize=8)
    axes.grid(alpha=0.3)


def change_levels_db(chanter: Chanter) -> tuple[Samples, Samples, Samples]:
    """Return milliseconds around a change and the mean level: as it is, and with a plain fade.

    The mean is over all changes between the nine notes, at a dozen moments each, in windows of a
    millisecond, beside the level of the two notes.
    """
    bank = _instrument(chanter).chanter
    tones = [EndlessTone(tone.samples[:, np.newaxis], low=tone.low) for tone in bank.tones]
    noise = noise_loop(RATE)
    reach, length = round(_AROUND_S * RATE), round(CHANGE_S * RATE / 2) * 2
    fade = round(PLAIN_FADE_S * RATE / 2) * 2
    now, before = np.zeros(2 * reach), np.zeros(2 * reach)
    for (a, b), turn in ((pair, turn) for pair in permutations(Note, 2) for turn in range(_TURNS)):
        at = 10_007 * (turn + 1) + 613 * a + 89 * b
        one, two = tones[a], tones[b]
        around = np.zeros((2, 2 * reach, 1), np.float32)
        one.copy_to(around[0], at - reach)
        two.copy_to(around[1], at - reach)
        sides = around[..., 0].astype(np.float64)
        both = (np.mean(sides[0] ** 2) + np.mean(sides[1] ** 2)) / 2
        start = at - length // 2
        sound = np.where(np.arange(2 * reach) < reach, sides[0], sides[1])
        made = note_change(
            one.side(start - 1, length + 2), two.side(start - 1, length + 2), noise,
            seed=start, falls=b < a,
        )  # fmt: skip
        sound[reach - length // 2 : reach + length // 2] = made
        now += sound**2 / both
        gain = np.zeros(2 * reach)
        gain[reach:] = 1.0
        gain[reach - fade // 2 : reach + fade // 2] = rising_gain(fade)[:, 0]
        before += ((1 - gain) * sides[0] + gain * sides[1]) ** 2 / both
    window = round(_WINDOW_S * RATE)
    smooth = np.ones(window) / window
    count = len(Note) * (len(Note) - 1) * _TURNS
    now_db, before_db = (
        _decibels(np.convolve(one / count, smooth, "valid")) for one in (now, before)
    )
    times_ms = (np.arange(len(now_db)) + window / 2 - reach) / RATE * 1000
    return times_ms.astype(np.float64), now_db, before_db


def _decibels(power: Samples) -> Samples:
    return np.asarray(10 * np.log10(power), np.float64)


def _plot_changes(axes: Axes) -> None:
    for chanter, colour in ((Chanter.PIPE, "C0"), (Chanter.PRACTICE, "C1")):
        times_ms, now, before = change_levels_db(chanter)
        axes.plot(times_ms, now, color=colour, label=f"{chanter}")
        axes.plot(times_ms, before, "--", color=colour, linewidth=1, label=f"{chanter}, before")
    axes.set(title="Level through a change, mean of all", xlabel="milliseconds", ylabel="dB")
    axes.set(xlim=(-8, 8), ylim=(-4, 2))
    axes.legend(fontsize=8)
    axes.grid(alpha=0.3)


def between_db(tone: Tone, hz: float) -> float:
    """Return all that lies 30 Hz or more from any partial, beside all there is, in dB."""
    level, at = _spectrum(tone)
    power = level**2
    off = np.abs(at / hz - np.round(at / hz)) * hz
    return 10 * math.log10(float(power[(off > 30) & (at > 50)].sum() / power.sum()))


def _spectrum(tone: Tone) -> tuple[Samples, Samples]:
    sound = np.tile(tone.samples, 2).astype(np.float64)
    level = np.abs(np.fft.rfft(sound * np.blackman(len(sound))))
    hertz = np.fft.rfftfreq(len(sound), 1 / RATE)
    return np.asarray(level, np.float64), np.asarray(hertz, np.float64)


def _plot_breath(axes: Axes) -> None:
    for steady, colour, label in ((False, "C0", "now"), (True, "0.5", "before, and steady tracks")):
        tone = _instrument(Chanter.PIPE, steady=steady).chanter.tones[Note.LOW_A]
        level, at = _spectrum(tone)
        inside = (at > 1_000) & (at < 6_000)
        levels_db = 20 * np.log10(np.maximum(level[inside] / level.max(), 1e-7))
        axes.plot(at[inside], levels_db, linewidth=0.5, color=colour, label=label)
    axes.set(title="Low A of the pipe chanter: between its partials", xlabel="hertz")
    axes.set(ylabel="dB under the strongest partial", ylim=(-130, 3))
    axes.legend(loc="upper right", fontsize=8)
    axes.grid(alpha=0.3)


def drone_starts() -> dict[str, tuple[Samples, Samples, Samples]]:
    """Return how drones begin: seconds, level in dB and pitch in cents, now and before."""
    hz = frequency_hz(Note.LOW_A, parse_pitch(478), scale_named(), Chanter.PIPE) / 2
    frames = RATE
    found = {}
    for name, steady in (("now", False), ("before", True)):
        loop = _instrument(Chanter.PIPE, steady=steady).drones.blend(1, 0, 0)
        samples = loop.samples[:, np.newaxis]
        sound = np.empty((frames, 1), np.float32)
        EndlessTone(samples).copy_to(sound, 0)
        if steady:
            swell = rising_gain(round(DRONES_SWELL_S * RATE))
            sound[: len(swell)] *= swell
        else:
            begun = struck_in(samples, 0, RATE)
            sound[: len(begun)] = begun
        one = sound[:, 0].astype(np.float64)
        window = np.hanning(RATE // 25)
        turned = one * np.exp(-2j * np.pi * hz * np.arange(frames) / RATE)
        step = RATE // 200
        course = np.convolve(turned, window / window.sum(), "valid")[::step]
        phase = np.unwrap(np.angle(course))
        cents = 1200 * np.log2(1 + np.gradient(phase) / (2 * np.pi) * RATE / step / hz)
        level = np.convolve(one**2, window / window.sum(), "valid")[::step]
        seconds = (np.arange(len(level)) * step + len(window) / 2) / RATE
        found[name] = seconds, 10 * np.log10(level / level[-20:].mean()), cents
    return found


def _plot_drones(axes: Axes) -> None:
    cents_axes = axes.twinx()
    for (name, (seconds, level_db, cents)), style in zip(
        drone_starts().items(), ("-", "--"), strict=True
    ):
        axes.plot(seconds, level_db, style, color="C0", label=f"level, {name}")
        cents_axes.plot(seconds, cents, style, color="C3", linewidth=1, label=f"pitch, {name}")
    axes.set(title="A tenor drone begins", xlabel="seconds", ylabel="dB (blue)", ylim=(-30, 5))
    axes.set(xlim=(0, 0.7))
    cents_axes.set(ylabel="cents (red)", ylim=(-60, 10))
    lines = [*axes.get_lines(), *cents_axes.get_lines()]
    axes.legend(lines, [str(line.get_label()) for line in lines], loc="lower right", fontsize=8)
    axes.grid(alpha=0.3)
