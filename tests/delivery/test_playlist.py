"""Playlists name their tracks relative to themselves, in practice order."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

from renderer.delivery.claims import claim
from renderer.delivery.playlist import Entry, playlist_text, write_playlist


def test_a_playlist_lists_lengths_titles_and_relative_names(tmp_path: Path) -> None:
    entries = [
        Entry(tmp_path / "Càrn - 050 bpm.mp3", "Càrn, 50 bpm", Fraction(191, 2)),
        Entry(tmp_path / "week 1" / "b.mp3", "Two\nlines", Fraction(611, 10)),
    ]
    path = tmp_path / "Càrn.m3u8"
    mine = claim("a playlist", ["tune.toml"], tmp_path)
    write_playlist(entries, path, title="Càrn, B flat", claim=mine)
    assert path.read_bytes().decode() == (
        "#EXTM3U\n"
        "#PLAYLIST:Càrn, B flat\n"
        "#EXTINF:96,Càrn, 50 bpm\n"
        "Càrn - 050 bpm.mp3\n"
        "#EXTINF:61,Two lines\n"
        "week 1/b.mp3\n"
    )


def test_a_title_cannot_add_a_line_of_its_own(tmp_path: Path) -> None:
    entry = Entry(tmp_path / "a.mp3", "Grips\r\n/etc/passwd", Fraction(1))
    text = playlist_text([entry], tmp_path, title="x\n/etc/hosts")
    assert [line for line in text.splitlines() if not line.startswith("#")] == ["a.mp3"]
