"""The values of ABC's information fields: meter, unit length, key, tempo and text.

Lengths are shares of a whole note, tempos quarter notes per minute, keys the semitones by which
each letter is raised. Source: the ABC music standard 2.1, sections 3 (information fields), 8.2
(text strings) and its table of keys and modes.
"""

from __future__ import annotations

import html
import re
import unicodedata
from dataclasses import dataclass, field
from fractions import Fraction

from renderer.errors import shortened
from renderer.notation.limits import FINEST_UNIT, LARGEST_COUNT, MOST_BARS
from renderer.notation.score import Meter
from renderer.notation.tempo import number_of_digits

_MOST_METERS = 8
"""That take turns."""
FREE_METER_UNIT = Fraction(1, 8)

_SHARPS = "FCGDAEB"
_MAJOR_FIFTHS = {"F": -1, "C": 0, "G": 1, "D": 2, "A": 3, "E": 4, "B": 5}
_MODE_FIFTHS = {
    "": 0, "maj": 0, "ion": 0, "lyd": 1, "mix": -1, "dor": -2, "m": -3, "min": -3, "aeo": -3,
    "phr": -4, "loc": -5,
}  # fmt: skip
_CLEF = re.compile(
    r"\b[a-z]{3,}=(?:\"[^\"]*\"|\S+)|\b(?:treble|alto|tenor|bass|perc)[1-5]?(?:[+-]8)?(?!\S)"
)
"""What a `K:` field says of the staff, by name (`clef=treble`) or by the clef alone."""
ALTERS = {"^^": 2, "^": 1, "=": 0, "_": -1, "__": -2}
"""Semitones by which an accidental raises a note."""
_COMBINING = {
    "`": "\u0300", "'": "\u0301", "^": "\u0302", "~": "\u0303", '"': "\u0308", "c": "\u0327",
    "o": "\u030a", "v": "\u030c", "u": "\u0306", "=": "\u0304", "H": "\u030b", ";": "\u0328",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Key:
    """A key: semitones by which letters are raised, and whether it says anything at all."""

    alters: dict[str, int] = field(default_factory=dict)
    is_none: bool = False


PIPES = Key({"F": 1, "C": 1})
"""`K:HP` and `K:Hp`: no signature is printed, and C and F sound sharp."""

UNSAID = Key(is_none=True)
"""Where a tune says nothing of its key."""


def read_meter(text: str) -> Meter | None:
    """Read an `M:` field; None for free meter. Raises `ValueError` for anything else."""
    value = text.strip()
    if value in ("none", ""):
        return None
    if value in ("C", "c"):
        return Meter(4, 4)
    if value in ("C|", "c|"):
        return Meter(2, 2)
    match = re.fullmatch(r"\(?\s*(\d{1,3}(?:\s*\+\s*\d{1,2})*)\s*\)?\s*/\s*(\d{1,2})", value)
    if match is None:
        raise ValueError(f"{shortened(value)!r} is no meter")
    count = sum(int(part) for part in match[1].split("+"))
    unit = int(match[2])
    if not 1 <= count <= LARGEST_COUNT or unit not in (1, 2, 4, 8, 16, 32, FINEST_UNIT):
        raise ValueError(f"a meter of {shortened(value)} is out of range")
    return Meter(count, unit)


def read_meters(text: str) -> tuple[Meter | None, ...]:
    """Read an `M:` field that may name several meters that take turns, as `6/8 9/8`.

    Beyond the standard, for it is met with. Raises `ValueError` as `read_meter` does.
    """
    parts = re.split(r"\s*,\s*|\s+(?=[Cc\d(])", re.sub(r"\s*([/+])\s*", r"\1", text.strip()))
    return tuple(read_meter(part) for part in parts[:_MOST_METERS])


def usual_unit(meter: Meter | None) -> Fraction:
    """The unit length that holds without an `L:` field: 1/16 below a meter of 3/4, else 1/8."""
    if meter is None:
        return FREE_METER_UNIT
    return Fraction(1, 16) if meter.length < Fraction(3, 4) else Fraction(1, 8)


def read_unit(text: str) -> Fraction:
    """Read an `L:` field. Raises `ValueError` for what is no length."""
    match = re.fullmatch(r"\s*1\s*(?:/\s*(\d{1,3}))?\s*", text)
    unit = int(match[1] or 1) if match else 0
    if unit not in (1, 2, 4, 8, 16, 32, 64, 128, 256, 512):
        raise ValueError(f"{shortened(text.strip())!r} is no unit length")
    return Fraction(1, unit)


def read_key(text: str) -> Key:
    """Read a `K:` field. Raises `ValueError` for a key that the standard lacks."""
    value = " ".join(_CLEF.sub("", text).split())
    if re.match(r"hp\b", value, re.IGNORECASE):
        return Key(PIPES.alters | _explicit(value[2:]))
    match = re.match(r"([A-G])([#b]?)\s*([A-Za-z]*)", value)
    if match is None or value.casefold().startswith(("none", "clef")):
        if not value or value.casefold().startswith("none"):
            return Key(is_none=True)
        raise ValueError(f"{shortened(value)!r} is no key")
    tonic, sign, mode = match.groups()
    name = mode if mode == "m" else mode.casefold()[:3]
    fifths = _MAJOR_FIFTHS[tonic] + 7 * ((sign == "#") - (sign == "b"))
    fifths = 0 if name == "exp" else fifths + _MODE_FIFTHS.get(name, 0)
    if abs(fifths) > 7:
        raise ValueError(f"{shortened(value)!r} is no key")
    letters = _SHARPS[:fifths] if fifths >= 0 else _SHARPS[fifths:]
    alters = dict.fromkeys(letters, 1 if fifths > 0 else -1)
    alters |= _explicit(value[match.end() :])
    return Key(alters, is_none=not any(alters.values()))


def _explicit(text: str) -> dict[str, int]:
    """The accidentals that a key names one by one."""
    found = re.findall(r"(\^\^?|__?|=)\s*([A-Ga-g])", text)
    return {letter.upper(): ALTERS[accidental] for accidental, letter in found}


_BEAT = r"\d{1,3}/\d{1,3}"
_ABOUT = r"(?:(?:c(?:a|irca)?\b\.?|about|approx\.?|[~=\u2248])\s*)*+"
_PER_MINUTE = r"\d{1,5}(?:\.\d{1,18}|/\d{1,5})?"
_UNIT_OF_TIME = r"(?:\s*(?P<beats>bpm|beats?\b.{0,20}|b\.?\s?p\.?\s?m\.?))?"
_TEMPO = re.compile(
    rf"(?:(?P<beat>{_BEAT}(?:\s+{_BEAT}){{0,9}})\s*=\s*|C(?P<units>\d?)\s*=\s*)?"
    rf"{_ABOUT}(?P<from>{_PER_MINUTE})(?P<range>\s*(?:-|\.\.)\s*{_PER_MINUTE})?{_UNIT_OF_TIME}",
    re.IGNORECASE,
)


@dataclass(frozen=True, slots=True)
class Tempo:
    """A tempo mark.

    Parameters
    ----------
    quarters:
        Quarter notes per minute.
    is_range:
        Whether it is the lower end of a range.
    counts_units:
        Whether it names no note value and so counts unit lengths, as the standard has it.
    """

    quarters: Fraction
    is_range: bool = False
    counts_units: bool = False


def read_tempo(text: str, unit: Fraction, beat: Fraction) -> Tempo | None:
    """Read a `Q:` field; None where it has words only.

    Read beyond the standard, for they are met with: a range, of which the lower end holds, a `c.`
    or `~` before the number, `bpm` after it, which counts the meter's beats, and `C=100` or
    `C3=100` of older versions, which count unit lengths.

    Parameters
    ----------
    text:
        What stands behind `Q:`.
    unit, beat:
        The unit length, and the beat of the meter, as shares of a whole note.

    Raises `ValueError` for anything else.
    """
    value = " ".join(re.sub(r'"[^"]*"', " ", text).split())
    if not value:
        return None
    match = _TEMPO.fullmatch(value)
    if match is None:
        raise ValueError(f"{shortened(value)!r} is no tempo")
    try:
        number = number_of_digits(match["from"])
        counted = sum(map(Fraction, (match["beat"] or "").split()), Fraction(0))
        counts_units = not counted and not match["beats"]
        if not counted:
            counted = unit * int(match["units"] or 1) if counts_units else beat
    except ZeroDivisionError:
        raise ValueError(f"{shortened(value)!r} is no tempo") from None
    if not number * counted:
        return None
    return Tempo(number * counted * 4, match["range"] is not None, counts_units)


_ORDER_TOKEN = re.compile(r"\.*(?:(?P<part>[A-Z])|(?P<open>\()|(?P<close>\)))(?P<times>\d*)\.*")


def read_order(text: str) -> tuple[str, ...]:
    """Read the `P:` field of a tune's header, such as `A2.(BC)2`, as the parts in playing order.

    Raises `ValueError` for what is no such order and for one of more than `MOST_BARS` parts.
    """
    value = "".join(text.split())
    stack: list[list[str]] = [[]]
    at = 0
    while at < len(value):
        match = _ORDER_TOKEN.match(value, at)
        times = match["times"][:6] if match is not None else ""
        if match is None or (match["open"] and times) or (match["close"] and len(stack) == 1):
            raise ValueError(f"{shortened(value)!r} is no order of parts")
        at = match.end()
        if match["open"]:
            stack.append([])
            continue
        again = stack.pop() if match["close"] else [match["part"]]
        if (len(again) * int(times or 1)) + len(stack[-1]) > MOST_BARS:
            raise ValueError(f"the order of parts names more than {MOST_BARS}")
        stack[-1] += again * int(times or 1)
    if len(stack) > 1:
        raise ValueError(f"{shortened(value)!r} is no order of parts")
    return tuple(stack[0])


def read_text(text: str) -> str:
    """Read a text string: entities, `\\u` escapes and accent mnemonics become characters."""

    def escaped(match: re.Match[str]) -> str:
        if match["code"]:
            code = int(match["code"], 16)
            return "" if 0xD800 <= code < 0xE000 else chr(code)
        if match["accent"]:
            return unicodedata.normalize("NFC", match["letter"] + _COMBINING[match["accent"]])
        return match["plain"]

    accents = "".join(re.escape(mark) for mark in _COMBINING)
    pattern = rf"\\(?:u(?P<code>[0-9a-fA-F]{{4}})|(?P<accent>[{accents}])(?P<letter>[A-Za-z])"
    # An entity's ampersand must not be made by an escape, hence entities first.
    return re.sub(rf"{pattern}|(?P<plain>[\\%&]))", escaped, html.unescape(text)).strip()
