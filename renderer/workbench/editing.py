"""A definition changed by its fields: text and a change in, text out, remarks and order kept.

The text is the only truth: what the fields show is what it holds (`fields_of`), and a change by a
field is a change of the text (`edit`), made where the value stands. Whatever else is in the file
stays as it was typed. Each result is read again and held against what was asked; a file that is
written in a way that cannot be changed so is refused, and never spoilt.
"""

from __future__ import annotations

import copy
import tomllib
from collections import Counter
from collections.abc import Mapping, Sequence
from typing import Any, TypeGuard

import tomlkit
from tomlkit.exceptions import TOMLKitError

from renderer.errors import failure
from renderer.notation.definition.text_places import Path, TextPlaces, text_places

Change = Mapping[str, Any]
"""What a field asks for, as JSON holds it: `do` is one of

- `set`: `path` (keys, and numbers of lines from 0) and the value `to`; null takes the key away;
- `insert`: `line`, a table, and `at`, the number that it gets;
- `remove`, `copy`: `at`;
- `move`: `at` and `to`.
"""

LINES = "lines"
_KINDS = ("set", "insert", "remove", "copy", "move")
_DEEPEST = 8


def fields_of(text: str) -> dict[str, Any] | None:
    """Return what a definition's text holds, by its keys; None where it is no TOML."""
    try:
        return tomllib.loads(text)
    except (ValueError, RecursionError):
        return None


def edit(text: str, change: Change) -> str:
    """Return a definition's text with one change made.

    Raises
    ------
    RungwiseError
        For text that is no TOML, for a change that means nothing, and where the text is written in
        such a way that fields cannot change it.
    """
    before = fields_of(text)
    if before is None:
        raise failure(
            "the text cannot be read as it stands, so fields cannot change it",
            "put right what is marked in the text first",
        )
    wanted = _changed(before, change)
    if wanted == before and change["do"] == "set":
        return text
    bare = text.replace("\r\n", "\n")
    places = text_places(bare)
    try:
        made = _set(bare, places, change) if change["do"] == "set" else _line(bare, places, change)
    except (TOMLKitError, LookupError, TypeError, ValueError, AttributeError):
        made = ""
    if fields_of(made) != wanted or not _keeps_remarks(places, made, change):
        raise failure(
            "this file is written in a way that fields cannot change", "change it in the text"
        )
    return made.replace("\n", "\r\n") if "\r\n" in text else made


def _no_change(cause: str) -> Exception:
    return failure(f"this is no change of a definition: {cause}", "load the page again")


def _changed(table: dict[str, Any], change: Change) -> dict[str, Any]:
    """Return what the table is to be."""
    if change.get("do") not in _KINDS:
        raise _no_change("it says not what to do")
    wanted = copy.deepcopy(table)
    if change["do"] == "set":
        path = change.get("path")
        if not isinstance(path, Sequence) or not 1 <= len(path) <= _DEEPEST:
            raise _no_change("it has no place")
        _put(wanted, tuple(path), change.get("to"))
        return wanted
    lines = wanted.setdefault(LINES, [])
    if not isinstance(lines, list):
        raise _no_change("the lines are no list")
    count = len(lines)
    at = change.get("at")
    if change["do"] == "insert":
        if not isinstance(change.get("line"), Mapping) or not _within(at, count + 1):
            raise _no_change("there is no such place for a line")
        lines.insert(at, dict(change["line"]))
        return wanted
    if not _within(at, count):
        raise _no_change("there is no such line")
    if change["do"] == "remove":
        del lines[at]
        if not lines:
            del wanted[LINES]
    elif change["do"] == "copy":
        lines.insert(at, copy.deepcopy(lines[at]))
    else:
        if not _within(change.get("to"), count):
            raise _no_change("there is no such place for a line")
        lines.insert(change["to"], lines.pop(at))
    return wanted


def _within(number: object, count: int) -> TypeGuard[int]:
    return isinstance(number, int) and not isinstance(number, bool) and 0 <= number < count


def _put(table: Any, path: Path, to: Any) -> None:
    *way, key = path
    for part in way:
        if isinstance(part, int) and isinstance(table, list) and _within(part, len(table)):
            table = table[part]
        elif isinstance(part, str) and isinstance(table, dict):
            if part not in table and to is None:
                return
            table = table.setdefault(part, {})
        else:
            raise _no_change("there is no such place")
    if not isinstance(table, dict) or not isinstance(key, str):
        raise _no_change("there is no such place")
    if to is None:
        table.pop(key, None)
    else:
        table[key] = to


def _set(text: str, places: TextPlaces, change: Change) -> str:
    path: Path = tuple(change["path"])
    to = change.get("to")
    own = places.statement(path)
    if own is not None and to is None:
        # The remark behind a value that goes stays, on a line of its own.
        kept = f"{own.remark}\n" if own.remark else ""
        return text[: own.start] + kept + text[own.end :]
    if own is not None:
        return text[: own.value_start] + _value(to) + text[own.value_end :]
    *way, key = path
    at = _end_of_keys(places, tuple(way))
    if at is not None and to is not None and not _is_begun(places, path):
        return _with_key(text, at, key, to)
    return _set_inside(text, places, path, to)


def _is_begun(places: TextPlaces, path: Path) -> bool:
    """Whether a table of that name stands somewhere: `ladder.from = 50`, `[lines.runs]`."""
    known = [*(one.path for one in places.statements), *(one.path for one in places.headings)]
    return any(one[: len(path)] == path for one in known)


def _set_inside(text: str, places: TextPlaces, path: Path, to: Any) -> str:
    """Return a text with a value set or taken out inside another value, or in a new table."""
    document = tomlkit.parse(text)
    *way, key = path
    table: Any = document
    for depth, part in enumerate(way):
        if isinstance(part, str) and part not in table:
            if to is None:
                return text
            if depth == 0:
                return _with_table(text, places, part, _nested(way[1:], key, to))
            table[part] = tomlkit.inline_table()
        table = table[part]
    if to is None:
        table.pop(key, None)
    else:
        table[key] = to
    made: str = tomlkit.dumps(document)
    return made


def _nested(way: Sequence[str | int], key: str | int, to: Any) -> dict[str, Any]:
    for part in reversed(way):
        key, to = part, {key: to}
    return {str(key): to}


def _value(value: Any) -> str:
    if isinstance(value, Mapping):
        inside = ", ".join(
            f"{tomlkit.key(str(key)).as_string()} = {_value(one)}" for key, one in value.items()
        )
        return f"{{ {inside} }}" if inside else "{}"
    if isinstance(value, list):
        return f"[{', '.join(map(_value, value))}]"
    written: str = tomlkit.item(value).as_string()
    return written


def _end_of_keys(places: TextPlaces, table: Path) -> int | None:
    """Return where another key of a table goes: behind its last one, above the next heading.

    None for a table that has no heading of its own.
    """
    if not table:
        begin = 0
        own = None
    else:
        own = next((one for one in places.headings if one.path == table), None)
        if own is None:
            return None
        begin = own.end
    following = min(
        (one.lead for one in places.headings if one.start >= begin and one is not own),
        default=len(places.text),
    )
    inside = [one.end for one in places.statements if begin <= one.start < following]
    return inside[-1] if inside else (begin if own is not None else following)


def _with_key(text: str, at: int, key: str | int, to: Any) -> str:
    before = text[:at]
    if before and not before.endswith("\n"):
        before += "\n"
    return f"{before}{tomlkit.key(str(key)).as_string()} = {_value(to)}\n{text[at:]}"


def _with_table(text: str, places: TextPlaces, name: str, values: Mapping[str, Any]) -> str:
    """Return a text with a new table: what holds for all lines above them, the rest at the end."""
    rows = "".join(f"{tomlkit.key(k).as_string()} = {_value(v)}\n" for k, v in values.items())
    block = f"[{tomlkit.key(name).as_string()}]\n{rows}"
    entries = places.entries(LINES)
    if name in ("gracenotes", "ornaments") and entries:
        first = min(start for start, _ in entries)
        return f"{text[:first]}{block}\n{text[first:]}"
    return f"{_ended(text)}\n{block}"


def _ended(text: str) -> str:
    return text if not text or text.endswith("\n") else f"{text}\n"


def _line(text: str, places: TextPlaces, change: Change) -> str:
    """Return a text with a line put in, taken out, doubled or moved, its remarks with it."""
    entries = places.entries(LINES)
    at = change["at"]
    do = change["do"]
    if not entries:
        return _in_list(text, change)
    if do == "insert":
        rows = "".join(
            f"{tomlkit.key(key).as_string()} = {_value(value)}\n"
            for key, value in change["line"].items()
        )
        return _put_in(text, entries, at, f"[[{LINES}]]\n{rows}")
    start, end = entries[at]
    block = text[start:end].rstrip("\n") + "\n"
    if do == "copy":
        return _put_in(text, entries, at, block)
    # What follows a line that goes keeps its distance to what stood before it.
    without = text[:start] + text[end:]
    if do == "remove":
        return without
    others = text_places(without).entries(LINES)
    if not others:
        return text
    return _put_in(without, others, change["to"], block)


def _put_in(text: str, entries: Sequence[tuple[int, int]], at: int, block: str) -> str:
    if at < len(entries):
        place = entries[at][0]
        return f"{text[:place]}{block}\n{text[place:]}"
    place = entries[-1][1]
    before = _ended(text[:place])
    gap = "" if before.endswith("\n\n") else "\n"
    rest = text[place:]
    return f"{before}{gap}{block}" + (f"\n{rest}" if rest else "")


def _in_list(text: str, change: Change) -> str:
    """Return a text whose lines stand in one list, or that has none yet, with a line changed."""
    table = tomllib.loads(text)
    if LINES not in table:
        rows = "".join(
            f"{tomlkit.key(key).as_string()} = {_value(value)}\n"
            for key, value in change["line"].items()
        )
        block = f"[[{LINES}]]\n{rows}"
        return f"{_ended(text)}\n{block}" if text else block
    document = tomlkit.parse(text)
    listed: Any = document[LINES]
    at, do = change["at"], change["do"]
    if do == "insert":
        listed.insert(at, dict(change["line"]))
    elif do == "remove":
        del listed[at]
        if not table[LINES][1:]:
            del document[LINES]
    elif do == "copy":
        listed.insert(at, copy.deepcopy(table[LINES][at]))
    else:
        one = table[LINES][at]
        del listed[at]
        listed.insert(change["to"], one)
    return tomlkit.dumps(document)


def _keeps_remarks(places: TextPlaces, made: str, change: Change) -> bool:
    """Whether every remark is still there, but for those of a line that was taken out."""
    before = Counter(places.remarks)
    if change["do"] == "remove":
        for start, end in places.entries(LINES)[change["at"] : change["at"] + 1]:
            before -= Counter(text_places(places.text[start:end]).remarks)
        if not places.entries(LINES):
            return True
    return not before - Counter(text_places(made).remarks)
