"""A practice page's contents to one HTML file: styles, script, drawings and data inside.

The script is the modules beside this one, put one after another in the order in which they need
each other; import and export lines fall away, so all share one scope (a test sees to it that no two
use the same name). The page allows nothing but that script and its style, by their digests; what a
user has written goes in as data, never as markup.
"""

from __future__ import annotations

import base64
import hashlib
import json
import re
from collections.abc import Mapping
from functools import cache
from importlib import resources
from pathlib import Path
from typing import Any

from renderer.errors import failure

MAIN = "page.js"
ENDINGS = (".html", ".htm")

_IMPORT = re.compile(r'^import \{[^}]*\} from "\./([a-z_]+\.js)";\n', re.MULTILINE)
_PLACE = re.compile(r"\{\{(\w+)\}\}")
_EXPORT = re.compile(r"^export (?=(?:async )?(?:function|class|const|let) )", re.MULTILINE)


def check_ending_of_page(path: Path) -> None:
    """Raise a `RungwiseError` for a file that no browser would take for a page."""
    if path.suffix.casefold() not in ENDINGS:
        raise failure(
            f"pages that end in {path.suffix!r} are not written",
            "name a file that ends in .html",
            file=str(path),
        )


def _file(name: str) -> str:
    return (resources.files(__package__) / name).read_text(encoding="utf-8")


@cache
def modules() -> tuple[str, ...]:
    """Return the names of the script's modules, each after those that it imports."""
    found: dict[str, None] = {}

    def take(name: str) -> None:
        for needed in _IMPORT.findall(_file(name)):
            if needed not in found:
                take(needed)
        found[name] = None

    take(MAIN)
    return tuple(found)


@cache
def script() -> str:
    """Return the whole script in one scope."""
    parts = [_EXPORT.sub("", _IMPORT.sub("", _file(name))) for name in modules()]
    return '"use strict";\n{\n' + "\n".join(parts) + "}\n"


def _digest(text: str) -> str:
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'"


def _as_data(plain: Mapping[str, Any]) -> str:
    """JSON that ends no script element and begins no comment, whatever a user has written."""
    text = json.dumps(plain, ensure_ascii=False, separators=(",", ":"))
    for sign in "<>&\u2028\u2029":
        text = text.replace(sign, f"\\u{ord(sign):04x}")
    return text


def _as_text(text: str) -> str:
    for sign, name in (("&", "amp"), ("<", "lt"), (">", "gt"), ('"', "quot")):
        text = text.replace(sign, f"&{name};")
    return text


def html_of(contents: Mapping[str, Any]) -> bytes:
    """Return a page as bytes.

    Parameters
    ----------
    contents:
        From `renderer.delivery.page.contents.page_contents`.
    """
    style = _file("music.css") + _file("page.css")
    policy = "; ".join(
        (
            "default-src 'none'",
            f"script-src {_digest(script())}",
            f"style-src {_digest(style)}",
            "img-src data: blob:",
            "media-src data: blob:",
            "base-uri 'none'",
            "form-action 'none'",
        )
    )
    parts = {
        "policy": policy,
        "style": style,
        "title": _as_text(contents["exercises"][0]["title"]),
        "script": script(),
        "glyphs": "".join(contents["glyphs"]),
        "data": _as_data({key: value for key, value in contents.items() if key != "glyphs"}),
    }
    # In one go, so that nothing that a user has written is taken for a place to fill.
    return _PLACE.sub(lambda found: parts[found[1]], _file("page.html")).encode()
