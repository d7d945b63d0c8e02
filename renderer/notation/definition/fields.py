"""Single values of a definition, as a teacher writes them: text in, values out.

Lengths, meters, runs and sets of notes. What a field refuses is a `WrongValueError` with what would
be right; `renderer.notation.definition.reader` adds the place and reports all of them at once.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Annotated, Any, get_args

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict

from renderer.errors import WrongValueError, shortened
from renderer.notation.length import Length, parse_length
from renderer.notation.limits import LEAST_SOUNDING_MS, MOST_RUN_NOTES, MOST_STAGES
from renderer.notation.pitch import NINE_NOTES, NOTES_REMEDY, Note, note_named, notes_in
from renderer.notation.playing import BOOK, EVEN, Inner, read_beat
from renderer.notation.score import Meter


class Table(BaseModel):
    """A table of a definition: unknown keys and wrong types are problems.

    A field's `description` is the remedy for a value of another type than its own.
    """

    model_config = ConfigDict(extra="forbid", strict=True, populate_by_name=True)


def _in_a_list(value: object) -> object:
    return value if isinstance(value, list) else [value]


OneOrMore = Annotated[list[str], BeforeValidator(_in_a_list)]
"""A list of texts; a text alone is a list of one."""


def _key(text: str) -> str:
    return re.sub(r"[\s_-]+", " ", text.strip().casefold())


def one_of(choice: Any) -> BeforeValidator:
    """Return what reads the texts of a `Literal`; case, spaces and hyphens are free."""
    known = {_key(text): text for text in get_args(choice)}
    return BeforeValidator(
        lambda value: known.get(_key(value), value) if isinstance(value, str) else value
    )


def readable(read: Callable[[Any], object]) -> AfterValidator:
    """Return what asks of a value, which stays as it is written, that it can be read."""

    def checked(value: Any) -> Any:
        read(value)
        return value

    return AfterValidator(checked)


def listed(words: Iterable[str], joint: str) -> str:
    """Return words as a sentence lists them: `from, to and step`."""
    *most, last = words
    return f"{', '.join(most)} {joint} {last}" if most else last


def in_range(value: float, least: float, most: float, what: str) -> None:
    if not least <= value <= most:
        raise WrongValueError(
            f"{what} of {value:g} is out of range", f"write a number from {least:g} to {most:g}"
        )


GRACENOTE_REMEDY = "write it like '45 ms', or '1/8 beat' to open gracenotes out"
INNER_REMEDY = (
    "write it like '50 ms', or '1/2 beat' or 'even' to open movements out, or 'book' for the "
    "lengths of the ornament book; for each part its own as ['60 ms', '50 ms']"
)
MOST_PARTS = 15
"""Inner notes that lengths are given to one by one; a movement has at most so many."""
METER_REMEDY = "write it like '3/4' or '6/8': 1 to 32 over 1, 2, 4, 8 or 16"


def read_gracenote_length(text: str) -> Length:
    """Read a gracenote's length: 10 to 250 ms, or up to a beat to open gracenotes out.

    Raises `WrongValueError` for anything else.
    """
    try:
        length = parse_length(text)
    except ValueError:
        raise WrongValueError(f"{text!r} is no length", GRACENOTE_REMEDY) from None
    if length.is_share_of_beat:
        if not 0 < length.value <= 1:
            raise WrongValueError(
                f"a gracenote of {length} is out of range", "write up to 1 beat, above 0"
            )
    elif not 10 <= length.value <= 250:
        raise WrongValueError(
            f"a gracenote of {length} is out of range", "write a length from 10 ms to 250 ms"
        )
    return length


def _number_as_text(value: object) -> object:
    return str(value) if isinstance(value, int) and not isinstance(value, bool) else value


GracenoteText = Annotated[str, readable(read_gracenote_length)]
"""A gracenote's length as it is written."""

BeatText = Annotated[str, BeforeValidator(_number_as_text), readable(read_beat)]
"""Which slot falls on the beat as it is written: a word, or a number with or without quotes."""


def _inner_length(text: str) -> Length:
    try:
        length = parse_length(text)
    except ValueError:
        raise WrongValueError(f"{text!r} is no length", INNER_REMEDY) from None
    if length.is_share_of_beat and not 0 < length.value <= 4:
        raise WrongValueError(
            f"an inner length of {length} is out of range", "write up to 4 beats, above 0"
        )
    if not length.is_share_of_beat and not LEAST_SOUNDING_MS <= length.value <= 2000:
        raise WrongValueError(
            f"an inner length of {length} is out of range",
            f"write a length from {LEAST_SOUNDING_MS} ms to 2000 ms",
        )
    return length


def read_inner(written: str | list[str]) -> Inner:
    """Read how long inner notes last.

    Parameters
    ----------
    written:
        `book`, `even`, a length (15 to 2,000 ms, or up to 4 beats), or a length for each of the
        notes before the melody note: as a list, or as one text with commas between.

    Raises
    ------
    WrongValueError
        For anything else, and for ms and shares of the beat in one movement.
    """
    texts = written.split(",") if isinstance(written, str) else written
    if len(texts) == 1:
        word = texts[0].strip().casefold()
        if word in ("book", "even"):
            return BOOK if word == "book" else EVEN
    if not 1 <= len(texts) <= MOST_PARTS:
        raise WrongValueError(
            f"{len(texts)} lengths of parts are out of range", f"write 1 to {MOST_PARTS}"
        )
    lengths = tuple(_inner_length(text) for text in texts)
    if len({length.unit for length in lengths}) > 1:
        raise WrongValueError(
            "a movement cannot be closed in one part and opened out in another",
            "give all its parts in ms, or all in shares of the beat",
        )
    return Inner(lengths)


InnerTexts = Annotated[OneOrMore, readable(read_inner)]
"""How long inner notes last, as it is written."""


STAGES_REMEDY = 'write a list, as inner = ["even", "1/4 beat", "120 ms", "80 ms"]'


def read_stages(texts: Sequence[str]) -> tuple[Inner, ...]:
    """Read how long inner notes last one after the other, from opened to closed.

    Raises `WrongValueError` for what `read_inner` refuses, and for fewer than two or too many.
    """
    if not 2 <= len(texts) <= MOST_STAGES:
        raise WrongValueError(
            f"{len(texts)} lengths are out of range, one after the other",
            f"write 2 to {MOST_STAGES}; one length stands under [ornaments]",
        )
    return tuple(read_inner(text) for text in texts)


def read_meter(text: str) -> Meter:
    """Read a meter such as `3/4` or `6/8`; raise `WrongValueError` for what nobody can count."""
    match = re.fullmatch(r"\s*(\d{1,3})\s*/\s*(\d{1,3})\s*", text)
    if match is None:
        raise WrongValueError(f"{text!r} is no meter", METER_REMEDY)
    count, unit = int(match[1]), int(match[2])
    if not 1 <= count <= 32 or unit not in (1, 2, 4, 8, 16):
        raise WrongValueError(f"a meter of {count}/{unit} is out of range", METER_REMEDY)
    return Meter(count, unit)


_FROM_TO = re.compile(r"(?P<first>.+?)\s+to\s+(?P<last>.+)", re.IGNORECASE)

RUN_REMEDY = "write the notes' names with commas between, as 'low A, B, D' or 'low G to F'"


NOTE_REMEDY = "write a note's name, as 'low A'"


def _notes_of(name: str) -> tuple[Note, ...]:
    match = _FROM_TO.fullmatch(name)
    if match is None:
        return (note_named(name),)
    first, last = note_named(match["first"]), note_named(match["last"])
    step = 1 if first <= last else -1
    return tuple(Note(index) for index in range(first, last + step, step))


def _wrong_notes(wrong: Mapping[str, WrongValueError]) -> WrongValueError:
    """Return what is wrong with a run's names, by name, as one: the nine notes are listed once."""
    causes: list[str] = []
    remedies: list[str] = []
    unknown: list[str] = []
    for name, error in wrong.items():
        if notes := notes_in(name):
            causes.append(f"{shortened(name)!r} is one name without commas")
            remedies.append(f"write {', '.join(note.label for note in notes)}")
        elif error.remedy == NOTES_REMEDY:
            unknown.append(repr(shortened(name)))
        else:
            causes.append(error.cause)
            remedies.append(error.remedy)
    if not unknown and len(causes) == 1:
        return WrongValueError(causes[0], remedies[0])
    said = [f"{cause}: {remedy}" for cause, remedy in zip(causes, remedies, strict=True)]
    if not unknown:
        return WrongValueError("; ".join(said), RUN_REMEDY)
    noun = "no notes" if len(unknown) > 1 else "no note"
    said.append(f"a chanter has {noun} {listed(unknown, 'and')}; its nine are {NINE_NOTES}")
    return WrongValueError("; ".join(said), RUN_REMEDY)


def read_run(text: str) -> tuple[tuple[Note, ...], ...]:
    """Read a run such as `low A, B, D`, `low G to F` or, in bars, `low A, B | low A, C`.

    Returns
    -------
    The notes of each group that a `|` ends; a run without one is one group.

    Raises
    ------
    WrongValueError
        For notes that a chanter lacks, and for a run that is empty or too long.
    """
    groups: list[tuple[Note, ...]] = []
    wrong: dict[str, WrongValueError] = {}
    for part in text.split("|"):
        notes: list[Note] = []
        for name in re.split(r"[,;]", part):
            if not name.strip():
                continue
            try:
                notes += _notes_of(name.strip())
            except WrongValueError as error:
                wrong[name.strip()] = error
        if notes:
            groups.append(tuple(notes))
    if wrong:
        raise _wrong_notes(wrong)
    count = sum(len(group) for group in groups)
    if not count:
        raise WrongValueError("the run has no notes", RUN_REMEDY)
    if count > MOST_RUN_NOTES:
        raise WrongValueError(
            f"a run of {count} notes is too long",
            f"write at most {MOST_RUN_NOTES} and go on in another line",
        )
    return tuple(groups)


def read_notes(text: str) -> tuple[Note, ...]:
    """Read a choice of notes, such as `low G to F`: in the order written, each once."""
    return tuple(dict.fromkeys(note for group in read_run(text) for note in group))


def run_text(groups: tuple[tuple[Note, ...], ...]) -> str:
    """Return the text that `read_run` reads as these groups."""
    return " | ".join(", ".join(note.label for note in group) for group in groups)
