"""The LAME tag of an MP3 file: how many samples a decoder should trim at either end.

MP3 comes in frames of 1152 (MPEG-1) or 576 samples, and encoding adds a delay, so that a file holds
more samples than went in. LAME's extension of the Info frame notes both ends in frames of samples.
ffmpeg notes the padding of the last MP3 frame only; where its encoder has added a whole further one
(lengths within 46 samples of a frame's end, measured) decoders give back up to 46 samples too many.

Layout: G. Bouvigne, "MP3 info tag revision 1 specifications" (the LAME project).
"""

from __future__ import annotations

from pathlib import Path

_INFO_WITHIN = 64
_FLAGS_ALL = 0x0F
_DELAYS_AT = 120 + 21
_CRC_AT = 120 + 34
"""Bytes from `Info`: the tag's own part comes after 120 of frames, bytes, table and quality."""


def crc16(data: bytes | bytearray) -> int:
    """Return the CRC-16 of a LAME tag: polynomial 0x8005, reflected, starting from 0."""
    crc = 0
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = crc >> 1 ^ (0xA001 if crc & 1 else 0)
    return crc


def _sound_at(head: bytes) -> int:
    """Return how many bytes of ID3v2 tag stand before the sound (id3.org, ID3v2.3.0, 3.1)."""
    if len(head) < 10 or head[:3] != b"ID3":
        return 0
    return 10 + sum(byte << 7 * place for byte, place in zip(head[6:10], (3, 2, 1, 0), strict=True))


def note_length(path: Path, frames: int) -> None:
    """Correct the padding in an MP3 file's LAME tag so that decoders give back `frames`.

    Parameters
    ----------
    path:
        A complete MP3 file whose sound begins with its Info frame, an ID3v2 tag before it or not.
    frames:
        How many samples a channel went into the encoder.

    Raises
    ------
    ValueError
        If the file has no complete LAME tag or holds fewer samples than that.
    """
    with path.open("rb+") as file:
        start = _sound_at(file.read(10))
        file.seek(start)
        head = bytearray(file.read(_INFO_WITHIN + _CRC_AT + 2))
        info = max(head[:_INFO_WITHIN].find(b"Info"), head[:_INFO_WITHIN].find(b"Xing"))
        if info < 0 or int.from_bytes(head[info + 4 : info + 8]) != _FLAGS_ALL:
            raise ValueError("the MP3 file has no complete Info frame")
        is_mpeg1 = head[1] & 0x18 == 0x18
        held = int.from_bytes(head[info + 8 : info + 12]) * (1152 if is_mpeg1 else 576)
        delays = slice(info + _DELAYS_AT, info + _DELAYS_AT + 3)
        delay = int.from_bytes(head[delays]) >> 12
        padding = held - delay - frames
        if not 0 <= padding < 1 << 12:
            raise ValueError(f"an MP3 file of {held} samples cannot hold {frames}")
        head[delays] = (delay << 12 | padding).to_bytes(3)
        crc_at = info + _CRC_AT
        head[crc_at : crc_at + 2] = crc16(head[:crc_at]).to_bytes(2)
        file.seek(start)
        file.write(head)
