"""One page for all tests of a worker: opening it costs most."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.page.browsers import ANEW, Watched, opened, quiet
from tests.page.pages import WIDE, page_of


@pytest.fixture(scope="session")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A page of three lines, four rungs and two pitches."""
    folder = tmp_path_factory.mktemp("page")
    return page_of(WIDE, folder, "--pitch", "A", "--pitch", "B flat")


@pytest.fixture(scope="session")
def desk(start: Callable[[str], Any], made: Path) -> Iterator[Watched]:
    """The page in Chromium, in English: opened once, for opening it makes tones."""
    context = start("chromium").new_context(
        viewport={"width": 1280, "height": 800}, locale="en-GB", reduced_motion="reduce"
    )
    yield opened(context, made.as_uri())
    context.close()


@pytest.fixture
def page(desk: Watched, made: Path) -> Iterator[Watched]:
    """That page as it opens; fails where it says or asks for anything."""
    desk.page.set_viewport_size({"width": 1280, "height": 800})
    desk.page.emulate_media(media="screen", reduced_motion="reduce")
    desk.page.select_option(".language", "en")
    desk.run(ANEW)
    yield desk
    quiet(desk, made.as_uri())
