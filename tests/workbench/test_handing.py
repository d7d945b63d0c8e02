"""A class handed out: only from the folder, only into it, and only what has changed."""

from __future__ import annotations

import io
import json
import re
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import mutagen.mp3
import pytest

from renderer.reading.library import shipped_exercises
from tests.page.browsers import AXE, Watched, needs_axe, needs_chromium
from tests.workbench.benches import Running, waited_for
from tests.workbench.desks import TEXT, desk, go, held_up

LINE = """title = "Larkmoor steps"
meter = "3/4"
tempo = 90

[[lines]]
run = "low A, B, D"
ornament = "doubling"

[[lines]]
run = "B, C, E"
"""
CLASS = """# Thursdays
title = "Larkmoor juniors"
exercises = ["steps.toml"]
gets = ["tracks"]
share = true
zip = true

[[learners]]
name = "Jamie"
pitch = "B flat"

[[learners]]
name = "Ailsa"
pitch = "A"   # a new chanter
"""


@pytest.fixture
def folder(bench: Running) -> Path:
    (bench.folder / "steps.toml").write_text(LINE)
    return bench.folder


def ended(bench: Running, job: str) -> dict[str, Any]:
    def told() -> dict[str, Any] | None:
        found: dict[str, Any] = bench.answer("job", job=job)
        return None if found["state"] == "running" else found

    return waited_for(told)


def made(bench: Running, name: str, **asked: Any) -> dict[str, Any]:
    told = ended(bench, bench.answer("pack-make", name=name, **asked)["job"])
    assert told["state"] == "done", told
    return dict(told["result"])


def names(why: list[dict[str, str]]) -> list[str]:
    return sorted(one["path"] for one in why)


def test_a_class_is_foretold_made_sent_and_made_again_where_it_has_changed(
    bench: Running, folder: Path
) -> None:
    (folder / "juniors.toml").write_text(CLASS)
    would = bench.answer("pack-foretell", name="juniors.toml")
    assert would["problems"] == [] and would["due"] == would["files"] > 0
    assert [one["name"] for one in would["folders"]] == ["Jamie", "Ailsa"]
    assert [one["pitch"] for one in would["folders"]] == [["B flat"], ["A"]]
    assert not (folder / "out" / "juniors").exists()

    first = made(bench, "juniors.toml")
    assert len(first["why"]) == would["due"] and {"ist neu"} == {
        one["why"]["de"] for one in first["why"]
    }
    # As many as are listed; files to send are counted by themselves.
    assert first["made"] + first["linked"] == len(first["why"]) and first["sent"] == 2
    by_name = {one["name"]: one for one in would["folders"]}
    for one in first["folders"]:
        about = by_name[one["name"]]
        assert one["seconds"] == about["seconds"]
        assert one["bytes"] == pytest.approx(about["bytes"], rel=0.1)
    again = bench.answer("pack-foretell", name="juniors.toml")
    assert again["due"] == 0 and again["parcels"] == 0

    # One learner's tempo: only what that learner has.
    text = CLASS.replace('name = "Ailsa"', 'name = "Ailsa"\ntempo = 80')
    (folder / "juniors.toml").write_text(text)
    second = made(bench, "juniors.toml")
    tracks = [one for one in second["why"] if one["path"].endswith(".mp3")]
    assert [one["path"].split("/")[0] for one in tracks] == ["Ailsa"]
    assert second["kept"] > 0
    assert second["made"] + second["linked"] == len(second["why"]) and second["sent"] == 1
    assert any("80 bpm" in path for path in names(second["why"]))
    assert [path for path in second["left_over"] if path.endswith(".mp3")] == [
        "Ailsa/Larkmoor steps - A - full - small file - 090 bpm.mp3"
    ]
    assert (folder / "out" / "juniors" / second["left_over"][0]).exists()
    third = made(bench, "juniors.toml", tidy=True)
    assert third["left_over"] == second["left_over"] and third["is_tidied"]
    assert not (folder / "out" / "juniors" / second["left_over"][0]).exists()

    there = bench.answer("pack-there", name="juniors.toml")
    assert there["place"] == str(folder / "out" / "juniors")
    listed = {one["path"]: one["bytes"] for one in there["files"]}
    assert {"Jamie.zip", "Ailsa.zip"} <= set(listed)
    asked = json.dumps({"name": "juniors.toml", "path": "Ailsa.zip"}).encode()
    status, body, headers = bench.asked("/api/pack-file", asked)
    assert status == 200 and headers["content-type"] == "application/zip"
    assert len(body) == listed["Ailsa.zip"]
    inside = zipfile.ZipFile(io.BytesIO(body))
    assert inside.testzip() is None
    assert [one for one in inside.namelist() if one.endswith(".mp3")] == [
        "Ailsa/Larkmoor steps - A - full - small file - 080 bpm.mp3"
    ]


def test_what_was_made_is_not_listed_and_not_saved_into(bench: Running, folder: Path) -> None:
    (folder / "listed.toml").write_text(CLASS.replace("zip = true\n", ""))
    made(bench, "listed.toml")
    assert any((folder / "out" / "listed").rglob("*.mp3"))
    rows = bench.answer("library")["files"]
    assert not [one["name"] for one in rows if one["name"].startswith("out/")]
    assert next(one["kind"] for one in rows if one["name"] == "listed.toml") == "pack"


def test_a_new_class_has_a_name_of_its_own_and_can_be_made_at_once(
    bench: Running, folder: Path
) -> None:
    asked: dict[str, Any] = {"title": 'The "Larkmoor" class', "learner": "Rory"}
    asked["exercises"] = ["steps.toml"]
    new = bench.answer("pack-new", **asked)["name"]
    assert bench.answer("pack-new", **asked)["name"] != new
    shown = bench.answer("pack", name=new)
    assert shown["problems"] == []
    assert shown["fields"]["title"] == 'The "Larkmoor" class'
    assert shown["fields"]["learners"] == [{"name": "Rory", "pitch": "A"}]
    assert bench.answer("pack-foretell", name=new)["problems"] == []


def test_fields_change_a_class_and_keep_its_remarks(bench: Running, folder: Path) -> None:
    (folder / "fields.toml").write_text(CLASS)
    changes = [
        {"do": "set", "path": ["learners", 1, "minutes"], "to": 15},
        {"do": "insert", "list": "learners", "at": 2, "line": {"name": "Rory", "pitch": "A"}},
        {"do": "insert", "list": "exercises", "at": 1, "line": "first-gracenotes"},
        {"do": "set", "path": ["exercises", 0], "to": {"file": "steps.toml", "for": ["Rory"]}},
    ]
    shown = bench.answer("pack", name="fields.toml", text=CLASS, changes=changes)
    assert shown["problems"] == []
    for remark in ("# Thursdays", "# a new chanter"):
        assert remark in shown["text"]
    assert shown["fields"]["exercises"] == [
        {"file": "steps.toml", "for": ["Rory"]},
        "first-gracenotes",
    ]
    assert [one["name"] for one in shown["fields"]["learners"]] == ["Jamie", "Ailsa", "Rory"]
    assert (folder / "fields.toml").read_text() == CLASS


def test_what_is_wrong_is_said_at_its_place(bench: Running, folder: Path) -> None:
    text = CLASS.replace('"A"   #', '"H"   #').replace('name = "Jamie"', 'name = "Ailsa"')
    problems = bench.answer("pack", name="steps.toml", text=text)["problems"]
    assert {one["place"] for one in problems} == {"learners[2].pitch", "learners[2].name"}
    for one in problems:
        assert text[one["start"] : one["end"]] in ('"H"', '"Ailsa"')
    # What is wrong in an exercise is said of that file, and has no place in this one.
    (folder / "wrong.toml").write_text('title = "Wrong"\n[[lines]]\nrun = "low A, H"\n')
    text = CLASS.replace("steps.toml", "wrong.toml")
    (problem,) = bench.answer("pack-foretell", name="juniors.toml", text=text)["problems"]
    assert problem["file"] == "wrong.toml" and problem["place"] == ""
    assert str(folder) not in json.dumps(problem)


OUTSIDE = "this is a file outside the folder that is open here"


def test_nothing_outside_the_folder_is_read_or_written(
    bench: Running, folder: Path, tmp_path: Path
) -> None:
    secret = tmp_path / "secret.toml"
    secret.write_text(LINE)
    (tmp_path / "books").mkdir()
    (tmp_path / "books" / "one.toml").write_text(LINE)
    (folder / "to-secret.toml").symlink_to(secret)
    (folder / "books").symlink_to(tmp_path / "books")
    (folder / "some").mkdir()
    (folder / "some" / "steps.toml").write_text(LINE)
    (folder / "some" / "one.toml").symlink_to(secret)
    up = "../" * 12 + str(secret).removeprefix("/")
    places = {
        f'exercises = ["{secret}"]': "exercises[1]",
        f'exercises = ["steps.toml", "{up}"]': "exercises[2]",
        f'exercises = [{{ file = "{secret.parent}" }}]': "exercises[1]",
        'exercises = ["to-secret.toml"]': "exercises[1]",
        'exercises = ["books"]': "exercises[1]",
        'exercises = ["some"]': "exercises[1]",
        'exercises = [".rungwise/earlier"]': "exercises[1]",
        f'exercises = ["steps.toml"]\npitch = "{secret}"': "pitch",
        f'exercises = ["steps.toml"]\npitch = ["A", "../{up}"]': "pitch",
        f'exercises = [{{ file = "steps.toml", soundfont = "{tmp_path}/a.sf2" }}]': (
            "exercises[1].soundfont"
        ),
    }
    for top, place in places.items():
        text = CLASS.replace('exercises = ["steps.toml"]', top)
        for found in (
            bench.answer("pack", name="a.toml", text=text)["problems"],
            bench.answer("pack-foretell", name="a.toml", text=text)["problems"],
        ):
            (problem,) = found
            assert problem["cause"] == OUTSIDE and problem["place"] == place, top
            assert "rungwise pack" in problem["remedy"]
        (folder / "a.toml").write_text(text)
        told = ended(bench, bench.answer("pack-make", name="a.toml")["job"])
        assert told["state"] == "failed" and told["problems"][0]["cause"] == OUTSIDE, top
        assert not (folder / "out" / "a").exists()
    for link in ("to-secret.toml", "books", "some/one.toml", "some/steps.toml", "a.toml"):
        (folder / link).unlink()
    (folder / "some").rmdir()


def test_several_names_in_one_text_are_not_looked_for_elsewhere(
    bench: Running, folder: Path
) -> None:
    text = CLASS.replace('"A"   #', '"B flat, somewhere.toml"   #')
    problems = bench.answer("pack", name="a.toml", text=text)["problems"]
    assert [(one["place"], one["remedy"]) for one in problems] == [
        ("learners[2].pitch", "write them as a list in brackets")
    ]


def test_a_pack_whose_place_leads_out_is_not_made(
    bench: Running, folder: Path, tmp_path: Path
) -> None:
    (folder / "led-out.toml").write_text(CLASS)
    (folder / "out").mkdir(exist_ok=True)
    (folder / "out" / "led-out").symlink_to(tmp_path)
    told = ended(bench, bench.answer("pack-make", name="led-out.toml")["job"])
    assert told["state"] == "failed" and "leads out" in told["problems"][0]["cause"]
    bench.answer("pack-there", 422, name="led-out.toml")
    assert list(tmp_path.iterdir()) == []
    (folder / "out" / "led-out").unlink()


def test_only_what_was_made_is_brought_or_opened(bench: Running, folder: Path) -> None:
    (folder / "brought.toml").write_text(CLASS.replace("zip = true\n", ""))
    made(bench, "brought.toml")
    (folder / "out" / "brought" / "mine.pdf").write_bytes(b"%PDF")
    for path in ("mine.pdf", "../../steps.toml", "/etc/hostname", "manifest.json", "", "Jamie"):
        bench.answer("pack-file", 422, name="brought.toml", path=path)
        if path:
            bench.answer("pack-open", 422, name="brought.toml", path=path)
    bench.answer("pack-open", 422, name="never-made.toml", path="")
    bench.answer("pack-file", 422, name="../brought.toml", path="Jamie.zip")
    bench.answer("pack-make", 422, name="there-is-none.toml")


def test_a_pack_that_is_stopped_is_gone_on_with(bench: Running, folder: Path) -> None:
    many = LINE + 40 * '\n[[lines]]\nrun = "low A, B, C, D, E, F, high G"\nornament = "doubling"\n'
    (folder / "many.toml").write_text(many)
    text = CLASS.replace("steps.toml", "many.toml").replace("share", 'ladder = "30:60:2"\nshare')
    (folder / "stopped.toml").write_text(text)
    job = bench.answer("pack-make", name="stopped.toml")["job"]

    def moved() -> bool:
        told = bench.answer("job", job=job)
        assert told["state"] == "running", told
        return bool(told["progress"].get("seconds"))

    waited_for(moved)
    bench.answer("stop-job", job=job)
    assert ended(bench, job)["state"] == "stopped"
    due = bench.answer("pack-foretell", name="stopped.toml")
    assert 0 < due["due"] <= due["files"]
    (folder / "many.toml").unlink()


def test_a_pack_can_be_stopped_while_it_is_read(bench: Running, folder: Path) -> None:
    """The exercises of every learner are walked through before anything is made."""
    (folder / "large.toml").write_text(large(100, 40))
    job = bench.answer("pack-make", name="large.toml")["job"]

    def told() -> dict[str, Any] | None:
        found: dict[str, Any] = bench.answer("job", job=job)
        assert found["state"] == "running", found
        return found["progress"] or None

    progress = waited_for(told)
    assert progress["all_listed" if "listed" in progress else "all_read"] == 100 * 40
    # Whoever asks meanwhile is told of the same job.
    assert bench.answer("pack-there", name="large.toml")["job"] == job
    assert bench.answer("pack-make", name="large.toml")["job"] == job
    bench.answer("stop-job", job=job)
    assert ended(bench, job)["state"] == "stopped"
    there = bench.answer("pack-there", name="large.toml")
    assert (there["files"], there["job"]) == ([], "")
    assert not (folder / "out" / "large").exists()


def large(learners: int, exercises: int) -> str:
    """A class in which each gets all; its exercises come along."""
    names = [one.name for one in shipped_exercises()][:exercises]
    assert len(names) == exercises
    who = "".join(f'[[learners]]\nname = "Learner {n}"\npitch = "A"\n' for n in range(learners))
    return f"exercises = {json.dumps(names)}\ngets = ['sheet']\n{who}"


@pytest.fixture
def page(bench: Running, folder: Path, chromium: Any) -> Iterator[Watched]:
    (folder / "seen.toml").write_text(CLASS)
    told = {"viewport": {"width": 1024, "height": 768}, "bypass_csp": True}
    with desk(bench, chromium, shown=".bar h1", **told) as watched:
        go(watched, "hand", "seen.toml")
        watched.page.wait_for_selector(".people input")
        yield watched


def test_what_is_being_made_is_followed_and_stopped_after_the_page_was_loaded_again(
    page: Watched, folder: Path
) -> None:
    (folder / "large.toml").write_text(large(60, 40))
    go(page, "hand", "large.toml")
    stop = page.page.get_by_role("button", name="Stop")
    page.page.locator(".play:enabled").click()
    stop.wait_for()
    page.page.reload()
    stop.click()
    # How it ended stays in sight beside what there is to do by now.
    page.page.get_by_text(
        re.compile(r"Stopped\. What is finished stays.* files to make of")
    ).wait_for()
    page.page.locator(".play:enabled").wait_for()
    assert not stop.is_visible()


@needs_chromium
def test_what_is_begun_before_the_page_knows_what_is_there_can_be_stopped(
    page: Watched, folder: Path
) -> None:
    (folder / "begun.toml").write_text(large(60, 40))
    with (
        page.page.expect_response("**/api/pack-there") as late,
        held_up(page, "pack-there", answered=True),
    ):
        go(page, "hand", "begun.toml")
        page.page.locator(".play:enabled").click()
        page.page.wait_for_selector(".dock progress:visible")
    late.value.finished()
    page.run("new Promise((go) => setTimeout(go, 100))")
    page.page.get_by_role("button", name="Stop").click()
    page.page.get_by_text(re.compile(r"Stopped\. What is finished stays")).wait_for()


FOCUSED = "document.activeElement?.getAttribute('aria-label')"


@needs_chromium
def test_the_table_is_filled_by_keys_and_the_focus_stays(page: Watched, folder: Path) -> None:
    keys = page.page.keyboard
    page.page.get_by_label("Name: Jamie").focus()
    keys.press("ControlOrMeta+a")
    keys.type("Isla")
    keys.press("Tab")
    page.wait(f'{TEXT}.includes("Isla")')
    page.wait(f"{FOCUSED} === 'Pitch: Isla'")
    for _ in range(2):
        keys.press("Tab")
    # What is typed while an answer comes in stays.
    keys.type("50:60:10")
    page.run("window.rungwise.screen.drawSheet()")
    keys.press("Tab")
    page.wait(f'{TEXT}.includes("50:60:10")')
    page.wait(f"{FOCUSED} === 'Minutes a day: Isla'")
    page.page.get_by_role("button", name="Add a learner").press("Enter")
    page.wait(f"{FOCUSED} === 'Name: Learner 3'")
    keys.type("Rory")
    keys.press("Enter")
    page.wait(f'{TEXT}.includes("Rory")')
    page.wait("!window.rungwise.screen.isDirty")
    saved = (folder / "seen.toml").read_text()
    assert "# Thursdays" in saved and "# a new chanter" in saved
    # A learner who goes is named nowhere any more; undo brings everything back.
    page.page.get_by_label("Rory gets Larkmoor steps").uncheck()
    page.wait(f"{TEXT}.includes('for = ')")
    page.page.get_by_label("Take out: Isla").click()
    page.wait(f'!{TEXT}.includes("Isla")')
    for _ in range(2):
        page.page.get_by_role("button", name="Undo").click()
    page.wait(f"{TEXT} === {json.dumps(saved)}")


@needs_chromium
def test_a_wrong_value_is_said_at_its_field_and_nothing_is_made(page: Watched) -> None:
    page.page.wait_for_selector(".play:enabled")
    tempos = page.page.get_by_label("Tempos: Ailsa")
    tempos.fill("quick")
    tempos.press("Enter")
    page.page.wait_for_selector(".people .problem.marked")
    assert tempos.get_attribute("aria-invalid") == "true"
    said = page.page.locator(".people .problem.marked").inner_text()
    assert "quick" in said and re.search(r"[^.]\. [A-Z]", said), "the remedy is a sentence"
    page.wait("document.querySelector('.play').disabled")
    tempos.fill("60")
    tempos.press("Enter")
    page.page.wait_for_selector(".play:enabled")
    assert page.page.locator(".problem").count() == 0


@needs_chromium
@needs_axe
def test_it_is_made_heard_and_seen_on_narrow_pages_and_axe_finds_nothing(
    page: Watched, bench: Running
) -> None:
    page.page.get_by_label("More: Jamie").click()
    page.page.wait_for_selector(".play:enabled")
    page.page.get_by_role("button", name="Make it").press("Enter")
    page.page.wait_for_selector(".dock progress:visible")
    # It goes on while another screen is shown.
    page.page.get_by_role("link", name="Library").click()
    page.page.wait_for_selector(".library .rows")
    page.page.go_back()
    page.page.wait_for_selector(".parcels")
    page.page.wait_for_selector(".play:enabled")
    for name in ("Ailsa", "Jamie"):
        page.page.get_by_text(f"{name}: ", exact=False).click()
    # Of two the one that was pressed last.
    with page.page.expect_response("**/api/pack-file") as late, held_up(page, "pack-file"):
        page.page.get_by_role("button", name=re.compile(r"^Hear: .* - B flat - ")).click()
        page.page.get_by_role("button", name=re.compile(r"^Hear: .* - A - ")).press("Enter")
        page.wait("document.querySelector('audio') !== null")
    late.value.finished()
    page.wait("document.querySelector('audio')?.currentTime > 0.2")
    assert " - A - " in page.run("document.querySelector('audio').getAttribute('aria-label')")
    lasts = page.run("document.querySelector('audio').duration")
    (track,) = (bench.folder / "out" / "seen" / "Ailsa").glob("*.mp3")
    assert lasts == pytest.approx(mutagen.mp3.MP3(track).info.length, abs=0.1)
    page.page.add_script_tag(path=str(AXE))
    page.run("for (const one of document.querySelectorAll('details')) one.open = true")
    for width in (390, 1024):
        page.page.set_viewport_size({"width": width, "height": 800})
        assert page.run("document.querySelector('.sheet').scrollWidth <= innerWidth")
        for scheme in ("dark", "light"):
            page.page.emulate_media(color_scheme=scheme)
            found = page.run("axe.run().then(one => one.violations)")
            assert [(one["id"], [node["html"] for node in one["nodes"]]) for one in found] == []
