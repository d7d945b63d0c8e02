"""Running the page's modules under Node.js, beside what the program itself does."""

from __future__ import annotations

import json
import shutil
import subprocess
from pathlib import Path
from typing import Any

import pytest

import renderer.delivery.page
from tests.limits import HANG_S
from tests.page.browsers import MAY_LACK

MODULES = Path(renderer.delivery.page.__file__).parent
NODE = shutil.which("node")
needs_node = pytest.mark.skipif(
    NODE is None and MAY_LACK,
    reason="Node.js is missing, so the page's script is not tested: see `make system-test`",
)


def run(name: str, told: Any, tmp_path: Path, modules: Path = MODULES) -> Any:
    """Return what a script in this folder prints as JSON.

    It is called with a folder of modules, usually the page's, and a file that holds `told` as JSON.
    """
    assert NODE is not None
    data = tmp_path / "told.json"
    data.write_text(json.dumps(told))
    script = Path(__file__).with_name(name)
    done = subprocess.run(
        [NODE, str(script), str(modules), str(data)],
        capture_output=True,
        text=True,
        check=False,
        timeout=HANG_S,
    )
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)
