"""Definition text to its table of keys and values, or the slip of the pen that is in the way.

Python's `tomllib` says at which letter it stopped; here the line is looked at for what people
usually get wrong: a quote not closed, text without quotes, a key written twice, single brackets.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Collection
from dataclasses import dataclass
from typing import Any

from renderer.errors import failure
from renderer.notation.pitch import notes_in

LINES_REMEDY = "write [[lines]] in double brackets before each line"

SEVERAL_TEMPOS = re.compile(r"\d\s*(?:-|\N{EN DASH}|to|:|,\s)\s*\d")
SEVERAL_REMEDY = "write one tempo, as tempo = 60; several stand in a [ladder], by from, to and step"
"""What a tempo that is several looks like, and what is right instead."""

Slip = tuple[str, str]
"""A cause and its remedy."""

_DEEP_KEY = re.compile(r"""(?:\s*\.\s*(?:[\w-]+|"[^"\n]*"|'[^'\n]*')){100}""")

_CURLY = (
    "\N{LEFT DOUBLE QUOTATION MARK}\N{RIGHT DOUBLE QUOTATION MARK}\N{DOUBLE LOW-9 QUOTATION MARK}"
    "\N{LEFT SINGLE QUOTATION MARK}\N{RIGHT SINGLE QUOTATION MARK}\N{SINGLE LOW-9 QUOTATION MARK}"
)
_CURLY_AT_AN_END = re.compile(rf"[=\[,{{]\s*[{_CURLY}]|[{_CURLY}]\s*(?:[,\]}}#]|$)")
_CURLY_SLIP = ("the quotes are curly", "write straight quotes (\" or '), not curly ones")

_LIST_SLIP = (
    "the list that opens here is not closed, or lacks a comma",
    "close it with ], and write commas between what is in it",
)
_BRACES_SLIP = (
    "the brace that opens here is not closed on its line, or what is in it is not complete",
    "write all from { to } on one line, with commas between and none at the end",
)

_UNCLOSED = ("Illegal character '\\n'", "Unterminated string", 'Expected "\'"', "Expected '\"'")

_HEADING = re.compile(r"\s*\[+\s*([\w .\"'-]*?)\s*(?:\].*)?$")
_SINGLE_LINES = re.compile(r"^[ \t]*\[[ \t]*lines[ \t]*\]", re.MULTILINE)
_ASSIGNMENT = re.compile(r"\s*(?P<key>[\w-]+)\s*=\s*(?P<value>.*?)\s*(?:#.*)?$")
_SWITCH_WORDS = ("true", "false", "yes", "no", "on", "off")


@dataclass(frozen=True, slots=True)
class _Stop:
    """Where reading stopped: its message, the text, the line's number, the column from 1."""

    message: str
    text: str
    number: int
    column: int

    @property
    def line(self) -> str:
        return self.text.split("\n")[self.number - 1]

    @property
    def key(self) -> str:
        """The key whose value it stopped in."""
        keys: list[str] = re.findall(r"([\w-]+)\s*=(?!=)", self.line[: self.column])
        return keys[-1] if keys else ""

    @property
    def value(self) -> str:
        """The value that cannot be read, without a comment after it."""
        if self.message.startswith("Expected newline"):
            match = _ASSIGNMENT.match(self.line)
            return match["value"] if match else ""
        rest = self.line[self.column - 1 :]
        is_inside = re.search(r"[\[{]", self.line[: self.column - 1])
        return re.split(r"[,\]}#]" if is_inside else "#", rest)[0].strip()


def read_toml(
    text: str, source: str, *, numbers: Collection[str], switches: Collection[str]
) -> dict[str, Any]:
    """Return the table that TOML text holds.

    Parameters
    ----------
    text:
        A definition file's contents.
    source:
        The file, for messages.
    numbers, switches:
        The keys whose values are numbers, and those that are true or false.

    Raises
    ------
    RungwiseError
        For text that is no TOML.
    """
    if _DEEP_KEY.search(text):
        # tomllib takes time that grows with the square of a key's depth.
        raise failure("a key in it has too many parts", "write keys as in the README", file=source)
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        message, _, where = str(error).partition(" (at ")
        place = re.match(r"line (\d+), column (\d+)", where)
        lines = text.rstrip().split("\n")
        number, column = len(lines), len(lines[-1]) + 1
        if place:
            number, column = int(place[1]), int(place[2])
        stop = _Stop(message, text.replace("\r\n", "\n"), number, column)
        cause, remedy = _slip(stop, numbers, switches)
        shown = f"line {number}" + (f", column {column}" if place else "")
        sign = {_BRACES_SLIP: "{", _LIST_SLIP: "["}.get((cause, remedy))
        for _, line, at in (one for one in _opened(stop) if one[0] == sign):
            # The innermost comes last; behind a list that is open, a heading opens no other.
            if line < stop.number or not stop.line.lstrip().startswith("["):
                shown = f"line {line}, column {at}"
        raise failure(cause, remedy, place=shown, file=source) from None
    except ValueError:
        # Python reads whole numbers of up to 4,300 digits.
        raise failure("a number in it is endless", "write a shorter one", file=source) from None
    except RecursionError:
        raise failure("lists are nested too deeply", "write a flat list", file=source) from None


def _slip(stop: _Stop, numbers: Collection[str], switches: Collection[str]) -> Slip:
    message = stop.message
    found: Slip | None = None
    if message.startswith(("Cannot", "Duplicate")):
        found = _written_twice(stop)
    elif stop.line.lstrip().startswith("["):
        goes_on = any(line < stop.number for _, line, _ in _opened(stop))
        found = _LIST_SLIP if goes_on else _heading(stop)
    elif _CURLY_AT_AN_END.search(stop.line):
        found = _CURLY_SLIP
    elif message.startswith(_UNCLOSED):
        found = "a quote is opened and not closed", "close it at the end of the text, on its line"
    elif message.startswith("Expected '='"):
        found = _no_equals_sign(stop)
    elif message.startswith("Unescaped"):
        found = "in double quotes a \\ does not stand for itself", "write the text in single quotes"
    elif message.startswith("Unclosed array"):
        found = _LIST_SLIP
    elif "{" in stop.line and message.startswith(("Unclosed inline", "Invalid initial")):
        found = _BRACES_SLIP
    elif message.startswith(("Invalid value", "Expected newline")):
        found = _wrong_value(stop, numbers, switches)
    usual = "write key = value; text stands in quotes, lists in [ ]"
    return found or (f"this is not TOML: {message[:1].lower()}{message[1:]}", usual)


_BRACKETS = re.compile(
    r'''"""(?:\\.|[^\\])*?"""|\'\'\'[\s\S]*?\'\'\'|"(?:\\.|[^"\\\n])*"|'[^'\n]*'|\#[^\n]*|[\[\]{}]'''
)
"""What brackets stand in, and brackets themselves."""


def _opened(stop: _Stop) -> list[tuple[str, int, int]]:
    """Return the brackets that are open where it stopped: sign, line and column, from 1."""
    lines = stop.text.split("\n")
    before = "\n".join([*lines[: stop.number - 1], stop.line[: stop.column - 1]])
    opened: list[re.Match[str]] = []
    for match in _BRACKETS.finditer(before):
        if match[0] in "[{":
            opened.append(match)
        elif match[0] in "]}" and opened:
            opened.pop()
    starts = [(match[0], match.start()) for match in opened]
    return [
        (sign, before.count("\n", 0, at) + 1, at - before.rfind("\n", 0, at)) for sign, at in starts
    ]


def _written_twice(stop: _Stop) -> Slip:
    if _SINGLE_LINES.search(stop.text):
        return "[lines] stands in single brackets", LINES_REMEDY
    heading = _HEADING.match(stop.line) if stop.line.lstrip().startswith("[") else None
    if heading is not None:
        name = heading[1]
        return f"[{name}] is written twice", f"put all of it under one [{name}]"
    inline = re.search(r"key '(.+)'", stop.message)
    key = inline[1] if inline else stop.key
    first = _first_line_of(key, stop)
    also = f", first in line {first}" if first else ""
    headings = [line for line in stop.text.split("\n")[: stop.number] if line.startswith("[")]
    in_lines = headings and headings[-1].startswith("[[")
    remedy = "write each key once" + (", and [[lines]] before each new line" if in_lines else "")
    return f"`{key}` is written twice{also}", remedy


def _first_line_of(key: str, stop: _Stop) -> int | None:
    """The line of the same table that has the key already."""
    lines = stop.text.split("\n")
    for number in range(stop.number - 1, 0, -1):
        line = lines[number - 1]
        if line.lstrip().startswith("["):
            return None
        if re.match(rf"\s*{re.escape(key)}\s*=", line):
            return number
    return None


def _heading(stop: _Stop) -> Slip:
    match = _HEADING.match(stop.line)
    name = match[1].strip() if match else ""
    if name.casefold().startswith("line"):
        return "this heading cannot be read", f"{LINES_REMEDY}, with nothing beside it"
    return "this heading cannot be read", f"write [{name or 'ladder'}], with nothing beside it"


def _as_value(text: str) -> str:
    """A value as it is to be written: text in quotes, all else as it is."""
    bare = text.strip()
    if not bare or bare[0] in "\"'[{" or bare in ("true", "false"):
        return bare
    return bare if re.fullmatch(r"[\d.]+", bare) else f'"{bare.replace(chr(34), chr(39))}"'


def _no_equals_sign(stop: _Stop) -> Slip:
    if re.match(r"\s*X:\s*\d", stop.text):
        return "this looks like ABC", "give the file a name that ends in .abc"
    if len(notes_in(stop.line.replace(",", " "))) > 1:
        run = stop.line.strip()
        return "notes stand alone", f'write [[lines]], and in the line below it run = "{run}"'
    colon = re.match(r"\s*([\w-]+)\s*:\s*(.*)", stop.line)
    if colon:
        value = _as_value(colon[2])
        return f"a colon follows `{colon[1]}`", f"write {colon[1].casefold()} = {value}".rstrip(
            " ="
        )
    words = re.match(r"\s*(\w+(?:\s+\w+)+)\s*=", stop.line)
    if words:
        joined = "-".join(words[1].split())
        return f"`{words[1]}` is more than one word", f"join the words of a key, as in {joined}"
    return "the line has no =", "write key = value; a remark stands after a #"


def _wrong_value(stop: _Stop, numbers: Collection[str], switches: Collection[str]) -> Slip | None:
    key, value = stop.key, stop.value
    word = value.casefold()
    if not key:
        slip = None
    elif not value:
        slip = f"`{key}` has no value", "write it after the ="
    elif word in ("true", "false") or (word in _SWITCH_WORDS and key in switches):
        right = f"write {key} = true or {key} = false, in small letters"
        slip = f"{value} is not true or false", right
    elif re.search(r"[\w-]+\s*=", value.partition('"')[0]):
        slip = "two keys stand in one line", "write each on a line of its own"
    elif value[0] in "\"'":
        slip = _after_a_quote(key, value)
    elif key in numbers or (value[0].isdigit() and key in ("from", "to", "step", "tempos")):
        slip = _wrong_number(key, value)
    else:
        text = value.replace('"', "'")
        slip = f"{text} stands without quotes", f'write it as "{text}"'
    return slip


def _after_a_quote(key: str, value: str) -> Slip:
    if value.count(value[0]) > 2 and "=" not in value:
        cause = "the text goes on after its closing quote"
        if value[0] == "'":
            return cause, "put the text in double quotes, where ' is a letter like others"
        return cause, "write single quotes inside it"
    return f"something follows the value of `{key}`", "end the line there"


def _wrong_number(key: str, value: str) -> Slip:
    cause = f"{value} is not a number"
    if key == "tempo" and SEVERAL_TEMPOS.search(value):
        return cause, SEVERAL_REMEDY
    if re.fullmatch(r"\d+,\d+", value):
        return cause, f"write {key} = {value.replace(',', '.')}, with a point"
    if key == "tempos":
        return cause, "write a list of numbers, such as [50, 60, 75]"
    digits = re.match(r"0*(\d+(?:\.\d+)?)", value)
    return cause, f"write the number alone, as {key} = {digits[1] if digits else 60}"
