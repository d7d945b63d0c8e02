"""Voices: presets of SoundFont files, the project's own among them."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from renderer.errors import failure
from renderer.sound.own_soundfont import shipped_soundfont
from renderer.sound.tuning import Chanter


@dataclass(frozen=True, slots=True)
class Voice:
    """A preset of a SoundFont file."""

    soundfont: Path
    bank: int
    program: int

    def __str__(self) -> str:
        return f"{self.soundfont.name} {self.bank}:{self.program}"


def parse_preset(text: str) -> tuple[int, int]:
    """Read a preset given as `BANK:PROGRAM`, such as `0:109`; raise `RungwiseError` otherwise."""
    parts = text.strip().split(":")
    if len(parts) == 2 and all(part.isdecimal() and len(part) <= 5 for part in parts):
        bank, program = int(parts[0]), int(parts[1])
        if bank <= 16_383 and program <= 127:
            return bank, program
    raise failure(
        f"{text!r} is no preset", "write bank and program with a colon between, such as 0:109"
    )


def shipped_voice(chanter: Chanter) -> Voice:
    """Return the project's own voice of a chanter."""
    return Voice(shipped_soundfont(), 0, 0 if chanter is Chanter.PRACTICE else 1)


def shipped_drones() -> tuple[Voice, Voice]:
    """Return the project's own voices of the tenor and the bass drone."""
    soundfont = shipped_soundfont()
    return Voice(soundfont, 0, 2), Voice(soundfont, 0, 3)
