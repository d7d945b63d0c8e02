"""Where things stand in a definition's text: TOML text in, the offsets of its tables and keys out.

`tomllib` gives values without their places, and `tomlkit` keeps them to itself; an editor that
underlines a problem, or moves a line together with its remarks, needs to know from which letter to
which each of them goes. Offsets count letters from 0. The text need not be right: what cannot be
read as a key is passed over, line by line.
"""

from __future__ import annotations

import re
from bisect import bisect_right
from dataclasses import dataclass

Path = tuple[str | int, ...]
"""A place in the table: keys, and the numbers of entries from 0."""


@dataclass(frozen=True, slots=True)
class Statement:
    """A key with its value.

    Parameters
    ----------
    path:
        Its place.
    start, end:
        From the beginning of its line to behind the line break after its value and remark.
    key_start, value_start, value_end:
        Where the key and the value stand.
    remark:
        The remark behind the value, `#` included; empty for none.
    """

    path: Path
    start: int
    end: int
    key_start: int
    value_start: int
    value_end: int
    remark: str


@dataclass(frozen=True, slots=True)
class Heading:
    """A table's heading in brackets.

    Parameters
    ----------
    path:
        The table's place.
    is_entry:
        Whether it stands in double brackets.
    lead:
        Where the remarks right above it begin, else `start`.
    start, end:
        From the beginning of its line to behind its line break.
    """

    path: Path
    is_entry: bool
    lead: int
    start: int
    end: int


@dataclass(frozen=True, slots=True)
class TextPlaces:
    """The headings, keys and remarks of a text, in order."""

    text: str
    headings: tuple[Heading, ...]
    statements: tuple[Statement, ...]
    remarks: tuple[str, ...]

    def entries(self, name: str) -> tuple[tuple[int, int], ...]:
        """Return where each `[[name]]` begins and ends, the remarks above it included."""
        at = [n for n, one in enumerate(self.headings) if one.is_entry and one.path[:-1] == (name,)]
        found = []
        for n in at:
            own = self.headings[n].path
            after = next(
                (one for one in self.headings[n + 1 :] if one.path[: len(own)] != own), None
            )
            found.append((self.headings[n].lead, len(self.text) if after is None else after.lead))
        return tuple(found)

    def tables(self, path: Path) -> tuple[tuple[int, int], ...]:
        """Return where a table with a heading of its own, and each inside it, begins and ends."""
        ends = [*(one.lead for one in self.headings[1:]), *[len(self.text)][: len(self.headings)]]
        return tuple(
            (one.lead, end)
            for one, end in zip(self.headings, ends, strict=True)
            if one.path[: len(path)] == path
        )

    def statement(self, path: Path) -> Statement | None:
        """Return the key at a place, None where it is not written as a key of its own."""
        return next((one for one in self.statements if one.path == path), None)

    def span(self, path: Path) -> tuple[int, int] | None:
        """Return from where to where a place's value stands, or the nearest around it."""
        best: tuple[int, tuple[int, int]] | None = None
        for one in self.statements:
            if path[: len(one.path)] == one.path:
                depth, found = len(one.path), (one.value_start, one.value_end)
                if len(path) > depth:
                    found = _inside(self.text, found, path[depth:])
            elif one.path[: len(path)] == path:
                depth, found = len(path), (one.key_start, one.value_end)
            else:
                continue
            if best is None or depth > best[0]:
                best = depth, found
        for heading in self.headings:
            depth = len(heading.path)
            if path[:depth] == heading.path and (best is None or depth > best[0]):
                best = depth, (heading.start, _without_break(self.text, heading))
        return None if best is None else best[1]


_KEY = r"""(?:[\w-]+|"(?:\\.|[^"\\\n])*"|'[^'\n]*')"""
_KEYS = re.compile(rf"[ \t]*({_KEY}(?:[ \t]*\.[ \t]*{_KEY})*)[ \t]*")
_PART = re.compile(_KEY)
_TOKEN = re.compile(
    r'''"""(?:\\[\s\S]|[^\\])*?"{3,5}|\'\'\'[\s\S]*?\'{3,5}|"(?:\\.|[^"\\\n])*"|'[^'\n]*'|'''
    r"""(?P<remark>\#[^\n]*)|(?P<open>[\[{])|(?P<close>[\]}])|(?P<break>\r?\n)"""
)
_ITEM_TOKEN = re.compile(rf"{_TOKEN.pattern}|(?P<comma>,)|[^\s,]")
_PLACE_PART = re.compile(r'"([^"]*)"|([\w-]+)|\[(\d+)\]')


def _keys(text: str) -> tuple[str, ...]:
    return tuple(part.strip("\"'") for part in _PART.findall(text))


def text_places(text: str) -> TextPlaces:
    """Return where everything stands in a definition's text."""
    headings: list[Heading] = []
    statements: list[Statement] = []
    remarks: list[str] = []
    counts: dict[Path, int] = {}
    table: Path = ()
    at = 0
    lead: int | None = None
    while at < len(text):
        line_end = text.find("\n", at)
        line_end = len(text) if line_end < 0 else line_end + 1
        line = text[at:line_end]
        bare = line.strip()
        if bare.startswith("#"):
            lead = at if lead is None else lead
            remarks.append(bare)
        elif not bare:
            lead = None
        elif bare.startswith("["):
            is_entry = bare.startswith("[[")
            match = _KEYS.match(bare[2 if is_entry else 1 :])
            if match:
                table = _placed(_keys(match[1]), counts, is_entry=is_entry)
                begins = at if lead is None else lead
                headings.append(Heading(table, is_entry, begins, at, line_end))
                rest = bare[bare.rfind("]") + 1 :].strip()
                if "#" in bare:
                    behind = rest if rest.startswith("#") else bare[bare.index("#") :]
                    remarks.append(behind)
            lead = None
        else:
            match = _KEYS.match(text, at)
            if match and text[match.end() : match.end() + 1] == "=":
                begin = match.end() + 1
                value_end, end, said = _value(text, begin)
                value_start = (
                    begin + len(text[begin:value_end]) - len(text[begin:value_end].lstrip())
                )
                remark = said[-1] if said and text[value_end:end].strip() == said[-1] else ""
                remarks += said
                path = (*table, *_keys(match[1]))
                statements.append(
                    Statement(path, at, end, match.start(1), value_start, value_end, remark)
                )
                line_end = end
            lead = None
        at = line_end
    return TextPlaces(text, tuple(headings), tuple(statements), tuple(remarks))


def _placed(keys: tuple[str, ...], counts: dict[Path, int], *, is_entry: bool) -> Path:
    """Return the place of a heading: `lines.runs` stands in the last entry of `lines`."""
    path: Path = ()
    for number, key in enumerate(keys):
        path = (*path, key)
        if is_entry and number == len(keys) - 1:
            counts[path] = counts.get(path, -1) + 1
            return (*path, counts[path])
        if path in counts:
            path = (*path, counts[path])
    return path


def _value(text: str, begin: int) -> tuple[int, int, list[str]]:
    """Return where a value ends, where its line does, and the remarks in and behind it."""
    depth = 0
    remarks: list[str] = []
    value_end: int | None = None
    for token in _TOKEN.finditer(text, begin):
        if token["remark"]:
            remarks.append(token["remark"].strip())
            if depth == 0 and value_end is None:
                value_end = token.start()
        elif token["open"]:
            depth += 1
        elif token["close"]:
            depth = max(0, depth - 1)
        elif token["break"] and depth == 0:
            end = token.start() if value_end is None else value_end
            return begin + len(text[begin:end].rstrip()), token.end(), remarks
    end = len(text) if value_end is None else value_end
    return begin + len(text[begin:end].rstrip()), len(text), remarks


def items_of(text: str, span: tuple[int, int]) -> list[tuple[int, int]]:
    """Return from where to where each entry of a list in brackets stands.

    Parameters
    ----------
    text:
        Of the whole file.
    span:
        From where to where the list does, its brackets included; of what is no list nothing comes.
    """
    start, end = span
    if text[start : start + 1] != "[":
        return []
    found: list[tuple[int, int]] = []
    depth, begin, last = 0, -1, start
    for token in _ITEM_TOKEN.finditer(text, start, end):
        if token["remark"] or token["break"]:
            continue
        depth += bool(token["open"]) - bool(token["close"])
        is_end = depth == 0 and bool(token["close"])
        if (is_end or (depth == 1 and token["comma"])) and begin >= 0:
            found.append((begin, last))
            begin = -1
        elif begin < 0 and token.start() > start and not token["comma"]:
            begin = token.start()
        last = token.end()
        if is_end:
            break
    return found


def _inside(text: str, span: tuple[int, int], rest: Path) -> tuple[int, int]:
    """Return where a key of a value in braces stands, or an entry of a list; else the value."""
    start, end = span
    for part in rest:
        if isinstance(part, int):
            items = items_of(text, (start, end))
            if part >= len(items):
                return start, end
            start, end = items[part]
        else:
            found = re.compile(rf"(?<![\w-]){re.escape(part)}\s*=\s*").search(text, start, end)
            if found is None:
                return start, end
            start = found.start()
            stop, depth = end, 0
            for token in _TOKEN.finditer(text, found.end(), end):
                depth += bool(token["open"]) - bool(token["close"])
                if depth < 0:
                    stop = token.start()
                    break
            comma = re.compile(r'"(?:\\.|[^"\\])*"|\'[^\']*\'|\[[^\]]*\]|(,)')
            cut = next((m.start() for m in comma.finditer(text, found.end(), stop) if m[1]), stop)
            end = start + len(text[start:cut].rstrip())
    return start, end


def _without_break(text: str, heading: Heading) -> int:
    return heading.start + len(text[heading.start : heading.end].rstrip())


def path_of(place: str) -> Path:
    """Return the path that a problem's place names, as far as it is one: `lines[3].run, bar 2`."""
    path: list[str | int] = []
    at = 0
    while match := _PLACE_PART.match(place, at):
        path.append(int(match[3]) - 1 if match[3] else (match[1] or match[2]))
        at = match.end()
        if place[at : at + 1] == ".":
            at += 1
        elif place[at : at + 1] != "[":
            break
    return tuple(path)


@dataclass(frozen=True, slots=True)
class Marked:
    """From where to where a problem is underlined, in letters from 0."""

    start: int
    end: int


_LINE_PLACE = re.compile(r"line (\d+)(?:, column (\d+))?")


def marked(places: TextPlaces, place: str) -> Marked:
    """Return where in the text a problem at a place is to be shown.

    Parameters
    ----------
    places:
        Of the text.
    place:
        As `Problem.place` has it: `lines[3].run`, `line 4, column 2`; empty for the whole file.
    """
    text = places.text
    if match := _LINE_PLACE.match(place):
        starts = [0, *(one.end() for one in re.finditer("\n", text))]
        number = min(int(match[1]), len(starts))
        start = starts[number - 1]
        end = text.find("\n", start)
        end = len(text) if end < 0 else end
        if match[2]:
            start = min(start + int(match[2]) - 1, max(start, end - 1))
        return Marked(start, max(start, end))
    span = places.span(path_of(place)) if place else None
    if span is None:
        end = text.find("\n")
        return Marked(0, len(text) if end < 0 else end)
    return Marked(*span)


def line_number(text: str, offset: int) -> int:
    """Return the number, from 1, of the line of text that an offset lies in."""
    return bisect_right([one.start() for one in re.finditer("\n", text)], offset - 1) + 1
