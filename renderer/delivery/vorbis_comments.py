"""Comments of FLAC and Ogg Vorbis files that libsndfile has no word for: tempo, chapters, cover.

Vorbis comments are texts such as `TITLE=Birls`, each behind its length in four bytes (Xiph.org,
"Ogg Vorbis I format specification: comment field and header specification"); FLAC has them in a
metadata block (RFC 9639, section 8.6). Chapters are comments named `CHAPTER001` and
`CHAPTER001NAME` (Xiph.org wiki, "Chapter Extension"); a cover is FLAC's picture block (RFC 9639,
section 8.8), in Ogg as the text `METADATA_BLOCK_PICTURE` (Xiph.org wiki, "VorbisComment"). Players
read the tempo under the name BPM.

libsndfile writes a fixed choice of names, DATE among them: it is given a date of as many letters as
all that needs (`stand_in`), and that one text is replaced in place (`put_in_place`), which moves
nothing else.
"""

from __future__ import annotations

import base64
from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path
from typing import BinaryIO

_FRONT_COVER = 3
_PICTURE, _COMMENT = 6, 4
_LAST_BLOCK = 0x80
_BLOCK_HEADER = 4
_PAGE_HEADER = 27
_NAME = "DATE="


def tempo_text(tempo: Fraction) -> str:
    """Return a tempo in beats a minute with at most two decimals, and two digits before them."""
    decimals = f"{float(tempo):05.2f}"
    return decimals.rstrip("0").rstrip(".")


def chapter_time(moment: Fraction) -> str:
    """Return a moment in seconds as chapters have it: `00:01:02.345`."""
    minutes, ms = divmod(round(moment * 1000), 60_000)
    return f"{minutes // 60:02d}:{minutes % 60:02d}:{ms // 1000:02d}.{ms % 1000:03d}"


def picture_block(png: bytes) -> bytes:
    """Return a PNG picture as FLAC's picture block, the front cover."""
    mime = b"image/png"
    # ISO/IEC 15948: the header chunk begins with width, height and bits a sample.
    width, height, bits = png[16:20], png[20:24], bytes((0, 0, 0, png[24]))
    parts = (_FRONT_COVER.to_bytes(4), len(mime).to_bytes(4), mime, bytes(4), width, height)
    return b"".join((*parts, bits, bytes(4), len(png).to_bytes(4), png))


def ogg_picture(png: bytes) -> str:
    """Return a PNG picture as the comment that Ogg files have for their cover."""
    return f"METADATA_BLOCK_PICTURE={base64.b64encode(picture_block(png)).decode()}"


def _entries(comments: Sequence[str]) -> bytes:
    texts = (comment.encode() for comment in comments)
    return b"".join(len(text).to_bytes(4, "little") + text for text in texts)


def stand_in(comments: Sequence[str], picture: bytes = b"") -> str:
    """Return the date that makes room for comments, and in FLAC for a cover as PNG."""
    room = len(_entries(comments))
    if picture:
        room += _BLOCK_HEADER + len(picture_block(picture))
    return "-" * (room - 4 - len(_NAME))


def _replaced(block: bytes, comments: Sequence[str], picture: bytes) -> bytes | None:
    """Return a comment header, from its vendor on, with comments in the place of the date."""
    text = (_NAME + stand_in(comments, picture)).encode()
    entry = len(text).to_bytes(4, "little") + text
    at = block.upper().find(entry.upper())
    if at < 0:
        return None
    count_at = 4 + int.from_bytes(block[:4], "little")
    count = int.from_bytes(block[count_at : count_at + 4], "little") - 1 + len(comments)
    new = block[:at] + _entries(comments) + block[at + len(entry) :]
    return new[:count_at] + count.to_bytes(4, "little") + new[count_at + 4 :]


def put_in_place(path: Path, comments: Sequence[str], picture: bytes = b"") -> None:
    """Put comments, and in FLAC a cover, in the place of the date that `stand_in` made room with.

    Checksums of Ogg pages are not made anew (`renderer.delivery.ogg_stream` does). Raises `OSError`
    if the file has no such date, or the disk fails.
    """
    with path.open("rb+") as file:
        is_flac = file.read(4) == b"fLaC"
        done = _in_flac(file, comments, picture) if is_flac else _in_ogg(file, comments)
    if not done:
        raise OSError(0, "the file has no room for its tags", str(path))


def _in_flac(file: BinaryIO, comments: Sequence[str], picture: bytes) -> bool:
    is_last = False
    while not is_last:
        start = file.tell()
        head = file.read(_BLOCK_HEADER)
        if len(head) < _BLOCK_HEADER:
            return False
        is_last, kind = bool(head[0] & _LAST_BLOCK), head[0] & ~_LAST_BLOCK
        block = file.read(int.from_bytes(head[1:]))
        if kind != _COMMENT:
            continue
        new = _replaced(block, comments, picture)
        if new is None:
            return False
        blocks = [(_COMMENT, new), *([(_PICTURE, picture_block(picture))] if picture else ())]
        file.seek(start)
        for number, (what, content) in enumerate(blocks, start=1):
            flag = _LAST_BLOCK if is_last and number == len(blocks) else 0
            file.write((what | flag).to_bytes(1) + len(content).to_bytes(3) + content)
        return True
    return False


def _in_ogg(file: BinaryIO, comments: Sequence[str]) -> bool:
    name = b"\x03vorbis"
    wanted = len(stand_in(comments)) + 4096
    file.seek(0)
    places: list[tuple[int, int]] = []
    content = b""
    # The comments begin on the second page and go on over as many as they need.
    while (head := file.read(_PAGE_HEADER)) and len(content) < 2 * wanted:
        lengths = file.read(head[-1])
        places.append((file.tell(), sum(lengths)))
        content += file.read(sum(lengths))
    at = content.find(name)
    new = _replaced(content[at + len(name) :], comments, b"") if at >= 0 else None
    if new is None:
        return False
    whole, done = content[: at + len(name)] + new, 0
    for place, length in places:
        file.seek(place)
        file.write(whole[done : done + length])
        done += length
    return True
