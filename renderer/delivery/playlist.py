"""A playlist in practice order: extended M3U in UTF-8 (`.m3u8`), lengths in whole seconds.

The format is the de facto one (`#EXTM3U`, then `#EXTINF:seconds,title` and a path per track; the
directives are described in RFC 8216, section 4.3). Paths are names relative to the playlist, so
that a folder can be copied to a phone as it is.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

from renderer.delivery.claims import Claim, write_kept
from renderer.notation.source_file import without_controls


@dataclass(frozen=True, slots=True)
class Entry:
    """A track of a playlist: its file, what a player shows, and its length in seconds."""

    path: Path
    title: str
    duration: Fraction


def _one_line(text: str) -> str:
    return " ".join(without_controls(text).split())


def playlist_text(entries: Iterable[Entry], folder: Path, *, title: str) -> str:
    """Return the playlist as text; `folder` is where it will lie, `title` what it is called."""
    rows = ["#EXTM3U", f"#PLAYLIST:{_one_line(title)}"]
    for entry in entries:
        seconds = int(entry.duration + Fraction(1, 2))
        rows.append(f"#EXTINF:{seconds},{_one_line(entry.title)}")
        rows.append(entry.path.relative_to(folder).as_posix())
    return "\n".join(rows) + "\n"


def write_playlist(entries: Iterable[Entry], path: Path, *, title: str, claim: Claim) -> None:
    """Write a playlist whole or not at all.

    Parameters
    ----------
    entries:
        The tracks in practice order; their files lie in the playlist's folder or below it.
    path:
        The playlist, ending in `.m3u8`.
    title:
        What a player calls the list.
    claim:
        What it is, by which it takes its place.

    Raises
    ------
    RungwiseError
        If the file cannot be written, or what is there does not make room.
    """
    write_kept(path, playlist_text(entries, path.parent, title=title).encode(), claim)
