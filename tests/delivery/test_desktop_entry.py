"""A shortcut to the workbench: by the desktop's own rules, and never in another's place."""

from __future__ import annotations

import os
import plistlib
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner

from renderer.delivery.desktop_entry import command_of, write_shortcut
from renderer.errors import RungwiseError
from tests.limits import HANG_S

ODD = 'The "Larkmoor" 100 % $juniors`\\ Übungen'


def keys_of(path: Path) -> dict[str, str]:
    """The keys of a desktop file, unescaped (Desktop Entry Specification 1.5, value types)."""
    first, *rows = path.read_text("utf-8").splitlines()
    assert first == "[Desktop Entry]"
    signs = {"s": " ", "n": "\n", "t": "\t", "r": "\r", "\\": "\\"}
    return {
        key: re.sub(r"\\(.)", lambda one: signs[one[1]], value)
        for key, _, value in (row.partition("=") for row in rows)
    }


def words_of(line: str) -> list[str]:
    """The words of an `Exec` line (the same, The Exec key): all are quoted here."""
    words = re.findall(r'"((?:[^"\\]|\\.)*)"', line)
    assert " ".join(f'"{one}"' for one in words) == line
    return [re.sub(r'\\(["`$\\])', r"\1", one).replace("%%", "%") for one in words]


def linux(folder: Path, home: Path) -> Path:
    return write_shortcut(folder, system="linux", home=home, environment={})


def mac(folder: Path, home: Path) -> Path:
    return write_shortcut(folder, system="darwin", home=home, environment={"PATH": "/a b:/bin"})


def test_the_menu_has_an_entry_that_opens_the_folder(tmp_path: Path) -> None:
    folder = tmp_path / ODD
    folder.mkdir()
    path = linux(folder, tmp_path)
    assert path.parent == tmp_path / ".local" / "share" / "applications"
    assert re.fullmatch(r"[A-Za-z0-9_.-]+\.desktop", path.name)
    keys = keys_of(path)
    assert words_of(keys["Exec"]) == command_of(folder)
    assert keys["Terminal"] == "false" and keys["Type"] == "Application"
    if checker := shutil.which("desktop-file-validate"):
        assert subprocess.run([checker, str(path)], capture_output=True, check=False).stdout == b""
    # Two folders of one name have an entry each; one folder's is written again.
    other = tmp_path / "elsewhere" / ODD
    other.mkdir(parents=True)
    assert linux(other, tmp_path) != path and linux(folder, tmp_path) == path
    assert len(list(path.parent.iterdir())) == 2


def test_macos_has_an_application_that_opens_the_folder(tmp_path: Path) -> None:
    folder = tmp_path / ODD
    folder.mkdir()
    bundle = mac(folder, tmp_path)
    assert bundle.suffix == ".app" and bundle.parent == tmp_path / "Applications"
    about = plistlib.loads((bundle / "Contents" / "Info.plist").read_bytes())
    # Apple's reference of these keys: up to 15 letters; letters, digits, hyphens and periods; a
    # release of up to three numbers.
    assert len(about["CFBundleName"]) <= 15 and about["CFBundleDisplayName"] == f"Rungwise: {ODD}"
    assert re.fullmatch(r"[A-Za-z0-9.-]+", about["CFBundleIdentifier"])
    for version in ("CFBundleVersion", "CFBundleShortVersionString"):
        assert re.fullmatch(r"\d+(\.\d+){0,2}", about[version])
    assert about["CFBundlePackageType"] == "APPL" and about["LSUIElement"] is True
    program = bundle / "Contents" / "MacOS" / about["CFBundleExecutable"]
    assert os.access(program, os.X_OK)
    text = program.read_text("utf-8")
    # The shell that runs it understands the words that were meant.
    shown = text.replace("exec ", "printf '%s\\n' ")
    script = shown + 'echo "$PATH"\n'
    ran = subprocess.run(["/bin/sh", "-c", script], capture_output=True, text=True, check=True)
    assert ran.stdout.splitlines() == [*command_of(folder), "/a b:/bin"]
    assert mac(folder, tmp_path) == bundle


@pytest.mark.parametrize("system", [linux, mac])
def test_what_is_not_ours_is_never_replaced(system: object, tmp_path: Path) -> None:
    assert callable(system)
    path = system(tmp_path, tmp_path)
    if path.is_dir():
        shutil.rmtree(path)
    else:
        path.unlink()
    path.write_text("somebody's")
    with pytest.raises(RungwiseError, match="has not made stands there"):
        system(tmp_path, tmp_path)
    assert path.read_text() == "somebody's"
    path.unlink()
    path.symlink_to(tmp_path / "elsewhere")
    with pytest.raises(RungwiseError, match="has not made stands there"):
        system(tmp_path, tmp_path)
    assert not (tmp_path / "elsewhere").exists()


def test_windows_says_that_there_is_none(tmp_path: Path) -> None:
    with pytest.raises(RungwiseError, match="Linux and macOS"):
        write_shortcut(tmp_path, system="win32", home=tmp_path, environment={})


@pytest.mark.skipif(sys.platform != "linux", reason="the menu is that of Linux")
def test_the_command_says_where_it_was_put_and_opens_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from renderer.commands.app import app

    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    ran = CliRunner().invoke(app, ["open", str(tmp_path / "Larkmoor"), "--shortcut"])
    assert ran.exit_code == 0, ran.output
    (written,) = (tmp_path / "data" / "applications").iterdir()
    assert ran.output.startswith(f"{written}: it opens {tmp_path / 'Larkmoor'}")


def test_the_command_of_a_shortcut_starts_the_workbench(tmp_path: Path) -> None:
    """As the menu starts it: from another folder, without a terminal."""
    command = [*command_of(tmp_path), "--no-browser", "--port", "0"]
    environment = os.environ | {"PYTHONUNBUFFERED": "1"}
    with subprocess.Popen(
        command, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, text=True, env=environment
    ) as process:
        assert process.stdout is not None
        assert process.stdout.readline().startswith("http://127.0.0.1:")
        process.terminate()
        process.wait(HANG_S)
