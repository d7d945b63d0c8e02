"""Exercises, instruments and rendered tracks for the tests of sound."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from renderer.notation.length import Length
from renderer.notation.pitch import Note
from renderer.notation.playing import Inner
from renderer.notation.score import (
    Bar,
    Exercise,
    Gracenotes,
    Item,
    Line,
    MelodyNote,
    Meter,
    Rest,
    Slot,
)
from renderer.order.settings import read_settings
from renderer.sound.instrument import Instrument, make_instrument
from renderer.sound.mix import mix_track
from renderer.sound.mix_settings import Layout, Levels, Mix, MixSettings
from renderer.sound.tuning import Chanter, parse_pitch, scale_named
from renderer.timing.expand import Timeline

Samples = NDArray[np.float32]


def mixing(**given: Any) -> MixSettings:
    """How a track is mixed; what is left out is as usual."""
    return read_settings(given).mixing


def levels(**decibels: float) -> Levels:
    """Levels of the parts; those left out are as usual."""
    return replace(mixing().levels, **decibels)


ALONE = mixing(mix=Mix.CHANTER, layout=Layout.MONO)


@cache
def instrument(
    pitch: str = "478",
    scale: str = "harmonic",
    chanter: Chanter = Chanter.PRACTICE,
    rate: int = 44_100,
    *,
    steady: bool = False,
) -> Instrument:
    """The shipped voices."""
    return make_instrument(
        parse_pitch(pitch), scale_named(scale), chanter, rate=rate, steady=steady
    )


def plain(*notes: Note | None, beats: int | Fraction = 1) -> tuple[Item, ...]:
    """Notes without gracenotes, all of one length; None is a rest."""
    length = Fraction(beats)
    return tuple(
        Rest(length) if note is None else MelodyNote(length, (Slot(note),)) for note in notes
    )


def doubled(*notes: Note) -> tuple[Item, ...]:
    """Doublings, one beat each."""
    return tuple(
        MelodyNote(
            Fraction(1),
            (Slot(note, Note.HIGH_G), Slot(note, Note.F if note is Note.E else Note.D)),
        )
        for note in notes
    )


def exercise(
    *lines: tuple[Item, ...],
    tempo: int = 60,
    meter: Meter | None = None,
    gracenote_ms: int = 45,
    inner: Inner | None = None,
) -> Exercise:
    """One bar a line, of just as many beats as the line has."""
    return Exercise(
        "Test",
        tuple(
            Line((Bar(items, meter or Meter(int(sum(item.beats for item in items)), 4)),))
            for items in lines
        ),
        tempo=Fraction(tempo),
        gracenotes=Gracenotes(Length(Fraction(gracenote_ms), "ms")),
        inner=inner or Inner((Length(Fraction(1, 2), "beat"),)),
    )


def rendered(
    timeline: Timeline, settings: MixSettings = ALONE, played_on: Instrument | None = None
) -> Samples:
    """A whole track, shape (frames, channels)."""
    return np.concatenate(list(mix_track(timeline, played_on or instrument(), settings)))
