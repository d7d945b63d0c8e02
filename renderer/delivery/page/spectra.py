"""The sound of a page: an instrument to spectral lines, strokes and gains as what JSON holds.

A page makes its loops by itself (`tones.js`), from the lines of each tone's Fourier series. Of
those it gets the strongest, until what is left out lies `LEFT_OUT_DB` below the tone. Breath, noise
and detuning are worked out there from the constants of `renderer.sound`, so one set of lines serves
every pitch. Binary data are base64 of little-endian numbers.
"""

from __future__ import annotations

import base64
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from renderer.notation.pitch import Note
from renderer.sound import balance as levels
from renderer.sound import (
    bank,
    breath,
    drones_part,
    noise,
    note_change,
    rolls,
    splice,
    steady,
    strike_in,
)
from renderer.sound.fingers import Sounding, named_note, own_note
from renderer.sound.instrument import Instrument
from renderer.sound.mix_settings import Layout, MixSettings
from renderer.sound.steady import LoopSpectrum
from renderer.sound.tuning import PitchStandard, Scale, frequency_hz, tenor_drone_hz
from renderer.sound.unison import Beginning
from renderer.technique.finger_changes import gracenote_fingering, noise_fingering
from renderer.technique.fingering import Finger, Fingering, fingering
from renderer.timing.expand import Timeline
from renderer.timing.timeline import ClickKind

LEFT_OUT_DB = -70.0
"""What of a tone is not sent, beside the whole of it. A page is to differ from a track by less than
-60 dB."""

_DRONES_LEFT_OUT_DB = -70.0
_STRONG = 600
"""Lines that are sent as 32-bit floats; the weaker ones as bytes, 40 dB below."""


def _packed(values: NDArray[Any]) -> str:
    return base64.b64encode(values.astype(values.dtype.newbyteorder("<")).tobytes()).decode()


def lines_of(spectrum: LoopSpectrum, left_out_db: float, gain: float = 1.0) -> dict[str, Any]:
    """Return the strongest lines of a loop's series as JSON holds them.

    Parameters
    ----------
    spectrum:
        The loop.
    left_out_db:
        The power of all that is left out, in decibels of the whole.
    gain:
        By what a player multiplies the loop.
    """
    bins = spectrum.bins.astype(np.complex128)
    power = np.abs(bins) ** 2
    order = np.argsort(-power, kind="stable")
    beyond = power.sum() - np.cumsum(power[order])
    count = 1 + int(np.argmax(beyond <= power.sum() * 10 ** (left_out_db / 10)))
    strong = np.sort(order[:_STRONG])
    weak = np.sort(order[_STRONG : max(count, _STRONG)])
    at, gaps = 0, []
    values: list[complex] = []
    for bin_number in weak:
        while bin_number - at > 65_535:
            gaps.append(65_535)
            values.append(0j)
            at += 65_535
        gaps.append(int(bin_number) - at)
        values.append(complex(bins[bin_number]))
        at = int(bin_number)
    pairs = np.array([(value.real, value.imag) for value in values]).reshape(-1, 2)
    largest = np.maximum(np.abs(pairs).max(axis=1, initial=0.0), 1e-30)
    exponents = np.ceil(np.log2(largest / 127)).clip(-127, 127)
    floats = np.stack((bins[strong].real, bins[strong].imag), axis=1)
    return {
        "periods": spectrum.periods,
        "gain": gain,
        "strong_at": _packed(strong.astype(np.int32)),
        "strong": _packed(floats.astype(np.float32)),
        "weak_gaps": _packed(np.array(gaps, np.uint16)),
        "weak_exponents": _packed(exponents.astype(np.int8)),
        "weak": _packed(np.rint(pairs / 2 ** exponents[:, np.newaxis]).astype(np.int8)),
    }


def _stroke(stroke: bank.Stroke) -> dict[str, Any]:
    scaled = np.rint(stroke.samples / stroke.peak * 32_767).astype(np.int16)
    return {"peak": stroke.peak, "samples": _packed(scaled)}


Gracenote = tuple[Note, Note]
"""A gracenote and the note that it leads."""


@dataclass(frozen=True, slots=True)
class Noise:
    """A crossing noise and what it lies between.

    Parameters
    ----------
    previous, gracenote, note:
        The note before, and the gracenote (or None) and the note of what follows.
    before_gracenote:
        Whether it sounds before that gracenote.
    heard:
        What sounds.
    """

    previous: Note
    gracenote: Note | None
    note: Note
    before_gracenote: bool
    heard: Note


@dataclass(frozen=True, slots=True)
class Soundings:
    """The tones of a page by number: the nine notes, from low G up, then other fingerings.

    Parameters
    ----------
    fingerings:
        Those others, in order.
    gracenotes:
        The number of what a gracenote sounds: by the note before it (the tenth is silence), the
        gracenote and the note that it leads; None where the page has no such gracenote.
    noises:
        The number of what a crossing noise sounds, by `before/after/heard`: the number of the tone
        before it, the note or gracenote after it, and what is heard.
    """

    fingerings: tuple[Fingering, ...]
    gracenotes: tuple[tuple[tuple[int | None, ...], ...], ...]
    noises: dict[str, int]


def soundings_of(
    gracenotes: Iterable[Gracenote], noises: Iterable[Noise], *, pure: bool
) -> Soundings:
    """Return what is needed to sound these gracenotes after whatever note a loop puts before them.

    `pure` gracenotes sound as the note that they are called after, crossing noises as what is
    heard.
    """
    found: dict[Sounding, int] = {note: note.value for note in Note}
    table: list[list[list[int | None]]] = [[[None] * 9 for _ in Note] for _ in range(10)]
    for gracenote, target in sorted(set(gracenotes)):
        for before in (*Note, None):
            sounds: Sounding = gracenote
            if not pure:
                previous = target if before is None else before
                sounds = own_note(gracenote_fingering(previous, gracenote, target))
            number = found.setdefault(sounds, len(found))
            table[9 if before is None else before.value][gracenote.value][target.value] = number
    numbers: dict[str, int] = {}
    for one in sorted(set(noises), key=str):
        from_tone: Sounding = one.previous
        after = one.note
        if one.gracenote is not None and one.before_gracenote:
            after = one.gracenote
        elif one.gracenote is not None and pure:
            from_tone = one.gracenote
        elif one.gracenote is not None:
            fingers = gracenote_fingering(one.previous, one.gracenote, one.note)
            from_tone = own_note(fingers)
        noise_sounds: Sounding = one.heard
        if not pure:
            closed = fingering(from_tone) if isinstance(from_tone, Note) else from_tone
            noise_sounds = own_note(noise_fingering(closed, fingering(after), one.heard))
        number = found.setdefault(noise_sounds, len(found))
        numbers[f"{found[from_tone]}/{after.value}/{one.heard.value}"] = number
    others = tuple(one for one in found if not isinstance(one, Note))
    return Soundings(others, tuple(tuple(map(tuple, rows)) for rows in table), numbers)


def _mask(closed: Fingering) -> str:
    return "".join("x" if finger in closed else "-" for finger in Finger)


def fingerings_of(soundings: Soundings) -> list[str]:
    """Return which holes each tone closes, as the chart writes it, from the left thumb down."""
    return [_mask(fingering(note)) for note in Note] + list(map(_mask, soundings.fingerings))


def _fingered(instrument: Instrument, closed: Fingering) -> dict[str, Any]:
    tone = instrument.chanter.tone(closed)
    note = named_note(closed)
    usual = instrument.chanter.tone(note)
    partials = np.stack((tone.partials.real, tone.partials.imag), axis=1)
    return {
        "note": note.value,
        "cents": 1200 * math.log2(tone.nominal_hz / usual.nominal_hz),
        "partials": _packed(partials.astype(np.float32)),
    }


def _gain(tone: bank.Tone, spectrum: LoopSpectrum) -> float:
    """By what the bank has multiplied a preset's note, so that all nine are as loud."""
    own = tone.partials if tone.unbreathed is None else tone.unbreathed
    return float(abs(own[0]) / abs(spectrum.bins[spectrum.periods]))


def sound_data(
    instrument: Instrument, notes: Sequence[LoopSpectrum], soundings: Soundings, *, living: bool
) -> dict[str, Any]:
    """Return the constants and lines that a page's sound is made of.

    Parameters
    ----------
    instrument:
        At any of the page's pitches.
    notes:
        The series of the nine notes, without breath (`renderer.sound.loops.nine_notes`).
    soundings:
        The tones that sound.
    living:
        Whether breath is worked into the loops.
    """
    tones = instrument.chanter.tones
    return {
        "rate": instrument.rate,
        "highest_of_rate": steady.HIGHEST_PARTIAL_OF_RATE,
        "exact_enough": steady.EXACT_ENOUGH,
        "most_repeats": steady.MOST_REPEATS,
        "fingered_repeats": bank.FINGERED_PERIODS,
        "parting_hz": note_change.PARTING_HZ,
        "changes": {
            "change_s": note_change.CHANGE_S,
            "uneven": note_change.UNEVEN,
            "silence_s": splice.SILENCE_CHANGE_S,
            "first_s": splice.FIRST_CHANGE_S,
            "slack": note_change.SLACK,
            "high_share": note_change.HIGH_SHARE,
            "thump_periods": note_change.THUMP_PERIODS,
            "lift_db": note_change.LIFT_DB,
            "stroke_db": note_change.STROKE_DB,
            "thump_db": note_change.THUMP_DB,
        },
        "noise": {
            "lowest": noise.LOWEST_HZ,
            "highest": noise.HIGHEST_HZ,
            "frames": noise.LOOP_FRAMES,
            "seed": noise.SEED,
        },
        "chanter_breath": _breath(breath.CHANTER) if living else None,
        "chanter_seed": bank.FIRST_CHANTER_SEED,
        "notes": [
            lines_of(spectrum, LEFT_OUT_DB, _gain(tone, spectrum))
            for tone, spectrum in zip(tones, notes, strict=True)
        ],
        "fingered": [_fingered(instrument, one) for one in soundings.fingerings],
        "clicks": {kind.value: _stroke(instrument.percussion.clicks[kind]) for kind in ClickKind},
    }


def drone_data(drones: bank.DroneBank, *, living: bool) -> dict[str, Any]:
    """Return the lines of the drones, which are without breath, and how they strike in."""
    near, far, middle = levels.drone_shares()
    spectra = (drones.tenor, drones.second_tenor, drones.bass)
    return {
        "drones": [lines_of(spectrum, _DRONES_LEFT_OUT_DB) for spectrum in spectra],
        "drone_pan": [[near, far], [far, near], [middle, middle]],
        "drone_breath": _breath(breath.DRONE) if living else None,
        "drone_seed": bank.FIRST_DRONE_SEED,
        "swing": breath.SWING_TURNS,
        "swell_s": drones_part.DRONES_SWELL_S,
        "strike": {
            "strike_s": strike_in.STRIKE_S,
            "unsettled_s": strike_in.UNSETTLED_S,
            "rise_s": strike_in.RISE_S,
            "flat_cents": strike_in.FLAT_CENTS,
            "trembling": strike_in.TREMBLING,
            "bright": strike_in.BRIGHT,
            "trembling_hz": list(strike_in.TREMBLING_HZ),
            "trembling_hz_count": strike_in.TREMBLING_LINES,
            "smoothing": strike_in.SMOOTHING_HZ,
            "seed": strike_in.SEED,
        }
        if living
        else None,
    }


def roll_data(instrument: Instrument) -> dict[str, Any]:
    """Return the strokes and constants that the snare drum's rolls are made of."""
    percussion = instrument.percussion
    return {
        "roll": {
            "plain": _stroke(percussion.snare_right),
            "buzz": _stroke(percussion.snare_buzz),
            "buzzes_a_second": rolls.BUZZES_A_SECOND,
            "buzz_db": rolls.BUZZ_DB,
            "left_hand_db": rolls.LEFT_HAND_DB,
            "liveliness_db": rolls.LIVELINESS_DB,
            "round_from": rolls.ROUND_FROM,
        }
    }


def _breath(one: breath.Breath) -> dict[str, float]:
    return {
        "wandering": one.wandering_cents,
        "noise": one.noise_db,
        "slowest": breath.SLOWEST_HZ,
        "fastest": breath.FASTEST_HZ,
    }


def pitch_data(
    pitch: PitchStandard,
    scale: Scale,
    instrument: Instrument,
    timeline: Timeline,
    mixing: MixSettings,
    soundings: Soundings,
) -> dict[str, Any]:
    """Return what a page needs to know of one pitch.

    Parameters
    ----------
    pitch, scale, instrument:
        The pitch, and what sounds at it.
    timeline, mixing:
        A track by which the levels of all are set: how loud a page is does not change from line to
        line.
    soundings:
        The tones that sound. Other fingerings than those of the nine notes are told by their
        partials at the page's first pitch; here, how strong the first of these is.
    """
    found = levels.balance(timeline, instrument, mixing)
    chanter = instrument.chanter.chanter
    return {
        "label": pitch.label,
        "low_a_hz": frequency_hz(Note.LOW_A, pitch, scale, chanter),
        "hz": [frequency_hz(note, pitch, scale, chanter) for note in Note],
        "tenor_hz": tenor_drone_hz(pitch),
        "shifts": [one.shift for one in found.beginnings],
        "locked": [one != Beginning() for one in found.beginnings],
        "fingered": [
            float(abs(instrument.chanter.tone(one).partials[0])) for one in soundings.fingerings
        ],
        "gains": {
            "chanter": found.gains.chanter,
            "drones": found.gains.drones,
            "clicks": found.gains.clicks,
            "rolls": found.gains.rolls,
        },
    }


def usual_mixing(mixing: MixSettings) -> MixSettings:
    """Return the mix that a page sets its levels by: everything is heard, in two channels."""
    return replace(mixing, layout=Layout.STEREO, drone=True, metronome=True, room="none")
