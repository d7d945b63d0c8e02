"""How a track is mixed: which parts are heard, how loud, and where. Levels in dB."""

from __future__ import annotations

import enum
import math
from dataclasses import dataclass, replace
from typing import Literal

from renderer.errors import failure
from renderer.timing.timeline import SectionKind

Gracenotes = Literal["fingered", "pure"]
"""Whether gracenotes sound as their fingerings do, or as the nine notes."""

Room = Literal["none", "small", "hall"]
"""Where a track is heard: nowhere in particular, or between walls."""

_LOWEST_LEVEL_DB, _HIGHEST_LEVEL_DB = -60.0, 20.0


class Mix(enum.StrEnum):
    """Which parts of the music are heard."""

    FULL = "full"
    BACKING = "backing"
    CHANTER = "chanter"
    ECHO = "echo"


class Layout(enum.StrEnum):
    """Where the parts are heard.

    `stereo` has the chanter in the middle and the tenor drones slightly to either side; `split`
    has the chanter left and everything else right, so that a learner can balance them; `mono` has
    one channel.
    """

    MONO = "mono"
    STEREO = "stereo"
    SPLIT = "split"

    @property
    def channels(self) -> int:
        """How many channels the track has."""
        return 1 if self is Layout.MONO else 2


@dataclass(frozen=True, slots=True)
class Levels:
    """How loud the parts are in dB.

    0 is the loudness of the shipped balance's chanter, K-weighted: drones at 0 would be as loud as
    the chanter (all drones together), a beat of the metronome at 0 as loud for its first 50 ms, a
    drum at 0 as loud through its roll. Where no chanter is heard, metronome and drum stand to the
    drones.
    """

    chanter: float
    drone: float
    metronome: float
    drum: float


def parse_levels(text: str, usual: Levels) -> Levels:
    """Read levels given as `chanter=0,drone=-9,metronome=-6,drum=-2`; parts left out are as usual.

    Raises `RungwiseError` for an unknown part or a level that is none.
    """
    found: dict[str, float] = {}
    for item in filter(None, (part.strip() for part in text.split(","))):
        name, _, value = (part.strip().casefold() for part in item.partition("="))
        try:
            level = float(value.removesuffix("db"))
        except ValueError:
            level = math.nan
        if name not in ("chanter", "drone", "metronome", "drum") or not (
            _LOWEST_LEVEL_DB <= level <= _HIGHEST_LEVEL_DB
        ):
            raise failure(
                f"{item!r} is no level",
                "write chanter, drone, metronome or drum with decibels from "
                f"{_LOWEST_LEVEL_DB:g} to {_HIGHEST_LEVEL_DB:g}, such as drone=-9",
            )
        found[name] = level
    return replace(usual, **found)


@dataclass(frozen=True, slots=True)
class MixSettings:
    """How a track is mixed.

    Parameters
    ----------
    mix:
        Which parts are heard.
    drone, metronome:
        Whether drones, and clicks within the lines, are heard where the mix has them.
    levels:
        How loud the parts are.
    layout:
        Where they are heard.
    pure_gracenotes:
        Whether gracenotes sound as the nine notes do, and not as their fingerings.
    room:
        Where the track is heard (`renderer.sound.reverberation`).
    """

    mix: Mix
    drone: bool
    metronome: bool
    levels: Levels
    layout: Layout
    pure_gracenotes: bool
    room: Room

    @property
    def has_chanter(self) -> bool:
        """Whether the chanter is heard."""
        return self.mix is not Mix.BACKING

    @property
    def has_drones(self) -> bool:
        """Whether the drones are heard."""
        return self.drone and self.mix is not Mix.CHANTER

    def has_click(self, section: SectionKind) -> bool:
        """Whether clicks of such a section are heard."""
        if section in (SectionKind.COUNT_IN, SectionKind.GAP):
            return True
        return self.metronome and self.mix is not Mix.CHANTER
