"""Nothing that a file, a terminal or a disk does makes Rungwise lose, leak or break anything.

Each of these was met once: by fuzzing, by closing terminals, by filling disks.
"""

from __future__ import annotations

import os
import random
import shutil
import signal
import subprocess
import sys
from pathlib import Path
from xml.etree import ElementTree

import psutil
import pytest

from tests.delivery.disks import made_in, small_disk
from tests.limits import HANG_S

LINE = '\n[[lines]]\nheading = "Low A to D"\nrun = "low A, B, D"\nornament = "doubling"\n'
LADDER = "\n[ladder]\nfrom = 50\nto = 80\nstep = 10\nrepeats = 8\n"


def rungwise(*words: str, folder: Path, shell: str = "") -> subprocess.CompletedProcess[str]:
    """Call the program in a folder, behind some words of the shell if there are any."""
    command = [sys.executable, "-m", "renderer", *words]
    return subprocess.run(
        ["/bin/sh", "-c", f'{shell}exec "$@"', "sh", *command] if shell else command,
        cwd=folder,
        env=environment(),
        capture_output=True,
        text=True,
        check=False,
        timeout=HANG_S,
    )


def environment() -> dict[str, str]:
    return {**os.environ, "PYTHONPATH": str(Path(__file__).parent.parent)}


def exercise(folder: Path, text: str = "", name: str = "tune.toml") -> str:
    (folder / name).write_text(text + LINE, "utf-8")
    return name


@pytest.mark.parametrize("digits", ["0x" + "f" * 4_000, "9" * 5_000, "0b" + "1" * 20_000])
def test_a_tempo_of_thousands_of_digits_is_refused(digits: str, tmp_path: Path) -> None:
    run = rungwise("check", exercise(tmp_path, f"tempo = {digits}"), folder=tmp_path)
    assert run.returncode == 2
    assert run.stderr.startswith("tune.toml: ")
    assert len(run.stderr) < 300


def test_a_key_of_megabytes_is_named_by_its_beginning(tmp_path: Path) -> None:
    run = rungwise("check", exercise(tmp_path, "k" * 3_900_000 + " = 1"), folder=tmp_path)
    assert run.returncode == 2
    assert "there is no key `kkkk" in run.stderr
    assert len(run.stderr) < 3_000


@pytest.mark.parametrize(
    "written", ["\\uFEFFWide", "Wi\\u001b[31mde", "\\u009b2JWide", "W\\u0007ide"]
)
def test_control_characters_of_a_title_reach_neither_terminal_nor_file(
    written: str, tmp_path: Path
) -> None:
    text = f'title = "{written}"\n[[lines]]\nheading = "{written}"\nrun = "low A, B"\n'
    (tmp_path / "tune.toml").write_text(text, "utf-8")
    runs = [
        rungwise("check", "tune.toml", folder=tmp_path),
        rungwise("convert", "tune.toml", "out.abc", folder=tmp_path),
        rungwise("plan", "tune.toml", "--days", "2", "-o", "out.ics", folder=tmp_path),
        rungwise("sheet", "tune.toml", "-o", "out.svg", folder=tmp_path),
        rungwise(
            "render", "tune.toml", "-o", "out", "--ladder", "50,60", "--format", "ogg",
            folder=tmp_path,
        ),
    ]  # fmt: skip
    said = [text for run in runs for text in (run.stdout, run.stderr)]
    assert [run.returncode for run in runs] == [0] * 5, said
    (playlist,) = (tmp_path / "out").glob("*.m3u8")
    files = [tmp_path / name for name in ("out.abc", "out.ics", "out.svg")]
    said += [path.read_text("utf-8") for path in (*files, playlist)]
    for text in said:
        assert not set(text) & {"\x1b", "\x9b", "\x07", "\ufeff"}


def test_escapes_in_keys_do_not_reach_the_terminal(tmp_path: Path) -> None:
    run = rungwise("check", exercise(tmp_path, '"a\\u001b[31mb" = 3'), folder=tmp_path)
    assert run.returncode == 2
    assert "\x1b" not in run.stderr


def test_a_sheet_with_any_web_address_is_well_formed_svg(tmp_path: Path) -> None:
    link = "https://example.org/tracks?class=1&amp=<2>&x=&#38;"
    name = exercise(tmp_path)
    run = rungwise("sheet", name, "-o", "out.svg", "--link", link, folder=tmp_path)
    assert run.returncode == 0, run.stderr
    ElementTree.parse(tmp_path / "out.svg")


@pytest.mark.parametrize("verb", ["sheet", "render", "events", "plan"])
def test_an_empty_name_behind_o_is_refused(verb: str, tmp_path: Path) -> None:
    name = exercise(tmp_path)
    run = rungwise(verb, name, "-o", "", folder=tmp_path)
    assert (run.returncode, run.stderr[:21]) == (2, "-o: the name is empty")
    assert made_in(tmp_path) == [name]


def test_a_closed_pipe_is_no_failure(tmp_path: Path) -> None:
    command = [sys.executable, "-m", "renderer", "events", exercise(tmp_path), "--repeats", "99"]
    with subprocess.Popen(
        command, cwd=tmp_path, env=environment(), stdout=subprocess.PIPE, stderr=subprocess.PIPE
    ) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        process.stdout.close()
        assert process.stderr.read() == b""
        assert process.wait(timeout=HANG_S) == 0


def test_the_last_days_of_the_calendar_have_no_practice_after_them(tmp_path: Path) -> None:
    name = exercise(tmp_path)
    for start in ("9999-12-28", "9999-12-31"):
        run = rungwise(
            "plan", name, "--start", start, "--days", "3", "-o", "out.ics", folder=tmp_path
        )
        assert run.returncode in (0, 2), run.stderr


def test_a_full_disk_at_the_playlist_still_says_what_was_made(tmp_path: Path) -> None:
    name = exercise(tmp_path)
    words = ("render", name, "--ladder", "50,60", "--format", "ogg", "-o")
    assert rungwise(*words, "before", folder=tmp_path).returncode == 0
    sizes = [path.stat().st_size for path in (tmp_path / "before").glob("*.ogg")]
    # Whole pages of memory: room for both tracks and for what the folder remembers, once more
    # while that is written, but not for another file.
    pages = sum(-(-size // 4096) for size in sizes) + 2
    with small_disk(tmp_path / "disk", kilobytes=4 * pages) as disk:
        run = rungwise(*words, "disk", folder=tmp_path)
        assert run.returncode == 2
        assert "the disk is full" in run.stderr
        assert run.stdout.count(".ogg") == 2
        assert len(made_in(disk)) == 2


def rendering(folder: Path, *, repeats: int = 8) -> subprocess.Popen[str]:
    text = LADDER.replace("repeats = 8", f"repeats = {repeats}")
    (folder / "tune.toml").write_text(LINE + text, "utf-8")
    return subprocess.Popen(
        [sys.executable, "-m", "renderer", "render", "tune.toml", "-o", "out"],
        cwd=folder,
        env=environment(),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )


def wait_for_parts(process: subprocess.Popen[str], folder: Path, size: int) -> None:
    """Wait until an unfinished track has so many bytes, or the process has ended."""
    while process.poll() is None:
        for part in (folder / "out").glob(".rungwise-*"):
            try:
                if part.stat().st_size >= size:
                    return
            except FileNotFoundError:
                continue


def assert_nothing_is_left(folder: Path) -> None:
    """After the next run: no stray file, complete playlists, no encoder without its parent."""
    with rendering(folder) as process:
        process.communicate(timeout=HANG_S)
        assert process.returncode == 0
    names = made_in(folder / "out")
    assert not [name for name in names if name.startswith(".")], names
    (playlist,) = (folder / "out").glob("*.m3u8")
    listed = [row for row in playlist.read_text("utf-8").splitlines() if not row.startswith("#")]
    assert len(listed) == 4
    assert set(listed) <= set(names)
    encoders = [one for one in psutil.process_iter(["cmdline"]) if one.info["cmdline"]]
    assert not [one for one in encoders if str(folder) in " ".join(one.info["cmdline"])]


def stop_and_see(folder: Path, signals: list[int], size: int) -> None:
    with rendering(folder, repeats=99) as process:
        wait_for_parts(process, folder, size)
        for number in signals:
            if process.poll() is None:
                process.send_signal(number)
        _, said = process.communicate(timeout=HANG_S)
    killed = signal.SIGKILL in signals
    if process.returncode != 0 and not killed:
        assert process.returncode == 130, said
        assert said == "Stopped; nothing half-written was left behind.\n"
        assert not [name for name in made_in(folder / "out") if name.startswith(".")]
    assert_nothing_is_left(folder)
    shutil.rmtree(folder / "out")


HANG_UP = getattr(signal, "SIGHUP", signal.SIGTERM)
WAYS = {
    "kill -9": [signal.SIGKILL],
    "closed terminal": [HANG_UP],
    "polite request": [signal.SIGTERM],
    "three Ctrl-C": [signal.SIGINT] * 3,
}
posix = pytest.mark.skipif(os.name != "posix", reason="signals are POSIX's")


@posix
@pytest.mark.parametrize("way", WAYS)
def test_a_rendering_that_is_stopped_leaves_nothing_behind(way: str, tmp_path: Path) -> None:
    stop_and_see(tmp_path, [int(number) for number in WAYS[way]], 200_000)


@posix
@pytest.mark.long
@pytest.mark.parametrize("way", [*WAYS, *(f"{count} Ctrl-C" for count in (1, 2, 4, 5, 6, 7))])
def test_a_rendering_that_is_stopped_at_any_moment_leaves_nothing_behind(
    way: str, tmp_path: Path
) -> None:
    moments = random.Random(way)
    signals = WAYS[way] if way in WAYS else [signal.SIGINT] * int(way[0])
    for _ in range(20):
        stop_and_see(tmp_path, [int(number) for number in signals], moments.randrange(3_000_000))


def test_a_ladder_that_fails_half_way_keeps_the_playlist_of_the_tracks_that_are_there(
    tmp_path: Path,
) -> None:
    words = ("render", exercise(tmp_path), "--ladder", "50,60,70", "--format", "ogg", "-o", "out")
    assert rungwise(*words, folder=tmp_path).returncode == 0
    (playlist,) = (tmp_path / "out").glob("*.m3u8")
    before = playlist.read_bytes()
    # The slowest track is the largest: it alone is too large from now on.
    sizes = sorted(path.stat().st_size for path in (tmp_path / "out").glob("*.ogg"))
    limit = f"ulimit -f {sizes[1] // 512 + 1}; "
    run = rungwise(*words, folder=tmp_path, shell=limit)
    assert run.returncode == 2
    assert "would be larger than this disk allows" in run.stderr
    assert playlist.read_bytes() == before


def test_read_only_tracks_are_named_before_anything_is_made(tmp_path: Path) -> None:
    words = ("render", exercise(tmp_path), "--ladder", "50,60,70", "--format", "ogg", "-o", "out")
    assert rungwise(*words, folder=tmp_path).returncode == 0
    before = {path: path.stat().st_mtime_ns for path in (tmp_path / "out").iterdir()}
    read_only = sorted((tmp_path / "out").glob("*.ogg"))[1:]
    for path in read_only:
        path.chmod(0o444)
    run = rungwise(*words, folder=tmp_path)
    assert run.returncode == 2
    assert [row.split(": ")[1][:22] for row in run.stderr.splitlines()] == [
        "this file is read-only"
    ] * 2
    assert before == {path: path.stat().st_mtime_ns for path in (tmp_path / "out").iterdir()}
