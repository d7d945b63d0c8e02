"""music21 at work in a process of its own: bytes of some form in, a melody's MusicXML out.

Its parsers resolve no bounds of time or memory, print what they please, and keep files that they
are given by path as pickles, which may hold code. So they run apart, with a limit of processor time
and of memory, and are called past whatever keeps pickles. This module is both sides of it.
"""

from __future__ import annotations

import base64
import contextlib
import functools
import importlib.util
import io
import json
import os
import signal
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from renderer.errors import Problem, RungwiseError, failure, shortened
from renderer.notation.written import index_of_part

MOST_SECONDS = 60
"""Of processor time. A melody takes one or two; four voices in 20,000 bytes took up to 14 on a busy
machine."""

MOST_MEMORY_BYTES = 4_000_000_000

_INSTALL = "install it: pip install 'rungwise[music21]'"
_KILLED_FOR_TIME = (-signal.SIGXCPU, -signal.SIGKILL)


@dataclass(frozen=True, slots=True)
class Melody:
    """What music21 has made of a file.

    Parameters
    ----------
    score:
        MusicXML; of a file of many pieces that of one.
    title:
        Empty where the piece has none: its MusicXML then has a placeholder.
    has_author:
        Whether its MusicXML names one, and not a placeholder.
    remarks:
        What was chosen, in sentences.
    """

    score: bytes
    title: str
    has_author: bool
    remarks: tuple[str, ...] = ()


def music21_package() -> Any:
    """Return music21, or raise a `RungwiseError` that says how to get it."""
    try:
        with silenced():
            import music21
    except ImportError:
        raise failure("this form is read by music21, which is not there", _INSTALL) from None
    return music21


@contextlib.contextmanager
def silenced() -> Iterator[None]:
    """Keep what music21 prints for programmers from users."""
    with contextlib.redirect_stderr(io.StringIO()), contextlib.redirect_stdout(io.StringIO()):
        yield


def _unread(error: BaseException, what: str) -> RungwiseError:
    reason = shortened(" ".join(str(error).split()), 100) or type(error).__name__
    return failure(f"music21 cannot {what}: {reason}", "export it as MusicXML from your program")


def melody_of_stream(stream: Any, part: str | None = None) -> Melody:
    """Return a music21 stream as MusicXML.

    Parameters
    ----------
    stream:
        A `Score`, `Part` or `Opus` (of which the first piece is read, or the one that `part`
        names).
    part:
        The number or title of a piece.

    Raises
    ------
    RungwiseError
        For an opus without that piece, and for what music21 cannot write.
    """
    music21 = music21_package()
    remarks: tuple[str, ...] = ()
    if isinstance(stream, music21.stream.Opus):
        pieces = list(stream.scores)
        if not pieces:
            raise failure("there is no piece in it", "name a file with a melody")
        titles = [_title(piece) for piece in pieces]
        index = 0 if part is None else index_of_part(part, titles, "piece")
        stream = pieces[index]
        remarks = (f"The file has {len(pieces)} pieces; {titles[index] or index + 1} is read.",)
    _drop_empty_ends(stream)
    with silenced():
        try:
            score = music21.musicxml.m21ToXml.GeneralObjectExporter(stream).parse()
        except Exception as error:
            raise _unread(error, "make MusicXML of it") from None
    author = stream.metadata.composer if stream.metadata is not None else None
    return Melody(score, _title(stream), bool(author), remarks)


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


def melody_of_file(data: bytes, ending: str, *, is_text: bool, part: str | None) -> Melody:
    """Return the melody of a file in a form that music21 reads, in a process of its own.

    Parameters
    ----------
    data:
        What is in it, known to be harmless to who unpacks or parses it.
    ending:
        Of its name, such as `.krn`, which tells the form.
    is_text:
        Whether it is text in UTF-8.
    part:
        Of a file of many pieces, the number or title of one; None for the first.

    Raises
    ------
    RungwiseError
        Without music21; for what it cannot read, or not within `MOST_SECONDS`.
    """
    if importlib.util.find_spec("music21") is None:
        raise failure("this form is read by music21, which is not there", _INSTALL)
    asked = json.dumps({"ending": ending, "is_text": is_text, "part": part})
    ended, told = _answer(data, asked)
    if ended in _KILLED_FOR_TIME:
        raise failure(
            f"music21 needs more than {MOST_SECONDS} s or {MOST_MEMORY_BYTES // 10**9} GB for it",
            "save the melody's part on its own",
        )
    try:
        answer = json.loads(told)
    except ValueError:
        raise failure(
            f"music21 cannot read this: it ended with {ended}",
            "export it as MusicXML from your program",
        ) from None
    if "problems" in answer:
        raise RungwiseError(Problem(cause, remedy) for cause, remedy in answer["problems"])
    return Melody(
        base64.b64decode(answer["score"]),
        answer["title"],
        answer["has_author"],
        tuple(answer["remarks"]),
    )


@functools.lru_cache(maxsize=8)
def _answer(data: bytes, asked: str) -> tuple[int, bytes]:
    """How the process ended, and what it said; a verb asks for the same more than once."""
    root = str(Path(__file__).resolve().parents[2])
    paths = os.pathsep.join([root, *filter(None, [os.environ.get("PYTHONPATH")])])
    done = subprocess.run(
        # Nothing is imported from the folder that somebody happens to work in.
        [sys.executable, "-P", "-m", "renderer.reading.music21_process", asked],
        input=data,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        env=os.environ | {"PYTHONPATH": paths},
        check=False,
    )
    return done.returncode, done.stdout


def _stream_of(data: bytes, ending: str, *, is_text: bool) -> Any:
    # The form's own converter alone: what calls it keeps pickles.
    reader = next(
        one()
        for one in music21_package().converter.Converter().subConvertersList("input")
        if ending.removeprefix(".") in one.registerInputExtensions
    )
    if is_text:
        reader.parseData(data.decode("utf-8", errors="replace").lstrip("\ufeff"))
        return reader.stream
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, f"file{ending}")
        path.write_bytes(data)
        reader.parseFile(path)
    return reader.stream


def _with_limits() -> None:
    import resource

    for limit, most in (
        (resource.RLIMIT_CPU, MOST_SECONDS),
        (resource.RLIMIT_AS, MOST_MEMORY_BYTES),
    ):
        # Some systems know no limit of memory.
        with contextlib.suppress(ValueError, OSError):
            resource.setrlimit(limit, (most, most))


def _answered(data: bytes, asked: dict[str, Any]) -> dict[str, object]:
    try:
        with silenced():
            try:
                stream = _stream_of(data, asked["ending"], is_text=asked["is_text"])
            except RungwiseError:
                raise
            except (Exception, SystemExit) as error:
                raise _unread(error, "read this") from None
        melody = melody_of_stream(stream, asked["part"])
    except RungwiseError as error:
        return {"problems": [(one.cause, one.remedy) for one in error.problems]}
    return {
        "score": base64.b64encode(melody.score).decode("ascii"),
        "title": melody.title,
        "has_author": melody.has_author,
        "remarks": melody.remarks,
    }


def main() -> None:
    """Answer what is asked by the first argument about the bytes of standard input."""
    _with_limits()
    answer = _answered(sys.stdin.buffer.read(), json.loads(sys.argv[1]))
    print(json.dumps(answer))


if __name__ == "__main__":
    main()
