"""A way to the workbench that needs no terminal: an entry in the desktop's menu, or an application.

On Linux and its like a desktop entry (freedesktop.org, Desktop Entry Specification 1.5) goes into
the user's own menu; on macOS a small application bundle (Apple, Bundle Programming Guide) into the
user's own folder of applications. Each opens one folder. What stands there already and is not ours
is never replaced.
"""

from __future__ import annotations

import hashlib
import os
import plistlib
import re
import shlex
import sys
from collections.abc import Mapping
from pathlib import Path

from renderer.delivery.files import make_folder, write_whole
from renderer.errors import RungwiseError, failure
from renderer.order.names import safe_stem

_MARK = "X-Rungwise-Folder"
"""The key by which an entry of ours is known; the specification leaves `X-` to programs."""
_PLIST_MARK = "RungwiseFolder"
_MOST_STEM_BYTES = 60


def write_shortcut(
    folder: Path,
    *,
    system: str = sys.platform,
    home: Path | None = None,
    environment: Mapping[str, str] = os.environ,
) -> Path:
    """Write what opens a folder in the workbench without a terminal, and return where it is.

    Parameters
    ----------
    folder:
        What is opened.
    system:
        As `sys.platform` has it: `darwin` is macOS; on Windows there is no such way yet.
    home:
        The user's folder; None for the user's own.
    environment:
        Where `XDG_DATA_HOME` and `PATH` are looked up.

    Raises
    ------
    RungwiseError
        If something that is not ours stands in its place, or it cannot be written.
    """
    folder = folder.resolve()
    if system == "win32":
        raise failure(
            "shortcuts are made on Linux and macOS",
            "open it by `rungwise open`",
            place="--shortcut",
        )
    own_home = Path.home() if home is None else home
    if system == "darwin":
        return _application(folder, own_home, environment)
    data = environment.get("XDG_DATA_HOME", "")
    # The XDG base directories count only where they are absolute.
    base = Path(data) if data.startswith("/") else own_home / ".local" / "share"
    return _menu_entry(folder, base / "applications")


def command_of(folder: Path) -> list[str]:
    """Return the command that opens a folder, by this very Python."""
    return [sys.executable, "-m", "renderer", "open", str(folder)]


def _name(folder: Path) -> str:
    return f"Rungwise: {folder.name}" if folder.name else "Rungwise"


def _stem(folder: Path) -> str:
    """A name for files that no other folder has: two of one name are told apart by their places."""
    digest = hashlib.sha256(os.fsencode(folder)).hexdigest()[:8]
    return f"{safe_stem(folder.name, most_bytes=_MOST_STEM_BYTES)}-{digest}"


def _not_ours(path: Path) -> RungwiseError:
    return failure(
        "something that Rungwise has not made stands there", "move it away", file=str(path)
    )


def _menu_entry(folder: Path, menu: Path) -> Path:
    # The specification asks for names of ASCII letters, digits, dots, dashes and underscores.
    name = re.sub(r"[^A-Za-z0-9_.-]+", "-", f"rungwise-{_stem(folder)}.desktop")
    path = menu / name
    if path.is_symlink() or path.exists():
        is_ours = path.is_file() and f"\n{_MARK}=" in path.read_text("utf-8", errors="replace")
        if path.is_symlink() or not is_ours:
            raise _not_ours(path)
    rows = {
        "Type": "Application",
        "Name": _name(folder),
        "Comment": "Write, hear and hand out exercises for the pipes",
        "Comment[de]": "Übungen für die Pipes schreiben, hören und austeilen",
        "Exec": " ".join(map(_quoted, command_of(folder))),
        "Terminal": "false",
        "Categories": "Education;Music;",
        _MARK: str(folder),
    }
    text = "".join(f"{key}={_escaped(value)}\n" for key, value in rows.items())
    make_folder(menu)
    write_whole(path, f"[Desktop Entry]\n{text}".encode())
    return path


def _escaped(value: str) -> str:
    """Return a value as a desktop file has it (the specification, Possible value types)."""
    for sign, written in (("\\", "\\\\"), ("\n", "\\n"), ("\t", "\\t"), ("\r", "\\r")):
        value = value.replace(sign, written)
    return value


def _quoted(word: str) -> str:
    """Return a word of a command as `Exec` has it (the same, The Exec key)."""
    return '"' + re.sub(r'(["`$\\])', r"\\\1", word).replace("%", "%%") + '"'


_SCRIPT = """#!/bin/sh
# Opens a folder in Rungwise's workbench; made by `rungwise open --shortcut`.
PATH={path}
export PATH
exec {command}
"""


def _application(folder: Path, home: Path, environment: Mapping[str, str]) -> Path:
    bundle = home / "Applications" / f"Rungwise {_stem(folder)}.app"
    inside = bundle / "Contents"
    if bundle.is_symlink() or bundle.exists():
        try:
            with (inside / "Info.plist").open("rb") as file:
                is_ours = not bundle.is_symlink() and _PLIST_MARK in plistlib.load(file)
        except (OSError, ValueError):
            is_ours = False
        if not is_ours:
            raise _not_ours(bundle)
    about = {
        "CFBundleInfoDictionaryVersion": "6.0",
        "CFBundleName": "Rungwise",  # Apple's reference: at most 15 letters
        "CFBundleDisplayName": _name(folder),
        "CFBundleIdentifier": f"net.rungwise.{re.sub(r'[^A-Za-z0-9]', '', _stem(folder))}",
        "CFBundlePackageType": "APPL",
        "CFBundleExecutable": "open-workbench",
        "CFBundleVersion": "1",
        "CFBundleShortVersionString": "1",
        "LSUIElement": True,  # it shows itself in the browser, not in the Dock
        _PLIST_MARK: str(folder),
    }
    # Applications are started without the PATH of a terminal, on which ffmpeg may be.
    script = _SCRIPT.format(
        path=shlex.quote(environment.get("PATH", "/usr/bin:/bin")),
        command=shlex.join(command_of(folder)),
    )
    make_folder(inside / "MacOS")
    write_whole(inside / "Info.plist", plistlib.dumps(about))
    program = inside / "MacOS" / "open-workbench"
    write_whole(program, script.encode())
    program.chmod(0o755)
    return bundle
