"""`voices.toml` to value classes: what each tone and each stroke is made of.

Frequencies in hertz, levels in decibels, times in seconds, loudness in LUFS and LU.
"""

import tomllib
from dataclasses import dataclass
from importlib import resources
from typing import Any

Points = tuple[tuple[float, ...], ...]


@dataclass(frozen=True)
class ToneTable:
    """A sustained voice: one row of levels and fluctuations for all of its notes."""

    name: str
    program: int
    chanter: str
    keys: tuple[int, ...]
    note_loudness_lu: tuple[float, ...]
    loudness_lufs: float
    loop_s: tuple[float, ...]
    envelope: Points
    first_offset_db: float
    even_offset_db: Points
    even_below_first_six_db: float
    individual_db: float
    level_rms_db: float
    partial_rms_db: tuple[float, float]
    fluctuation_corner_hz: float


@dataclass(frozen=True)
class StrokeTable:
    """A struck voice: its modes, its noise and its contacts."""

    name: str
    key: int
    length_s: float
    level_dbfs: float
    hold_s: float
    modes: Points
    noise: Points
    hits: Points


@dataclass(frozen=True)
class GeneralMidiTable:
    """A tone under its General MIDI program too, where MIDI files ask for it."""

    name: str
    program: int
    sounds_as: str


@dataclass(frozen=True)
class VoiceTables:
    """Everything that the SoundFont is computed from."""

    rate_hz: int
    highest_partial_of_rate: float
    general_midi: GeneralMidiTable
    tones: tuple[ToneTable, ...]
    strokes: tuple[StrokeTable, ...]


def read_voice_tables() -> VoiceTables:
    """Read the table that stands beside this module."""
    text = resources.files(__package__).joinpath("voices.toml").read_text(encoding="utf-8")
    table = tomllib.loads(text)
    return VoiceTables(
        rate_hz=table["rate_hz"],
        highest_partial_of_rate=table["highest_partial_of_rate"],
        general_midi=GeneralMidiTable(**table["general_midi"]),
        tones=tuple(ToneTable(**_frozen(row)) for row in table["tones"]),
        strokes=tuple(StrokeTable(**_frozen(row)) for row in table["strokes"]),
    )


def _frozen(row: dict[str, Any]) -> dict[str, Any]:
    return {key: _as_tuple(value) for key, value in row.items()}


def _as_tuple(value: Any) -> Any:
    return tuple(_as_tuple(item) for item in value) if isinstance(value, list) else value
