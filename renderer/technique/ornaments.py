"""The ornament book: the name of a movement and a melody note in, slots out.

The book is data (`ornaments.toml` beside this module). Each movement holds, for every melody note
that takes it, a fragment in ABC letters with gracenotes in braces, such as `{g}B {d}B`: a short
written melody whose last slot is the melody note itself. A movement may have other fragments for
some notes before it (a grip coming from D), and other ways of beginning, which become movements of
their own (`beginnings`). A definition file can add movements or override them; what it says is
checked by the same rules as the book that ships.

It also says which slot begins on the beat and how long the inner notes last when the movement is
closed, down to the least that players manage; an exercise can say otherwise.
"""

from __future__ import annotations

import re
import tomllib
import unicodedata
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache, cached_property, lru_cache
from importlib import resources
from types import MappingProxyType
from typing import Annotated, Any, get_args

from pydantic import Field, PlainValidator, ValidationError
from pydantic_core import ErrorDetails

from renderer.errors import Problem, RungwiseError, WrongValueError
from renderer.notation.definition.fields import (
    Table,
    listed,
    read_inner,
    read_notes,
)
from renderer.notation.definition.lines import PLAIN
from renderer.notation.definition.problems import keys_of, wrong_type
from renderer.notation.length import Length
from renderer.notation.pitch import Note, note_named
from renderer.notation.playing import BEAT_REMEDY, USUAL_PLAYING, Beat, Playing, read_beat
from renderer.technique.beginnings import begun, with_replacements
from renderer.technique.fragments import Fragment, parse_fragment, silent_join
from renderer.technique.movement import Beginning, Movement, Way


@dataclass(frozen=True)
class OrnamentBook:
    """All movements that can be named, in the book's order, each followed by its other ways."""

    movements: tuple[Movement, ...]

    def __iter__(self) -> Iterator[Movement]:
        return iter(self.movements)

    def movement(self, name: str) -> Movement:
        """Return the movement of that name or spelling; case, spaces, hyphens and plurals
        are free.

        Raises `WrongValueError`, suggesting the nearest names, where there is none.
        """
        found = self.find(name)
        if found is None:
            remedy = self._as_a_list(name) or self._without_place(name) or self._nearest(name)
            raise WrongValueError(f"there is no ornament {name.strip()!r}", remedy)
        return found

    def _as_a_list(self, name: str) -> str | None:
        """The remedy for a text that names several movements at once."""
        names = [part.strip() for part in _BETWEEN_NAMES.split(name) if part.strip()]
        if len(names) < 2 or not any(self.find(part) for part in names):
            return None
        return f"write several as a list: [{', '.join(map(repr, names))}]"

    def _without_place(self, name: str) -> str | None:
        """The remedy for a movement with the notes that it is to go on."""
        match = re.fullmatch(r"\s*(.+?)\s+on\s+(.+?)\s*", name, re.IGNORECASE)
        movement = None if match is None else self.find(match[1])
        if match is None or movement is None:
            return None
        return (
            f"name the movement alone, as {match[1]!r}; in a line of a definition "
            f"on = {match[2]!r} says where it goes"
        )

    def find(self, name: str) -> Movement | None:
        """Return the movement of that name or spelling, or None."""
        return self._by_name.get(name) or self._by_key.get(_key(name))

    @cached_property
    def _by_name(self) -> dict[str, Movement]:
        return {movement.name: movement for movement in self.movements}

    def playing(self, name: str | None) -> Playing:
        """Return how a movement lies in time; the usual way where the book has none of the name."""
        movement = None if name is None else self.find(name)
        return USUAL_PLAYING if movement is None else movement.playing

    @cached_property
    def _by_key(self) -> dict[str, Movement]:
        # What the book writes out comes before the names that follow from ways of beginning.
        written = [movement for movement in self.movements if movement.way is None]
        followed = [movement for movement in self.movements if movement.way is not None]
        index = {_key(word): m for m in followed + written for word in reversed(m.spellings)}
        return index | {_key(movement.name): movement for movement in followed + written}

    def ways_of(self, movement: Movement) -> tuple[Movement, ...]:
        """Return a movement's other ways of beginning, in the book's order."""
        return tuple(one for one in self.movements if one.way_of == movement.name)

    def is_meant_by(self, table: Mapping[str, Any], name: str) -> bool:
        """Say whether a definition's `[ornament-book]` table, right or wrong, has that movement."""
        key, known = _key(name), self.find(name)
        for written, entry in table.items():
            spellings = entry.get("spellings") if isinstance(entry, Mapping) else None
            words = [written, *(spellings if isinstance(spellings, list) else ())]
            if key in {_key(str(word)) for word in words}:
                return True
            if known is not None and self.find(written) is known:
                return True
        return False

    def _nearest(self, name: str) -> str:
        wanted = _key(name)
        scored = [(_likeness(wanted, key), movement) for key, movement in self._by_key.items()]
        best = max(score for score, _ in scored) if scored else 0
        # Weaker matches beside a strong one only distract.
        least = max(_LEAST_LIKENESS, best - 10)
        scored.sort(key=lambda one: -one[0])
        names = dict.fromkeys(movement.name for score, movement in scored if score >= least)
        nearest = [repr(name) for name in names][:_MOST_NEAREST]
        if not nearest:
            return "`rungwise ornaments` lists the book"
        verb = "name is" if len(nearest) == 1 else "names are"
        return f"the nearest {verb} {listed(nearest, 'and')}"

    def extended(self, table: Mapping[str, Any]) -> OrnamentBook:
        """Return the book with the movements of a definition's `[ornament-book]` table.

        Parameters
        ----------
        table:
            Movement names to tables with the keys of the shipped `ornaments.toml`; only
            `fragments` is required of a movement that is new. Of a movement that the book has,
            the keys given replace the book's, note by note for `fragments` and `from`; a note
            whose fragment is replaced loses the approaches that the book gives it.

        Raises
        ------
        RungwiseError
            With every problem found, at places like `ornament-book.throw on D.fragments.D`.
        """
        return _extended(self, table)


_BETWEEN_NAMES = re.compile(r"[,;/+&]|\s+(?:and|then)\s+", re.IGNORECASE)
_MOST_NEAREST = 3
_LEAST_LIKENESS = 75
"""Per cent; judged by slips such as `dubling` (93), and `embari` (50), which the book lacks."""


@lru_cache(maxsize=4096)
def _key(name: str) -> str:
    plain = unicodedata.normalize("NFKD", name.strip().casefold())
    letters = "".join(letter for letter in plain if not unicodedata.combining(letter))
    words = re.sub(r"[\s\-_]+", " ", letters).replace("grace note", "gracenote")
    # Plurals: `doublings`, `throws on D`.
    return " ".join(re.sub(r"(?<=\w\w[^s])s$", "", word) for word in words.split())


def _likeness(wanted: str, known: str) -> float:
    """How much two keys are alike, in per cent: their letters, or words that both have."""
    from rapidfuzz import fuzz

    score = max(fuzz.ratio(wanted, known), fuzz.token_sort_ratio(wanted, known))
    fewer, more = sorted((wanted.split(), known.split()), key=len)
    if len("".join(fewer)) >= 3 and set(fewer) <= set(more):
        score = max(score, 90 - 3 * (len(more) - len(fewer)))
    return score


# --- reading and checking tables -----------------------------------------------------------------

_LONGEST_NAME = 60


def _note_key(value: object) -> Note:
    return note_named(str(value))


def _fragment(value: object) -> Fragment:
    if not isinstance(value, str):
        raise WrongValueError("a fragment must be text", "write it in quotes, like '{g}B {d}B'")
    return parse_fragment(value)


def _beat(value: object) -> Beat:
    if isinstance(value, bool) or not isinstance(value, str | int):
        raise WrongValueError("a part of a movement is a word or a number", BEAT_REMEDY)
    return read_beat(value)


def _inner(value: object) -> tuple[Length, ...]:
    written: list[object] = value if isinstance(value, list) else [value]
    texts = [text for text in written if isinstance(text, str)]
    if len(texts) < len(written):
        raise WrongValueError("lengths must be text", "write them in quotes, like '50 ms'")
    inner = read_inner(texts)
    if not inner.lengths:
        raise WrongValueError(
            f"the book says itself how long parts are, and {inner} is no length",
            "write it like '50 ms' or '1/2 beat'",
        )
    return inner.lengths


def _least(value: object) -> tuple[Length, ...]:
    lengths = _inner(value)
    if lengths[0].is_share_of_beat:
        raise WrongValueError(
            "the least that players manage is no share of the beat", "write '25 ms'"
        )
    return lengths


_FROM_REMEDY = "write notes, as 'high G' or 'low G to E', or 'other notes'"
_OTHER_NOTES: tuple[Note, ...] = ()
"""Stands for every note but the melody note itself."""
_BEGIN_REMEDY = (
    "write the melody notes that are begun so, as begins = { thumb = 'low A to F' }, or a table "
    "with on, called and used-from"
)
_UsedFrom = dict[Note | None, tuple[Note, ...]]
"""By melody note, None for every other one, the notes that a movement is used from."""


def _some_notes(value: object, remedy: str) -> tuple[Note, ...]:
    if not isinstance(value, str):
        raise WrongValueError("notes must be text", remedy)
    try:
        return read_notes(value)
    except WrongValueError as error:
        raise WrongValueError(error.cause, remedy) from None


def _used_from(value: object) -> _UsedFrom:
    if isinstance(value, Mapping):
        return {_note_key(key): _from_notes(notes) for key, notes in value.items()}
    return {None: _from_notes(value)}


def _from_notes(value: object) -> tuple[Note, ...]:
    if isinstance(value, str) and value.strip().casefold() == "other notes":
        return _OTHER_NOTES
    return _some_notes(value, _FROM_REMEDY)


def _but(note: Note) -> tuple[Note, ...]:
    return tuple(other for other in Note if other is not note)


def _beginning(value: object) -> Beginning:
    if not isinstance(value, Mapping):
        return Beginning(_some_notes(value, _BEGIN_REMEDY))
    unknown = [key for key in value if key not in ("on", "called", "used-from")]
    called = value.get("called", [])
    words = isinstance(called, list) and all(isinstance(one, str) and one for one in called)
    if unknown or "on" not in value or not words:
        raise WrongValueError("this says not how a movement begins", _BEGIN_REMEDY)
    used = value.get("used-from")
    return Beginning(
        _some_notes(value["on"], _BEGIN_REMEDY),
        tuple(called),
        None if used is None else _some_notes(used, _FROM_REMEDY),
    )


def _begins(value: object) -> dict[Way, Beginning]:
    if not isinstance(value, Mapping):
        raise WrongValueError("ways of beginning must be a table", _BEGIN_REMEDY)
    ways = {str(way).casefold(): way for way in get_args(Way)}
    unknown = [key for key in value if key.casefold() not in ways]
    if unknown:
        known = listed([repr(way) for way in ways.values()], "or")
        raise WrongValueError(f"no movement begins with {unknown[0]!r}", f"write {known}")
    return {ways[key.casefold()]: _beginning(one) for key, one in value.items()}


_NoteKey = Annotated[Note, PlainValidator(_note_key)]
_Fragments = dict[_NoteKey, Annotated[Fragment, PlainValidator(_fragment)]]
_Words = list[Annotated[str, Field(min_length=1, max_length=_LONGEST_NAME)]]


class _Entry(Table):
    """The keys of one movement's table, checked each for itself."""

    family: str | None = Field(default=None, min_length=1, max_length=_LONGEST_NAME)
    spellings: _Words | None = Field(
        default=None, description="write a list, as ['D throw', 'light throw']"
    )
    description: str | None = Field(default=None, max_length=300)
    source: str | None = Field(default=None, max_length=300)
    instead: _Words | None = Field(
        default=None, description="write a list of movements, as ['half doubling', 'strike']"
    )
    beat: Annotated[Beat, PlainValidator(_beat)] | None = Field(default=None)
    inner: Annotated[tuple[Length, ...], PlainValidator(_inner)] | None = Field(default=None)
    least: Annotated[tuple[Length, ...], PlainValidator(_least)] | None = Field(default=None)
    timing_source: str | None = Field(default=None, alias="timing-source", max_length=300)
    used: Annotated[_UsedFrom, PlainValidator(_used_from)] | None = Field(
        default=None, alias="used-from"
    )
    begins: Annotated[dict[Way, Beginning], PlainValidator(_begins)] | None = Field(default=None)
    fragments: _Fragments = Field(
        default_factory=dict, description="write it like fragments = { B = '{g}B {d}B' }"
    )
    approaches: dict[_NoteKey, _Fragments] = Field(
        default_factory=dict,
        alias="from",
        description="write it like from = { D = { B = 'G {B}G B' } }",
    )


def _extended(book: OrnamentBook, table: Mapping[str, Any]) -> OrnamentBook:
    problems: list[Problem] = []
    merged = {movement.name: movement for movement in book}
    given: dict[str, str] = {}
    for written, raw in table.items():
        place = f"ornament-book.{written}"
        if not 1 <= len(written.strip()) <= _LONGEST_NAME:
            problems.append(
                Problem(
                    "a movement's name has the wrong length",
                    f"Give it 1 to {_LONGEST_NAME} characters",
                    place,
                )
            )
            continue
        if _key(written) == PLAIN:
            problems.append(_reserved(place))
            continue
        old = book.find(written)
        name = old.name if old is not None else " ".join(written.split())
        if name in given:
            problems.append(
                Problem(
                    f"this is the same movement as {given[name]!r}", "Keep one of the two", place
                )
            )
            continue
        given[name] = written
        found = len(problems)
        entry = _checked(raw, place, problems)
        if entry is not None:
            _check_fragments(entry, old, place, problems, complete=len(problems) == found)
        if entry is not None and len(problems) == found:
            merged[name] = _merged(name, old, entry)
    result = OrnamentBook(tuple(with_replacements(_with_ways(merged, set(given))).values()))
    meant = _meanings(result)
    for name, written in given.items():
        _check_words(
            result,
            meant,
            result.find(name) if name in merged else None,
            f"ornament-book.{written}",
            problems,
        )
    if problems:
        raise RungwiseError(problems)
    return result


def _with_ways(movements: Mapping[str, Movement], given: set[str]) -> dict[str, Movement]:
    """Return the movements, each followed by its ways of beginning.

    Ways of what was given are made anew; those that were given themselves stay as they are.
    """
    result: dict[str, Movement] = {}
    for movement in movements.values():
        if movement.way is not None:
            continue
        result[movement.name] = movement
        if movement.name in given:
            ways = {
                one.name: movements[one.name] if one.name in given else one
                for one in begun(movement)
            }
        else:
            ways = {n: one for n, one in movements.items() if one.way_of == movement.name}
        result |= ways
    return result


def _reserved(place: str) -> Problem:
    return Problem(
        f"{PLAIN!r} stands for a note without an ornament", "Give the movement another name", place
    )


def _checked(raw: object, place: str, problems: list[Problem]) -> _Entry | None:
    """Return the table `raw` with its notes and fragments read, or add what is wrong with it.

    What cannot be read is left out of the entry, so that the rest is checked all the same.
    """
    if not isinstance(raw, Mapping):
        problems.append(
            Problem(
                "a movement must be a table",
                f"Write [{place}.fragments] and under it a note and its fragment on each line",
                place,
            )
        )
        return None
    try:
        return _Entry.model_validate(dict(raw))
    except ValidationError as error:
        problems.extend(_problem(detail, place) for detail in error.errors())
        readable = _without(raw, [detail["loc"] for detail in error.errors()])
        return _Entry.model_validate(readable)


def _without(table: Mapping[str, Any], paths: Sequence[tuple[int | str, ...]]) -> dict[str, Any]:
    """Return a table without the entries at these paths, or the lists that hold them."""
    kept: dict[str, Any] = {}
    for key, value in table.items():
        below = [path[1:] for path in paths if path[0] == key]
        if not below:
            kept[key] = value
        elif isinstance(value, Mapping) and all(path and path[0] != "[key]" for path in below):
            kept[key] = _without(value, below)
    return kept


def _problem(detail: ErrorDetails, place: str) -> Problem:
    steps = [str(step + 1) if isinstance(step, int) else step for step in detail["loc"]]
    where = ".".join([place, *(step for step in steps if step != "[key]")])
    kind, value, fields = detail["type"], detail["input"], keys_of(_Entry)
    if kind == "extra_forbidden":
        from rapidfuzz import fuzz, process

        near = process.extractOne(steps[-1], list(fields), scorer=fuzz.ratio, score_cutoff=60)
        known = f"write {near[0]!r}" if near else f"use one of {', '.join(fields)}"
        return Problem(f"there is no key {steps[-1]!r} here", known, where)
    wrong = detail.get("ctx", {}).get("error")
    if isinstance(wrong, WrongValueError):
        cause, remedy = wrong.cause, wrong.remedy
    elif kind in ("string_too_short", "string_too_long"):
        most = detail["ctx"].get("max_length", _LONGEST_NAME)
        cause, remedy = "the text has the wrong length", f"write 1 to {most} characters"
    else:
        cause, remedy = wrong_type(kind, steps[0], value, fields.get(steps[0]))
    return Problem(cause, remedy, where)


def _check_fragments(
    entry: _Entry, old: Movement | None, place: str, problems: list[Problem], *, complete: bool
) -> None:
    """Add what is wrong with an entry's fragments; `complete` if nothing of it was left out."""
    taken = set(entry.fragments) | set(old.fragments if old is not None else ())
    if complete and not taken:
        problems.append(
            Problem(
                "a new movement needs its fragments",
                f"Add [{place}.fragments] with a line such as B = '{{g}}B {{d}}B'",
                place,
            )
        )
    rows: list[tuple[Note, Note | None, Fragment]] = [
        (note, None, slots) for note, slots in entry.fragments.items()
    ]
    for previous, fragments in entry.approaches.items():
        rows += [(note, previous, slots) for note, slots in fragments.items()]
    for note, approach, slots in rows:
        table = "fragments" if approach is None else f"from.{approach}"
        where = f"{place}.{table}.{note}"
        silent = silent_join(slots, approach)
        if slots[-1].note is not note:
            problems.append(
                Problem(
                    f"the fragment ends on {slots[-1].note}",
                    f"End it on {note}, the melody note that it leads into",
                    where,
                )
            )
        elif complete and note not in taken:
            problems.append(
                Problem(
                    f"there is an approach to {note} but no fragment for it",
                    f"Add {note} to the movement's fragments",
                    where,
                )
            )
        elif silent is not None:
            problems.append(
                Problem(
                    silent,
                    "Let each gracenote lie above both its neighbours or below both, and part "
                    "notes of one pitch",
                    where,
                )
            )


def _merged(name: str, old: Movement | None, entry: _Entry) -> Movement:
    """Return the movement `old` with what `entry` says put over it."""
    fragments = dict(old.fragments) if old is not None else {}
    approaches = {note: dict(rows) for note, rows in old.approaches.items()} if old else {}
    for note in entry.fragments:
        for rows in approaches.values():
            rows.pop(note, None)
    fragments |= entry.fragments
    for previous, added in entry.approaches.items():
        approaches[previous] = approaches.get(previous, {}) | added
    usual = old.playing if old is not None else USUAL_PLAYING
    words = entry.spellings, entry.instead
    kept = (old.spellings, old.named_instead) if old is not None else ((), ())
    spellings, instead = (
        tuple(new) if new is not None else was for new, was in zip(words, kept, strict=True)
    )
    used = dict(old.used) if old is not None else {}
    if entry.used is not None:
        everywhere = entry.used.get(None)
        used = dict.fromkeys(fragments, everywhere) if everywhere is not None else used
        used |= {note: notes for note, notes in entry.used.items() if note is not None}
        used = {note: notes or _but(note) for note, notes in used.items()}
    return Movement(
        name=name,
        family=entry.family or (old.family if old is not None else "own"),
        description=entry.description or (old.description if old is not None else ""),
        source=entry.source or "the definition file",
        fragments=MappingProxyType(fragments),
        approaches=MappingProxyType(
            {note: MappingProxyType(rows) for note, rows in approaches.items() if rows}
        ),
        spellings=spellings,
        named_instead=instead,
        used=MappingProxyType(used),
        begins=MappingProxyType(entry.begins) if entry.begins is not None else _begins_of(old),
        way=old.way if old is not None else None,
        way_of=old.way_of if old is not None else "",
        playing=Playing(
            usual.beat if entry.beat is None else entry.beat,
            usual.inner if entry.inner is None else entry.inner,
            usual.least if entry.least is None else entry.least,
        ),
        timing_source=entry.timing_source or (old.timing_source if old is not None else ""),
    )


def _written_words(movement: Movement) -> tuple[str, ...]:
    """Its name, and its spellings unless they only follow from a way of beginning."""
    return (movement.name, *(movement.spellings if movement.way is None else ()))


def _meanings(book: OrnamentBook) -> dict[str, list[Movement]]:
    """Return which movements each key is written for."""
    meant: dict[str, list[Movement]] = {}
    for movement in book:
        for key in dict.fromkeys(map(_key, _written_words(movement))):
            meant.setdefault(key, []).append(movement)
    return meant


def _begins_of(old: Movement | None) -> Mapping[Way, Beginning]:
    return old.begins if old is not None else MappingProxyType({})


def _check_words(
    book: OrnamentBook,
    meant: Mapping[str, Sequence[Movement]],
    movement: Movement | None,
    place: str,
    problems: list[Problem],
) -> None:
    """Add a problem for each spelling that means another movement and each unknown replacement."""
    if movement is None:
        return
    for spelling in movement.spellings:
        if _key(spelling) == PLAIN:
            problems.append(_reserved(f"{place}.spellings"))
        others = [
            other.name
            for other in meant.get(_key(spelling), ())
            if other is not movement and other.way_of != movement.name
        ]
        if others:
            problems.append(
                Problem(
                    f"{spelling!r} already means {others[0]!r}",
                    "Choose another spelling",
                    f"{place}.spellings",
                )
            )
    for name in movement.named_instead:
        try:
            book.movement(name)
        except WrongValueError as error:
            problems.extend(error.at(f"{place}.instead").problems)


@cache
def load_book() -> OrnamentBook:
    """Return the book that ships with the program."""
    text = (resources.files(__package__) / "ornaments.toml").read_text(encoding="utf-8")
    return OrnamentBook(()).extended(tomllib.loads(text))
