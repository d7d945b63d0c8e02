"""Builds the typefaces that ship: Noto fonts cut down to what people write, from those of Debian.

    python -m renderer.delivery.sheet.subset_fonts FOLDER

FOLDER is where Debian's packages `fonts-noto-core` and `fonts-noto-cjk` lie unpacked
(`apt-get download`, `dpkg -x`), beside Google's `NotoEmoji[wght].ttf`. Files of the same versions
give the same bytes. Only whoever changes the typefaces needs this.

Character sets are the national standards, as Python's own codecs hold them.
"""

from __future__ import annotations

import sys
from collections.abc import Iterable
from pathlib import Path
from typing import Any

SCRIPTS = (
    "", "Arabic", "Armenian", "Bengali", "Devanagari", "Ethiopic", "Georgian", "Gujarati",
    "Gurmukhi", "Hebrew", "Kannada", "Khmer", "Lao", "Malayalam", "Myanmar", "Oriya", "Sinhala",
    "Symbols", "Tamil", "Telugu", "Thai",
)  # fmt: skip
"""The fonts of `fonts-noto-core` that are taken whole; the first has Latin, Greek and Cyrillic."""

CJK_FILE = "NotoSansCJK-Regular.ttc"
EMOJI_FILE = "NotoEmoji[[]wght].ttf"
SIGNS = range(0x2000, 0x2C00)
"""What is kept of Noto Sans Symbols 2: arrows, shapes and dingbats."""
_TRAIL = range(0xA1, 0xFF)


def _two_byte(encoding: str, first: Iterable[int], second: Iterable[int]) -> set[int]:
    """Return the ideographs, kana and signs that a standard's two-byte codes stand for."""
    second = tuple(second)
    found: set[int] = set()
    for high in first:
        for low in second:
            try:
                found.update(map(ord, bytes((high, low)).decode(encoding)))
            except UnicodeDecodeError:
                continue
    return {
        code
        for code in found
        if 0x2E80 <= code < 0x3100 or 0x3400 <= code < 0xA000 or 0xFF00 <= code < 0xFFF0
    }


def letters_of_east_asia() -> dict[str, set[int]]:
    """Return the characters to keep for each face of the CJK font.

    Japanese: JIS X 0208. Chinese: GB 2312 and the common characters of Big5 (its level 1). Korean:
    every syllable of Hangul (Unicode, Hangul Syllables) and the letters that they are made of.
    """
    big5_trail = (*range(0x40, 0x7F), *_TRAIL)
    return {
        "Noto Sans CJK JP": _two_byte("euc_jp", _TRAIL, _TRAIL),
        "Noto Sans CJK SC": _two_byte("gb2312", _TRAIL, _TRAIL)
        | _two_byte("big5", range(0xA1, 0xC7), big5_trail),
        "Noto Sans CJK KR": {
            *range(0x1100, 0x1200),
            *range(0x3130, 0x3190),
            *range(0xAC00, 0xD7A4),
        },
    }


def _cut(font: Any, codes: Iterable[int], target: Path, features: list[str]) -> None:
    from fontTools.subset import Options, Subsetter

    options = Options()
    options.layout_features = features
    options.hinting = False
    options.notdef_outline = True
    options.name_IDs = ["*"]
    # Pages are set in rows, and a file built again is the same file.
    options.drop_tables += ["BASE", "VORG", "vhea", "vmtx"]
    options.recalc_timestamp = False
    font.recalcTimestamp = False
    subsetter = Subsetter(options)
    subsetter.populate(unicodes=codes)
    subsetter.subset(font)
    font.save(target)
    print(f"{target.name}: {target.stat().st_size / 1e6:.2f} MB")


def build(source: Path, target: Path) -> None:
    """Write the typefaces into `target`, from the Noto fonts anywhere below `source`."""
    from fontTools.ttLib import TTCollection, TTFont
    from fontTools.varLib.instancer import instantiateVariableFont

    for script in SCRIPTS:
        (path,) = source.rglob(f"NotoSans{script}-Regular.ttf")
        font = TTFont(path)
        _cut(font, font.getBestCmap(), target / path.name, ["*"])
    (path,) = source.rglob("NotoSansSymbols2-Regular.ttf")
    _cut(TTFont(path), SIGNS, target / path.name, ["*"])
    (path,) = source.rglob(EMOJI_FILE)
    # Its outlines photocopy, unlike pictures in colour; one weight of its axis is enough.
    font = instantiateVariableFont(TTFont(path), {"wght": 400})
    _cut(font, font.getBestCmap(), target / "NotoEmoji-Regular.ttf", ["*"])
    (path,) = source.rglob(CJK_FILE)
    wanted = letters_of_east_asia()
    for number in range(len(TTCollection(path, lazy=True).fonts)):
        font = TTFont(path, fontNumber=number)
        family = str(font["name"].getBestFamilyName())
        if family in wanted:
            name = f"{family.replace(' ', '')}-Regular.otf"
            _cut(font, wanted[family], target / name, ["ccmp", "locl"])


if __name__ == "__main__":
    build(Path(sys.argv[1]), Path(__file__).parent / "typefaces")
