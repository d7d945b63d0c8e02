"""Tags come back as they went in, read by mutagen and by ffmpeg."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path
from typing import Any

import mutagen
import mutagen.flac
import mutagen.mp3
import mutagen.oggvorbis
import mutagen.wave
import pytest
import soundfile

from renderer.delivery.audio import write_audio
from renderer.delivery.tags import GENRE, Tags
from renderer.order.formats import AudioFormat
from tests.delivery.signals import drone, metadata_seen_by_ffmpeg

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
        rate=44_100,
        channels=2,
        frames=20_000,
        tags=tags,
    )
    return path


@pytest.mark.parametrize("audio_format", [AudioFormat.MP3, AudioFormat.WAV])
def test_id3_tags_come_back(audio_format: AudioFormat, tmp_path: Path) -> None:
    path = write(TAGS, tmp_path, audio_format)
    reader = mutagen.mp3.MP3 if audio_format is AudioFormat.MP3 else mutagen.wave.WAVE
    tags: Any = reader(path).tags
    assert {kind: tags[kind].text[0] for kind in ID3_KINDS} == ID3_KINDS
    assert tags.getall("COMM")[0].text == [TAGS.comment]
    assert tags.version == (2, 3, 0)


@pytest.mark.parametrize("audio_format", [AudioFormat.FLAC, AudioFormat.OGG])
def test_vorbis_comments_come_back(audio_format: AudioFormat, tmp_path: Path) -> None:
    path = write(TAGS, tmp_path, audio_format)
    is_flac = audio_format is AudioFormat.FLAC
    reader: Any = mutagen.flac.FLAC if is_flac else mutagen.oggvorbis.OggVorbis
    tags = {name.upper(): values for name, values in dict(reader(path).tags).items()}
    assert tags == {
        "TITLE": [TAGS.title],
        "ALBUM": [TAGS.album],
        "ARTIST": [TAGS.artist],
        "GENRE": [GENRE],
        "TRACKNUMBER": ["2"],
        "TRACKTOTAL": ["4"],
        "BPM": ["62.5"],
        "COMMENT": [TAGS.comment],
    }


@pytest.mark.parametrize("audio_format", list(AudioFormat))
def test_ffmpeg_sees_the_same_tags(audio_format: AudioFormat, tmp_path: Path) -> None:
    seen = metadata_seen_by_ffmpeg(write(TAGS, tmp_path, audio_format))
    for text in (TAGS.title, TAGS.album, TAGS.artist, TAGS.comment, GENRE):
        assert f": {text}\n" in seen


def test_a_wav_also_has_a_riff_info_list(tmp_path: Path) -> None:
    with soundfile.SoundFile(write(TAGS, tmp_path, AudioFormat.WAV)) as file:
        assert (file.title, file.album, file.comment) == (TAGS.title, TAGS.album, TAGS.comment)
        assert file.tracknumber == "2"


@pytest.mark.parametrize("audio_format", list(AudioFormat))
def test_tags_leave_the_samples_alone(audio_format: AudioFormat, tmp_path: Path) -> None:
    bare, tagged = tmp_path / "bare", tmp_path / "tagged"
    bare.mkdir()
    tagged.mkdir()
    one = soundfile.read(write(Tags("x"), bare, audio_format))[0]
    other = soundfile.read(write(TAGS, tagged, audio_format))[0]
    assert (one == other).all()


@pytest.mark.parametrize("audio_format", list(AudioFormat))
def test_no_title_breaks_a_tag(audio_format: AudioFormat, tmp_path: Path) -> None:
    title = 'Nul\x00 newline\n quotes" emoji 🎵 ' + "long " * 300
    path = write(Tags(title, comment="=;\\"), tmp_path, audio_format)
    seen = metadata_seen_by_ffmpeg(path)
    assert ': Nul newline quotes" emoji 🎵 long long' in seen
    assert soundfile.info(path).frames == 20_000


@pytest.mark.parametrize("audio_format", list(AudioFormat))
def test_the_same_track_twice_is_the_same_file(audio_format: AudioFormat, tmp_path: Path) -> None:
    first = write(TAGS, tmp_path, audio_format).read_bytes()
    assert write(TAGS, tmp_path, audio_format).read_bytes() == first
