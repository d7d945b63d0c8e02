"""Nothing that a folder holds is lost: what is not the same, or was changed, is not replaced."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from threading import Barrier, Thread
from typing import Any

import pytest
import typer.main
from typer.testing import CliRunner, Result

from renderer.commands.app import app
from renderer.delivery.claims import Claim, check_claims, claim, kept_file, left_over, write_kept
from renderer.delivery.manifest import MANIFEST, Manifest, read_manifest
from renderer.errors import RungwiseError
from tests.delivery.disks import made_in, names_in
from tests.limits import HANG_S

COMMANDS: dict[str, Any] = typer.main.get_command(app).commands  # type: ignore[attr-defined]

TUNE = """title = "Wide"
[[lines]]
run = "low A, B"
ornament = "doubling"
[[lines]]
run = "low A, D"
"""
CLASS = """exercises = ["wide.toml"]
learners = [{ name = "Jamie" }]
pitch = "A"
gets = "tracks"
format = "wav"
rate = 8000
"""
SMALL = ("--format", "wav", "--rate", "8000", "--layout", "mono")


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    (tmp_path / "wide.toml").write_text(TUNE, "utf-8")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def rungwise(*words: str) -> Result:
    return CliRunner().invoke(app, words)


def refused(*words: str) -> list[str]:
    """What is said, a problem a line, of a call that must not replace something."""
    result = rungwise(*words)
    assert isinstance(result.exception, RungwiseError), result.output
    return [str(problem) for problem in result.exception.problems]


def done(*words: str) -> str:
    result = rungwise(*words)
    assert result.exit_code == 0, result.exception or result.output
    return result.stdout


def content(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir() if path.is_file()}


WRITING: dict[str, tuple[tuple[str, ...], str]] = {
    "render": (
        ("render", "wide.toml", "-o", "out", "--ladder", "60,80", *SMALL),
        "Wide - A - full - mono, 8000 Hz - 060 bpm.wav",
    ),
    "pack": (("pack", "class.toml", "-o", "out"), "All tracks.m3u8"),
    "sheet": (("sheet", "wide.toml", "-o", "out/wide.pdf"), "wide.pdf"),
    "page": (("page", "wide.toml", "-o", "out/wide.html"), "wide.html"),
    "convert": (("convert", "wide.toml", "out/wide.abc"), "wide.abc"),
    "events": (("events", "wide.toml", "-o", "out/wide.csv"), "wide.csv"),
    "audition": (("audition", "-o", "out/tour.wav", "--rate", "8000"), "tour.wav"),
    "expand": (("expand", "wide.toml", "-o", "out/all.toml"), "all.toml"),
    "coverage": (("coverage", "wide.toml", "-o", "out/map.svg"), "map.svg"),
    "abridge": (("abridge", "wide.toml", "--lines", "1", "-o", "out/one.toml"), "one.toml"),
    "plan": (("plan", "wide.toml", "--days", "2", "-o", "out/plan.csv"), "plan.csv"),
    "tune": (("tune", "rec/S - A - chanter - 040 bpm.wav", "-o", "out/my.toml"), "my.toml"),
    "demo": (("demo", "-o", "out"), "Larkmoor evening class.pdf"),
}
"""A call of each command that writes, and a file that it makes in `out`."""


def recorded() -> None:
    """Record the nine notes, for the command that hears a chanter's pitches."""
    Path("scale.toml").write_text('title = "S"\n[[lines]]\nrun = "low G to high A"\n', "utf-8")
    how = ("--mix", "chanter", "--tempo", "40", "--format", "wav")
    done("render", "scale.toml", "-o", "rec", *how)


def test_every_command_that_writes_can_be_told_to_replace_and_is_tested_here() -> None:
    writing = {
        name
        for name, command in COMMANDS.items()
        for parameter in command.params
        if parameter.name in ("output", "target")
    }
    assert set(WRITING) == writing
    for name in writing:
        assert "--replace" in [word for one in COMMANDS[name].params for word in one.opts]


@pytest.mark.parametrize("verb", [verb for verb in WRITING if verb != "demo"])
def test_an_edited_file_survives_every_command_and_gives_way_only_to_replace(
    verb: str, folder: Path
) -> None:
    words, name = WRITING[verb]
    (folder / "out").mkdir()
    if verb == "tune":
        recorded()
    if verb == "pack":
        (folder / "class.toml").write_text(CLASS, "utf-8")
    done(*words)
    made = (folder / "out" / name).read_bytes()
    done(*words)  # what nobody has changed is simply made again
    assert (folder / "out" / name).read_bytes() == made
    (folder / "out" / name).write_bytes(b"edited")
    before = content(folder / "out")
    (said,) = refused(*words)
    assert said.startswith(f"out/{name}: somebody has changed this file since it was made (")
    assert said.endswith(" would replace it. Move it, choose another place, or add --replace.")
    assert content(folder / "out") == before
    done(*words, "--replace")
    assert (folder / "out" / name).read_bytes() == made
    done(*words)


# What packs say of such a file is in tests/delivery/test_pack.py.
@pytest.mark.parametrize("verb", sorted(WRITING.keys() - {"demo", "render", "pack"}))
def test_a_file_of_somebody_elses_survives_too(verb: str, folder: Path) -> None:
    words, name = WRITING[verb]
    (folder / "out").mkdir()
    if verb == "tune":
        recorded()
    (folder / "out" / name).write_bytes(b"mine")
    (said,) = refused(*words)
    assert said.startswith(f"out/{name}: Rungwise does not remember having made this file, and ")
    done("events", "wide.toml", "-o", "out/other.csv")  # now the folder remembers something
    assert refused(*words) == [said]
    assert (folder / "out" / name).read_bytes() == b"mine"


@pytest.mark.long
def test_the_demo_can_be_made_twice_and_spares_what_was_edited(folder: Path) -> None:
    words, name = WRITING["demo"]

    def whole() -> dict[str, bytes]:
        files = (path for path in (folder / "out").rglob("*") if path.is_file())
        return {path.relative_to(folder / "out").as_posix(): path.read_bytes() for path in files}

    said = done(*words).splitlines()
    assert [row.split()[0] for row in said[:4]] == ["Folder", "Jamie", "Ailsa", "Rory"]
    made = whole()
    tracks = [other for other in made if other.endswith(".mp3")]
    assert len(tracks) == 3 * 12
    assert {" - A - " in track for track in tracks} == {True, False}
    done(*words)
    assert whole() == made
    for edited in (name, tracks[7], next(other for other in made if other.endswith(".m3u8"))):
        before = whole()
        (folder / "out" / edited).unlink()  # what is linked to it stays
        (folder / "out" / edited).write_bytes(b"edited")
        (refusal,) = refused(*words)
        assert refusal.startswith(f"out/{edited}: somebody has changed this file")
        assert whole() == {**before, edited: b"edited"}
        (folder / "out" / edited).write_bytes(before[edited])


RENDER = WRITING["render"][0]


def test_a_changed_source_replaces_its_own_tracks_unasked(folder: Path) -> None:
    done(*RENDER)
    before = content(folder / "out")
    (folder / "wide.toml").write_text(TUNE.replace("B", "C"), "utf-8")
    done(*RENDER)
    after = content(folder / "out")
    assert before.keys() == after.keys()
    assert all(before[name] != after[name] for name in before if name.endswith(".wav"))


def test_another_sources_tracks_of_the_same_name_are_not_replaced(folder: Path) -> None:
    done(*RENDER)
    before = content(folder / "out")
    (folder / "week 2").mkdir()
    (folder / "week 2" / "wide.toml").write_text(TUNE.replace("B", "C"), "utf-8")
    (folder / "other.toml").write_text(TUNE.replace("B", "C"), "utf-8")
    words = list(RENDER)
    words[1] = "other.toml"
    said = refused(*words)
    assert len(said) == 4  # two tracks with their cue sheets; their playlist stays as it is
    assert "060 bpm.wav: this is a track from wide.toml, and a track from other.toml" in said[0]
    words[1] = "week 2/wide.toml"
    said = refused(*words)
    assert "is a track from another wide.toml, and a track from week 2/wide.toml would" in said[0]
    assert content(folder / "out") == before
    done(*words, "--replace")
    assert content(folder / "out") != before


def test_the_same_file_by_another_path_is_the_same_source(folder: Path) -> None:
    done(*RENDER)
    for path in ("./wide.toml", str(folder / "wide.toml"), "out/../wide.toml"):
        done(RENDER[0], path, *RENDER[2:])


def test_a_folder_that_is_moved_with_its_sources_still_knows_its_tracks(folder: Path) -> None:
    (folder / "term").mkdir()
    (folder / "wide.toml").rename(folder / "term" / "wide.toml")
    done("events", "term/wide.toml", "-o", "term/wide.csv")
    (folder / "term").rename(folder / "last term")
    done("events", "last term/wide.toml", "-o", "last term/wide.csv")


def test_another_line_or_another_thing_does_not_take_a_files_name(folder: Path) -> None:
    done("sheet", "wide.toml", "-o", "x.svg")
    done("sheet", "wide.toml", "-o", "x.svg", "--landscape")  # the same sheet, printed otherwise
    before = (folder / "x.svg").read_bytes()
    assert (
        "this is a sheet from wide.toml"
        in refused("sheet", "wide.toml", "-o", "x.svg", "--line", "2")[0]
    )
    assert (
        "and a heat map from wide.toml would" in refused("coverage", "wide.toml", "-o", "x.svg")[0]
    )
    assert "and a plan from wide.toml would" in refused("plan", "wide.toml", "-o", "x.svg")[0]
    assert (folder / "x.svg").read_bytes() == before


def test_the_order_that_makes_fewer_tracks_lists_what_is_left_over_and_tidies_it(
    folder: Path,
) -> None:
    ladder = "\n[ladder]\ntempos = [60, 70, 80, 90]\n"
    (folder / "wide.toml").write_text(TUNE + ladder, "utf-8")
    words = ("render", "wide.toml", "-o", "out", *SMALL)
    assert "Left over" not in done(*words)
    done(*words, "--pitch", "B flat")  # another order, which leaves nothing over
    (folder / "out" / "notes.txt").write_text("mine")
    (folder / "wide.toml").write_text(TUNE + ladder.replace("80, 90", "75"), "utf-8")
    names = {tempo: f"Wide - A - full - mono, 8000 Hz - 0{tempo} bpm.wav" for tempo in (80, 90)}
    (folder / "out" / names[90]).write_bytes(b"edited")
    said = done(*words)
    left, changed = said.split("Left over")[1:]
    assert "--tidy" in left
    assert names[80] in left
    assert names[90] in changed
    before = made_in(folder / "out")
    said = done(*words, "--tidy")
    gone = {names[80], f"{names[80]}.cue", f"{names[90]}.cue"}
    assert all(f"  {name}\n" in said.split("Removed:\n")[1] for name in gone)
    assert set(before) - set(made_in(folder / "out")) == gone
    assert (folder / "out" / names[90]).read_bytes() == b"edited"
    assert "Removed" not in done(*words, "--tidy")
    assert "B flat" not in said.split("Left over", 1)[1]


def test_pages_that_a_shorter_sheet_no_longer_has_are_left_over(folder: Path) -> None:
    lines = '[[lines]]\nheading = "Long"\nrun = "low A to F"\nornament = "doubling"\nwalk = true\n'
    (folder / "wide.toml").write_text(lines * 9, "utf-8")
    words = ("sheet", "wide.toml", "-o", "x.svg", "--size", "large")
    done(*words)
    pages = made_in(folder)
    assert len(pages) > 2
    (folder / "wide.toml").write_text(lines.replace("A to F", "A to C"), "utf-8")
    said = done(*words)
    assert pages[1] in said.split("Left over")[1]
    done(*words, "--tidy")
    assert made_in(folder) == ["wide.toml", "x.svg"]


def test_the_folders_memory_is_no_outputs_name(folder: Path) -> None:
    (said,) = refused("events", "wide.toml", "--format", "json", "-o", MANIFEST)
    assert "under this name a folder remembers" in said
    assert names_in(folder) == ["wide.toml"]


# What a folder remembers, whatever happens to it.

MINE = claim("a track", ["wide.toml"], Path())
OTHER = claim("a track", ["other.toml"], Path())


def test_a_manifest_cut_off_at_any_byte_costs_time_and_no_file(tmp_path: Path) -> None:
    for name in ("one", "two", "three"):
        write_kept(tmp_path / name, name.encode(), MINE)
    whole = (tmp_path / MANIFEST).read_bytes()
    for length in range(len(whole.rstrip())):
        (tmp_path / MANIFEST).write_bytes(whole[:length])
        assert read_manifest(tmp_path) == Manifest()
        if length % 64:
            continue
        check_claims([(tmp_path / "one", OTHER)])  # not known yet: it must be made first
        with pytest.raises(RungwiseError):
            write_kept(tmp_path / "one", b"another", OTHER)
        assert (tmp_path / "one").read_bytes() == b"one"
        # The same made again, which is what such a loss costs, is known from then on.
        write_kept(tmp_path / "one", b"one", MINE)
        write_kept(tmp_path / "one", b"one, changed by its source", MINE)
        (tmp_path / "one").write_bytes(b"one")


@pytest.mark.parametrize("length", [None, 0, 40], ids=["lost", "empty", "cut off"])
def test_an_order_whose_memory_is_lost_makes_everything_again(
    length: int | None, folder: Path
) -> None:
    done(*RENDER)
    before = content(folder / "out")
    memory = folder / "out" / MANIFEST
    if length is None:
        memory.unlink()
    else:
        memory.write_bytes(before[MANIFEST][:length])
    done(*RENDER)
    assert content(folder / "out") == before
    memory.unlink()
    edited = folder / "out" / WRITING["render"][1]
    edited.write_bytes(b"edited")
    (said,) = refused(*RENDER)
    assert "Rungwise does not remember having made this file, and a track from wide.t" in said
    assert edited.read_bytes() == b"edited"


def test_a_manifest_of_another_version_is_not_understood_and_costs_no_file(tmp_path: Path) -> None:
    write_kept(tmp_path / "one", b"one", MINE)
    plain = json.loads((tmp_path / MANIFEST).read_text("utf-8"))
    for version in (0, 2, 99, "1", None, [1], {"a": 1}, True, 1.5):
        other = json.dumps({"rungwise-manifest": version, **{"made": plain["made"]}})
        (tmp_path / MANIFEST).write_text(other)
        assert not read_manifest(tmp_path).made or version is True
        (tmp_path / "one").write_bytes(b"edited")
        with pytest.raises(RungwiseError):
            write_kept(tmp_path / "one", b"one, changed", MINE)
        assert (tmp_path / "one").read_bytes() == b"edited"


def test_what_makes_no_sense_in_a_manifest_counts_as_not_there(tmp_path: Path) -> None:
    write_kept(tmp_path / "one", b"one", MINE)
    write_kept(tmp_path / "two", b"two", MINE)
    plain = json.loads((tmp_path / MANIFEST).read_text("utf-8"))
    plain["made"]["one"]["sha256"] = 3
    plain["made"]["three"] = None
    plain["since"] = "a later version"
    plain["made"]["two"]["duration"] = "3:12"
    (tmp_path / MANIFEST).write_text(json.dumps(plain))
    assert set(read_manifest(tmp_path).made) == {"two"}
    with pytest.raises(RungwiseError, match="does not remember having made"):
        write_kept(tmp_path / "one", b"one, changed", MINE)
    write_kept(tmp_path / "four", b"four", MINE)
    again = json.loads((tmp_path / MANIFEST).read_text("utf-8"))
    assert again["since"] == "a later version"
    assert again["made"]["two"]["duration"] == "3:12"


@pytest.mark.parametrize(
    "theirs",
    [b'{"name": "A page", "icons": []}', b"\xff\xfe", b"[]", b"{}", b"x", b"[" * 100_000],
)
def test_a_manifest_of_somebody_elses_stays_as_it_is(theirs: bytes, tmp_path: Path) -> None:
    (tmp_path / MANIFEST).write_bytes(theirs)
    write_kept(tmp_path / "one", b"one", MINE)
    write_kept(tmp_path / "one", b"one", MINE)
    with pytest.raises(RungwiseError, match="is not its own, so it remembers nothing"):
        write_kept(tmp_path / "one", b"one, changed", MINE)
    assert (tmp_path / MANIFEST).read_bytes() == theirs
    assert (tmp_path / "one").read_bytes() == b"one"


@pytest.mark.skipif(os.name != "posix", reason="pipes are files on POSIX only")
def test_a_pipe_in_the_manifests_place_is_not_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / MANIFEST)
    write_kept(tmp_path / "one", b"one", MINE)
    assert names_in(tmp_path) == [MANIFEST, "one"]


def test_a_process_killed_at_the_worst_moment_leaves_a_file_that_is_known(tmp_path: Path) -> None:
    write_kept(tmp_path / "one", b"before", MINE)
    code = (
        "import os, sys\n"
        "from pathlib import Path\n"
        "from renderer.delivery.claims import claim, write_kept\n"
        "kill = lambda *_: os.kill(os.getpid(), 9)\n"
        "real = Path.replace\n"
        "def replace(self, target):\n"
        "    if target.name != 'one': return real(self, target)\n"
        "    if sys.argv[2] == 'behind': real(self, target)\n"
        "    kill()\n"
        "Path.replace = replace\n"
        "write_kept(Path(sys.argv[1]), b'after', claim('a track', ['wide.toml'], Path()))\n"
    )
    for moment, is_there in (("before", b"before"), ("behind", b"after")):
        run = subprocess.run(
            [sys.executable, "-c", code, str(tmp_path / "one"), moment],
            check=False,
            timeout=HANG_S,
        )
        assert run.returncode == -9
        assert (tmp_path / "one").read_bytes() == is_there
        write_kept(tmp_path / "one", b"before", MINE)
        assert made_in(tmp_path) == ["one"]


def test_a_file_that_is_changed_while_the_new_one_is_made_stays(tmp_path: Path) -> None:
    write_kept(tmp_path / "one", b"before", MINE)
    with pytest.raises(RungwiseError, match="somebody has changed"):  # noqa: SIM117
        with kept_file(tmp_path / "one", MINE) as part:
            part.write_bytes(b"after")
            (tmp_path / "one").write_bytes(b"edited")
    assert (tmp_path / "one").read_bytes() == b"edited"
    assert made_in(tmp_path) == ["one"]


def writing(path: Path, content: bytes, mine: Claim) -> Callable[[], None]:
    return lambda: write_kept(path, content, mine)


def together(jobs: Sequence[Callable[[], None]]) -> list[BaseException]:
    """Do several things at once, in threads that start together; return what they raised."""
    gate, raised = Barrier(len(jobs)), []

    def run(job: Callable[[], None]) -> None:
        gate.wait()
        try:
            job()
        except BaseException as error:
            raised.append(error)

    threads = [Thread(target=run, args=(job,)) for job in jobs]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return raised


def test_many_files_made_at_once_are_all_remembered(tmp_path: Path) -> None:
    names = [f"{number:02d}" for number in range(16)]
    assert not together([writing(tmp_path / name, name.encode(), MINE) for name in names])
    assert sorted(read_manifest(tmp_path).made) == names
    assert made_in(tmp_path) == names


def test_two_runs_at_once_into_one_folder_lose_nothing(folder: Path) -> None:
    (folder / "other.toml").write_text(TUNE.replace("Wide", "Other"), "utf-8")
    environment = {**os.environ, "PYTHONPATH": str(Path(__file__).parent.parent.parent)}
    runs = [
        subprocess.Popen(
            [sys.executable, "-m", "renderer", "render", name, *RENDER[2:]],
            cwd=folder,
            env=environment,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            text=True,
        )
        for name in ("wide.toml", "other.toml", "wide.toml")
    ]
    for run in runs:
        _, said = run.communicate(timeout=HANG_S)
        assert run.returncode == 0, said
    names = made_in(folder / "out")
    assert len(names) == 2 * (2 * 2 + 1)
    assert sorted(read_manifest(folder / "out").made) == names
    for name in ("wide.toml", "other.toml"):  # each is known and made again
        done(RENDER[0], name, *RENDER[2:])


def test_of_two_things_at_once_for_one_name_one_is_refused(tmp_path: Path) -> None:
    raised = together(
        [
            writing(tmp_path / "one", b"mine", MINE),
            writing(tmp_path / "one", b"other", OTHER),
        ]
    )
    assert [type(error) for error in raised] == [RungwiseError]
    assert (tmp_path / "one").read_bytes() in (b"mine", b"other")


def test_nothing_outside_its_folder_is_tidied_whatever_a_manifest_says(tmp_path: Path) -> None:
    (tmp_path / "out").mkdir()
    ours = claim("a track", ["wide.toml"], tmp_path, order="x")
    write_kept(tmp_path / "mine", b"mine", ours)
    write_kept(tmp_path / "out" / "old", b"old", ours)
    plain = json.loads((tmp_path / "out" / MANIFEST).read_text("utf-8"))
    plain["made"]["../mine"] = read_entry(tmp_path, "mine")
    plain["made"][str(tmp_path / "mine")] = read_entry(tmp_path, "mine")
    (tmp_path / "out" / MANIFEST).write_text(json.dumps(plain))
    found = left_over(tmp_path / "out", "x", [], tidy=True)
    assert [path.name for path in found.unchanged] == ["old"]
    assert (tmp_path / "mine").read_bytes() == b"mine"


def read_entry(folder: Path, name: str) -> Any:
    return json.loads((folder / MANIFEST).read_text("utf-8"))["made"][name]
