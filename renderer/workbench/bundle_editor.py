"""The text editor of the workbench: packages of a lock file in, one ES module and its licences out.

A tool for contributors, who need npm for it; users get the module with the program. What is made is
committed, and its first line names the digests of what it was made from, so that a test can see
whether it is of the lock file beside it.

    python -m renderer.workbench.bundle_editor
"""

from __future__ import annotations

import hashlib
import json
import shutil
import subprocess
import sys
from pathlib import Path

HERE = Path(__file__).parent
PACKAGES = HERE / "editor"
BUNDLE = HERE / "pages" / "codemirror.js"
LICENCES = HERE / "pages" / "codemirror.LICENSE.txt"

_MADE_FROM = ("package-lock.json", "entry.js")


def first_line() -> str:
    """Return the line that a bundle of the files beside this one begins with."""
    digests = (
        hashlib.sha256((PACKAGES / name).read_bytes()).hexdigest()[:16] for name in _MADE_FROM
    )
    return (
        f"// CodeMirror, bundled by bundle_editor.py from {' '.join(digests)}; licences beside it\n"
    )


def bundled_packages() -> tuple[Path, ...]:
    """Return the folders of the packages that the bundle holds, without the bundler itself."""
    lock = json.loads((PACKAGES / "package-lock.json").read_text("utf-8"))
    return tuple(
        PACKAGES / place
        for place, entry in lock["packages"].items()
        if place and not entry.get("dev") and not entry.get("optional")
    )


def bundle() -> None:
    """Write the module and the licences of what is in it."""
    npm = shutil.which("npm")
    if npm is None:
        sys.exit("npm is missing: on Debian, apt install npm")
    subprocess.run([npm, "ci"], cwd=PACKAGES, check=True)
    made = subprocess.run(
        [npm, "run", "-s", "bundle"], cwd=PACKAGES, check=True, capture_output=True, text=True
    )
    BUNDLE.write_text(first_line() + made.stdout, encoding="utf-8")
    texts: dict[str, list[str]] = {}
    for folder in bundled_packages():
        about = json.loads((folder / "package.json").read_text("utf-8"))
        licence = (folder / "LICENSE").read_text("utf-8").strip()
        texts.setdefault(licence, []).append(f"{about['name']} {about['version']}")
    LICENCES.write_text(
        "\n\n".join(f"{', '.join(names)}\n\n{licence}" for licence, names in texts.items()) + "\n",
        encoding="utf-8",
    )


if __name__ == "__main__":
    bundle()
