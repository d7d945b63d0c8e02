"""Forms that are not read here, by way of music21: `**kern`, MEI, MuseData and others.

music21 (an optional extra) makes MusicXML of them, which is read as any other: with the same report
of what is not on the chanter, the same remarks, the same limits. Only text is given to it, parsed
in memory: what it keeps of files that it opens itself are pickles, which may hold code.
"""

from __future__ import annotations

import contextlib
import io
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

from renderer.errors import RungwiseError, failure, shortened
from renderer.notation.musicxml.file import check_xml
from renderer.notation.musicxml.reader import read_musicxml
from renderer.notation.score import Exercise
from renderer.notation.source_file import Source, Written, open_source, read_bytes
from renderer.notation.written import AS_WRITTEN, Reading, index_of_part

USUAL_ENDINGS = (".krn", ".mei", ".musedata")
"""Of forms that are told apart without music21."""

LARGEST_OTHER_BYTES = 100_000
"""A melody has a tenth of it. music21 took 2 to 14 s for pieces of 8,000 to 20,000 bytes in four
voices, on a busy machine."""

_INSTALL = "install it: pip install 'rungwise[music21]'"
_XML_FORMS = ("mei",)
_FORMS = ("humdrum", "mei", "musedata", "tinynotation", "volpiano")
"""music21's names of what holds a melody as text and is not read here."""


def _music21() -> Any:
    try:
        with silenced():
            import music21
    except ImportError:
        raise failure("this form is read by music21, which is not there", _INSTALL) from None
    return music21


def _table() -> dict[str, str]:
    """The endings of what music21 reads from text, and its names of the forms."""
    found: dict[str, str] = {}
    for converter in _music21().converter.Converter().subConvertersList("input"):
        form = (converter.registerFormats or ("",))[0]
        if form in _FORMS:
            found |= {f".{ending}": form for ending in converter.registerInputExtensions}
    found.pop(".zip", None)
    return found


def is_other_form(ending: str) -> bool:
    """Whether music21 reads files of an ending such as `.krn`, if it is there."""
    if ending in USUAL_ENDINGS:
        return True
    with contextlib.suppress(RungwiseError):
        return ending in _table()
    return False


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
    data = read_bytes(source, LARGEST_OTHER_BYTES, if_too_large="save the part on its own")
    form = _table().get(ending)
    if form is None:
        raise failure(f"music21 reads no files that end in {ending!r}", "name another")
    if form in _XML_FORMS:
        # music21's own parser follows entities.
        check_xml(data)
    text = data.decode("utf-8", errors="replace").lstrip("\ufeff")
    with silenced():
        try:
            score = _music21().converter.parseData(text, format=form)
        except Exception as error:
            raise _unread(error, "read this") from None
    return exercise_of_stream(score, reading, name=source.name, title=source.stem)


@contextlib.contextmanager
def silenced() -> Iterator[None]:
    """Keep what music21 prints for programmers from users."""
    with contextlib.redirect_stderr(io.StringIO()), contextlib.redirect_stdout(io.StringIO()):
        yield


def _unread(error: Exception, what: str) -> RungwiseError:
    reason = shortened(" ".join(str(error).split()), 100) or type(error).__name__
    return failure(f"music21 cannot {what}: {reason}", "export it as MusicXML from your program")


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
    music21 = _music21()
    remarks: tuple[str, ...] = ()
    if isinstance(stream, music21.stream.Opus):
        pieces = list(stream.scores)
        if not pieces:
            raise failure("there is no piece in it", "name a file with a melody")
        titles = [_title(piece) for piece in pieces]
        index = 0 if reading.part is None else index_of_part(reading.part, titles, "piece")
        stream, reading = pieces[index], replace(reading, part=None)
        remarks = (f"The file has {len(pieces)} pieces; {titles[index] or index + 1} is read.",)
    _drop_empty_ends(stream)
    with silenced():
        try:
            exporter = music21.musicxml.m21ToXml.GeneralObjectExporter(stream)
            score = exporter.parse()
        except Exception as error:
            raise _unread(error, "make MusicXML of it") from None
    exercise = read_musicxml(Source(name, score), reading)
    # What is not there has a placeholder in its MusicXML.
    if not _title(stream):
        exercise = replace(exercise, title=title)
    if exercise.composer == music21.defaults.author:
        exercise = replace(exercise, composer="")
    return replace(exercise, remarks=(*exercise.remarks, *remarks))


def _drop_empty_ends(stream: Any) -> None:
    """Take out a bar without anything behind the last bar line, which would become a rest."""
    for part in [*stream.getElementsByClass("Part")]:
        last = part.getElementsByClass("Measure").last()
        if last is not None and not last.notesAndRests and not last.getElementsByClass("Voice"):
            part.remove(last)


def _title(stream: Any) -> str:
    metadata = stream.metadata
    if metadata is None:
        return ""
    return str(metadata.title or metadata.movementName or "").strip()
