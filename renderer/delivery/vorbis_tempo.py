"""The tempo among a file's Vorbis comments, which libsndfile has no word for.

Vorbis comments are texts such as `TITLE=Birls`, each behind its length in four bytes (Xiph.org,
"Ogg Vorbis I format specification: comment field and header specification"; FLAC has them in the
same form, RFC 9639, section 8.6). Players read the tempo under the name BPM. libsndfile writes a
fixed choice of names, DATE among them: it is given a date of as many letters as the tempo needs,
and that one text is renamed in place, which moves nothing else.
"""

from __future__ import annotations

import re
from fractions import Fraction
from pathlib import Path

_NAME, _STANDS_IN = "BPM=", "DATE="
_SEARCHED_BYTES = 4_096
"""The date is set first and so stands before all that a user has written."""


def tempo_text(tempo: Fraction) -> str:
    """Return a tempo in beats a minute with at most two decimals, and two digits before them."""
    decimals = f"{float(tempo):05.2f}"
    return decimals.rstrip("0").rstrip(".")


def stand_in(tempo: Fraction) -> str:
    """Return the date that makes room for a tempo."""
    return "-" * (len(_NAME) + len(tempo_text(tempo)) - len(_STANDS_IN))


def name_tempo(path: Path, tempo: Fraction) -> None:
    """Put the tempo in the place of the date that `stand_in` made room with, in place.

    The checksum of an Ogg page is not made anew (`renderer.delivery.ogg_stream` does). Raises
    `OSError` if the file has no such date, or the disk fails.
    """
    old, new = f"{_STANDS_IN}{stand_in(tempo)}".encode(), f"{_NAME}{tempo_text(tempo)}".encode()
    entry = re.compile(re.escape(len(old).to_bytes(4, "little") + old), re.IGNORECASE)
    with path.open("rb+") as file:
        found = entry.search(file.read(_SEARCHED_BYTES))
        if found is None:
            raise OSError(0, "the file has no room for its tempo", str(path))
        file.seek(found.end() - len(new))
        file.write(new)
