"""Reading ABC 2.1: a fragment in a definition to bars, a file's tune to an exercise.

Highland pipe music is `K:HP` or `K:Hp`; gracenotes stand in braces. Repeats, endings and jumps are
read as signs. What a chanter cannot play (chords, voices) is refused; what has no meaning for it
(lyrics, chord symbols, decorations) is left out and said.
"""

from __future__ import annotations

import codecs
import contextlib
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace

from renderer.errors import RungwiseError, failure, shortened
from renderer.notation.abc.information_fields import (
    FREE_METER_UNIT,
    PIPES,
    UNSAID,
    read_meter,
    read_order,
    read_text,
    usual_unit,
)
from renderer.notation.abc.music import MusicCode
from renderer.notation.chanter_pitches import ChanterPitches, lies_on_the_chanter, off_the_chanter
from renderer.notation.kept_settings import (
    ABC_DIRECTIVE,
    MOST_SETTINGS,
    abc_setting,
    with_settings,
)
from renderer.notation.limits import LONGEST_FILE_BYTES
from renderer.notation.score import Bar, Exercise, Meter
from renderer.notation.source_file import Source, Written, open_source, read_bytes
from renderer.notation.to_exercise import bars_of, exercise_of
from renderer.notation.written import AS_WRITTEN, MOST_NAMED, Reading, Score

NINE_IN_ABC = "in ABC the chanter's nine notes are G A B c d e f g a (c and f sound sharp)"

MOST_LETTERS_TRIED = 400_000
"""Of the tunes' music, in looking for one that lies on the nine notes: about a thousand tunes."""
LETTERS_OF_A_HEADER = 20
"""What a tune costs in reading beside its music, as letters of music (judgement)."""

_FIELD = re.compile(r"([H-WYh-w+](?=:)|[A-GXZa-gx-z](?=:(?![|:]))):\s*(.*)")
"""A note or rest before a repeat sign at the start of a line, such as `A:|`, is no field."""
_BLOCK = re.compile(r"%%begin([a-z]+)")
_WORD = re.compile(r"[h-wH-W]{2}|[h-wH-W][A-Ga-g]+[h-wH-W]|[.;?](?:\s|$)")
_VOICE = re.compile(r"\[V:\s*([^\]\s]+)[^\]]*\]")
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
    The bars as written, repeats as signs, ties inside a bar joined.

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
        meter = _meter_of(next(value for letter, value in fields if letter == "M"))
    code = MusicCode(meter, usual_unit(meter), PIPES, has_headings=False)
    for letter, value in fields:
        code.field(letter, value, f"{letter}:")
    # Positions in messages count from the start of the text as the user wrote it.
    code.feed(" " * (len(text) - len(rest)) + re.sub(r"(?<!\\)%[^\n]*", _blank, rest))
    measures = code.finish(strict=True)
    pitches = ChanterPitches()
    wrong = off_the_chanter(measures, pitches, keyless=False, remedy=NINE_IN_ABC)
    if wrong:
        raise RungwiseError(wrong)
    bars = bars_of(measures, pitches)
    if not bars:
        raise failure("there are no notes in it", "write some, as in '{g}A2 {d}A2'")
    return bars


def _blank(match: re.Match[str]) -> str:
    return " " * len(match[0])


def _meter_of(value: str) -> Meter | None:
    try:
        return read_meter(value)
    except ValueError as error:
        raise failure(str(error), "write it like 3/4, 6/8 or C", place="M:") from None


_NOT_HELD = {
    "A": "area",
    "B": "book",
    "D": "discography",
    "F": "file",
    "G": "group",
    "H": "history",
    "S": "source",
    "Z": "transcription",
}
"""Fields that tell of a tune and change nothing in it (ABC 2.1, section 3.1, its table)."""


@dataclass(slots=True)
class _Tune:
    """The lines of one tune with their numbers in the file, header and body apart.

    `common` is what the file says for all its tunes, by the field's letter, and `definitions` are
    its macros and symbols; `first` is the line that it begins with; `music_in_header` is the line
    where music begins although no `K:` has ended the header, 0 for none; `cut_off` are the lines of
    music after the empty line that ends the tune.
    """

    number: str
    common: dict[str, tuple[int, str]]
    header: list[tuple[int, str, str]] = field(default_factory=list)
    body: list[tuple[int, str]] = field(default_factory=list)
    music_in_header: int = 0
    cut_off: list[int] = field(default_factory=list)
    definitions: list[tuple[int, str, str]] = field(default_factory=list)
    settings: list[tuple[str, str]] = field(default_factory=list)
    first: int = 0

    def take(self, number: int, line: str, match: re.Match[str] | None, *, in_body: bool) -> bool:
        """Add a line (a field, if it matches one); return whether the tune's body goes on."""
        if line.startswith(ABC_DIRECTIVE):
            setting = abc_setting(line)
            if setting is not None and not in_body and len(self.settings) < MOST_SETTINGS:
                self.settings.append(setting)
        elif in_body:
            self.body.append((number, line))
        elif match is not None:
            self.header.append((number, match[1], match[2]))
            return match[1] == "K"
        elif not self.music_in_header and _looks_like_music(line):
            self.music_in_header = number
        return in_body

    @property
    def title(self) -> str:
        return next((read_text(value) for _, letter, value in self.header if letter == "T"), "")

    def left_out(self) -> list[str]:
        """What the header says about the tune and no exercise holds, in words."""
        said = [letter for _, letter, value in self.header if value.strip()]
        words = [word for letter, word in _NOT_HELD.items() if letter in said]
        return [*words, *(["further titles"] if said.count("T") > 1 else [])]

    def text_of(self, letter: str) -> str:
        """What all fields of a letter say, one to a line of text."""
        values = (read_text(value) for _, name, value in self.header if name == letter)
        return "\n".join(value for value in values if value)


def _code_of(line: str) -> str:
    """The line without its comment (an escaped per cent sign is none)."""
    return re.split(r"(?<!\\)%", line, maxsplit=1)[0].rstrip()


def _looks_like_music(line: str) -> bool:
    """Whether a line that is no field has bar lines and notes, and no words."""
    bare = re.sub(r'"[^"]*"|![^!\s]*!|\[[A-Za-z]:[^\]]*\]', "", line)
    return "|" in bare and re.search(r"[A-Ga-g]", bare) is not None and not _WORD.search(bare)


def _raw_lines(text: str) -> list[str]:
    return text.replace("\r\n", "\n").replace("\r", "\n").split("\n")


def _lines_of(text: str) -> Iterator[tuple[int, str]]:
    """The lines of a file with their numbers, without comments and blocks of text to be set."""
    block = ""
    for number, raw in enumerate(_raw_lines(text), start=1):
        directive = raw.rstrip().casefold()
        if block:
            block = "" if directive == f"%%end{block}" else block
            continue
        begun = _BLOCK.match(directive)
        if begun is not None:
            block = begun[1]
        elif not raw.strip():
            yield number, ""
        elif raw.startswith(ABC_DIRECTIVE):
            yield number, raw.rstrip()
        elif line := _code_of(raw):
            yield number, line


def _tunes(text: str) -> list[_Tune]:
    """Part a file into its tunes; what holds for all of them goes before each header."""
    tunes: list[_Tune] = []
    common: dict[str, tuple[int, str]] = {}
    definitions: list[tuple[int, str, str]] = []
    tune: _Tune | None = None
    in_body = False
    for number, line in _lines_of(text):
        match = _FIELD.match(line)
        if not line:
            if tune is not None and in_body:
                tune, in_body = None, False
        elif match is not None and match[1] == "X":
            tune, in_body = _Tune(match[2].strip(), common, definitions=definitions), False
            tune.first = number
            tunes.append(tune)
        elif tune is not None:
            in_body = tune.take(number, line, match, in_body=in_body)
        elif match is not None and match[1] in "TK":
            # A tune may lack its number.
            tune, in_body = _Tune("", common, definitions=definitions), match[1] == "K"
            tune.header.append((number, match[1], match[2]))
            tune.first = number
            tunes.append(tune)
        elif match is not None and match[1] in "MLQ" and not tunes:
            common[match[1]] = (number, match[2])
        elif match is not None and match[1] in "mU" and not tunes:
            definitions.append((number, match[1], match[2]))
        elif tunes and match is None and _looks_like_music(line):
            tunes[-1].cut_off.append(number)
    return tunes


def _score_of(tune: _Tune, source: str) -> Score:
    if not tune.body:
        raise failure(
            "the music begins although no K: line has ended the tune's header",
            "write one before it, such as K:HP",
            place=f"line {tune.music_in_header}",
        )
    header = tune.common | {letter: (number, value) for number, letter, value in tune.header}
    parts = _order_of(header.get("P"))
    code = MusicCode(
        None,
        FREE_METER_UNIT,
        UNSAID,
        has_order=bool(parts),
        is_lenient=True,
        # Files of ours have brackets, and a heading may be a number.
        has_endings_in_words=not tune.settings,
    )
    for letter in ("M", "K", "L", "Q"):
        if letter in header:
            number, value = header[letter]
            code.field(letter, value, f"line {number}")
        if letter == "M":
            code.unit = usual_unit(code.meter)
    for number, letter, value in (*tune.definitions, *tune.header):
        if letter in ("m", "U"):
            code.field(letter, value, f"line {number}")
    begins_row = True
    for number, match, line in _of_first_voice(tune, code):
        if match is not None:
            code.field(match[1], match[2], f"line {number}")
        else:
            code.feed(line.removesuffix("\\"), number, begins_row=begins_row)
            begins_row = not line.endswith("\\")
    measures = code.finish(strict=False)
    order = code.order(parts)
    if tune.cut_off:
        first, last = tune.cut_off[0], tune.cut_off[-1]
        where = f"Line {first} is" if first == last else f"Lines {first} to {last} are"
        code.remarks[f"{where} not read: the empty line before ends the tune."] = None
    if left_out := tune.left_out():
        code.remarks[f"Of the header is left out: {', '.join(left_out)}."] = None
    return Score(
        tune.title,
        measures,
        code.keyless,
        source,
        tuple(code.remarks),
        order,
        composer=tune.text_of("C"),
        tune_type=tune.text_of("R"),
        origin=tune.text_of("O"),
        notes=tune.text_of("N"),
        settings=tuple(tune.settings),
    )


def _of_first_voice(
    tune: _Tune, code: MusicCode
) -> Iterator[tuple[int, re.Match[str] | None, str]]:
    """Yield the body's fields, and its music with what other voices play made blank."""
    voice = ""
    heard, woven = True, False

    def begin(name: str) -> bool:
        nonlocal voice
        voice = voice or name
        if name != voice:
            code.remarks[f"Only the first voice ({shortened(voice)}) is read."] = None
        return name == voice

    for number, line in tune.body:
        match = _FIELD.match(line)
        if match is not None and match[1] == "V":
            heard = begin((match[2].split() or [""])[0])
        elif match is not None:
            # Where voices change from line to line, a part begins in all of them.
            if heard or (woven and match[1] == "P"):
                yield number, match, line
        elif (marks := list(_VOICE.finditer(line))) or heard:
            woven |= bool(marks)
            pieces, at = [], 0
            for mark in marks:
                pieces.append(_shown(line[at : mark.start()], heard))
                pieces.append(_shown(mark[0], shown=False))
                heard, at = begin(mark[1]), mark.end()
            pieces.append(_shown(line[at:], heard))
            yield number, None, "".join(pieces)


def _shown(code: str, shown: bool) -> str:
    return code if shown else " " * len(code)


def _order_of(field: tuple[int, str] | None) -> tuple[str, ...]:
    """The parts in the order that a tune's `P:` names them in; a mere heading names none."""
    if field is None:
        return ()
    try:
        return read_order(field[1])
    except ValueError:
        return ()


def _chosen(tunes: list[_Tune], part: str) -> _Tune:
    for tune in tunes:
        if part.strip() in (tune.number, tune.title):
            return tune
    names = [
        f"{shortened(tune.number) or '?'} ({shortened(tune.title) or 'untitled'})"
        for tune in tunes[:MOST_NAMED]
    ]
    raise failure(f"there is no tune {shortened(part)!r}", f"choose one of: {', '.join(names)}")


def read_abc(written: Written, reading: Reading = AS_WRITTEN) -> Exercise:
    """Read a tune of an ABC file as an exercise.

    Parameters
    ----------
    written:
        A file's path, or a source in hand: text in UTF-8 (or Latin-1, or UTF-16 with its mark).
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
    source = open_source(written)
    try:
        return _read_abc(source, reading)
    except RungwiseError as error:
        raise error.in_file(source.name) from None


def _text_of(source: Source) -> str:
    data = read_bytes(source, LONGEST_FILE_BYTES, if_too_large="take single tunes out of it")
    for mark, form in ((codecs.BOM_UTF16_LE, "utf-16-le"), (codecs.BOM_UTF16_BE, "utf-16-be")):
        if data.startswith(mark):
            return data[2:].decode(form, errors="replace")
    if b"\0" in data:
        raise failure("it is no ABC text", "name an .abc file")
    # Latin-1 as the standard has it, but for the quotes and dashes that Windows puts into it.
    for form in ("utf-8-sig", "cp1252"):
        with contextlib.suppress(UnicodeDecodeError):
            return data.decode(form)
    return data.decode("latin-1")


def scores_of_file(written: Written) -> Iterator[Score | RungwiseError]:
    """Yield every tune of a file as written, or why it cannot be read."""
    source = open_source(written)
    for tune in _tunes(_text_of(source)):
        if not tune.body:
            continue
        try:
            yield _score_of(tune, source.name)
        except RungwiseError as error:
            yield error.in_file(source.name)


MOST_TUNES = 500
"""Of a file that are taken apart: what is made of each is a sheet or a folder full of tracks."""


def tunes_apart(source: Source) -> tuple[Source, ...]:
    """Return each tune of an ABC file as a source of its own, with what is said for all of them.

    Their lines keep the numbers that they have in the file, so that messages name those.

    Raises
    ------
    RungwiseError
        For a file that is no text or has more than `MOST_TUNES` tunes.
    """
    text = _text_of(source)
    tunes = [tune for tune in _tunes(text) if tune.body]
    if len(tunes) > MOST_TUNES:
        raise failure(
            f"the file has {len(tunes)} tunes",
            f"name one with --tune, or divide the file; at most {MOST_TUNES} are taken at a time",
            file=source.name,
        )
    if len(tunes) < 2:
        return (source,)
    lines = _raw_lines(text)
    return tuple(replace(source, data=_alone(tune, lines)) for tune in tunes)


def _alone(tune: _Tune, lines: Sequence[str]) -> bytes:
    """The lines of a tune and those before it that hold for all, at the places that they have."""
    shared = {number for number, _ in tune.common.values()}
    shared |= {number for number, _, _ in tune.definitions}
    last = max([tune.body[-1][0], *tune.cut_off])
    kept = (
        line if number in shared or number >= tune.first else ""
        for number, line in enumerate(lines[:last], start=1)
    )
    return "\n".join(kept).encode()


def _first_that_fits(tunes: list[_Tune], source: str, reading: Reading) -> Score | None:
    letters = 0
    for tried, tune in enumerate(tunes):
        if letters > MOST_LETTERS_TRIED:
            raise failure(
                f"none of the first {tried} of its {len(tunes)} tunes lies on the nine notes",
                "choose the tune with --tune, by its X: number or title",
            )
        letters += LETTERS_OF_A_HEADER + sum(len(line) for _, line in tune.body)
        try:
            score = _score_of(tune, source)
        except RungwiseError:
            continue
        if lies_on_the_chanter(score, reading):
            return score
    return None


def _exercise_of(score: Score, reading: Reading) -> Exercise:
    return with_settings(exercise_of(score, reading), dict(score.settings))


def _read_abc(source: Source, reading: Reading) -> Exercise:
    tunes = [tune for tune in _tunes(_text_of(source)) if tune.body or tune.music_in_header]
    if not tunes:
        raise failure("there is no tune in it", "a tune has X:, T:, K: lines and then its notes")
    if reading.part is not None:
        return _exercise_of(_score_of(_chosen(tunes, reading.part), source.name), reading)
    if len(tunes) == 1:
        return _exercise_of(_score_of(tunes[0], source.name), reading)
    chosen = _first_that_fits(tunes, source.name, reading) or _score_of(tunes[0], source.name)
    exercise = _exercise_of(chosen, reading)
    remark = f"The file has {len(tunes)} tunes; {shortened(chosen.title) or 'the first'} is read."
    return replace(exercise, remarks=(*exercise.remarks, remark))
