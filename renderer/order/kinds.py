"""Kinds of settings: what a user gives to the value it means, and the value back to plain data.

A `Kind` reads the text of an option, what a Python caller passes or what stands in JSON, all alike,
and refuses anything else in a player's words. What it writes for JSON it reads back to the same
value.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import asdict, dataclass, replace
from datetime import date, datetime, time
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Any

from renderer.errors import Problem, RungwiseError, WrongValueError, failure
from renderer.notation.ladder import parse_ladder
from renderer.notation.length import Length, parse_length
from renderer.notation.limits import (
    FASTEST_TEMPO,
    MOST_LINES,
    MOST_RUNGS,
    MOST_STAGES,
    SLOWEST_TEMPO,
)
from renderer.notation.parts import Span
from renderer.notation.playing import BEAT_REMEDY, Beat, Inner, read_beat
from renderer.notation.score import Ladder
from renderer.notation.tempo import TEMPO_REMEDY, exact_tempo
from renderer.order.formats import AudioFormat, format_named
from renderer.order.names import safe_stem
from renderer.sound.mix_settings import Levels, parse_levels
from renderer.sound.tuning import (
    HIGHEST_LOW_A_HZ,
    LOWEST_LOW_A_HZ,
    Chanter,
    PitchStandard,
    Scale,
    chanter_named,
    parse_pitch,
    scale_named,
    scales,
)
from renderer.sound.voices import parse_preset

if TYPE_CHECKING:
    from renderer.notation.source_file import Source

Plain = None | bool | int | float | str | list[Any] | dict[str, Any]
"""What JSON holds."""

_MOST_DIGITS = 9
_LONGEST_TEXT = 4_096
_LIST_TEMPOS = "list numbers, such as [50, 60, 70]"


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of setting.

    Parameters
    ----------
    read:
        From what a user gives to the value; raises a `RungwiseError` without a place.
    plain:
        From the value to what JSON holds.
    bounds:
        What can be given, in words: `0 to 8`, `harmonic, MacNeill or equal`.
    metavar:
        What stands for the value in help.
    choices:
        The words to choose from, where there are only so many.
    is_switch:
        Whether it is yes or no.
    is_several:
        Whether several can be given.
    """

    read: Callable[[Any], Any]
    plain: Callable[[Any], Plain]
    bounds: str
    metavar: str = "TEXT"
    choices: tuple[str, ...] = ()
    is_switch: bool = False
    is_several: bool = False


def _text_of(given: object, remedy: str) -> str:
    if not isinstance(given, str):
        raise failure(f"{given!r} is no text", remedy)
    return given


def listed(words: Iterable[str], joint: str = "or") -> str:
    """Return words as a sentence lists them: `mono, stereo or split`."""
    *most, last = words
    return f"{', '.join(most)} {joint} {last}" if most else last


def whole(least: int, most: int, example: int) -> Kind:
    """Return the kind of whole numbers from `least` to `most`."""

    def read(given: object) -> int:
        number = given
        if isinstance(given, str):
            digits = given.strip()
            if not digits.removeprefix("-").isdecimal():
                raise failure(f"{given!r} is no whole number", f"write one, as {example}")
            if len(digits) > _MOST_DIGITS:
                raise failure("the number is far too large", f"write one as {example}")
            number = int(digits)
        is_whole = isinstance(number, int) and not isinstance(number, bool)
        if not is_whole or not least <= number <= most:  # type: ignore[operator]
            raise failure(
                f"{number!r} is out of range", f"choose a whole number from {least} to {most}"
            )
        return number  # type: ignore[return-value]

    return Kind(read, int, f"{least} to {most}", "NUMBER")


def switch() -> Kind:
    """Return the kind of what is on or off."""

    def read(given: object) -> bool:
        if not isinstance(given, bool):
            raise failure(f"{given!r} is neither true nor false", "write true or false")
        return given

    return Kind(read, bool, "on or off", "", is_switch=True)


def one_of(noun: str, names: Iterable[str]) -> Kind:
    """Return the kind of words of which one is chosen; for members of an enum, the members."""
    known = tuple(names)

    def read(given: object) -> str:
        key = given.strip().casefold() if isinstance(given, str) else given
        for one in known:
            if isinstance(key, str) and one.casefold() == key:
                return one
        raise failure(
            f"there is no {noun} {given!r}", f"choose one of {', '.join(map(str, known))}"
        )

    words = tuple(str(one) for one in known)
    return Kind(read, str, listed(words), choices=words)


def text(bounds: str = "any text", *, most_bytes: int = _LONGEST_TEXT, cause: str = "") -> Kind:
    """Return the kind of texts on one line."""

    def read(given: object) -> str:
        words = _text_of(given, "write words").strip()
        if len(words.encode(errors="replace")) > most_bytes:
            raise failure(
                f"the text is {len(words.encode(errors='replace'))} bytes long",
                cause or f"write {most_bytes} at most",
            )
        return words

    return Kind(read, str, bounds)


def path() -> Kind:
    """Return the kind of names of files."""

    def read(given: object) -> Path:
        if not isinstance(given, str | Path):
            raise failure(f"{given!r} is no file", "write its name")
        return Path(given)

    return Kind(read, str, "the name of a file", "FILE")


_SIZES = {"kb": 1_000, "mb": 1_000_000, "gb": 1_000_000_000}
_LEAST_SIZE, _MOST_SIZE = 100_000, 100_000_000_000
_SIZE_REMEDY = "write it like '16 MB'"


def file_size() -> Kind:
    """Return the kind of sizes of files, in bytes; a thousand of them are a kilobyte."""

    def read(given: object) -> int:
        if isinstance(given, int) and not isinstance(given, bool):
            size = given
        else:
            found = re.fullmatch(
                r"\s*(\d{1,9}(?:\.\d{1,3})?)\s*(kb|mb|gb)\s*", _text_of(given, _SIZE_REMEDY), re.I
            )
            if found is None:
                raise failure(f"{given!r} is no size", _SIZE_REMEDY)
            size = int(Fraction(found[1]) * _SIZES[found[2].casefold()])
        if not _LEAST_SIZE <= size <= _MOST_SIZE:
            raise failure(f"{given!r} is out of range", "write a size from 100 kB to 100 GB")
        return size

    return Kind(read, int, "100 kB to 100 GB", "SIZE")


def preset() -> Kind:
    """Return the kind of presets of a SoundFont."""

    def read(given: object) -> str:
        words = _text_of(given, "write bank and program, such as '0:109'")
        bank, program = parse_preset(words)
        return f"{bank}:{program}"

    return Kind(read, str, "0:0 to 16383:127", "BANK:PROGRAM")


def _length(read_text: Callable[[str], Length], remedy: str, bounds: str) -> Kind:
    def read(given: object) -> Length:
        return read_text(str(given) if isinstance(given, Length) else _text_of(given, remedy))

    return Kind(read, str, bounds, "LENGTH")


def gracenote_length() -> Kind:
    """Return the kind of lengths of gracenotes."""

    def read_text(words: str) -> Length:
        # Imported when it is needed: reading definitions brings heavy packages along.
        from renderer.notation.definition.fields import read_gracenote_length

        try:
            return read_gracenote_length(words)
        except WrongValueError as error:
            raise error.at("") from None

    remedy = "write it like '45 ms', or '1/8 beat' to open gracenotes out"
    return _length(read_text, remedy, "10 ms to 250 ms, or up to 1 beat")


def inner() -> Kind:
    """Return the kind of lengths of inner notes: one, one for each part, `even` or `book`."""
    remedy = "write it like '50 ms' or '1/2 beat'"

    def read(given: object) -> Inner:
        from renderer.notation.definition.fields import read_inner

        if isinstance(given, Inner):
            return read(str(given))
        if isinstance(given, Length):
            return read(str(given))
        try:
            return read_inner(_text_of(given, remedy))
        except WrongValueError as error:
            raise error.at("") from None

    bounds = "15 ms to 2000 ms, up to 4 beats, even or book; several with commas between"
    return Kind(read, str, bounds, "LENGTH")


_LARGEST_BAR = 99_999
_SPAN = re.compile(r"\s*(\d{1,5})\s*(?:-\s*(\d{1,5})\s*)?")


def _span(words: str, remedy: str, least: int, most: int) -> tuple[int, int]:
    match = _SPAN.fullmatch(words)
    first, last = (int(match[1]), int(match[2] or match[1])) if match else (0, 0)
    if match is None or first > last:
        raise failure(f"{words.strip()!r:.40} is not from a number to a higher one", remedy)
    if not least <= first <= last <= most:
        raise failure(f"{words.strip()} is out of range", f"choose from {least} to {most}")
    return first, last


def bar_span() -> Kind:
    """Return the kind of rows of bars, from one number to another: `3-4`, or `3`."""
    remedy = "write the first and the last bar, as 3-4"

    def read(given: object) -> Span:
        if isinstance(given, tuple | list) and all(type(one) is int for one in given):
            given = "-".join(map(str, given))
        if isinstance(given, int) and not isinstance(given, bool):
            given = str(given)
        return _span(_text_of(given, remedy), remedy, 0, _LARGEST_BAR)

    def plain(value: Span) -> Plain:
        return f"{value[0]}-{value[1]}"

    return Kind(read, plain, f"numbers from 0 to {_LARGEST_BAR}, as 3-4", "FIRST-LAST")


def line_numbers() -> Kind:
    """Return the kind of several lines by their numbers: `2,5-7`; they keep the order written."""
    remedy = "write their numbers, as 2,5-7"

    def read(given: object) -> tuple[int, ...]:
        if isinstance(given, tuple | list) and all(type(one) is int for one in given):
            given = ",".join(map(str, given))
        if isinstance(given, int) and not isinstance(given, bool):
            given = str(given)
        found: set[int] = set()
        for part in _text_of(given, remedy).split(","):
            first, last = _span(part, remedy, 1, MOST_LINES)
            found.update(range(first, last + 1))
        return tuple(sorted(found))

    def plain(value: tuple[int, ...]) -> Plain:
        return list(value)

    return Kind(read, plain, f"numbers from 1 to {MOST_LINES}, as 2,5-7", "NUMBERS")


_STAGES_REMEDY = "write the lengths one after the other, as 'even : 1/4 beat : 120 ms : 80 ms'"


def stages() -> Kind:
    """Return the kind of rows of inner notes' lengths, from opened to closed."""
    of_inner = inner()

    def read(given: object) -> tuple[Inner, ...]:
        if isinstance(given, str):
            given = given.split(":")
        if isinstance(given, Mapping) or not isinstance(given, Iterable):
            raise failure(f"{given!r} is no row of lengths", _STAGES_REMEDY)
        row = tuple(of_inner.read(one.strip() if isinstance(one, str) else one) for one in given)
        if not 2 <= len(row) <= MOST_STAGES:
            raise failure(
                f"{len(row)} lengths are out of range, one after the other",
                f"give 2 to {MOST_STAGES}; for one, --inner",
            )
        return row

    def plain(value: tuple[Inner, ...]) -> Plain:
        return [str(one) for one in value]

    bounds = f"2 to {MOST_STAGES} lengths as for inner notes, with colons between"
    return Kind(read, plain, bounds, "LENGTH:LENGTH")


def slot_on_the_beat() -> Kind:
    """Return the kind of slots that fall on the beat: `first`, `last` or a number."""

    def read(given: object) -> Beat:
        if isinstance(given, bool) or not isinstance(given, str | int):
            raise failure(f"{given!r} is no part of a movement", BEAT_REMEDY)
        try:
            return read_beat(given)
        except WrongValueError as error:
            raise error.at("") from None

    return Kind(read, lambda beat: beat, "first, last or a part's number", "SLOT")


def milliseconds(example: str) -> Kind:
    """Return the kind of lengths that no beat changes."""
    remedy = f"write it in ms, such as '{example}'"

    def read_text(words: str) -> Length:
        try:
            length = parse_length(words)
        except WrongValueError as error:
            raise failure(error.cause, remedy) from None
        if length.is_share_of_beat:
            raise failure(f"{words:.40} is a share of the beat", remedy)
        if not 20 <= length.value <= 2000:
            raise failure(f"{length} is out of range", "write a length from 20 ms to 2000 ms")
        return length

    return _length(read_text, remedy, "20 ms to 2000 ms")


def tempo() -> Kind:
    """Return the kind of tempos in beats a minute; exactly the number given."""

    def read(given: object) -> Fraction:
        if isinstance(given, bool) or not isinstance(given, str | int | float | Fraction):
            raise failure(f"{given!r} is no tempo", "write a number, such as 60")
        try:
            return exact_tempo(given)
        except RungwiseError as error:
            (problem,) = error.problems
            if problem.remedy != TEMPO_REMEDY:
                raise
            several = f"{TEMPO_REMEDY}; for several render takes --ladder, as 60:120:10"
            raise RungwiseError(replace(problem, remedy=several)) from None

    return Kind(read, str, f"{SLOWEST_TEMPO} to {FASTEST_TEMPO} beats a minute", "NUMBER")


def ladder() -> Kind:
    """Return the kind of tempo ladders: as they are written, or a list of numbers.

    In JSON a ladder is a list of exact numbers as texts, in per cent where they end so.
    """
    of_tempo = tempo()

    def read(given: object) -> Ladder:
        if isinstance(given, Ladder):
            return replace(given, repeats=1)
        if isinstance(given, str):
            return parse_ladder(given)
        try:
            numbers = list(given)  # type: ignore[call-overload]
        except TypeError:
            raise failure(
                f"{given!r} are no tempos", "list numbers, such as [50, 60, 70]"
            ) from None
        if not numbers:
            raise failure("there is none", "list at least one, or leave them out")
        if len(numbers) > MOST_RUNGS:
            raise failure(f"{len(numbers)} rungs are too many", f"list at most {MOST_RUNGS}")
        if all(isinstance(one, str) and one.endswith("%") for one in numbers):
            try:
                return Ladder(tuple(Fraction(one[:-1]) for one in numbers), percent=True)
            except (ValueError, ZeroDivisionError):
                raise failure(f"{given!r} are no per cents", "list them, as ['60%', '100%']") from (
                    None
                )
        try:
            return Ladder(tuple(of_tempo.read(one) for one in numbers))
        except RungwiseError as error:
            if "out of range" in error.problems[0].cause:
                raise
            raise failure(
                f"{given!r} are no tempos", "list numbers, such as [50, 60, 70]"
            ) from None

    def plain(value: Ladder) -> Plain:
        sign = "%" if value.percent else ""
        return [f"{rung}{sign}" for rung in value.tempos]

    bounds = f"at most {MOST_RUNGS} rungs from {SLOWEST_TEMPO} to {FASTEST_TEMPO}, or 1% to 400%"
    return Kind(read, plain, bounds, "FROM:TO:STEP")


CHANTER_SUFFIX = ".toml"
_PITCH_REMEDY = "write A, B flat, hertz such as 478, or the name of a chanter file"
_LABEL_BYTES = 40


def _chanter_file(given: str) -> PitchStandard:
    from renderer.notation.source_file import open_source

    return chanter_in(open_source(given))


def chanter_in(source: Source) -> PitchStandard:
    """Return the pitch that a chanter file holds; for errors see `chanter_of`."""
    # Imported when it is needed: few are given.
    from renderer.notation.definition.toml import read_toml
    from renderer.notation.limits import LONGEST_FILE_BYTES
    from renderer.notation.source_file import read_text

    text = read_text(source, LONGEST_FILE_BYTES, what="a chanter file")
    table = read_toml(text, source.name, numbers=("low-a", "bass"), switches=())
    return chanter_of(table, file=source.name)


def chanter_of(table: Mapping[str, Any], *, file: str, place: str = "") -> PitchStandard:
    """Return the pitch that a chanter's table holds, its label fit for names of files.

    For parameters and errors see `renderer.sound.chanter_file.read_chanter`.
    """
    from renderer.sound.chanter_file import read_chanter

    found = read_chanter(table, file=file, place=place)
    return replace(found, label=safe_stem(found.label, most_bytes=_LABEL_BYTES))


def pitch() -> Kind:
    """Return the kind of pitches: standards, hertz, and chanter files with nine of their own."""

    def read(given: object) -> PitchStandard:
        if isinstance(given, PitchStandard):
            return given
        if isinstance(given, dict):
            try:
                return PitchStandard(
                    float(given["low-a-hz"]),
                    str(given["label"]),
                    str(given.get("remark", "")),
                    tuple(float(ratio) for ratio in given.get("ratios", ())),
                    float(given.get("tenor-hz", 0.0)),
                )
            except (KeyError, TypeError, ValueError):
                raise failure(f"{given!r} is no pitch", _PITCH_REMEDY) from None
        if isinstance(given, str) and given.strip().casefold().endswith(CHANTER_SUFFIX):
            return _chanter_file(given.strip())
        if isinstance(given, Path):
            return _chanter_file(str(given))
        if isinstance(given, bool) or not isinstance(given, str | int | float):
            raise failure(f"{given!r} is no pitch", _PITCH_REMEDY)
        return parse_pitch(given)

    def plain(value: PitchStandard) -> Plain:
        try:
            if parse_pitch(value.label) == value:
                return value.label
            if parse_pitch(value.low_a_hz) == value:
                return value.low_a_hz
        except RungwiseError:
            pass
        fields: dict[str, Any] = {"low-a-hz": value.low_a_hz, "label": value.label}
        fields["remark"] = value.remark
        if value.is_measured:
            fields |= {"ratios": list(value.ratios), "tenor-hz": value.tenor_hz}
        return fields

    bounds = (
        f"A, B flat, low A from {LOWEST_LOW_A_HZ:g} to {HIGHEST_LOW_A_HZ:g} Hz, or a chanter file"
    )
    return Kind(read, plain, bounds, "PITCH")


def scale() -> Kind:
    """Return the kind of scales."""

    def read(given: object) -> Scale:
        if isinstance(given, Scale):
            return given
        return scale_named(_text_of(given, f"choose one of {', '.join(scales())}"))

    names = ("harmonic", "MacNeill", "equal")
    return Kind(read, lambda value: str(value.name), listed(names), choices=names)


def chanter() -> Kind:
    """Return the kind of chanters."""

    def read(given: object) -> Chanter:
        return chanter_named(_text_of(given, "choose practice or pipe"))

    names = tuple(map(str, Chanter))
    return Kind(read, str, listed(names), choices=names)


def audio_format() -> Kind:
    """Return the kind of formats of audio files."""

    def read(given: object) -> AudioFormat:
        return format_named(_text_of(given, f"choose one of {', '.join(AudioFormat)}"))

    names = ("mp3", "m4a", "opus", "ogg", "flac", "wav")
    return Kind(read, str, listed(names), choices=names)


def levels(usual: Levels) -> Kind:
    """Return the kind of levels of the parts, in decibels; parts left out are as usual."""

    def read(given: object) -> Levels:
        if isinstance(given, Levels):
            return given
        if isinstance(given, Mapping):
            given = ",".join(f"{part}={level}" for part, level in given.items())
        return parse_levels(_text_of(given, "write them as drone=-9,metronome=-6"), usual)

    def plain(value: Levels) -> Plain:
        return asdict(value)

    return Kind(read, plain, "-60 to 20 dB each", "PART=DB,...")


def transposition() -> Kind:
    """Return the kind of transpositions: semitones, or `auto`."""

    def read(given: object) -> int | str:
        if isinstance(given, str) and given.strip().casefold() == "auto":
            return "auto"
        try:
            semitones = int(given) if isinstance(given, str) else given
        except ValueError:
            semitones = None
        is_whole = isinstance(semitones, int) and not isinstance(semitones, bool)
        if not is_whole or abs(semitones) > 48:  # type: ignore[arg-type]
            raise failure(
                f"{given!r} is no transposition",
                "write semitones up or down, such as 2 or -12, or auto",
            )
        return semitones  # type: ignore[return-value]

    return Kind(read, lambda value: value, "-48 to 48 semitones, or auto")


def _read_as(form: str, words: str, what: str, example: str) -> datetime:
    try:
        return datetime.strptime(words.strip(), form)
    except ValueError:
        raise failure(f"{words!r} is no {what}", f"write it as {example}") from None


def day() -> Kind:
    """Return the kind of days."""

    def read(given: object) -> date:
        if isinstance(given, date):
            return given
        words = _text_of(given, "write it as 2026-11-25")
        return _read_as("%Y-%m-%d", words, "date", "2026-11-25, year, month and day").date()

    return Kind(read, date.isoformat, "0001-01-01 to 9999-12-31", "YYYY-MM-DD")


def time_of_day() -> Kind:
    """Return the kind of times of the day."""

    def read(given: object) -> time:
        if isinstance(given, time):
            return given
        words = _text_of(given, "write it as 19:00")
        return _read_as("%H:%M", words, "time", "19:00, hours and minutes").time()

    return Kind(read, lambda value: f"{value:%H:%M}", "00:00 to 23:59", "HH:MM")


class SeveralInOneError(RungwiseError):
    """Several values in one text, which are to be given each by itself.

    Parameters
    ----------
    given:
        The text.
    parts:
        The values in it, as they are to be given.
    """

    def __init__(self, given: str, parts: Iterable[str]) -> None:
        self.parts = tuple(parts)
        super().__init__(
            Problem(f"{given!r} is {len(self.parts)} in one", f"write {list(self.parts)}")
        )


def _parts_of(given: object, kind: Kind) -> list[str]:
    """Return the values that a text has in it, with commas or the like between them; else none."""
    if not isinstance(given, str):
        return []
    for between in (r"[,;+&/]|\band\b", r"\s+"):
        parts = [part.strip() for part in re.split(between, given) if part.strip()]
        try:
            for part in parts:
                kind.read(part)
        except RungwiseError:
            continue
        if len(parts) > 1:
            return parts
    return []


def several(kind: Kind) -> Kind:
    """Return the kind of one or several of another kind; what is given twice counts once."""

    def read(given: object) -> tuple[Any, ...]:
        is_one = isinstance(given, str) or not isinstance(given, Iterable)
        items: list[Any] = [given] if is_one else list(given)  # type: ignore[call-overload]
        if isinstance(given, Mapping):
            items = [given]
        if not items:
            raise failure("there is none", "name at least one")
        values: list[Any] = []
        problems: list[Problem] = []
        for item in items:
            try:
                values.append(kind.read(item))
            except RungwiseError as error:
                if parts := _parts_of(item, kind):
                    raise SeveralInOneError(item, parts) from None
                problems += error.problems
        if problems:
            raise RungwiseError(problems)
        return tuple(dict.fromkeys(values))

    def plain(values: tuple[Any, ...]) -> Plain:
        return [kind.plain(value) for value in values]

    return replace(kind, read=read, plain=plain, is_several=True)


def pitches() -> Kind:
    """Return the kind of one or several pitches; two spellings of one pitch are one."""
    many = several(pitch())

    def read(given: object) -> tuple[PitchStandard, ...]:
        by_label: dict[str, PitchStandard] = {}
        for one in many.read(given):
            # 466.16 and 466.160 would be two tracks of one name.
            there = by_label.setdefault(one.label, one)
            if there != one and (there.is_measured or one.is_measured):
                raise failure(
                    f"two chanters are called {one.label!r}", "give each file a name of its own"
                )
        return tuple(by_label.values())

    return replace(many, read=read)
