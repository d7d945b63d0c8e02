"""The tone bank: the presets of a SoundFont to the loops and strokes that a track is made of.

FluidSynth plays each note once, held and steady. Of what comes out, the steady part is found, its
pitch measured, and a loop of whole periods cut (`renderer.sound.steady`), which is then resampled
to exactly the frequency wanted at exactly the track's rate. FluidSynth's own tuning, in whole cents
rounded down, would beat against the drones. Every tone is an array of 32-bit floats (frames,),
full scale 1, at the track's rate.

Loops are read at the number of the frame in the track, modulo their length: as if all nine notes
always ran, so a note that returns never returns the same way, and nothing depends on where in a
track rendering begins. Over drones each begins at a frame of its own (`renderer.sound.unison`).
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import Any

import numpy as np
import soxr
from numpy.typing import NDArray

from renderer.errors import failure
from renderer.notation.pitch import Note
from renderer.sound.breaking_off import ask_to_go_on
from renderer.sound.breath import CHANTER, DRONE, SWING_TURNS, Breath, breathing, moved
from renderer.sound.fingers import Sounding
from renderer.sound.frames import HIGHEST_RATE, LOWEST_RATE
from renderer.sound.kept_banks import kept_or_computed
from renderer.sound.kept_files import Kept
from renderer.sound.loops import drones, nine_notes
from renderer.sound.loudness import k_energy, lufs, series_power
from renderer.sound.note_change import PARTING_HZ
from renderer.sound.own_soundfont import shipped_soundfont
from renderer.sound.steady import (
    HIGHEST_PARTIAL_OF_RATE,
    MOST_REPEATS,
    Loop,
    LoopSpectrum,
    retuned,
)
from renderer.sound.synth import SYNTH_RATE, SoundFontPlayer
from renderer.sound.tuning import (
    Chanter,
    PitchStandard,
    Scale,
    frequency_hz,
    tenor_drone_hz,
)
from renderer.sound.units import cents_to_ratio
from renderer.sound.voices import Voice
from renderer.technique.fingering import Fingering, fingering
from renderer.technique.fingering import sounding as note_of
from renderer.timing.timeline import ClickKind

Samples = NDArray[np.float32]

_STROKE_S = 1.0
_SILENT_DB = -84.0
_UNEVEN_LU = 1.5

FINGERED_PERIODS = 150
"""How many periods the loop of a fingering that is no note's own has at most."""

FIRST_CHANTER_SEED, FIRST_DRONE_SEED = 20, 40
"""The seeds of the breath of low G and of the first tenor; the others' are the numbers after."""


@dataclass(frozen=True, slots=True, eq=False)
class Tone:
    """A steady tone as a loop at the track's rate.

    Parameters
    ----------
    samples:
        Shape (frames,); repeats without a seam.
    periods:
        How many periods the loop holds.
    power:
        K-weighted mean square (`renderer.sound.loudness`).
    peak:
        Greatest absolute sample.
    nominal_hz:
        What the tone is meant to sound; `hz` is what it does.
    partials:
        The complex amplitudes of its partials, shape (partials,), the fundamental's first: those
        coefficients of its Fourier series that belong to whole multiples of its frequency.
    low:
        What of `samples` lies below `renderer.sound.note_change.PARTING_HZ`; None where no note
        change needs it.
    unbreathed:
        The partials before breath spread them, from which other fingerings are made.
    """

    samples: Samples
    periods: int
    power: float
    peak: float
    nominal_hz: float
    partials: NDArray[np.complex64]
    low: Samples | None = None
    unbreathed: NDArray[np.complex64] | None = None

    def hz(self, rate: int) -> float:
        """Return what the tone sounds, in hertz."""
        return self.periods * rate / len(self.samples)


@dataclass(frozen=True, slots=True, eq=False)
class ToneBank:
    """What a chanter sounds at the track's rate.

    Parameters
    ----------
    rate:
        Frames a second.
    tones:
        The nine notes, from low G to high A.
    chanter:
        Whose holes say what fingerings sound that are no note's own.
    remarks:
        Sentences on what had to be corrected.
    """

    rate: int
    tones: tuple[Tone, ...]
    chanter: Chanter
    remarks: tuple[str, ...] = ()
    _fingered: dict[Fingering, Tone] = field(default_factory=dict, repr=False)

    def tone(self, sounding: Sounding) -> Tone:
        """Return what a note or a fingering sounds; the latter is made when first asked for."""
        if isinstance(sounding, Note):
            return self.tones[sounding]
        if sounding not in self._fingered:
            self._fingered[sounding] = self._made(sounding)
        return self._fingered[sounding]

    def _made(self, closed: Fingering) -> Tone:
        """Return the note that a fingering is named by, moved as bore and holes say."""
        own = self.tones[note_of(closed)]
        highest = max(note.peak for note in self.tones)
        source = own.partials if own.unbreathed is None else own.unbreathed
        # Named by all that it is made of: who changes the note has another fingering.
        what = (
            f"fingering {sorted(map(int, closed))} {self.chanter} {own.nominal_hz} {highest} "
            f"{self.rate} {hashlib.sha256(np.ascontiguousarray(source).data).hexdigest()}"
        )
        kept = kept_or_computed(
            what, [], lambda: _kept_tones([self._moved(closed, source, own.nominal_hz, highest)])
        )
        return _tone_of(kept.told["tones"][0], iter(kept.arrays))

    def _moved(
        self, closed: Fingering, source: NDArray[np.complex64], nominal_hz: float, highest: float
    ) -> Tone:
        """Return the tone of a fingering, made of the partials of the note that it is named by.

        Its loop is some hundred periods: heard for less than a quarter of a second, it does not
        fluctuate. None peaks above the highest of the nine notes.
        """
        # Imported where it is needed: most tracks have no crossing noises that are not kept.
        from renderer.sound.acoustics.fingering_tone import fingered

        model = fingered(self.chanter, closed)
        usual = fingered(self.chanter, fingering(model.note))
        partials = source.copy()
        known = min(len(partials), len(usual.levels_db), len(model.levels_db))
        partials[:known] *= 10 ** ((model.levels_db[:known] - usual.levels_db[:known]) / 20)
        bins = np.concatenate(([0], partials)).astype(np.complex64)
        spectrum = LoopSpectrum(bins, 1, 2 * len(bins) - 2)
        target_hz = nominal_hz * cents_to_ratio(model.cents)
        tone = _tone(spectrum, target_hz, self.rate, most_repeats=FINGERED_PERIODS)
        # The model gives a few fingerings a fundamental that the reed would hardly sustain: such a
        # peak would make every track softer for its sake.
        return tone if tone.peak <= highest else _louder(tone, 20 * math.log10(highest / tone.peak))


@dataclass(frozen=True, slots=True, eq=False)
class DroneBank:
    """Two tenor drones and a bass drone, locked: the bass has half as many periods to a loop.

    Parameters
    ----------
    rate:
        The track's rate.
    tenor_hz:
        What the tenors sound.
    tenor, second_tenor, bass:
        Their loops as Fourier series. The second tenor is the first one half a loop on, its
        partials shifted in phase and level, so that the two sound as two and never beat.
    remarks:
        Sentences on what had to be corrected.
    """

    rate: int
    tenor_hz: float
    tenor: LoopSpectrum
    second_tenor: LoopSpectrum
    bass: LoopSpectrum
    remarks: tuple[str, ...] = ()

    def blend(self, tenor: float, second_tenor: float, bass: float) -> Tone:
        """Return one loop of the three with these amplitude factors; the period is the bass's."""
        # Named by the spectra themselves: who changes one of them has another blend.
        what = (
            f"blend {tenor} {second_tenor} {bass} {self.tenor_hz} {self.rate} {_told_apart(self)}"
        )
        kept = kept_or_computed(
            what, [], lambda: _kept_tones([self._blended(tenor, second_tenor, bass)])
        )
        return _tone_of(kept.told["tones"][0], iter(kept.arrays))

    def _blended(self, tenor: float, second_tenor: float, bass: float) -> Tone:
        parts = (
            (tenor, self.tenor.bins),
            (second_tenor, self.second_tenor.bins),
            (bass, self.bass.bins),
        )
        # All three have as many bins to the hertz, so those beyond the shortest are inaudible.
        heard = min(len(bins) for _, bins in parts)
        bins = sum(
            (np.float32(gain) * bins[:heard] for gain, bins in parts),
            np.zeros(heard, np.complex64),
        )
        together = LoopSpectrum(bins, self.bass.periods, self.tenor.frames)
        return _tone(together, self.tenor_hz / 2, self.rate, parted=False)


@lru_cache(maxsize=8)
def _told_apart(drones: DroneBank) -> str:
    """Return a digest of what drones are made of."""
    digest = hashlib.sha256()
    for one in (drones.tenor, drones.second_tenor, drones.bass):
        digest.update(f"{one.periods} {one.frames} ".encode())
        digest.update(np.ascontiguousarray(one.bins).data)
    return digest.hexdigest()


@dataclass(frozen=True, slots=True, eq=False)
class Stroke:
    """A struck sound at the track's rate, from its first frame to where it has died away.

    `energy` is its K-weighted sum of squares, `peak` its greatest absolute sample.
    """

    samples: Samples
    energy: float
    peak: float


@dataclass(frozen=True, slots=True, eq=False)
class Percussion:
    """The metronome's clicks and the snare drum's strokes at the track's rate."""

    rate: int
    clicks: dict[ClickKind, Stroke]
    snare_left: Stroke
    snare_right: Stroke
    snare_buzz: Stroke


def check_rate(rate: int) -> None:
    """Raise `RungwiseError` if tracks cannot be rendered at `rate` frames a second."""
    if not LOWEST_RATE <= rate <= HIGHEST_RATE:
        raise failure(
            f"a track cannot be rendered at {rate} Hz",
            f"choose a rate from {LOWEST_RATE} to {HIGHEST_RATE}; 44100 or 48000 suit every player",
        )


@lru_cache(maxsize=4)
def tone_bank(
    voice: Voice,
    pitch: PitchStandard,
    scale: Scale,
    chanter: Chanter,
    rate: int,
    *,
    steady: bool,
) -> ToneBank:
    """Make the nine notes of a chanter.

    Parameters
    ----------
    voice:
        The preset that plays them.
    pitch, scale, chanter:
        What they sound.
    rate:
        The track's rate, 8000 to 192000 frames a second.
    steady:
        Whether breath and reed are left out.

    Raises
    ------
    RungwiseError
        If FluidSynth is missing, the file is no SoundFont or lacks the preset, or any of the nine
        notes is silent, dies away or has no pitch.
    """
    check_rate(rate)
    what = f"tone bank {voice} {pitch} {scale} {chanter} {rate} {steady}"
    kept = kept_or_computed(
        what,
        [voice.soundfont],
        lambda: _kept_bank(_tone_bank(voice, pitch, scale, chanter, rate, steady=steady)),
    )
    arrays = iter(kept.arrays)
    tones = tuple(_tone_of(told, arrays) for told in kept.told["tones"])
    return ToneBank(rate, tones, chanter, tuple(kept.told["remarks"]))


def _tone_bank(
    voice: Voice, pitch: PitchStandard, scale: Scale, chanter: Chanter, rate: int, *, steady: bool
) -> ToneBank:
    played = nine_notes(voice, chanter)
    targets = [frequency_hz(note, pitch, scale, chanter) for note in Note]
    tones = [
        _tone(
            spectrum,
            target,
            rate,
            living=None if steady else _living(spectrum, target, voice, CHANTER, seed),
        )
        for seed, (spectrum, target) in enumerate(
            zip(played.spectra, targets, strict=True), FIRST_CHANTER_SEED
        )
    ]
    loudness = np.array([lufs(tone.power) for tone in tones])
    remarks = list(played.remarks)
    if np.ptp(loudness) > _UNEVEN_LU:
        tones = [
            _louder(tone, float(loudness.mean()) - float(level))
            for tone, level in zip(tones, loudness, strict=True)
        ]
        remarks.append(
            f"{voice} plays its notes up to {np.ptp(loudness):.1f} LU apart; "
            "they have been brought to one loudness."
        )
    return ToneBank(rate, tuple(tones), chanter, tuple(remarks))


_ARRAYS = ("samples", "partials", "low", "unbreathed")


def _kept_bank(bank: ToneBank) -> Kept:
    return _kept_tones(bank.tones, bank.remarks)


def _kept_tones(kept: Iterable[Tone], remarks: Sequence[str] = ()) -> Kept:
    tones = []
    arrays: list[NDArray[Any]] = []
    for tone in kept:
        there = [name for name in _ARRAYS if getattr(tone, name) is not None]
        arrays += [getattr(tone, name) for name in there]
        tones.append([tone.periods, tone.power, tone.peak, tone.nominal_hz, there])
    return Kept({"tones": tones, "remarks": remarks}, arrays)


def _tone_of(told: Sequence[Any], arrays: Iterator[NDArray[Any]]) -> Tone:
    periods, power, peak, nominal_hz, there = told
    own = {name: next(arrays) for name in there}
    return Tone(
        own["samples"],
        periods,
        power,
        peak,
        nominal_hz,
        own["partials"],
        own.get("low"),
        own.get("unbreathed"),
    )


@lru_cache(maxsize=4)
def drone_bank(
    tenor: Voice, bass: Voice, pitch: PitchStandard, rate: int, *, steady: bool
) -> DroneBank:
    """Make the drones; parameters and errors as for `tone_bank`."""
    check_rate(rate)
    kept = kept_or_computed(
        f"drone bank {tenor} {bass} {pitch} {rate} {steady}",
        [tenor.soundfont, bass.soundfont],
        lambda: _kept_drones(_drone_bank(tenor, bass, pitch, rate, steady=steady)),
    )
    first, second, low = (
        LoopSpectrum(bins, periods, frames)
        for bins, (periods, frames) in zip(kept.arrays, kept.told["spectra"], strict=True)
    )
    told = kept.told
    return DroneBank(rate, told["tenor_hz"], first, second, low, tuple(told["remarks"]))


def _kept_drones(bank: DroneBank) -> Kept:
    spectra = (bank.tenor, bank.second_tenor, bank.bass)
    told = {
        "tenor_hz": bank.tenor_hz,
        "spectra": [(one.periods, one.frames) for one in spectra],
        "remarks": bank.remarks,
    }
    return Kept(told, [one.bins for one in spectra])


def _drone_bank(
    tenor: Voice, bass: Voice, pitch: PitchStandard, rate: int, *, steady: bool
) -> DroneBank:
    played = drones(tenor, bass)
    first, low = played.spectra
    second, hz = _second_tenor(first), tenor_drone_hz(pitch)
    if not steady:
        swing = SWING_TURNS * np.sin(2 * np.pi * np.arange(second.periods) / second.periods)
        first = _living(first, hz, tenor, DRONE, FIRST_DRONE_SEED)
        second = moved(_living(second, hz, tenor, DRONE, FIRST_DRONE_SEED + 1), swing)
        low = _living(low, hz / 2, bass, DRONE, FIRST_DRONE_SEED + 2)
    return DroneBank(rate, hz, first, second, low, played.remarks)


def _living(
    spectrum: LoopSpectrum, hz: float, voice: Voice, breath: Breath, seed: int
) -> LoopSpectrum:
    """Return a loop with breath in it; recorded voices keep what they have of their own."""
    if voice.soundfont != shipped_soundfont():
        return spectrum
    ask_to_go_on()
    return breathing(spectrum, hz, breath, seed)


_CLICK_KEYS = {ClickKind.SUBDIVISION: 75, ClickKind.ACCENT: 76, ClickKind.BEAT: 77}
_SNARE_RIGHT_KEY, _SNARE_BUZZ_KEY, _SNARE_LEFT_KEY = 38, 39, 40


@lru_cache(maxsize=8)
def percussion(rate: int) -> Percussion:
    """Make the clicks and strokes of the project's own SoundFont; errors as for `tone_bank`."""
    check_rate(rate)
    kept = kept_or_computed(
        f"percussion {rate}", [shipped_soundfont()], lambda: _kept_strokes(_percussion(rate))
    )
    strokes = [
        Stroke(samples, energy, peak)
        for samples, (energy, peak) in zip(kept.arrays, kept.told["strokes"], strict=True)
    ]
    clicks = dict(zip(_CLICK_KEYS, strokes, strict=False))
    return Percussion(rate, clicks, *strokes[len(clicks) :])


def _kept_strokes(made: Percussion) -> Kept:
    clicks = [made.clicks[kind] for kind in _CLICK_KEYS]
    strokes = [*clicks, made.snare_left, made.snare_right, made.snare_buzz]
    told = {"strokes": [(one.energy, one.peak) for one in strokes]}
    return Kept(told, [one.samples for one in strokes])


def _percussion(rate: int) -> Percussion:
    with SoundFontPlayer(shipped_soundfont()) as player:

        def stroke(key: int) -> Stroke:
            ask_to_go_on()
            return _stroke(player.play(128, 0, key, round(_STROKE_S * SYNTH_RATE)), rate)

        return Percussion(
            rate,
            {kind: stroke(key) for kind, key in _CLICK_KEYS.items()},
            snare_left=stroke(_SNARE_LEFT_KEY),
            snare_right=stroke(_SNARE_RIGHT_KEY),
            snare_buzz=stroke(_SNARE_BUZZ_KEY),
        )


def _second_tenor(tenor: LoopSpectrum) -> LoopSpectrum:
    """Return the other tenor drone: same pitch, other moment, partials a little different.

    The constants spread phases over plus or minus 60 degrees and levels over plus or minus 1.5 dB
    without any pattern that repeats from partial to partial: fractional parts of multiples of the
    golden ratio and of the square root of 2.
    """
    index = np.arange(len(tenor.bins))
    partial = np.round(index / tenor.periods)
    turns = ((partial * 0.6180339887) % 1.0 - 0.5) / 3.0
    levels_db = 3.0 * ((partial * 0.4142135624) % 1.0 - 0.5)
    half_a_loop_on = np.where(index % 2 == 0, 1.0, -1.0)
    factors = half_a_loop_on * 10 ** (levels_db / 20) * np.exp(2j * np.pi * turns)
    bins = (tenor.bins * factors).astype(np.complex64)
    return LoopSpectrum(bins, tenor.periods, tenor.frames)


def _tone(
    spectrum: LoopSpectrum,
    target_hz: float,
    rate: int,
    *,
    living: LoopSpectrum | None = None,
    most_repeats: int = MOST_REPEATS,
    parted: bool = True,
) -> Tone:
    """Return what a loop sounds: `living`, or `spectrum` itself."""
    ask_to_go_on()
    sounding = spectrum if living is None else living
    periods, hz_per_bin = spectrum.periods, target_hz / spectrum.periods
    highest = int(HIGHEST_PARTIAL_OF_RATE * rate / hz_per_bin)

    def loop_up_to(highest_bin: int) -> Loop:
        kept = replace(sounding, bins=sounding.bins[: highest_bin + 1])
        made = retuned(kept, rate / target_hz, most_repeats=most_repeats)
        made.samples.flags.writeable = False
        return made

    loop = loop_up_to(highest)
    # Half way between two partials, so that none is torn apart.
    low_highest = round((math.floor(PARTING_HZ / target_hz) + 0.5) * periods)
    return Tone(
        loop.samples,
        loop.periods,
        series_power(sounding.bins[: highest + 1], hz_per_bin),
        float(np.abs(loop.samples).max()),
        target_hz,
        sounding.bins[periods : highest + 1 : periods],
        loop_up_to(low_highest).samples if parted else None,
        spectrum.bins[periods : highest + 1 : periods],
    )


def _louder(tone: Tone, db: float) -> Tone:
    gain = 10 ** (db / 20)
    samples = (tone.samples * gain).astype(np.float32)
    samples.flags.writeable = False
    return replace(
        tone,
        samples=samples,
        power=tone.power * gain**2,
        peak=tone.peak * gain,
        partials=(tone.partials * gain).astype(np.complex64),
        low=None if tone.low is None else (tone.low * gain).astype(np.float32),
        unbreathed=None if tone.unbreathed is None else (tone.unbreathed * gain),
    )


def _stroke(played: Samples, rate: int) -> Stroke:
    """Cut a stroke to where it is heard, and bring it to the track's rate."""
    peak = float(np.abs(played).max())
    heard = np.flatnonzero(np.abs(played) > peak * 10 ** (_SILENT_DB / 20))
    cut = played[heard[0] : heard[-1] + 1]
    samples = (
        cut
        if rate == SYNTH_RATE
        else np.asarray(soxr.resample(cut, SYNTH_RATE, rate, quality="VHQ"), np.float32)
    )
    samples = samples.copy()
    samples.flags.writeable = False
    return Stroke(samples, k_energy(samples, rate), float(np.abs(samples).max()))
