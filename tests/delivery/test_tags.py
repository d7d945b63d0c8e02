"""Tags, chapters and covers come back as they went in, read by mutagen and by ffmpeg."""

from __future__ import annotations

import base64
import io
import re
import struct
import zlib
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from typing import Any

import mutagen
import mutagen.flac
import mutagen.mp3
import mutagen.mp4
import mutagen.ogg
import mutagen.oggopus
import mutagen.oggvorbis
import mutagen.wave
import numpy as np
import pytest
import soundfile
from PIL import Image

from renderer.delivery import audio
from renderer.delivery.audio import write_audio
from renderer.delivery.ogg_stream import number_stream
from renderer.delivery.tags import GENRE, Chapter, Tags
from renderer.order.formats import AudioFormat, rate_in
from tests.delivery.signals import decoded, drone, frames_in, metadata_seen_by_ffmpeg

TAGS = Tags(
    title="Càrn Dùbh “grips” 🎵, 62.5 bpm",
    album="Càrn Dùbh grips, B flat, full",
    artist="Larkmoor juniors",
    track=2,
    tracks=4,
    tempo=Fraction(125, 2),
    comment="Pitch B flat (466.16 Hz); gracenotes 45 ms",
)
ID3_KINDS = {
    "TIT2": TAGS.title,
    "TALB": TAGS.album,
    "TPE1": TAGS.artist,
    "TCON": GENRE,
    "TRCK": "2/4",
    "TBPM": "63",
}


def write(tags: Tags, folder: Path, audio_format: AudioFormat) -> Path:
    path = folder / f"track{audio_format.ending}"
    write_audio(
        [drone(20_000)],
        path,
        audio_format=audio_format,
        rate=rate_in(audio_format, 44_100),
        channels=2,
        frames=20_000,
        tags=tags,
    )
    return path


def test_id3_tags_come_back(tmp_path: Path) -> None:
    tags: Any = mutagen.mp3.MP3(write(TAGS, tmp_path, AudioFormat.MP3)).tags
    assert {kind: tags[kind].text[0] for kind in ID3_KINDS} == ID3_KINDS
    assert tags["COMM::eng"].text == [TAGS.comment]
    assert tags.version == (2, 3, 0)


@pytest.mark.parametrize("audio_format", [AudioFormat.FLAC, AudioFormat.OGG])
def test_vorbis_comments_come_back(audio_format: AudioFormat, tmp_path: Path) -> None:
    path = write(TAGS, tmp_path, audio_format)
    is_flac = audio_format is AudioFormat.FLAC
    reader: Any = mutagen.flac.FLAC if is_flac else mutagen.oggvorbis.OggVorbis
    tags = {name.upper(): values for name, values in dict(reader(path).tags).items()}
    tags.pop("ENCODER", None)
    assert tags == {
        "TITLE": [TAGS.title],
        "ALBUM": [TAGS.album],
        "ARTIST": [TAGS.artist],
        "GENRE": [GENRE],
        "TRACKNUMBER": ["2/4"],
        "COMMENT": [TAGS.comment],
        "BPM": ["62.5"],
    }


@pytest.mark.parametrize("audio_format", [AudioFormat.FLAC, AudioFormat.OGG])
@pytest.mark.parametrize(
    ("tempo", "written"),
    [(Fraction(10), "10"), (Fraction(400), "400"), (Fraction(200, 3), "66.67"), (None, None)],
)
def test_flac_and_ogg_tell_the_tempo(
    audio_format: AudioFormat, tempo: Fraction | None, written: str | None, tmp_path: Path
) -> None:
    long = replace(TAGS, tempo=tempo, title="BPM=2 " * 150, comment="BPM=1 " * 180)
    path = write(long, tmp_path, audio_format)
    tags: Any = mutagen.File(path).tags
    assert tags.get("BPM") == (None if written is None else [written])
    seen = metadata_seen_by_ffmpeg(path)
    assert (f": {written}\n" in seen) is (written is not None)
    assert soundfile.info(path).frames == 20_000


def test_an_opus_file_has_vorbis_comments(tmp_path: Path) -> None:
    tags: Any = mutagen.oggopus.OggOpus(write(TAGS, tmp_path, AudioFormat.OPUS)).tags
    found = {name.upper(): values for name, values in dict(tags).items()}
    found.pop("ENCODER", None)
    assert found == {
        "TITLE": [TAGS.title],
        "ALBUM": [TAGS.album],
        "ARTIST": [TAGS.artist],
        "GENRE": [GENRE],
        "TRACKNUMBER": ["2/4"],
        "DESCRIPTION": [TAGS.comment],
        "BPM": ["62.5"],
    }


def test_an_m4a_file_has_the_boxes_that_players_read(tmp_path: Path) -> None:
    tags: Any = mutagen.mp4.MP4(write(TAGS, tmp_path, AudioFormat.M4A)).tags
    texts = {"\xa9nam": TAGS.title, "\xa9alb": TAGS.album, "\xa9ART": TAGS.artist}
    texts |= {"\xa9gen": GENRE, "\xa9cmt": TAGS.comment}
    assert {name: tags[name] for name in texts} == {name: [text] for name, text in texts.items()}
    assert (tags["trkn"], tags["tmpo"]) == ([(2, 4)], [63])


def black_dot() -> bytes:
    """Return a PNG picture of one black pixel (ISO/IEC 15948: signature, IHDR, IDAT, IEND)."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + zlib.crc32(kind + data).to_bytes(4)

    header = struct.pack(">IIBBBBB", 1, 1, 8, 0, 0, 0, 0)
    pixel = chunk(b"IDAT", zlib.compress(bytes(2)))
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + pixel + chunk(b"IEND", b"")


def test_chapters_and_cover_of_an_mp3_come_back_and_leave_the_samples_alone(
    tmp_path: Path,
) -> None:
    dot = black_dot()
    lines = ("Line 1: low A to D, 60", "Line 2; = # \\", "Zeile 3: „Triller“")
    bounds = (Fraction(0), Fraction(123_456, 1_000_000), Fraction(1, 4), Fraction(20_000, 44_100))
    chapters = tuple(map(Chapter, bounds[:-1], bounds[1:], lines))
    path = write(replace(TAGS, chapters=chapters, picture=dot), tmp_path, AudioFormat.MP3)
    tags: Any = mutagen.mp3.MP3(path).tags
    found = [tags[f"CHAP:{name}"] for name in tags["CTOC:toc"].child_element_ids]
    titles = [chapter.sub_frames["TIT2"].text[0].strip() for chapter in found]
    assert titles == list(lines)
    for chapter, start, end in zip(found, bounds[:-1], bounds[1:], strict=True):
        assert abs(chapter.start_time - 1000 * start) <= 1
        assert abs(chapter.end_time - 1000 * end) <= 1
    (cover,) = tags.getall("APIC")
    assert (cover.data, cover.mime, int(cover.type)) == (dot, "image/png", 3)
    assert tags["TIT2"].text == [TAGS.title]
    bare = tmp_path / "bare"
    bare.mkdir()
    assert (decoded(path) == decoded(write(TAGS, bare, AudioFormat.MP3))).all()
    assert sorted(file.name for file in tmp_path.iterdir()) == ["bare", "track.mp3"]


@pytest.mark.parametrize("audio_format", [AudioFormat.M4A, AudioFormat.OPUS])
def test_chapters_of_m4a_and_opus_come_back_and_leave_the_samples_alone(
    audio_format: AudioFormat, tmp_path: Path
) -> None:
    rate = rate_in(audio_format, 44_100)
    bounds = (Fraction(0), Fraction(1, 8), Fraction(1, 4), Fraction(20_000, rate))
    lines = ("Line 1: low A to D, 60", "Line 2; = #", "Zeile 3: „Triller“")
    chapters = tuple(map(Chapter, bounds[:-1], bounds[1:], lines))
    picture = black_dot()
    path = write(replace(TAGS, chapters=chapters, picture=picture), tmp_path, audio_format)
    seen = metadata_seen_by_ffmpeg(path)
    for number, (line, start) in enumerate(zip(lines, bounds, strict=False)):
        found = re.search(rf"Chapter #0:{number}: start ([\d.]+)", seen)
        assert found is not None
        assert abs(float(found[1]) - start) < 0.001
        assert f": {line}\n" in seen
    if audio_format is AudioFormat.M4A:
        (cover,) = mutagen.mp4.MP4(path).tags["covr"]
        assert bytes(cover) == picture
    bare = tmp_path / "bare"
    bare.mkdir()
    assert (decoded(path) == decoded(write(TAGS, bare, audio_format))).all()
    assert frames_in(path) == 20_000


def many_chapters(count: int) -> tuple[Chapter, ...]:
    moments = [Fraction(at, 4001) for at in range(count + 1)]
    return tuple(
        Chapter(start, end, f"Line {number}: \u201egrips\u201c; = # \\")
        for number, (start, end) in enumerate(pairwise(moments), start=1)
    )


@pytest.mark.parametrize("audio_format", [AudioFormat.FLAC, AudioFormat.OGG, AudioFormat.OPUS])
@pytest.mark.parametrize("count", [2, 255, 999])
def test_chapters_and_cover_come_back_from_vorbis_comments_and_leave_the_samples_alone(
    audio_format: AudioFormat, count: int, tmp_path: Path
) -> None:
    chapters = many_chapters(count)
    # A picture longer than a page of Ogg, whose segments hold 65,025 bytes.
    noise = io.BytesIO()
    grains = np.random.default_rng(1).integers(0, 256, (300, 200, 3), np.uint8)
    Image.fromarray(grains).save(noise, "PNG")
    picture = noise.getvalue()
    assert len(picture) > 2 * 65_025
    path = write(replace(TAGS, chapters=chapters, picture=picture), tmp_path, audio_format)
    read: Any = mutagen.File(path)
    for number, chapter in enumerate(chapters, start=1):
        (time,), (name,) = (read[f"CHAPTER{number:03d}{what}"] for what in ("", "NAME"))
        hours, minutes, seconds = time.split(":")
        moment = 3600 * int(hours) + 60 * int(minutes) + Fraction(seconds)
        assert abs(moment - chapter.start) <= Fraction(1, 2000)
        assert name.rstrip() == chapter.title
    if audio_format is AudioFormat.FLAC:
        (cover,) = read.pictures
    else:
        cover = mutagen.flac.Picture(base64.b64decode(read["METADATA_BLOCK_PICTURE"][0]))
    assert (cover.data, cover.mime, cover.type) == (picture, "image/png", 3)
    assert (cover.width, cover.height) == (200, 300)
    seen = metadata_seen_by_ffmpeg(path)
    assert seen.count("Chapter #") == count
    bare = tmp_path / "bare"
    bare.mkdir()
    assert (decoded(path) == decoded(write(TAGS, bare, audio_format))).all()
    assert frames_in(path) == 20_000
    assert sorted(file.name for file in tmp_path.iterdir()) == ["bare", path.name]


@pytest.mark.parametrize("audio_format", list(AudioFormat))
def test_ffmpeg_sees_the_same_tags(audio_format: AudioFormat, tmp_path: Path) -> None:
    seen = metadata_seen_by_ffmpeg(write(TAGS, tmp_path, audio_format))
    for text in (TAGS.title, TAGS.album, TAGS.artist, TAGS.comment, GENRE):
        assert f": {text}\n" in seen


def test_a_wav_also_has_a_riff_info_list(tmp_path: Path) -> None:
    with soundfile.SoundFile(write(TAGS, tmp_path, AudioFormat.WAV)) as file:
        assert (file.title, file.album, file.comment) == (TAGS.title, TAGS.album, TAGS.comment)
        assert file.tracknumber == "2/4"


def test_a_wav_has_the_tags_of_an_mp3_as_well(tmp_path: Path) -> None:
    read: Any = mutagen.File(write(TAGS, tmp_path, AudioFormat.WAV))
    assert isinstance(read, mutagen.wave.WAVE)
    assert {name: str(read.tags[name]) for name in ID3_KINDS} == ID3_KINDS


def test_a_wav_beyond_four_gigabytes_counts_what_is_added_to_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(audio, "LARGEST_WAV_BYTES", 1_000)
    path = write(TAGS, tmp_path, AudioFormat.WAV)
    data = path.read_bytes()
    assert data[:4] == b"RF64"
    assert data[12:16] == b"ds64"
    assert int.from_bytes(data[20:28], "little") == len(data) - 8
    at = data.find(b"id3 ")
    assert int.from_bytes(data[at + 4 : at + 8], "little") in (
        len(data) - at - 8,
        len(data) - at - 9,
    )
    assert f": {TAGS.title}\n" in metadata_seen_by_ffmpeg(path)


@pytest.mark.parametrize("audio_format", list(AudioFormat))
def test_tags_leave_the_samples_alone(audio_format: AudioFormat, tmp_path: Path) -> None:
    bare, tagged = tmp_path / "bare", tmp_path / "tagged"
    bare.mkdir()
    tagged.mkdir()
    one = decoded(write(Tags("x"), bare, audio_format))
    other = decoded(write(TAGS, tagged, audio_format))
    assert (one == other).all()


@pytest.mark.parametrize("audio_format", list(AudioFormat))
def test_no_title_breaks_a_tag(audio_format: AudioFormat, tmp_path: Path) -> None:
    title = 'Nul\x00 newline\n quotes" emoji 🎵 ' + "long " * 300
    path = write(Tags(title, comment="=;\\"), tmp_path, audio_format)
    seen = metadata_seen_by_ffmpeg(path)
    assert ': Nul newline quotes" emoji 🎵 long long' in seen
    assert frames_in(path) == 20_000


@pytest.mark.parametrize("audio_format", list(AudioFormat))
def test_the_same_track_twice_is_the_same_file(audio_format: AudioFormat, tmp_path: Path) -> None:
    first = write(TAGS, tmp_path, audio_format).read_bytes()
    assert write(TAGS, tmp_path, audio_format).read_bytes() == first


def test_an_ogg_page_with_another_number_is_whole_for_an_independent_reader(
    tmp_path: Path,
) -> None:
    path = write(TAGS, tmp_path, AudioFormat.OGG)
    number_stream(path, 0x1234_5678)
    with path.open("rb") as file:
        while file.tell() < path.stat().st_size:
            page = mutagen.ogg.OggPage(file)
            assert page.serial == 0x1234_5678
            # mutagen works out the checksum anew when it writes a page.
            start = page.offset
            here = file.tell()
            file.seek(start)
            assert file.read(here - start) == page.write()
    assert soundfile.info(path).frames == 20_000
