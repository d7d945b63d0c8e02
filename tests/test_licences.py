"""What runs is free of the GPL, and what is installed is complete."""

from __future__ import annotations

import ast
import re
import sys
from importlib.metadata import metadata, packages_distributions
from pathlib import Path

import pytest

HOUSE = Path(__file__).parent.parent / "renderer"

UNDER_GPL = re.compile(
    r"(?<![AL])GPL|(?<!Lesser )(?<!Library )General Public License", re.IGNORECASE
)


def imported_from_outside() -> set[str]:
    found = set()
    for path in HOUSE.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.Import):
                found |= {alias.name.split(".")[0] for alias in node.names}
            elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
                found.add(node.module.split(".")[0])
    return found - set(sys.stdlib_module_names) - {"renderer"}


def licence_of(distribution: str) -> str:
    about = metadata(distribution)
    classifiers = [one for one in about.get_all("Classifier", []) if one.startswith("License")]
    # Some put the whole text into the field; its first line names it.
    fields = [about[name] for name in ("License-Expression", "License") if name in about]
    stated = str(fields[0]).strip() if fields else ""
    return "; ".join([*classifiers, stated.split("\n")[0]])


@pytest.mark.parametrize("package", sorted(imported_from_outside()))
def test_no_package_that_is_imported_is_under_the_gpl(package: str) -> None:
    distributions = packages_distributions().get(package, [])
    if not distributions:
        pytest.skip("not installed here: an optional extra")
    for distribution in distributions:
        licence = licence_of(distribution)
        assert not UNDER_GPL.search(licence), f"{distribution}: {licence}"


def test_the_check_finds_the_gpl_where_it_is() -> None:
    assert UNDER_GPL.search(licence_of("mutagen"))
    assert "mutagen" not in imported_from_outside()
