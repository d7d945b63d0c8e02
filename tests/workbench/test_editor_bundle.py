"""The text editor that ships: of the lock file beside it, with its licences, loading nothing."""

from __future__ import annotations

import re

import pytest

from renderer.workbench import bundle_editor


def test_the_bundle_is_of_the_lock_file_beside_it() -> None:
    with bundle_editor.BUNDLE.open(encoding="utf-8") as file:
        assert file.readline() == bundle_editor.first_line()


def test_every_package_in_it_has_its_licence_with_it() -> None:
    text = bundle_editor.LICENCES.read_text("utf-8")
    packages = bundle_editor.bundled_packages()
    assert len(packages) >= 10
    for folder in packages:
        name = folder.as_posix().rpartition("node_modules/")[2]
        assert re.search(rf"(^|, ){re.escape(name)} \d", text, re.MULTILINE), name
    assert text.count("Permission is hereby granted, free of charge") >= 1
    assert "GPL" not in text


def test_it_imports_nothing_and_evaluates_nothing() -> None:
    text = bundle_editor.BUNDLE.read_text("utf-8")
    assert not re.search(r"\bimport\s*[({\"']", text)
    assert not re.search(r"\beval\(|\bnew Function\(|\bXMLHttpRequest\b|\bfetch\(", text)


@pytest.mark.parametrize("name", ["undo", "setDiagnostics", "EditorView", "toml"])
def test_it_exports_what_the_page_uses(name: str) -> None:
    exports = bundle_editor.BUNDLE.read_text("utf-8").rpartition("export{")[2]
    assert re.search(rf"\b(as )?{name}\b", exports)
