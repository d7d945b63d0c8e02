"""The project's own SoundFont: where its file is."""

from __future__ import annotations

from pathlib import Path

from renderer.errors import failure
from renderer.shipped import shipped_folder


def shipped_soundfont() -> Path:
    """Return the SoundFont that comes with Rungwise.

    Raises `RungwiseError` where it is missing, which only a damaged installation brings about.
    """
    path = shipped_folder("soundfonts") / "rungwise.sf2"
    if not path.is_file():
        raise failure(
            f"this installation of Rungwise lacks its SoundFont {path}",
            "install Rungwise again, or build the file with python -m renderer.sound.synthesis",
        )
    return path
