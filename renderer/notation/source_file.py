"""Opening what a user names: a path or bytes with a name in, bytes or text out, or why not."""

from __future__ import annotations

import codecs
import os
import re
import unicodedata
from dataclasses import dataclass
from difflib import get_close_matches
from itertools import islice
from pathlib import Path, PurePath

from renderer.errors import failure
from renderer.notation.limits import LARGEST_SCORE_BYTES


@dataclass(frozen=True, slots=True)
class Source:
    """Something written that an exercise is read from: a file's bytes, or text not yet saved.

    Parameters
    ----------
    name:
        What messages call it; its ending tells its form, and what is before it is the title of what
        has none.
    data:
        What is in it.
    """

    name: str
    data: bytes

    @property
    def suffix(self) -> str:
        """The ending of its name, dot included; empty for none."""
        return PurePath(self.name).suffix

    @property
    def stem(self) -> str:
        """Its name without folder and ending, of `wide.toml.txt` without both."""
        name = PurePath(self.name)
        return PurePath(name.stem).stem if name.suffix.casefold() == TEXT_ENDING else name.stem

    def __str__(self) -> str:
        return self.name


Written = str | Path | Source
"""What a reader takes: a file by its path, or a source in hand."""


def open_source(written: Written) -> Source:
    """Return the source in a file; a source in hand is returned as it is.

    Of a file larger than any form may be, no more is read than shows that it is.

    Raises
    ------
    RungwiseError
        For folders, devices and pipes, and for what is not there or not to be opened.
    """
    if isinstance(written, Source):
        return written
    path = Path(written)
    file = str(written)
    if path.is_dir():
        raise failure("this is a folder", "name a file in it", file=file)
    if path.exists() and not path.is_file():
        # Reading from a pipe waits for ever, and from a device it never ends.
        raise failure("this is a device or a pipe", "name a file", file=file)
    try:
        with path.open("rb") as opened:
            return Source(file, opened.read(LARGEST_SCORE_BYTES + 1))
    except FileNotFoundError:
        raise failure("there is no such file", _where_it_may_be(path), file=file) from None
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise failure(f"the file cannot be read: {reason}", "check it", file=file) from None


def read_bytes(source: Source, most_bytes: int, *, if_too_large: str) -> bytes:
    """Return what is in a source.

    Parameters
    ----------
    source:
        From `open_source`.
    most_bytes:
        How large it may be.
    if_too_large:
        What to do about a larger one.

    Raises
    ------
    RungwiseError
        For one that is too large.
    """
    if len(source.data) > most_bytes:
        size = f"{most_bytes / 1_000_000:g} MB"
        raise failure(f"the file is larger than {size}", if_too_large, file=source.name)
    return source.data


MUSICXML = (".musicxml", ".mxl", ".xml")
FORMS = (".toml", ".abc", ".mid", ".midi", *MUSICXML)
"""The endings of what is read; what ends in .txt is read by what is in it."""

TEXT_ENDING = ".txt"
"""How simple editors end the names of what they save, behind the ending that was typed."""


_MOST_NAMES = 2_000
"""Files of a folder that are looked at."""


def file_like(path: Path) -> str | None:
    """Return the name in a path's folder that is most like its own, as `wide.toml` for `wide`."""
    try:
        with os.scandir(path.parent) as entries:
            names = [entry.name for entry in islice(entries, _MOST_NAMES) if entry.is_file()]
    except (OSError, ValueError):
        return None
    wanted = path.name.casefold()
    longer = [name for name in names if name.casefold().startswith(f"{wanted}.")]
    if longer:
        return min(longer)
    by_key = {name.casefold(): name for name in names}
    close = get_close_matches(wanted, by_key, n=1, cutoff=0.8)
    return by_key[close[0]] if close else None


def _where_it_may_be(path: Path) -> str:
    there = file_like(path)
    return "check its name and folder" if there is None else f"did you mean {there}?"


_MARKS = (
    (codecs.BOM_UTF8, "utf-8"),
    (codecs.BOM_UTF16_LE, "utf-16-le"),
    (codecs.BOM_UTF16_BE, "utf-16-be"),
)
_NOT_WRITTEN = re.compile(rb"[\x00-\x08\x0e-\x1a\x1c-\x1f]")
"""Bytes that no text has in any encoding of single bytes."""


def read_text(source: Source, most_bytes: int, *, what: str) -> str:
    """Return what is in a text file saved as UTF-8, or as UTF-16 with its byte order mark.

    Parameters
    ----------
    source:
        From `open_source`.
    most_bytes:
        How large it may be.
    what:
        What kind of file is wanted, such as `an exercise definition`.

    Raises
    ------
    RungwiseError
        As `read_bytes` does; for text in another encoding; for what is no text.
    """
    data = read_bytes(source, most_bytes, if_too_large=f"name {what}")
    mark, form = next((one for one in _MARKS if data.startswith(one[0])), (b"", "utf-8"))
    wrong_at = 0
    try:
        text = data[len(mark) :].decode(form)
    except UnicodeDecodeError as error:
        wrong_at = error.start
    else:
        if "\0" not in text:
            return text
    if _is_utf_16(data):
        cause = "this was saved as UTF-16, not as UTF-8"
    elif _NOT_WRITTEN.search(data):
        raise failure("this is not a text file", f"name {what}", file=source.name)
    else:
        line = data.count(b"\n", 0, wrong_at) + 1
        cause = f"this was not saved as UTF-8: line {line} has a letter in another encoding"
    remedy = "open it in your editor and save it again (Save as) with the encoding UTF-8"
    raise failure(cause, remedy, file=source.name)


def _is_utf_16(data: bytes) -> bool:
    """Whether most letters are the plain ones, each with a zero byte on the same side of it."""
    halves = (data[0::2], data[1::2])
    return any(
        other.count(0) > len(other) // 2 and not _NOT_WRITTEN.search(letters)
        for letters, other in (halves, halves[::-1])
    )


def without_controls(text: str) -> str:
    """Return a text without characters that no page shows; spaces and line breaks stay.

    The byte order mark goes too: inside a text it means nothing, and a file that begins with the
    text would lose it.
    """
    return "".join(
        c
        for c in text
        if c in "\t\n\r " or (unicodedata.category(c) not in ("Cc", "Cs") and c != "\ufeff")
    )
