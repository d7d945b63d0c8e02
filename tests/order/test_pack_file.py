"""A pack's file: what a class gets, every mistake at its place, nothing written."""

from __future__ import annotations

from pathlib import Path

import pytest

from renderer.errors import RungwiseError
from renderer.order.new_pack import new_pack
from renderer.order.pack_file import VERB
from renderer.order.packs import MOST_TRACKS_OF_PACK, Pack, PackPlan, read_pack
from renderer.order.settings import known_to

TUNE = """title = "{title}"
[[lines]]
run = "low A, B"
"""


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    tune("wide.toml", "Wide")
    return tmp_path


def tune(path: str, title: str) -> None:
    Path(path).parent.mkdir(parents=True, exist_ok=True)
    Path(path).write_text(TUNE.format(title=title), "utf-8")


def pack(text: str) -> Pack:
    Path("class.toml").write_text(text, "utf-8")
    return read_pack("class.toml")


def planned(text: str) -> PackPlan:
    return pack(text).plan("out")


def problems(text: str) -> list[str]:
    """What is wrong with a pack, each with its place; nothing is written."""
    before = sorted(Path().rglob("*"))
    with pytest.raises(RungwiseError) as caught:
        planned(text)
    after = sorted(Path().rglob("*"))
    assert [one for one in after if one.name != "class.toml"] == [
        one for one in before if one.name != "class.toml"
    ]
    return [str(one) for one in caught.value.problems]


def said(text: str) -> str:
    (only,) = problems(text)
    return only


ONE = 'exercises = ["wide.toml"]\nlearners = [{ name = "Jamie", pitch = "A" }]\n'


def test_who_waits_for_a_large_class_hears_how_far_it_is_and_can_stop_it(folder: Path) -> None:
    tune("steps.toml", "Steps")
    three = "".join(
        f'[[learners]]\nname = "{n}"\npitch = "A"\n' for n in ("Jamie", "Ailsa", "Rory")
    )
    text = f'exercises = ["wide.toml", {{ file = "steps.toml", for = ["Ailsa"] }}]\n{three}'
    Path("class.toml").write_text(text, "utf-8")
    for step in ("read", "plan"):
        heard: list[tuple[int, int]] = []

        def hear(done: int, of: int, heard: list[tuple[int, int]] = heard) -> None:
            heard.append((done, of))

        def stop(done: int, of: int) -> None:
            if done == 2:
                raise InterruptedError

        is_read = step == "read"
        found = read_pack("class.toml", on_next=hear if is_read else lambda *_: None)
        found.plan("out", on_next=(lambda *_: None) if is_read else hear)
        assert heard == [(0, 4), (1, 4), (2, 4), (3, 4)], step
        with pytest.raises(InterruptedError):
            read_pack("class.toml", on_next=stop) if is_read else found.plan("out", on_next=stop)


def test_a_learner_has_a_folder_with_what_is_asked_for(folder: Path) -> None:
    files = [one.path for one in planned(ONE + "ladder = [50, 60]").files]
    assert files == [
        "Jamie/Wide - A - full - 050 bpm.mp3",
        "Jamie/Wide - A - full - 060 bpm.mp3",
        "Jamie/Wide - sheet.pdf",
        "Jamie/Wide - practice plan.pdf",
        "Jamie/All tracks.m3u8",
        "All tracks.m3u8",
        "class.pdf",
    ]


def test_what_stands_nearer_to_a_learner_holds(folder: Path) -> None:
    tune("reel.toml", "Reel")
    plan = planned(
        """exercises = ["wide.toml", { file = "reel.toml", ladder = [80, 90] }]
        pitch = "A"
        tempo = 60
        chanter = "pipe"
        learners = [
            { name = "Jamie" },
            { name = "Ailsa", pitch = 478, ladder = [40], chanter = "practice" },
        ]
        gets = "tracks"
        """
    )
    tracks = [one.path for one in plan.files if one.what == "a track"]
    assert tracks == [
        "Jamie/1 Wide - A - full - pipe chanter - 060 bpm.mp3",
        "Jamie/2 Reel - A - full - pipe chanter - 080 bpm.mp3",
        "Jamie/2 Reel - A - full - pipe chanter - 090 bpm.mp3",
        "Ailsa/1 Wide - 478 Hz - full - 040 bpm.mp3",
        "Ailsa/2 Reel - 478 Hz - full - 040 bpm.mp3",
    ]


def test_an_exercise_for_some_is_not_for_others(folder: Path) -> None:
    tune("reel.toml", "Reel")
    plan = planned(
        """exercises = ["wide.toml", { file = "reel.toml", for = "Ailsa" }]
        pitch = "A"
        gets = "sheet"
        learners = [{ name = "Jamie" }, { name = "Ailsa" }]
        """
    )
    assert [one.path for one in plan.files if one.what == "a sheet"] == [
        "Jamie/Wide - sheet.pdf",
        "Ailsa/1 Wide - sheet.pdf",
        "Ailsa/2 Reel - sheet.pdf",
    ]


def test_a_group_has_one_folder_and_each_in_it_a_plan_under_the_own_name(folder: Path) -> None:
    plan = planned(
        """exercises = ["wide.toml"]
        groups = [{ name = "At A", learners = ["Ailsa", "Rory"], pitch = "A" }]
        gets = "plan"
        """
    )
    plans = [one for one in plan.files if one.what == "a plan"]
    assert [one.path for one in plans] == [
        "At A/Wide - practice plan - Ailsa.pdf",
        "At A/Wide - practice plan - Rory.pdf",
    ]
    assert [one.job.settings.learner for one in plans] == ["Ailsa", "Rory"]  # type: ignore[union-attr]


def test_plans_of_several_exercises_follow_each_other_day_after_day(folder: Path) -> None:
    tune("reel.toml", "Reel")
    plan = planned(
        """exercises = ["wide.toml", "reel.toml"]
        pitch = "A"
        gets = "plan"
        days = 7
        start = 2026-12-01
        learners = [{ name = "Jamie" }]
        """
    )
    starts = [str(one.job.settings.start) for one in plan.files if one.what == "a plan"]  # type: ignore[union-attr]
    assert starts == ["2026-12-01", "2026-12-08"]


def test_a_folder_stands_for_the_exercises_in_it_as_people_count(folder: Path) -> None:
    for number in (10, 2, 1):
        tune(f"tunes/{number} tune.toml", f"Tune {number}")
    tune("tunes/more/x.toml", "More")
    Path("tunes/chanter.toml").write_text("low-a = 476\n", "utf-8")
    Path("tunes/notes.md").write_text("nothing", "utf-8")
    (share,) = pack(ONE.replace("wide.toml", "tunes")).shares
    assert [one.exercise.title for one in share.given] == ["Tune 1", "Tune 2", "Tune 10", "More"]


def test_files_count_from_the_folder_that_the_pack_is_in(folder: Path) -> None:
    tune("class/tunes/reel.toml", "Reel")
    Path("class/jamie.toml").write_text('name = "Jamie 3"\nlow-a = 476.2\n', "utf-8")
    Path("class/class.toml").write_text(
        'exercises = ["tunes/reel.toml"]\nlearners = [{ name = "J", pitch = "jamie.toml" }]',
        "utf-8",
    )
    found = read_pack("class/class.toml")
    assert found.shares[0].pitches == ("Jamie 3",)
    assert Path("class/jamie.toml") in found.inputs


def test_equal_tracks_of_two_learners_are_made_once(folder: Path) -> None:
    plan = planned(
        """exercises = ["wide.toml"]
        pitch = "A"
        learners = [{ name = "Jamie", minutes = 30 }, { name = "Ailsa", paper = "letter" }]
        """
    )
    digests = {one.path: one.digest for one in plan.files}
    assert (
        digests["Jamie/Wide - A - full - 060 bpm.mp3"]
        == digests["Ailsa/Wide - A - full - 060 bpm.mp3"]
    )
    assert digests["Jamie/Wide - sheet.pdf"] != digests["Ailsa/Wide - sheet.pdf"]
    assert digests["Jamie/Wide - practice plan.pdf"] != digests["Ailsa/Wide - practice plan.pdf"], (
        "each has a name at its head"
    )


def test_what_the_command_asks_for_holds_for_everybody(folder: Path) -> None:
    Path("class.toml").write_text(ONE, "utf-8")
    shares = read_pack("class.toml", {"share": True, "tempo": 72}).shares
    assert shares[0].given[0].settings.share
    assert shares[0].given[0].settings.tempo == 72


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (
            'exercises = [{ file = "wide.toml", for = ["Jamei"] }]\n'
            'learners = [{ name = "Jamie", pitch = "A" }]',
            "class.toml: exercises[1].for: no learner or group is called 'Jamei'. Did you mean "
            "'Jamie'?",
        ),
        (
            'exercises = ["wide.toml"]\npitch = "A"\n'
            'learners = [{ name = "Jamie" }, { name = "Jamie" }]',
            "class.toml: learners[2].name: 'Jamie' and 'Jamie' of learners[1] are the same. Give "
            "each a name of its own.",
        ),
        (
            'exercises = ["wide.toml"]\npitch = "A"\n'
            'learners = [{ name = "Jamie" }, { name = "JAMIE" }]',
            "class.toml: learners[2].name: 'JAMIE' and 'Jamie' of learners[1] are one folder on "
            "Windows and macOS. Give each a name of its own.",
        ),
        (
            'exercises = ["wide.toml"]\nlearners = [{ name = "Jamie" }]',
            "class.toml: learners[1].pitch: which pitch the chanter of Jamie has is not said. "
            'Write pitch = "A", "B flat", hertz such as 478, or a chanter file; at the top of the '
            "file it holds for all.",
        ),
        (
            'exercises = ["empty"]\nlearners = [{ name = "Jamie", pitch = "A" }]',
            "class.toml: exercises[1]: empty: there is no exercise in this folder. Put files in it "
            "that end in one of .toml, .abc, .mid, .midi, .musicxml, .mxl, .xml.",
        ),
        (
            'exercises = ["wide.abc"]\nlearners = [{ name = "Jamie", pitch = "A" }]',
            "class.toml: exercises[1]: wide.abc: there is no such file. Check its name and folder.",
        ),
        (
            'exercises = ["turning"]\nlearners = [{ name = "Jamie", pitch = "A" }]',
            "class.toml: exercises[1]: turning/again: this folder leads back to one that it is in. "
            "Remove the link, or name the files one by one.",
        ),
        (
            'exercises = ["wide.toml"]\nladder = "100:199.9:0.1"\nmix = ["full", "echo"]\n'
            'learners = [{ name = "Jamie", pitch = [440, 441, 442, 443, 444] }]',
            "class.toml: ladder: that makes more than 100 rungs. Write a larger step.",
        ),
        (
            'exercises = ["wide.toml"]\nladder = "100:199:1"\n'
            'mix = ["full", "echo", "backing", "chanter"]\n'
            'learners = [{ name = "Jamie", pitch = ['
            + ", ".join(str(440 + number) for number in range(25))
            + "] }]",
            f"class.toml: learners[1]: with the 10000 of Jamie that makes 10000 tracks. Ask for "
            f"fewer rungs, pitches, mixes or formats; {MOST_TRACKS_OF_PACK} is the most in a pack.",
        ),
        (
            'exercises = ["wide.toml", "twin.toml"]\nlearners = [{ name = "Jamie", pitch = "A" }]',
            "twin.toml: title: its title 'Wide?' and 'Wide' of wide.toml are one in names of "
            "files. Give one of them another title.",
        ),
        (
            'exercises = ["wide.toml", "wide.toml"]\nlearners = [{ name = "Jamie", pitch = "A" }]',
            "class.toml: exercises[2]: wide.toml is named twice, in exercises[1] too. Name it "
            "once.",
        ),
        (
            'exercises = ["wide.toml"]\nlearners = [{ name = "..", pitch = "A" }]',
            "class.toml: learners[1].name: not every system can have a folder called '..'. Write "
            "name = 'Exercise', or another.",
        ),
        (
            'exercises = ["wide.toml"]\nlearners = [{ name = "../up", pitch = "A" }]',
            "class.toml: learners[1].name: not every system can have a folder called '../up'. "
            "Write name = 'up', or another.",
        ),
        (
            'exercises = ["wide.toml"]\nlearners = [{ name = "Con", pitch = "A" }]',
            "class.toml: learners[1].name: not every system can have a folder called 'Con'. Write "
            "name = 'Exercise Con', or another.",
        ),
        (
            'exercises = ["wide.toml"]\nlearners = [{ name = "manifest.json", pitch = "A" }]',
            "class.toml: learners[1].name: the folder keeps 'manifest.json' for what it "
            "remembers. Choose another name.",
        ),
        (
            'exercises = ["wide.toml"]\nlearners = [{ name = "Jamie", pitch = "no.toml" }]',
            "class.toml: learners[1].pitch: no.toml: there is no such file. Check its name and "
            "folder.",
        ),
        (
            'exercises = ["wide.toml"]\nlearners = [{ name = "Jamie", pitch = "empty" }]',
            "class.toml: learners[1].pitch: 'empty' is no pitch. Write A, B flat, or low A in "
            "hertz in the pipe chanter's octave (340 to 560), such as 478.",
        ),
        (
            'exercises = ["wide.toml"]\nlearners = [{ name = "Jamie", pich = "A" }]',
            "class.toml: learners[1].pich: there is no key `pich`. Did you mean `pitch`?",
        ),
        (
            'exercises = ["wide.toml"]\npitch = "A"\n'
            'groups = [{ name = "G", learners = ["Rory", "Rory"] }]',
            "class.toml: groups[1].learners: 'Rory' stands in the group twice. Name each learner "
            "once.",
        ),
        (
            'exercises = ["wide.toml"]\npitch = "A"\n',
            "class.toml: learners: nobody gets anything. Write [[learners]] in double brackets "
            "before each learner's name.",
        ),
        (
            TUNE.format(title="x"),
            "class.toml: this is an exercise, not a pack. Name it in a pack: write a list, as "
            'exercises = ["first-gracenotes", "my-tunes/reel.abc"].',
        ),
        (
            'exercises = ["wide.toml"]\nscale = "MacNeill"\n'
            'learners = [{ name = "Jamie", pitch = "A", share = true, format = "flac" }]',
            "class.toml: learners[1].share: small files to send are MP3, and flac is asked for. "
            "Leave out the format, or write larger files.",
        ),
    ],
)
def test_what_is_wrong_is_said_in_one_message_at_its_place(
    text: str, message: str, folder: Path
) -> None:
    Path("empty").mkdir()
    tune("turning/x.toml", "X")
    Path("turning/again").symlink_to("../turning")
    tune("twin.toml", "Wide?")
    assert said(text) == message


def test_everything_that_is_wrong_is_said_in_one_go(folder: Path) -> None:
    found = problems(
        """exercises = ["wide.toml", { file = "wide.toml", for = "Nobody", tempo = "fast" }]
        mix = "loud"
        [[learners]]
        name = "Jamie"
        pitch = "Q"
        [[learners]]
        name = "nul"
        """
    )
    places = [one.split(": ")[1] for one in found]
    assert sorted(places) == [
        "exercises[2].for",
        "exercises[2].tempo",
        "learners[1].pitch",
        "learners[2].name",
        "mix",
    ]


def test_a_folder_is_no_pack(folder: Path) -> None:
    Path("empty").mkdir()
    with pytest.raises(RungwiseError, match="empty: this is a folder"):
        read_pack("empty")


def test_the_file_to_start_from_is_a_pack_with_every_setting_in_it(folder: Path) -> None:
    text = new_pack("Larkmoor juniors", "class.toml")
    found = pack(text)
    assert [share.name for share in found.shares] == ["Jamie", "Chanters at A"]
    for row in known_to(VERB):
        assert f"\n# {row.key} = " in text or f"\n{row.key} = " in text, row.key
    uncommented = text.replace("# share = false", "share = false").replace("# gap = 1", "gap = 2")
    assert pack(uncommented).shares[0].given[0].settings.gap == 2


@pytest.mark.parametrize("row", known_to(VERB), ids=lambda row: row.key)
def test_each_line_of_that_file_can_be_uncommented(row: object, folder: Path) -> None:
    text = new_pack("Larkmoor juniors", "class.toml")
    key = row.key  # type: ignore[attr-defined]
    line = next(one for one in text.split("\n") if one.startswith((f"# {key} = ", f"{key} = ")))
    table = line.removeprefix("# ")
    if "= ..." in table:
        return  # its bounds stand there instead of an example
    Path("class.toml").write_text(f"{table}\n{ONE}", "utf-8")
    try:
        read_pack("class.toml")
    except RungwiseError as error:
        # What asks for another key or a file besides says so.
        known = ("preset", "soundfont", "part", "tune", "line")
        assert any(word in key for word in known), error
