"""One of a definition's `[[lines]]`: what it may say, and what it then is.

`LineTable` checks the keys of an entry; `definition_line` turns it into a `RunLine`, a
`PatternLine` (which stands for many notes or lines) or an `AbcLine`. Movements are names here.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal

from pydantic import Field, field_validator, model_validator

from renderer.errors import WrongValueError
from renderer.notation.definition.fields import (
    GRACENOTE_REMEDY,
    INNER_REMEDY,
    RUN_REMEDY,
    BeatText,
    GracenoteText,
    InnerTexts,
    OneOrMore,
    Table,
    in_range,
    one_of,
    read_gracenote_length,
    read_inner,
    read_notes,
    read_run,
)
from renderer.notation.definition.pattern import AgainstTable, Each, Pattern, RunsTable, ScaleTable
from renderer.notation.length import Length
from renderer.notation.limits import LONGEST_TEXT, LONGEST_TITLE
from renderer.notation.pitch import Note
from renderer.notation.playing import BEAT_REMEDY, Beat, Inner, read_beat
from renderer.notation.score import Placement
from renderer.notation.source_file import without_controls

Rhythm = Literal["even", "dot-cut", "cut-dot", "triplets"]
On = Literal["every", "first", "last"] | tuple[Note, ...]

PLAIN = "plain"
"""What a definition writes in a list of ornaments for a note without one."""


@dataclass(frozen=True, slots=True)
class RunLine:
    """A line given as a run of melody notes.

    Parameters
    ----------
    notes:
        The run.
    ornaments:
        The movements' names as written, None for a plain note. One after the other they go to the
        notes that carry an ornament, beginning again when all have had their turn. Empty for a
        plain run.
    walk:
        Whether a plain pass comes first and then one pass for each note and ornament, with that
        ornament on that note alone. Otherwise there is one pass.
    heading, inner, beat, gracenote, placement:
        As in `Line`.
    plain:
        Whether a walk begins with its plain pass.
    on:
        Which notes of the run carry an ornament: every one, its first, its last, or the notes
        named. Of a note against others `every` means the others.
    rhythm:
        `even`; or pairs (in compound meters threes) of dotted and cut notes; or triplets.
    notes_per_beat:
        Of an even rhythm.
    groups:
        How many notes each bar (without a meter) or stretch of whole bars takes; empty for all of
        them in one.
    tune:
        The tune that begins with it, in a medley.
    """

    notes: tuple[Note, ...]
    ornaments: tuple[str | None, ...] = ()
    walk: bool = False
    heading: str = ""
    inner: Inner | None = None
    beat: Beat | None = None
    gracenote: Length | None = None
    plain: bool = True
    on: On = "every"
    rhythm: Rhythm = "even"
    notes_per_beat: int = 1
    groups: tuple[int, ...] = ()
    tune: str = ""
    placement: Placement | None = None


@dataclass(frozen=True, slots=True)
class PatternLine:
    """An entry that stands for one or many lines.

    Parameters
    ----------
    pattern:
        Which notes.
    each:
        How they are played: a run line without notes.
    """

    pattern: Pattern
    each: RunLine


@dataclass(frozen=True, slots=True)
class AbcLine:
    """A line written out in ABC."""

    abc: str
    heading: str = ""
    inner: Inner | None = None
    beat: Beat | None = None
    gracenote: Length | None = None
    tune: str = ""
    placement: Placement | None = None


DefinitionLine = RunLine | AbcLine | PatternLine


_MUSIC = ("run", "runs", "scale", "against", "each", "abc")
_MOST_ORNAMENTS = 16
_ORNAMENT_REMEDY = "write a movement's name, as 'doubling', or a list, as ['doubling', 'grip']"
_ON_REMEDY = "write 'every', 'first', 'last', or notes, as 'D, E'"
NOTES_PER_BEAT = {False: (1, 2, 3, 4), True: (1, 2, 3, 6)}
"""By whether the meter is compound; a dotted beat divides into quarters in no usual note."""


class LineTable(Table):
    """One of `[[lines]]`, its keys checked each and together."""

    tune: str = Field(default="", max_length=LONGEST_TITLE)
    heading: str = Field(default="", max_length=LONGEST_TITLE)
    run: str | None = Field(default=None, max_length=LONGEST_TEXT, description=RUN_REMEDY)
    runs: RunsTable | None = Field(
        default=None, description='write it like runs = { span = "fourth", direction = "rising" }'
    )
    scale: ScaleTable | None = Field(
        default=None, description='write it like scale = { step = "third" }'
    )
    against: AgainstTable | None = Field(
        default=None, description='write it like against = { note = "low A" }'
    )
    each: str | None = Field(default=None, max_length=LONGEST_TEXT, description=RUN_REMEDY)
    abc: str | None = Field(
        default=None,
        max_length=LONGEST_TEXT,
        description="write it like '{g}A2 {d}A2 | {gBd}B4'",
    )
    ornament: OneOrMore | None = Field(default=None, description=_ORNAMENT_REMEDY)
    walk: bool = False
    plain: bool = True
    on: str = Field(default="every", max_length=LONGEST_TEXT, description=_ON_REMEDY)
    rhythm: Annotated[Rhythm, one_of(Rhythm)] = "even"
    notes_per_beat: int = Field(
        default=1, alias="notes-per-beat", description="write a whole number, such as 2"
    )
    inner: InnerTexts | None = Field(default=None, description=INNER_REMEDY)
    beat: BeatText | None = Field(default=None, description=BEAT_REMEDY)
    gracenote: GracenoteText | None = Field(default=None, description=GRACENOTE_REMEDY)
    placement: Annotated[Placement, one_of(Placement)] | None = None

    @field_validator("heading", "tune")
    @classmethod
    def _heading(cls, value: str) -> str:
        return without_controls(value)

    @field_validator("run", "each")
    @classmethod
    def _run(cls, value: str) -> str:
        read_run(value)
        return value

    @field_validator("ornament")
    @classmethod
    def _ornament(cls, value: list[str]) -> list[str]:
        if not 1 <= len(value) <= _MOST_ORNAMENTS:
            raise WrongValueError(
                f"a list of {len(value)} ornaments is out of range",
                f"name 1 to {_MOST_ORNAMENTS}",
            )
        for name in value:
            if not name.strip():
                raise WrongValueError("the ornament has no name", _ORNAMENT_REMEDY)
            if len(name) > LONGEST_TITLE:
                raise WrongValueError("an ornament's name is too long", _ORNAMENT_REMEDY)
        return value

    @field_validator("on")
    @classmethod
    def _on(cls, value: str) -> str:
        _read_on(value)
        return value

    @field_validator("notes_per_beat")
    @classmethod
    def _notes_per_beat(cls, value: int) -> int:
        in_range(value, 1, 6, "a number of notes per beat")
        return value

    @model_validator(mode="after")
    def _one_kind(self) -> LineTable:
        given = [name for name in _MUSIC if getattr(self, name) is not None]
        if len(given) != 1:
            raise WrongValueError(
                "the line has no music" if not given else f"the line has {' and '.join(given)}",
                "give it either a `run`, a pattern (`runs`, `scale`, `against`, `each`) or `abc`",
            )
        if self.tune and self.run is None and self.abc is None:
            raise WrongValueError(
                "a tune begins with one line, and a pattern stands for many",
                "write `tune` into a line with a `run` or `abc`",
            )
        playing = ("ornament", "walk", "plain", "on", "rhythm", "notes_per_beat")
        if self.abc is not None and any(name in self.model_fields_set for name in playing):
            raise WrongValueError(
                "`ornament`, `walk`, `rhythm` and the like go with a `run` or a pattern, and this "
                "line is written out in `abc`",
                "write them into the `abc`, or give a `run`",
            )
        self._check_ornaments()
        self._check_on()
        if self.rhythm != "even" and self.notes_per_beat != 1:
            raise WrongValueError(
                f"a {self.rhythm} rhythm says itself how many notes a beat has",
                "leave `notes-per-beat` out, or the `rhythm`",
            )
        return self

    def _check_ornaments(self) -> None:
        names = self.ornaments()
        played = any(name is not None for name in names)
        if self.walk and not played:
            raise WrongValueError(
                "`walk` has no ornament to move from note to note", "add an `ornament`"
            )
        if self.walk and None in names:
            raise WrongValueError(
                "a walk has its plain pass first, not among its ornaments",
                f"leave '{PLAIN}' out of `ornament`; `plain = false` leaves the plain pass out",
            )
        if self.each is not None and not played:
            raise WrongValueError("`each` has no ornament to put on each note", "add an `ornament`")
        if self.each is not None and (self.walk or self.on != "every"):
            raise WrongValueError(
                "`each` already puts its ornaments on every note in turn",
                "leave `walk` and `on` out",
            )
        if self.against is not None and self.walk:
            raise WrongValueError(
                "`against` already goes from note to note", "leave `walk` out, or write a `run`"
            )
        if not self.plain and not (self.walk or self.each is not None):
            raise WrongValueError(
                "`plain = false` leaves out the plain notes of a `walk` or an `each`, and there is "
                "neither",
                "leave `plain` out",
            )
        if self.on != "every" and not played:
            raise WrongValueError("`on` has no ornament to put there", "add an `ornament`")

    def _check_on(self) -> None:
        on = _read_on(self.on)
        carried = next((name for name in self.ornaments() if name is not None), "")
        if self.against is not None and on in ("first", "last"):
            raise WrongValueError(
                f"`against` has no {on} note to put its ornaments on",
                "leave `on` out for the other notes, or name notes, as on = "
                f"'{self.against.value().note}'",
            )
        if self.run is not None and isinstance(on, tuple):
            notes = {note for group in read_run(self.run) for note in group}
            if notes.isdisjoint(on):
                raise WrongValueError(
                    f"the run has none of the notes that are to carry the {carried}",
                    "name notes of the run under `on`",
                )
        if self.against is not None and isinstance(on, tuple):
            drill = self.against.value()
            if {drill.note, *drill.others}.isdisjoint(on):
                raise WrongValueError(
                    f"none of its notes is to carry the {carried}",
                    f"name {drill.note} or notes of the `others` under `on`",
                )

    def ornaments(self) -> tuple[str | None, ...]:
        """Return the movements' names, None for a plain note."""
        if self.ornament is None:
            return ()
        words = [name.strip() for name in self.ornament]
        return tuple(None if name.casefold() == PLAIN else name for name in words)


def _read_on(text: str) -> On:
    match text.strip().casefold():
        case "every" | "first" | "last" as word:
            return word
        case _:
            try:
                return tuple(sorted(read_notes(text)))
            except WrongValueError as error:
                raise WrongValueError(error.cause, _ON_REMEDY) from None


def definition_line(line: LineTable) -> DefinitionLine:
    """Return what a checked table says."""
    inner = None if line.inner is None else read_inner(line.inner)
    beat = None if line.beat is None else read_beat(line.beat)
    gracenote = None if line.gracenote is None else read_gracenote_length(line.gracenote)
    if line.abc is not None:
        return AbcLine(line.abc, line.heading, inner, beat, gracenote, line.tune, line.placement)
    groups = () if line.run is None else read_run(line.run)
    played = RunLine(
        notes=tuple(note for group in groups for note in group),
        ornaments=line.ornaments(),
        walk=line.walk,
        heading=line.heading,
        tune=line.tune,
        inner=inner,
        beat=beat,
        gracenote=gracenote,
        placement=line.placement,
        plain=line.plain,
        on=_read_on(line.on),
        rhythm=line.rhythm,
        notes_per_beat=line.notes_per_beat,
        groups=tuple(len(group) for group in groups) if len(groups) > 1 else (),
    )
    pattern = _pattern(line)
    return played if pattern is None else PatternLine(pattern, played)


def _pattern(line: LineTable) -> Pattern | None:
    if line.each is not None:
        return Each(read_notes(line.each))
    table = line.runs or line.scale or line.against
    return None if table is None else table.value()
