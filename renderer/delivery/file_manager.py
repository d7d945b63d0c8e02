"""Showing what was made where the system can: a folder in its file manager, a page in its program.

The system's own opener is asked (`open` on macOS, `xdg-open` of the freedesktop.org specifications
elsewhere). It is waited for as long as it takes to say that nothing opens such a file; some stay
until the program that they have started is closed.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

from renderer.errors import failure


def opener() -> str | None:
    """Return the program that opens files and folders on this system; None without one.

    Where there is no screen there is nothing to open them on.
    """
    if sys.platform == "darwin":
        return shutil.which("open")
    has_screen = any(os.environ.get(name) for name in ("DISPLAY", "WAYLAND_DISPLAY"))
    return shutil.which("xdg-open") if has_screen else None


PATIENCE_S = 2.0
"""So long an opener is waited for; one that goes on then has started something."""


def open_by_system(path: Path, *, patience_s: float = PATIENCE_S) -> None:
    """Open a folder or a file as a press on it in the file manager does.

    Parameters
    ----------
    path:
        Where it is.
    patience_s:
        How long the system is waited for.

    Raises
    ------
    RungwiseError
        If nothing on this system opens it.
    """
    program = opener()
    if program is None:
        raise failure(
            "nothing on this system opens folders", "open it in your file manager", file=str(path)
        )
    remedy = "open it in your file manager"
    try:
        opening = subprocess.Popen(
            # Whole, so that no name is taken for an option.
            [program, str(path.resolve())],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            start_new_session=True,
        )
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise failure(f"{program} does not start: {reason}", remedy, file=str(path)) from None
    try:
        status = opening.wait(patience_s)
    except subprocess.TimeoutExpired:
        return
    if status:
        raise failure(f"the system has nothing that opens it ({status})", remedy, file=str(path))
