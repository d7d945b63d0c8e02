"""All that sounds in a track: pitch, scale, chanter and presets to loops and strokes."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from renderer.sound.bank import (
    DroneBank,
    Percussion,
    ToneBank,
    drone_bank,
    percussion,
    tone_bank,
)
from renderer.sound.breaking_off import breaking_off
from renderer.sound.tuning import Chanter, PitchStandard, Scale
from renderer.sound.voices import Voice, shipped_drones, shipped_voice


@dataclass(frozen=True, slots=True, eq=False)
class Instrument:
    """All that sounds in a track, at one pitch and one rate."""

    rate: int
    chanter: ToneBank
    drones: DroneBank
    percussion: Percussion
    steady: bool

    @property
    def remarks(self) -> tuple[str, ...]:
        """Sentences on what had to be corrected in the presets."""
        return self.chanter.remarks + self.drones.remarks


def make_instrument(
    pitch: PitchStandard,
    scale: Scale,
    chanter: Chanter,
    *,
    rate: int,
    voice: Voice | None = None,
    drone_voice: Voice | None = None,
    steady: bool,
    go_on: Callable[[], None] = lambda: None,
) -> Instrument:
    """Make everything that sounds in a track.

    Parameters
    ----------
    pitch, scale, chanter:
        What the nine notes sound.
    rate:
        The track's rate, 8000 to 192000 frames a second.
    voice, drone_voice:
        Presets for the chanter and for all three drones; the project's own if left out.
    steady:
        Whether breath and reed are left out, and drones begin settled.
    go_on:
        Called between the notes that are made, and raises where the work is to end.

    Raises
    ------
    RungwiseError
        If FluidSynth is missing, or a preset cannot be used.
    """
    tenor, bass = (drone_voice, drone_voice) if drone_voice else shipped_drones()
    with breaking_off(go_on):
        return Instrument(
            rate,
            tone_bank(voice or shipped_voice(chanter), pitch, scale, chanter, rate, steady=steady),
            drone_bank(tenor, bass, pitch, rate, steady=steady),
            percussion(rate),
            steady,
        )
