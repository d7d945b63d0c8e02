"""The workbench for everyone: eyes, ears, hands and languages, on every screen."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

from tests.page.browsers import AXE, Browsers, Watched, needs_axe, needs_chromium, needs_firefox
from tests.workbench.benches import Running, running
from tests.workbench.desks import desk
from tests.workbench.screens import CLASS, FILE, SCREENS, fill, screen
from tests.workbench.test_pages_script import OWN

pytestmark = needs_chromium


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Running]:
    folder = tmp_path_factory.mktemp("Larkmoor")
    fill(folder)
    with running(folder) as one:
        yield one


@pytest.fixture(scope="module")
def page(bench: Running, start: Browsers) -> Iterator[Watched]:
    # axe is a script from outside, which the page's policy refuses.
    with desk(bench, start("chromium"), bypass_csp=True, reduced_motion="reduce") as one:
        if AXE.exists():
            one.page.add_script_tag(path=str(AXE))
        yield one


@needs_axe
@pytest.mark.parametrize("name", SCREENS)
def test_axe_finds_nothing_in_light_and_dark(page: Watched, name: str) -> None:
    """In the dark its colours, for nothing else differs."""
    page.page.set_viewport_size({"width": 1280, "height": 900})
    with screen(page, name):
        for scheme, only in (("dark", "{ runOnly: ['color-contrast'] }"), ("light", "{}")):
            page.page.emulate_media(color_scheme=scheme)
            found = page.run(f"axe.run({only}).then(one => one.violations)")
            told = [(one["id"], [node["html"][:200] for node in one["nodes"]]) for one in found]
            assert told == [], scheme


@pytest.mark.parametrize(
    "name", ["library", "writing", "fingers", "keys", "tuning", "sheet", "versions", "class"]
)
def test_nothing_is_wider_than_a_telephone(page: Watched, name: str) -> None:
    page.page.set_viewport_size({"width": 390, "height": 844})
    with screen(page, name):
        assert page.run("document.documentElement.scrollWidth") <= 390
        wide = page.run(
            """[...document.querySelectorAll("main, header, footer, dialog[open]")]
                 .filter((one) => one.getBoundingClientRect().right > 391)
                 .map((one) => one.className)"""
        )
        assert wide == []
    page.page.set_viewport_size({"width": 1280, "height": 900})


def test_the_keys_are_listed_on_every_screen_but_not_where_somebody_types(page: Watched) -> None:
    for name in ("library", "writing", "book", "tuning", "class"):
        with screen(page, name):
            page.run("document.activeElement?.blur()")
            page.page.keyboard.press("?")
            page.page.wait_for_selector("dialog.keys")
            page.page.keyboard.press("Escape")
            page.page.locator("dialog.keys").wait_for(state="detached")
    with screen(page, "library"):
        page.page.get_by_role("searchbox").fill("")
        page.page.get_by_role("searchbox").press("?")
        assert page.page.get_by_role("searchbox").input_value() == "?"
        assert page.page.locator("dialog[open]").count() == 0
        page.page.get_by_role("searchbox").fill("")


def test_a_line_is_played_and_looped_by_keys_alone(page: Watched) -> None:
    with screen(page, "fingers"):
        page.wait("window.rungwise.hearing.player !== null")
        page.run("document.activeElement?.blur()")
        page.page.keyboard.press("ArrowDown")
        assert page.run("window.rungwise.screen.chosen") == 1
        page.page.keyboard.press("2")
        page.wait("window.rungwise.hearing.heard.id.includes('-B2-')")
        # Note by note from the line's beginning, and back.
        for key, note in (("Right", "B2-N2"), ("Right", "B2-N3"), ("Left", "B2-N2")):
            page.page.keyboard.press(f"Arrow{key}")
            page.wait(f"window.rungwise.hearing.heard.id.includes('-{note}-')")
        page.page.keyboard.press("[")
        page.page.keyboard.press("]")
        page.wait("document.querySelectorAll('.bar-box.looped').length >= 1")
        page.page.keyboard.press("Escape")
        assert page.run("document.querySelectorAll('.bar-box.looped').length") == 0
        page.page.keyboard.press(" ")
        page.wait("!window.rungwise.hearing.isPlaying")


def test_tab_goes_through_all_of_it_and_out_of_the_text(page: Watched) -> None:
    with screen(page, "writing"):
        page.run("document.activeElement?.blur()")
        passed = set()
        for _ in range(80):
            page.page.keyboard.press("Tab")
            if page.run("document.activeElement?.classList.contains('editor')"):
                page.page.keyboard.press("Escape")
                passed.add("the text")
            passed.add(
                page.run(
                    """document.activeElement?.closest("header, .entry, .head, footer")
                         ?.className.split(" ")[0] ?? "" """
                )
            )
        assert {"bar", "head", "entry", "dock", "the text"} <= passed


def test_how_loud_each_part_is_can_be_said_on_a_telephone(page: Watched) -> None:
    """Folded away, they take no room; unfolded, nothing is wider than the telephone."""
    page.page.set_viewport_size({"width": 390, "height": 844})
    with screen(page, "tuning"):
        drones = page.page.get_by_role("slider", name="Drones")
        assert not drones.is_visible()
        unfold = page.page.get_by_role("button", name="Sound", exact=True)
        unfold.click()
        drones.fill("-6")
        assert page.run("window.rungwise.hearing.faders.drone") == -6
        assert page.run("document.documentElement.scrollWidth") <= 390
        drones.fill(drones.get_attribute("min") or "")
        unfold.click()
        assert not drones.is_visible()
    page.page.set_viewport_size({"width": 1280, "height": 900})


def test_the_parts_stand_in_one_row(page: Watched) -> None:
    with screen(page, "book"):
        for width in (1024, 1280, 1440):
            page.page.set_viewport_size({"width": width, "height": 900})
            middles = page.run(
                """[...document.querySelectorAll(".parts > *")].map((one) => {
                     const box = one.getBoundingClientRect();
                     return Math.round(box.top + box.height / 2);
                   })"""
            )
            assert len(middles) == 4 and len(set(middles)) == 1, width
    page.page.set_viewport_size({"width": 1280, "height": 900})


def test_what_is_wrong_is_said_in_german(bench: Running, chromium: Any) -> None:
    """Where it is wrong, under the text, in lists and answers; nothing is marked as English."""
    files = [bench.folder / name for name in ("broken.toml", "taken.toml", "hiss.wav")]
    for file in files[:2]:
        file.write_text("title = ")
    files[2].write_bytes(b"no recording")
    english = "[lang=en]:not(option)"
    with desk(bench, chromium, locale="de-DE") as page:
        row = page.page.locator("li[data-name='broken.toml']")
        assert row.locator(".problem").inner_text() == (
            "broken.toml: Zeile 1: `title` hat keinen Wert. Schreibe ihn hinter das =."
        )
        row.get_by_role("button", name="Umbenennen").click()
        page.page.keyboard.type("taken")
        page.page.keyboard.press("Enter")
        page.page.get_by_text("eine Datei dieses Namens gibt es schon").wait_for()
        assert page.page.locator(english).count() == 0
        for file in files[:2]:
            file.unlink()
        with screen(page, "wrong"):
            cause = "eine Spielpfeife hat keinen Ton 'H'"
            assert page.page.locator(".entry .problem").inner_text().startswith(cause)
            listed = page.page.locator(".wrong button").inner_text()
            assert listed.startswith(f"Reihe 15: {cause}")
            page.page.locator(".cm-lintRange").first.hover()
            hover = page.page.locator(".cm-tooltip .cm-diagnostic")
            hover.wait_for()
            assert cause in hover.inner_text()
            assert page.page.locator(english).count() == 0
        with screen(page, "class"):
            minutes = page.page.locator("[data-place='learners[1].minutes']")
            minutes.fill("0")
            page.page.keyboard.press("Enter")
            marked = page.page.locator(".problem.marked")
            marked.wait_for()
            assert "liegt außerhalb des Bereichs. Wähle eine ganze Zahl" in marked.inner_text()
            assert minutes.get_attribute("aria-description") == marked.inner_text()
            assert page.page.locator(english).count() == 0
            page.run("window.rungwise.screen.text.undo()")
            page.wait("window.rungwise.screen.isSettled")
        with screen(page, "tuning"):
            page.page.locator("input[type=file]").set_input_files(files[2])
            page.page.get_by_text("das ist keine Aufnahme, die sich lesen lässt").wait_for()
            assert page.page.locator(english).count() == 0
    files[2].unlink()


def test_nothing_stays_english_in_german(bench: Running, chromium: Any) -> None:
    english = {one[0]: key for key, one in OWN.items() if one[0] != one[1] and len(one[0]) > 3}
    with desk(bench, chromium, locale="de-DE") as page:
        assert page.run("document.documentElement.lang") == "de"
        for name in SCREENS:
            with screen(page, name):
                told = page.run(
                    """[...document.querySelectorAll("body *")].flatMap((one) => [
                         one.childElementCount ? "" : one.textContent.trim(),
                         one.getAttribute("aria-label"), one.getAttribute("title"),
                         one.getAttribute("placeholder"),
                       ]).filter(Boolean)"""
                )
                assert not {one for one in told if one in english}, name


@needs_firefox
def test_firefox_writes_plays_prints_and_hands_out(bench: Running, start: Browsers) -> None:
    """The chief screens in another browser: nothing on its console, nothing that leaves."""
    with desk(bench, start("firefox")) as page:
        sheet = page.page

        def go(place: str) -> None:
            sheet.evaluate(f"location.hash = '#/{place}'")

        go(f"write/{FILE}")
        sheet.wait_for_selector(".entry svg")
        page.wait("window.rungwise.screen.words !== null && window.rungwise.hearing.player")
        sheet.locator(".entry").nth(0).locator(".opener").click()
        heading = sheet.get_by_label("Heading")
        heading.fill("From low A")
        heading.press("Tab")
        page.wait("window.rungwise.screen.read.lines[0].heading === 'From low A'")
        sheet.get_by_label("Play line 1", exact=True).click()
        page.wait("window.rungwise.hearing.heard.id !== ''")
        sheet.get_by_role("button", name="Stop").click()
        sheet.get_by_role("button", name="Sheet").click()
        sheet.get_by_alt_text("Page 1").wait_for()
        sheet.get_by_role("button", name="Close").click()
        sheet.get_by_role("button", name="Undo").click()
        page.wait("window.rungwise.screen.isSettled")
        go(f"hand/{CLASS}")
        sheet.locator("[data-screen=hand] .play:enabled").wait_for()
