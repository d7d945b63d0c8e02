"""What is wrong with a definition's values: a finding of pydantic's in, a `Problem` out.

pydantic checks types and ranges by the tables of `renderer.notation.definition.reader`; here its
findings get a place that counts from 1, a player's words, and the form that the field would have.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from datetime import date, time
from typing import Any, get_args

from pydantic import ValidationError
from pydantic.fields import FieldInfo

from renderer.errors import Problem, WrongValueError, shortened
from renderer.notation.definition.fields import Table, listed
from renderer.notation.definition.toml import SEVERAL_REMEDY, SEVERAL_TEMPOS

Path = tuple[int | str, ...]
Tables = type[Table]

_EXPECTED = {
    "string_type": "text in quotes",
    "bool_type": "true or false",
    "int_type": "a whole number",
    "int_from_float": "a whole number",
    "float_type": "a number",
    "list_type": "a list",
    "dict_type": "a table",
    "model_type": "a table",
}
_NUMBERS = ("int_type", "int_from_float", "float_type")


def problems_of(error: ValidationError, root: Tables, data: Mapping[str, Any]) -> list[Problem]:
    """Return every finding of a validation in a player's words, one a place.

    Parameters
    ----------
    error:
        pydantic's.
    root:
        The table that was to be read.
    data:
        What was read into it.
    """
    found: dict[str, Problem] = {}
    for detail in error.errors(include_url=False):
        if detail["type"] == "missing" and _is_in_capitals(detail["loc"], data):
            continue
        problem = _problem(detail, root, data)
        found.setdefault(problem.place, problem)
    return list(found.values())


def _is_in_capitals(path: Path, data: Any) -> bool:
    """Whether a key that is missing is there in other letters, which is said of that key."""
    for part in path[:-1]:
        data = data[part]
    return any(str(key).casefold() == path[-1] for key in data)


def keys_of(table: Tables) -> dict[str, FieldInfo]:
    """Return a table's fields by the keys that a definition writes."""
    return {field.alias or name: field for name, field in table.model_fields.items()}


def every_table(root: Tables) -> Iterator[tuple[str, Tables]]:
    """Yield a table and all the tables in it, each with the words for where its keys go."""
    yield "at the top of the file, above the first line in brackets", root
    for key, field in keys_of(root).items():
        inner, in_list = _table_in(field.annotation)
        if inner is not None:
            yield f"under [[{key}]]" if in_list else f"under [{key}]", inner
            for deeper, one in keys_of(inner).items():
                table, _ = _table_in(one.annotation)
                if table is not None:
                    yield f"in {deeper} = {{ }}", table


def _holds(field: FieldInfo, kind: type) -> bool:
    return kind is field.annotation or kind in get_args(field.annotation)


def _table_in(annotation: Any) -> tuple[Tables | None, bool]:
    if isinstance(annotation, type) and issubclass(annotation, Table):
        return annotation, False
    for inner in get_args(annotation):
        table, in_list = _table_in(inner)
        if table is not None:
            return table, in_list or getattr(annotation, "__origin__", None) is list
    return None, False


def _place(path: Sequence[int | str]) -> str:
    place = ""
    for part in path:
        if isinstance(part, int):
            place += f"[{part + 1}]"
        else:
            place += f".{part}" if place else part
    return place


def _within(path: Path, data: Any) -> Path:
    """As much of a path as leads through what was written."""
    for index, part in enumerate(path):
        is_inside = isinstance(data, list) if isinstance(part, int) else isinstance(data, Mapping)
        if not is_inside:
            return path[:index]
        if isinstance(part, str) and part not in data:
            return path[: index + 1]
        data = data[part]
    return path


def _table_at(root: Tables, path: Path) -> Tables:
    """The table that a path leads into."""
    table = root
    for part in path:
        field = keys_of(table).get(part) if isinstance(part, str) else None
        inner, _ = _table_in(field.annotation) if field is not None else (None, False)
        table = inner or table
    return table


def _named(root: Tables, path: Path) -> tuple[str, FieldInfo | None]:
    """The last key of a path, with its field."""
    for index in range(len(path) - 1, -1, -1):
        key = path[index]
        if isinstance(key, str):
            return key, keys_of(_table_at(root, path[:index])).get(key)
    return "", None


_LARGEST_SHOWN = 10**20


def as_written(value: object) -> str:
    """A value as a definition writes it, where that is short enough to show."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, int) and abs(value) > _LARGEST_SHOWN:
        # Python writes out no number of more than 4,300 digits, which hexadecimal ones can have.
        return "this number"
    if isinstance(value, Mapping) or (
        isinstance(value, list) and any(isinstance(one, Mapping) for one in value)
    ):
        return "a table"
    if isinstance(value, str | int | float | list) and len(repr(value)) < 60:
        return repr(value)
    if isinstance(value, date | time):
        return value.isoformat()
    return "what is there"


def _unknown_key(root: Tables, path: Path) -> Problem:
    key = shortened(str(path[-1]))
    known = list(keys_of(_table_at(root, path[:-1])))
    if key.casefold() in known:
        small = f"write {key.casefold()}, in small letters"
        return Problem(f"there is no key `{key}`", small, _place(path))
    from rapidfuzz import fuzz, process

    nearest = process.extractOne(key, known, scorer=fuzz.ratio, score_cutoff=60)
    elsewhere = [where for where, other in every_table(root) if key in keys_of(other)]
    if elsewhere:
        where = listed(elsewhere, "or")
        return Problem(f"`{key}` does not belong here", f"write it {where}", _place(path))
    names = "known here: " + ", ".join(known)
    remedy = f"did you mean `{nearest[0]}`? ({names})" if nearest else names
    return Problem(f"there is no key `{key}`", remedy, _place(path))


def _number(text: str) -> str | None:
    """The number that stands in quotes, perhaps with its unit, as it is written without them."""
    match = re.fullmatch(r"\s*(\d{1,9}(?:\.\d{1,9})?)\s*(?:[a-z]{1,8}\.?|%)?\s*", text, re.I)
    return match[1] if match else None


def _right_form(kind: str, key: str, value: object, field: FieldInfo | None) -> str:
    """The remedy for a value of the wrong type: what its own field would have."""
    usual = field.description if field is not None else None
    if kind == "bool_type":
        bare = ", without quotes" if isinstance(value, str) else ""
        return f"write {key} = true or {key} = false{bare}"
    if kind in _NUMBERS and isinstance(value, str):
        number = _number(value)
        if key == "tempo" and SEVERAL_TEMPOS.search(value):
            usual = SEVERAL_REMEDY
        elif number is not None:
            usual = f"write the number alone, without quotes: {number}"
    if kind == "string_type":
        texts = isinstance(value, list) and all(isinstance(one, str) for one in value)
        if isinstance(value, list) and texts and value:
            return f'write one text in quotes: {key} = "{", ".join(value)}"'
        if usual is None and not isinstance(value, list | Mapping):
            return f'write {key} = "{as_written(value)}"'
    if kind == "model_type" and isinstance(value, list) and as_written(value) == "a table":
        return f"write [{key}] in single brackets, once"
    return usual or f"write {_EXPECTED[kind]}"


def wrong_type(kind: str, key: str, value: object, field: FieldInfo | None) -> tuple[str, str]:
    """Return cause and remedy for a value of another type than its field's.

    Parameters
    ----------
    kind:
        pydantic's name for what is wrong.
    key, value:
        As written.
    field:
        None where the key has none.
    """
    expected = _EXPECTED.get(kind)
    if expected is None:
        return f"{as_written(value)} does not belong here", "see the README for what does"
    return f"{as_written(value)} is not {expected}", _right_form(kind, key, value, field)


def _problem(error: Any, root: Tables, data: Mapping[str, Any]) -> Problem:
    kind, context, value = error["type"], error.get("ctx", {}), error.get("input")
    path = _within(error["loc"], data)
    if kind == "extra_forbidden":
        return _unknown_key(root, path)
    key, field = _named(root, path)
    usual = field.description if field is not None else None
    wrong = context.get("error")
    if isinstance(wrong, WrongValueError):
        cause, remedy = wrong.cause, wrong.remedy
    elif kind == "missing":
        cause, remedy = f"`{key}` is missing", usual or "add it"
    elif kind == "string_too_long":
        cause = f"{len(str(value))} characters are too many"
        remedy = f"write up to {context['max_length']}"
    elif kind == "literal_error":
        cause, remedy = f"{as_written(value)} is not known here", f"write {context['expected']}"
    elif kind == "finite_number":
        cause, remedy = f"{value} is no number to count by", usual or "write a number"
    else:
        cause, remedy = wrong_type(kind, key, value, field)
    return Problem(cause, remedy, _place(path))


def known_keys(root: Tables, kind: type) -> frozenset[str]:
    """Return the keys whose values are of a type in every table that has them."""
    fields = [one for _, table in every_table(root) for one in keys_of(table).items()]
    others = {key for key, field in fields if not _holds(field, kind)}
    return frozenset(key for key, _ in fields) - others
