"""Tags: what a player shows for a track, written into an audio file.

MP3 gets ID3v2.3 (which Windows and car radios read too), FLAC and Ogg get Vorbis comments, WAV gets
a RIFF INFO list (see `info_strings`, written with the samples) and an ID3 chunk.
"""

from __future__ import annotations

import errno
import unicodedata
import zlib
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

from renderer.order.formats import AudioFormat

GENRE = "Bagpipe practice"

_LONGEST = 1_000
"""Characters of a text; longer ones are cut, since old players have small buffers."""


@dataclass(frozen=True, slots=True)
class Tags:
    """What a player shows for a track.

    Parameters
    ----------
    title, album:
        The track's name, and the name of the series that it belongs to.
    artist:
        The class or band that the exercise is for; may be empty.
    track, tracks:
        The track's number in its series, from 1, and how many there are; 0 for unknown.
    tempo:
        Beats per minute; None for unknown. ID3 has whole numbers only and gets it rounded.
    comment:
        Pitch, scale and gracenote length in a sentence.
    genre:
        The kind of music.
    """

    title: str
    album: str = ""
    artist: str = ""
    track: int = 0
    tracks: int = 0
    tempo: Fraction | None = None
    comment: str = ""
    genre: str = GENRE

    def texts(self) -> dict[str, str]:
        """Return the texts that are not empty, by field, fit for one line of a player."""
        pairs = ((name, getattr(self, name)) for name in ("title", "album", "artist", "genre"))
        texts = {name: _clean(text) for name, text in (*pairs, ("comment", self.comment))}
        return {name: text for name, text in texts.items() if text}


def _clean(text: str) -> str:
    one_line = " ".join(text.split())
    kept = (c for c in one_line if unicodedata.category(c) not in ("Cc", "Cs"))
    return "".join(kept)[:_LONGEST]


def info_strings(tags: Tags) -> dict[str, str]:
    """Return the strings of a RIFF INFO list by the names that `soundfile` has for them."""
    strings = tags.texts()
    if tags.track:
        strings["tracknumber"] = str(tags.track)
    return strings


def _id3_frames(tags: Tags) -> list[Any]:
    from mutagen import id3

    utf16 = id3.Encoding.UTF16
    texts = tags.texts()
    kinds = {"title": id3.TIT2, "album": id3.TALB, "artist": id3.TPE1, "genre": id3.TCON}
    frames = [kinds[name](utf16, [text]) for name, text in texts.items() if name in kinds]
    if "comment" in texts:
        frames.append(id3.COMM(utf16, "eng", "", [texts["comment"]]))
    if tags.track:
        number = f"{tags.track}/{tags.tracks}" if tags.tracks else str(tags.track)
        frames.append(id3.TRCK(id3.Encoding.LATIN1, [number]))
    if tags.tempo is not None:
        beats = int(tags.tempo + Fraction(1, 2))
        frames.append(id3.TBPM(id3.Encoding.LATIN1, [str(beats)]))
    return frames


def _vorbis_comments(tags: Tags) -> dict[str, str]:
    comments = {name.upper(): text for name, text in tags.texts().items()}
    if tags.track:
        comments["TRACKNUMBER"] = str(tags.track)
    if tags.tracks:
        comments["TRACKTOTAL"] = str(tags.tracks)
    if tags.tempo is not None:
        comments["BPM"] = f"{float(tags.tempo):g}"
    return comments


def _os_error(error: BaseException) -> OSError | None:
    """Find the operating system's error that a mutagen error stands for."""
    for candidate in (error, *error.args, error.__cause__, error.__context__):
        if isinstance(candidate, OSError):
            return candidate
    return None


def write_tags(path: Path, audio_format: AudioFormat, tags: Tags) -> None:
    """Write tags into a complete audio file, in place.

    Parameters
    ----------
    path:
        The file; its name may be any.
    audio_format:
        What it is.
    tags:
        What to write. An RF64 file (a WAV over 4 GB) keeps its INFO list only, since no reader
        knows ID3 chunks in those.

    Raises
    ------
    OSError
        If the disk is full or fails.
    """
    import mutagen

    try:
        _write(path, audio_format, tags)
    except mutagen.MutagenError as error:
        raise _os_error(error) or OSError(errno.EIO, str(error), str(path)) from error


def _write(path: Path, audio_format: AudioFormat, tags: Tags) -> None:
    from mutagen.flac import FLAC
    from mutagen.id3 import ID3
    from mutagen.oggvorbis import OggVorbis
    from mutagen.wave import WAVE

    name = str(path)
    if audio_format is AudioFormat.MP3:
        id3 = ID3()
        for frame in _id3_frames(tags):
            id3.add(frame)
        id3.save(name, v2_version=3, v1=0)
    elif audio_format is AudioFormat.WAV:
        if _is_rf64(path):
            return
        wave = WAVE(name)
        wave.add_tags()
        for frame in _id3_frames(tags):
            wave.tags.add(frame)
        wave.save(v2_version=3)
    else:
        music = FLAC(name) if audio_format is AudioFormat.FLAC else OggVorbis(name)
        music.delete()
        music.update(_vorbis_comments(tags))
        music.save()
        if audio_format is AudioFormat.OGG:
            _number_stream(path, zlib.crc32(repr(tags).encode()))


def _is_rf64(path: Path) -> bool:
    with path.open("rb") as file:
        return file.read(4) == b"RF64"


def _number_stream(path: Path, serial: int) -> None:
    """Give an Ogg stream its serial number, which the encoder draws at random.

    The same track rendered twice is then the same file (RFC 3533: the number only has to tell
    streams apart that are multiplexed in one file).
    """
    from mutagen.ogg import OggPage

    with path.open("rb+") as file:
        while True:
            start = file.tell()
            try:
                page = OggPage(file)
            except EOFError:
                return
            end = file.tell()
            page.serial = serial
            file.seek(start)
            file.write(page.write())
            file.seek(end)
