"""Opening MusicXML files safely, plain or packed as `.mxl`, to an element tree; and packing them.

Nothing is unpacked to disk and nothing outside the file is read: document types are tolerated but
not loaded, entities are refused, and sizes are bounded. Python's XML parser with defusedxml does
this; music21 would take the same files, but resolves no bounds and is much slower (see
`tests/benchmarks/bench_scores.py`).
"""

from __future__ import annotations

import io
import lzma
import posixpath
import struct
import zipfile
import zlib
from urllib.parse import unquote
from xml.etree import ElementTree

import defusedxml
from defusedxml import ElementTree as SafeElementTree

from renderer.errors import RungwiseError, failure, shortened
from renderer.notation.limits import LARGEST_SCORE_BYTES
from renderer.notation.source_file import Source, read_bytes

MOST_PACKED_FILES = 1000
MOST_MARKUP = LARGEST_SCORE_BYTES // 20
"""Elements and attributes. Of 634 scores of music21's corpus, the densest has one in 20 bytes."""
LONGEST_NAMESPACE = 500
_CONTAINER = "META-INF/container.xml"
_CONTAINER_BYTES = 100_000
_LONGEST_REASON = 100
"""Of what Python's libraries say is wrong; they may quote the file."""
_SCORE_ENDINGS = (".musicxml", ".xml")
DAMAGED = (
    zipfile.BadZipFile,
    zlib.error,
    lzma.LZMAError,
    EOFError,
    NotImplementedError,
    OSError,
    OverflowError,
    RuntimeError,
    ValueError,
    struct.error,
)
"""What Python's zipfile raises, sooner or later, when single bytes of an archive are wrong."""


def read_score_element(source: Source) -> ElementTree.Element:
    """Return the root element of a MusicXML file, `score-partwise` or `score-timewise`.

    Raises `RungwiseError` for a file that cannot be read, is too large, is no MusicXML, or tries to
    define entities.
    """
    data = read_bytes(source, LARGEST_SCORE_BYTES, if_too_large="save the part on its own")
    if not data:
        raise failure("the file is empty", "name a file with a score in it")
    if data[:2] == b"PK":
        data = _unpacked(data)
    root = _parsed(data)
    _drop_namespaces(root)
    if root.tag not in ("score-partwise", "score-timewise"):
        raise failure(
            f"it is XML, but no MusicXML score (its root is <{shortened(root.tag)}>)",
            "export it as MusicXML from your notation program",
        )
    return root


def _drop_namespaces(root: ElementTree.Element) -> None:
    """Rename elements of any namespace: MusicXML has none, and some programs add one."""
    if not root.tag.startswith("{"):
        return
    for element in root.iter():
        element.tag = element.tag.rpartition("}")[2]


def _check_doctype(
    _name: str, _system: str | None, _public: str | None, has_declarations: bool
) -> None:
    # A declared attribute would be set in every element of a name, as if it were written there.
    if has_declarations:
        raise failure(
            "its document type declares entities or attributes of its own, which no score needs",
            "export it again as MusicXML",
        )


def _check_namespace(_prefix: str, uri: str) -> None:
    # Every element's name holds its namespace, however long that is.
    if len(uri or "") > LONGEST_NAMESPACE:
        raise failure(
            f"it has an XML namespace {shortened(uri)!r}, which is no score's",
            "export it again as MusicXML",
        )


def _check_markup(data: bytes) -> None:
    """Refuse what would make a tree too large; counted in the bytes, for that takes no time.

    A tag begins with `<` and an attribute has a `=` in every encoding that the parser knows.
    """
    count = data.count(b"<") - data.count(b"</") + data.count(b"=")
    if count > MOST_MARKUP:
        raise failure(
            f"it has some {count} elements and attributes, and at most {MOST_MARKUP} are read",
            "save the part on its own",
        )


def check_xml(data: bytes) -> None:
    """Refuse XML that another parser would be harmed by: entities, trees without end.

    Raises a `RungwiseError`, also for what is no XML.
    """
    _parsed(data)


def _parsed(data: bytes) -> ElementTree.Element:
    _check_markup(data)
    # Elements made by the C builder: those of defusedxml's usual one need twice the memory.
    parser = SafeElementTree.DefusedXMLParser(
        target=ElementTree.TreeBuilder(), forbid_dtd=False, forbid_entities=True
    )
    parser.parser.StartDoctypeDeclHandler = _check_doctype
    parser.parser.StartNamespaceDeclHandler = _check_namespace
    try:
        # Some files have an empty line before their declaration, which XML allows nowhere else.
        parser.feed(data.lstrip(b" \t\r\n") if data[:1] in b" \t\r\n" else data)
        return parser.close()
    except ElementTree.ParseError as error:
        line, column = error.position
        reason = shortened(str(error).partition(":")[0], _LONGEST_REASON)
        raise failure(
            f"it is no well-formed XML ({reason})",
            "export it again as MusicXML",
            place=f"line {line}, column {column + 1}",
        ) from None
    except defusedxml.DefusedXmlException:
        raise failure(
            "it defines XML entities, which no score needs", "export it again as MusicXML"
        ) from None
    except (ValueError, LookupError) as error:
        raise failure(
            f"it is no XML text ({shortened(str(error), _LONGEST_REASON)})",
            "export it again as MusicXML",
        ) from None


def _unpacked(data: bytes) -> bytes:
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            if len(archive.infolist()) > MOST_PACKED_FILES:
                raise failure("it packs too many files", "export it again as MusicXML")
            name = _score_name(archive)
            return _member(archive, name, LARGEST_SCORE_BYTES)
    except DAMAGED as error:
        reason = shortened(str(error), _LONGEST_REASON) or "it ends too soon"
        raise failure(
            f"it is a damaged .mxl file ({reason})", "export it again, or as .musicxml"
        ) from None


def _plain_name(name: str) -> str:
    return posixpath.normpath(name.replace("\\", "/")).lstrip("/")


def _named_by_container(archive: zipfile.ZipFile, packed_name: str) -> list[str]:
    """The names of the scores that the container lists; none if it cannot be read."""
    try:
        container = _parsed(_member(archive, packed_name, _CONTAINER_BYTES))
    except RungwiseError:
        return []
    return [
        rootfile.get("full-path", "")
        for rootfile in container.iter()
        if rootfile.tag.endswith("rootfile")
        # The same score may be packed as PDF or sound too.
        and "xml" in rootfile.get("media-type", "xml").casefold()
    ]


def _score_name(archive: zipfile.ZipFile) -> str:
    by_plain_name = {_plain_name(name): name for name in archive.namelist()}
    if _CONTAINER in by_plain_name:
        for listed in _named_by_container(archive, by_plain_name[_CONTAINER]):
            for name in (_plain_name(listed), _plain_name(unquote(listed))):
                if name in by_plain_name:
                    return by_plain_name[name]
    for name, packed_name in by_plain_name.items():
        folder, _, file = name.rpartition("/")
        # What macOS adds when it packs a folder only looks like a score.
        hidden = folder.split("/")[0] in ("META-INF", "__MACOSX") or file.startswith(".")
        if not hidden and file.casefold().endswith(_SCORE_ENDINGS):
            return packed_name
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
