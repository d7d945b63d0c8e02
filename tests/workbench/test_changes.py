"""Changes by fields, asked for faster than they are answered: none is lost, none hits another."""

from __future__ import annotations

import random
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from renderer.workbench.application import PAGES
from renderer.workbench.editing import edit
from tests.page.browsers import Watched, needs_chromium
from tests.page.node import needs_node, run
from tests.workbench.benches import WIDE, Running
from tests.workbench.desks import SAVED, TEXT, desk, go, held_up, opened_on

CLASS = """title = "Larkmoor juniors"
exercises = ["first-gracenotes", { file = "wide.toml", for = ["Jamie", "Ailsa"] }]
gets = ["tracks"]

[[learners]]
name = "Jamie"
pitch = "B flat"

[[learners]]
name = "Ailsa"
pitch = "A"

[[learners]]
name = "Rory"
pitch = "A"
"""


@needs_node
def test_an_entry_stands_where_the_changes_have_moved_it(tmp_path: Path) -> None:
    """Held against the changed texts themselves."""
    odd = random.Random(21)
    runs, found = [], []
    for _ in range(200):
        count = odd.randint(1, 5)
        text = "".join(f'[[learners]]\nname = "{n}"\n' for n in range(count))
        changes: list[dict[str, Any]] = []
        there = count
        for _ in range(odd.randint(1, 4)):
            kinds = ["insert", "copy", "move", "arrange", *(["remove"] if there > 1 else [])]
            one: dict[str, Any] = {"do": odd.choice(kinds), "list": "learners"}
            if one["do"] == "arrange":
                one["lines"] = odd.sample(range(there), odd.randint(1, there))
                there = len(one["lines"])
            else:
                one["at"] = odd.randrange(there + (one["do"] == "insert"))
                there += {"insert": 1, "copy": 1, "remove": -1, "move": 0}[one["do"]]
            if one["do"] == "insert":
                one["line"] = {"name": "new"}
            if one["do"] == "move":
                one["to"] = odd.randrange(there)
            changes.append(one)
        for change in changes:
            text = edit(text, change)
            if change["do"] == "copy":
                double = ["learners", change["at"] + 1, "name"]
                text = edit(text, {"do": "set", "path": double, "to": "double"})
        listed = [row["name"] for row in tomllib.loads(text)["learners"]]
        found.append([listed.index(str(n)) if str(n) in listed else -1 for n in range(count)])
        # What is of another list moves nothing.
        other = {"do": "remove", "list": "groups", "at": 0}
        runs.append({"count": count, "changes": [*changes, other]})
    assert run("changes.mjs", runs, tmp_path, PAGES) == found


@pytest.fixture
def page(bench: Running, chromium: Any) -> Iterator[Watched]:
    (bench.folder / "wide.toml").write_text(WIDE)
    (bench.folder / "quick.toml").write_text(CLASS)
    with desk(bench, chromium) as watched:
        yield watched
        watched.wait(SAVED)


def hand(page: Watched) -> None:
    go(page, "hand", "quick.toml")
    page.page.wait_for_selector(".adding option[value='crossing-noises']", state="attached")


def class_now(page: Watched) -> dict[str, Any]:
    page.wait("window.rungwise.screen.isSettled")
    return tomllib.loads(page.run(TEXT))


def names(page: Watched) -> list[str]:
    return [one["name"] for one in class_now(page)["learners"]]


@needs_chromium
def test_notes_that_are_tapped_fast_are_all_there(page: Watched) -> None:
    opened_on(page, "write", "wide.toml")
    page.page.locator(".entry").nth(0).locator(".opener").click()
    with held_up(page, "show"):
        for note in ("E", "F", "E"):
            page.page.get_by_role("button", name=f"Add {note}", exact=True).click()
    page.wait(f'{TEXT}.includes("low A, B, D, E, F, E")')
    with held_up(page, "show"):
        for _ in range(2):
            page.page.get_by_role("button", name="Take the last note away").click()
    page.wait(f'{TEXT}.includes("low A, B, D, E\\"")')


@needs_chromium
def test_who_is_added_is_one_more_and_is_named_next(page: Watched) -> None:
    hand(page)
    with held_up(page, "pack"):
        page.page.get_by_label("Pitch: Rory").select_option("B flat")
        for _ in range(2):
            page.page.get_by_role("button", name="Add a learner").click()
    page.wait("document.activeElement?.value === 'Learner 5'")
    assert class_now(page)["learners"][2:] == [
        {"name": name, "pitch": "B flat"} for name in ("Rory", "Learner 4", "Learner 5")
    ]


@needs_chromium
def test_a_field_that_somebody_types_in_keeps_the_focus(page: Watched) -> None:
    hand(page)
    with held_up(page, "pack"):
        page.page.get_by_role("button", name="Add a learner").click()
        page.page.get_by_label("Name: Ailsa").fill("Ais")
    assert names(page) == ["Jamie", "Ailsa", "Rory", "Learner 4"]
    page.page.keyboard.type("ha")
    page.page.keyboard.press("Enter")
    page.wait(f'{TEXT}.includes("Aisha")')
    assert names(page) == ["Jamie", "Aisha", "Rory", "Learner 4"]


@needs_chromium
def test_who_is_taken_out_is_who_was_pressed(page: Watched) -> None:
    hand(page)
    with held_up(page, "pack"):
        # Pressed twice, and then one who moves up meanwhile.
        page.page.get_by_label("Take out: Jamie").dblclick()
        page.page.get_by_label("Take out: Ailsa").click()
    page.wait(f'!{TEXT}.includes("Ailsa")')
    there = class_now(page)
    assert [one["name"] for one in there["learners"]] == ["Rory"]
    assert there["exercises"] == ["first-gracenotes", {"file": "wide.toml"}]


@needs_chromium
def test_a_value_is_given_to_who_has_moved_up_meanwhile(page: Watched) -> None:
    hand(page)
    with held_up(page, "pack"):
        page.page.get_by_label("Take out: Jamie").click()
        page.page.get_by_label("Pitch: Ailsa").select_option("B flat")
        page.page.get_by_label("Minutes a day: Rory").fill("25")
        page.page.get_by_label("Minutes a day: Rory").press("Enter")
    page.wait(f'{TEXT}.includes("minutes")')
    assert class_now(page)["learners"] == [
        {"name": "Ailsa", "pitch": "B flat"},
        {"name": "Rory", "pitch": "A", "minutes": 25},
    ]


@needs_chromium
def test_a_row_that_is_open_stays_the_open_one(page: Watched) -> None:
    hand(page)
    page.page.get_by_label("More: Ailsa").click()
    page.page.get_by_label("Take out: Jamie").click()
    page.page.wait_for_selector("[aria-label='Take out: Jamie']", state="detached")
    page.page.get_by_label("Take out: Ailsa").wait_for()
    opened = page.page.locator(".opener[aria-expanded=true]")
    assert opened.get_attribute("aria-label") == "More: Ailsa"


@needs_chromium
def test_ticks_add_up(page: Watched) -> None:
    hand(page)
    gets = page.page.get_by_role(
        "region", name="For all, unless a learner has another"
    ).get_by_role("group", name="Each gets")
    with held_up(page, "pack"):
        gets.get_by_label("a sheet").check()
        gets.get_by_label("a practice page").check()
        page.page.get_by_label("Jamie gets First gracenotes").uncheck()
        page.page.get_by_label("Ailsa gets First gracenotes").uncheck()
    page.wait(f"{TEXT}.includes('[\"Rory\"]')")
    there = class_now(page)
    assert len(there["gets"]) == 3
    assert there["exercises"][0] == {"file": "first-gracenotes", "for": ["Rory"]}


@needs_chromium
def test_an_exercise_is_added_once_and_taken_out_where_it_stands(page: Watched) -> None:
    hand(page)
    page.page.get_by_label("An exercise to add").select_option("crossing-noises")
    with held_up(page, "pack"):
        page.page.get_by_label("Move up: Doublings over a wide step").click()
        page.page.get_by_role("button", name="Add it").dblclick()
        page.page.get_by_label("Take out: First gracenotes").click()
    page.wait(f'!{TEXT}.includes("first-gracenotes")')
    assert class_now(page)["exercises"] == [
        {"file": "wide.toml", "for": ["Jamie", "Ailsa"]},
        "crossing-noises",
    ]


@needs_chromium
def test_lines_are_moved_and_removed_as_they_were_pressed(page: Watched) -> None:
    opened_on(page, "write", "wide.toml")
    headings = ["Low A to D", "The same, closed", "Written out"]
    assert [one["heading"] for one in class_now(page)["lines"]] == headings
    page.page.locator(".entry").nth(0).locator(".opener").click()
    tool = page.page.locator(".entry .tools")
    with held_up(page, "show"):
        tool.get_by_role("button", name="Move down").dblclick()
    page.wait("window.rungwise.screen.openEntry === 2")
    assert [one["heading"] for one in class_now(page)["lines"]] == [*headings[1:], headings[0]]
    with held_up(page, "show"):
        tool.get_by_role("button", name="Take out").dblclick()
    page.wait("window.rungwise.screen.openEntry === null")
    assert [one["heading"] for one in class_now(page)["lines"]] == headings[1:]
    with held_up(page, "show"):
        page.page.get_by_role("button", name="Add a line").click()
    page.wait("window.rungwise.screen.openEntry === 2")


@needs_chromium
def test_what_is_shown_is_the_changed_text_though_another_question_overtook_it(
    page: Watched,
) -> None:
    opened_on(page, "write", "wide.toml")
    page.page.locator(".entry").nth(0).locator(".opener").click()
    page.wait("window.rungwise.screen.isSettled")
    with held_up(page, "show"):
        page.page.get_by_label("Heading").fill("Another")
        page.page.get_by_label("Heading").press("Enter")
        page.run("void window.rungwise.screen.show()")
        page.wait("window.rungwise.screen._shownOf === window.rungwise.screen._asked")
    page.wait("window.rungwise.screen.fields.lines[0].heading === 'Another'")
    page.wait("window.rungwise.screen.isSettled")
