"""A recording to the tuning of a chanter: nine pitches, each with what is known of it, and drones.

Pitches are in hertz. Those of notes and of low A are in the pipe chanter's octave, as players say
them, whichever chanter was heard; drones are as they sound. Distances are in cents, moments and
lengths in seconds.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import soxr
from numpy.typing import NDArray

from renderer.errors import WrongValueError
from renderer.listening.combs import LOWEST_HZ, Frames, frames_of, pitches, spectra
from renderer.listening.drones import LOW_RATE, Drones, drones_of, tenor_near
from renderer.listening.nine_notes import STRAY, Assigned, assign, scale_cents
from renderer.listening.stretches import HOP_S, Sounding, agreed, chunks, soundings_of
from renderer.notation.pitch import Note
from renderer.sound.tuning import (
    DEFAULT_SCALE,
    HIGHEST_LOW_A_HZ,
    LOWEST_LOW_A_HZ,
    Scale,
    scale_named,
    scales,
)

Samples = NDArray[np.float32]
Confidence = Literal["sure", "fair", "doubtful", "missing"]

SHORTEST_S = 2.0
"""A recording must be so long, and hold half as much of steady notes."""

_OPENING_S = 24.0
_CHUNK_S = 8.0
_LONGEST_LOW_S = 900.0
_SILENT_DB = -60.0
_SWELL_SOFT, _SWELL_USUAL = np.float32(8.0), np.float32(2.5)
"""Tenors that beat swell to so many times their soft and their usual power."""
_LOWEST_BY_TENOR, _LOWEST_PIPE_BY_TENOR = 0.8, 1.55
"""The lowest note of a practice chanter, and of a pipe chanter, lies above so many times the tenor
drones."""

_FULL_SOUNDING_S = 0.1
"""Shorter ones may be gracenotes, which sound as their own fingering does."""
_LEAST_TONAL_SHARE = 0.4
_LEAST_NOTES = 4
"""So many notes tell which is which, where low A is not among them."""
_MOST_STRAY_SHARE = 0.22
_MOST_UNSTEADY_CENTS = 22.0
_LEAST_PARTIALS = 3
FARTHEST_CENTS = 60.0
"""No note of a chanter that can be played with others lies farther from a scale (judgement)."""
_MOST_FULL_SCALE_SHARE = 0.03

PLAY = (
    "record the chanter alone or with drones: up and down the scale, each note held for two "
    "seconds, the phone two metres away"
)


@dataclass(frozen=True, slots=True)
class HeardNote:
    """What a recording says of one note.

    Parameters
    ----------
    note:
        Which.
    hz:
        Its pitch in the pipe chanter's octave; of one that is missing, the nearest scale's.
    cents:
        Above low A.
    spread_cents:
        How far its soundings lie apart: one standard deviation, weighted by their lengths.
    deviation_cents:
        How exactly the pitch is known: one standard deviation.
    seconds, soundings:
        How long and how often it was heard.
    confidence:
        `sure`, `fair`, `doubtful` or `missing`.
    """

    note: Note
    hz: float
    cents: float
    spread_cents: float
    deviation_cents: float
    seconds: float
    soundings: int
    confidence: Confidence

    @property
    def is_heard(self) -> bool:
        """Whether it was heard at all."""
        return self.soundings > 0


@dataclass(frozen=True, slots=True, eq=False)
class HeardChanter:
    """What a recording says of a chanter.

    Parameters
    ----------
    notes:
        All nine, from low G to high A.
    is_practice:
        Whether it sounds an octave lower than its pitches here.
    scale:
        The published scale that it is nearest to.
    off_scale_cents:
        How far it is from each published scale by name: root mean square of the notes heard.
    drones:
        Their pitches; None for none.
    seconds:
        How long the recording is.
    soundings:
        What was heard, in order.
    notes_of_soundings:
        Which note each is, 0 to 8, or -1 for a squeak.
    remarks:
        Sentences on what is missing or doubtful.
    """

    notes: tuple[HeardNote, ...]
    is_practice: bool
    scale: Scale
    off_scale_cents: dict[str, float]
    drones: Drones | None
    seconds: float
    soundings: tuple[Sounding, ...]
    notes_of_soundings: tuple[int, ...]
    remarks: tuple[str, ...]

    @property
    def low_a_hz(self) -> float:
        """Low A in the pipe chanter's octave."""
        return self.notes[Note.LOW_A].hz

    def off_cents(self, scale: Scale) -> NDArray[np.float64]:
        """Return how far each note is above a scale on the same low A, shape (9,)."""
        return np.array([one.cents for one in self.notes]) - scale_cents(scale)


@dataclass(slots=True)
class _Sums:
    """What is added up while a recording goes by."""

    seconds: float = 0.0
    loudest_db: float = -120.0
    loud_frames: int = 0
    pitched_frames: int = 0


class Hearing:
    """A recording that is being listened to, block by block.

    Parameters
    ----------
    rate:
        Frames a second of the blocks, at most 24,000.
    """

    def __init__(self, rate: int) -> None:
        self.rate = rate
        self._hop = round(HOP_S * rate)
        self._down = soxr.ResampleStream(rate, LOW_RATE, 1, dtype="float32")
        self._low: list[Samples] = []
        self._low_frames = 0
        self._held = np.empty(0, np.float32)
        self._held_second = 0.0
        self._steady: NDArray[np.float32] | None = None
        self._tenor: tuple[float, bool] | None = None
        self._lowest_hz = LOWEST_HZ
        self._is_practice: bool | None = None
        self.soundings: list[Sounding] = []
        self._sums = _Sums()

    def take(self, samples: Samples, *, is_last: bool = False) -> None:
        """Listen to the next chunk, of some seconds; the first is best 24 s long."""
        if self._low_frames < _LONGEST_LOW_S * LOW_RATE or is_last:
            low = self._down.resample_chunk(samples, last=is_last)
            self._low.append(low)
            self._low_frames += len(low)
        if self._sums.seconds == 0.0:
            self._begin(samples)
        self._sums.seconds += len(samples) / self.rate
        held = np.concatenate([self._held, samples])
        frames = self._frames(held)
        end = math.inf if is_last or not len(frames.seconds) else float(frames.seconds[-1])
        found, needed = soundings_of(
            held,
            self.rate,
            frames,
            first_second=self._held_second,
            until=end,
            over_drones=self._steady is not None,
        )
        self.soundings += found
        # The frames of the next chunk go on where those of this one end.
        keep = self._held_second + len(frames.seconds) * self._hop / self.rate
        first = max(0, round((min(needed, keep) - self._held_second) * self.rate))
        first = first // self._hop * self._hop
        self._count(frames, first)
        self._held = held[first:]
        self._held_second += first / self.rate

    @property
    def held_frames(self) -> int:
        """How many frames wait for the next chunk, since a note may go on in it."""
        return len(self._held)

    def _begin(self, opening: Samples) -> None:
        """Learn from the first chunk whether drones sound, and over them which chanter."""
        self._tenor = tenor_near(np.concatenate(self._low))
        if self._tenor is None:
            return
        tenor = self._tenor[0]
        power = spectra(opening, self.rate, self._hop)
        soft, usual = np.percentile(power, [20, 50], axis=0).astype(np.float32)
        self._steady = np.minimum(_SWELL_SOFT * soft, _SWELL_USUAL * usual)
        self._lowest_hz = _LOWEST_BY_TENOR * tenor
        hz, _ = pitches(power, self.rate, self._steady, self._lowest_hz)
        only_practice = np.count_nonzero((hz > 1.05 * tenor) & (hz < 1.68 * tenor))
        only_pipe = np.count_nonzero(hz > 2.1 * tenor)
        self._is_practice = bool(only_practice > only_pipe)
        if not self._is_practice:
            self._lowest_hz = _LOWEST_PIPE_BY_TENOR * tenor

    def _frames(self, samples: Samples) -> Frames:
        return frames_of(
            samples,
            self.rate,
            self._hop,
            first_second=self._held_second,
            drones=self._steady,
            lowest_hz=self._lowest_hz,
        )

    def _count(self, frames: Frames, first: int) -> None:
        # Those that the next chunk looks at again are counted there.
        count = min(len(frames.hz), first // self._hop) if first else len(frames.hz)
        if not count:
            return
        level = frames.level_db[:count]
        self._sums.loudest_db = max(self._sums.loudest_db, float(level.max()))
        self._sums.loud_frames += int(np.count_nonzero(level > _SILENT_DB))
        self._sums.pitched_frames += int(np.count_nonzero(frames.hz[:count] > 0))

    def chanter(self, *, full_scale_share: float = 0.0) -> HeardChanter:
        """Return what was heard, after the last chunk.

        Parameters
        ----------
        full_scale_share:
            The share of samples that reach full scale.

        Raises
        ------
        WrongValueError
            If there is no chanter to be heard, with what there is instead.
        """
        sums = self._sums
        _check_sound(sums, self.soundings, full_scale_share)
        drones = None
        if self._tenor is not None:
            near, has_bass = self._tenor
            drones = drones_of(np.concatenate(self._low), near, has_bass=has_bass)
        return _chanter(self.soundings, drones, self._is_practice, sums.seconds, full_scale_share)


def listen(
    blocks: Iterable[Samples], rate: int, *, heard: Callable[[float], None] = lambda _: None
) -> Hearing:
    """Listen to a whole recording.

    Parameters
    ----------
    blocks:
        Its samples, shape (frames,) each.
    rate:
        Frames a second, at most 24,000.
    heard:
        Called with the seconds listened to so far.
    """
    hearing = Hearing(rate)
    waiting: Samples | None = None
    for number, chunk in enumerate(_sized(blocks, rate)):
        if waiting is not None:
            hearing.take(waiting)
            heard(_OPENING_S + _CHUNK_S * (number - 1))
        waiting = chunk
    hearing.take(np.empty(0, np.float32) if waiting is None else waiting, is_last=True)
    return hearing


def _sized(blocks: Iterable[Samples], rate: int) -> Iterable[Samples]:
    """Yield one long chunk, by which drones are known, and shorter ones after it."""
    opening: list[Samples] = []
    count = 0
    stream = iter(blocks)
    for block in stream:
        opening.append(block)
        count += len(block)
        if count >= _OPENING_S * rate:
            break
    if opening:
        yield np.concatenate(opening)
    yield from chunks(stream, round(_CHUNK_S * rate))


def _percent(share: float) -> str:
    return f"{100 * share:.0f} %"


def _check_sound(sums: _Sums, soundings: list[Sounding], full_scale_share: float) -> None:
    if sums.seconds < SHORTEST_S:
        raise WrongValueError(f"it is {sums.seconds:.1f} s long, too short to measure", PLAY)
    if sums.loudest_db < _SILENT_DB:
        raise WrongValueError("it is silent", f"{PLAY}; check that the microphone was on")
    if full_scale_share > _MOST_FULL_SCALE_SHARE:
        raise WrongValueError(
            f"{_percent(full_scale_share)} of it is cut off at full scale (clipped): the chanter "
            "was too loud for the microphone",
            "record it from farther away, or with the level turned down",
        )
    steady = sum(one.seconds for one in soundings)
    loud_s = sums.loud_frames * HOP_S
    if steady < SHORTEST_S / 2 or steady < _LEAST_TONAL_SHARE * loud_s:
        raise WrongValueError(
            f"only {steady:.1f} s of {sums.seconds:.0f} s hold a pitch as a chanter does "
            "(what else is in it sounds like speech, noise or many notes at once)",
            PLAY,
        )


def _check_chanter(
    soundings: list[Sounding], assigned: Assigned, cents: NDArray[np.float64]
) -> None:
    seconds = np.array([one.seconds for one in soundings])
    stray = float(seconds[assigned.notes == STRAY].sum() / seconds.sum())
    if stray > _MOST_STRAY_SHARE:
        raise WrongValueError(
            f"{_percent(stray)} of what has a pitch in it is on no note of any chanter: this is "
            "other music",
            PLAY,
        )
    off = float(np.sqrt(np.average(cents**2, weights=seconds)))
    if off > _MOST_UNSTEADY_CENTS:
        raise WrongValueError(
            f"its notes are {off:.0f} cents apart each time they come: a chanter's stay where its "
            "reed puts them",
            PLAY,
        )
    partials = float(np.average([one.partials for one in soundings], weights=seconds))
    if partials < _LEAST_PARTIALS:
        raise WrongValueError(
            "its tones have hardly an overtone: this is a whistle or a voice, not a reed", PLAY
        )


def _check_places(facts: HeardChanter) -> None:
    off = facts.off_cents(facts.scale)
    heard = [one.note.label for one in facts.notes if one.is_heard]
    if not facts.notes[Note.LOW_A].is_heard and len(heard) < _LEAST_NOTES:
        raise WrongValueError(
            f"only {' and '.join(heard)} seem to be in it, and low A is not: which note is which "
            "cannot be told",
            PLAY,
        )
    far = [one for one in facts.notes if abs(off[one.note]) > FARTHEST_CENTS and one.is_heard]
    if len(far) > 1 or (far and len([one for one in facts.notes if one.is_heard]) < 5):
        places = ", ".join(f"{one.note.label} {off[one.note]:+.0f} cents" for one in far)
        raise WrongValueError(
            f"its notes lie on no chanter's scale (off the {facts.scale.name} scale by {places}): "
            "this is other music",
            PLAY,
        )


def _chanter(
    soundings: list[Sounding],
    drones: Drones | None,
    is_practice: bool | None,
    seconds: float,
    full_scale_share: float,
) -> HeardChanter:
    hz = np.array([one.hz for one in soundings])
    lengths = np.array([one.seconds for one in soundings])
    near = None if drones is None else 2 * float(np.mean(drones.tenors_hz))
    assigned = assign(hz, lengths, near_low_a_hz=near, is_practice=is_practice)
    if len(set(assigned.notes[assigned.notes != STRAY])) == 1:
        assigned = _as_low_a(assigned, hz)
    octave = 2.0 if assigned.is_practice else 1.0
    measured: dict[Note, tuple[float, float, float, float, int]] = {}
    off = np.zeros(len(soundings))
    for note in Note:
        mine = np.flatnonzero(assigned.notes == note)
        if not len(mine):
            continue
        full = mine[lengths[mine] >= _FULL_SOUNDING_S]
        used = full if len(full) else mine
        cents = 1200 * np.log2(hz[used] / hz[used[0]])
        deviations = np.array([soundings[i].deviation_hz / soundings[i].hz for i in used])
        mean, deviation = agreed(cents, deviations * 1200 / math.log(2))
        pitch = float(hz[used[0]] * 2 ** (mean / 1200))
        spread = float(np.sqrt(np.average((cents - mean) ** 2, weights=lengths[used])))
        off[mine] = 1200 * np.log2(hz[mine] / pitch)
        heard_s = float(lengths[mine].sum())
        measured[note] = (pitch * octave, spread, deviation, heard_s, len(used))
    _check_chanter(soundings, assigned, off)
    facts = _facts(measured, assigned, drones, seconds, soundings, full_scale_share)
    _check_places(facts)
    return facts


def _as_low_a(assigned: Assigned, hz: NDArray[np.float64]) -> Assigned:
    """Take the only note for low A, which who tunes by one note plays."""
    low_a = float(np.median(hz[assigned.notes != STRAY]))
    for is_practice, octave in ((False, 1), (True, 2)):
        if LOWEST_LOW_A_HZ <= low_a * octave <= HIGHEST_LOW_A_HZ:
            notes = np.where(assigned.notes == STRAY, STRAY, int(Note.LOW_A))
            return replace(assigned, notes=notes, low_a_hz=low_a * octave, is_practice=is_practice)
    raise WrongValueError(
        f"the only note in it is at {low_a:.0f} Hz, where no chanter has its low A", PLAY
    )


def _facts(
    measured: dict[Note, tuple[float, float, float, float, int]],
    assigned: Assigned,
    drones: Drones | None,
    seconds: float,
    soundings: list[Sounding],
    full_scale_share: float,
) -> HeardChanter:
    heard = np.array(sorted(measured))
    pitches = np.array([measured[Note(int(note))][0] for note in heard])
    off_scale: dict[str, float] = {}
    low_a_by: dict[str, float] = {}
    for scale in scales().values():
        places = 1200 * np.log2(pitches) - scale_cents(scale)[heard]
        if Note.LOW_A in measured:
            low_a = 1200 * math.log2(measured[Note.LOW_A][0])
        else:
            low_a = float(np.median(places))
        low_a_by[scale.name] = 2 ** (low_a / 1200)
        off_scale[scale.name] = float(np.sqrt(np.mean((places - low_a) ** 2)))
    # One note alone is as near to one scale as to another.
    alone = len(measured) == 1
    nearest = DEFAULT_SCALE if alone else min(off_scale, key=lambda name: off_scale[name])
    scale = scale_named(nearest)
    low_a_hz = low_a_by[nearest]
    notes = tuple(_heard_note(note, measured.get(note), low_a_hz, scale) for note in Note)
    return HeardChanter(
        notes,
        assigned.is_practice,
        scale,
        off_scale,
        drones,
        seconds,
        tuple(soundings),
        tuple(int(note) for note in assigned.notes),
        tuple(_remarks(notes, scale, full_scale_share)),
    )


def _heard_note(
    note: Note,
    found: tuple[float, float, float, float, int] | None,
    low_a_hz: float,
    scale: Scale,
) -> HeardNote:
    if found is None:
        cents = float(scale_cents(scale)[note])
        hz = low_a_hz * scale.ratio(note)
        return HeardNote(note, hz, cents, 0.0, math.inf, 0.0, 0, "missing")
    hz, spread, deviation, seconds, count = found
    confidence: Confidence = "doubtful"
    if seconds >= 1.0 and count >= 2 and deviation <= 1.0 and spread <= 8.0:
        confidence = "sure"
    elif seconds >= 0.4 and deviation <= 3.0 and spread <= 15.0:
        confidence = "fair"
    cents = 1200 * math.log2(hz / low_a_hz)
    return HeardNote(note, hz, cents, spread, deviation, seconds, count, confidence)


def _remarks(notes: tuple[HeardNote, ...], scale: Scale, full_scale_share: float) -> Iterable[str]:
    missing = [one.note.label for one in notes if not one.is_heard]
    if missing:
        filled = "their places are" if len(missing) > 1 else "its place is"
        yield f"Not heard: {', '.join(missing)}; {filled} taken from the {scale.name} scale."
    doubtful = [one.note.label for one in notes if one.confidence == "doubtful"]
    if doubtful:
        yield (
            f"Doubtful, since heard for too short or too unsteadily: {', '.join(doubtful)}. Play "
            "long notes to be sure."
        )
    if full_scale_share > _MOST_FULL_SCALE_SHARE / 10:
        yield (
            f"{100 * full_scale_share:.1f} % of the recording reaches full scale: record from "
            "farther away."
        )
