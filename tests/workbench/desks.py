"""The workbench's page in a browser, watched: nothing on the console, nothing that leaves."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from tests.limits import HANG_S
from tests.page.browsers import Watched, watched_page
from tests.workbench.benches import Running

TEXT = "window.rungwise.screen.text.text"
SAVED = "!window.rungwise?.screen?.isDirty && !window.rungwise?.screen?._isSaving"
"""What is typed is on the disk, and nothing older is on its way there."""


@contextmanager
def desk(
    bench: Running, chromium: Any, *, shown: str = ".example svg", **told: Any
) -> Iterator[Watched]:
    """Open a workbench's library; fail in the end for a word on the console or for what leaves.

    `shown` is what is waited for, the rest is told to the browser.
    """
    usual = {"viewport": {"width": 1280, "height": 900}, "locale": "en-GB"}
    context = chromium.new_context(**usual | told)
    watched = watched_page(context)
    watched.page.goto(bench.address)
    watched.page.wait_for_selector(shown)
    yield watched
    assert watched.said == []
    here = f"http://127.0.0.1:{bench.port}/"
    assert [one for one in watched.asked if not one.startswith((here, "data:", "blob:"))] == []
    context.close()


@contextmanager
def held_up(page: Watched, what: str) -> Iterator[None]:
    """Hold up the next question of a name that the page asks meanwhile; it goes on in the end."""
    held: list[Any] = []

    def hold(route: Any) -> None:
        held.append(route)

    page.page.route(f"**/api/{what}", hold, times=1)
    yield
    for _ in range(100 * HANG_S):
        if held:
            break
        page.page.wait_for_timeout(10)
    held[0].continue_()


def opened_on(page: Watched, place: str, name: str, *, is_written: bool = True) -> None:
    """Go to a file's screen, and wait for its staves and, where it is written, for its fields."""
    page.page.goto(f"{page.page.url.split('#')[0]}#/{place}/{name}")
    page.page.wait_for_selector(f"[data-screen={place}] .entry svg")
    if is_written:
        page.wait("window.rungwise.screen.words !== null")
