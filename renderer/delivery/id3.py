"""Tags of an MP3 file: ID3v2.3, which Windows and car radios read too.

Layout: M. Nilsson, "ID3 tag version 2.3.0" (id3.org), and C. Newell, "ID3v2 Chapter Frame Addendum"
(id3.org). A tag is a header and frames, each behind its name and size; a chapter is a frame that
has others in it.
"""

from __future__ import annotations

from renderer.delivery.tags import Chapter, Tags, clean

_LATIN_1, _UTF_16 = b"\x00", b"\x01"
_FRONT_COVER = b"\x03"
_TABLE_OF_ALL_IN_ORDER = b"\x03"
_NO_OFFSET = bytes((0xFF,)) * 8
"""A chapter's place is told by its time alone."""

HEADER_BYTES = _FRAME_HEADER_BYTES = 10
"""What a tag and each frame in it begin with; how long the rest is stands in it."""

_NAMES = {"title": "TIT2", "album": "TALB", "artist": "TPE1", "genre": "TCON"}
_LANGUAGE = b"eng"
_MOST_LISTED = 255


def _frame(name: str, content: bytes) -> bytes:
    return name.encode() + len(content).to_bytes(4) + bytes(2) + content


def _encoded(*texts: str) -> bytes:
    """Return texts behind the byte that says how they are encoded, zeros between them."""
    try:
        return _LATIN_1 + b"\0".join(text.encode("ascii") for text in texts)
    except UnicodeEncodeError:
        marked = (b"\xff\xfe" + text.encode("utf-16-le") for text in texts)
        return _UTF_16 + bytes(2).join(marked)


def _text(name: str, text: str) -> bytes:
    return _frame(name, _encoded(text))


def _chapter(name: bytes, chapter: Chapter) -> bytes:
    start, end = (round(moment * 1000).to_bytes(4) for moment in (chapter.start, chapter.end))
    title = _text("TIT2", clean(chapter.title))
    return _frame("CHAP", name + b"\0" + start + end + _NO_OFFSET + title)


def _chapters(chapters: tuple[Chapter, ...]) -> bytes:
    """Return chapters behind their table, which lists so many as it has room for."""
    if not chapters:
        return b""
    names = [f"ch{number}".encode() for number in range(len(chapters))]
    listed = names[:_MOST_LISTED]
    table = b"toc\0" + _TABLE_OF_ALL_IN_ORDER + len(listed).to_bytes() + b"\0".join(listed) + b"\0"
    each = (_chapter(name, chapter) for name, chapter in zip(names, chapters, strict=True))
    return _frame("CTOC", table) + b"".join(each)


def id3_tag(tags: Tags) -> bytes:
    """Return tags, chapters and cover as they stand before the sound of an MP3 file."""
    texts = tags.texts()
    frames = [_text(_NAMES[field], text) for field, text in texts.items() if field in _NAMES]
    if number := tags.number():
        frames.append(_text("TRCK", number))
    if (tempo := tags.whole_tempo()) is not None:
        frames.append(_text("TBPM", str(tempo)))
    if comment := texts.get("comment"):
        encoded = _encoded("", comment)
        frames.append(_frame("COMM", encoded[:1] + _LANGUAGE + encoded[1:]))
    frames.append(_chapters(tags.chapters))
    if tags.picture:
        kind = b"image/png\0" + _FRONT_COVER + b"\0"
        frames.append(_frame("APIC", _LATIN_1 + kind + tags.picture))
    return _tag(b"".join(frames))


def _tag(content: bytes) -> bytes:
    # Seven bits a byte.
    size = bytes(len(content) >> place & 0x7F for place in (21, 14, 7, 0))
    return b"ID3" + bytes((3, 0, 0)) + size + content


def tag_bytes(header: bytes) -> int:
    """Return how many bytes a tag has behind its header; 0 for what is none."""
    if len(header) < HEADER_BYTES or header[:3] != b"ID3":
        return 0
    sevens = zip(header[6:], (21, 14, 7, 0), strict=True)
    return sum((byte & 0x7F) << place for byte, place in sevens)


def renumbered(tag: bytes, number: str) -> bytes:
    """Return a tag that `id3_tag` has made with another number of the track, as `2/5`."""
    frames, at = [], HEADER_BYTES
    while at < len(tag):
        name, size = tag[at : at + 4], int.from_bytes(tag[at + 4 : at + 8])
        end = at + _FRAME_HEADER_BYTES + size
        frames.append(_text("TRCK", number) if name == b"TRCK" else tag[at:end])
        at = end
    return _tag(b"".join(frames))
