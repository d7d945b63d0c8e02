"""A short tour of every voice: a pitch to one track that plays them in turn.

Each stop of the tour is a track of its own, mixed as any other and at the same loudness; between
two there is half a second of silence. Blocks are 32-bit float arrays (frames, 2).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from renderer.notation.pitch import Note
from renderer.notation.score import Bar, Exercise, Item, Line, MelodyNote, Meter, Rest, Slot
from renderer.sound.bank import DroneBank
from renderer.sound.instrument import Instrument, make_instrument
from renderer.sound.mix import Track, mix_track
from renderer.sound.mix_settings import Mix, MixSettings
from renderer.sound.steady import LoopSpectrum
from renderer.sound.tuning import Chanter, PitchStandard, Scale
from renderer.sound.voices import Voice
from renderer.timing.expand import CountInStyle, Timeline, expand_at

_SILENCE_S = 0.5
_TEMPO = Fraction(80)
_METER = Meter(4, 4)
_BEAT = Fraction(1)

_UP_AND_DOWN = (*Note, *reversed(list(Note)[:-1]))
_DOUBLED = (Note.LOW_A, Note.B, Note.C, Note.E)


@dataclass(frozen=True, slots=True)
class Stop:
    """One stop of the tour: what is heard, and the track that lets it be heard."""

    label: str
    track: Track


@dataclass(frozen=True, slots=True)
class Tour:
    """The tour; iterating yields its blocks.

    Parameters
    ----------
    stops:
        What is played, in order.
    rate:
        Frames a second.
    remarks:
        Sentences on what had to be corrected in the presets.
    """

    stops: tuple[Stop, ...]
    rate: int
    remarks: tuple[str, ...]

    channels = 2

    @property
    def starts(self) -> tuple[int, ...]:
        """The frame at which each stop begins."""
        starts, at = [], 0
        for stop in self.stops:
            starts.append(at)
            at += stop.track.frames + self._silence
        return tuple(starts)

    @property
    def frames(self) -> int:
        """The length of the whole tour."""
        return self.starts[-1] + self.stops[-1].track.frames

    @property
    def _silence(self) -> int:
        return round(_SILENCE_S * self.rate)

    def __iter__(self) -> Iterator[NDArray[np.float32]]:
        for index, stop in enumerate(self.stops):
            if index:
                yield np.zeros((self._silence, self.channels), np.float32)
            yield from stop.track


def _exercise(items: tuple[Item, ...], bars: int = 1) -> Exercise:
    line = Line(tuple(Bar(items, _METER) for _ in range(bars)))
    return Exercise("Tour", (line,), tempo=_TEMPO)


def _notes(*notes: Note, beats: Fraction = _BEAT) -> tuple[Item, ...]:
    return tuple(MelodyNote(beats, (Slot(note),)) for note in notes)


def _doublings(*notes: Note) -> tuple[Item, ...]:
    def separating(note: Note) -> Note:
        return Note.F if note is Note.E else Note.D

    return tuple(
        MelodyNote(_BEAT, (Slot(note, Note.HIGH_G), Slot(note, separating(note)))) for note in notes
    )


def _alone(drones: DroneBank, *, tenors: bool) -> DroneBank:
    """Return the drones with the tenors, or the bass, silenced."""

    def silenced(one: LoopSpectrum) -> LoopSpectrum:
        return replace(one, bins=np.zeros_like(one.bins))

    if tenors:
        return replace(drones, bass=silenced(drones.bass))
    return replace(drones, tenor=silenced(drones.tenor), second_tenor=silenced(drones.second_tenor))


def _played(
    exercise: Exercise,
    count_in: int = 0,
    count_in_style: CountInStyle = "clicks",
    *,
    subdivide: bool = False,
) -> Timeline:
    return expand_at(
        exercise,
        exercise.tempo,
        count_in=count_in,
        count_in_style=count_in_style,
        repeats=1,
        echo=False,
        gap=0,
        subdivide=subdivide,
        noises=None,
        introduction=None,
    )


def _only_drones(instrument: Instrument, drones: DroneBank, mixing: MixSettings) -> Track:
    settings = replace(mixing, mix=Mix.BACKING, metronome=False)
    silence = _exercise((Rest(Fraction(4)),))
    return mix_track(_played(silence), replace(instrument, drones=drones), settings)


def tour(
    pitch: PitchStandard,
    scale: Scale,
    mixing: MixSettings,
    *,
    rate: int,
    voice: Voice | None = None,
    drone_voice: Voice | None = None,
    steady: bool,
) -> Tour:
    """Prepare a tour of every voice, about a minute and a half long.

    Parameters
    ----------
    pitch, scale:
        What the notes sound.
    mixing:
        How a whole track is mixed.
    rate:
        Frames a second.
    voice, drone_voice:
        Presets to be heard instead of the project's own, as for `make_instrument`.
    steady:
        Whether breath and reed are left out.

    Raises
    ------
    RungwiseError
        If FluidSynth is missing, or a preset cannot be used.
    """

    def instrument(chanter: Chanter) -> Instrument:
        return make_instrument(
            pitch,
            scale,
            chanter,
            rate=rate,
            voice=voice,
            drone_voice=drone_voice,
            steady=steady,
        )

    practice, pipe = instrument(Chanter.PRACTICE), instrument(Chanter.PIPE)
    alone = replace(mixing, mix=Mix.CHANTER)
    clicks = replace(mixing, mix=Mix.BACKING, drone=False)
    unclicked = replace(mixing, metronome=False)

    nine = _played(_exercise(_notes(*_UP_AND_DOWN, beats=_BEAT / 2)))
    doubled = _played(_exercise(_doublings(*_DOUBLED)))
    silent = _exercise((Rest(Fraction(4)),), bars=2)
    tune = _exercise(_doublings(*_DOUBLED), bars=2)
    stops = (
        Stop("practice chanter, the nine notes", mix_track(nine, practice, alone)),
        Stop("practice chanter, doublings", mix_track(doubled, practice, alone)),
        Stop("pipe chanter, the nine notes", mix_track(nine, pipe, alone)),
        Stop("pipe chanter, doublings", mix_track(doubled, pipe, alone)),
        Stop("tenor drones", _only_drones(pipe, _alone(pipe.drones, tenors=True), mixing)),
        Stop("bass drone", _only_drones(pipe, _alone(pipe.drones, tenors=False), mixing)),
        Stop("all drones", _only_drones(pipe, pipe.drones, mixing)),
        Stop(
            "metronome: accent, beats and subdivisions",
            mix_track(_played(silent, subdivide=True), pipe, clicks),
        ),
        Stop(
            "pipe band start: two rolls, drones on the second",
            mix_track(_played(tune, 1, "rolls"), pipe, unclicked),
        ),
        Stop(
            "practice track: count-in, drones, metronome",
            mix_track(_played(tune, 1), practice, mixing),
        ),
    )
    remarks = tuple(dict.fromkeys(practice.remarks + pipe.remarks))
    return Tour(stops, rate, remarks)
