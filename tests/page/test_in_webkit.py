"""The practice page in WebKit, the browser of Apple's telephones, as Debian has it."""

from __future__ import annotations

from pathlib import Path

from renderer.order.tracks import expand
from renderer.reading.exercise import read_exercise
from renderer.sound.frames import frame_at
from tests.page.browsers import served
from tests.page.pages import WIDE, track_of
from tests.page.practising import practise, remembers
from tests.page.rendered import RENDERED, is_our_wav
from tests.page.webkit import needs_webkit, webkit

HEARD = [(2, 0, "written", "53.7", "A"), (1, 1, "opened", "71.9", "B flat")]
"""Line and pitch from 0, form, tempo, and the pitch's name."""


@needs_webkit
def test_webkit_plays_loops_climbs_and_keeps_the_log_from_disk_and_over_http(
    made: Path, tmp_path: Path
) -> None:
    """And what it renders of a line, closed and opened out, is our WAV."""
    with served(made.parent) as at, webkit() as browser:
        for address in (made.as_uri(), at(made.name)):
            browser.open(address)
            practise(browser)
            # Known again when the page is opened again.
            browser.open(address)
            remembers(browser)
        for line, pitch, form, tempo, name in HEARD:
            asked = ["--line", str(line + 1), "--tempo", tempo, "--repeats", "2"]
            inner = {"inner": "even"} if form == "opened" else {}
            options = [*asked, *(part for one in inner.values() for part in ("--inner", one))]
            folder = tmp_path / form
            folder.mkdir()
            ours = track_of(WIDE, folder, "--pitch", name, *options)
            exercise = read_exercise(str(folder / "track.toml"))
            timeline = expand(exercise, tempo, line=line + 1, repeats=2, **inner)
            starts = [frame_at(event.start, 44_100) for event in timeline]
            told = browser.work(RENDERED, [len(ours), line, pitch, form, tempo])
            is_our_wav(told, ours, starts, (form, tempo))
