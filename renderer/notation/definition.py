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
from fractions import Fraction
from pathlib import Path
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError, field_validator, model_validator
from rapidfuzz import process

from renderer.errors import Problem, RungwiseError, failure
from renderer.notation.ladder import steps
from renderer.notation.length import Length, parse_length
from renderer.notation.limits import (
    FASTEST_TEMPO,
    LONGEST_FILE_BYTES,
    LONGEST_TEXT,
    LONGEST_TITLE,
    MOST_LINES,
    MOST_REPEATS,
    MOST_RUN_NOTES,
    MOST_RUNGS,
    SLOWEST_TEMPO,
)
from renderer.notation.pitch import Note, note_named
from renderer.notation.score import (
    USUAL_GRACENOTE,
    USUAL_GRACENOTES,
    USUAL_INNER,
    Gracenotes,
    Ladder,
    Meter,
    Placement,
)

Impossible = Literal["replace", "error"]


@dataclass(frozen=True, slots=True)
class RunLine:
    """A line given as a run of melody notes, one beat each.

    Parameters
    ----------
    notes:
        The run.
    ornament:
        The movement's name as written, or None for a plain run.
    walk:
        Whether a plain pass comes first and then one pass for each note with the ornament on it.
        Otherwise there is one pass, with the ornament on every note.
    heading, inner:
        As in `Line`.
    """

    notes: tuple[Note, ...]
    ornament: str | None = None
    walk: bool = False
    heading: str = ""
    inner: Length | None = None


@dataclass(frozen=True, slots=True)
class AbcLine:
    """A line written out in ABC."""

    abc: str
    heading: str = ""
    inner: Length | None = None


DefinitionLine = RunLine | AbcLine


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


class WrongValueError(ValueError):
    """A value that a field refuses, with what would be right."""

    def __init__(self, cause: str, remedy: str) -> None:
        super().__init__(cause)
        self.cause, self.remedy = cause, remedy


def _in_range(value: float, least: float, most: float, what: str) -> None:
    if not least <= value <= most:
        raise WrongValueError(
            f"{what} of {value:g} is out of range", f"write a number from {least:g} to {most:g}"
        )


def read_gracenote_length(text: str) -> Length:
    """Read a gracenote's length; raise `WrongValueError` unless it is from 10 to 250 ms."""
    try:
        length = parse_length(text)
    except ValueError:
        raise WrongValueError(f"{text!r} is no length", "write it like '45 ms'") from None
    if length.is_share_of_beat:
        raise WrongValueError(
            "a gracenote's length does not change with the beat", "write it like '45 ms'"
        )
    if not 10 <= length.value <= 250:
        raise WrongValueError(
            f"a gracenote of {length} is out of range", "write a length from 10 ms to 250 ms"
        )
    return length


def read_inner_length(text: str) -> Length:
    """Read the length of inner notes: 20 to 2,000 ms, or up to 4 beats."""
    try:
        length = parse_length(text)
    except ValueError:
        raise WrongValueError(
            f"{text!r} is no length", "write it like '100 ms', or '1/2 beat' to open movements out"
        ) from None
    if length.is_share_of_beat and not 0 < length.value <= 4:
        raise WrongValueError(
            f"an inner length of {length} is out of range", "write up to 4 beats, above 0"
        )
    if not length.is_share_of_beat and not 20 <= length.value <= 2000:
        raise WrongValueError(
            f"an inner length of {length} is out of range", "write a length from 20 ms to 2000 ms"
        )
    return length


def read_meter(text: str) -> Meter:
    """Read a meter such as `3/4` or `6/8`; raise `WrongValueError` for what nobody can count."""
    remedy = "write it like '3/4' or '6/8': 1 to 32 over 1, 2, 4, 8 or 16"
    match = re.fullmatch(r"\s*(\d{1,3})\s*/\s*(\d{1,3})\s*", text)
    if match is None:
        raise WrongValueError(f"{text!r} is no meter", remedy)
    count, unit = int(match[1]), int(match[2])
    if not 1 <= count <= 32 or unit not in (1, 2, 4, 8, 16):
        raise WrongValueError(f"a meter of {count}/{unit} is out of range", remedy)
    return Meter(count, unit)


def read_run(text: str) -> tuple[Note, ...]:
    """Read a run such as `low A, B, D`; raise `WrongValueError` for notes a chanter lacks."""
    names = [name.strip() for name in re.split(r"[,;]", text) if name.strip()]
    remedy = "write the notes' names with commas between, as 'low A, B, D'"
    if not names:
        raise WrongValueError("the run has no notes", remedy)
    if len(names) > MOST_RUN_NOTES:
        raise WrongValueError(
            f"a run of {len(names)} notes is too long",
            f"write at most {MOST_RUN_NOTES} and go on in another line",
        )
    notes, wrong = [], []
    for name in names:
        try:
            notes.append(note_named(name))
        except ValueError as error:
            wrong.append(str(error))
    if wrong:
        raise WrongValueError("; ".join(wrong), remedy)
    return tuple(notes)


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, populate_by_name=True)


class _Gracenotes(_Table):
    length: str = str(USUAL_GRACENOTE)
    placement: Placement = "on the beat"

    @field_validator("length")
    @classmethod
    def _length(cls, value: str) -> str:
        read_gracenote_length(value)
        return value


class _Ornaments(_Table):
    inner: str = str(USUAL_INNER)
    impossible: Impossible = "replace"

    @field_validator("inner")
    @classmethod
    def _inner(cls, value: str) -> str:
        read_inner_length(value)
        return value


class _Line(_Table):
    heading: str = Field(default="", max_length=LONGEST_TITLE)
    run: str | None = Field(default=None, max_length=LONGEST_TEXT)
    ornament: str | None = Field(default=None, max_length=LONGEST_TITLE)
    walk: bool = False
    abc: str | None = Field(default=None, max_length=LONGEST_TEXT)
    inner: str | None = None

    @field_validator("run")
    @classmethod
    def _run(cls, value: str) -> str:
        read_run(value)
        return value

    @field_validator("inner")
    @classmethod
    def _inner(cls, value: str) -> str:
        read_inner_length(value)
        return value

    @model_validator(mode="after")
    def _one_kind(self) -> _Line:
        given = [name for name in ("run", "abc") if getattr(self, name) is not None]
        if len(given) != 1:
            raise WrongValueError(
                "the line has no music" if not given else f"the line has {' and '.join(given)}",
                "give it either a `run` or `abc`",
            )
        if self.abc is not None and (self.ornament is not None or self.walk):
            raise WrongValueError(
                "`ornament` and `walk` go with a `run`, and this line is written out in `abc`",
                "write the ornaments into the `abc`, or give a `run`",
            )
        if self.walk and self.ornament is None:
            raise WrongValueError(
                "`walk` has no ornament to move from note to note", "add an `ornament`"
            )
        return self


class _Ladder(_Table):
    start: float | None = Field(default=None, alias="from")
    stop: float | None = Field(default=None, alias="to")
    step: float | None = None
    tempos: list[float] | None = None
    percent: bool = False
    repeats: int = 1

    @model_validator(mode="after")
    def _complete(self) -> _Ladder:
        _in_range(self.repeats, 1, MOST_REPEATS, "a number of repeats")
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
            _in_range(float(tempo), low, high, "a rung of the ladder")
        return Ladder(tempos, self.percent, self.repeats)


class _Definition(_Table):
    title: str = Field(default="", max_length=LONGEST_TITLE)
    audience: str = Field(default="", alias="for", max_length=LONGEST_TITLE)
    purpose: str = Field(default="", max_length=LONGEST_TEXT)
    level: str = Field(default="", max_length=LONGEST_TITLE)
    meter: str | None = None
    tempo: float = 60.0
    gracenotes: _Gracenotes = _Gracenotes()
    ornaments: _Ornaments = _Ornaments()
    lines: list[_Line]
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
        _in_range(value, SLOWEST_TEMPO, FASTEST_TEMPO, "a tempo")
        return value

    @field_validator("lines")
    @classmethod
    def _lines(cls, value: list[_Line]) -> list[_Line]:
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


def _table_at(path: Sequence[int | str]) -> type[BaseModel]:
    """The table that a path leads into, for the names of its keys."""
    match path:
        case ["gracenotes", *_]:
            return _Gracenotes
        case ["ornaments", *_]:
            return _Ornaments
        case ["ladder", *_]:
            return _Ladder
        case ["lines", int(), *_]:
            return _Line
        case _:
            return _Definition


def _keys(table: type[BaseModel]) -> list[str]:
    return [field.alias or name for name, field in table.model_fields.items()]


def _unknown_key(path: Sequence[int | str]) -> Problem:
    key = str(path[-1])
    known = _keys(_table_at(path[:-1] or [""]))
    nearest = process.extractOne(key, known, score_cutoff=60)
    listed = "known here: " + ", ".join(known)
    remedy = f"did you mean `{nearest[0]}`? ({listed})" if nearest else listed
    return Problem(f"there is no key `{key}`", remedy.rstrip("?"), _place(path))


_EXPECTED = {
    "string_type": "text in quotes",
    "bool_type": "true or false",
    "int_type": "a whole number",
    "float_type": "a number",
    "list_type": "a list, as in [[lines]]",
    "dict_type": "a table",
    "model_type": "a table",
}


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
            cause, remedy = f"`{path[-1]}` is missing", "add it; a definition needs [[lines]]"
        case "string_too_long":
            cause = f"{len(str(value))} characters are too many"
            remedy = f"write up to {context['max_length']}"
        case "literal_error":
            cause, remedy = f"{value!r} is not known here", f"write {context['expected']}"
        case "finite_number":
            cause, remedy = f"{value} is no number to count by", "write a finite number"
        case _ if kind in _EXPECTED:
            shown = repr(value) if len(repr(value)) < 60 else "something else"
            cause, remedy = f"{shown} is not {_EXPECTED[kind]}", f"write {_EXPECTED[kind]}"
        case _:
            cause, remedy = str(error["msg"]), "see the README for what a definition holds"
    return Problem(cause, remedy, place)


def _definition_line(line: _Line) -> DefinitionLine:
    inner = None if line.inner is None else read_inner_length(line.inner)
    if line.abc is not None:
        return AbcLine(line.abc, line.heading, inner)
    assert line.run is not None
    return RunLine(read_run(line.run), line.ornament, line.walk, line.heading, inner)


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
    try:
        table = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        message, _, where = str(error).partition(" (at ")
        raise failure(
            f"this is not TOML: {message[:1].lower()}{message[1:]}",
            "write key = value; text stands in quotes, lists in [ ]",
            place=where.rstrip(")"),
            file=source,
        ) from None
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
        lines=tuple(_definition_line(line) for line in raw.lines),
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
    file = str(path)
    try:
        if path.is_dir():
            raise failure("this is a folder", "name a file in it", file=file)
        if path.stat().st_size > LONGEST_FILE_BYTES:
            raise failure(
                f"the file is larger than {LONGEST_FILE_BYTES // 1_000_000} MB",
                "name an exercise definition",
                file=file,
            )
        return path.read_bytes().decode("utf-8-sig")
    except FileNotFoundError:
        raise failure("there is no such file", "check its name and folder", file=file) from None
    except UnicodeDecodeError:
        raise failure(
            "this is not a text file", "name an exercise definition saved as UTF-8", file=file
        ) from None
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise failure(f"the file cannot be read: {reason}", "check it", file=file) from None


def read_definition(path: Path) -> Definition:
    """Read a definition file; raise a `RungwiseError` with every problem in it."""
    return parse_definition(read_text(path), name=path.stem, source=str(path))
