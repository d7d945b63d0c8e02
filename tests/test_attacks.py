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
import time
from collections.abc import Mapping, Sequence
from contextlib import suppress
from pathlib import Path
from xml.etree import ElementTree

import psutil
import pytest

from tests.delivery.disks import made_in, small_disk
from tests.limits import HANG_S

LINE = '\n[[lines]]\nheading = "Low A to D"\nrun = "low A, B, D"\nornament = "doubling"\n'
LADDER = "\n[ladder]\nfrom = 50\nto = 80\nstep = 10\nrepeats = 8\n"


def rungwise(
    *words: str,
    folder: Path,
    shell: str = "",
    before: Sequence[str] = (),
    more: Mapping[str, str] | None = None,
) -> subprocess.CompletedProcess[str]:
    """Call the program in a folder.

    `shell` are words of the shell that come first, `before` a command that starts it, `more` goes
    into its environment.
    """
    command = [*before, sys.executable, "-m", "renderer", *words]
    return subprocess.run(
        ["/bin/sh", "-c", f'{shell}exec "$@"', "sh", *command] if shell else command,
        cwd=folder,
        env=environment() | dict(more or {}),
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


def test_control_characters_of_a_title_reach_neither_terminal_nor_file(tmp_path: Path) -> None:
    written = "\\uFEFFWi\\u001b[31md\\u009b2Je\\u0007"
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
    words = ("plan", name, "--days", "3", "-o", "out.ics", "--start")
    assert rungwise(*words, "9999-12-28", folder=tmp_path).returncode == 0
    assert "DTSTART:99991228" in (tmp_path / "out.ics").read_text("utf-8").replace("\n", "")
    run = rungwise(*words, "9999-12-31", folder=tmp_path)
    assert run.returncode == 2
    assert "no calendar goes on for 3 days from 9999-12-31" in run.stderr


LAST_DAY = """
import datetime, time

class Kind(type):
    def __instancecheck__(cls, one):
        return isinstance(one, real)

class Last(datetime.date, metaclass=Kind):
    @classmethod
    def today(cls):
        return real(9999, 12, 31)

real, datetime.date = datetime.date, Last
seconds = datetime.datetime(9999, 12, 31, 23, 59, tzinfo=datetime.UTC).timestamp()
time.time = lambda: seconds
"""
"""What a process is told where the computer's clock stands on the last day of all."""


@pytest.mark.parametrize(
    ("words", "code", "says"),
    [
        (("plan", "tune.toml", "--days", "2"), 2, "no calendar goes on for 2 days from 9999-12-31"),
        (("plan", "tune.toml", "--days", "2", "--start", "2026-12-01", "-o", "p.ics"), 0, ""),
        (("sheet", "tune.toml", "-o", "tune.pdf"), 0, ""),
        (("render", "tune.toml", "-o", "out", "--format", "ogg"), 0, ""),
    ],
    ids=lambda given: given[0] if isinstance(given, tuple) else "",
)
def test_a_clock_on_the_last_day_of_all_stops_nothing(
    words: tuple[str, ...], code: int, says: str, tmp_path: Path
) -> None:
    exercise(tmp_path)
    (tmp_path / "hook").mkdir()
    (tmp_path / "hook" / "sitecustomize.py").write_text(LAST_DAY)
    path = os.pathsep.join([str(tmp_path / "hook"), environment()["PYTHONPATH"]])
    run = rungwise(*words, folder=tmp_path, more={"PYTHONPATH": path})
    assert run.returncode == code, run.stderr
    assert says in run.stderr


def bound_by_permissions() -> list[str]:
    """What comes before a command so that permissions bind it, as they do not bind root."""
    if os.name != "posix":
        pytest.skip("permissions are POSIX's")
    if os.geteuid() != 0:
        return []
    if shutil.which("setpriv") is None:
        pytest.skip("root is bound by no permission, and there is no setpriv to change that")
    passing = "-dac_override,-dac_read_search"
    return ["setpriv", "--bounding-set", passing, "--inh-caps", passing]


@pytest.mark.parametrize(
    "words",
    [
        ("check", "shut/in.toml"),
        ("convert", "shut/in.toml", "x.abc"),
        ("events", "tune.toml", "-o", "shut/x.csv"),
        ("sheet", "tune.toml", "-o", "shut/x.pdf"),
        ("render", "tune.toml", "-o", "shut/out"),
        ("render", "tune.toml", "-o", "shut"),
        ("render", "tune.toml", "-o", "out", "--soundfont", "shut/a.sf2", "--preset", "0:0"),
    ],
    ids=" ".join,
)
def test_a_folder_that_may_be_listed_but_not_looked_into_is_named(
    words: tuple[str, ...], tmp_path: Path
) -> None:
    exercise(tmp_path)
    (tmp_path / "shut").mkdir()
    exercise(tmp_path / "shut", name="in.toml")
    (tmp_path / "shut").chmod(0o600)
    try:
        run = rungwise(*words, folder=tmp_path, before=bound_by_permissions())
    finally:
        (tmp_path / "shut").chmod(0o700)
    assert run.returncode == 2
    (said,) = run.stderr.splitlines()
    assert said.startswith("shut")
    assert "no permission" in said
    assert made_in(tmp_path / "shut") == ["in.toml"]


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


def rendering(folder: Path) -> subprocess.Popen[str]:
    (folder / "tune.toml").write_text(LINE + LADDER, "utf-8")
    return subprocess.Popen(
        [sys.executable, "-m", "renderer", "render", "tune.toml", "-o", "out"],
        cwd=folder,
        env=environment(),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def sizes_in(folder: Path) -> dict[str, tuple[int, int]]:
    """Of each file when it was last written to, and its size."""
    found = {}
    for path in folder.glob("*"):
        with suppress(FileNotFoundError):
            found[path.name] = (path.stat().st_mtime_ns, path.stat().st_size)
    return found


def wait_until_written(process: subprocess.Popen[str], folder: Path, size: int) -> None:
    """Wait until so many bytes were written since it was called, or the process has ended."""
    before = sizes_in(folder)
    while process.poll() is None:
        now = sizes_in(folder)
        if sum(now[name][1] for name in now if now[name] != before.get(name)) >= size:
            return
        time.sleep(0.002)


def left_running(folder: Path) -> list[str]:
    """The commands that still run for files in a folder."""
    running = [" ".join(one.info["cmdline"] or ()) for one in psutil.process_iter(["cmdline"])]
    return [command for command in running if str(folder) in command]


def assert_nothing_is_left(folder: Path) -> None:
    """After the next run: no stray file, complete playlists, no encoder without its parent."""
    with rendering(folder) as process:
        _, said = process.communicate(timeout=HANG_S)
        assert process.returncode == 0, said
    names = made_in(folder / "out")
    assert not [name for name in names if name.startswith(".")], names
    (playlist,) = (folder / "out").glob("*.m3u8")
    listed = [row for row in playlist.read_text("utf-8").splitlines() if not row.startswith("#")]
    assert len(listed) == 4
    assert sorted([*listed, playlist.name]) == names
    assert not left_running(folder)


def stop(folder: Path, signals: Sequence[int], size: int) -> None:
    """Render, stop that when so many bytes are written, and look at what is left at once."""
    with rendering(folder) as process:
        try:
            wait_until_written(process, folder / "out", size)
            for number in signals:
                if process.poll() is None:
                    process.send_signal(number)
            _, said = process.communicate(timeout=HANG_S)
        except BaseException:
            # Its encoders too: a test that fails leaves nothing running either.
            with suppress(psutil.NoSuchProcess):
                for child in psutil.Process(process.pid).children(recursive=True):
                    child.kill()
            process.kill()
            raise
    if process.returncode in (0, -signal.SIGKILL):
        return  # it was done before, or had no time to say anything
    assert process.returncode == 130, said
    assert said == "Stopped; nothing half-written was left behind.\n"
    assert not [name for name in made_in(folder / "out") if name.startswith(".")]
    assert not left_running(folder)


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
    stop(tmp_path, WAYS[way], 200_000)
    assert_nothing_is_left(tmp_path)


SIZE = 2_500_000
"""Bytes of the tracks that are rendered."""


@posix
@pytest.mark.long
@pytest.mark.parametrize("way", [*WAYS, *(f"{count} Ctrl-C" for count in (1, 2, 4, 5, 6, 7))])
def test_a_rendering_that_is_stopped_at_any_moment_leaves_nothing_behind(
    way: str, tmp_path: Path
) -> None:
    moments = random.Random(way)
    signals = WAYS[way] if way in WAYS else [signal.SIGINT] * int(way[0])
    for _ in range(20):
        stop(tmp_path, signals, moments.randrange(SIZE))
    assert_nothing_is_left(tmp_path)


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
    # A longer gracenote makes all of them anew, under the names that they have.
    exercise(tmp_path, 'gracenotes.length = "46 ms"\n')
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
