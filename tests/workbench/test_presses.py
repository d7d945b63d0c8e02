"""Presses: each counts once, for what was under it when it began, whatever the page does."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.page.browsers import Watched, needs_chromium
from tests.workbench.benches import WIDE, Running, running
from tests.workbench.desks import desk, held_up

pytestmark = needs_chromium

DRAWN_ANEW = "window.rungwise.screen.draw()"
MOVED = "document.querySelector('.example').style.minHeight = '60rem'"


@pytest.fixture
def page(bench: Running, chromium: Any) -> Iterator[Watched]:
    (bench.folder / "wide.toml").write_text(WIDE)
    with desk(bench, chromium) as watched:
        watched.wait("window.rungwise.screen.shipped.length > 0")
        yield watched


def press(page: Watched, what: Any, meanwhile: str, move_px: int = 0) -> None:
    """Press and let go with the mouse; run a script between the two."""
    what.evaluate("one => one.scrollIntoView({ block: 'center' })")
    box = what.bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.page.mouse.move(x, y)
    page.page.mouse.down()
    page.run(meanwhile)
    page.page.mouse.move(x + move_px, y)
    page.page.mouse.up()


@pytest.mark.parametrize("meanwhile", [DRAWN_ANEW, MOVED], ids=["drawn anew", "moved"])
def test_a_link_leads_on_though_it_is_gone_from_under_the_press(
    page: Watched, meanwhile: str
) -> None:
    press(page, page.page.locator("a[href='#/write/wide.toml']"), meanwhile)
    page.page.wait_for_selector("[data-screen=write] .entry svg")


@pytest.mark.parametrize(
    ("name", "meanwhile"), [("still", "0"), ("anew", DRAWN_ANEW), ("moved", MOVED)]
)
def test_a_button_does_its_work_once(
    page: Watched, bench: Running, name: str, meanwhile: str
) -> None:
    (bench.folder / f"{name}.toml").write_text(WIDE)
    page.page.reload()
    press(page, page.page.get_by_role("button", name=f"Duplicate: {name}.toml"), meanwhile)
    page.page.wait_for_selector(f"li[data-name='{name} 2.toml']")
    # What was asked twice would be answered by now.
    press(page, page.page.get_by_role("button", name=f"Duplicate: {name}.toml"), "0")
    page.page.wait_for_selector(f"li[data-name='{name} 3.toml']")
    assert len(list(bench.folder.glob(f"{name}*.toml"))) == 3


def test_a_press_that_is_drawn_away_is_taken_back(page: Watched, bench: Running) -> None:
    button = page.page.get_by_role("button", name="Remove: wide.toml")
    press(page, button, DRAWN_ANEW, move_px=300)
    press(page, page.page.get_by_role("button", name="Rename: wide.toml"), "0")
    page.page.get_by_label("New name of wide.toml").wait_for()
    assert (bench.folder / "wide.toml").exists()


@pytest.mark.parametrize("has_files", [True, False])
def test_what_is_below_the_example_stays_where_it_is_when_its_staves_come(
    tmp_path: Path, chromium: Any, *, has_files: bool
) -> None:
    if has_files:
        (tmp_path / "wide.toml").write_text(WIDE)

    def top(watched: Watched) -> float:
        return float(watched.run('document.querySelector(".own > h2").getBoundingClientRect().top'))

    with running(tmp_path) as bench, desk(bench, chromium) as watched:
        for width in (320, 360, 390, 500, 640, 700, 768, 1024, 1280, 1920):
            watched.page.set_viewport_size({"width": width, "height": 900})
            with held_up(watched, "show"):
                watched.page.reload()
                watched.page.wait_for_selector(".own > h2")
                before = top(watched)
            watched.page.wait_for_selector(".example svg")
            watched.wait("window.rungwise.screen.shipped.length > 0")
            assert top(watched) == pytest.approx(before, abs=1), width
