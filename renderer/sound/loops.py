"""The notes of a preset to loops: FluidSynth plays each once, held and steady, and it is cut.

What comes out is judged on the way: a note that dies away or has no pitch is an error, and what had
to be corrected (tuning, vibrato, fading) is told.
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from renderer.errors import Problem, RungwiseError
from renderer.notation.pitch import Note
from renderer.sound.breaking_off import ask_to_go_on
from renderer.sound.kept_loops import PlayedLoops, kept_or_played
from renderer.sound.steady import (
    LEAST_LIKENESS,
    WIDEST_MISTUNING,
    LoopSpectrum,
    NotSteadyError,
    measure_period,
    seamless_loop,
    spectrum_of,
    stays,
    steady_start,
)
from renderer.sound.synth import SYNTH_RATE, SoundFontPlayer
from renderer.sound.tuning import Chanter
from renderer.sound.units import key_to_hz, ratio_to_cents
from renderer.sound.vibrato import without_vibrato
from renderer.sound.voices import Voice

Samples = NDArray[np.float32]

TENOR_DRONE_KEY = 57
BASS_DRONE_KEY = 45
"""The keys that sound an octave and two below the pipe chanter's low A (key 69)."""

_ATTACK_S = 1.0
_LATE_S = 8.0
_CHANTER_LOOP_S = (2.2, 5.0)
_CHANTER_SEAM_S = 0.15
_DRONE_LOOP_S = (12.8, 15.0)
_DRONE_SEAM_S = 1.0
_REPORTED_CENTS = 0.5
_STEADY = 0.95
_REPORTED_VIBRATO_CENTS = 2.0
_FADING_DB = 0.3
_BENT_DB = 3.0


@lru_cache(maxsize=8)
def nine_notes(voice: Voice, chanter: Chanter) -> PlayedLoops:
    """Return the loops of a chanter's nine notes.

    Raises `RungwiseError` if the SoundFont cannot be read or any of the notes cannot be used.
    """
    what = f"nine notes {chanter} {_told(voice)}"
    return kept_or_played(what, [voice.soundfont], lambda: _nine_notes(voice, chanter))


@lru_cache(maxsize=8)
def drones(tenor: Voice, bass: Voice) -> PlayedLoops:
    """Return the loops of a tenor and a bass drone; errors as for `nine_notes`."""
    what = f"drones {_told(tenor)} {_told(bass)}"
    return kept_or_played(what, [tenor.soundfont, bass.soundfont], lambda: _drones(tenor, bass))


def _told(voice: Voice) -> str:
    # Remarks name the file, so that its name counts too.
    return f"{voice.bank}:{voice.program} {voice.soundfont.name}"


def _nine_notes(voice: Voice, chanter: Chanter) -> PlayedLoops:
    octave = 12 if chanter is Chanter.PRACTICE else 0
    reading = _Reading(voice)
    spectra = []
    with SoundFontPlayer(voice.soundfont) as player:
        for note in Note:
            key = note.midi - octave
            counts = _counts(key, *_CHANTER_LOOP_S)
            spectra.append(reading.loop(player, key, note.label, counts, _CHANTER_SEAM_S))
    return reading.played(spectra)


def _drones(tenor: Voice, bass: Voice) -> PlayedLoops:
    high, low = _Reading(tenor), _Reading(bass)
    key = TENOR_DRONE_KEY
    with SoundFontPlayer(tenor.soundfont) as player:
        # Even, so that the bass, an octave below, has whole periods in the same loop.
        counts = _counts(key, *_DRONE_LOOP_S, step=2)
        one = high.loop(player, key, "the tenor drone", counts, _DRONE_SEAM_S)
    tenors = high.played([one])
    half = tenors.spectra[0].periods // 2
    with SoundFontPlayer(bass.soundfont) as player:
        counts = range(half, half + 1)
        two = low.loop(player, BASS_DRONE_KEY, "the bass drone", counts, _DRONE_SEAM_S)
    basses = low.played([two])
    return PlayedLoops(tenors.spectra + basses.spectra, tenors.remarks + basses.remarks)


def _counts(key: int, shortest_s: float, longest_s: float, step: int = 1) -> range:
    """Return the whole numbers of periods, multiples of `step`, that last about so long."""
    hz = key_to_hz(key)
    return range(math.ceil(shortest_s * hz / step) * step, int(longest_s * hz) + 1, step)


class _Reading:
    """Reads the notes of one preset, collecting what is wrong and what was corrected."""

    def __init__(self, voice: Voice) -> None:
        self._voice = voice
        self._unplayable: dict[str, list[str]] = {}
        self._mistuned: list[str] = []
        self._faded: list[str] = []
        self._vibrating: list[str] = []
        self._wavering: list[str] = []

    def loop(
        self, player: SoundFontPlayer, key: int, name: str, counts: range, seam_s: float
    ) -> LoopSpectrum | None:
        """Return the loop of one note, or None, the reason then being told by `played`."""
        voice = self._voice
        seam = round(seam_s * SYNTH_RATE)
        keys_period = SYNTH_RATE / key_to_hz(key)
        longest = math.ceil(counts[-1] * keys_period * WIDEST_MISTUNING)
        frames = round(_ATTACK_S * SYNTH_RATE) + seam + longest
        ask_to_go_on()
        note = player.play(voice.bank, voice.program, key, frames)
        ask_to_go_on()
        try:
            try:
                held = note[steady_start(note, SYNTH_RATE) :]
            except NotSteadyError as error:
                # It may fall for long before it stays at a level of its own.
                late = round(_LATE_S * SYNTH_RATE)
                held = player.play(voice.bank, voice.program, key, late + frames)[late:]
                if not stays(held, SYNTH_RATE):
                    raise error from None
            tone, fading_db = _without_fading(held)
            measured = measure_period(tone, keys_period)
            if measured.steadiness < _STEADY:
                tone, depth_cents = without_vibrato(tone, SYNTH_RATE / measured.period, SYNTH_RATE)
                measured = measure_period(tone, keys_period)
                if depth_cents > _REPORTED_VIBRATO_CENTS:
                    self._vibrating.append(f"{name} {depth_cents:.0f}")
            period = measured.period
            room = int((len(tone) - seam) / period)
            counts = range(counts.start, min(counts.stop, room), counts.step) or counts
            if counts[-1] * period + seam > len(tone):
                raise NotSteadyError("takes too long to settle")
            slack = 0.0 if measured.steadiness >= LEAST_LIKENESS else 0.25
            spectrum = spectrum_of(seamless_loop(tone, period, counts, seam, slack=slack))
        except NotSteadyError as error:
            self._unplayable.setdefault(str(error), []).append(name)
            return None
        cents = ratio_to_cents(keys_period * spectrum.periods / spectrum.frames)
        if abs(cents) > _REPORTED_CENTS:
            self._mistuned.append(f"{name} {cents:+.1f}")
        if slack:
            self._wavering.append(name)
        if abs(fading_db) > _FADING_DB:
            self._faded.append(name)
        return spectrum

    def played(self, spectra: list[LoopSpectrum | None]) -> PlayedLoops:
        """Return the loops with the remarks on them; raise `RungwiseError` if any is missing."""
        if self._unplayable:
            raise RungwiseError(self._problem(*item) for item in self._unplayable.items())
        remarks = []
        if self._mistuned:
            remarks.append(
                f"{self._voice} is out of tune by itself and has been corrected (cents): "
                f"{', '.join(self._mistuned)}."
            )
        if self._vibrating:
            remarks.append(
                f"{self._voice} has vibrato, which has been taken out (cents up and down): "
                f"{', '.join(self._vibrating)}."
            )
        if self._wavering:
            remarks.append(
                f"{self._voice} wavers by itself, so its pitch is right only on average: "
                f"{', '.join(self._wavering)}."
            )
        if self._faded:
            remarks.append(
                f"{self._voice} swells or fades while it is held and has been levelled: "
                f"{', '.join(self._faded)}."
            )
        return PlayedLoops(tuple(one for one in spectra if one is not None), tuple(remarks))

    def _problem(self, reason: str, names: list[str]) -> Problem:
        *others, last = names
        listed = f"{', '.join(others)} and {last}" if others else last
        return Problem(
            f"preset {self._voice.bank}:{self._voice.program} cannot play {listed}: "
            f"{'each' if others else 'it'} {reason}",
            "choose a preset that holds its notes as a bagpipe or a reed organ does",
            file=str(self._voice.soundfont),
        )


def _without_fading(tone: Samples) -> tuple[Samples, float]:
    """Return the tone with a steady rise or fall of its level taken out, and how many dB it was."""
    window = SYNTH_RATE // 4
    count = len(tone) // window
    levels = 10 * np.log10(np.mean(tone[: count * window].reshape(count, window) ** 2, axis=1))
    slope_db = float(np.polyfit(np.arange(count), levels, 1)[0])
    fading_db = slope_db * count
    if abs(fading_db) <= _FADING_DB:
        return tone, fading_db
    windows = (np.arange(len(tone)) / window) - 0.5
    bend = 1 if abs(fading_db) <= _BENT_DB else 4
    course = np.polynomial.Polynomial.fit(np.arange(count), levels, bend)
    away_db = course(np.clip(windows, 0, count - 1)) - course((count - 1) / 2)
    return (tone * np.power(10.0, -away_db / 20)).astype(np.float32), fading_db
