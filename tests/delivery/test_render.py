"""Exercises become folders of tracks in practice order, and failures leave no half of one."""

from __future__ import annotations

import hashlib
import json
import os
import signal
import subprocess
import sys
import textwrap
import threading
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

import renderer
from renderer import expand, read_exercise
from renderer.delivery.free_space import Need, check_free_space
from renderer.delivery.manifest import MANIFEST
from renderer.delivery.render import (
    Keeping,
    RenderedTrack,
    RenderingStoppedError,
    render,
    render_jobs,
    tags_of,
    write_playlists,
)
from renderer.errors import RungwiseError
from renderer.notation.ladder import parse_ladder
from renderer.notation.length import Length
from renderer.notation.playing import Inner
from renderer.order.formats import AudioFormat, rate_in
from renderer.order.jobs import plan_tracks
from renderer.order.names import LONGEST_NAME
from renderer.order.sizes import least_bytes, spoken_bytes
from renderer.sound.own_soundfont import shipped_soundfont
from renderer.timing.timeline import SectionKind
from tests.delivery.disks import made_in, make_read_only, small_disk
from tests.delivery.larkmoor import asked, doublings, ladder
from tests.delivery.signals import decoded, metadata_seen_by_ffmpeg, streams_encoded
from tests.limits import HANG_S

SHORT_PARTS = Inner((Length(Fraction(1, 7), "beat"),))
LOW_RATE = asked(rate=8_000, format=("wav",), layout="mono")
"""Small and quick, where the test is about files and not about their sound."""
LOW_RATE_LABEL = "mono, 8000 Hz"


def test_the_python_interface_renders_a_ladder_at_two_pitches(tmp_path: Path) -> None:
    seen: list[tuple[float, float]] = []
    tracks = renderer.render(
        doublings(ladder=ladder(50, 60)),
        tmp_path / "new" / "folder",
        pitch=["A", "B flat"],
        on_progress=lambda done, total: seen.append((done, total)),
    )
    assert made_in(tmp_path / "new" / "folder") == [
        "Doublings on B and C - A - full - 050 bpm.mp3",
        "Doublings on B and C - A - full - 060 bpm.mp3",
        "Doublings on B and C - A - full - mp3.m3u8",
        "Doublings on B and C - B flat - full - 050 bpm.mp3",
        "Doublings on B and C - B flat - full - 060 bpm.mp3",
        "Doublings on B and C - B flat - full - mp3.m3u8",
    ]
    # A count-in of one bar and two bars of three beats each, at 50 and at 60.
    durations = [Fraction(54, 5), Fraction(9)] * 2
    assert [track.duration for track in tracks] == durations
    for track in tracks:
        assert len(decoded(track.path)) == track.frames == track.duration * 44_100
        assert track.bytes == track.path.stat().st_size
    assert seen[-1][0] == pytest.approx(seen[-1][1]) == pytest.approx(float(sum(durations)))
    assert [done for done, _ in seen] == sorted(done for done, _ in seen)
    shown = metadata_seen_by_ffmpeg(tracks[3].path)
    assert ": Doublings on B and C, 60 bpm\n" in shown
    assert ": Doublings on B and C, B flat\n" in shown
    assert ": 2/2\n" in shown
    assert (
        "Pitch B flat (low A of the pipe chanter = 466.16 Hz), harmonic scale, practice chanter; "
        "60 beats a minute; gracenotes 45 ms, on the beat"
    ) in shown


@pytest.mark.parametrize("name", list(AudioFormat))
def test_every_format_holds_the_same_track(name: AudioFormat, tmp_path: Path) -> None:
    (track,) = render(doublings(), tmp_path, format=[name])
    (reference,) = render(doublings(), tmp_path, format=["wav"], rate=rate_in(name, 44_100))
    got, expected = decoded(track.path), decoded(reference.path)
    assert got.shape == expected.shape == (track.frames, 2)
    noise = np.square(got - expected).mean() / np.square(expected).mean()
    assert noise <= (0 if name in ("wav", "flac") else 0.01)


def test_small_files_to_send_take_half_a_megabyte_a_minute(tmp_path: Path) -> None:
    (track,) = render(doublings(), tmp_path, share=True, repeats=4)
    assert (
        track.path.name
        == "Doublings on B and C - A - full - small file, 4 times each - 060 bpm.mp3"
    )
    minutes = float(track.duration) / 60
    # Beside half a megabyte a minute there is a picture of 10 to 17 kB.
    assert (track.bytes - 14_000) / 1e6 / minutes == pytest.approx(0.48, abs=0.02)
    assert "44100 Hz, mono, fltp, 64 kb/s" in metadata_seen_by_ffmpeg(track.path)
    assert decoded(track.path, channels=1).shape == (track.frames, 1)


def test_files_do_not_depend_on_how_many_are_rendered_at_a_time(tmp_path: Path) -> None:
    settings = LOW_RATE.changed(format=("flac", "ogg", "mp3"), mix=("full", "echo"))
    contents = []
    for workers in (1, 4):
        folder = tmp_path / str(workers)
        tracks = render_jobs(plan_tracks(doublings(), folder, settings), workers=workers)
        contents.append([(track.path.name, track.path.read_bytes()) for track in tracks])
    assert contents[0] == contents[1]
    assert [name for name, _ in contents[0]] == [
        f"Doublings on B and C - A - {mix} - {LOW_RATE_LABEL} - 060 bpm.{ending}"
        for mix in ("full", "echo")
        for ending in ("flac", "ogg", "mp3")
    ]


def test_an_echo_track_is_twice_as_long_as_its_lines(tmp_path: Path) -> None:
    full, echo = plan_tracks(doublings(), tmp_path, LOW_RATE.changed(mix=("full", "echo")))
    assert (full.duration, echo.duration) == (9, 15)


def test_several_exercises_are_numbered_and_told_apart(tmp_path: Path) -> None:
    jobs = plan_tracks(
        [doublings(title=title) for title in ("Grips", "grips", "Birls: all/nine")],
        tmp_path,
        LOW_RATE.changed(pitch=("A", 478)),
    )
    names = [job.path.name for job in jobs]
    assert names == [
        f"1 Grips - A - full - {LOW_RATE_LABEL} - 060 bpm.wav",
        f"1 Grips - 478 Hz - full - {LOW_RATE_LABEL} - 060 bpm.wav",
        f"2 grips - A - full - {LOW_RATE_LABEL} - 060 bpm.wav",
        f"2 grips - 478 Hz - full - {LOW_RATE_LABEL} - 060 bpm.wav",
        f"3 Birls- all-nine - A - full - {LOW_RATE_LABEL} - 060 bpm.wav",
        f"3 Birls- all-nine - 478 Hz - full - {LOW_RATE_LABEL} - 060 bpm.wav",
    ]
    assert {job.path.parent for job in jobs} == {tmp_path}


@pytest.mark.parametrize(
    "title", ["../../up", "a/b\\c", "dots...", "\"quoted\" 'title'", "🎵🎶", "long " * 60, "CON"]
)
def test_every_title_gives_tracks_inside_the_folder(title: str, tmp_path: Path) -> None:
    out = tmp_path / "out"
    tracks = render(doublings(title=title), out, format=["wav"], rate=8_000, layout="mono")
    assert [track.path for track in tracks] == [out / track.path.name for track in tracks]
    assert made_in(out) == [tracks[0].path.name]
    assert made_in(tmp_path) == ["out"]


def test_a_playlist_follows_the_ladder_and_each_format_has_its_own(tmp_path: Path) -> None:
    settings = LOW_RATE.changed(ladder=ladder(80, 60, 80), format=("wav", "flac"))
    jobs = plan_tracks(doublings(), tmp_path, settings)
    render_jobs(jobs)
    paths = write_playlists(jobs)
    assert [path.name for path in paths] == [
        f"Doublings on B and C - A - full - {LOW_RATE_LABEL} - wav.m3u8",
        f"Doublings on B and C - A - full - {LOW_RATE_LABEL} - flac.m3u8",
    ]
    lines = paths[1].read_text().splitlines()
    assert lines[2:4] == [
        "#EXTINF:7,Doublings on B and C, 80 bpm",
        f"Doublings on B and C - A - full - {LOW_RATE_LABEL} - rung 1 - 080 bpm.flac",
    ]
    assert len([line for line in lines if not line.startswith("#")]) == 3


def test_a_track_alone_has_no_playlist_and_leaves_that_of_its_ladder(tmp_path: Path) -> None:
    settings = LOW_RATE.changed(ladder=ladder(60, 80))
    (playlist,) = write_playlists(plan_tracks(doublings(), tmp_path, settings))
    before = playlist.read_bytes()
    alone = LOW_RATE.changed(ladder=ladder(70))
    assert write_playlists(plan_tracks(doublings(), tmp_path, alone)) == ()
    assert playlist.read_bytes() == before


VARIATIONS: list[dict[str, Any]] = [
    {},
    {"chanter": "pipe"},
    {"scale": "MacNeill"},
    {"drone": False},
    {"metronome": False},
    {"subdivide": True},
    {"count_in": 0},
    {"count_in": 2},
    {"count_in_style": "rolls"},
    {"introduction": "E"},
    {"gap": 0},
    {"repeats": 4},
    {"gracenote": Length(Fraction(60), "ms")},
    {"placement": "before the beat"},
    {"gracenotes": "pure"},
    {"steady": True},
    {"share": True},
    {"layout": "split"},
    {"room": "small"},
    {"room": "hall"},
    {"levels": "drone=-12"},
    {"levels": "drone=-12,metronome=-3"},
    {"rate": 48_000},
    {"preset": "0:109"},
    {"drone_preset": "0:2"},
    {"show_crossing": True},
    {"chanter": "pipe", "scale": "equal", "drone": False, "count_in": 2, "gap": 3, "repeats": 3},
    {"chanter": "pipe", "scale": "equal", "drone": False, "count_in": 2, "gap": 3, "repeats": 5},
]


def test_tracks_that_differ_in_any_setting_have_names_and_albums_of_their_own(
    tmp_path: Path,
) -> None:
    jobs = [plan_tracks(doublings(), tmp_path, asked(**one))[0] for one in VARIATIONS]
    assert len({job.path.name for job in jobs}) == len({tags_of(job).album for job in jobs})
    assert len({job.path.name for job in jobs}) == len(VARIATIONS)
    assert max(len(job.path.name.encode()) for job in jobs) <= LONGEST_NAME
    named = {job.path.name.removeprefix("Doublings on B and C - A - full - ") for job in jobs}
    assert "pipe chanter - 060 bpm.mp3" in named
    assert "gracenotes 60 ms - 060 bpm.mp3" in named


def test_soundfonts_whose_names_begin_alike_name_tracks_of_their_own(tmp_path: Path) -> None:
    names = []
    for version in ("one", "two"):
        font = tmp_path / f"Chanters of the Larkmoor band, version {version}.sf2"
        font.symlink_to(shipped_soundfont())
        (job,) = plan_tracks(doublings(), tmp_path, LOW_RATE.changed(soundfont=font, preset="0:1"))
        names.append(job.path.name)
    assert len(set(names)) == 2
    assert all(len(name.encode()) <= LONGEST_NAME for name in names)


def test_settings_that_are_the_exercises_own_do_not_show_in_names(tmp_path: Path) -> None:
    exercise = doublings(ladder=ladder(60, repeats=2))
    settings = asked(repeats=2, gracenote=exercise.gracenotes.length)
    (job,) = plan_tracks(exercise, tmp_path, settings)
    assert job.path.name == "Doublings on B and C - A - full - 060 bpm.mp3"


def test_an_ornament_that_does_not_fit_stops_everything_before_a_file_is_made(
    tmp_path: Path,
) -> None:
    out = tmp_path / "out"
    with pytest.raises(RungwiseError, match="fits up to") as caught:
        render(doublings(), out, ladder=[60, 399], inner="1/8 beat")
    assert "line 1, bar 2, note 1" in str(caught.value)
    assert not out.exists()


def test_a_ladder_that_climbs_too_high_says_which_rungs_can_be_played(tmp_path: Path) -> None:
    steep = LOW_RATE.changed(ladder=ladder(60, 100, 140, 180, 260, 399))
    with pytest.raises(RungwiseError) as caught:
        plan_tracks(replace(doublings(), inner=SHORT_PARTS), tmp_path, steep)
    *_, last = caught.value.problems
    assert last.cause == "the rungs at 260, 399 are too fast"
    assert last.remedy == "the others can be played: --ladder 60:180:40"
    playable = LOW_RATE.changed(ladder=parse_ladder("60:180:40"))
    exercise = replace(doublings(), inner=SHORT_PARTS)
    assert len(plan_tracks(exercise, tmp_path, playable)) == 4


@pytest.mark.parametrize("gracenote", ["0 ms", "5000 ms", "2 beats", "short"])
def test_a_gracenote_length_that_no_piper_plays_is_refused(gracenote: str, tmp_path: Path) -> None:
    with pytest.raises(RungwiseError, match="gracenote"):
        render(doublings(), tmp_path, gracenote=gracenote)
    assert made_in(tmp_path) == []


@pytest.mark.parametrize("tempo", [0, -5, 10_000])
def test_a_tempo_out_of_range_is_refused(tempo: int, tmp_path: Path) -> None:
    with pytest.raises(RungwiseError, match=r"out of range\. Choose one from 10 to 400"):
        render(doublings(), tmp_path, ladder=[tempo])


@pytest.mark.parametrize("tempos", [[], ["fast"], [float("nan")], [None], 60])
def test_tempos_that_are_none_are_refused(tempos: Any, tmp_path: Path) -> None:
    with pytest.raises(RungwiseError, match="ladder: "):
        render(doublings(), tmp_path, ladder=tempos)


def test_a_single_pitch_mix_or_format_needs_no_list(tmp_path: Path) -> None:
    (track,) = render(doublings(), tmp_path, pitch="B flat", mix="echo", format="wav", rate=8_000)
    assert track.path.name == "Doublings on B and C - B flat - echo - 8000 Hz - 060 bpm.wav"


def test_too_many_tracks_are_refused(tmp_path: Path) -> None:
    settings = LOW_RATE.changed(
        ladder=ladder(*range(50, 150)),
        mix=("full", "backing", "chanter", "echo"),
        pitch=("A", "B flat", 478),
        format=("wav", "flac"),
    )
    with pytest.raises(RungwiseError, match="that makes 2400 tracks"):
        plan_tracks(doublings(), tmp_path, settings)


def test_an_output_folder_that_is_a_file_is_refused(tmp_path: Path) -> None:
    (tmp_path / "out").write_text("mine")
    with pytest.raises(RungwiseError, match="this is a file, not a folder"):
        render(doublings(), tmp_path / "out")
    assert (tmp_path / "out").read_text() == "mine"


def test_a_remark_on_the_pitch_reaches_the_user(tmp_path: Path) -> None:
    (track,) = render(doublings(), tmp_path, pitch=[239], format=["wav"], rate=8_000)
    assert track.pitch == "478 Hz"
    assert any("practice chanter's own octave" in remark for remark in track.remarks)


def test_a_disk_without_room_is_refused_before_rendering(tmp_path: Path) -> None:
    with (
        small_disk(tmp_path / "disk", kilobytes=64) as disk,
        pytest.raises(RungwiseError, match=r"the tracks need .* and the disk has 6\d\.\d kB free"),
    ):
        render_jobs(plan_tracks(doublings(), disk / "out", LOW_RATE))
    assert not (tmp_path / "disk" / "out").exists()


def test_a_read_only_disk_is_refused_before_rendering(tmp_path: Path) -> None:
    with small_disk(tmp_path / "disk", kilobytes=9_000) as disk:
        make_read_only(disk)
        seen: list[float] = []
        jobs = plan_tracks(doublings(), disk, LOW_RATE)
        with pytest.raises(RungwiseError, match=r"read-only disk\. Choose another folder"):
            render_jobs(jobs, on_progress=lambda done, _: seen.append(done))
        assert seen == []


def test_what_was_finished_stays_when_the_disk_fills_up_midway(tmp_path: Path) -> None:
    # FLAC sizes are only known afterwards: there is room for the first track, not for all.
    settings = LOW_RATE.changed(format=("flac",), ladder=ladder(50, 60, 70, 80))
    sizes = [track.bytes for track in render_jobs(plan_tracks(doublings(), tmp_path, settings))]
    kilobytes = (sizes[0] + sizes[1] + sizes[2] // 2) // 1024
    with small_disk(tmp_path / "disk", kilobytes=kilobytes) as disk:
        told: list[RenderedTrack] = []
        with pytest.raises(RenderingStoppedError, match="the disk is full") as caught:
            render_jobs(plan_tracks(doublings(), disk, settings), workers=1, on_track=told.append)
        finished = caught.value.finished
        assert [track.tempo for track in finished] == [50, 60]
        assert list(finished) == told
        assert made_in(disk) == [track.path.name for track in finished]
        for track in finished:
            assert soundfile.info(track.path).frames == track.frames


def test_the_first_failure_stops_the_others(tmp_path: Path) -> None:
    jobs = plan_tracks(
        doublings(), tmp_path, LOW_RATE.changed(ladder=ladder(50, 60, 70), repeats=3_000)
    )
    spoilt = [jobs[0], replace(jobs[1], soundfonts=("another",)), jobs[2]]
    with pytest.raises(RenderingStoppedError, match="a SoundFont is not the one"):
        render_jobs(spoilt, workers=2)
    assert made_in(tmp_path) == []


def test_an_exception_in_the_callers_progress_stops_everything(tmp_path: Path) -> None:
    jobs = plan_tracks(
        doublings(), tmp_path, LOW_RATE.changed(ladder=ladder(50, 60), repeats=3_000)
    )

    def bored(_done: float, _total: float) -> None:
        raise RuntimeError("enough")

    with pytest.raises(RuntimeError, match="enough"):
        render_jobs(jobs, on_progress=bored)
    assert made_in(tmp_path) == []
    assert threading.active_count() == 1


@pytest.mark.parametrize("name", ["wav", "mp3", "ogg"])
def test_ctrl_c_leaves_nothing_half_written(name: str, tmp_path: Path) -> None:
    script = """
        import sys
        from renderer import render
        from tests.delivery.larkmoor import asked, doublings, ladder
        try:
            render(doublings(ladder=ladder(50, 60, 70)), sys.argv[1], format=[sys.argv[2]],
                   repeats=1000, workers=2,
                   on_progress=lambda done, total: print(done, flush=True))
        except KeyboardInterrupt:
            sys.exit(130)
    """
    process = subprocess.Popen(
        [sys.executable, "-c", textwrap.dedent(script), str(tmp_path), name],
        env={**os.environ, "PYTHONPATH": str(Path.cwd())},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    assert process.stdout is not None
    assert process.stderr is not None
    while len(made_in(tmp_path)) < 2:
        assert process.stdout.readline(), "it ended before it had begun two tracks"
    process.send_signal(signal.SIGINT)
    _, errors = process.communicate(timeout=HANG_S)
    assert process.returncode == 130
    assert errors == ""
    assert made_in(tmp_path) == []


def test_tracks_are_made_again_as_they_were(tmp_path: Path) -> None:
    jobs = plan_tracks(doublings(), tmp_path, LOW_RATE)
    (first,) = render_jobs(jobs)
    content = first.path.read_bytes()
    first.path.with_name(MANIFEST).unlink()
    (second,) = render_jobs(jobs)
    assert second == first
    assert not second.was_there
    assert first.path.read_bytes() == content


def test_what_is_there_and_unchanged_is_not_rendered_again(tmp_path: Path) -> None:
    settings = asked(ladder=ladder(100, 120, 140), rate=8_000, format=("wav",))
    jobs = plan_tracks(doublings(), tmp_path, settings)
    first = render_jobs(jobs[:2])
    again = render_jobs(jobs)
    assert [track.was_there for track in again] == [True, True, False]
    assert again[:2] == first
    assert [track.remarks for track in again[:2]] == [track.remarks for track in first]
    assert all(one.was_there for one in render_jobs(jobs))
    again[0].path.unlink()
    again[1].path.write_bytes(b"edited")
    with pytest.raises(RungwiseError, match="somebody has changed"):
        render_jobs(jobs)
    again[1].path.unlink()
    more = render_jobs(jobs)
    assert [track.was_there for track in more] == [False, False, True]
    assert more == again


def test_a_folder_remembers_how_its_tracks_sound_and_where_their_bars_begin(
    tmp_path: Path,
) -> None:
    (track,) = render(
        doublings(), tmp_path, tempo=120, pitch="B flat", format="wav", rate=8_000, each_line=False
    )
    manifest = json.loads((tmp_path / MANIFEST).read_bytes())
    entry = manifest["made"][track.path.name]
    assert entry["bytes"] == track.path.stat().st_size
    assert entry["sha256"] == hashlib.sha256(track.path.read_bytes()).hexdigest()
    assert len(entry["job"]) == 64
    assert entry["seconds"] == pytest.approx(soundfile.info(track.path).duration, abs=1e-4)
    assert (entry["tempo"], entry["pitch"], entry["low-a-hz"]) == (
        ["120"],
        "B flat",
        pytest.approx(466.16, abs=0.01),
    )
    assert entry["loudness-lufs"] == pytest.approx(-16, abs=1)
    timeline = expand(doublings(), tempo=120)
    starts = [float(one.start) for one in timeline.sections if one.kind is SectionKind.LINE]
    assert [line["start"] for line in entry["lines"]] == pytest.approx(starts, abs=1e-6)
    bars = {float(one.start) for one in timeline if one.line}
    assert all(
        any(abs(bar - start) < 1e-6 for start in bars)
        for line in entry["lines"]
        for bar in line["bars"]
    )


def test_one_rung_more_leaves_the_sound_of_the_others_and_tells_their_new_number(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def jobs(folder: str, *tempos: int) -> Any:
        settings = asked(ladder=ladder(*tempos), rate=8_000, format=("mp3",))
        return plan_tracks(doublings(lines=2), tmp_path / folder, settings)

    first = render_jobs(jobs("out", 100, 120))
    begun = streams_encoded(monkeypatch)
    again = render_jobs(jobs("out", 90, 100, 120))
    assert len(begun) == 1
    assert [track.tags.number() for track in again] == ["1/3", "2/3", "3/3"]
    assert [track.was_there for track in again] == [False] * 3
    assert [track.loudness_lufs for track in again[1:]] == [one.loudness_lufs for one in first]
    afresh = render_jobs(jobs("afresh", 90, 100, 120))
    for one, other in zip(again, afresh, strict=True):
        assert one.path.read_bytes() == other.path.read_bytes()
        assert replace(one, path=other.path, tags=other.tags) == other
    assert all(track.was_there for track in render_jobs(jobs("out", 90, 100, 120)))
    begun.clear()
    render_jobs(jobs("out", 90, 100))
    assert begun == []
    again[0].path.write_bytes(b"another")
    with pytest.raises(RungwiseError, match="somebody has changed this file"):
        render_jobs(jobs("out", 90, 100, 120))
    render_jobs(jobs("out", 90, 100, 120), keeping=Keeping(replace=True))
    assert len(begun) == 1
    assert again[0].path.read_bytes() == afresh[0].path.read_bytes()


def test_a_changed_note_renders_its_line_alone_where_each_has_its_track(tmp_path: Path) -> None:
    text = 'title = "Two"\n[[lines]]\nrun = "low A, {}"\n[[lines]]\nrun = "D, B"\n'
    path = tmp_path / "two.toml"
    there = []
    for note in "BCCB":
        path.write_text(text.format(note), "utf-8")
        how: dict[str, Any] = {"tempo": 200, "format": "wav", "rate": 8_000, "each_line": True}
        tracks = render(read_exercise(path), tmp_path / "out", **how)
        there.append([track.was_there for track in tracks])
    assert there == [[False, False], [False, True], [True, True], [False, True]]


@pytest.mark.parametrize("layout", ["mono", "stereo"])
@pytest.mark.parametrize("rate", [8_000, 44_100])
def test_no_track_is_smaller_than_what_is_asked_of_the_disk(
    layout: str, rate: int, tmp_path: Path
) -> None:
    # A backing track of drones alone is the easiest to compress.
    tracks = render(
        doublings(),
        tmp_path,
        format=list(AudioFormat),
        mix=["backing"],
        metronome=False,
        count_in=0,
        repeats=5,
        rate=rate,
        layout=layout,
    )
    for track in tracks:
        least = least_bytes(
            track.audio_format,
            frames=track.frames,
            rate=rate,
            channels=1 if layout == "mono" else 2,
        )
        assert 0 < least <= track.bytes


def test_a_file_that_is_replaced_gives_back_its_room(tmp_path: Path) -> None:
    with small_disk(tmp_path / "disk", kilobytes=100) as disk:
        (disk / "old").write_bytes(bytes(40_000))
        (disk / "other").write_bytes(bytes(10_000))
        check_free_space([Need(disk / "old", 45_000), Need(disk / "new", 30_000)])
        with pytest.raises(RungwiseError, match="45 kB and the disk has"):
            (disk / "more").write_bytes(bytes(20_000))
            check_free_space([Need(disk / "old", 45_000)])


def test_sizes_are_spoken() -> None:
    assert [spoken_bytes(n) for n in (999, 1_500, 12_345_678, 5_000_000_000, 3 * 10**12)] == [
        "999 bytes",
        "1.5 kB",
        "12.3 MB",
        "5 GB",
        "3 TB",
    ]
