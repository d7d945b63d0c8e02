"""A cue sheet: the chapters of a WAV or FLAC file, which lies beside it under its name and `.cue`.

The form is that of CDRWIN's user guide, appendix A (from memory): a file, then its tracks, each
with a title and where it begins, in minutes, seconds and the 75 frames that a second of a CD has.
Moments are rounded down to such a frame, so that a player jumps up to 13.3 ms before a line and
never into it. Texts stand in quotes, which they must not have in them.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from renderer.delivery.chapters import thinned
from renderer.delivery.tags import Chapter, Tags

MOST_TRACKS = 99
"""Two digits count them."""

FRAMES_A_SECOND = 75


def cue_path(path: Path) -> Path:
    """Return where the cue sheet of a file lies."""
    return path.with_name(f"{path.name}.cue")


def _quoted(text: str) -> str:
    return '"' + " ".join(text.replace('"', "'").split()) + '"'


def _moment(chapter: Chapter) -> str:
    frames = chapter.start * FRAMES_A_SECOND // 1
    seconds, rest = divmod(int(frames), FRAMES_A_SECOND)
    return f"{seconds // 60:02d}:{seconds % 60:02d}:{rest:02d}"


def cue_text(chapters: Sequence[Chapter], path: Path, tags: Tags) -> str:
    """Return the cue sheet of a file.

    Parameters
    ----------
    chapters:
        At least one; beyond `MOST_TRACKS` as many as there is room for, evenly spread.
    path:
        The file, of which its name is written.
    tags:
        Its album and its title.
    """
    texts = tags.texts()
    rows = [f"PERFORMER {_quoted(texts['artist'])}"] if "artist" in texts else []
    rows += [f"TITLE {_quoted(texts.get('title', path.stem))}", f"FILE {_quoted(path.name)} WAVE"]
    for number, chapter in enumerate(thinned(chapters, MOST_TRACKS), start=1):
        rows += [
            f"  TRACK {number:02d} AUDIO",
            f"    TITLE {_quoted(chapter.title)}",
            f"    INDEX 01 {_moment(chapter)}",
        ]
    return "\n".join([*rows, ""])
