"""Reading ABC 2.1: a fragment in a definition to bars, a file's tune to an exercise.

Highland pipe music is `K:HP` or `K:Hp`; gracenotes stand in braces. Repeats and endings are played
out. What a chanter cannot play (chords, voices) is refused; what has no meaning for it (lyrics,
chord symbols, decorations) is left out and said.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path

from renderer.errors import RungwiseError, failure
from renderer.notation.abc_fields import PIPES, Key, read_key, read_meter, read_text, usual_unit
from renderer.notation.abc_music import MusicCode
from renderer.notation.limits import LONGEST_FILE_BYTES
from renderer.notation.score import Bar, Exercise, Meter
from renderer.notation.source_file import read_bytes
from renderer.notation.written import (
    AS_WRITTEN,
    ChanterPitches,
    Reading,
    Score,
    bars_of,
    exercise_of,
    lies_on_the_chanter,
    off_the_chanter,
    played_out,
)

NINE_IN_ABC = "in ABC the chanter's nine notes are G A B c d e f g a (c and f sound sharp)"

_FIELD = re.compile(r"([A-Za-z+]):(?![|:])\s*(.*)")
_LEADING_FIELD = re.compile(r"\s*([LMK]):\s*(\S+)\s*")


def read_abc_line(text: str, meter: Meter | None) -> tuple[Bar, ...]:
    """Read the ABC of one line of an exercise, such as `{g}A2 {d}A2 | {gBd}B4`.

    Parameters
    ----------
    text:
        Music code; may begin with `L:`, `M:` or `K:` fields, and hold them inline.
    meter:
        The exercise's meter; None counts every bar by its own length. Without an `L:` field the
        unit length is ABC's usual one for this meter.

    Returns
    -------
    The bars with repeats played out, ties inside a bar joined.

    Raises
    ------
    RungwiseError
        For code that cannot be read, with the bar and the character (counted from 1), and with
        every note that is not on the chanter and every bar that does not add up to its meter.
    """
    fields = []
    rest = text
    while (match := _LEADING_FIELD.match(rest)) is not None:
        fields.append((match[1], match[2]))
        rest = rest[match.end() :]
    if any(letter == "M" for letter, _ in fields):
        meter = _header_meter(next(value for letter, value in fields if letter == "M"))
    code = MusicCode(meter, usual_unit(meter), PIPES)
    for letter, value in fields:
        code.field(letter, value, f"{letter}:")
    # Positions in messages count from the start of the text as the user wrote it.
    code.feed(" " * (len(text) - len(rest)) + re.sub(r"%[^\n]*", _blank, rest))
    measures = code.finish(strict=True)
    pitches = ChanterPitches()
    wrong = off_the_chanter(measures, pitches, keyless=False, remedy=NINE_IN_ABC)
    if wrong:
        raise RungwiseError(wrong)
    bars = bars_of(played_out(measures), pitches)
    if not bars:
        raise failure("there are no notes in it", "write some, as in '{g}A2 {d}A2'")
    return bars


def _blank(match: re.Match[str]) -> str:
    return " " * len(match[0])


def _header_meter(value: str, place: str = "M:") -> Meter | None:
    try:
        return read_meter(value)
    except ValueError as error:
        raise failure(str(error), "write it like 3/4, 6/8 or C", place=place) from None


@dataclass
class _Tune:
    """The lines of one tune with their numbers in the file, header and body apart."""

    number: str
    header: list[tuple[int, str, str]] = field(default_factory=list)
    body: list[tuple[int, str]] = field(default_factory=list)

    @property
    def title(self) -> str:
        return next((read_text(value) for _, letter, value in self.header if letter == "T"), "")


def _code_of(line: str) -> str:
    """The line without its comment (an escaped per cent sign is none)."""
    return re.split(r"(?<!\\)%", line, maxsplit=1)[0].rstrip()


def _tunes(text: str) -> Iterator[_Tune]:
    """Part a file into its tunes; what holds for all of them goes before each header."""
    common: list[tuple[int, str, str]] = []
    tune: _Tune | None = None
    in_body = False
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    for number, raw in enumerate(lines, start=1):
        if not raw.strip():
            if tune is not None and in_body:
                yield tune
                tune, in_body = None, False
            continue
        line = _code_of(raw)
        match = _FIELD.match(line)
        if match is not None and match[1] == "X":
            if tune is not None:
                yield tune
            tune, in_body = _Tune(match[2].strip(), list(common)), False
        elif tune is None and match is not None and not in_body and match[1] in "TMLQK":
            # A file of one tune may lack its number; a header before the first is for all.
            if match[1] in "TK":
                tune = _Tune("", list(common))
                tune.header.append((number, match[1], match[2]))
                in_body = match[1] == "K"
            else:
                common.append((number, match[1], match[2]))
        elif tune is not None and not in_body:
            if match is not None:
                tune.header.append((number, match[1], match[2]))
                in_body = match[1] == "K"
        elif tune is not None and line:
            tune.body.append((number, line))
    if tune is not None:
        yield tune


def _score_of(tune: _Tune, source: str) -> Score:
    header = {letter: (number, value) for number, letter, value in tune.header}
    meter: Meter | None = None
    key = Key(is_none=True)
    if "M" in header:
        meter = _header_meter(header["M"][1], f"line {header['M'][0]}")
    if "K" in header:
        try:
            key = read_key(header["K"][1])
        except ValueError as error:
            place = f"line {header['K'][0]}"
            raise failure(str(error), "pipe music is K:HP", place=place) from None
    code = MusicCode(meter, usual_unit(meter), key)
    for letter in ("L", "Q"):
        if letter in header:
            code.field(letter, header[letter][1], f"line {header[letter][0]}")
    voice: str | None = None
    heard = True
    for number, line in tune.body:
        match = _FIELD.match(line)
        inline = re.match(r"\s*\[V:\s*([^\]\s]+)[^\]]*\]", line)
        named = match[2] if match is not None and match[1] == "V" else inline and inline[1]
        if named:
            name = str(named).split()[0]
            voice = voice or name
            heard = name == voice
            if not heard:
                code.remarks[f"Only the first voice ({voice}) is read."] = None
        if not heard or (match is not None and match[1] == "V"):
            continue
        if match is not None:
            code.field(match[1], match[2], f"line {number}")
        else:
            code.feed(line.removesuffix("\\"), number)
    measures = code.finish(strict=False)
    return Score(tune.title, measures, code.keyless, source, tuple(code.remarks))


def _chosen(tunes: list[_Tune], part: str) -> _Tune:
    for tune in tunes:
        if part.strip() in (tune.number, tune.title):
            return tune
    names = [f"{tune.number or '?'} ({tune.title or 'untitled'})" for tune in tunes[:20]]
    raise failure(f"there is no tune {part!r}", f"choose one of: {', '.join(names)}")


def read_abc(path: str | Path, reading: Reading = AS_WRITTEN) -> Exercise:
    """Read a tune of an ABC file as an exercise.

    Parameters
    ----------
    path:
        A text file in UTF-8 (or Latin-1).
    reading:
        What the user asks; `part` names the tune by its `X:` number or title. Without it the first
        tune that lies on the nine notes is read.

    Raises
    ------
    RungwiseError
        For a file that cannot be read, code that is no ABC (with its line), and every note that is
        not on the chanter. Bars that do not add up are a remark here: tunes collected from all
        over have them.
    """
    path = Path(path)
    try:
        return _read_abc(path, reading)
    except RungwiseError as error:
        raise error.in_file(str(path)) from None


def _text_of(path: Path) -> str:
    data = read_bytes(path, LONGEST_FILE_BYTES, if_too_large="take single tunes out of it")
    if b"\0" in data:
        raise failure("it is no ABC text", "name an .abc file")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("latin-1")


def scores_of_file(path: Path) -> Iterator[Score | RungwiseError]:
    """Yield every tune of a file as written, or why it cannot be read."""
    for tune in _tunes(_text_of(path)):
        if not tune.body:
            continue
        try:
            yield _score_of(tune, str(path))
        except RungwiseError as error:
            yield error.in_file(str(path))


def _read_abc(path: Path, reading: Reading) -> Exercise:
    tunes = [tune for tune in _tunes(_text_of(path)) if tune.body]
    if not tunes:
        raise failure("there is no tune in it", "a tune has X:, T:, K: lines and then its notes")
    if reading.part is not None:
        return exercise_of(_score_of(_chosen(tunes, reading.part), str(path)), reading)
    first = _score_of(tunes[0], str(path))
    chosen = first
    if len(tunes) > 1 and not lies_on_the_chanter(first, reading.transpose):
        for tune in tunes[1:]:
            score = _score_of(tune, str(path))
            if lies_on_the_chanter(score, reading.transpose):
                chosen = score
                break
    exercise = exercise_of(chosen, reading)
    if len(tunes) == 1:
        return exercise
    remark = f"The file has {len(tunes)} tunes; {chosen.title or 'the first'} is read."
    return replace(exercise, remarks=(*exercise.remarks, remark))
