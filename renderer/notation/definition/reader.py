"""Reading exercise definitions: TOML as a teacher writes it, to a `Definition`.

Everything that is wrong in a file is found in one go and raised as one `RungwiseError`, each
problem with its place, such as `lines[3].run` (the third line), the cause and the remedy. A
`Definition` still has runs and ornament names; `renderer.technique.realise` turns it into music.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Annotated, Any, Literal

from pydantic import Field, ValidationError, field_validator, model_validator

from renderer.errors import Problem, RungwiseError, WrongValueError, failure
from renderer.notation.definition.fields import (
    GRACENOTE_REMEDY,
    INNER_REMEDY,
    METER_REMEDY,
    STAGES_REMEDY,
    BeatText,
    GracenoteText,
    InnerTexts,
    Table,
    in_range,
    listed,
    one_of,
    read_gracenote_length,
    read_inner,
    read_meter,
    read_stages,
)
from renderer.notation.definition.lines import (
    NOTES_PER_BEAT,
    AbcLine,
    DefinitionLine,
    LineTable,
    definition_line,
)
from renderer.notation.definition.problems import (
    Path,
    every_table,
    keys_of,
    known_keys,
    problems_of,
)
from renderer.notation.definition.toml import LINES_REMEDY, read_toml
from renderer.notation.ladder import rung_bounds, steps
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
from renderer.notation.playing import BEAT_REMEDY, BOOK, Beat, Inner, read_beat
from renderer.notation.score import (
    USUAL_GRACENOTE,
    USUAL_GRACENOTES,
    Gracenotes,
    Ladder,
    Meter,
    Placement,
)
from renderer.notation.source_file import Written, open_source, read_text, without_controls
from renderer.notation.tempo import exact_number

Impossible = Literal["replace", "error"]


@dataclass(frozen=True, slots=True)
class Definition:
    """A definition file's contents, checked but not yet expanded into music."""

    title: str
    lines: tuple[DefinitionLine, ...]
    meter: Meter | None = None
    tempo: Fraction = Fraction(60)
    gracenotes: Gracenotes = USUAL_GRACENOTES
    inner: Inner = BOOK
    beat: Beat | None = None
    ladder: Ladder | None = None
    audience: str = ""
    purpose: str = ""
    level: str = ""
    composer: str = ""
    tune_type: str = ""
    origin: str = ""
    notes: str = ""
    order: tuple[int, ...] = ()
    impossible: Impossible = "replace"
    ornament_book: dict[str, Any] | None = None
    chanter: dict[str, Any] | None = None
    source: str = ""


class _Gracenotes(Table):
    length: GracenoteText = Field(default=str(USUAL_GRACENOTE), description=GRACENOTE_REMEDY)
    placement: Annotated[Placement, one_of(Placement)] = "on the beat"


class _Ornaments(Table):
    inner: InnerTexts = Field(default=[str(BOOK)], description=INNER_REMEDY)
    beat: BeatText | None = Field(default=None, description=BEAT_REMEDY)
    impossible: Annotated[Impossible, one_of(Impossible)] = "replace"


_TEMPO_REMEDY = "write a number, such as 60; with percent = true it is per cent of the tempo"


class _Ladder(Table):
    start: float | None = Field(default=None, alias="from", description=_TEMPO_REMEDY)
    stop: float | None = Field(default=None, alias="to", description=_TEMPO_REMEDY)
    step: float | None = Field(default=None, description="write a number, such as 10")
    tempos: list[float] | None = Field(
        default=None, description="write a list of numbers, such as [50, 60, 75]"
    )
    percent: bool = False
    repeats: int = Field(default=1, description="write a whole number, such as 2")
    inner: list[str] | None = Field(default=None, description=STAGES_REMEDY)

    @field_validator("inner")
    @classmethod
    def _inner(cls, value: list[str]) -> list[str]:
        read_stages(value)
        return value

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
            raise WrongValueError(f"the ladder lacks {listed(names, 'and')}", remedy)
        self.as_written()
        return self

    def as_written(self) -> Ladder:
        if self.tempos is not None:
            tempos = tuple(exact_number(tempo) for tempo in self.tempos)
        else:
            assert self.start is not None and self.stop is not None and self.step is not None
            tempos = steps(
                exact_number(self.start), exact_number(self.stop), exact_number(self.step)
            )
        low, high = rung_bounds(percent=self.percent)
        for tempo in tempos:
            in_range(float(tempo), low, high, "a rung of the ladder")
        stages = () if self.inner is None else read_stages(self.inner)
        return Ladder(tempos, self.percent, self.repeats, stages)


class _Definition(Table):
    title: str = Field(default="", max_length=LONGEST_TITLE)
    audience: str = Field(default="", alias="for", max_length=LONGEST_TITLE)
    purpose: str = Field(default="", max_length=LONGEST_TEXT)
    level: str = Field(default="", max_length=LONGEST_TITLE)
    composer: str = Field(default="", max_length=LONGEST_TITLE)
    tune_type: str = Field(default="", alias="type", max_length=LONGEST_TITLE)
    origin: str = Field(default="", max_length=LONGEST_TITLE)
    notes: str = Field(default="", max_length=LONGEST_TEXT)
    order: list[int] | None = Field(
        default=None, description="write the lines' numbers, as in order = [1, 2, 1]"
    )
    meter: str | None = Field(default=None, description=METER_REMEDY)
    tempo: float = Field(default=60.0, description="write beats per minute, such as 60")
    gracenotes: _Gracenotes = Field(
        default=_Gracenotes(), description='write it like gracenotes = { length = "45 ms" }'
    )
    ornaments: _Ornaments = Field(
        default=_Ornaments(), description='write it like ornaments = { inner = "50 ms" }'
    )
    lines: list[LineTable] = Field(description=LINES_REMEDY)
    ladder: _Ladder | None = Field(
        default=None, description="write it like ladder = { from = 50, to = 80, step = 10 }"
    )
    ornament_book: dict[str, Any] | None = Field(
        default=None,
        alias="ornament-book",
        description="write [ornament-book.doubling.fragments] and under it C = '{g}c {e}c'",
    )

    chanter: dict[str, Any] | None = Field(
        default=None, description="write [chanter] and under it low-a = 476.2"
    )

    @field_validator("title", "audience", "purpose", "level")
    @classmethod
    def _text(cls, value: str) -> str:
        return without_controls(value)

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


_NUMBERS = known_keys(_Definition, float) | known_keys(_Definition, int)
_SWITCHES = known_keys(_Definition, bool)


def definition_keys() -> dict[str, list[str]]:
    """Return the keys of a definition by the table that they go into; the top's under ""."""
    found: dict[str, set[str]] = {}
    for where, table in every_table(_Definition):
        name = where.rpartition("[")[2].rstrip("]") if "[" in where else ""
        found.setdefault("" if " " in name else name, set()).update(keys_of(table))
    return {name: sorted(keys) for name, keys in found.items()}


@dataclass(frozen=True, slots=True)
class Readable:
    """What can be read of a file in which something is wrong, so that the rest is checked as well.

    Parameters
    ----------
    definition:
        Its meter, its book of movements and what holds for all lines; without lines.
    lines:
        The lines that are as they should be, and those written in ABC, by their numbers.
    ornaments:
        The movements that other lines name, by the lines' numbers.
    """

    definition: Definition
    lines: dict[int, DefinitionLine]
    ornaments: dict[int, tuple[str, ...]]


class WrongDefinitionError(RungwiseError):
    """A definition with wrong keys or values; `readable` is the rest of it."""

    def __init__(self, problems: Problem | Iterable[Problem], readable: Readable) -> None:
        super().__init__(problems)
        self.readable = readable

    def __reduce__(self) -> tuple[type[RungwiseError], tuple[tuple[Problem, ...]]]:
        return RungwiseError, (self.problems,)


def _readable(table: Mapping[str, Any], wrong: Sequence[Path], source: str) -> Readable:
    """Return what can be read of a table although what stands at these places is wrong."""
    meter, book = table.get("meter"), table.get("ornament-book")
    wrong_keys = {path[0] for path in wrong if path}
    knows_meter = "meter" not in wrong_keys
    unknown = [key for key in wrong_keys if key not in keys_of(_Definition)]
    # A movement that cannot be found may stand in a table that cannot be read.
    knows_book = (book is None or isinstance(book, Mapping)) and not any(
        isinstance(table.get(str(key)), Mapping) for key in unknown
    )
    definition = Definition(
        title="",
        lines=(),
        meter=read_meter(meter) if knows_meter and meter is not None else None,
        ornament_book=dict(book) if knows_book and book is not None else None,
        source=source,
    )
    raw = table.get("lines")
    entries = raw if isinstance(raw, list) and len(raw) <= MOST_LINES else []
    lines: dict[int, DefinitionLine] = {}
    ornaments: dict[int, tuple[str, ...]] = {}
    for number, entry in enumerate(entries, start=1):
        paths = [path for path in wrong if path[:2] == ("lines", number - 1)]
        keys = {path[2] for path in paths if len(path) > 2}
        if not isinstance(entry, Mapping):
            continue
        if isinstance(entry.get("abc"), str) and "abc" not in keys:
            # Rests of whole bars are read by the meter.
            if knows_meter or not set(entry["abc"]) & set("ZX"):
                lines[number] = AbcLine(entry["abc"])
        elif not paths and knows_book:
            lines[number] = definition_line(LineTable.model_validate(entry))
        elif "ornament" not in keys and knows_book:
            names = entry.get("ornament", ())
            ornaments[number] = (names,) if isinstance(names, str) else tuple(names)
    return Readable(definition, lines, ornaments)


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
    WrongDefinitionError
        With every wrong key and value of the file.
    RungwiseError
        If it is no TOML.
    """
    table = read_toml(text, source, numbers=_NUMBERS, switches=_SWITCHES)
    if not table:
        raise failure(
            "the file is empty",
            "write one as `rungwise expand first-gracenotes` shows",
            file=source,
        )
    try:
        raw = _Definition.model_validate(table)
    except ValidationError as error:
        problems = RungwiseError(problems_of(error, _Definition, table)).in_file(source).problems
        wrong = [detail["loc"] for detail in error.errors(include_url=False)]
        raise WrongDefinitionError(problems, _readable(table, wrong, source)) from None
    return Definition(
        title=raw.title.strip() or name or "Untitled",
        lines=tuple(definition_line(line) for line in raw.lines),
        meter=None if raw.meter is None else read_meter(raw.meter),
        tempo=exact_number(raw.tempo),
        gracenotes=Gracenotes(
            read_gracenote_length(raw.gracenotes.length), raw.gracenotes.placement
        ),
        inner=read_inner(raw.ornaments.inner),
        beat=None if raw.ornaments.beat is None else read_beat(raw.ornaments.beat),
        ladder=None if raw.ladder is None else raw.ladder.as_written(),
        audience=raw.audience,
        purpose=raw.purpose,
        level=raw.level,
        composer=raw.composer,
        tune_type=raw.tune_type,
        origin=raw.origin,
        notes=raw.notes,
        order=tuple(raw.order or ()),
        impossible=raw.ornaments.impossible,
        ornament_book=raw.ornament_book,
        chanter=raw.chanter,
        source=source,
    )


def read_definition(written: Written) -> Definition:
    """Read a definition; raise a `RungwiseError` with every problem in it."""
    source = open_source(written)
    text = read_text(source, LONGEST_FILE_BYTES, what="an exercise definition")
    return parse_definition(text, name=source.stem, source=source.name)
