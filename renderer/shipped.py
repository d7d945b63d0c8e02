"""Where the data that comes with Rungwise is: the name of a folder in, its path out.

An installed wheel carries the folders inside the package (`renderer/_shipped`, see
`pyproject.toml`); in a clone they stand beside it.
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
