"""Reading exercise definitions: TOML as a teacher writes it, to a `Definition`.

Everything that is wrong in a file is found in one go and raised as one `RungwiseError`, each
problem with its place, such as `lines[3].run` (the third line), the cause and the remedy. A
`Definition` still has runs and ornament names; `renderer.technique.realise` turns it into music.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, time
from fractions import Fraction
from pathlib import Path
from typing import Any, Literal

from pydantic import BaseModel, Field, ValidationError, field_validator, model_validator
from rapidfuzz import process

from renderer.errors import Problem, RungwiseError, failure
from renderer.notation.definition_fields import (
    Table,
    WrongValueError,
    in_range,
    read_gracenote_length,
    read_inner_length,
    read_meter,
)
from renderer.notation.definition_lines import (
    NOTES_PER_BEAT,
    DefinitionLine,
    LineTable,
    definition_line,
)
from renderer.notation.ladder import steps
from renderer.notation.length import Length
from renderer.notation.limits import (
    FASTEST_TEMPO,
    LONGEST_FILE_BYTES,
    LONGEST_TEXT,
    LONGEST_TITLE,
    MOST_LINES,
    MOST_REPEATS,
    MOST_RUNGS,
    SLOWEST_TEMPO,
)
from renderer.notation.patterns import AgainstTable, RunsTable, ScaleTable
from renderer.notation.score import (
    USUAL_GRACENOTE,
    USUAL_GRACENOTES,
    USUAL_INNER,
    Gracenotes,
    Ladder,
    Meter,
    Placement,
)
from renderer.notation.source_file import read_bytes

Impossible = Literal["replace", "error"]


@dataclass(frozen=True, slots=True)
class Definition:
    """A definition file's contents, checked but not yet expanded into music."""

    title: str
    lines: tuple[DefinitionLine, ...]
    meter: Meter | None = None
    tempo: Fraction = Fraction(60)
    gracenotes: Gracenotes = USUAL_GRACENOTES
    inner: Length = USUAL_INNER
    ladder: Ladder | None = None
    audience: str = ""
    purpose: str = ""
    level: str = ""
    impossible: Impossible = "replace"
    ornament_book: dict[str, Any] | None = None
    source: str = ""


class _Gracenotes(Table):
    length: str = str(USUAL_GRACENOTE)
    placement: Placement = "on the beat"

    @field_validator("length")
    @classmethod
    def _length(cls, value: str) -> str:
        read_gracenote_length(value)
        return value


class _Ornaments(Table):
    inner: str = str(USUAL_INNER)
    impossible: Impossible = "replace"

    @field_validator("inner")
    @classmethod
    def _inner(cls, value: str) -> str:
        read_inner_length(value)
        return value


class _Ladder(Table):
    start: float | None = Field(default=None, alias="from")
    stop: float | None = Field(default=None, alias="to")
    step: float | None = None
    tempos: list[float] | None = None
    percent: bool = False
    repeats: int = 1

    @model_validator(mode="after")
    def _complete(self) -> _Ladder:
        in_range(self.repeats, 1, MOST_REPEATS, "a number of repeats")
        span = (self.start, self.stop, self.step)
        remedy = "write from, to and step, or a list of tempos"
        if self.tempos is not None:
            if any(value is not None for value in span):
                raise WrongValueError("the ladder has a span and a list of tempos", remedy)
            if not 1 <= len(self.tempos) <= MOST_RUNGS:
                raise WrongValueError(
                    f"a ladder of {len(self.tempos)} rungs is out of range",
                    f"list 1 to {MOST_RUNGS} tempos",
                )
        elif any(value is None for value in span):
            names = [n for n, v in zip(("from", "to", "step"), span, strict=True) if v is None]
            raise WrongValueError(f"the ladder lacks {' and '.join(names)}", remedy)
        self.as_written()
        return self

    def as_written(self) -> Ladder:
        if self.tempos is not None:
            tempos = tuple(_exact(tempo) for tempo in self.tempos)
        else:
            assert self.start is not None and self.stop is not None and self.step is not None
            try:
                tempos = steps(_exact(self.start), _exact(self.stop), _exact(self.step))
            except ValueError as error:
                cause, _, remedy = str(error).partition("; ")
                raise WrongValueError(cause, remedy) from None
        low, high = (1, 400) if self.percent else (SLOWEST_TEMPO, FASTEST_TEMPO)
        for tempo in tempos:
            in_range(float(tempo), low, high, "a rung of the ladder")
        return Ladder(tempos, self.percent, self.repeats)


class _Definition(Table):
    title: str = Field(default="", max_length=LONGEST_TITLE)
    audience: str = Field(default="", alias="for", max_length=LONGEST_TITLE)
    purpose: str = Field(default="", max_length=LONGEST_TEXT)
    level: str = Field(default="", max_length=LONGEST_TITLE)
    meter: str | None = None
    tempo: float = 60.0
    gracenotes: _Gracenotes = _Gracenotes()
    ornaments: _Ornaments = _Ornaments()
    lines: list[LineTable]
    ladder: _Ladder | None = None
    ornament_book: dict[str, Any] | None = Field(default=None, alias="ornament-book")

    @field_validator("meter")
    @classmethod
    def _meter(cls, value: str) -> str:
        read_meter(value)
        return value

    @field_validator("tempo")
    @classmethod
    def _tempo(cls, value: float) -> float:
        in_range(value, SLOWEST_TEMPO, FASTEST_TEMPO, "a tempo")
        return value

    @model_validator(mode="after")
    def _beats_divide(self) -> _Definition:
        meter = Meter(4, 4) if self.meter is None else read_meter(self.meter)
        known = NOTES_PER_BEAT[meter.is_compound]
        for number, line in enumerate(self.lines, start=1):
            if line.notes_per_beat not in known:
                raise WrongValueError(
                    f"line {number} divides the beat of {meter} into {line.notes_per_beat}",
                    f"write {', '.join(map(str, known[:-1]))} or {known[-1]} `notes-per-beat`",
                )
        return self

    @field_validator("lines")
    @classmethod
    def _lines(cls, value: list[LineTable]) -> list[LineTable]:
        if not 1 <= len(value) <= MOST_LINES:
            raise WrongValueError(
                f"the file has {len(value)} lines", f"give it 1 to {MOST_LINES} [[lines]]"
            )
        return value


def _exact(value: float) -> Fraction:
    """The number that was written, which a float only comes near to."""
    return Fraction(repr(value))


def _place(path: Sequence[int | str]) -> str:
    place = ""
    for part in path:
        if isinstance(part, int):
            place += f"[{part + 1}]"
        else:
            place += f".{part}" if place else part
    return place


_TABLES: dict[str, type[BaseModel]] = {
    "gracenotes": _Gracenotes,
    "ornaments": _Ornaments,
    "ladder": _Ladder,
    "lines": LineTable,
    "runs": RunsTable,
    "scale": ScaleTable,
    "against": AgainstTable,
}


def _table_at(path: Sequence[int | str]) -> type[BaseModel]:
    """The table that a path leads into, for the names of its keys."""
    named = [_TABLES[part] for part in path if isinstance(part, str) and part in _TABLES]
    return named[-1] if named else _Definition


def _keys(table: type[BaseModel]) -> list[str]:
    return [field.alias or name for name, field in table.model_fields.items()]


def _unknown_key(path: Sequence[int | str]) -> Problem:
    key = str(path[-1])
    known = _keys(_table_at(path[:-1]))
    nearest = process.extractOne(key, known, score_cutoff=60)
    listed = "known here: " + ", ".join(known)
    remedy = f"did you mean `{nearest[0]}`? ({listed})" if nearest else listed
    return Problem(f"there is no key `{key}`", remedy.rstrip("?"), _place(path))


_DEEP_KEY = re.compile(r"""(?:\s*\.\s*(?:[\w-]+|"[^"\n]*"|'[^'\n]*')){100}""")

_BARE = ("bool_type", "int_type", "float_type")
_CURLY_QUOTES = (
    "\N{LEFT DOUBLE QUOTATION MARK}\N{RIGHT DOUBLE QUOTATION MARK}\N{DOUBLE LOW-9 QUOTATION MARK}"
)

_EXPECTED = {
    "string_type": "text in quotes",
    "bool_type": "true or false",
    "int_type": "a whole number",
    "float_type": "a number",
    "list_type": "a list",
    "dict_type": "a table",
    "model_type": "a table",
}


def _as_written(value: object) -> str:
    """A value as a definition writes it, where that is short enough to show."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str | int | float | list) and len(repr(value)) < 60:
        return repr(value)
    if isinstance(value, date | time):
        return value.isoformat()
    return "a table" if isinstance(value, dict) else "what is there"


def _without_quotes(value: object, kind: str) -> str:
    return " without quotes" if isinstance(value, str) and kind in _BARE else ""


def _problem(error: Any) -> Problem:
    """One of pydantic's findings in a player's words."""
    path, kind, context = error["loc"], error["type"], error.get("ctx", {})
    place = _place(path)
    wrong = context.get("error")
    if isinstance(wrong, WrongValueError):
        return Problem(wrong.cause, wrong.remedy, place)
    value = error.get("input")
    match kind:
        case "extra_forbidden":
            return _unknown_key(path)
        case "missing":
            cause = f"`{path[-1]}` is missing"
            remedy = "a definition needs [[lines]]" if len(path) == 1 else "add it"
        case "string_too_long":
            cause = f"{len(str(value))} characters are too many"
            remedy = f"write up to {context['max_length']}"
        case "literal_error":
            cause, remedy = f"{value!r} is not known here", f"write {context['expected']}"
        case "finite_number":
            cause, remedy = f"{value} is no number to count by", "write a finite number"
        case _ if kind in _EXPECTED:
            cause = f"{_as_written(value)} is not {_EXPECTED[kind]}"
            remedy = f"write {_EXPECTED[kind]}" + _without_quotes(value, kind)
            if path == ("lines",):
                remedy = "write [[lines]] in double brackets before each line"
        case _:
            cause, remedy = str(error["msg"]), "see the README for what a definition holds"
    return Problem(cause, remedy, place)


def _toml_remedy(text: str, message: str, where: str) -> str:
    if message.startswith("Cannot"):
        return "write each key and each table once"
    number = re.match(r"line (\d+)", where)
    line = text.splitlines()[int(number[1]) - 1] if number else ""
    if any(quote in line for quote in _CURLY_QUOTES):
        return 'write straight quotes ("), not curly ones'
    return "write key = value; text stands in quotes, lists in [ ]"


def parse_definition(text: str, *, name: str = "", source: str = "") -> Definition:
    """Read a definition from TOML text.

    Parameters
    ----------
    text:
        The file's contents.
    name:
        The title where the file has none.
    source:
        The file, for messages.

    Raises
    ------
    RungwiseError
        With every problem of the file.
    """
    if _DEEP_KEY.search(text):
        # tomllib takes time that grows with the square of a key's depth.
        raise failure("a key in it has too many parts", "write keys as in the README", file=source)
    try:
        table = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        message, _, where = str(error).partition(" (at ")
        raise failure(
            f"this is not TOML: {message[:1].lower()}{message[1:]}",
            _toml_remedy(text, message, where),
            place=where.rstrip(")"),
            file=source,
        ) from None
    except ValueError:
        # Python reads whole numbers of up to 4,300 digits.
        raise failure("a number in it is endless", "write a shorter one", file=source) from None
    except RecursionError:
        raise failure("lists are nested too deeply", "write a flat list", file=source) from None
    if not table:
        raise failure(
            "the file is empty", "give it a title and [[lines]]; see the README", file=source
        )
    try:
        raw = _Definition.model_validate(table)
    except ValidationError as error:
        problems = [_problem(e) for e in error.errors(include_url=False)]
        raise RungwiseError(problems).in_file(source) from None
    return Definition(
        title=raw.title.strip() or name or "Untitled",
        lines=tuple(definition_line(line) for line in raw.lines),
        meter=None if raw.meter is None else read_meter(raw.meter),
        tempo=_exact(raw.tempo),
        gracenotes=Gracenotes(
            read_gracenote_length(raw.gracenotes.length), raw.gracenotes.placement
        ),
        inner=read_inner_length(raw.ornaments.inner),
        ladder=None if raw.ladder is None else raw.ladder.as_written(),
        audience=raw.audience,
        purpose=raw.purpose,
        level=raw.level,
        impossible=raw.ornaments.impossible,
        ornament_book=raw.ornament_book,
        source=source,
    )


def read_text(path: Path) -> str:
    """Return a text file's contents; raise a `RungwiseError` for what is no text file."""
    data = read_bytes(path, LONGEST_FILE_BYTES, if_too_large="name an exercise definition")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        remedy = "name an exercise definition saved as UTF-8"
        raise failure("this is not a text file", remedy, file=str(path)) from None


def read_definition(path: Path) -> Definition:
    """Read a definition file; raise a `RungwiseError` with every problem in it."""
    return parse_definition(read_text(path), name=path.stem, source=str(path))
