"""How the house is built: imports go one way; the command line starts without heavy packages."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
from pathlib import Path

import pytest

from tests.limits import HANG_S

HOUSE = Path(__file__).parent.parent / "renderer"
ORDER = [
    "errors",
    "shipped",
    "notation",
    "technique",
    "timing",
    "reading",
    "sound",
    "order",
    "delivery",
    "commands",
    "cli",
    "__main__",
]
HEAVY = ("music21", "verovio", "scipy", "fluidsynth", "numpy", "pydantic", "matplotlib", "soxr")


def rank(package: str) -> int:
    return ORDER.index(package)


def modules() -> list[Path]:
    return sorted(path for path in HOUSE.rglob("*.py") if path != HOUSE / "__init__.py")


def imported_packages(path: Path) -> set[str]:
    found = set()
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        names = []
        if isinstance(node, ast.ImportFrom) and node.module:
            names = [node.module]
        elif isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        found |= {name.split(".")[1] for name in names if name.startswith("renderer.")}
    return found


@pytest.mark.parametrize("path", modules(), ids=lambda path: str(path.relative_to(HOUSE)))
def test_a_package_imports_only_what_stands_above_it(path: Path) -> None:
    own = path.relative_to(HOUSE).parts[0].removesuffix(".py")
    for package in imported_packages(path):
        assert rank(package) <= rank(own), f"{path} imports renderer.{package}"


def test_help_starts_without_heavy_packages() -> None:
    code = (
        "import sys\n"
        "sys.argv = ['rungwise', '--help']\n"
        "from renderer.cli import main\n"
        "try:\n    main()\nexcept SystemExit as end:\n    assert not end.code\n"
        f"print('HEAVY', sorted(set({HEAVY!r}) & set(sys.modules)))\n"
    )
    run = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=HANG_S
    )
    assert "HEAVY []" in run.stdout


CLOCKS = re.compile(r"\b(monotonic|perf_counter)(_ns)?\(|\btime\.time\(|\bdeadline=(?!None)")
TIMEOUT = re.compile(r"\btimeout=([\d.]+)")


def test_no_test_depends_on_how_busy_the_machine_is() -> None:
    tests = Path(__file__).parent
    for path in tests.rglob("*.py"):
        if "benchmarks" in path.relative_to(tests).parts:
            continue
        text = path.read_text("utf-8")
        assert not CLOCKS.search(text), f"{path} reads the clock: count, or use tests/limits.py"
        for seconds in TIMEOUT.findall(text):
            assert float(seconds) >= 600, f"{path} waits {seconds} s only: use limits.HANG_S"


def test_cause_and_remedy_are_never_parted_at_a_semicolon() -> None:
    for path in modules():
        text = path.read_text("utf-8")
        assert 'partition("; ")' not in text, f"{path}: raise errors.WrongValueError(cause, remedy)"
        assert not re.search(r'raise ValueError\(\s*f?"[^"]*; ', text), path
