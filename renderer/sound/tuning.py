"""What the notes sound: a pitch standard, a scale and a chanter to frequencies in hertz.

Pitch is always low A in hertz in the pipe chanter's octave, as players say it: 478, not 239. A
practice chanter sounds an octave lower; tenor drones sound an octave below the pipe chanter's low
A, the bass drone two (common practice). The scales are rows of `scales.toml`, the named pitches
rows of `pitch_standards.toml`, each with its source.
"""

from __future__ import annotations

import enum
import math
import re
import tomllib
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from importlib import resources
from typing import Any

from renderer.errors import failure
from renderer.notation.pitch import Note
from renderer.sound.units import CONCERT_A_KEY, cents_to_ratio, hz_to_key, key_to_hz

LOWEST_LOW_A_HZ = 340.0
HIGHEST_LOW_A_HZ = 560.0
"""The range of low A, pipe chanter's octave. Half of it, 170 to 280 Hz, is taken as a practice
chanter's own octave; the two do not overlap. Source: the project's own choice, wide around the
441 to 480 Hz of E. Macpherson, The Pitch and Scale of the Great Highland Bagpipe (1998)."""

_REMEDY = (
    "write A, B flat, or low A in hertz in the pipe chanter's octave "
    f"({LOWEST_LOW_A_HZ:g} to {HIGHEST_LOW_A_HZ:g}), such as 478"
)


class Chanter(enum.StrEnum):
    """Which chanter plays."""

    PRACTICE = "practice"
    PIPE = "pipe"

    @property
    def octave(self) -> float:
        """Its frequencies as a factor of the pipe chanter's."""
        return 0.5 if self is Chanter.PRACTICE else 1.0


@dataclass(frozen=True, slots=True)
class PitchStandard:
    """The pitch of low A, and of a measured chanter all nine.

    Parameters
    ----------
    low_a_hz:
        Low A in hertz, in the pipe chanter's octave.
    label:
        How to name it on a track or in a file's name: `A`, `B flat`, `478 Hz`, a chanter's name.
    remark:
        A sentence about how what the user gave was understood; empty if it needed none.
    ratios:
        The nine notes of a measured chanter as factors of low A's; empty for one of a scale.
    tenor_hz:
        What its tenor drones sound, the bass an octave below; 0 for an octave below low A.
    """

    low_a_hz: float
    label: str
    remark: str = ""
    ratios: tuple[float, ...] = ()
    tenor_hz: float = 0.0

    @property
    def is_measured(self) -> bool:
        """Whether it has nine pitches of its own, and no scale."""
        return bool(self.ratios)

    def scale_name(self, scale: Scale) -> str:
        """Return what its notes lie on, for tags and messages: `harmonic scale`."""
        return "nine measured pitches" if self.is_measured else f"{scale.name} scale"


@dataclass(frozen=True, slots=True)
class Scale:
    """A scale of the chanter.

    Parameters
    ----------
    name:
        `equal`, `MacNeill` or `harmonic`.
    ratios:
        The nine notes' frequencies as factors of low A's, from low G to high A.
    source:
        Where the ratios come from.
    """

    name: str
    ratios: tuple[float, ...]
    source: str

    def ratio(self, note: Note) -> float:
        """Return the frequency of `note` as a factor of low A's."""
        return self.ratios[note]


def _table(name: str) -> dict[str, Any]:
    return tomllib.loads(resources.files("renderer.sound").joinpath(name).read_text("utf-8"))


@cache
def scales() -> dict[str, Scale]:
    """Return the scales by name, in the order of `scales.toml`."""
    found = {}
    for row in _table("scales.toml")["scales"]:
        if "cents" in row:
            ratios = tuple(cents_to_ratio(cents) for cents in row["cents"])
        else:
            ratios = tuple(float(Fraction(ratio)) for ratio in row["ratios"])
        found[row["name"]] = Scale(row["name"], ratios, row["source"])
    return found


DEFAULT_SCALE = "harmonic"


def scale_named(name: str = DEFAULT_SCALE) -> Scale:
    """Return the scale of that name, whatever its case; raise `RungwiseError` for any other."""
    for scale in scales().values():
        if scale.name.casefold() == name.strip().casefold():
            return scale
    names = ", ".join(scales())
    raise failure(f"there is no scale {name!r}", f"choose one of {names}")


def chanter_named(name: str) -> Chanter:
    """Return the chanter of that name, whatever its case; raise `RungwiseError` for any other."""
    try:
        return Chanter(name.strip().casefold())
    except ValueError:
        raise failure(f"there is no chanter {name!r}", "choose practice or pipe") from None


_HERTZ = re.compile(r"(?P<number>\d{1,6}(?:[.,]\d{1,6})?)\s*(?:hz|hertz)?", re.IGNORECASE)


def parse_pitch(pitch: str | float) -> PitchStandard:
    """Read a pitch as players give it.

    Parameters
    ----------
    pitch:
        `A`, `B flat` (also `Bb`, `b-flat`), or low A in hertz as a number or text (`478`,
        `478 Hz`). 340 to 560 is the pipe chanter's octave; 170 to 280 is taken as a practice
        chanter's own octave and doubled, and the remark says so.

    Returns
    -------
    PitchStandard
        With low A in the pipe chanter's octave.

    Raises
    ------
    RungwiseError
        If it is no pitch, or one that no chanter has.
    """
    if isinstance(pitch, str):
        key = re.sub(r"[\s_-]+", "", pitch).casefold()
        for row in _table("pitch_standards.toml")["standards"]:
            if key in row["spellings"]:
                low_a_hz = key_to_hz(CONCERT_A_KEY + row["semitones_above_a"])
                return PitchStandard(low_a_hz, row["label"])
        match = _HERTZ.fullmatch(pitch.strip())
        if match is None:
            raise failure(f"{pitch!r} is no pitch", _REMEDY)
        hertz = float(match["number"].replace(",", "."))
    else:
        hertz = float(pitch)
    if not math.isfinite(hertz):
        raise failure(f"{pitch!r} is no pitch", _REMEDY)
    if LOWEST_LOW_A_HZ <= hertz <= HIGHEST_LOW_A_HZ:
        return PitchStandard(hertz, f"{hertz:g} Hz")
    if LOWEST_LOW_A_HZ / 2 <= hertz <= HIGHEST_LOW_A_HZ / 2:
        label = f"{2 * hertz:g} Hz"
        remark = (
            f"{hertz:g} Hz is taken as a practice chanter's own octave: "
            f"low A is {label} in the pipe chanter's octave, as players name it."
        )
        return PitchStandard(2 * hertz, label, remark)
    raise failure(f"no chanter has its low A at {hertz:g} Hz", _REMEDY)


def frequency_hz(note: Note, pitch: PitchStandard, scale: Scale, chanter: Chanter) -> float:
    """Return what `note` sounds on that chanter, in hertz; a measured pitch has its own scale."""
    ratio = pitch.ratios[note] if pitch.is_measured else scale.ratio(note)
    return pitch.low_a_hz * ratio * chanter.octave


def transposition(pitch: PitchStandard, chanter: Chanter) -> tuple[int, float]:
    """Return the semitones from written notes to the nearest that sound, and the cents beyond."""
    exact = hz_to_key(pitch.low_a_hz * chanter.octave) - Note.LOW_A.midi
    semitones = round(exact)
    return semitones, 100 * (exact - semitones)


def tenor_drone_hz(pitch: PitchStandard) -> float:
    """Return the tenor drones' frequency: as measured, or an octave below the pipe's low A."""
    return pitch.tenor_hz or pitch.low_a_hz / 2


def bass_drone_hz(pitch: PitchStandard) -> float:
    """Return the bass drone's frequency: an octave below the tenors."""
    return tenor_drone_hz(pitch) / 2
