"""What stands over a staff beside its notes: words, jumps, segno and coda, endings, bar numbers.

Texts are placed here and set by Typst; brackets and signs are drawn. Everything over one system is
laid in rows, from the staff upward: brackets of endings, then as many rows of words as keep them
apart. Places are in the engraver's units.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from renderer.delivery.sheet.layout import UNITS_A_SPACE
from renderer.delivery.sheet.pieces import Glyph, Stroke
from renderer.delivery.sheet.systems import PlacedBar, System
from renderer.notation.score import Line, bar_numbers
from renderer.notation.signs import NO_SIGNS, Signs, ending_text

BRACKET_HEIGHT = 2.2 * UNITS_A_SPACE
"""What the brackets of endings need over the notes."""
WORDS_HEIGHT = 2.3 * UNITS_A_SPACE
"""What one row of words needs."""
MOST_ROWS = 4
"""Of words over a system, before they are cut off."""

MOST_SIGNS_SAID = 40
"""Bars of a line whose signs are told in words."""

_BRACKET_STROKE = 20.0
_HOOK = 1.7 * UNITS_A_SPACE
_BRACKET_INSET = 24.0
_BASELINE = 0.55 * UNITS_A_SPACE
"""From the foot of a row to the line that its words stand on."""
_NUMBER_LEFT = 0.45 * UNITS_A_SPACE
_BETWEEN_WORDS = 0.8 * UNITS_A_SPACE
_LETTER_EM = 0.5
"""The usual width of a letter in heights of the text; wide scripts take twice as much."""

_SEGNO, _CODA = "E047", "E048"
"""SMuFL 1.4, "Repeats"."""
_SIGN_SCALE = 0.42
_NUMBER_UP = 1.75 * UNITS_A_SPACE
"""Over the top line of the staff: a bar number stands clear of the clef."""


@dataclass(frozen=True, slots=True)
class StaffText:
    """A text in a drawing.

    Parameters
    ----------
    text:
        On one line.
    x, y:
        Its beginning (its end, if it is `ends_there`) and the line that it stands on, from the top
        line of the top staff.
    ends_there:
        Whether x is where it ends.
    small:
        Whether it is a bar number, which is set smaller.
    bold:
        Whether it tells the tempo or a beat.
    centred:
        Whether x is its middle.
    """

    text: str
    x: float
    y: float
    ends_there: bool = False
    small: bool = False
    bold: bool = False
    centred: bool = False


@dataclass(frozen=True, slots=True)
class _Words:
    """Signs and a text, as wide as they are taken to be, with the row (from 0) they are in."""

    text: str
    left: float
    right: float
    glyphs: tuple[Glyph, ...] = ()
    ends_there: bool = False
    row: int = 0
    bold: bool = False


def _letters(text: str) -> int:
    """How many letters of usual width a text is as wide as."""
    return sum(2 if unicodedata.east_asian_width(letter) in "WF" else 1 for letter in text)


def _shortened(text: str, most: int) -> str:
    if _letters(text) <= most:
        return text
    while text and _letters(text) >= most:
        text = text[: -max(1, (_letters(text) - most) // 2)]
    return text.rstrip() + "…"


def words_at_end(signs: Signs) -> str:
    """What is written over the end of a bar: where to go, where to stop, how often to play."""
    words = [f"{signs.closes} times"] if signs.closes > 2 else []
    words += ["To Coda"] * signs.to_coda + ["Fine"] * signs.fine
    if signs.jump is not None:
        words.append(signs.jump)
    return ", ".join(words)


def signs_in_words(line: Line) -> str:
    """Return a line's repeats, endings and jumps as text, for those who cannot see the drawing."""
    said: list[str] = []
    numbers = bar_numbers(line)
    for index, bar in enumerate(line.bars):
        signs, number = bar.signs, numbers[index]
        before = line.bars[index - 1].signs if index else NO_SIGNS
        parts = ["a repeat begins"] * signs.opens
        if signs.endings and signs.endings != before.endings:
            parts.append(f"ending {ending_text(signs.endings)} begins")
        parts += ["segno"] * signs.segno + ["coda"] * signs.coda
        parts += ["it is repeated from its end"] * bool(signs.closes)
        parts += list(filter(None, [words_at_end(signs)]))
        if parts:
            said.append(f"bar {number}: {', '.join(parts)}")
    if len(said) > MOST_SIGNS_SAID:
        said[MOST_SIGNS_SAID:] = ["and more signs"]
    return "; ".join(said)


class OverStaff:
    """What stands over one system.

    Parameters
    ----------
    system:
        Its bars.
    text_units:
        The height of the text in the engraver's units.

    Its `letter` is the usual width of a letter.
    """

    def __init__(self, system: System, text_units: float) -> None:
        self._system = system
        self.letter = text_units * _LETTER_EM
        self._words = tuple(self._placed())
        self.has_endings = any(bar.staves[0].signs.endings for bar in system.bars)

    @property
    def rows(self) -> int:
        """How many rows of words there are."""
        return max((words.row + 1 for words in self._words), default=0)

    def texts(self, bracket_foot: float, words_foot: float) -> Iterator[StaffText]:
        """Yield all texts; the arguments are the lower edges of the brackets and of the words."""
        for words in self._words:
            if words.text:
                y = words_foot - words.row * WORDS_HEIGHT - _BASELINE
                x = words.right if words.ends_there else words.left
                if words.glyphs:
                    x = words.glyphs[-1].box.right + _BETWEEN_WORDS / 2
                yield StaffText(words.text, x, y, words.ends_there, bold=words.bold)
        for bar in self._system.bars:
            engraved = bar.staves[0]
            if engraved.begins_ending:
                x = bar.left + _BRACKET_INSET + _NUMBER_LEFT
                y = bracket_foot - _BASELINE
                most = max(4, int(bar.width / self.letter) - 2)
                yield StaffText(_shortened(f"{ending_text(engraved.signs.endings)}.", most), x, y)
        number = self._system.shown_number
        if number:
            yield StaffText(number, self._system.indent, -_NUMBER_UP, small=True)

    def drawn(self, bracket_foot: float) -> Iterator[Stroke]:
        """Yield the brackets of endings over their lower edge."""
        top = bracket_foot - BRACKET_HEIGHT + _BRACKET_STROKE
        foot = top + _HOOK
        for bar in self._system.bars:
            engraved = bar.staves[0]
            if not engraved.signs.endings:
                continue
            left, right = bar.left, bar.left + bar.width
            if engraved.begins_ending:
                left += _BRACKET_INSET
                yield Stroke(left, top, left, foot, _BRACKET_STROKE)
            if engraved.ends_ending:
                right -= _BRACKET_INSET
                if engraved.closes_ending:
                    yield Stroke(right, top, right, foot, _BRACKET_STROKE)
            half = _BRACKET_STROKE / 2
            yield Stroke(left - half, top, right + half, top, _BRACKET_STROKE)

    def glyphs(self, words_foot: float) -> Iterator[Glyph]:
        """Yield the segnos and codas over the lower edge of the words."""
        for words in self._words:
            middle = words_foot - words.row * WORDS_HEIGHT - WORDS_HEIGHT / 2
            for glyph in words.glyphs:
                box = glyph.box
                yield Glyph(
                    glyph.code, glyph.x, middle - (box.top + box.bottom) / 2 + glyph.y, glyph.scale
                )

    def _placed(self) -> list[_Words]:
        """Return the words, each in the lowest row where it overlaps none before it.

        Where that takes too many rows, words are cut off at the end of their own bar.
        """
        width = self._system.width
        placed = self._in_rows(max(1, int(width / self.letter) - 4))
        if any(words.row >= MOST_ROWS for words in placed):
            placed = self._in_rows(None)
        return placed

    def _in_rows(self, most: int | None) -> list[_Words]:
        taken: list[float] = []
        placed = []
        for words in sorted(self._unplaced(most), key=lambda words: words.left):
            row = next((row for row, end in enumerate(taken) if end <= words.left), len(taken))
            taken[row : row + 1] = [words.right + _BETWEEN_WORDS]
            placed.append(replace(words, row=row))
        return placed

    def _unplaced(self, most: int | None) -> Iterator[_Words]:
        """Yield all words, at most so many letters each, or as many as their bar has room for."""
        for bar in self._system.bars:
            own = max(2, int((bar.width - _BETWEEN_WORDS) / self.letter) - 1)
            letters = own if most is None else most
            yield from self._at_start(bar, letters)
            text = _shortened(words_at_end(bar.staves[0].signs), letters)
            if text:
                right = bar.left + bar.width
                left = right - _letters(text) * self.letter
                yield _Words(text, left, right, ends_there=True)

    def _at_start(self, bar: PlacedBar, most: int) -> Iterator[_Words]:
        engraved = bar.staves[0]
        at = bar.left + _BRACKET_INSET
        glyphs: list[Glyph] = []
        shown = [_SEGNO] * engraved.signs.segno + [_CODA] * engraved.signs.coda
        for code in shown:
            glyph = Glyph(code, 0.0, 0.0, _SIGN_SCALE)
            glyphs.append(Glyph(code, at - glyph.box.left, 0.0, _SIGN_SCALE))
            at = glyphs[-1].box.right + _BETWEEN_WORDS / 2
        if glyphs:
            # The sign stays over its bar, and so the text has the room behind it.
            most = min(most, max(2, int((self._system.width - at) / self.letter)))
        text = _shortened(", ".join(engraved.words), most)
        if not glyphs and not text:
            return
        right = at + _letters(text) * self.letter
        left = bar.left + _BRACKET_INSET
        over = max(0.0, right - self._system.width)
        if over and not glyphs:
            left, right = max(0.0, left - over), right - over
        yield _Words(text, left, right, tuple(glyphs), bold=engraved.begins_tempo)


def rows_needed(over: Sequence[OverStaff]) -> tuple[bool, int]:
    """Return whether any of several systems has endings, and the most rows of words."""
    return any(one.has_endings for one in over), max((one.rows for one in over), default=0)
