"""Answers that come late, or in another order than asked: the page does what was pressed last."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from typing import Any

import pytest

from tests.page.browsers import Watched, needs_chromium
from tests.workbench.benches import WIDE, Running, waited_for
from tests.workbench.desks import SAVED, desk, go, held_up, opened_on
from tests.workbench.test_faults import book

pytestmark = needs_chromium

HEARING = "window.rungwise.hearing"
OTHER_TEXT = """() => {
  const { screen } = window.rungwise;
  screen.text.replace("# other\\n" + screen.text.text);
  void screen.show();
}"""
"""A script that changes the text as another program does, with as many lines as before."""


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


# --- what sounds -----------------------------------------------------------------------------


def hertz(page: Watched, typed: str) -> None:
    field = page.page.locator(".dock").get_by_role("spinbutton", name="Pitch: hertz")
    field.fill(typed)
    field.press("Enter")


def test_what_is_played_while_another_pitch_is_made_goes_on_at_it(page: Watched) -> None:
    page.page.locator(".dock").get_by_label("Pitch", exact=True).select_option("other")
    with held_up(page, "sound"):
        hertz(page, "478")
        button(page, "Play line 1").click()
        page.wait(f"{HEARING}.isPlaying")
        page.run(f"window.before = {HEARING}.player")
    page.wait(f"{HEARING}.pitchIndex === 2")
    assert page.run(f"[{HEARING}.isPlaying, window.before.isPlaying]") == [True, False]
    button(page, "Stop").click()
    assert not page.run(f"{HEARING}.isPlaying")


def test_of_two_pitches_the_one_that_was_typed_last_sounds(page: Watched) -> None:
    page.page.locator(".dock").get_by_label("Pitch", exact=True).select_option("other")
    with (
        page.page.expect_response(lambda one: '"478"' in (one.request.post_data or "")) as late,
        held_up(page, "sound", answered=True) as is_held,
    ):
        hertz(page, "478")
        waited_for(is_held)
        hertz(page, "466")
        page.wait(f"{HEARING}.data.pitches[2]?.low_a_hz === 233")
    late.value.finished()
    page.run("new Promise((go) => setTimeout(go, 100))")
    told = f"[{HEARING}.data.pitches[2].low_a_hz, {HEARING}.pitches[2], {HEARING}.pitchIndex]"
    assert page.run(told) == [233, "466", 2]


def test_music_that_comes_after_its_screen_is_left_is_not_played(
    page: Watched, bench: Running
) -> None:
    (bench.folder / "book.toml").write_text(book(60))
    example = page.run(f"{HEARING}.music.length")
    opened_on(page, "write", "book.toml")
    with page.page.expect_response("**/api/bodies") as late, held_up(page, "bodies"):
        page.run("document.querySelector('.entry:last-of-type').scrollIntoView()")
        page.page.get_by_role("link", name="Library").click()
        page.page.wait_for_selector("[data-screen=library] .example svg")
    late.value.finished()
    page.run("new Promise((go) => setTimeout(go, 100))")
    assert page.run(f"{HEARING}.music.length") == example


# --- what is known of a book -----------------------------------------------------------------


def test_lines_can_be_added_though_the_words_of_a_definition_come_last(page: Watched) -> None:
    with held_up(page, "words"):
        go(page, "know", "wide.toml")
        page.page.wait_for_selector("table.heat")
    page.page.wait_for_selector("table.heat button")


def test_whoever_types_while_pages_are_counted_is_left_alone(page: Watched) -> None:
    opened_on(page, "know", "wide.toml")
    page.page.wait_for_selector("table.heat")
    with held_up(page, "pages"):
        page.page.locator(".shorter select").select_option("pages")
        # Somebody is at another choice by now.
        page.page.locator(".among select").first.focus()
    page.page.wait_for_selector(".shorter output:has-text('1 of 1')")
    assert page.run("document.activeElement.closest('.among') !== null")


def test_a_choice_that_is_asked_for_while_an_older_one_is_made_is_made_of_the_text_as_it_is(
    page: Watched,
) -> None:
    opened_on(page, "know", "wide.toml")
    page.page.wait_for_selector("table.heat")
    slider = page.page.locator(".shorter input[type=range]")
    with held_up(page, "abridge", answered=True) as is_held:
        slider.fill("1")
        waited_for(is_held)
        page.run(OTHER_TEXT)
        slider.fill("2")
        page.wait("window.rungwise.screen.knowing._next !== null")
    page.page.wait_for_selector(".chosen-lines p:has-text('2 of 3 lines')")


def test_what_is_chosen_of_a_new_text_stays_though_the_facts_of_it_come_later(
    page: Watched,
) -> None:
    opened_on(page, "know", "wide.toml")
    page.page.wait_for_selector("table.heat")
    chosen = ".chosen-lines p:has-text('1 of 3 lines')"
    with held_up(page, "know"):
        page.run(OTHER_TEXT)
        page.page.locator(".shorter input[type=range]").fill("1")
        page.page.wait_for_selector(chosen)
    page.wait("window.rungwise.screen.knowing._of.startsWith('# other')")
    assert page.page.locator(chosen).count() == 1


def test_what_was_chosen_of_an_older_text_is_taken_out_of_no_newer_one(
    page: Watched, bench: Running
) -> None:
    opened_on(page, "know", "wide.toml")
    page.page.wait_for_selector("table.heat")
    page.page.locator(".shorter input[type=range]").fill("1")
    page.page.wait_for_selector(".chosen-lines h3")
    with held_up(page, "show"):
        page.run(OTHER_TEXT)
        with page.page.expect_response("**/api/shortened") as answered:
            button(page, "Take the other lines out").click()
        answered.value.finished()
    page.wait("window.rungwise.screen.isSettled")
    assert (bench.folder / "wide.toml").read_text() == "# other\n" + WIDE
    assert page.page.inner_text(".book .said") == ""


# --- files -----------------------------------------------------------------------------------


def on_disk(page: Watched, bench: Running) -> str:
    page.wait("window.rungwise.screen.isSettled")
    return (bench.folder / "wide.toml").read_text()


def test_what_was_kept_is_not_replaced_by_what_was_read_before(
    page: Watched, bench: Running
) -> None:
    opened_on(page, "write", "wide.toml")
    page.wait("window.rungwise.screen.isSettled")
    with (
        page.page.expect_response("**/api/open") as late,
        held_up(page, "open", answered=True) as is_held,
    ):
        (bench.folder / "wide.toml").write_text(WIDE.replace("tempo = 60", "tempo = 66"))
        waited_for(is_held)
        page.run(OTHER_TEXT)
        button(page, "Keep mine").click()
        page.wait("window.rungwise.screen.isSettled")
    late.value.finished()
    page.run("new Promise((go) => setTimeout(go, 100))")
    assert on_disk(page, bench) == "# other\n" + WIDE


def test_what_is_written_until_the_next_screen_is_there_is_saved(
    page: Watched, bench: Running
) -> None:
    opened_on(page, "write", "wide.toml")
    page.wait("window.rungwise.screen.isSettled")
    with held_up(page, "save") as is_held:
        page.run(OTHER_TEXT)
        page.page.get_by_role("link", name="Library").click()
        waited_for(is_held)
        page.run(OTHER_TEXT)
    page.page.wait_for_selector("[data-screen=library] li[data-name='wide.toml']")
    assert (bench.folder / "wide.toml").read_text() == "# other\n# other\n" + WIDE


def test_the_sheet_shows_what_was_changed_just_before(page: Watched) -> None:
    opened_on(page, "write", "wide.toml")
    page.page.locator(".entry").nth(0).locator(".opener").click()
    with page.page.expect_request("**/api/sheet") as asked:
        with held_up(page, "show"):
            page.page.get_by_label("Heading").fill("From low A")
            button(page, "Sheet").click()
        page.page.get_by_alt_text("Page 1").wait_for()
    assert "From low A" in asked.value.post_data
    button(page, "Close").click()


def test_versions_that_come_after_the_screen_is_left_are_not_shown(page: Watched) -> None:
    opened_on(page, "write", "wide.toml")
    with page.page.expect_response("**/api/earlier") as late, held_up(page, "earlier"):
        button(page, "Versions").click()
        page.page.get_by_role("link", name="Library").click()
        page.page.wait_for_selector("[data-screen=library] .example svg")
    late.value.finished()
    page.run("new Promise((go) => setTimeout(go, 100))")
    assert page.said == []


# --- handing out -----------------------------------------------------------------------------

CLASS = """title = "Larkmoor juniors"
exercises = ["wide.toml"]
gets = ["sheet"]
[[learners]]
name = "Jamie"
pitch = "A"
"""


@pytest.mark.parametrize("late", ["pack", "save"])
def test_a_class_is_made_as_it_was_changed_just_before(
    page: Watched, bench: Running, late: str
) -> None:
    (bench.folder / "juniors.toml").write_text(CLASS)
    go(page, "hand", "juniors.toml")
    page.page.wait_for_selector(".dock .play:enabled")
    with held_up(page, late) as is_held:
        name = page.page.get_by_label("Name: Jamie")
        name.fill("Ailsa")
        name.press("Enter")
        waited_for(is_held)
        page.page.locator(".dock .play").click()
    page.page.wait_for_selector(".outcome")
    made = {one.name for one in (bench.folder / "out" / "juniors").iterdir() if one.is_dir()}
    assert made == {"Ailsa"}
