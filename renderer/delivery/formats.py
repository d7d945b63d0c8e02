"""The audio formats that tracks are written in, and what each can hold."""

from __future__ import annotations

import enum

from renderer.errors import failure


class AudioFormat(enum.StrEnum):
    """A format of audio files; its value is also the ending of the file's name."""

    WAV = "wav"
    FLAC = "flac"
    MP3 = "mp3"
    OGG = "ogg"

    @property
    def ending(self) -> str:
        """The ending of the file's name, dot included."""
        return f".{self.value}"


def format_named(name: str) -> AudioFormat:
    """Return the format of that name, with or without a dot, whatever its case.

    Raises `RungwiseError` for any other.
    """
    try:
        return AudioFormat(name.strip().removeprefix(".").casefold())
    except ValueError:
        known = ", ".join(AudioFormat)
        raise failure(f"there is no audio format {name!r} here", f"choose one of {known}") from None
