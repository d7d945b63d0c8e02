"""Every screen of the workbench, one after another, as somebody comes to them.

    python -m tests.workbench.screens FOLDER

makes a picture of each at three widths, light and dark, to be looked at; with `--readme` the
pictures that README shows, where they belong.
"""

from __future__ import annotations

import argparse
import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from renderer.workbench.library_rows import shipped_data
from tests.page.browsers import Watched, browsers
from tests.workbench.benches import Running, running
from tests.workbench.desks import desk, go, opened_on

WIDTHS = {390: 844, 1024: 768, 1440: 900}
README = Path(__file__).parent.parent.parent / "README.md"
EXAMPLES = Path(__file__).parent.parent.parent / "renderer" / "workbench" / "examples"
FILE = "doublings.toml"
BOOK = "every-doubling.toml"
CLASS = "juniors.toml"
CLASS_TEXT = f"""title = "Larkmoor juniors"
exercises = ["{FILE}", {{ file = "{BOOK}", for = ["Ailsa"] }}]
gets = ["tracks", "sheet"]

[[learners]]
name = "Jamie"
pitch = "B flat"

[[learners]]
name = "Ailsa"
pitch = "A"
minutes = 20
"""

Go = Callable[[Watched], None]


def written() -> str:
    """The exercise that README shows."""
    found = re.search(r"```toml\n(.*?)```", README.read_text(), re.DOTALL)
    assert found is not None
    return found[1]


def fill(folder: Path) -> None:
    """Put an exercise of one's own, a book, a class and a chanter into a folder."""
    (folder / FILE).write_text(written())
    (folder / BOOK).write_bytes(shipped_data("every-doubling-from-low-g-to-f"))
    (folder / CLASS).write_text(CLASS_TEXT)
    (folder / "Band chanter.chanter.toml").write_text('name = "Band chanter"\nlow-a = 478.2\n')


def _library(page: Watched) -> None:
    page.page.goto(page.page.url.split("#")[0] + "#/")
    page.page.wait_for_selector("[data-screen=library] .example svg")
    page.wait("window.rungwise.screen.shipped?.length > 0")


def _known(page: Watched) -> None:
    page.wait("window.rungwise.screen.facts.length > 0")


def _writing(page: Watched) -> None:
    opened_on(page, "write", FILE)
    page.page.locator("header select").select_option("both")
    _known(page)
    page.page.locator(".entry").nth(0).locator(".opener").click()
    page.page.wait_for_selector(".note-staff")


def _about(page: Watched) -> None:
    opened_on(page, "write", FILE)
    page.page.locator("header select").select_option("fields")
    page.page.locator(".head .opener").click()
    for summary in page.page.locator(".head .more summary").all():
        summary.click()
    page.page.wait_for_selector(".more .field")


def _wrong(page: Watched) -> None:
    opened_on(page, "write", FILE)
    page.page.locator("header select").select_option("both")
    page.run(
        """() => {
          const { text } = window.rungwise.screen;
          text.replace(text.text.replace("low A, B, D", "low A, H, D"));
          void window.rungwise.screen.show();
        }"""
    )
    page.page.wait_for_selector(".entry .problem")


def _right(page: Watched) -> None:
    page.run("window.rungwise.screen.text.undo()")
    page.wait("window.rungwise.screen.isSettled")


def _fingers(page: Watched) -> None:
    opened_on(page, "write", FILE)
    page.page.locator("header select").select_option("fields")
    _known(page)
    page.page.locator(".line.chosen .fingers summary").click()
    page.page.wait_for_selector(".stations")


def _book(page: Watched) -> None:
    opened_on(page, "know", FILE)
    _known(page)
    page.page.wait_for_selector("table.heat")
    page.page.locator(".shorter input[type=range]").fill("1")
    page.page.wait_for_selector(".chosen-lines h3")


def _movements(page: Watched) -> None:
    opened_on(page, "write", FILE)
    page.page.locator("header select").select_option("fields")
    page.page.locator(".entry").nth(0).locator(".tools .opener").click()
    page.page.get_by_role("button", name=re.compile("Choose …|Wählen …")).click()
    page.page.wait_for_selector(".about .line svg")


def _sheet(page: Watched) -> None:
    opened_on(page, "write", FILE)
    page.page.get_by_role("button", name=re.compile("^(Sheet|Notenblatt)$")).click()
    page.page.wait_for_selector(".pages img")


def _versions(page: Watched) -> None:
    opened_on(page, "write", FILE)
    page.page.get_by_role("button", name=re.compile("^(Versions|Fassungen)$")).click()
    page.page.wait_for_selector("dialog[open] h2")


def _keys(page: Watched) -> None:
    _library(page)
    page.page.keyboard.press("?")
    page.page.wait_for_selector("dialog.keys")


def _tuning(page: Watched) -> None:
    page.page.goto(page.page.url.split("#")[0] + "#/tune")
    page.page.wait_for_selector("[data-screen=tune] section.sheet svg")


def _hand(page: Watched) -> None:
    go(page, "hand", CLASS)
    page.page.wait_for_selector(".people input")
    page.page.wait_for_selector(".dock .play:enabled")


SCREENS: dict[str, Go] = {
    "library": _library,
    "writing": _writing,
    "about": _about,
    "wrong": _wrong,
    "fingers": _fingers,
    "book": _book,
    "movements": _movements,
    "sheet": _sheet,
    "versions": _versions,
    "keys": _keys,
    "tuning": _tuning,
    "class": _hand,
}
"""What brings a page to each of them, by name."""


@contextmanager
def screen(page: Watched, name: str) -> Iterator[None]:
    """Show a screen, and leave it as it was found."""
    SCREENS[name](page)
    try:
        yield
    finally:
        if name == "wrong":
            _right(page)
        while page.page.locator("dialog[open]").count():
            page.page.keyboard.press("Escape")
            page.page.wait_for_timeout(50)


def _settled(page: Any) -> None:
    page.evaluate("document.fonts.ready.then(() => true)")
    page.wait_for_timeout(400)


def every_picture(bench: Running, chromium: Any, folder: Path) -> None:
    """Make a picture of every screen at every width, light and dark."""
    folder.mkdir(parents=True, exist_ok=True)
    with desk(bench, chromium, reduced_motion="reduce") as page:
        for name in SCREENS:
            with screen(page, name):
                for width, height in WIDTHS.items():
                    page.page.set_viewport_size({"width": width, "height": height})
                    for scheme in ("light", "dark"):
                        page.page.emulate_media(color_scheme=scheme)
                        _settled(page.page)
                        page.page.screenshot(path=folder / f"{name}-{width}-{scheme}.png")
            page.page.set_viewport_size({"width": 1440, "height": 900})
            page.page.emulate_media(color_scheme="light")


def readme_pictures(bench: Running, chromium: Any) -> None:
    """Make the pictures that README shows."""
    EXAMPLES.mkdir(exist_ok=True)
    shown = (
        ("writing", 1280, 800, "light"),
        ("book", 1280, 800, "dark"),
        ("class", 1280, 800, "light"),
        ("library", 390, 780, "light"),
    )
    for name, width, height, scheme in shown:
        told: dict[str, Any] = {
            "viewport": {"width": width, "height": height},
            "color_scheme": scheme,
        }
        with desk(bench, chromium, reduced_motion="reduce", **told) as page, screen(page, name):
            page.wait("document.querySelector('.dock .play:enabled') !== null")
            page.run("document.activeElement?.blur()")
            _settled(page.page)
            page.page.screenshot(path=EXAMPLES / f"{name}.png")


def main() -> None:
    """Make the pictures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path, nargs="?", help="Where the pictures go.")
    parser.add_argument("--readme", action="store_true", help="Make those of README.")
    told = parser.parse_args()
    with TemporaryDirectory() as temporary, browsers() as start:
        folder = Path(temporary) / "Larkmoor"
        folder.mkdir()
        fill(folder)
        with running(folder) as bench:
            if told.readme:
                readme_pictures(bench, start("chromium"))
            if told.folder:
                every_picture(bench, start("chromium"), told.folder)


if __name__ == "__main__":
    main()
