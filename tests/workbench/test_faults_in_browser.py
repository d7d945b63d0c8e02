"""What goes wrong while somebody writes: the page says it, and what was typed is there again."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from renderer.notation.limits import MOST_LINES
from tests.limits import HANG_S
from tests.page.browsers import Watched, needs_chromium
from tests.workbench.benches import WIDE, Running, running
from tests.workbench.test_faults import book

pytestmark = needs_chromium

SCREEN = "window.rungwise.screen"


@pytest.fixture
def page(chromium: Any) -> Iterator[Watched]:
    context = chromium.new_context(viewport={"width": 1280, "height": 900}, locale="en-GB")
    opened = context.new_page()
    opened.set_default_timeout(1_000 * HANG_S)
    yield Watched(opened)
    context.close()


def write(page: Watched, bench: Running, name: str = "wide.toml") -> None:
    page.page.goto(bench.address)
    page.page.wait_for_selector(".example svg")
    page.page.goto(f"http://127.0.0.1:{bench.port}/#/write/{name}")
    page.page.wait_for_selector(".entry svg")
    page.wait(f"{SCREEN}.words !== null")


def type_in(page: Watched, remark: str) -> None:
    """Type a remark at the head of the text."""
    page.run(f"{SCREEN}.text.show(0)")
    page.page.keyboard.type(f"# {remark}\n")
    page.wait(f"{SCREEN}.text.text.includes('# {remark}')")


def type_while_the_server_is_dead(page: Watched, bench: Running, remark: str) -> None:
    bench.process.kill()
    bench.process.wait(HANG_S)
    type_in(page, remark)
    page.wait("document.querySelector('.notice').textContent.includes('does not answer')")
    page.wait("document.querySelector('.saved').textContent.startsWith('Not saved')")


def test_what_is_typed_while_the_server_is_dead_is_there_when_it_runs_again(
    tmp_path: Path, page: Watched
) -> None:
    file = tmp_path / "wide.toml"
    file.write_text(WIDE)
    with running(tmp_path) as bench:
        write(page, bench)
        type_in(page, "first")
        page.wait(f"!{SCREEN}.isDirty")
        assert file.read_text() == f"# first\n{WIDE}"
        type_while_the_server_is_dead(page, bench, "second")
    assert file.read_text() == f"# first\n{WIDE}"
    with running(tmp_path, bench.port) as again:
        # Another run has another token: the open page says so, and the printed address helps.
        page.wait("document.querySelector('.notice').textContent.includes('another run')")
        write(page, again)
        assert page.run(f"{SCREEN}.text.text") == f"# second\n# first\n{WIDE}"
        page.wait(f"!{SCREEN}.isDirty")
        assert file.read_text() == f"# second\n# first\n{WIDE}"


def test_a_folder_that_goes_and_comes_back_costs_no_word(tmp_path: Path, page: Watched) -> None:
    root, away = tmp_path / "Larkmoor", tmp_path / "away"
    root.mkdir()
    (root / "wide.toml").write_text(WIDE)
    with running(root) as bench:
        write(page, bench)
        root.rename(away)
        type_in(page, "typed")
        page.wait("document.querySelector('.saved').textContent.includes('the folder is gone')")
        away.rename(root)
        page.wait(f"!{SCREEN}.isDirty")
        assert (root / "wide.toml").read_text() == f"# typed\n{WIDE}"


def test_a_draft_never_replaces_what_others_have_written_since(
    tmp_path: Path, page: Watched
) -> None:
    file = tmp_path / "wide.toml"
    file.write_text(WIDE)
    with running(tmp_path) as bench:
        write(page, bench)
        type_while_the_server_is_dead(page, bench, "mine")
    theirs = WIDE.replace("tempo = 60", "tempo = 66")
    file.write_text(theirs)
    with running(tmp_path, bench.port) as again:
        write(page, again)
        page.page.wait_for_selector(".notice button")
        assert page.run(f"{SCREEN}.text.text") == f"# mine\n{WIDE}"
        assert file.read_text() == theirs
        page.page.get_by_role("button", name="Take the one on disk").click()
        page.wait(f"!{SCREEN}.isDirty")
        write(page, again)
        assert page.run(f"{SCREEN}.text.text") == theirs
        assert page.page.locator(".notice button").count() == 0
        kept = again.answer("earlier", name="wide.toml")["versions"]
        texts = [
            again.answer("earlier-text", name="wide.toml", version=one["version"])["text"]
            for one in kept
        ]
        assert f"# mine\n{WIDE}" in texts


def test_whoever_types_without_pause_is_saved_all_the_same(tmp_path: Path, page: Watched) -> None:
    """By the page's own clock, which stands while nobody moves it on."""
    file = tmp_path / "wide.toml"
    file.write_text(WIDE)
    page.page.clock.install()
    with running(tmp_path) as bench:
        write(page, bench)
        page.page.clock.pause_at(page.run("Date.now() + 60_000"))
        page.run(f"{SCREEN}.text.show(0)")
        typed, unsaved_ms = "", []
        for letter in "# low A, B, D, E, F, high G":
            page.page.keyboard.type(letter)
            typed += letter
            page.page.clock.run_for(200)
            there = file.read_text().removesuffix(WIDE)
            unsaved_ms.append(200 * (len(typed) - len(there)))
            if unsaved_ms[-1] >= 1_600:
                # It has been sent by now; how long the disk takes is another matter.
                page.wait(f"{SCREEN}.savedText.length > {len(there) + len(WIDE)}")
                assert len(file.read_text().removesuffix(WIDE)) >= len(typed) - 2
        assert file.read_text().removesuffix(WIDE)


@pytest.mark.long
def test_a_book_of_five_thousand_lines_is_drawn_as_it_comes_into_view(
    tmp_path: Path, page: Watched
) -> None:
    (tmp_path / "book.toml").write_text(book(MOST_LINES))
    with running(tmp_path) as bench:
        write(page, bench, "book.toml")
        drawn = "document.querySelectorAll('.entry svg').length"
        assert page.run("document.querySelectorAll('.entry').length") == MOST_LINES
        assert 0 < page.run(drawn) < 100
        for at in (MOST_LINES // 2, MOST_LINES - 1):
            page.run(f"document.querySelectorAll('.entry')[{at}].scrollIntoView()")
            page.wait(f"document.querySelectorAll('.entry')[{at}].querySelector('svg') !== null")
        assert page.run(drawn) < 200
        page.run(f"{SCREEN}.choose(0)")
        type_in(page, "still here")
        page.wait(f"!{SCREEN}.isDirty")
        assert (tmp_path / "book.toml").read_text() == f"# still here\n{book(MOST_LINES)}"


def test_a_file_that_is_too_large_is_said_by_its_name(tmp_path: Path, page: Watched) -> None:
    with running(tmp_path) as bench:
        page.page.goto(bench.address)
        page.page.wait_for_selector(".example svg")
        page.run(f"{SCREEN}.drop([{{ name: 'hall.wav', size: 70_000_000 }}])")
        page.wait("document.querySelector('.said').textContent.includes('hall.wav is larger')")
        assert [path.name for path in tmp_path.iterdir()] == []
