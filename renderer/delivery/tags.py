"""Tags: what a player shows for a track, as its encoder takes them.

libsndfile writes them into WAV (a RIFF INFO list), FLAC and Ogg (Vorbis comments) along with the
samples: `soundfile_strings`; what it has no word for is added behind it: `vorbis_comments`, and in
WAV `renderer.delivery.wav_chunks`. ffmpeg
writes them into M4A (iTunes' boxes) and Opus (Vorbis comments), chapters and cover included but in
Opus, from a file of its metadata format: `ffmetadata`. MP3's are made in `renderer.delivery.id3`.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from fractions import Fraction

from renderer.delivery.vorbis_comments import chapter_time, ogg_picture, tempo_text
from renderer.order.formats import AudioFormat

GENRE = "Bagpipe practice"

_LONGEST = 1_000
"""Characters of a text; longer ones are cut, since old players have small buffers."""


@dataclass(frozen=True, slots=True)
class Chapter:
    """A part of a track that a player can jump to: where it begins and ends in seconds, its name.

    Files count chapters in whole milliseconds, but for WAV, whose markers stand at frames, and cue
    sheets.
    """

    start: Fraction
    end: Fraction
    title: str


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
        Beats per minute; None for unknown. ID3's field, which MP3 and WAV have, is of whole
        numbers.
    comment:
        Pitch, scale and gracenote length in a sentence.
    genre:
        The kind of music.
    chapters:
        Parts to jump to, in order.
    picture:
        A cover as PNG; empty for none, as tracks in WAV have it.
    """

    title: str
    album: str = ""
    artist: str = ""
    track: int = 0
    tracks: int = 0
    tempo: Fraction | None = None
    comment: str = ""
    genre: str = GENRE
    chapters: tuple[Chapter, ...] = ()
    picture: bytes = b""

    def texts(self) -> dict[str, str]:
        """Return the texts that are not empty, by field, fit for one line of a player."""
        pairs = ((name, getattr(self, name)) for name in ("title", "album", "artist", "genre"))
        texts = {name: clean(text) for name, text in (*pairs, ("comment", self.comment))}
        return {name: text for name, text in texts.items() if text}

    def whole_tempo(self) -> int | None:
        """Return the tempo where only whole numbers have a field; None for unknown."""
        return None if self.tempo is None else int(self.tempo + Fraction(1, 2))

    def number(self) -> str:
        """Return the track's number, and of how many, as `2/4`; empty if it has none."""
        if not self.track:
            return ""
        return f"{self.track}/{self.tracks}" if self.tracks else str(self.track)


def clean(text: str) -> str:
    """Return a text fit for one line of a player."""
    one_line = " ".join(text.split())
    kept = (c for c in one_line if unicodedata.category(c) not in ("Cc", "Cs"))
    return "".join(kept)[:_LONGEST]


def soundfile_strings(tags: Tags) -> dict[str, str]:
    """Return the strings of a WAV, FLAC or Ogg file by the names that `soundfile` has for them."""
    strings = tags.texts()
    if number := tags.number():
        strings["tracknumber"] = number
    return strings


def vorbis_comments(tags: Tags, audio_format: AudioFormat) -> list[str]:
    """Return the comments of a FLAC, Ogg or Opus file that its encoder has no name of its own for.

    A cover is among them but in FLAC, which has a block for it; there the comments are never empty
    where there is one.
    """
    comments = [] if tags.tempo is None else [f"BPM={tempo_text(tags.tempo)}"]
    for number, chapter in enumerate(tags.chapters, start=1):
        comments.append(f"CHAPTER{number:03d}={chapter_time(chapter.start)}")
        comments.append(f"CHAPTER{number:03d}NAME={clean(chapter.title)}")
    if tags.picture and audio_format is not AudioFormat.FLAC:
        comments.append(ogg_picture(tags.picture))
    if tags.picture and not comments:
        comments.append("DESCRIPTION=")
    return comments


def _quoted(text: str) -> str:
    quoted = re.sub(r"([=;#\\\n])", r"\\\1", text)
    # ffmpeg takes a line that ends in a backslash for one that goes on, quoted or not.
    return f"{quoted} " if quoted.endswith("\\") else quoted


def ffmetadata(tags: Tags, audio_format: AudioFormat) -> str:
    """Return tags and chapters in ffmpeg's metadata format (ffmpeg-formats, "Metadata")."""
    fields = tags.texts()
    if number := tags.number():
        fields["track"] = number
    if audio_format is AudioFormat.OPUS:
        # ffmpeg counts chapters from 0 there, which not all players know, and knows no cover.
        fields |= dict(one.split("=", 1) for one in vorbis_comments(tags, audio_format))
    elif (tempo := tags.whole_tempo()) is not None:
        fields["tmpo"] = str(tempo)
    lines = [";FFMETADATA1", *(f"{name}={_quoted(text)}" for name, text in fields.items())]
    for chapter in () if audio_format is AudioFormat.OPUS else tags.chapters:
        start, end = (round(moment * 1000) for moment in (chapter.start, chapter.end))
        lines += ["[CHAPTER]", "TIMEBASE=1/1000", f"START={start}", f"END={end}"]
        lines.append(f"title={_quoted(clean(chapter.title))}")
    return "\n".join([*lines, ""])
