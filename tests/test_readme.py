"""What the README shows runs as printed."""

from __future__ import annotations

import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

from tests.limits import HANG_S
from tests.listening.chanters import Case, write

README = (Path(__file__).parent.parent / "README.md").read_text("utf-8")
DEFINITION, CLASS = re.findall(r"```toml\n(.*?)```", README, re.DOTALL)
PYTHON, ORDERED, PACK, FOR_ANALYSTS = re.findall(r"```python\n(.*?)```", README, re.DOTALL)
COMMAND = re.compile(r"^    (rungwise (?!demo|play|serve|open).*?)(?:\s+#.*)?$", re.MULTILINE)
BLOCKS = [
    found
    for block in re.findall(r"(?:^    .+\n)+", README, re.MULTILINE)
    if (found := COMMAND.findall(block))
]
RECORDINGS = ("scale.m4a", "jamie.m4a", "ailsa.m4a")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "wide.toml").write_text(DEFINITION, "utf-8")
    (tmp_path / "class.toml").write_text(CLASS, "utf-8")
    return tmp_path


def run(folder: Path, *command: str) -> str:
    done = subprocess.run(
        [sys.executable, *command],
        cwd=folder,
        capture_output=True,
        text=True,
        timeout=HANG_S,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


def test_there_are_commands_to_run() -> None:
    assert sum(map(len, BLOCKS)) >= 15
    assert [one for block in BLOCKS for one in block] == COMMAND.findall(README)


@pytest.mark.parametrize("commands", BLOCKS, ids=lambda block: " ".join(block[0].split()[1:3]))
def test_every_command_runs_as_printed_after_those_it_is_printed_with(
    folder: Path, commands: list[str]
) -> None:
    # Two rungs of the ladder do: what tracks sound like is not asked here.
    assert DEFINITION.count("step = 10\n") == 1
    (folder / "wide.toml").write_text(DEFINITION.replace("step = 10\n", "step = 30\n"), "utf-8")
    for number, name in enumerate(RECORDINGS, start=1):
        if name in " ".join(commands):
            case = Case(number, least_seconds=8.0, practice=False)
            write(folder / name, case.make()[0], case.rate)
    for command in commands:
        assert run(folder, "-m", "renderer.cli", *shlex.split(command)[1:]).strip(), command


def test_the_python_example_runs_as_printed(folder: Path) -> None:
    (folder / "example.py").write_text(PYTHON, "utf-8")
    lines = run(folder, "example.py").splitlines()
    assert lines[1].split() == ["3.0", "1.0", "low", "A", "melody"]
    assert lines[-1].startswith("tracks")
    assert len(list((folder / "tracks").glob("*.flac"))) == 4


def test_the_example_of_an_order_runs_as_printed(folder: Path) -> None:
    (folder / "example.py").write_text(ORDERED, "utf-8")
    *jobs, made = run(folder, "example.py").splitlines()
    assert len({job.split()[-1] for job in jobs}) == 3
    assert "wide.pdf" in made
    assert (folder / "wide.pdf").read_bytes().startswith(b"%PDF")


def test_the_example_of_a_pack_runs_as_printed_and_again_makes_nothing(folder: Path) -> None:
    (folder / "example.py").write_text(PACK, "utf-8")
    first, again = (run(folder, "example.py").split() for _ in range(2))
    count = first[0]
    assert first[2] == count
    assert again == [count, "files,", "0", "made,", count, "were", "there"]
    names = {path.name for path in (folder / "larkmoor").iterdir()}
    assert {"Jamie", "Chanters at A", "Larkmoor juniors.pdf"} <= names


def test_the_example_for_analysts_runs_as_printed(folder: Path) -> None:
    (folder / "example.py").write_text(FOR_ANALYSTS, "utf-8")
    printed = run(folder, "example.py")
    # music21 may print lines of its own between the two.
    lines = printed.splitlines()
    for shown in (r"\[[\d. ]+\]", r"\d+ Doublings over a wide step"):
        assert any(re.fullmatch(shown, line) for line in lines), printed
    assert (folder / "wide.mid").read_bytes().startswith(b"MThd")
