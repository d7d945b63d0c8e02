"""Where the data files that come with Rungwise are: names to paths.

An installed wheel carries them inside the package (`renderer/_shipped`, see `pyproject.toml`); in
a clone they stand beside it.
"""

from __future__ import annotations

from importlib import resources
from pathlib import Path

from renderer.errors import failure


def shipped_folder(name: str) -> Path:
    """Return the folder `name` (`soundfonts` or `exercises`) of a wheel or a clone.

    Raises `RungwiseError` where neither has it, which only a damaged installation brings about.
    """
    package = Path(str(resources.files("renderer")))
    for folder in (package / "_shipped" / name, package.parent / name):
        if folder.is_dir():
            return folder
    raise failure(
        f"this installation of Rungwise lacks its folder {name}", "install Rungwise again"
    )


def shipped_soundfont() -> Path:
    """Return the project's own SoundFont."""
    path = shipped_folder("soundfonts") / "rungwise.sf2"
    if not path.is_file():
        raise failure(
            f"this installation of Rungwise lacks its SoundFont {path}",
            "install Rungwise again, or build the file with python -m renderer.sound.synthesis",
        )
    return path
