"""What a request of the page holds, checked: a table in, its values out, or why not."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from renderer.errors import failure

Answering = Callable[[Mapping[str, Any]], dict[str, Any]]
"""What answers a request: takes a table and gives one, as JSON holds them."""


@dataclass(frozen=True, slots=True)
class Brought:
    """A file that is brought to the page as it is, and what kind of file it is."""

    path: Path
    kind: str


Bringing = Callable[[Mapping[str, Any]], Brought]
"""What answers a request by a file."""

MOST_TEXT = 3_000_000
"""Letters of a file's text."""

_ANEW = "load the page again"


def text_of(asked: Mapping[str, Any], key: str, most: int = 1_000) -> str:
    """Return a text of a request, empty where it is left out."""
    value = asked.get(key, "")
    if not isinstance(value, str):
        raise failure(f"`{key}` is no text", _ANEW)
    if len(value) > most:
        raise failure(f"`{key}` is longer than {most} letters", "shorten it")
    return value


def texts_of(asked: Mapping[str, Any], key: str, most: int) -> list[str]:
    """Return a list of texts of a request, empty where it is left out."""
    value = asked.get(key, [])
    is_list = isinstance(value, list) and len(value) <= most
    if not is_list or not all(isinstance(one, str) for one in value):
        raise failure(f"`{key}` is no list of texts", _ANEW)
    return list(value)


def tables_of(asked: Mapping[str, Any], key: str, most: int) -> list[dict[str, Any]]:
    """Return a list of tables of a request, empty where it is left out."""
    value = asked.get(key, [])
    is_list = isinstance(value, list) and len(value) <= most
    if not is_list or not all(isinstance(one, dict) for one in value):
        raise failure(f"`{key}` is no list of tables", _ANEW)
    return list(value)
