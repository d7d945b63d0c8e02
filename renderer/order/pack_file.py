"""A pack's file: what a class gets, as a teacher writes it in TOML, to plain values.

The file has a title, exercises, learners and groups; beside them, in an exercise and in a learner's
table every setting of the table of settings that packs know, by its key. What stands nearer to a
learner holds: the file, then the exercise, then the learner or group, then what the command asks
for. Everything that is wrong is found in one go, each problem at its place (`learners[2].pitch`,
counted from 1).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Annotated, Any

from pydantic import BeforeValidator, Field, ValidationError, create_model

from renderer.errors import Problem, RungwiseError
from renderer.notation.definition.fields import OneOrMore, Table
from renderer.notation.definition.problems import known_keys, problems_of
from renderer.notation.definition.toml import read_toml
from renderer.notation.limits import LONGEST_FILE_BYTES, LONGEST_TITLE
from renderer.notation.source_file import Source, read_text, without_controls
from renderer.order.kinds import CHANTER_SUFFIX, SeveralInOneError
from renderer.order.names import collision_key, safe_stem
from renderer.order.setting_row import Setting
from renderer.order.settings import SETTINGS, known_to

VERB = "pack"
COMMAND = "the command"
KEPT_NAMES = ("manifest.json", "manifest.journal")
MOST_LEARNERS = 200
MOST_ENTRIES = 1_000
"""Of exercises, files and folders, in a pack."""

_LONGEST_FOLDER_BYTES = 60
"""Of a learner's folder: the path of a track must fit into the 260 letters that Windows allows."""


@dataclass(frozen=True, slots=True)
class Layer:
    """Settings that stand at one place.

    Parameters
    ----------
    values:
        By the settings' names, read.
    place:
        Where they stand: empty for the top of the file, `exercises[2]`, `learners[1]`; `COMMAND`
        for what the command asks for.
    files:
        The files that values were read from or name: chanters, SoundFonts.
    """

    values: Mapping[str, Any]
    place: str = ""
    files: tuple[str, ...] = ()

    def place_of(self, row: Setting) -> str:
        """Return the place of a setting in it."""
        if self.place == COMMAND:
            return row.option or f"--{row.key}"
        return f"{self.place}.{row.key}" if self.place else row.key


@dataclass(frozen=True, slots=True)
class Entry:
    """What stands for one exercise or several: a file, a shipped name, a folder.

    Parameters
    ----------
    file:
        As written.
    receivers:
        The learners and groups that get it; empty for all.
    layer:
        What it asks for.
    place:
        Where its file's name stands.
    """

    file: str
    receivers: tuple[str, ...]
    layer: Layer
    place: str


@dataclass(frozen=True, slots=True)
class Receiver:
    """A learner, or a group of learners that have one folder.

    Parameters
    ----------
    name:
        Of the folder too.
    members:
        The learners of a group, each of whom gets a plan; of a learner none.
    layer:
        What is asked for.
    """

    name: str
    members: tuple[str, ...]
    layer: Layer

    @property
    def is_group(self) -> bool:
        """Whether it is a group."""
        return bool(self.members)


@dataclass(frozen=True, slots=True)
class PackFile:
    """What stands in a pack's file.

    Parameters
    ----------
    title:
        Of the class or the pack.
    entries, receivers:
        What is given, and to whom: learners first, then groups.
    layer:
        What holds for all.
    folder:
        Where the file is: names of files in it count from there.
    file:
        Its name, for messages.
    """

    title: str
    entries: tuple[Entry, ...]
    receivers: tuple[Receiver, ...]
    layer: Layer
    folder: Path
    file: str


def entry_table(value: object) -> object:
    """Return an entry of a pack's exercises as a table, where it is a name alone too."""
    return {"file": value} if isinstance(value, str) else value


_FILE_REMEDY = 'name a file, a folder or a shipped exercise, as "first-gracenotes"'
_EXERCISES_REMEDY = 'write a list, as exercises = ["first-gracenotes", "my-tunes/reel.abc"]'
_LEARNERS_REMEDY = "write [[learners]] in double brackets before each learner's name"
_KEYS_REMEDY = "`rungwise pack --new FILE` writes a file with every key"
_GROUPS_REMEDY = "write [[groups]] in double brackets before each group's name"


def _with_settings(name: str, own: Mapping[str, Any]) -> Any:
    """Return a table of a pack's file: its own keys, and every setting that packs know."""
    rows = {row.name: (Any, Field(default=None, alias=row.key)) for row in known_to(VERB)}
    return create_model(name, __base__=Table, **{**rows, **own})


@cache
def _tables() -> Any:
    """Return the model of the file; made when a pack is read."""
    name = (str, Field(max_length=LONGEST_TITLE, description='write name = "Jamie"'))
    names = list[str]
    entry = _with_settings(
        "Exercise",
        {
            "file": (str, Field(description=_FILE_REMEDY)),
            "receivers": (
                OneOrMore,
                Field(default=[], alias="for", description='write for = ["Jamie"]'),
            ),
        },
    )
    learner = _with_settings("Learner", {"name": name})
    group = _with_settings(
        "Group",
        {
            "name": name,
            "learners": (names, Field(description='write learners = ["Jamie", "Ailsa"]')),
        },
    )
    return _with_settings(
        "Pack",
        {
            "title": (str, Field(default="", max_length=LONGEST_TITLE)),
            "exercises": (
                list[Annotated[entry, BeforeValidator(entry_table)]],  # type: ignore[valid-type]
                Field(description=_EXERCISES_REMEDY),
            ),
            "learners": (list[learner], Field(default=[], description=_LEARNERS_REMEDY)),  # type: ignore[valid-type]
            "groups": (list[group], Field(default=[], description=_GROUPS_REMEDY)),  # type: ignore[valid-type]
        },
    )


def read_pack_file(source: Source) -> PackFile:
    """Return what stands in a pack's file.

    Names of files in it count from the folder that it is in.

    Parameters
    ----------
    source:
        Its bytes, and its path as its name.

    Raises
    ------
    RungwiseError
        With everything that is wrong in it.
    """
    text = read_text(source, LONGEST_FILE_BYTES, what="a pack's file")
    switches = {row.key for row in known_to(VERB) if row.kind.is_switch}
    table = read_toml(text, source.name, numbers=known_keys(_tables(), int), switches=switches)
    if problems := _not_a_pack(table, source.name):
        raise RungwiseError(problems)
    try:
        _tables().model_validate(table)
    except ValidationError as error:
        problems = [_of_name(one, table) for one in problems_of(error, _tables(), table)]
    reading = _Reading(table, Path(source.name).parent)
    found = PackFile(
        title=without_controls(_text(table.get("title"))).strip() or Path(source.name).stem,
        entries=tuple(reading.entries()),
        receivers=tuple(reading.receivers()),
        layer=reading.layer(table, ""),
        folder=reading.folder,
        file=source.name,
    )
    said = {problem.place for problem in problems}
    problems += [one for one in reading.problems if one.place not in said]
    problems += [one for one in _wrong_names(found) if one.place not in said]
    if problems:
        raise RungwiseError(replace(one, file=one.file or source.name) for one in problems)
    return found


def _not_a_pack(table: Mapping[str, Any], file: str) -> list[Problem]:
    if "exercises" in table or "learners" in table or "groups" in table:
        return []
    if "lines" in table:
        return [
            Problem(
                "this is an exercise, not a pack",
                f"name it in a pack: {_EXERCISES_REMEDY}",
                file=file,
            )
        ]
    return [Problem("this is no pack: it names no exercises", _EXERCISES_REMEDY, file=file)]


def _of_name(problem: Problem, table: Mapping[str, Any]) -> Problem:
    """A problem as a pack has it: without the list of all keys.

    The place of an exercise that is written as its name alone has no `.file`.
    """
    if problem.remedy.startswith("known here: "):
        problem = replace(problem, remedy=_KEYS_REMEDY)
    guess, _, _ = problem.remedy.partition("? (known here")
    if guess != problem.remedy:
        problem = replace(problem, remedy=f"{guess}?")
    place = problem.place
    if place.startswith("exercises[") and place.endswith("].file"):
        number = place[len("exercises[") : -len("].file")]
        entries = table.get("exercises")
        if isinstance(entries, list) and isinstance(entries[int(number) - 1], str):
            return replace(problem, place=place.removesuffix(".file"))
    return problem


def _text(value: object) -> str:
    return value if isinstance(value, str) else ""


def _texts(value: object) -> tuple[str, ...]:
    given = value if isinstance(value, list) else [value]
    return tuple(one.strip() for one in given if isinstance(one, str))


def _at(problem: Problem, place: str) -> Problem:
    """A problem of a setting, at its place; what is wrong inside a file is said of that file."""
    if problem.file and problem.place:
        return problem
    file = f"{problem.file}: " if problem.file else ""
    return replace(problem, cause=f"{file}{problem.cause}", file="", place=place)


class _Reading:
    """A table of a file, read as far as it can be; `problems` says where it cannot."""

    def __init__(self, table: Mapping[str, Any], folder: Path) -> None:
        self.table, self.folder = table, folder
        self.problems: list[Problem] = []

    def _listed(self, key: str, most: int) -> list[tuple[str, Any]]:
        value = self.table.get(key)
        entries = value if isinstance(value, list) else []
        if len(entries) > most:
            cause = f"{len(entries)} {key} are too many"
            self.problems.append(Problem(cause, f"make packs of up to {most}", key))
            entries = []
        return [(f"{key}[{number}]", one) for number, one in enumerate(entries, start=1)]

    def entries(self) -> list[Entry]:
        found = []
        for place, written in self._listed("exercises", MOST_ENTRIES):
            table = entry_table(written)
            if isinstance(table, Mapping) and isinstance(table.get("file"), str):
                at = place if isinstance(written, str) else f"{place}.file"
                layer = self.layer(table, place)
                found.append(Entry(table["file"], _texts(table.get("for", [])), layer, at))
        return found

    def receivers(self) -> list[Receiver]:
        found = []
        for key in ("learners", "groups"):
            for place, table in self._listed(key, MOST_LEARNERS):
                if isinstance(table, Mapping) and isinstance(table.get("name"), str):
                    members = _texts(table.get("learners", [])) if key == "groups" else ()
                    name = without_controls(table["name"]).strip()
                    found.append(Receiver(name, members, self.layer(table, place)))
        return found

    def layer(self, table: Mapping[str, Any], place: str) -> Layer:
        values: dict[str, Any] = {}
        layer = Layer(values, place)
        files: list[str] = []
        for row in known_to(VERB):
            if row.key not in table:
                continue
            try:
                values[row.name] = row.kind.read(self._from_here(row, table[row.key], files))
            except SeveralInOneError as error:
                remedy = f"write them as a list: {list(error.parts)}"
                self.problems += [
                    replace(one, place=layer.place_of(row), remedy=remedy) for one in error.problems
                ]
            except RungwiseError as error:
                self.problems += [_at(one, layer.place_of(row)) for one in error.problems]
        return replace(layer, files=tuple(files))

    def _from_here(self, row: Setting, value: object, files: list[str]) -> object:
        """A value with the names of files in it, which are noted, seen from the pack's folder."""
        if isinstance(value, list):
            return [self._from_here(row, one, files) for one in value]
        if isinstance(value, str) and names_file(row, value):
            files.append(str(self.folder / value.strip()))
            return files[-1]
        return value


def names_file(row: Setting, value: str) -> bool:
    """Whether what a setting is given is the name of a file, which counts from the pack's folder.

    Parameters
    ----------
    row:
        The setting's.
    value:
        What stands for it in a pack's file, one of several by itself.
    """
    if row.name == "pitch":
        return value.strip().casefold().endswith(CHANTER_SUFFIX)
    return row.kind.metavar == "FILE"


def _wrong_names(pack: PackFile) -> list[Problem]:
    """What is wrong with the names of learners and groups, and with who gets what."""
    problems: list[Problem] = []
    if not pack.entries:
        problems.append(Problem("there is no exercise in it", _EXERCISES_REMEDY, "exercises"))
    if not pack.receivers:
        problems.append(Problem("nobody gets anything", _LEARNERS_REMEDY, "learners"))
    taken: dict[str, Receiver] = {}
    for one in pack.receivers:
        place = f"{one.layer.place}.name"
        safe = safe_stem(one.name, most_bytes=_LONGEST_FOLDER_BYTES)
        first = taken.setdefault(collision_key(safe), one)
        if collision_key(one.name) in KEPT_NAMES:
            cause = f"the folder keeps {one.name!r} for what it remembers"
            problems.append(Problem(cause, "choose another name", place))
        elif not one.name:
            problems.append(Problem("the name is empty", 'write one, as name = "Jamie"', place))
        elif safe != one.name:
            cause = f"not every system can have a folder called {one.name!r}"
            problems.append(Problem(cause, f"write name = {safe!r}, or another", place))
        elif first is not one:
            same = "the same" if first.name == one.name else "one folder on Windows and macOS"
            cause = f"{one.name!r} and {first.name!r} of {first.layer.place} are {same}"
            problems.append(Problem(cause, "give each a name of its own", place))
        problems += _wrong_members(one)
    known = {one.name for one in pack.receivers}
    for entry in pack.entries:
        place = f"{entry.layer.place}.for"
        for name in entry.receivers:
            if name not in known:
                problems.append(_unknown(name, known, place))
    return problems


def _wrong_members(one: Receiver) -> list[Problem]:
    place = f"{one.layer.place}.learners"
    if one.layer.place.startswith("groups") and not one.members:
        return [Problem("the group has no learners", 'write learners = ["Jamie", "Ailsa"]', place)]
    twice = {name for name in one.members if one.members.count(name) > 1}
    return [
        Problem(f"{name!r} stands in the group twice", "name each learner once", place)
        for name in sorted(twice)
    ]


def _unknown(name: str, known: set[str], place: str) -> Problem:
    from difflib import get_close_matches

    close = next(iter(get_close_matches(name, known, n=1)), None)
    remedy = f"did you mean {close!r}?" if close else f"known: {', '.join(sorted(known))}"
    return Problem(f"no learner or group is called {name!r}", remedy, place)


def settings_of(layers: Sequence[Layer]) -> tuple[dict[str, Any], dict[str, str]]:
    """Return the settings that layers ask for together, and where each of them stands.

    Parameters
    ----------
    layers:
        The nearer ones last: of what excludes each other, what is nearer holds.

    Returns
    -------
    Values by the settings' names, and the place of each.
    """
    values: dict[str, Any] = {}
    places: dict[str, str] = {}
    rows = {row.name: row for row in SETTINGS}
    for layer in layers:
        for name, value in layer.values.items():
            for other in _EXCLUDED.get(name, ()):
                if other not in layer.values:
                    values.pop(other, None)
            values[name] = value
            places[name] = layer.place_of(rows[name])
        # Nine measured pitches are their own scale.
        pitches = layer.values.get("pitch", ())
        if pitches and all(one.is_measured for one in pitches) and "scale" not in layer.values:
            values.pop("scale", None)
    return values, places


_EXCLUDED = {
    "tempo": ("ladder", "climb"),
    "ladder": ("tempo", "climb"),
    "climb": ("tempo", "ladder"),
    "share": ("format", "layout"),
    "format": ("share",),
}
"""Settings that cannot both be asked for."""
