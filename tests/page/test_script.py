"""The page's script as its own tools see it: types, lint, one scope, one language of words."""

from __future__ import annotations

import re
import subprocess
from pathlib import Path

import pytest

from renderer.delivery.page.one_file import MAIN, modules, script
from tests.limits import HANG_S
from tests.page.browsers import MAY_LACK
from tests.page.node import MODULES, NODE, needs_node

HERE = Path(__file__).parent
ROOT = HERE.parent.parent
TOOLS = HERE / "node_modules" / ".bin"
needs_tools = pytest.mark.skipif(
    (NODE is None or not TOOLS.exists()) and MAY_LACK,
    reason="TypeScript and ESLint are missing: `npm ci --prefix tests/page` brings them",
)


@needs_tools
def test_its_types_hold() -> None:
    run = subprocess.run(
        [TOOLS / "tsc", "-p", HERE], capture_output=True, text=True, timeout=HANG_S, check=False
    )
    assert run.returncode == 0, run.stdout


@needs_tools
def test_nothing_is_left_for_lint_to_find() -> None:
    config = HERE / "eslint.config.js"
    run = subprocess.run(
        [
            TOOLS / "eslint",
            *("--max-warnings", "0"),
            *("--config", config),
            *("renderer/delivery/page", "renderer/workbench/pages"),
        ],
        cwd=ROOT,
        capture_output=True,
        text=True,
        timeout=HANG_S,
        check=False,
    )
    assert run.returncode == 0, run.stdout + run.stderr


def test_every_module_is_in_the_page_after_those_that_it_needs() -> None:
    assert set(modules()) == {path.name for path in MODULES.glob("*.js")}
    assert modules()[-1] == MAIN
    for at, name in enumerate(modules()):
        for needed in re.findall(r'from "\./(\w+\.js)"', (MODULES / name).read_text()):
            assert needed in modules()[:at], (name, needed)
    assert not re.search(r"^(import|export)\b", script(), re.MULTILINE)


def test_no_two_modules_use_a_name_for_two_things() -> None:
    """They share one scope in the page."""
    declared: dict[str, str] = {}
    pattern = re.compile(
        r"^(?:export )?(?:async )?(?:function|class|const|let) (\w+)", re.MULTILINE
    )
    for name in modules():
        for found in pattern.findall((MODULES / name).read_text()):
            assert found not in declared, f"{found} in {name} and in {declared.get(found)}"
            declared[found] = name
    assert len(declared) > 60


def test_every_word_has_both_languages_and_is_used() -> None:
    words = (MODULES / "words.js").read_text()
    table = words.split("const TABLE = {")[1].split("\n};")[0]
    rows = re.findall(r"^  (\w+): \[", table, re.MULTILINE)
    assert len(rows) > 60
    used = "".join((MODULES / name).read_text() for name in modules())
    stems = set(re.findall(r"`(\w+)_\$\{", used))
    called = re.findall(r'\b(?:word|named|check|slider|radio)\("(\w+)"', used)
    for row in rows:
        # The names of panels are keys.
        is_panel = row in ("practice", "sound", "log", "help")
        assert (
            is_panel or f'"{row}"' in used or any(row.startswith(f"{stem}_") for stem in stems)
        ), row
    assert set(called) <= set(rows)


@needs_node
def test_words_fill_their_places_alike_in_both_languages() -> None:
    words = (MODULES / "words.js").read_text()
    table = words.split("const TABLE = {")[1].split("\n};")[0]
    for row in re.findall(r'\w+: \[\s*"((?:[^"\\]|\\.)*)",\s*"((?:[^"\\]|\\.)*)",?\s*\]', table):
        english, german = (sorted(re.findall(r"\{(\w+)\}", text)) for text in row)
        assert english == german, row
