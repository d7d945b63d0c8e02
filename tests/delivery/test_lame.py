"""What the first frame of an MP3 file notes is true: bytes, checksums, length."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import mutagen.mp3
import pytest

from renderer.delivery import lame
from renderer.delivery.audio import write_audio
from renderer.delivery.tags import Tags
from renderer.errors import RungwiseError
from renderer.order.formats import MP3_RATES, AudioFormat, mp3_kbit_per_s
from tests.delivery.disks import names_in
from tests.delivery.signals import drone

ENCODER_DELAY = 576
"""Samples by which LAME's sound comes late (`ENCDELAY` in its `encoder.h`, 3.100)."""


def bit_by_bit(data: bytes) -> int:
    """CRC-16/ARC (G. Cook, "Catalogue of parametrised CRC algorithms")."""
    crc = 0
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = crc >> 1 ^ (0xA001 if crc & 1 else 0)
    return crc


@pytest.mark.parametrize("rate", MP3_RATES)
@pytest.mark.parametrize("channels", [1, 2])
@pytest.mark.parametrize("is_small", [False, True])
def test_what_the_first_frame_notes_is_what_the_file_holds(
    rate: int, channels: int, is_small: bool, tmp_path: Path
) -> None:
    path = tmp_path / "track.mp3"
    frames = rate + 77
    write_audio(
        [drone(frames, rate=rate, channels=channels)],
        path,
        audio_format=AudioFormat.MP3,
        rate=rate,
        channels=channels,
        frames=frames,
        tags=Tags("x"),
        is_small=is_small,
    )
    read: Any = mutagen.mp3.MP3(path)
    content = path.read_bytes()
    at = content.index(b"Info")
    begins = len(content) - int.from_bytes(content[at + 8 + 4 : at + 16])
    assert content[begins : begins + 2] in (b"\xff\xfb", b"\xff\xf3", b"\xff\xe3")
    noted = content[at + 120 : at + 156]
    trimmed = int.from_bytes(noted[21:24])
    assert trimmed >> 12 == ENCODER_DELAY
    assert int.from_bytes(noted[28:32]) == len(content) - begins
    assert int.from_bytes(noted[34:36]) == bit_by_bit(content[begins : at + 154])
    samples = 1152 if rate >= 32_000 else 576
    kbit = min(mp3_kbit_per_s(rate, channels), 64 if is_small else 999)
    first = begins + samples * kbit * 125 // rate
    assert content[first : first + 2] == content[begins : begins + 2]
    assert int.from_bytes(noted[32:34]) == bit_by_bit(content[first:])
    held = int.from_bytes(content[at + 8 : at + 12]) * samples
    assert held - ENCODER_DELAY - (trimmed & 0xFFF) == frames
    assert read.info.bitrate == pytest.approx(kbit * 1000, rel=0.001)
    assert read.info.bitrate_mode == mutagen.mp3.BitrateMode.CBR
    assert abs(read.info.length - frames / rate) < 0.001


def test_without_lame_an_mp3_is_refused_and_the_message_says_how_to_install_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(lame, "_names", lambda: ("libmp3lame-that-is-nowhere.so",))
    lame._library.cache_clear()
    try:
        with pytest.raises(RungwiseError, match=r"LAME.*not installed\. Install it: on Debian"):
            write_audio(
                [drone(100)],
                tmp_path / "track.mp3",
                audio_format=AudioFormat.MP3,
                rate=44_100,
                channels=2,
                frames=100,
                tags=Tags("x"),
            )
    finally:
        lame._library.cache_clear()
    assert names_in(tmp_path) == []
