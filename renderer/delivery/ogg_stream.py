"""The serial number of an Ogg stream, which encoders draw at random.

It only has to tell streams apart that are multiplexed in one file. Drawn from the track instead,
the same track rendered twice is the same file.

Layout of pages and their checksum: RFC 3533, section 6.
"""

from __future__ import annotations

import zlib
from pathlib import Path

_HEADER = 27
_SERIAL = slice(14, 18)
_CHECKSUM = slice(22, 26)
_MIRRORED = bytes(int(f"{byte:08b}"[::-1], 2) for byte in range(256))
_ONES = 0xFFFF_FFFF


def page_checksum(page: bytes | bytearray) -> int:
    """Return the checksum of an Ogg page whose own four bytes of checksum are zero.

    It is a CRC-32 of zlib's polynomial that takes each byte's highest bit first, begins with zero
    and is not inverted at the end: so bytes and result are mirrored, and both inversions undone.
    """
    mirrored = zlib.crc32(page.translate(_MIRRORED), _ONES) ^ _ONES
    return int.from_bytes(mirrored.to_bytes(4, "little").translate(_MIRRORED))


def number_stream(path: Path, serial: int) -> None:
    """Give the one stream of an Ogg file a serial number of 32 bits, in place.

    Raises `OSError` if the file ends inside a page or is no Ogg file, or the disk fails.
    """
    with path.open("rb+") as file:
        start = 0
        while header := file.read(_HEADER):
            lengths = file.read(header[-1]) if len(header) == _HEADER else b""
            page = bytearray(header + lengths + file.read(sum(lengths)))
            if header[:4] != b"OggS" or len(page) != _HEADER + len(lengths) + sum(lengths):
                raise OSError(0, "the file is no whole Ogg file", str(path))
            page[_SERIAL] = serial.to_bytes(4, "little")
            page[_CHECKSUM] = bytes(4)
            page[_CHECKSUM] = page_checksum(page).to_bytes(4, "little")
            file.seek(start)
            file.write(page)
            start += len(page)
            file.seek(start)
