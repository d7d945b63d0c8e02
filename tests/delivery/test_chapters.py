"""Chapters begin with the first event of their line, whoever reads them."""

from __future__ import annotations

import json
import re
import struct
import subprocess
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from typing import Any

import mutagen
import mutagen.id3
import mutagen.mp3
import mutagen.mp4
import pytest
import soundfile
from hypothesis import assume, given

from renderer.delivery.carrying_out import carry_out
from renderer.delivery.chapters import MOST_CHAPTERS, chapters_of
from renderer.delivery.cue_sheet import cue_text
from renderer.delivery.tags import Chapter, Tags
from renderer.errors import RungwiseError
from renderer.notation.source_file import Source
from renderer.order.formats import AudioFormat
from renderer.order.order import Order
from renderer.order.track_job import TrackJob
from renderer.order.tracks import expand
from renderer.sound.frames import frame_at
from renderer.timing.expand import Timeline
from tests.delivery.larkmoor import asked, doublings
from tests.limits import HANG_S
from tests.sampling import examples
from tests.timing.strategies import exercises

GRIPS = b"""
title = "Grips"
meter = "2/4"
[[lines]]
heading = "Grips"
run = "B, C"
ornament = "grip"
[[lines]]
heading = "From high A: \\u201etaorluath\\u201c"
run = "high A, low A"
ornament = "taorluath"
[[lines]]
run = "D, E"
"""


def first_events(timeline: Timeline) -> list[Fraction]:
    """Where lines begin, told by the events alone: what sounds first behind a silence or clicks."""
    return [event.start for before, event in pairwise(timeline) if event.line and not before.line]


@examples(100)
@given(exercise=exercises())
def test_chapters_tile_the_track_and_begin_with_each_lines_first_event(exercise: Any) -> None:
    try:
        timeline = expand(exercise, climb="40,50,62.5", repeats=2)
    except RungwiseError:
        assume(False)
    chapters = chapters_of(timeline, timeline.duration + 1)
    assert chapters[0] == Chapter(Fraction(0), chapters[1].start, "Count-in")
    assert chapters[-1].end == timeline.duration + 1
    assert all(a.end == b.start for a, b in pairwise(chapters))
    assert [chapter.start for chapter in chapters[1:]] == first_events(timeline)


def job(audio_format: AudioFormat, folder: Path, **given: Any) -> TrackJob:
    order = Order((Source("grips.toml", GRIPS),), asked(format=str(audio_format), **given))
    (made,) = order.jobs(folder)
    return made


def seen_by_ffprobe(path: Path) -> dict[str, Any]:
    command = ["ffprobe", "-v", "error", "-show_chapters", "-show_format", "-of", "json", str(path)]
    run = subprocess.run(command, capture_output=True, check=True, timeout=HANG_S)
    return dict(json.loads(run.stdout))


def seen_by_mutagen(path: Path) -> list[tuple[float, str]]:
    if path.suffix == ".mp3":
        tags: Any = mutagen.mp3.MP3(path).tags
        frames = [tags[f"CHAP:{name}"] for name in tags["CTOC:toc"].child_element_ids]
        return [(one.start_time / 1000, str(one.sub_frames["TIT2"].text[0])) for one in frames]
    if path.suffix == ".m4a":
        return [(one.start, one.title) for one in mutagen.mp4.MP4(path).chapters]
    read: Any = mutagen.File(path)
    found = []
    for number in range(1, MOST_CHAPTERS + 1):
        if f"CHAPTER{number:03d}" not in read:
            break
        hours, minutes, seconds = read[f"CHAPTER{number:03d}"][0].split(":")
        begins = 3600 * int(hours) + 60 * int(minutes) + float(seconds)
        found.append((begins, read[f"CHAPTER{number:03d}NAME"][0]))
    return found


TITLES = [
    "Count-in",
    *(
        f"Line {line}, {tempo} bpm"
        for tempo in (80, 90)
        for line in ("1, Grips", "2, From high A: „taorluath“", "3")
    ),
]


@pytest.mark.parametrize("audio_format", list(AudioFormat))
def test_ffprobe_and_mutagen_read_each_lines_first_event_within_a_millisecond(
    audio_format: AudioFormat, tmp_path: Path
) -> None:
    mine = job(audio_format, tmp_path, climb="80,90", room="small")
    path = carry_out(mine).paths[0]
    begins = [Fraction(0), *first_events(mine.timeline())]
    assert any(one % Fraction(60, 80) for one in begins), "grips begin before the beat"
    probed = seen_by_ffprobe(path)
    assert [one["tags"]["title"] for one in probed["chapters"]] == TITLES
    for one, start in zip(probed["chapters"], begins, strict=True):
        assert abs(Fraction(one["start_time"]) - start) <= Fraction(1, 1000)
    assert abs(float(probed["format"]["duration"]) - float(mine.duration)) < 0.05
    length: Any = mutagen.File(path)
    assert abs(length.info.length - float(mine.duration)) < 0.05
    if audio_format is AudioFormat.WAV:
        for one, start in zip(probed["chapters"], begins, strict=True):
            assert one["time_base"] == "1/44100"
            assert one["start"] == frame_at(start, 44_100), "markers stand at frames"
        return
    read = seen_by_mutagen(path)
    assert [title for _, title in read] == TITLES
    for (moment, _), start in zip(read, begins, strict=True):
        assert abs(moment - start) <= 0.001


def chunks_in(data: bytes) -> dict[bytes, bytes]:
    """The chunks of a WAV file, by the names and kinds that the format's specification has."""
    assert struct.unpack("<4sI4s", data[:12]) == (b"RIFF", len(data) - 8, b"WAVE")
    found, at = {}, 12
    while at < len(data):
        name, size = struct.unpack("<4sI", data[at : at + 8])
        content = data[at + 8 : at + 8 + size]
        assert len(content) == size
        found[name + (content[:4] if name == b"LIST" else b"")] = content
        at += 8 + size + size % 2
    assert at == len(data)
    return found


@pytest.mark.parametrize("rate", [8_000, 44_100])
def test_markers_of_a_wav_stand_at_the_very_frame_of_each_lines_first_event(
    rate: int, tmp_path: Path
) -> None:
    mine = job(AudioFormat.WAV, tmp_path, climb="80,90", rate=rate, layout="mono")
    path = carry_out(mine).paths[0]
    chunks = chunks_in(path.read_bytes())
    points = chunks[b"cue "]
    (count,) = struct.unpack("<I", points[:4])
    rows = list(struct.iter_unpack("<II4sIII", points[4:]))
    assert len(rows) == count
    events = iter(mine.timeline())
    frames = {frame_at(one.start, rate): one for one in events}
    starts = [Fraction(0), *first_events(mine.timeline())]
    for number, (row, start) in enumerate(zip(rows, starts, strict=True), start=1):
        assert row == (number, row[5], b"data", 0, 0, row[5])
        assert row[5] == frame_at(start, rate)
        assert abs(row[5] - start * rate) <= Fraction(1, 2)
        assert row[5] in frames
    titles: list[str] = []
    labels = chunks[b"LISTadtl"][4:]
    while labels:
        name, size, number = struct.unpack("<4sII", labels[:12])
        assert (name, number) == (b"labl", len(titles) + 1)
        titles.append(labels[12 : 8 + size].rstrip(b"\0").decode())
        labels = labels[8 + size + size % 2 :]
    assert titles == TITLES
    assert len(chunks[b"data"]) == 2 * soundfile.info(path).frames


INDEX = re.compile(r"INDEX 01 (\d\d+):(\d\d):(\d\d)$", re.MULTILINE)


@pytest.mark.parametrize("audio_format", [AudioFormat.WAV, AudioFormat.FLAC])
def test_a_cue_sheet_lies_beside_wav_and_flac_and_leads_to_just_before_each_line(
    audio_format: AudioFormat, tmp_path: Path
) -> None:
    mine = job(audio_format, tmp_path, climb="80,90")
    path, cue = carry_out(mine).paths
    assert cue.name == f"{path.name}.cue"
    text = cue.read_text("utf-8")
    assert f'FILE "{path.name}" WAVE\n' in text
    assert re.findall(r'^    TITLE "(.*)"$', text, re.MULTILINE) == TITLES
    begins = [Fraction(0), *first_events(mine.timeline())]
    for found, start in zip(INDEX.findall(text), begins, strict=True):
        minutes, seconds, frames = map(int, found)
        early = start - (60 * minutes + seconds + Fraction(frames, 75))
        assert 0 <= early < Fraction(1, 75)


def test_a_lone_line_has_no_chapters_and_no_cue_sheet(tmp_path: Path) -> None:
    made = carry_out(job(AudioFormat.WAV, tmp_path, line=1, tempo=80, repeats=3))
    assert len(made.paths) == 1
    assert not chapters_of(expand(doublings(), 60), Fraction(10))


def test_the_learners_turn_is_no_chapter_of_its_own() -> None:
    echo = expand(doublings(lines=2), 60, mix="echo", repeats=2)
    assert [one.title for one in chapters_of(echo, echo.duration)] == [
        "Count-in",
        "Line 1, Line 1, 60 bpm",
        "Line 2, Line 2, 60 bpm",
    ]


def test_what_has_more_lines_than_a_file_counts_has_a_chapter_for_each_rung() -> None:
    many = expand(doublings(lines=90), climb="100:140:20")
    titles = [one.title for one in chapters_of(many, many.duration)]
    assert titles == ["Count-in", *(f"Line 1, Line 1, {tempo} bpm" for tempo in (100, 120, 140))]
    most = expand(doublings(lines=600), 100)
    chapters = chapters_of(most, most.duration)
    assert len(chapters) <= MOST_CHAPTERS
    assert chapters[-1].end == most.duration
    cue = cue_text(chapters, Path("x.wav"), Tags('A "quoted" title'))
    assert len(INDEX.findall(cue)) <= 99
    assert "TITLE \"A 'quoted' title\"\n" in cue


def test_stages_are_named_where_movements_close() -> None:
    closing = expand(doublings(), 60, open_to_close="even : 80 ms")
    assert [one.title for one in chapters_of(closing, closing.duration)] == [
        "Count-in",
        "Line 1, Line 1, 60 bpm, inner notes even",
        "Line 1, Line 1, 60 bpm, inner notes 80 ms",
    ]
