"""A track for each line: named as on the sheet, and made anew only where its own line changes."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from renderer.delivery.render import render_jobs, tags_of
from renderer.errors import RungwiseError
from renderer.notation.source_file import Source
from renderer.order.documents import playlists_of
from renderer.order.jobs import job_from_json, job_json
from renderer.order.names import collision_key
from renderer.order.order import Order
from renderer.order.track_job import TrackJob
from tests.delivery.larkmoor import asked

HEADINGS = ["Low A to D", "The same, closed", "", "Birls: last / of all?", "x" * 300]


def twelve(changed: str = "D") -> bytes:
    """Twelve lines; the fifth ends on the note given."""
    last = ["E"] * 12
    last[4] = changed
    lines = [
        f'[[lines]]\nheading = "{HEADINGS[at % 5]}"\nrun = "low A, C, {last[at]}"'
        for at in range(12)
    ]
    return "\n".join(['title = "Twelve lines"\nmeter = "3/4"', *lines]).encode()


def jobs(source: bytes, folder: Path = Path(), **given: Any) -> tuple[TrackJob, ...]:
    small = {"format": "wav", "rate": 8_000, "layout": "mono"}
    settings = asked(each_line=True, **small | given)
    return Order((Source("twelve.toml", source),), settings).jobs(folder)


def test_lines_are_numbered_as_on_the_sheet_and_sort_in_practice_order() -> None:
    names = [job.path.name for job in jobs(twelve(), ladder="50,60")]
    assert len(names) == 24
    assert names == sorted(names)
    assert len(set(map(collision_key, names))) == 24
    assert all(len(name.encode()) <= 140 for name in names)
    assert names[0].endswith(" - line 01 Low A to D - 050 bpm.wav")
    assert names[4].endswith(" - line 03 - 050 bpm.wav")
    assert names[6].endswith(" - line 04 Birls- last - of all - 050 bpm.wav")


def test_after_one_changed_note_only_that_line_has_another_digest() -> None:
    before, after = jobs(twelve("D"), ladder="50,60"), jobs(twelve("F"), ladder="50,60")
    other = [
        one.settings.line
        for one, two in zip(before, after, strict=True)
        if one.digest != two.digest
    ]
    assert other == [5, 5]
    # What is said of all lines is said of each.
    slower = jobs(twelve("D"), ladder="50,60", gracenote="30 ms")
    pairs = zip(before, slower, strict=True)
    assert all(one.digest != two.digest for one, two in pairs)


def test_lines_of_equal_digest_have_equal_bytes(tmp_path: Path) -> None:
    files: list[dict[str, bytes]] = []
    for note in "DF":
        made = render_jobs(jobs(twelve(note), tmp_path / note, tempo=200, count_in=0))
        files.append({track.path.name: track.path.read_bytes() for track in made})
    first, second = files
    assert first.keys() == second.keys()
    assert [name for name in first if first[name] != second[name]] == [
        job.path.name for job in jobs(twelve("D"), tempo=200, count_in=0) if job.settings.line == 5
    ]


def test_each_is_what_the_line_is_when_it_is_asked_for_alone() -> None:
    for job in jobs(twelve(), climb="50,60", repeats=2):
        assert job.settings.line is not None
        alone = asked(line=job.settings.line, climb="50,60", repeats=2)
        (other,) = Order((Source("twelve.toml", twelve()),), alone).jobs(Path())
        assert list(job.timeline()) == list(other.timeline())
        assert job.duration == other.duration


def test_jobs_and_their_playlist_read_back_as_they_were() -> None:
    for made in (jobs(twelve(), ladder="50,60"), jobs(twelve(), climb="50,60")):
        for job in made:
            again = job_from_json(job_json(job))
            assert again.digest == job.digest
        (playlist,) = playlists_of(made)
        assert job_from_json(job_json(playlist)) == playlist


def test_a_player_shows_line_and_heading_and_where_it_is_in_the_whole() -> None:
    shown = [tags_of(job) for job in jobs(twelve(), ladder="50,60", pitch="B flat")]
    assert shown[0].title == "Line 1, Low A to D, 50 bpm"
    assert shown[5].title == "Line 3, 60 bpm"
    assert {one.album.split(",")[0] for one in shown} == {"Twelve lines"}
    assert [one.number() for one in shown] == [f"{place}/24" for place in range(1, 25)]


def test_what_is_wrong_with_any_line_is_said_in_one_go() -> None:
    tight = b"""
meter = "2/4"
[[lines]]
abc = "A/16 {gcd}c/16 e15/8 e"
[[lines]]
run = "low A, B"
[[lines]]
abc = "A/16 {gBd}B/16 e15/8 e"
"""
    with pytest.raises(RungwiseError) as caught:
        jobs(tight, tempo=200)
    assert {problem.place.split(",")[0] for problem in caught.value.problems} == {
        "line 1",
        "line 3",
    }
