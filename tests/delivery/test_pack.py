"""A pack on disk: made once, made anew where something changed, nothing lost on the way."""

from __future__ import annotations

import errno
import itertools
import json
import os
import shutil
import signal
import subprocess
import sys
import time
import zipfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

import mutagen.mp3
import pytest
import soundfile
from hypothesis import given
from hypothesis import strategies as st
from typer.testing import CliRunner, Result

from renderer.commands.app import app
from renderer.delivery.manifest import MANIFEST, read_manifest
from renderer.delivery.packing.foretelling import foretold
from renderer.delivery.packing.journal import JOURNAL, Journal
from renderer.delivery.packing.making import MadePack, PackStoppedError, Progress, due_of, make
from renderer.delivery.packing.sending import parcels_of
from renderer.delivery.packing.standing import said_before
from renderer.delivery.render import Handle
from renderer.errors import RungwiseError
from renderer.order.packs import PackPlan, read_pack
from renderer.order.track_job import TrackJob
from tests.delivery.disks import small_disk
from tests.delivery.signals import streams_encoded
from tests.limits import HANG_S

TUNE = """title = "{title}"
[[lines]]
run = "low A, {note}"
[[lines]]
heading = "Back"
run = "D, B"
"""
CLASS = """title = "Larkmoor juniors"
exercises = ["wide.toml", "reel.toml"]
ladder = [90, 120]
gets = "tracks"
format = "wav"
rate = 8000
layout = "mono"
[[learners]]
name = "Jamie"
pitch = "B flat"
[[learners]]
name = "Ailsa"
pitch = "A"
[[groups]]
name = "Chanters at A"
learners = ["Rory", "Mairi"]
pitch = "A"
"""


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    tune("wide.toml", "Wide")
    tune("reel.toml", "Reel")
    Path("class.toml").write_text(CLASS, "utf-8")
    return tmp_path


def tune(path: str, title: str, note: str = "B") -> None:
    Path(path).write_text(TUNE.format(title=title, note=note), "utf-8")


def change(old: str, new: str, path: str = "class.toml") -> None:
    text = Path(path).read_text("utf-8")
    assert old in text
    Path(path).write_text(text.replace(old, new), "utf-8")


def planned(**asked: object) -> PackPlan:
    return read_pack("class.toml", asked).plan("out")


def made(**how: Any) -> MadePack:
    return make(planned(), **how)


def contents(folder: str = "out") -> dict[str, bytes]:
    """Every file of a pack but what it remembers, hidden ones included."""
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in Path(folder).rglob("*")
        if path.is_file() and path.name != MANIFEST
    }


def rungwise(*words: str) -> Result:
    return CliRunner().invoke(app, words)


def done(*words: str) -> str:
    result = rungwise(*words)
    assert result.exit_code == 0, result.exception or result.output
    return result.stdout


def refused(**how: Any) -> list[str]:
    with pytest.raises(RungwiseError) as caught:
        made(**how)
    return [str(problem) for problem in caught.value.problems]


def test_learners_get_practice_pages_at_their_own_pitch(folder: Path) -> None:
    change('gets = "tracks"', 'gets = "page"')
    said = done("pack", "class.toml", "-o", "out")
    assert "Pages" in said
    pages = {name: made for name, made in contents().items() if name.endswith(".html")}
    assert sorted(pages) == [
        f"{who}/{number} - practice page.html"
        for who in ("Ailsa", "Chanters at A", "Jamie")
        for number in ("1 Wide", "2 Reel")
    ]
    wide = {who: pages[f"{who}/1 Wide - practice page.html"] for who in ("Ailsa", "Jamie")}
    assert wide["Ailsa"] == pages["Chanters at A/1 Wide - practice page.html"] != wide["Jamie"]
    how = ("--pitch", "B flat", "--ladder", "90,120")
    done("page", "wide.toml", "-o", "alone.html", *how)
    assert wide["Jamie"] == Path("alone.html").read_bytes()
    assert "Nothing to do" in done("pack", "class.toml", "-o", "out")


def test_each_learner_has_a_folder_and_the_teacher_the_lists_and_the_overview(
    folder: Path,
) -> None:
    change('gets = "tracks"', 'gets = ["tracks", "sheet", "plan"]')
    plan = planned()
    make(plan)
    assert set(contents()) == {one.path for one in plan.files}
    assert sorted(path.name for path in Path("out").iterdir()) == [
        "Ailsa",
        "All at A.m3u8",
        "All at B flat.m3u8",
        "All tracks.m3u8",
        "Chanters at A",
        "Jamie",
        "Larkmoor juniors.pdf",
        MANIFEST,
    ]
    for path in Path("out").rglob("*.pdf"):
        assert path.read_bytes().startswith(b"%PDF")


def test_lists_name_files_that_are_there(folder: Path) -> None:
    made()
    lists = list(Path("out").rglob("*.m3u8"))
    assert len(lists) == 6
    for one in lists:
        rows = one.read_text("utf-8").splitlines()
        named = [row for row in rows if not row.startswith("#")]
        assert named
        assert all((one.parent / row).is_file() for row in named)
    whole = Path("out/All tracks.m3u8").read_text("utf-8")
    assert whole.count("#EXTINF") == 8, "each different track once: two tunes, pitches, rungs"


def test_the_cue_sheet_of_a_track_is_that_of_the_same_track_rendered_alone(folder: Path) -> None:
    made()
    sound = ("--format", "wav", "--rate", "8000", "--layout", "mono", "--pitch", "B flat")
    done("render", "wide.toml", "-o", "alone", "--ladder", "90,120", *sound)
    (one, other) = sorted(Path("alone").glob("*.cue"))
    assert one.name.endswith("090 bpm.wav.cue")
    ours = Path("out/Jamie", f"1 {one.name}").read_text("utf-8")
    assert ours.replace("1 Wide", "Wide") == one.read_text("utf-8")
    assert other.read_text("utf-8") != one.read_text("utf-8")


def test_equal_files_are_made_once_and_take_their_room_once(folder: Path) -> None:
    result = made()
    one = Path("out/Ailsa/1 Wide - A - full - mono, 8000 Hz - 090 bpm.wav")
    other = Path("out/Chanters at A") / one.name
    assert one.samefile(other)
    assert f"Chanters at A/{one.name}" in result.linked


def test_where_the_disk_has_no_links_equal_files_are_copied(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    made()
    linked = contents()
    shutil.rmtree("out")

    def refuse(*_: object) -> None:
        raise OSError(1, "no links here")

    monkeypatch.setattr(os, "link", refuse)
    made()
    assert contents() == linked


def test_the_manifest_says_of_each_track_what_it_is_and_where_its_bars_begin(
    folder: Path,
) -> None:
    made()
    manifest = json.loads(Path("out", MANIFEST).read_bytes())
    name = "Jamie/1 Wide - B flat - full - mono, 8000 Hz - 120 bpm.wav"
    entry = manifest["made"][name]
    path = Path("out", name)
    assert entry["bytes"] == path.stat().st_size
    assert entry["seconds"] == soundfile.info(path).duration
    assert entry["tempo"] == ["120"]
    assert entry["pitch"] == "B flat"
    assert -17 < entry["loudness-lufs"] < -15
    # Half a second a beat: two beats of count-in, a line of a bar of two, two of clicks, a line.
    assert entry["lines"] == [
        {"line": 1, "heading": "", "start": 1.0, "bars": [1.0]},
        {"line": 2, "heading": "Back", "start": 3.0, "bars": [3.0]},
    ]
    for one, known in read_manifest(Path("out")).made.items():
        assert known.job
        assert len(known.sha256) == 64, one


def test_a_second_run_makes_nothing(folder: Path) -> None:
    made()
    before = {path: path.stat().st_mtime_ns for path in Path("out").rglob("*.wav")}
    again = made()
    assert again.made == ()
    assert len(again.kept) == len(again.plan.files)
    assert {path: path.stat().st_mtime_ns for path in Path("out").rglob("*.wav")} == before


def test_a_changed_note_makes_its_tracks_anew_and_nothing_else(folder: Path) -> None:
    made()
    before = contents()
    tune("reel.toml", "Reel", "C")
    again = made()
    changed = {name for name, data in contents().items() if data != before[name]}
    assert all("2 Reel" in name for name in again.made)
    # A cue sheet is made anew with its track, and says the same.
    assert changed == {name for name in again.made if name.endswith(".wav")}
    assert len(changed) == 6


def test_where_each_line_has_its_track_a_changed_note_makes_that_line_alone_anew(
    folder: Path,
) -> None:
    change("rate = 8000", "rate = 8000\neach-line = true")
    made()
    tune("reel.toml", "Reel", "C")
    again = made()
    assert len(again.made) == 6, "a line alone has no cue sheet"
    assert all("2 Reel" in name and "line 1" in name for name in again.made)


def test_a_remark_in_an_exercise_makes_nothing_anew(folder: Path) -> None:
    made()
    Path("reel.toml").write_text("# A remark.\n" + Path("reel.toml").read_text("utf-8"), "utf-8")
    assert made().made == ()


def test_it_is_said_why_a_file_is_made_anew(folder: Path) -> None:
    made()
    tune("reel.toml", "Reel", "C")
    change("rate = 8000", "rate = 8000\ncount-in = 2")
    Path("out/Jamie/All tracks.m3u8").unlink()
    why = {one.file.path: one.reason.english for one in due_of(planned())}
    first = "Jamie/1 Wide - B flat - full - count-in 2, mono, 8000 Hz - 090 bpm.wav"
    assert why[first] == "is new"
    assert why["Jamie/All tracks.m3u8"] == "is not there any more"
    change("count-in = 2", "count-in = 1")
    why = {one.file.path: one.reason.english for one in due_of(planned())}
    assert set(why.values()) == {"the music has changed", "is not there any more"}
    change("rate = 8000", "rate = 8000\nfingering = true")
    change('gets = "tracks"', 'gets = "sheet"')
    made()
    change("fingering = true", 'paper = "letter"')
    why = {one.file.path: one.reason.english for one in due_of(planned())}
    name = "Jamie/1 Wide - sheet.pdf"
    assert why[name] == "fingering is as usual, was on, paper is letter, was as usual"
    in_german = {one.file.path: one.reason.german for one in due_of(planned())}
    expected = "fingering ist wie üblich, war an, paper ist letter, war wie üblich"
    assert in_german[name] == expected


@pytest.mark.parametrize("ladder", ["[90, 120, 130]", "[80, 90, 120]", "[90, 100, 120]"])
def test_one_rung_more_encodes_its_own_tracks_alone_and_numbers_the_others_anew(
    ladder: str, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    change('format = "wav"', 'format = "mp3"')
    made()
    change("[90, 120]", ladder)
    would = foretold(planned(), due_of(planned()))
    # Two tunes at two pitches; who has a pitch in common shares its files.
    assert (would.tracks, would.numbered) == (4, 8)
    why = {one.file.path: one.reason.english for one in due_of(planned())}
    name = "Jamie/2 Reel - B flat - full - mono, 8000 Hz - 090 bpm.mp3"
    assert why[name] == "its place among its rungs has changed"
    said = done("pack", "class.toml", "-o", "out", "--dry-run").splitlines()[-1]
    assert "4 tracks to render, " in said
    assert " of playing, 8 tracks to number anew, about " in said
    begun = streams_encoded(monkeypatch)
    made()
    assert len(begun) == 4
    again = contents()
    make(read_pack("class.toml").plan("afresh"))
    assert contents("afresh") == again
    assert made().made == ()
    number = {"[90, 120, 130]": "1/3", "[80, 90, 120]": "2/3", "[90, 100, 120]": "1/3"}[ladder]
    assert str(mutagen.mp3.MP3(Path("out", name)).tags["TRCK"]) == number


def test_a_track_that_sounds_alike_and_was_changed_meanwhile_is_encoded_anew(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    change('format = "wav"', 'format = "mp3"')
    made()
    change("[90, 120]", "[90, 120, 130]")
    name = "Jamie/2 Reel - B flat - full - mono, 8000 Hz - 090 bpm.mp3"
    plan = planned()
    (due,) = [one for one in due_of(plan) if one.file.path == name]
    assert due.sounding is not None
    whole = Path("out", name).read_bytes()
    Path("out", name).write_bytes(whole[:-1] + b"x")
    assert refused()[0].startswith(f"out/{name}: somebody has changed this file since it was made")
    begun = streams_encoded(monkeypatch)
    made(replace=True)
    assert len(begun) == 4 + 1
    make(plan.pack.plan("afresh"))
    assert contents("afresh") == contents()


def test_a_learner_who_is_renamed_gets_what_is_there_as_a_link(folder: Path) -> None:
    made()
    change("Jamie", "Ewan")
    again = made(tidy=True)
    tracks = [name for name in again.made if name.endswith(".wav")]
    assert tracks
    assert set(tracks) <= set(again.linked)
    assert not Path("out/Jamie").exists()


def test_exercises_that_change_places_are_not_made_anew(folder: Path) -> None:
    change('title = "Larkmoor juniors"', 'title = "Larkmoor juniors"\n# order')
    made()
    before = contents()
    change('"wide.toml", "reel.toml"', '"reel.toml", "wide.toml"')
    again = made(tidy=True)
    tracks = [name for name in again.made if name.endswith(".wav")]
    assert set(tracks) <= set(again.linked)
    after = contents()
    for name, data in before.items():
        if name.endswith(".wav"):
            number = {"1": "2", "2": "1"}
            owner, _, file = name.partition("/")
            assert after[f"{owner}/{number[file[0]]}{file[1:]}"] == data


def test_what_the_pack_makes_no_longer_is_listed_and_removed_only_if_nobody_changed_it(
    folder: Path,
) -> None:
    made()
    Path("out/Jamie/notes.txt").write_text("mine", "utf-8")
    edited = Path("out/Jamie/2 Reel - B flat - full - mono, 8000 Hz - 090 bpm.wav")
    edited.write_bytes(b"edited")
    change(', "reel.toml"', "")
    again = made()
    assert again.changed == (edited.relative_to("out").as_posix(),)
    assert len(again.left_over) == 2 * 3 * 4 - 1, "names of a lone tune have no number"
    assert all(Path("out", name).is_file() for name in again.left_over)
    made(tidy=True)
    assert not any(Path("out", name).exists() for name in again.left_over)
    assert edited.read_bytes() == b"edited"
    assert Path("out/Jamie/notes.txt").read_text("utf-8") == "mine"


def test_what_somebody_has_changed_is_not_replaced(folder: Path) -> None:
    made()
    name = "Jamie/1 Wide - B flat - full - mono, 8000 Hz - 090 bpm.wav"
    Path("out", name).write_bytes(b"edited")
    before = contents()
    (said,) = refused()
    assert said.startswith(f"out/{name}: somebody has changed this file since it was made (")
    assert contents() == before
    made(replace=True)
    assert Path("out", name).read_bytes().startswith(b"RIFF")


def test_what_somebody_else_has_put_there_stays_and_all_others_are_made(folder: Path) -> None:
    name = "Jamie/1 Wide - B flat - full - mono, 8000 Hz - 090 bpm.wav"
    Path("out/Jamie").mkdir(parents=True)
    Path("out", name).write_bytes(b"mine")
    said = refused()
    assert said[0].startswith(f"out/{name}: Rungwise does not remember having made this file")
    assert Path("out", name).read_bytes() == b"mine"
    assert len([one for one in contents() if one.endswith(".wav")]) == 12


def test_two_packs_do_not_take_each_others_files(folder: Path) -> None:
    made()
    Path("other.toml").write_text(CLASS.replace("90", "80"), "utf-8")
    tune("wide.toml", "Wide", "C")
    before = contents()
    with pytest.raises(RungwiseError, match="this is a playlist from the pack, and"):
        make(read_pack("other.toml").plan("out"))
    assert contents() == before


@pytest.mark.parametrize("place", ["out", "out/Jamie", "out/All tracks.m3u8"])
def test_a_link_in_the_place_of_the_output_is_refused(place: str, folder: Path) -> None:
    Path("elsewhere").mkdir()
    if place != "out":
        Path("out").mkdir()
    Path(place).symlink_to(folder / "elsewhere")
    (said,) = refused()
    assert said.startswith(f"{place}: this is a link to another place, and the pack would go there")
    assert not list(Path("elsewhere").iterdir())


def test_a_manifest_that_is_cut_off_or_lost_costs_time_and_no_file(folder: Path) -> None:
    change("wide.toml", "reel.toml")
    change(', "reel.toml"]', "]")
    change("[90, 120]", "[120]")
    made()
    before = contents()
    whole = Path("out", MANIFEST).read_bytes()
    plan = planned()
    for cut in [*range(0, len(whole), max(1, len(whole) // 23)), len(whole) - 1]:
        Path("out", MANIFEST).write_bytes(whole[:cut])
        make(plan)
        assert contents() == before, cut
        assert read_manifest(Path("out")).made.keys() == before.keys()
    Path("out", MANIFEST).unlink()
    make(plan)
    Path("out", MANIFEST).write_bytes(whole.replace(b": 1,", b": 999,", 1))
    make(plan)
    assert contents() == before


def test_a_journal_that_is_cut_off_anywhere_is_gone_on_from(folder: Path) -> None:
    made()
    known = read_manifest(Path("out")).made
    lines = b"".join(
        json.dumps([name, entry.plain()]).encode() + b"\n" for name, entry in known.items()
    )
    Path("out", MANIFEST).unlink()
    ends = [at for at, byte in enumerate(lines) if byte == ord("\n")]
    for cut in (0, 1, *range(2, len(lines), len(lines) // 61), *ends, *(end - 1 for end in ends)):
        Path("out", JOURNAL).write_bytes(lines[:cut])
        with Journal(Path("out")) as journal:
            whole = sum(1 for end in ends if end <= cut)
            assert list(journal.made) == list(known)[:whole]
            assert all(journal.made[name] == known[name] for name in journal.made)
        Path("out", MANIFEST).unlink(missing_ok=True)


def test_a_second_run_into_a_folder_says_so_and_stops(folder: Path) -> None:
    with Journal(Path("out")):
        (said,) = refused()
    assert said == (
        "out: another run is at work in this folder. Wait until it has ended, or name another "
        "folder."
    )
    made()
    assert not Path("out", JOURNAL).exists()


def test_names_of_other_folders_in_a_manifest_are_left_alone(folder: Path) -> None:
    made()
    Path("precious.wav").write_bytes(Path("out/All tracks.m3u8").read_bytes())
    manifest = json.loads(Path("out", MANIFEST).read_bytes())
    entry = manifest["made"]["All tracks.m3u8"]
    for name in ("../precious.wav", "/etc/hostname", "a/../../precious.wav"):
        manifest["made"][name] = entry
    head = b'{"rungwise-manifest": 1,' + json.dumps(manifest).encode().partition(b",")[2]
    Path("out", MANIFEST).write_bytes(head)
    again = made(tidy=True)
    assert again.left_over == ()
    assert Path("precious.wav").is_file()


def command(*more: str) -> list[str]:
    return [sys.executable, "-m", "renderer", "pack", "class.toml", "-o", "out", *more]


@contextmanager
def running(cwd: Path) -> Iterator[subprocess.Popen[bytes]]:
    process = subprocess.Popen(
        command(), cwd=cwd, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, env=os.environ
    )
    try:
        yield process
    finally:
        process.kill()
        process.communicate()


def encoders_in(folder: Path) -> list[str]:
    """The command lines of encoders that write somewhere in a folder."""
    found = []
    for entry in Path("/proc").glob("[0-9]*"):
        try:
            words = (entry / "cmdline").read_bytes()
            state = (entry / "stat").read_bytes().rpartition(b")")[2].split()[0]
        except OSError:
            continue
        if b"ffmpeg" in words and os.fsencode(folder) in words and state != b"Z":
            found.append(words.decode(errors="replace"))
    return found


def ended(folder: Path) -> bool:
    """Wait until no encoder of a killed run is left; they end once nobody writes to them."""
    for _ in range(10 * HANG_S):
        if not encoders_in(folder):
            return True
        time.sleep(0.1)
    return False


def killed_and_resumed(folder: Path, signals: list[int], pause: float) -> None:
    """Stop runs at moments that differ, then let one come to its end."""
    # M4A is encoded by a process of its own, MP3 is not.
    change('format = "wav"', 'format = ["mp3", "m4a"]')
    change('layout = "mono"', "")
    change('gets = "tracks"', 'gets = ["tracks", "sheet", "plan"]\nstart = 2026-12-01')
    done("pack", "class.toml", "-o", "undisturbed")
    undisturbed = contents("undisturbed")
    for number, one in enumerate(signals):
        if number % 4 == 0:
            shutil.rmtree("out", ignore_errors=True)
        with running(folder) as process:
            # By how far the work has come, not by the clock: how fast it goes is the machine's.
            goal = number % 11
            while process.poll() is None and len(finished()) < goal:
                time.sleep(pause)
            time.sleep(pause * (number % 7))
            process.send_signal(one)
            said = process.communicate(timeout=HANG_S)[0]
        if one == signal.SIGTERM:
            # Before Python listens to it, it ends a process as it ends any.
            assert process.returncode in (0, 130, -signal.SIGTERM), said
        for name, data in contents().items():
            if name in undisturbed:
                assert data == undisturbed[name], "a file under its name is whole"
        assert ended(folder)
    done("pack", "class.toml", "-o", "out")
    assert contents() == undisturbed
    assert ended(folder)
    assert done("pack", "class.toml", "-o", "out").splitlines()[-1].startswith("Nothing to do")


def finished() -> list[Path]:
    if not Path("out").is_dir():
        return []
    return [one for one in Path("out").rglob("*") if one.suffix in (".mp3", ".m4a", ".pdf")]


def test_a_run_that_is_killed_is_gone_on_with_to_the_same_bytes(folder: Path) -> None:
    killed_and_resumed(folder, [signal.SIGKILL, signal.SIGTERM, signal.SIGKILL], 0.05)


@pytest.mark.long
def test_forty_runs_that_are_killed_are_gone_on_with_to_the_same_bytes(folder: Path) -> None:
    killed_and_resumed(folder, [signal.SIGKILL, signal.SIGTERM] * 20, 0.07)


def test_a_disk_that_is_full_at_any_page_loses_nothing_and_is_gone_on_from(folder: Path) -> None:
    small_class()
    made()
    undisturbed = contents()
    page = os.sysconf("SC_PAGE_SIZE")
    with small_disk(folder / "disk", kilobytes=1_200) as disk:
        plan = read_pack("class.toml").plan(disk / "out")
        filler = disk / "filler"
        with filler.open("wb", buffering=0) as file, suppress(OSError):
            while True:
                file.write(bytes(page))
        stopped_at = []
        while True:
            try:
                make(plan, workers=1)
                break
            except RungwiseError as error:
                stopped_at.append(stopped_well(error, plan.root, undisturbed))
            with filler.open("rb+") as file:
                file.truncate(filler.stat().st_size - page)
        assert contents(str(disk / "out")) == undisturbed
        assert due_of(plan) == ()
    assert {".flac", ".m3u8", ".pdf", ".zip"} <= set(stopped_at)
    assert len(stopped_at) > 20


@pytest.mark.skipif(sys.platform == "win32", reason="its paths are told in another way")
@pytest.mark.parametrize("step", [9, pytest.param(1, marks=pytest.mark.long)])
def test_what_fails_at_any_opening_or_renaming_loses_nothing_and_is_gone_on_from(
    folder: Path, step: int
) -> None:
    small_class()
    made()
    undisturbed = contents()
    shutil.rmtree("out")
    total = FAILING.during(0, make, planned())
    assert contents() == undisturbed
    for number in range(1, total + 1, step):
        shutil.rmtree("out")
        plan = planned()
        try:
            FAILING.during(number, make, plan, workers=1)
        except RungwiseError as error:
            stopped_well(error, plan.root, undisturbed)
        made()
        assert contents() == undisturbed
    assert total > 20


def small_class() -> None:
    """Let the pack be of a few pages: two short tracks, lists, an overview and what is sent."""
    Path("wide.toml").write_text('title = "Wide"\n[[lines]]\nrun = "B"\n', "utf-8")
    change('exercises = ["wide.toml", "reel.toml"]', 'exercises = ["wide.toml"]')
    change("ladder = [90, 120]", "tempo = 300\ncount-in = 0\nrepeats = 1\nzip = true")
    change('format = "wav"', 'format = "flac"')


def there(root: Path) -> dict[str, bytes]:
    return contents(str(root)) if root.exists() else {}


def stopped_well(error: RungwiseError, root: Path, undisturbed: dict[str, bytes]) -> str:
    """Hold a run that a full disk has stopped to its promises; return what it stopped at."""
    words = str(error)
    assert "full" in words or "free" in words, words
    if isinstance(error, PackStoppedError):
        *_, last = error.problems
        assert last.remedy == "the same command goes on from here"
        assert "are there" in last.cause
    else:
        assert "manifest" in words or "tracks need" in words or len(there(root)) < 2
    for name, data in there(root).items():
        if name != JOURNAL:
            assert data == undisturbed[name]
    return Path(error.problems[0].file or "").suffix


class Failing:
    """Counts what is opened for writing or renamed under a folder, and lets one of them fail."""

    def __init__(self) -> None:
        self._at = self._count = 0
        self._root = ""
        self._is_added = False

    def during(self, at: int, work: Callable[..., object], plan: PackPlan, **how: Any) -> int:
        """Do some work; the disk is full at one of its openings, counted from 1, and from then on.

        Returns how many there were.
        """
        if not self._is_added:
            # It cannot be removed; without a root it does nothing.
            sys.addaudithook(self._hear)
            self._is_added = True
        self._at, self._count, self._root = at, 0, str(plan.root.resolve())
        try:
            work(plan, **how)
        finally:
            self._root = ""
        return self._count

    def _hear(self, event: str, told: tuple[Any, ...]) -> None:
        if not self._root or event not in ("open", "os.rename", "os.link", "os.mkdir"):
            return
        if event == "open" and not told[2] & (os.O_WRONLY | os.O_RDWR):
            return
        path = Path(os.fsdecode(told[0])) if isinstance(told[0], str | bytes) else None
        if path is None or not str(path.absolute()).startswith(self._root):
            return
        self._count += 1
        if self._at and self._count >= self._at:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC), str(path))


FAILING = Failing()


def test_a_cancelled_run_says_how_far_it_came(folder: Path) -> None:
    handle = Handle()
    with pytest.raises(PackStoppedError) as caught:
        make(planned(), workers=1, handle=handle, on_progress=lambda *_: handle.cancel())
    *_, last = caught.value.problems
    assert "files that were to be made are there" in last.cause
    assert last.remedy == "the same command goes on from here"
    made()


def test_the_command_ends_with_a_table_by_learner(folder: Path) -> None:
    said = done("pack", "class.toml", "-o", "out").splitlines()
    rows = [line.split() for line in said]
    assert rows[0][:3] == ["Folder", "Pitch", "Tracks"]
    assert rows[1][:6] == ["Jamie", "B", "flat", "4", "0", "0"]
    assert said[-1].endswith("in out")
    said = done("pack", "class.toml", "-o", "out").splitlines()
    assert said[-1] == "Nothing to do: all 31 files are there."


def test_a_dry_run_writes_nothing_and_says_what_it_would_make(folder: Path) -> None:
    said = done("pack", "class.toml", "-o", "out", "--dry-run", "--why").splitlines()
    assert "Jamie/All tracks.m3u8: is new" in said
    assert said[-1].startswith("Nothing was written. It would be 31 files of 31: 8 tracks to ")
    assert not Path("out").exists()


def test_what_a_dry_run_says_comes_true(folder: Path) -> None:
    change('gets = "tracks"', 'gets = ["tracks", "sheet"]\nzip = true\nmax-size = "250 kB"')
    made()  # How large sheets are is known from former runs.
    shutil.rmtree("out")
    would = foretold(planned(), due_of(planned()))
    result = made()
    assert would.due == len(result.made) - len(result.parcels)
    assert would.parcels == len(result.parcels) > 3
    linked = set(result.linked)
    new = sum(size for name, size in result.sizes.items() if name in would.sizes.keys() - linked)
    assert would.bytes == pytest.approx(new, rel=0.05)
    packed = sum(result.sizes[path] for path in result.parcels)
    assert would.parcel_bytes == pytest.approx(packed, rel=0.05)
    playing = sum(float(one.duration) for one in result.plan.different)
    assert would.seconds == pytest.approx(playing)
    assert not would.too_large
    again = foretold(planned(), due_of(planned()))
    assert (again.due, again.parcels, again.bytes, again.work.seconds) == (0, 0, 0, 0)
    tune("reel.toml", "Reel", "C")
    Path("out/Ailsa.zip").unlink(missing_ok=True)
    then = foretold(planned(), due_of(planned()))
    now = made()
    assert then.due == len(now.made) - len(set(now.made) & set(now.parcels))
    assert then.parcels == len(set(now.made) & set(now.parcels))


def test_plans_that_cannot_be_are_said_before_anything_is_made(folder: Path) -> None:
    change('gets = "tracks"', 'gets = ["tracks", "plan"]')
    change('name = "Ailsa"', 'name = "Ailsa"\nminutes = 5\ndays = 1\nplayings = 300')
    for how in ((), ("--dry-run",)):
        result = rungwise("pack", "class.toml", "-o", "out", *how)
        assert isinstance(result.exception, RungwiseError)
        said = [str(one) for one in result.exception.problems]
        assert len(said) == 2
        assert said[0].startswith(
            "class.toml: learners[2]: the practice plan of wide.toml cannot be made: playing each "
            "of 2 lines 300 times does not fit into 1 day of 5 minutes, rests included. Plan more "
        )
        assert not Path("out").exists()


def test_rungs_that_are_too_many_for_the_days_are_said_with_the_plan_that_they_are_of(
    folder: Path,
) -> None:
    change('gets = "tracks"', 'gets = "plan"')
    change("[90, 120]", '"60:80:1"')
    change('name = "Ailsa"', 'name = "Ailsa"\ndays = 30')
    change(', "reel.toml"', "")
    said = made().remarks
    assert [one for one in said if "rungs are too many" in one] == [
        "Jamie/Wide - practice plan.pdf and 2 more: 21 rungs are too many for 14 days, since a "
        "line climbs one a day at most: larger steps reach the top."
    ]


def test_a_new_file_is_written_once(folder: Path) -> None:
    done("pack", "--new", "new.toml")
    assert rungwise("pack", "--new", "new.toml").exit_code
    assert "[[learners]]" in Path("new.toml").read_text("utf-8")


def test_settings_of_the_command_hold_for_everybody(folder: Path) -> None:
    done("pack", "class.toml", "-o", "out", "--tempo", "100", "--gets", "tracks")
    names = [name for name in contents() if name.endswith(".wav")]
    assert len(names) == 6
    assert all("100 bpm" in name for name in names)


def test_progress_moves_from_the_first_track_to_the_last_folder_that_is_sent(folder: Path) -> None:
    Path("class.toml").write_text("zip = true\n" + Path("class.toml").read_text())
    seen: list[Progress] = []
    plan = planned()
    make(plan, on_progress=seen.append)
    total = sum(float(one.duration) for one in plan.different)
    tracks = len({one.digest for one in plan.different if isinstance(one.job, TrackJob)})
    (end,) = {(one.all_seconds, one.tracks, one.all_files, one.all_folders) for one in seen}
    assert end == (pytest.approx(total), tracks, len(plan.files) - tracks, len(plan.pack.shares))
    assert (seen[-1].seconds, seen[-1].files, seen[-1].folders) == (
        pytest.approx(total, abs=0.01),
        *end[2:],
    )
    for done in ("seconds", "files", "folders"):
        told = [getattr(one, done) for one in seen]
        assert told == sorted(told)
    # Folders are packed one by one, when all else is there.
    assert [one.folders for one in seen if one.folders] == list(range(1, end[3] + 1))


@pytest.mark.parametrize("phase", ["plans", "files", "folders"])
def test_a_run_is_stopped_in_every_phase_and_gone_on_with(folder: Path, phase: str) -> None:
    text = "zip = true\n" + Path("class.toml").read_text()
    if phase == "plans":
        text = text.replace('gets = "tracks"', 'gets = ["tracks", "plan"]')
    Path("class.toml").write_text(text)
    handle = Handle()

    def enough(now: Progress) -> None:
        if getattr(now, phase):
            handle.cancel()

    with pytest.raises(PackStoppedError) as caught:
        make(planned(), on_progress=enough, handle=handle)
    assert caught.value.problems[-1].remedy == "the same command goes on from here"
    plan = planned()
    if phase == "plans":
        assert not contents(), "nothing is made before all is planned"
        return
    assert sum((plan.root / f"{one.name}.zip").exists() for one in plan.pack.shares) == (
        1 if phase == "folders" else 0
    )
    made()


def in_a_process(folder: Path, *more: str) -> str:
    run = subprocess.run(
        command(*more), cwd=folder, capture_output=True, text=True, check=True, timeout=HANG_S
    )
    return run.stdout


def test_the_same_call_finds_at_once_that_nothing_is_to_be_done(folder: Path) -> None:
    in_a_process(folder)
    words = ["class.toml", "-o", "out"]
    said = said_before(words)
    assert said is not None
    assert said.splitlines()[-1] == "Nothing to do: all 31 files are there."
    assert said_before([*words, "--share"]) is None
    assert said_before(["./class.toml", "-o", "out"]) is None
    for path in (Path("out/All tracks.m3u8"), Path("out/Jamie/All tracks.m3u8")):
        whole = path.read_bytes()
        path.unlink()
        assert said_before(words) is None
        path.write_bytes(whole)
        assert said_before(words) is None, "its time of change is another: its bytes are looked at"
        assert in_a_process(folder).splitlines()[-1].startswith("Nothing to do")
        assert said_before(words) is not None
    for path in (Path("class.toml"), Path("wide.toml")):
        whole = path.read_bytes()
        path.write_bytes(whole + b"# A remark.\n")
        assert said_before(words) is None
        path.write_bytes(whole)
        assert said_before(words) is not None


def test_a_file_that_comes_into_a_folder_of_exercises_is_not_overlooked(folder: Path) -> None:
    Path("tunes").mkdir()
    Path("wide.toml").rename("tunes/wide.toml")
    change('"wide.toml", "reel.toml"', '"tunes"')
    in_a_process(folder)
    words = ["class.toml", "-o", "out"]
    assert said_before(words) is not None
    tune("tunes/more.toml", "More")
    assert said_before(words) is None
    assert "2 Wide" in in_a_process(folder, "--why")


def test_a_pack_is_made_again_whenever_a_source_is_saved(folder: Path) -> None:
    with subprocess.Popen(
        command("--watch"), cwd=folder, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as process:
        try:
            assert process.stderr is not None
            waiting = "Watching 3 sources; Ctrl-C ends it."
            said: list[str] = []

            def until_it_waits() -> list[str]:
                said.clear()
                assert process.stderr is not None
                for line in process.stderr:
                    said.append(line.strip())
                    if said[-1] == waiting:
                        break
                return said

            until_it_waits()
            before = contents()
            tune("reel.toml", "Reel", "C")
            assert until_it_waits()[-1] == waiting
            changed = {name for name, data in contents().items() if data != before[name]}
            assert all("2 Reel" in name for name in changed)
            assert len([name for name in changed if name.endswith(".wav")]) == 6
            tune("reel.toml", "Reel", "Q")
            assert "reel.toml: lines[1].run: " in until_it_waits()[0]
            tune("reel.toml", "Reel", "B")
            until_it_waits()
            assert contents() == before
            process.send_signal(signal.SIGINT)
            process.communicate(timeout=HANG_S)
        finally:
            process.kill()
    assert process.returncode == 130
    assert not Path("out", JOURNAL).exists()


def test_a_folder_is_sent_as_one_file_that_other_programs_open(folder: Path) -> None:
    change('name = "Jamie"', 'name = "Seònaid Ó"')
    made(replace=True)
    result = make(planned(zip=True))
    assert result.parcels == ("Seònaid Ó.zip", "Ailsa.zip", "Chanters at A.zip")
    with zipfile.ZipFile("out/Seònaid Ó.zip") as sent:
        assert sent.testzip() is None
        names = sent.namelist()
        assert len(names) == 4 + 4 + 1
        for name in names:
            assert sent.read(name) == Path("out", name).read_bytes()
    Path("unpacked").mkdir()
    if shutil.which("unzip") is None:
        pytest.skip("no unzip here")
    subprocess.run(
        ["unzip", "-q", "../out/Seònaid Ó.zip"], cwd="unpacked", check=True, timeout=HANG_S,
        env={**os.environ, "LC_ALL": "C.UTF-8"},
    )  # fmt: skip
    assert contents("unpacked").keys() == set(names)
    before = Path("out/Ailsa.zip").stat().st_mtime_ns
    again = make(planned(zip=True))
    assert again.made == ()
    assert Path("out/Ailsa.zip").stat().st_mtime_ns == before
    assert set(make(planned(), tidy=True).left_over) == set(result.parcels)


def test_what_is_sent_is_kept_under_a_size_in_parts(folder: Path) -> None:
    result = make(planned(zip=True, max_size=300_000))
    mine = [path for path in result.parcels if path.startswith("Jamie")]
    assert mine == [f"Jamie {number} of {len(mine)}.zip" for number in range(1, len(mine) + 1)]
    packed: list[str] = []
    for path in mine:
        assert Path("out", path).stat().st_size <= 300_000
        with zipfile.ZipFile(Path("out", path)) as sent:
            packed += sent.namelist()
    assert packed == [one.path for one in result.plan.of("Jamie")]


@given(
    sizes=st.lists(st.integers(1, 400_000), min_size=1, max_size=30),
    most=st.integers(500_000, 2_000_000),
)
def test_parts_are_as_few_as_can_be_and_none_is_needlessly_larger_than_the_others(
    sizes: list[int], most: int
) -> None:
    names = [f"Jamie/{number:02d}.mp3" for number in range(len(sizes))]
    known = dict(zip(names, sizes, strict=True))
    parcels = parcels_of("Jamie", names, known, dict.fromkeys(names, ""), most)
    assert [name for parcel in parcels for name in parcel.files] == names
    room = [sum(known[name] + 150 for name in parcel.files) for parcel in parcels]
    assert max(room) <= most + 150 * 30
    greedy, taken = 1, 0
    for size in (known[name] + 132 + 2 * len(name) for name in names):
        if taken + size > most - 22:
            greedy, taken = greedy + 1, 0
        taken += size
    assert len(parcels) == greedy
    # With the parts alike, the largest is no larger than their mean by more than one file.
    assert max(room) <= sum(room) / len(room) + max(sizes) + 150


def test_tracks_too_large_to_send_are_split_into_runs_of_lines_as_long_as_fit(
    folder: Path,
) -> None:
    lines = "".join(f'[[lines]]\nrun = "{note}, low A, B, low A"\n' for note in "BCDEBCD")
    Path("reel.toml").write_text(f'title = "Reel"\n{lines}', "utf-8")
    # 16,000 bytes a second: at 90 two such lines last 16 s, three 24.
    plan = planned(max_size=330_000, repeats=2)
    names = [one.path for one in plan.of("Jamie") if one.what == "a track"]
    lists = ["lines 1 and 2", "lines 3 and 4", "lines 5 and 6", "line 7"]
    assert [name.partition(" - ")[0] for name in names] == [
        *["Jamie/1 Wide"] * 2,
        *[f"Jamie/2 Reel, {lines}" for lines in lists for _ in (90, 120)],
    ]
    result = make(plan)
    sizes = {name: result.sizes[name] for name in names}
    assert max(sizes.values()) <= 330_000
    seconds = {name: soundfile.info(Path("out", name)).duration for name in names}
    slow = [name for name in names if "2 Reel" in name and "090 bpm" in name]
    for one, other in itertools.pairwise(slow[:-1]):
        assert seconds[one] == seconds[other], "as many lines each as fit"
    # With one line more, of four beats twice and a bar of clicks, it would be too large.
    more = seconds[slow[0]] + (2 * 4 + 4) * 60 / 90
    assert more * 16_000 > 330_000 - 60_000
    assert not any("line" in one.path for one in planned(max_size=30_000_000).files)


def test_a_run_of_lines_is_made_anew_alone_where_its_note_has_changed(folder: Path) -> None:
    how = {"max_size": 120_000, "repeats": 2}
    first = make(planned(**how))
    assert any("2 Reel, line 2" in name for name in first.made)
    tune("reel.toml", "Reel", "C")
    again = make(planned(**how))
    tracks = [name for name in again.made if name.endswith(".wav")]
    assert tracks
    assert all("2 Reel, line 1" in name for name in tracks)


def test_each_learner_can_have_other_lines_of_the_same_file(folder: Path) -> None:
    change('name = "Jamie"', 'name = "Jamie"\nlines = "2"')
    change('name = "Ailsa"', 'name = "Ailsa"\nlines = "1"')
    plan = planned()
    for who, title in (
        ("Jamie", "1 Wide, line 2"),
        ("Ailsa", "1 Wide, line 1"),
        ("Chanters at A", "1 Wide"),
    ):
        names = {Path(one.path).name.partition(" - ")[0] for one in plan.of(who)}
        assert title in names, names


def test_a_line_that_is_too_large_by_itself_is_refused_before_anything_is_made(
    folder: Path,
) -> None:
    for asked in ({}, {"zip": True}, {"each_line": True}):
        with pytest.raises(RungwiseError) as caught:
            planned(max_size=100_000, repeats=30, **asked)
        said = [str(one) for one in caught.value.problems]
        assert len(said) == 4, said
        assert said[0].startswith(
            "class.toml: exercises[1]: a track of line 1 of wide.toml alone has at least "
        )
    assert not Path("out").exists()


def test_a_file_that_comes_out_too_large_to_send_is_said_without_zip_too(folder: Path) -> None:
    change('format = "wav"', 'format = "flac"')
    for asked in ({}, {"zip": True}):
        with pytest.raises(RungwiseError, match="more than max-size allows"):
            make(planned(max_size=100_000, repeats=14, **asked))
