"""Answers that come late, or in another order than asked: the page does what was pressed last."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from typing import Any

import pytest

from tests.page.browsers import Watched, needs_chromium
from tests.workbench.benches import WIDE, Running, waited_for
from tests.workbench.desks import SAVED, desk, held_up

pytestmark = needs_chromium

HEARING = "window.rungwise.hearing"


@pytest.fixture
def page(bench: Running, chromium: Any) -> Iterator[Watched]:
    for path in bench.folder.glob("*.toml"):
        path.unlink()
    (bench.folder / "wide.toml").write_text(WIDE)
    with desk(bench, chromium, shown="li[data-name='wide.toml']") as watched:
        watched.wait(f"{HEARING}.player !== null")
        yield watched
        watched.wait(SAVED)


def button(page: Watched, name: str) -> Any:
    return page.page.get_by_role("button", name=name, exact=True)


def listed(page: Watched) -> set[str]:
    return set(
        page.run("[...document.querySelectorAll('li[data-name]')].map(one => one.dataset.name)")
    )


# --- the library -----------------------------------------------------------------------------


def test_a_class_is_begun_before_the_files_are_listed(page: Watched, bench: Running) -> None:
    with held_up(page, "library"):
        page.page.reload()
        button(page, "New class").click()
        page.page.wait_for_selector("[data-screen=hand] .people input")
    (made,) = bench.folder.glob("Class*.toml")
    assert tomllib.loads(made.read_text())["exercises"] == ["wide.toml"]


def test_a_list_that_comes_late_hides_nothing_that_was_made_since(page: Watched) -> None:
    with held_up(page, "library", answered=True) as is_held:
        button(page, "Duplicate: wide.toml").click()
        waited_for(is_held)
        button(page, "Remove: wide.toml").click()
        page.wait("document.querySelector('li[data-name=\"wide.toml\"]') === null")
        now = listed(page)
    assert listed(page) == now == {"wide 2.toml"}


def test_a_second_press_before_the_first_is_answered_makes_no_second_file(
    page: Watched, bench: Running
) -> None:
    with held_up(page, "duplicate"):
        for _ in range(2):
            button(page, "Duplicate: wide.toml").click()
    page.page.wait_for_selector("li[data-name='wide 2.toml']")
    with held_up(page, "new"):
        for _ in range(2):
            button(page, "New exercise").click()
    page.page.wait_for_selector("[data-screen=write] .entry svg")
    assert len(list(bench.folder.glob("*.toml"))) == 3


def test_whoever_has_gone_elsewhere_is_not_called_back_to_a_new_file(
    page: Watched, bench: Running
) -> None:
    with page.page.expect_response("**/api/new") as answered, held_up(page, "new"):
        button(page, "New exercise").click()
        page.page.get_by_role("link", name="Chanters").click()
        page.page.wait_for_selector("[data-screen=tune] .list h2")
    answered.value.finished()
    assert (bench.folder / "New exercise.toml").exists()
    page.run("new Promise((go) => setTimeout(go, 100))")
    assert page.page.url.endswith("#/tune")


def test_a_name_is_typed_on_while_another_files_is_changed(page: Watched, bench: Running) -> None:
    (bench.folder / "grips.toml").write_text(WIDE)
    page.page.reload()
    button(page, "Rename: grips.toml").click()
    with held_up(page, "rename"):
        page.page.keyboard.type("crossings")
        page.page.keyboard.press("Enter")
        button(page, "Rename: wide.toml").click()
        page.page.keyboard.type("doub")
    page.page.wait_for_selector("li[data-name='crossings.toml']")
    page.page.keyboard.type("lings")
    page.page.keyboard.press("Enter")
    page.page.wait_for_selector("li[data-name='doublings.toml']")
    assert {path.name for path in bench.folder.glob("*.toml")} == {
        "crossings.toml",
        "doublings.toml",
    }
