"""Forms that are not read here, by way of music21: `**kern`, MEI, MuseData and all others it reads.

music21 (an optional extra) makes MusicXML of them, which is read as any other: with the same report
of what is not on the chanter, the same remarks, the same limits. It works in a process of its own
(`music21_process`); what is packed or XML is checked before it gets it.
"""

from __future__ import annotations

import io
import zipfile
import zlib
from dataclasses import replace
from typing import Any, Literal

from renderer.errors import RungwiseError, failure, shortened
from renderer.notation.musicxml.file import DAMAGED, MOST_PACKED_FILES, check_xml
from renderer.notation.musicxml.reader import read_musicxml
from renderer.notation.score import Exercise
from renderer.notation.source_file import Source, Written, open_source, read_bytes
from renderer.notation.written import AS_WRITTEN, Reading
from renderer.reading.music21_process import Melody, melody_of_file, melody_of_stream

Kind = Literal["text", "XML", "packed XML", "packed texts", "compressed"]

ENDINGS: dict[str, Kind] = {
    ".krn": "text",
    ".mei": "XML",
    ".musedata": "text",
    ".md": "text",
    ".zip": "packed texts",
    ".tinynotation": "text",
    ".tntxt": "text",
    ".volpiano": "text",
    ".vp": "text",
    ".romantext": "text",
    ".rntext": "text",
    ".rntxt": "text",
    ".rtxt": "text",
    ".capx": "packed XML",
    ".nwctxt": "text",
    ".nwc": "compressed",
}
"""Of what music21 reads and this program does not read itself, and what such files hold."""

LEFT_OUT = {
    ".cttxt": "text that is taken for the name of a file to open",
    ".har": "text that is taken for the name of a file to open",
    ".clercqTemperley": "text that is taken for the name of a file to open",
    ".scl": "a scale and no music",
}
"""What of it is not given to music21, and why."""

LARGEST_OTHER_BYTES = 1_000_000
"""Of a file, and of what it packs. A melody has a hundredth of it."""

_SMALLER = "save the melody's part on its own"
_PACKED_SCORE = "score.xml"
_COMPRESSED = b"[NWZ]\0"
"""What bytes begin with that zlib has compressed; music21 unpacks them without a bound."""


def is_other_form(ending: str) -> bool:
    """Whether music21, if it is there, reads files of an ending such as `.krn`."""
    return ending in ENDINGS


def read_other(written: Written, reading: Reading = AS_WRITTEN, *, form: str = "") -> Exercise:
    """Read the melody of one part of a file that music21 reads.

    Parameters
    ----------
    written:
        A file's path, or a source in hand; its ending tells its form.
    reading:
        As for MusicXML; in a file of many pieces, `part` names the piece by its number or title.
    form:
        The ending of its form, where its name has none.

    Raises
    ------
    RungwiseError
        Without music21; for what it cannot read; and as for MusicXML.
    """
    source = open_source(written)
    try:
        return _read(source, reading, form or source.suffix.casefold())
    except RungwiseError as error:
        raise error.in_file(source.name) from None


def _read(source: Source, reading: Reading, ending: str) -> Exercise:
    melody = _melody(source, reading, ending)
    return _exercise(melody, reading, name=source.name, title=source.stem)


def _melody(source: Source, reading: Reading, ending: str) -> Melody:
    data = read_bytes(source, LARGEST_OTHER_BYTES, if_too_large=_SMALLER)
    kind = ENDINGS.get(ending)
    if kind is None:
        raise failure(f"music21 reads no files that end in {ending!r}", "name another")
    harmless = _harmless(data, kind)
    return melody_of_file(harmless, ending, is_text=kind in ("text", "XML"), part=reading.part)


def _harmless(data: bytes, kind: Kind) -> bytes:
    """Return what can be given to parsers that know no bounds, or raise a `RungwiseError`."""
    if kind == "XML":
        check_xml(data)
    elif kind == "compressed":
        if data.startswith(_COMPRESSED):
            _check_compressed(data.removeprefix(_COMPRESSED))
    elif kind != "text":
        return _packed_anew(data, kind)
    return data


def _check_compressed(data: bytes) -> None:
    try:
        unpacked = zlib.decompressobj().decompress(data, LARGEST_OTHER_BYTES + 1)
    except zlib.error as error:
        raise _damaged(error) from None
    if len(unpacked) > LARGEST_OTHER_BYTES:
        raise _too_much()


def _packed_anew(data: bytes, kind: Kind) -> bytes:
    """Return an archive of what a packed file holds, so much and no more."""
    out = io.BytesIO()
    left = LARGEST_OTHER_BYTES
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive, zipfile.ZipFile(out, "w") as anew:
            names = [one.filename for one in archive.infolist() if not one.is_dir()]
            if kind == "packed XML":
                names = [name for name in names if name == _PACKED_SCORE]
            if not names:
                raise failure("there is no score in this packed file", "name a file with a melody")
            if len(names) > MOST_PACKED_FILES:
                raise failure("it packs too many files", _SMALLER)
            for name in names:
                with archive.open(name) as file:
                    content = file.read(left + 1)
                left -= len(content)
                if left < 0:
                    raise _too_much()
                if kind == "packed XML":
                    check_xml(content)
                anew.writestr(name, content)
    except DAMAGED as error:
        raise _damaged(error) from None
    return out.getvalue()


def _damaged(error: Exception) -> RungwiseError:
    reason = shortened(str(error), 100) or "it ends too soon"
    return failure(f"it is a damaged packed file ({reason})", "save it again")


def _too_much() -> RungwiseError:
    return failure(f"what it packs is larger than {LARGEST_OTHER_BYTES / 10**6:g} MB", _SMALLER)


def exercise_of_stream(
    stream: Any, reading: Reading = AS_WRITTEN, *, name: str = "", title: str = "Untitled"
) -> Exercise:
    """Return a music21 stream as an exercise, its movements not yet recognised.

    Parameters
    ----------
    stream:
        A `Score`, `Part` or `Opus` (of which the first piece is read, or the one that
        `reading.part` names).
    reading:
        How it is read.
    name, title:
        What messages call it, and the title of one that has none.

    Raises a `RungwiseError` as `read_other` does.
    """
    return _exercise(melody_of_stream(stream, reading.part), reading, name=name, title=title)


def _exercise(melody: Melody, reading: Reading, *, name: str, title: str) -> Exercise:
    # A remark tells that the part asked for was a piece.
    reading = replace(reading, part=None) if melody.remarks else reading
    exercise = read_musicxml(Source(name, melody.score), reading)
    # What is not there has a placeholder in its MusicXML.
    if not melody.title:
        exercise = replace(exercise, title=title)
    if not melody.has_author:
        exercise = replace(exercise, composer="")
    return replace(exercise, remarks=(*exercise.remarks, *melody.remarks))
