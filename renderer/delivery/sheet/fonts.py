"""The fonts that pages are set in: the same on every machine, whatever the machine has installed.

Typst brings Libertinus Serif; the folder `typefaces` adds letters that it lacks: Noto fonts for
most scripts, Chinese, Japanese and Korean among them, symbols and emoji (in outline, so that they
photocopy). What none of them has is replaced by an empty box, and named in a remark.
"""

from __future__ import annotations

import re
import unicodedata
from functools import cache
from pathlib import Path

TEXT_FONT = "Libertinus Serif"
_FOLDER = Path(__file__).parent / "typefaces"
_FIRST = (TEXT_FONT, "Noto Sans")
_CHINESE, _JAPANESE = "Noto Sans CJK SC", "Noto Sans CJK JP"
_KANA = re.compile("[\u3041-\u30ff]")
MISSING = "□"
_INVISIBLE = {0x200B, 0x200D, 0xFE0E, 0xFE0F}
"""Break, joiner and variation selectors, which need no glyph of their own."""

_BREAK = "\u200b"
_LONG_WORD = re.compile(r"[^\s\u2e80-\U0010ffff]{40,}")
"""Words that no line may hold; scripts that are broken between any two letters left out."""


_TOGETHER = 24
"""How many letters two words have at most that are kept together (judgement)."""


def font_folders() -> tuple[Path, ...]:
    """Return the folders that hold the typefaces."""
    return (_FOLDER,)


@cache
def _fonts() -> tuple[tuple[str, frozenset[int]], ...]:
    """Return the family and the characters of each font file, in a fixed order."""
    from fontTools.ttLib import TTFont

    found = []
    files = sorted(file for folder in font_folders() for file in folder.glob("*.[ot]tf"))
    for file in files:
        with TTFont(file, lazy=True) as font:
            name = font["name"].getBestFamilyName()
            found.append((str(name), frozenset(font.getBestCmap())))
    return tuple(found)


def families(text: str = "") -> list[str]:
    """Return the families to look for a letter in, in order.

    Chinese and Japanese share characters whose forms differ: `text`, all that is to be printed, is
    taken for Japanese where it has kana, for Chinese otherwise.
    """
    first = [*_FIRST, _CHINESE, _JAPANESE]
    if _KANA.search(text):
        first = [*_FIRST, _JAPANESE, _CHINESE]
    return [*first, *sorted({family for family, _ in _fonts()} - set(first))]


def _is_plain(text: str) -> bool:
    return all(" " <= char <= "~" for char in text)


def clean(text: str) -> str:
    """Return text on one line, without what cannot be printed; in Unicode normal form C."""
    text = unicodedata.normalize("NFC", re.sub(r"\s+", " ", text)).strip()
    if _is_plain(text):
        return text
    return "".join(
        char
        for char in text
        if ord(char) in _INVISIBLE or unicodedata.category(char) not in {"Cc", "Cs", "Co", "Cn"}
    )


def missing_letters(text: str) -> list[str]:
    """Return the characters of a text that no font has, in order, each once."""
    if _is_plain(text):
        return []
    known = frozenset().union(*(letters for _, letters in _fonts()))
    missing = (
        char
        for char in text
        if ord(char) not in known
        and ord(char) not in _INVISIBLE
        and unicodedata.category(char) != "Cf"
    )
    return list(dict.fromkeys(missing))


def printable(text: str) -> str:
    """Return clean text with an empty box in place of every character that no font has.

    Overlong words may be broken anywhere.
    """
    cleaned = clean(text)
    for char in missing_letters(cleaned):
        cleaned = cleaned.replace(char, MISSING)
    return _LONG_WORD.sub(lambda word: _BREAK.join(word[0]), cleaned)


def unbroken(text: str) -> str:
    """Return printable text as it is shown where lines are not broken, as in metadata."""
    return text.replace(_BREAK, "")


def ending_together(text: str) -> str:
    """Return a text whose last two words stay on one row, so that no word has a row to itself.

    Long ones may be parted: they are as much as a row of few words.
    """
    head, space, last = text.rpartition(" ")
    together = head.rpartition(" ")[2] + space + last
    return f"{head}\N{NO-BREAK SPACE}{last}" if space and len(together) <= _TOGETHER else text
