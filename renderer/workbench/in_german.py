"""What problems and remarks say, in German: English sentences in, German ones out.

The modules that find problems know English alone. `german.toml` has a row for each sentence that
they can make, the English one on the left with `{1}`, `{2}` where names, numbers and the like are
put in. On the right these come back unchanged as `{1}`, or as `<1>` where they are words of ours
(`the note before`), which are then looked up themselves. A sentence is that of the row with most
letters of its own; text is compared piece by piece, so that nothing is ever tried twice.
"""

from __future__ import annotations

import re
import tomllib
from collections import defaultdict
from collections.abc import Mapping, Sequence
from functools import cache, lru_cache
from pathlib import Path

from renderer.errors import Problem

LONGEST = 4_000
"""Characters of what is looked up; longer text stays as it is."""

_ENGLISH_HOLE = re.compile(r"\{[1-9]…?\}")
_GERMAN_HOLE = re.compile(r"(\{[1-9]\}|<[1-9]>)")
_JOINS = re.compile(r"(, (?:and |or )?|; | and | or )")
_GERMAN_JOINS = {" and ": " und ", " or ": " oder ", ", and ": " und ", ", or ": " oder "}
_DEEPEST = 4
_KEY = 4


def in_german(problem: Problem) -> Problem | None:
    """Return a problem in German; None where there are no words for it."""
    cause, remedy = german_of(problem.cause), german_of(problem.remedy)
    if cause is None or remedy is None:
        return None
    return Problem(cause, remedy, _place(problem.place), problem.file)


@lru_cache(maxsize=2_000)
def german_of(sentence: str) -> str | None:
    """Return a cause, a remedy or a remark in German; None where there are no words for it."""
    return _looked_up(sentence, ("sentences",)) if sentence else ""


class Row:
    """A sentence and its German.

    Parameters
    ----------
    english:
        With `{1}`, `{2}` ... in this order where something is put in; `{1…}` takes as much as
        it can.
    german:
        The same, with `{1}` or `<1>`.
    """

    def __init__(self, english: str, german: str) -> None:
        self.pieces = _ENGLISH_HOLE.split(english)
        self.german = german
        self.rank = (sum(map(len, self.pieces)), -len(self.pieces))
        self.has_words = any(letter.isalpha() for piece in self.pieces for letter in piece)
        self._is_sought_backwards = "…}" in english

    def holes_of(self, text: str) -> list[str] | None:
        """Return what stands in the holes of a text; None if it is not this sentence.

        Each piece is taken where it comes first, the last at the end: if any way fits, this does.
        """
        first, *inner, last = self.pieces
        at, end = len(first), len(text) - len(last)
        if at > end or not (text.startswith(first) and text.endswith(last)):
            return None
        if self._is_sought_backwards:
            return self._holes_from_the_end(inner, text, at, end)
        found = []
        for piece in inner:
            begins = text.find(piece, at, end)
            if begins < 0:
                return None
            found.append(text[at:begins])
            at = begins + len(piece)
        return [*found, text[at:end]]

    def _holes_from_the_end(
        self, inner: Sequence[str], text: str, at: int, end: int
    ) -> list[str] | None:
        found: list[str] = []
        for piece in reversed(inner):
            begins = text.rfind(piece, at, end)
            if begins < 0:
                return None
            found.insert(0, text[begins + len(piece) : end])
            end = begins
        return [text[at:end], *found]


class Table:
    """Rows, found by how they begin."""

    def __init__(self, rows: Mapping[str, str]) -> None:
        self.whole: dict[str, Row] = {}
        self.begun: dict[str, list[Row]] = defaultdict(list)
        self.others: list[Row] = []
        made = [Row(english, german) for english, german in rows.items()]
        for row in sorted(made, key=lambda row: row.rank, reverse=True):
            if len(row.pieces) == 1:
                self.whole[row.pieces[0]] = row
            elif len(row.pieces[0]) >= _KEY:
                self.begun[row.pieces[0][:_KEY]].append(row)
            else:
                self.others.append(row)

    def found(self, text: str) -> tuple[Row, list[str]] | None:
        """Return the row of a text with what stands in its holes."""
        if (row := self.whole.get(text)) is not None:
            return row, []
        best: tuple[Row, list[str]] | None = None
        for rows in (self.begun.get(text[:_KEY], ()), self.others):
            for row in rows:
                if best is not None and row.rank <= best[0].rank:
                    break
                if (holes := row.holes_of(text)) is not None:
                    best = row, holes
                    break
        return best


@cache
def _tables() -> dict[str, Table]:
    text = Path(__file__).with_name("german.toml").read_text("utf-8")
    return {name: Table(rows) for name, rows in tomllib.loads(text).items()}


def _looked_up(text: str, tables: Sequence[str], depth: int = 0) -> str | None:
    if len(text) > LONGEST or depth > _DEEPEST:
        return None
    found = [one for table in tables if (one := _tables()[table].found(text)) is not None]
    return _filled(*max(found, key=lambda one: one[0].rank), depth) if found else None


def _filled(row: Row, holes: Sequence[str], depth: int) -> str | None:
    """Return a row's German; None where its words are all in holes, and none of them is ours."""
    made, has_own = [], row.has_words
    for part in _GERMAN_HOLE.split(row.german):
        if not _GERMAN_HOLE.fullmatch(part):
            made.append(part)
            continue
        value = holes[int(part[1]) - 1]
        if part[0] == "<":
            german = _words(value, depth + 1)
            if not has_own and german in (None, value):
                return None
            value = german or value
        made.append(value)
    return "".join(made)


def _words(value: str, depth: int) -> str | None:
    """Return what stands in a hole, by itself or as a list of such; None where it is a name."""
    if (whole := _looked_up(value, ("words", "sentences"), depth)) is not None:
        return whole
    parts = _JOINS.split(value) if len(value) <= LONGEST else [value]
    if len(parts) == 1:
        return _looked_up(value, ("places",), depth)
    each = [
        _looked_up(part, ("words", "places", "sentences"), depth) or part for part in parts[::2]
    ]
    joins = (_GERMAN_JOINS.get(join, join) for join in (*parts[1::2], ""))
    return "".join(part + join for part, join in zip(each, joins, strict=True))


def _place(place: str) -> str:
    """Return where something is: `line 3, bar 2` in German, the key of a file as it is."""
    parts = place.split(", ") if len(place) <= LONGEST else [place]
    return ", ".join(_looked_up(part, ("places",)) or part for part in parts)
