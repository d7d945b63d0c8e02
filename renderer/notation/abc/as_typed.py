"""ABC as people type it: signs parted by spaces, endings in words, macros; made what is meant.

Macros and symbols are those of the ABC music standard 2.1, section 9 and 4.16; all else here is
beyond it, for it is met with. Texts in, texts out.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from renderer.errors import shortened
from renderer.notation.signs import MOST_PASSES

LONGEST_TARGET = 31
LONGEST_REPLACEMENT = 200
"""Of a macro: ABC 2.1, section 9."""
MOST_MACROS = 100
LONGEST_EXPANDED, MOST_EXPANDED = 100_000, 1_000_000
"""Letters of a line of music, and of a tune, with macros written out."""

_PARTED = re.compile(
    r"(?<![|:])(?P<closes>:[ \t]+)(?=\|)|(?<=\|)(?P<opens>[ \t]+:)(?![|:]|[ \t]+\|)"
)


def with_whole_bar_lines(code: str) -> str:
    """Return music code in which `| :` is `|:` and `: |` is `:|`; places in it stay as they are."""

    def whole(match: re.Match[str]) -> str:
        # The spaces go to the outer side.
        text = match["closes"]
        return text[1:] + ":" if text else f":{match['opens'][:-1]}"

    return _PARTED.sub(whole, code)


_ORDINALS = {"first": 1, "second": 2, "third": 3, "fourth": 4}
_ENDING = re.compile(
    r"\W*(?:(?P<number>\d{1,2})\s*(?:st|nd|rd|th|\.)?|(?P<word>first|second|third|fourth))"
    r"(?P<time>\s*(?:time|ending|volta)s?)?\W*",
    re.IGNORECASE,
)


def is_bare_number(text: str) -> bool:
    """Whether words over a bar are a number with nothing but signs around it, such as `1.`."""
    return re.fullmatch(r"\W*\d+\W*", text) is not None


def ending_in_words(text: str, *, is_bracketed: bool = False) -> str:
    """Return the number of the ending that words over a bar begin, such as `1st time`; else empty.

    A number alone, which over a note is a fiddler's finger, is one only in an ending's bracket.
    """
    match = _ENDING.fullmatch(text)
    if match is None or (match["word"] and not match["time"]):
        return ""
    number = int(match["number"] or _ORDINALS[match["word"].casefold()])
    is_alone = text.strip().isdecimal()
    if not 1 <= number <= MOST_PASSES or (is_alone and not is_bracketed):
        return ""
    return str(number)


@dataclass(frozen=True, slots=True)
class Macro:
    """A text that stands for another; where it has an `n`, for any note and its neighbours."""

    target: re.Pattern[str]
    replacement: str
    is_transposing: bool


_NOTE = r"[A-Ga-g][,']*"


def read_macro(value: str) -> Macro:
    """Read an `m:` field. Raises `ValueError` for what is none."""
    target, sign, replacement = value.partition("=")
    target, replacement = target.strip(), replacement.strip()
    if not sign or not target or not replacement:
        raise ValueError(f"{shortened(value.strip())!r} is no macro")
    if len(target) > LONGEST_TARGET or len(replacement) > LONGEST_REPLACEMENT:
        raise ValueError(f"the macro {shortened(target)!r} is longer than the standard allows")
    is_transposing = "n" in target
    before, _, after = target.partition("n")
    pattern = re.escape(target)
    if is_transposing:
        pattern = f"{re.escape(before)}(?P<note>{_NOTE}){re.escape(after)}"
    return Macro(re.compile(pattern), replacement, is_transposing)


def expanded(code: str, macros: Sequence[Macro]) -> str:
    """Return music code with its macros written out, each once, the longest target first.

    Raises `ValueError` for a line that grows beyond `LONGEST_EXPANDED`.
    """
    pieces = re.split(r'("[^"]*")', code)
    for macro in macros:
        for at in range(0, len(pieces), 2):
            pieces[at] = _with(macro, pieces[at])
        if sum(map(len, pieces)) > LONGEST_EXPANDED:
            raise ValueError("the macros make this line too long")
    return "".join(pieces)


def _with(macro: Macro, code: str) -> str:
    def written(match: re.Match[str]) -> str:
        text = macro.replacement
        return _moved(text, match["note"]) if macro.is_transposing else text

    return macro.target.sub(written, code)


_STEPS = "CDEFGAB"


def _moved(replacement: str, note: str) -> str:
    """A transposing macro's text: `n` is the note, `h` to `m` lie below it, `o` to `z` above."""
    step = _STEPS.index(note[0].upper()) + 7 * note[0].islower()
    step += 7 * (note.count("'") - note.count(","))
    return re.sub(
        r"(\"[^\"]*\")|([h-z])",
        lambda found: found[1] or _letter(step + ord(found[2]) - ord("n")),
        replacement,
    )


def _letter(step: int) -> str:
    octave, at = divmod(step, 7)
    if octave >= 1:
        return _STEPS[at].lower() + "'" * (octave - 1)
    return _STEPS[at] + "," * -octave


def read_symbol(value: str) -> tuple[str, str]:
    """Read a `U:` field: the letter, and the name of the decoration that it stands for.

    Raises `ValueError` for what is none.
    """
    match = re.fullmatch(r"\s*([H-Wh-w~])\s*=\s*[!+]?([^!+]*)[!+]?\s*", value)
    if match is None:
        raise ValueError(f"{shortened(value.strip())!r} is no symbol")
    return match[1], match[2].strip()
