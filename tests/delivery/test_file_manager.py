"""Showing a folder or a page: by the program that the desktop has for it, else a word."""

from __future__ import annotations

import os
import shutil
import sys
from pathlib import Path

import pytest

from renderer.delivery.file_manager import open_by_system, opener
from renderer.errors import RungwiseError
from tests.limits import HANG_S
from tests.workbench.benches import waited_for

pytestmark = pytest.mark.skipif(
    sys.platform == "darwin", reason="macOS has an opener of its own, and no desktop entries"
)


@pytest.fixture
def desktop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A desktop without any program, and a screen that nothing is drawn on."""
    for name in ("XDG_CURRENT_DESKTOP", "DESKTOP_SESSION", "WAYLAND_DISPLAY"):
        monkeypatch.delenv(name, raising=False)
    for name in ("XDG_DATA_HOME", "XDG_CONFIG_HOME", "XDG_CONFIG_DIRS", "HOME"):
        monkeypatch.setenv(name, str(tmp_path / "desktop"))
    # Which xdg-open tries in the end.
    monkeypatch.setenv("BROWSER", "false")
    monkeypatch.setenv("DISPLAY", ":8322")
    (tmp_path / "desktop" / "applications").mkdir(parents=True)
    return tmp_path / "desktop"


def program(place: Path, script: str) -> Path:
    place.write_text(f"#!/bin/sh\n{script}\n")
    place.chmod(0o755)
    return place


@pytest.mark.skipif(shutil.which("xdg-open") is None, reason="xdg-open is missing")
@pytest.mark.parametrize(("kind", "name"), [("inode/directory", "Jamie"), ("text/html", "J.html")])
def test_the_desktops_own_program_is_given_the_place(
    desktop: Path, tmp_path: Path, kind: str, name: str
) -> None:
    """With the real xdg-open, and a desktop entry of a program that notes what it is given."""
    told = tmp_path / "told"
    shown = program(tmp_path / "shows", f'printf %s "$1" > "{told}.new"; mv "{told}.new" "{told}"')
    entry = f"[Desktop Entry]\nType=Application\nName=Shows\nExec={shown} %f\n"
    (desktop / "applications" / "shows.desktop").write_text(f"{entry}MimeType={kind};\n")
    for listed in (desktop / "mimeapps.list", desktop / "applications" / "mimeapps.list"):
        listed.write_text(f"[Default Applications]\n{kind}=shows.desktop\n")
    place = tmp_path / "out" / name
    if kind == "inode/directory":
        place.mkdir(parents=True)
    else:
        place.parent.mkdir()
        place.write_text("<!doctype html><title>Jamie</title>")
    open_by_system(place, patience_s=HANG_S)
    assert waited_for(told.exists)
    assert told.read_text() == str(place)


@pytest.mark.skipif(shutil.which("xdg-open") is None, reason="xdg-open is missing")
def test_a_desktop_without_a_program_for_it_is_said(
    desktop: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_DATA_DIRS", str(desktop))
    with pytest.raises(RungwiseError, match="nothing that opens it") as caught:
        open_by_system(tmp_path, patience_s=HANG_S)
    assert caught.value.problems[0].file == str(tmp_path)


def test_an_opener_that_stays_with_what_it_opened_is_not_waited_for(
    desktop: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    own = tmp_path / "bin"
    own.mkdir()
    program(
        own / "xdg-open", f'echo $$ > "{tmp_path}/new"; mv "{tmp_path}/new" "{tmp_path}/pid"; cat'
    )
    monkeypatch.setenv("PATH", f"{own}:{os.environ['PATH']}")
    open_by_system(tmp_path, patience_s=0.01)
    assert waited_for((tmp_path / "pid").exists)


def test_without_a_screen_or_a_program_nothing_is_offered(
    desktop: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    own = tmp_path / "bin"
    own.mkdir()
    program(own / "xdg-open", "exit 0")
    monkeypatch.setenv("PATH", str(own))
    assert opener() == str(own / "xdg-open")
    (own / "xdg-open").write_text("no program at all")
    with pytest.raises(RungwiseError, match="does not start"):
        open_by_system(tmp_path)
    (own / "xdg-open").unlink()
    assert opener() is None
    with pytest.raises(RungwiseError, match="nothing on this system opens folders"):
        open_by_system(tmp_path)
    program(own / "xdg-open", "exit 0")
    monkeypatch.delenv("DISPLAY")
    assert opener() is None
