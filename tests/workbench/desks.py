"""The workbench's page in a browser, watched: nothing on the console, nothing that leaves."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

from tests.page.browsers import Watched, watched_page
from tests.workbench.benches import Running, waited_for

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
def held_up(page: Watched, what: str, *, answered: bool = False) -> Iterator[Callable[[], bool]]:
    """Hold up the next question of a name that the page asks meanwhile; it goes on in the end.

    With `answered` it is the answer that is held up, as it was when it was asked for. Gives what
    tells whether something is held by now.
    """
    held: list[tuple[Any, Any]] = []

    def hold(route: Any) -> None:
        held.append((route, route.fetch() if answered else None))

    def is_held() -> bool:
        page.page.wait_for_timeout(10)  # only meanwhile the route is served
        return bool(held)

    page.page.route(f"**/api/{what}", hold, times=1)
    yield is_held
    waited_for(is_held)
    route, answer = held[0]
    if answer is None:
        route.continue_()
    else:
        route.fulfill(response=answer)


def go(page: Watched, place: str, name: str) -> None:
    """Go to a file's screen, and wait until it is no other's."""
    page.page.goto(f"{page.page.url.split('#')[0]}#/{place}/{name}")
    page.wait(
        f"document.querySelector('[data-screen={place}]') !== null"
        f" && window.rungwise?.screen?.name === {json.dumps(name)}"
    )


def opened_on(page: Watched, place: str, name: str, *, is_written: bool = True) -> None:
    """Go to a file's screen, and wait for its staves and, where it is written, for its fields."""
    go(page, place, name)
    page.page.wait_for_selector(".entry svg")
    if is_written:
        page.wait("window.rungwise.screen.words !== null")
