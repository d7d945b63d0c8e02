"""A definition or a pack changed by fields: text and a change in, text out, remarks and order kept.

The text is the only truth: what the fields show is what it holds (`fields_of`), and a change by a
field is a change of the text (`edit`), made where the value stands. Whatever else is in the file
stays as it was typed. Each result is read again and held against what was asked; a file that is
written in a way that cannot be changed so is refused, and never spoilt.
"""

from __future__ import annotations

import copy
import re
import tomllib
from collections import Counter
from collections.abc import Mapping, Sequence
from typing import Any, TypeGuard

import tomlkit
from tomlkit.exceptions import TOMLKitError

from renderer.errors import failure
from renderer.notation.definition.text_places import Path, TextPlaces, items_of, text_places

Change = Mapping[str, Any]
"""What a field asks for, as JSON holds it: `do` is one of

- `set`: `path` (keys, and numbers of lines from 0) and the value `to`; null takes the key away;
- `insert`: `line`, a table, and `at`, the number that it gets;
- `remove`, `copy`: `at`;
- `move`: `at` and `to`;
- `arrange`: `lines`, the entries that there are to be, in their order: numbers of those there are,
  each at most once, and tables of new ones.

The last five change the list that `list` names, one of `LISTS`; left out, the lines. What is put
into a pack's exercises may be a name alone.
"""

LINES = "lines"
LISTS = (LINES, "exercises", "learners", "groups")
"""Tables in double brackets, or lists in brackets, of definitions and packs."""

_KINDS = ("set", "insert", "remove", "copy", "move", "arrange")
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
    named = _list_of(change)
    lines = wanted.setdefault(named, [])
    if not isinstance(lines, list):
        raise _no_change("the lines are no list")
    if change["do"] == "arrange":
        wanted[named] = _arranged(wanted, named, change.get(LINES))
    else:
        _change_one(lines, named, change)
        if not lines:
            del wanted[named]
    return wanted


def _change_one(lines: list[Any], named: str, change: Change) -> None:
    """Put an entry in, take it out, double or move it."""
    count, at = len(lines), change.get("at")
    if change["do"] == "insert":
        line = change.get("line")
        is_name = isinstance(line, str) and named == "exercises"
        if not (isinstance(line, Mapping) or is_name) or not _within(at, count + 1):
            raise _no_change("there is no such place for a line")
        lines.insert(at, line if isinstance(line, str) else dict(line))  # type: ignore[arg-type]
        return
    if not _within(at, count):
        raise _no_change("there is no such line")
    if change["do"] == "remove":
        del lines[at]
    elif change["do"] == "copy":
        lines.insert(at, copy.deepcopy(lines[at]))
    else:
        if not _within(change.get("to"), count):
            raise _no_change("there is no such place for a line")
        lines.insert(change["to"], lines.pop(at))


def _arranged(table: Mapping[str, Any], named: str, rows: object) -> list[Any]:
    """Return the entries of a list as they are to be arranged."""
    lines = table[named]
    kept = [row for row in rows if isinstance(row, int)] if isinstance(rows, list) else []
    if (
        not isinstance(rows, list)
        or not rows
        or len(set(kept)) < len(kept)
        or not all(isinstance(row, Mapping) or _within(row, len(lines)) for row in rows)
    ):
        raise _no_change("its lines are none")
    if named == LINES and "order" in table:
        raise failure(
            "`order` names the lines by their numbers, which would be others",
            "take `order` out of the text first",
        )
    return [dict(row) if isinstance(row, Mapping) else lines[row] for row in rows]


def _list_of(change: Change) -> str:
    named = change.get("list", LINES)
    if named not in LISTS:
        raise _no_change("there is no such list")
    return str(named)


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
    if isinstance(table, list) and isinstance(key, int) and _within(key, len(table)):
        if to is None:
            raise _no_change("an entry is taken out by its number")
        table[key] = to
        return
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
    if not way and isinstance(to, Mapping) and not _is_begun(places, path):
        return _with_table(text, places, str(key), to)
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
    """Return a text with an entry put in, taken out, doubled or moved, its remarks with it."""
    named = _list_of(change)
    entries = places.entries(named)
    do = change["do"]
    if not entries:
        return _in_list(text, places, named, change)
    if do == "arrange":
        return _arrange(text, entries, named, change[LINES])
    if do == "insert":
        return _put_in(text, entries, change["at"], _block(named, change["line"]))
    start, end = entries[change["at"]]
    block = text[start:end].rstrip("\n") + "\n"
    if do == "copy":
        return _put_in(text, entries, change["at"], block)
    # What follows a line that goes keeps its distance to what stood before it.
    without = text[:start] + text[end:]
    others = text_places(without).entries(named)
    if do == "remove":
        return without
    return _put_in(without, others, change["to"], block) if others else text


def _arrange(
    text: str,
    entries: Sequence[tuple[int, int]],
    named: str,
    rows: Sequence[int | Mapping[str, Any]],
) -> str:
    """Return a text with entries in another order, some left out, some new.

    What stands between two of them, such as a ladder, comes after all of them.
    """
    blocks = [
        _ended(text[slice(*entries[row])].rstrip("\n"))
        if isinstance(row, int)
        else _block(named, row)
        for row in rows
    ]
    ends = [end for _, end in entries]
    starts = [start for start, _ in entries[1:]]
    rest = "".join(
        text[end:start] for end, start in zip(ends, [*starts, len(text)], strict=True)
    ).lstrip("\n")
    arranged = text[: entries[0][0]] + "\n".join(blocks)
    return f"{arranged}\n{rest}" if rest else arranged


def _block(named: str, line: Mapping[str, Any]) -> str:
    rows = "".join(
        f"{tomlkit.key(key).as_string()} = {_value(value)}\n" for key, value in line.items()
    )
    return f"[[{named}]]\n{rows}"


def _put_in(text: str, entries: Sequence[tuple[int, int]], at: int, block: str) -> str:
    if at < len(entries):
        place = entries[at][0]
        return f"{text[:place]}{block}\n{text[place:]}"
    place = entries[-1][1]
    before = _ended(text[:place])
    gap = "" if before.endswith("\n\n") else "\n"
    rest = text[place:]
    return f"{before}{gap}{block}" + (f"\n{rest}" if rest else "")


def _in_list(text: str, places: TextPlaces, named: str, change: Change) -> str:
    """Return a text whose entries stand in one list, or that has none yet, with one changed."""
    own = places.statement((named,))
    do = change["do"]
    if own is None:
        line = change["line"]
        if isinstance(line, str):
            return _set(text, places, {"path": [named], "to": [line]})
        return f"{_ended(text)}\n{_block(named, line)}" if text else _block(named, line)
    span = own.value_start, own.value_end
    items = items_of(text, span)
    if do == "arrange":
        return _arrange_list(text, items, change[LINES])
    at = change["at"]
    piece = _value(change["line"]) if do == "insert" else text[slice(*items[at])]
    if do in ("insert", "copy"):
        return _put_into_list(text, span, items, at, piece)
    if len(items) == 1:  # moved, it stays where it is
        return text if do == "move" else _set(text, places, {"path": [named], "to": None})
    without = _taken_out_of_list(text, items, at)
    span = span[0], span[1] - (len(text) - len(without))
    others = items_of(without, span)
    return without if do == "remove" else _put_into_list(without, span, others, change["to"], piece)


def _arrange_list(
    text: str, items: Sequence[tuple[int, int]], rows: Sequence[int | Mapping[str, Any]]
) -> str:
    """Return a text with the entries of a list in another order.

    Raises a `ValueError` where one is left out, and for remarks in it, which belong to no entry.
    """
    between = zip((end for _, end in items), (start for start, _ in items[1:]), strict=False)
    if any("#" in text[end:start] for end, start in between):
        raise ValueError("what do the remarks belong to?")
    if sorted(row for row in rows if isinstance(row, int)) != list(range(len(items))):
        raise ValueError("entries of a list are put in order, not taken out")
    pieces = [text[slice(*items[row])] for row in rows if isinstance(row, int)]
    for (start, end), piece in zip(reversed(items), reversed(pieces), strict=True):
        text = text[:start] + piece + text[end:]
    return text


def _put_into_list(
    text: str, span: tuple[int, int], items: Sequence[tuple[int, int]], at: int, piece: str
) -> str:
    """Return a text with an entry put into a list, on its own row where the others have one."""
    if not items:
        return f"{text[: span[0]]}[{piece}]{text[span[1] :]}"
    if at < len(items):
        start = items[at][0]
        lead = _indent(text, start)
        return f"{text[:start]}{piece},{' ' if lead is None else lead}{text[start:]}"
    start, end = items[-1]
    lead = _indent(text, start)
    if lead is None:
        return f"{text[:end]}, {piece}{text[end:]}"
    # Behind the remark of the last one, if there is a comma before it.
    comma = re.compile(r"\s*(,)").match(text, end, span[1])
    row_end = text.find("\n", end, span[1])
    if row_end < 0:
        return f"{text[:end]},{lead}{piece}{text[end:]}"
    if comma is None:
        return f"{text[:end]},{text[end:row_end]}{lead}{piece}{text[row_end:]}"
    row_end = text.find("\n", comma.end(), span[1])
    return f"{text[:row_end]}{lead}{piece},{text[row_end:]}"


def _indent(text: str, start: int) -> str | None:
    """Return the line break and spaces before an entry; None where others stand in its row."""
    row = text.rfind("\n", 0, start)
    before = text[row + 1 : start]
    return None if row < 0 or before.strip() else f"\n{before}"


def _taken_out_of_list(text: str, items: Sequence[tuple[int, int]], at: int) -> str:
    """Return a text without an entry of a list, and without its row and remark if it had one."""
    start, end = items[at]
    rest = re.compile(r"[ \t]*,?[ \t]*(#[^\n]*)?\n").match(text, end)
    if _indent(text, start) is not None and rest is not None:
        return text[: text.rfind("\n", 0, start) + 1] + text[rest.end() :]
    if at + 1 < len(items):
        return text[:start] + text[items[at + 1][0] :]
    return text[: items[at - 1][1]] + text[end:]


def _keeps_remarks(places: TextPlaces, made: str, change: Change) -> bool:
    """Whether every remark is there still, but for those of entries and tables that are gone."""
    before = Counter(places.remarks)
    gone: Sequence[tuple[int, int]] = ()
    if change["do"] == "set":
        gone = places.tables(tuple(change["path"])) if change.get("to") is None else ()
    else:
        entries = places.entries(_list_of(change))
        if change["do"] == "remove":
            if not entries:
                return True
            gone = entries[change["at"] : change["at"] + 1]
        elif change["do"] == "arrange":
            gone = [entry for at, entry in enumerate(entries) if at not in change[LINES]]
    for start, end in gone:
        before -= Counter(text_places(places.text[start:end]).remarks)
    return not before - Counter(text_places(made).remarks)
