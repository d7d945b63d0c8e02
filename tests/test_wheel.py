"""What is installed from a wheel finds its SoundFont and its exercises, as a clone does."""

from __future__ import annotations

import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

from tests.limits import HANG_S

REPOSITORY = Path(__file__).parent.parent


@pytest.fixture(scope="module")
def installed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder that holds what the wheel holds, as site-packages would."""
    built = tmp_path_factory.mktemp("wheel")
    subprocess.run(
        [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(built)],
        cwd=REPOSITORY,
        check=True,
        capture_output=True,
        timeout=HANG_S,
    )
    (wheel,) = built.glob("*.whl")
    folder = tmp_path_factory.mktemp("site")
    zipfile.ZipFile(wheel).extractall(folder)
    return folder


def run(installed: Path, folder: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    # An own start-up file keeps the clone that the tests run from off the path.
    code = (
        f"import sys; sys.path = [p for p in sys.path if p != {str(REPOSITORY)!r}];"
        f"sys.path.insert(0, {str(installed)!r}); sys.meta_path = [f for f in sys.meta_path "
        "if 'editable' not in type(f).__module__ + getattr(f, '__module__', '')];"
        "import renderer; assert renderer.__file__.startswith("
        f"{str(installed)!r}), renderer.__file__;"
        f"sys.argv = ['rungwise', *{list(arguments)!r}];"
        "from renderer.cli import main; main()"
    )
    return subprocess.run(
        [sys.executable, "-c", code],
        cwd=folder,
        env=dict(os.environ),
        capture_output=True,
        text=True,
        timeout=HANG_S,
        check=False,
    )


def test_a_shipped_exercise_renders_from_an_installed_wheel(
    installed: Path, tmp_path: Path
) -> None:
    rendered = run(
        installed, tmp_path, "render", "first-gracenotes", "-o", "out", "--tempo", "60",
        "--format", "ogg",
    )  # fmt: skip
    assert rendered.returncode == 0, rendered.stderr
    assert len(list((tmp_path / "out").glob("*.ogg"))) == 1
