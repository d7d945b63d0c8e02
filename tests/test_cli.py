"""The command line as a teacher with a deadline uses it: typos, odd values, odd files.

Each wrong call is made in a process of its own, as a user makes it: one clear message, exit code 2,
no traceback, and nothing left behind.
"""

from __future__ import annotations

import csv
import io
import json
import os
import signal
import subprocess
import sys
from collections.abc import Mapping
from fractions import Fraction
from pathlib import Path

import pytest
from typer.main import get_command

from renderer import __version__
from renderer.delivery.manifest import MANIFEST
from tests.limits import HANG_S

GOOD = """
title = "Doublings over a wide step"
meter = "3/4"
tempo = 60

[ornaments]
inner = "1/2 beat"

[[lines]]
heading = "Low A to D"
run = "low A, B, D"
ornament = "doubling"
walk = true

[ladder]
from = 50
to = 80
step = 10
"""


def rungwise(
    *arguments: str | Path, folder: Path, env: Mapping[str, str] | None = None
) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "renderer.cli", *map(str, arguments)],
        cwd=folder,
        env={**os.environ, **(env or {})},
        capture_output=True,
        text=True,
        timeout=HANG_S,
        check=False,
    )


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "good.toml").write_text(GOOD, "utf-8")
    return tmp_path


def refused(run: subprocess.CompletedProcess[str]) -> str:
    assert run.returncode == 2, run.stderr
    assert "Traceback" not in run.stderr
    assert run.stderr.strip()
    return run.stderr


def left_behind(folder: Path) -> list[str]:
    return sorted(
        str(path.relative_to(folder))
        for path in folder.rglob("*")
        if path.is_file() and path.name != MANIFEST
    )


def test_events_of_an_opened_doubling_are_half_a_beat_apart(folder: Path) -> None:
    run = rungwise("events", "good.toml", "--tempo", "60", "--format", "csv", folder=folder)
    assert run.returncode == 0, run.stderr
    rows = list(csv.DictReader(io.StringIO(run.stdout)))
    columns = "start_ms length_ms note role line bar item slot turn id bar_number"
    assert list(rows[0]) == columns.split()
    doubling = [row for row in rows if row["bar"] == "3" and row["role"] != "melody"]
    names = [(row["start_ms"], row["length_ms"], row["note"], row["role"]) for row in doubling]
    # A count-in bar and two bars of 3 s, a beat of low A, then B twice, half a beat apart.
    assert names == [
        ("10000", "45", "high G", "gracenote"),
        ("10045", "455", "B", "inner"),
        ("10500", "45", "D", "gracenote"),
    ]


def test_printed_events_tile_at_any_tempo(folder: Path) -> None:
    run = rungwise("events", "good.toml", "--tempo", "71.3", "--format", "json", folder=folder)
    rows = json.loads(run.stdout, parse_float=Fraction, parse_int=Fraction)["events"]
    now = Fraction(0)
    for row in rows:
        assert row["start_ms"] == now
        now += row["length_ms"]
    assert {row["role"] for row in rows} == {"melody", "inner", "gracenote", "rest"}


def test_events_play_lines_as_often_as_the_ladder_says(folder: Path) -> None:
    (folder / "twice.toml").write_text(GOOD.replace("[ladder]", "[ladder]\nrepeats = 2"), "utf-8")
    as_it_says, once = (
        rungwise("events", "twice.toml", *more, folder=folder).stdout
        for more in ((), ("--repeats", "1"))
    )
    assert as_it_says == rungwise("events", "good.toml", "--repeats", "2", folder=folder).stdout
    assert once == rungwise("events", "good.toml", folder=folder).stdout != as_it_says


def test_render_ends_in_a_table_of_what_it_wrote(folder: Path) -> None:
    run = rungwise(
        "render", "good.toml", "-o", "play along/é", "--tempo", "80", "--pitch", "B flat",
        "--format", "ogg", folder=folder,
    )  # fmt: skip
    assert run.returncode == 0, run.stderr
    name = "Doublings over a wide step - B flat - full - 080 bpm.ogg"
    assert name in run.stdout
    # One bar of count-in and four of three beats, at 80 beats a minute: 11.25 s.
    assert "1 track, 0:11 of playing" in run.stdout
    assert left_behind(folder / "play along/é") == [name]


def test_several_wrong_files_are_reported_in_one_go(folder: Path) -> None:
    (folder / "empty.toml").write_text("")
    (folder / "binary.toml").write_bytes(bytes(range(256)))
    message = refused(
        rungwise("render", "none.toml", "empty.toml", "binary.toml", ".", "-o", "x", folder=folder)
    )
    for part in ("no such file", "is empty", "not a text file", "folder"):
        assert part in message
    assert not (folder / "x").exists()


def test_an_unknown_ornament_suggests_the_nearest(folder: Path) -> None:
    (folder / "typo.toml").write_text('[[lines]]\nrun = "low A, B"\nornament = "dubling"\n')
    message = refused(rungwise("check", "typo.toml", folder=folder))
    assert "typo.toml: lines[1].ornament" in message
    assert "doubling" in message.replace("dubling", "")


@pytest.mark.parametrize(
    ("options", "says"),
    [
        (("--tempo", "0"), "from 10 to 400"),
        (("--tempo", "10000"), "from 10 to 400"),
        (("--tempo", "nan"), "--tempo: 'nan' is no tempo. write one number"),
        (("--tempo", "60..120"), "as 60:120:10"),
        (("--line", "two"), "--line: 'two' is no whole number. write one, as 1."),
        (("--repeats", "9" * 40), "--repeats: the number is far too large"),
        (("-o", "tracks.mp3"), "-o: 'tracks.mp3' is the name of a file"),
        (("--ladder", "60-"), "--ladder: '60-' is no ladder"),
        (("--preset", "9"), "--preset: '9' is no preset"),
        (("--gracenote", "0 ms"), "from 10 ms to 250 ms"),
        (("--gracenote", "5000 ms"), "from 10 ms to 250 ms"),
        (("--ladder", "50:80"), "from:to:step"),
        (("--ladder", "80:50:0"), "above 0"),
        (("--tempo", "60", "--ladder", "50:80:10"), "one tempo or a ladder"),
        (("--pitch", "H"), "such as 478"),
        (("--pitch", "300"), "such as 478"),
        (("--scale", "blues"), "harmonic"),
        (("--mix", "duet"), "backing"),
        (("--format", "aiff"), "flac"),
        (("--layout", "surround"), "split"),
        (("--levels", "drums=3"), "chanter, drone, metronome or drum"),
        (("--rate", "1"), "8000"),
        (("--count-in", "99"), "from 0 to 8"),
        (("--repeats", "0"), "from 1 to 10000"),
        (("--line", "7"), "--line: good.toml has no line 7. it has only one line."),
        (("--inner", "1/8 beat", "--tempo", "400"), "fits up to"),
        (("--repeats", "10000", "--tempo", "10"), "hours"),
    ],
)
def test_a_wrong_option_gets_one_clear_message(
    folder: Path, options: tuple[str, ...], says: str
) -> None:
    run = rungwise("render", "good.toml", "-o", "x", *options, folder=folder)
    assert says in refused(run).casefold()
    assert not (folder / "x").exists()


def test_an_only_line_keeps_its_number_in_what_is_said_of_it(folder: Path) -> None:
    text = '[[lines]]\nrun = "B, C"\n[[lines]]\nrun = "B, C"\nornament = "doubling"\n'
    (folder / "two.toml").write_text(text, "utf-8")
    asked = ("two.toml", "-o", "x", "--line", "2", "--inner", "1/8 beat", "--tempo", "400")
    message = refused(rungwise("render", *asked, folder=folder))
    assert "two.toml: line 2, bar 1, note 1 (B), and 1 more note: " in message
    assert "line 1" not in message


TWO_TUNES = """X:1
T:First
M:2/4
L:1/4
K:HP
|: A B :| e2 |

X:2
T:Second
M:3/4
L:1/4
K:HP
A B z | c3 |
"""


def test_every_command_reads_scores_as_it_is_told(folder: Path) -> None:
    (folder / "two tunes.abc").write_text(TWO_TUNES, "utf-8")
    first = rungwise("events", "two tunes.abc", "--no-repeats", folder=folder).stdout
    second = ("two tunes.abc", "--tune", "Second", "--rests", "hold")
    events = rungwise("events", *second, folder=folder).stdout
    notes = [row["note"] for row in csv.DictReader(io.StringIO(first)) if row["note"]]
    assert notes == ["low A", "B", "E"]
    rows = list(csv.DictReader(io.StringIO(events)))[1:]
    held = [(row["note"], row["length_ms"]) for row in rows]
    assert held == [("low A", "1000"), ("B", "2000"), ("C", "3000")]
    for command in (("check",), ("fingering",), ("sheet", "-o", "second.pdf")):
        run = rungwise(command[0], *second, *command[1:], folder=folder)
        assert run.returncode == 0, run.stderr
    refused(rungwise("check", "two tunes.abc", "--tune", "Third", folder=folder))


def test_without_fluidsynth_the_message_says_how_to_install_it(folder: Path) -> None:
    # What pyfluidsynth meets where the system has no such library: the search finds nothing.
    hide = folder / "hide"
    hide.mkdir()
    (hide / "sitecustomize.py").write_text(
        "import ctypes.util\nctypes.util.find_library = lambda name: None\n"
    )
    # Instruments that were made before are kept, and need no FluidSynth.
    env = {
        "PYTHONPATH": f"{hide}{os.pathsep}{Path(__file__).parent.parent}",
        "XDG_CACHE_HOME": str(folder / "caches"),
    }
    message = refused(rungwise("render", "good.toml", "-o", "x", folder=folder, env=env))
    assert "apt install libfluidsynth3" in message
    assert "brew install fluid-synth" in message
    assert not (folder / "x").exists() or not left_behind(folder / "x")


def test_the_version_is_told(folder: Path) -> None:
    run = rungwise("--version", folder=folder)
    assert (run.returncode, run.stdout, run.stderr) == (0, f"rungwise {__version__}\n", "")
    assert "--version" in rungwise("--help", folder=folder).stdout


@pytest.mark.skipif(not hasattr(signal, "raise_signal"), reason="needs signals")
@pytest.mark.parametrize(
    "module", ["renderer.commands.app", "typer", "renderer.commands.technique"]
)
def test_ctrl_c_while_the_program_is_still_being_imported_ends_in_one_line(
    folder: Path, module: str
) -> None:
    code = (
        "import signal, sys\n"
        "class Interrupting:\n"
        "    def find_spec(self, name, *_):\n"
        f"        if name == {module!r}: signal.raise_signal(signal.SIGINT)\n"
        "sys.meta_path.insert(0, Interrupting())\n"
        "sys.argv = ['rungwise', 'check', 'good.toml']\n"
        "from renderer.cli import main\n"
        "main()\n"
    )
    run = subprocess.run(
        [sys.executable, "-c", code],
        cwd=folder,
        capture_output=True,
        text=True,
        timeout=HANG_S,
        check=False,
    )
    stopped = "Stopped; nothing half-written was left behind.\n"
    assert (run.returncode, run.stdout, run.stderr) == (130, "", stopped)


@pytest.mark.skipif(not Path("/proc/self/task").is_dir(), reason="threads are told by Linux alone")
def test_products_of_matrices_have_no_threads_of_their_own(folder: Path) -> None:
    """Whatever a library would start of its own accord: one thread for each processor, usually."""
    code = (
        "import sys, os, atexit; from renderer.cli import main\n"
        "atexit.register(lambda: print(len(os.listdir('/proc/self/task'))))\n"
        "main()"
    )
    environment = {key: value for key, value in os.environ.items() if "_NUM_THREADS" not in key}
    command = [sys.executable, "-c", code, "events", str(folder / "good.toml")]
    done = subprocess.run(command, capture_output=True, text=True, check=True, env=environment)
    assert done.stdout.splitlines()[-1] == "1"


def test_a_reader_that_goes_away_is_no_fault(folder: Path) -> None:
    command = f'"{sys.executable}" -m renderer.cli events good.toml --repeats 2000 | head -n 1'
    run = subprocess.run(
        command, shell=True, cwd=folder, capture_output=True, text=True, timeout=HANG_S, check=False
    )
    assert run.stdout.startswith("start_ms")
    assert "Traceback" not in run.stderr


def test_every_command_says_what_it_reads_and_writes_with_an_example() -> None:
    from renderer.commands.app import app
    from renderer.commands.verbs import VERBS

    commands = get_command(app).commands  # type: ignore[attr-defined]
    assert list(commands) == list(VERBS)
    for verb, (_, sentence) in VERBS.items():
        assert f"Example: rungwise {verb}" in commands[verb].help
        first = commands[verb].help.partition("\n\n")[0]
        assert " ".join(first.split()) == sentence, "the list of commands says something else"


@pytest.mark.parametrize("columns", ["30", "40", "72", "100", "300", "", "no", "9" * 5_000])
def test_help_lists_every_command_in_lines_that_fit_the_terminal(
    folder: Path, columns: str
) -> None:
    from renderer.commands.verbs import VERBS

    run = rungwise("--help", folder=folder, env={"COLUMNS": columns})
    assert (run.returncode, run.stderr) == (0, "")
    usual = {"30": 40, "40": 40, "72": 72}
    assert max(map(len, run.stdout.splitlines())) <= usual.get(columns, 100)
    listed = " ".join(run.stdout.split())
    for verb, (_, sentence) in VERBS.items():
        assert f" {verb} {sentence}" in listed
    assert run.stdout == rungwise("-h", folder=folder, env={"COLUMNS": columns}).stdout


def test_without_a_command_the_help_is_shown(folder: Path) -> None:
    run = rungwise(folder=folder)
    assert run.returncode == 2
    assert run.stdout == rungwise("--help", folder=folder).stdout


def test_a_command_that_is_nearly_right_is_named(folder: Path) -> None:
    assert "Did you mean 'render'?" in refused(rungwise("rendr", "good.toml", folder=folder))


def test_every_commands_own_help_names_its_options(folder: Path) -> None:
    run = rungwise("render", "--help", folder=folder, env={"COLUMNS": "120"})
    assert run.returncode == 0
    for word in ("Render exercises as play-along", "Example: rungwise", "--ladder", "--replace"):
        assert word in run.stdout


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="pipes with names are a thing of Unix")
@pytest.mark.parametrize("ending", ["toml", "abc", "mid", "musicxml"])
def test_a_pipe_is_refused_and_not_waited_for(folder: Path, ending: str) -> None:
    os.mkfifo(folder / f"pipe.{ending}")
    run = rungwise("check", f"pipe.{ending}", folder=folder)
    assert (run.returncode, run.stdout) == (2, "")
    assert f"pipe.{ending}: this is a device or a pipe" in run.stderr


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="pipes with names are a thing of Unix")
def test_a_pipe_is_no_soundfont(folder: Path) -> None:
    os.mkfifo(folder / "pipe.sf2")
    asked = ("--soundfont", "pipe.sf2", "--preset", "0:0")
    run = rungwise("render", "good.toml", "-o", "tracks", *asked, folder=folder)
    assert run.returncode == 2
    assert "pipe.sf2: this is no file" in run.stderr


@pytest.mark.parametrize(
    "command", [("events",), ("expand",), ("abridge", "--lines", "1"), ("convert",)]
)
def test_no_command_writes_over_the_file_that_it_reads(
    folder: Path, command: tuple[str, ...]
) -> None:
    to = ("good.toml",) if command == ("convert",) else ("-o", "good.toml")
    run = rungwise(command[0], "good.toml", *to, *command[1:], folder=folder)
    assert run.returncode == 2
    assert "it is the file that is read" in run.stderr
    assert (folder / "good.toml").read_text("utf-8") == GOOD


def test_a_terminal_of_few_letters_stops_no_command(folder: Path) -> None:
    (folder / "zoe.toml").write_text(GOOD.replace("a wide step", "Zo\u00eb"), "utf-8")
    run = rungwise("check", "zoe.toml", folder=folder, env={"PYTHONIOENCODING": "ascii"})
    assert (run.returncode, run.stderr) == (0, "")
    assert "Doublings over Zo?" in run.stdout


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="/dev/full is a device of Linux")
@pytest.mark.parametrize(
    "command", [("ornaments", "birl"), ("events", "every-doubling-from-low-g-to-f")]
)
def test_a_full_disk_behind_the_output_is_said(folder: Path, command: tuple[str, ...]) -> None:
    with Path("/dev/full").open("w") as full:
        run = subprocess.run(
            [sys.executable, "-m", "renderer.cli", *command],
            cwd=folder,
            stdout=full,
            stderr=subprocess.PIPE,
            text=True,
            timeout=HANG_S,
            check=False,
        )
    assert (run.returncode, run.stderr) == (2, "The disk that the output goes to is full.\n")


def test_hundreds_of_mistakes_are_counted_and_not_all_printed(folder: Path) -> None:
    (folder / "wrong.toml").write_text('[[lines]]\nrun = "H"\n' * 500, "utf-8")
    run = rungwise("check", "wrong.toml", folder=folder)
    assert run.returncode == 2
    assert len(run.stderr.splitlines()) == 51
    assert run.stderr.endswith("... and 450 more of them.\n")


def test_a_wrong_tempo_is_placed_at_its_option(folder: Path) -> None:
    for command in (("events",), ("render", "-o", "tracks")):
        run = rungwise(*command, "good.toml", "--tempo", "5000", folder=folder)
        assert run.returncode == 2
        assert run.stderr.startswith("--tempo: a tempo of 5000 ")
