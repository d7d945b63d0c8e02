"""Typst: a template and its data to PDF, SVG or PNG, with the project's fonts and no others."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from renderer.delivery.sheet.fonts import font_folders


def _fonts() -> dict[str, Any]:
    folders = [str(folder) for folder in font_folders()]
    return {"font_paths": folders, "ignore_system_fonts": True}


def typeset(source: Mapping[str, bytes], form: str, **options: Any) -> list[bytes]:
    """Return a document's pages in one form: one PDF, or each page as SVG or PNG.

    Parameters
    ----------
    source:
        Files by name: `main.typ` and what it reads.
    form:
        `pdf`, `svg` or `png`.
    options:
        As Typst's compiler has them.
    """
    import typst

    # Its type hints leave out that the input can be files by name.
    compile_files: Any = typst.compile
    result = compile_files(dict(source), format=form, **_fonts(), **options)
    return [result] if isinstance(result, bytes) else list(result)


def found_in(source: Mapping[str, bytes], label: str) -> list[Any]:
    """Return the values of all metadata of a document with a label, such as `<sizes>`."""
    import typst

    query: Any = typst.query
    found: list[Any] = json.loads(query(dict(source), label, field="value", **_fonts()))
    return found
