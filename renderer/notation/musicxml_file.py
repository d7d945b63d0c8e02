"""Opening MusicXML files safely, plain or packed as `.mxl`, to an element tree; and packing them.

Nothing is unpacked to disk and nothing outside the file is read: document types are tolerated but
not loaded, entities are refused, and sizes are bounded. Python's XML parser with defusedxml does
this; music21 would take the same files, but resolves no bounds and is much slower (see
`tests/benchmarks/bench_scores.py`).
"""

from __future__ import annotations

import io
import zipfile
import zlib
from pathlib import Path
from xml.etree import ElementTree

import defusedxml
from defusedxml import ElementTree as SafeElementTree

from renderer.errors import failure
from renderer.notation.limits import LARGEST_SCORE_BYTES
from renderer.notation.source_file import read_bytes

MOST_PACKED_FILES = 1000
_CONTAINER = "META-INF/container.xml"
_CONTAINER_BYTES = 100_000


def read_score_element(path: Path) -> ElementTree.Element:
    """Return the root element of a MusicXML file, `score-partwise` or `score-timewise`.

    Raises `RungwiseError` for a file that cannot be read, is too large, is no MusicXML, or tries to
    define entities.
    """
    data = read_bytes(path, LARGEST_SCORE_BYTES, if_too_large="save the part on its own")
    if not data:
        raise failure("the file is empty", "name a file with a score in it")
    if data[:2] == b"PK":
        data = _unpacked(data)
    root = _parsed(data)
    if root.tag not in ("score-partwise", "score-timewise"):
        raise failure(
            f"it is XML, but no MusicXML score (its root is <{root.tag[:40]}>)",
            "export it as MusicXML from your notation program",
        )
    return root


def _parsed(data: bytes) -> ElementTree.Element:
    try:
        return SafeElementTree.fromstring(data, forbid_dtd=False, forbid_entities=True)
    except ElementTree.ParseError as error:
        line, column = error.position
        raise failure(
            f"it is no well-formed XML ({str(error).partition(':')[0]})",
            "export it again as MusicXML",
            place=f"line {line}, column {column + 1}",
        ) from None
    except defusedxml.DefusedXmlException:
        raise failure(
            "it defines XML entities, which no score needs", "export it again as MusicXML"
        ) from None
    except (ValueError, LookupError) as error:
        raise failure(f"it is no XML text ({error})", "export it again as MusicXML") from None


def _unpacked(data: bytes) -> bytes:
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            if len(archive.infolist()) > MOST_PACKED_FILES:
                raise failure("it packs too many files", "export it again as MusicXML")
            name = _score_name(archive)
            return _member(archive, name, LARGEST_SCORE_BYTES)
    except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError) as error:
        raise failure(
            f"it is a damaged .mxl file ({error})", "export it again, or as .musicxml"
        ) from None


def _score_name(archive: zipfile.ZipFile) -> str:
    names = archive.namelist()
    if _CONTAINER in names:
        container = _parsed(_member(archive, _CONTAINER, _CONTAINER_BYTES))
        for rootfile in container.iter():
            name = rootfile.get("full-path") if rootfile.tag.endswith("rootfile") else None
            if name is not None and name in names:
                return name
    for name in names:
        if not name.startswith("META-INF/") and name.endswith((".xml", ".musicxml")):
            return name
    raise failure("there is no score in this .mxl file", "export it again as MusicXML")


def _member(archive: zipfile.ZipFile, name: str, most: int) -> bytes:
    # Read by the byte, not by the size that the archive claims.
    with archive.open(name) as file:
        data = file.read(most + 1)
    if len(data) > most:
        raise failure(
            f"what it packs is larger than {most // 1_000_000} MB", "save the part on its own"
        )
    return data


def packed(score: bytes) -> bytes:
    """Return a MusicXML file packed as `.mxl`; the same score gives the same bytes."""
    container = (
        '<?xml version="1.0" encoding="UTF-8"?>\n<container><rootfiles><rootfile '
        'full-path="score.musicxml" media-type="application/vnd.recordare.musicxml+xml"/>'
        "</rootfiles></container>\n"
    )
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in ((_CONTAINER, container.encode()), ("score.musicxml", score)):
            # A ZipInfo of its own, for its date is a constant and not today's.
            archive.writestr(zipfile.ZipInfo(name), content, zipfile.ZIP_DEFLATED)
    return out.getvalue()
