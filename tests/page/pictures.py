"""The practice page in pictures, for whoever changes it to look at.

`python -m tests.page.pictures FOLDER` writes it there at the sizes of telephones, tablets,
computers and projectors, in the light and in the dark, playing, opened out and with each panel, and
printed as PDF; `python -m tests.page.pictures` renews the four that README shows.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from tests.page.browsers import Watched, browsers, opened
from tests.page.node import MODULES
from tests.page.pages import WIDE, page_of

EXAMPLES = MODULES / "examples"
SIZES = ((360, 740), (768, 1024), (1280, 800), (1920, 1080))

# What is heard in the middle of a sounding of the first round, held there.
_HELD = """(wanted) => {
  rungwise.play();
  rungwise.follow = () => {};
  rungwise.player.rendition.extendTo(44100 * 30);
  const { events } = rungwise.player.rendition;
  const one = events.filter((each) => each.id.endsWith(wanted))[0];
  rungwise.showHeard((one.start + one.end) / 2);
}"""


def _shown(
    start: Any, page: Path, size: tuple[int, int], scheme: str, locale: str = "en-GB"
) -> Watched:
    width, height = size
    context = start("chromium").new_context(
        viewport={"width": width, "height": height},
        color_scheme=scheme,
        locale=locale,
        reduced_motion="reduce",
    )
    return opened(context, page.as_uri())


def _opened_out(watched: Watched) -> None:
    watched.run("rungwise.takeLine(1, false)")
    watched.run("rungwise.change({ form: 'opened' })")
    watched.run(_HELD, "N2-S2")


def _a_day(watched: Watched) -> None:
    watched.page.click("[aria-controls=panel-practice]")
    watched.page.check("input[value=session]")
    watched.run(_HELD, "B2-N2-S1")


def _faders(watched: Watched) -> None:
    watched.page.click("[aria-controls=panel-sound]")


README: dict[str, tuple[tuple[int, int], str, str, Callable[[Watched], Any]]] = {
    "computer": ((1280, 800), "light", "en-GB", lambda one: one.run(_HELD, "B2-N1-G2")),
    "projector": ((1920, 1080), "dark", "en-GB", _a_day),
    "telephone": ((360, 740), "light", "de-DE", _opened_out),
    "faders": ((360, 740), "dark", "en-GB", _faders),
}


def _taken(watched: Watched, path: Path) -> None:
    watched.page.wait_for_timeout(300)
    watched.page.screenshot(path=str(path))
    print(path)


def main() -> None:
    """Write what is asked for."""
    with TemporaryDirectory() as folder, browsers() as start:
        page = page_of(WIDE, Path(folder), "--pitch", "A", "--pitch", "B flat")
        if len(sys.argv) < 2:
            for name, (size, scheme, locale, does) in README.items():
                watched = _shown(start, page, size, scheme, locale)
                does(watched)
                _taken(watched, EXAMPLES / f"{name}.png")
                watched.page.context.close()
            return
        out = Path(sys.argv[1])
        out.mkdir(parents=True, exist_ok=True)
        for size in SIZES:
            for scheme in ("light", "dark"):
                name = f"{size[0]} {scheme}"
                watched = _shown(start, page, size, scheme, "de-DE" if size[0] == 360 else "en-GB")
                _taken(watched, out / f"{name} opens.png")
                _opened_out(watched)
                _taken(watched, out / f"{name} opened out.png")
                watched.run("rungwise.toggle()")
                for panel in ("practice", "sound", "log", "help"):
                    watched.page.click(f"[aria-controls=panel-{panel}]")
                    _taken(watched, out / f"{name} {panel}.png")
                watched.page.context.close()
        watched = _shown(start, page, (1280, 800), "light")
        watched.run("rungwise.log.add(rungwise.lineKey(0), '60', { rounds: 3, seconds: 40 })")
        watched.run("rungwise.showLog()")
        watched.page.pdf(path=str(out / "printed.pdf"), format="A4")
        watched.page.context.close()


if __name__ == "__main__":
    main()
