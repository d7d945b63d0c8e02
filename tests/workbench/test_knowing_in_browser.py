"""What is known of lines and books, in a browser: fingers, noises, ways in, short versions."""

from __future__ import annotations

import json
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from renderer.notation.pitch import Note
from renderer.notation.source_file import Source
from renderer.reading.exercise import exercise_and_book
from renderer.technique.coverage import coverage, possible_approaches
from renderer.technique.ornaments import load_book
from tests.page.browsers import Watched, needs_chromium
from tests.page.pages import invoked, track_of
from tests.workbench.benches import WIDE, Running
from tests.workbench.desks import SAVED, TEXT, desk, opened_on

pytestmark = needs_chromium


@pytest.fixture
def page(bench: Running, chromium: Any) -> Iterator[Watched]:
    (bench.folder / "wide.toml").write_text(WIDE)
    with desk(bench, chromium) as watched:
        opened_on(watched, "know", "wide.toml")
        watched.page.wait_for_selector("table.heat")
        yield watched


def test_a_press_on_an_empty_field_adds_the_line_and_undo_takes_it_back(
    page: Watched, bench: Running
) -> None:
    page.page.get_by_role(
        "button", name="Add a line: doubling on E, coming from low A", exact=True
    ).click()
    page.wait(f'{TEXT}.includes("doubling on E from low A")')
    page.wait(SAVED)
    exercise, book = exercise_and_book(
        Source("wide.toml", (bench.folder / "wide.toml").read_bytes())
    )
    (doublings,) = (one for one in coverage([exercise], book=book) if one.ornament == "doubling")
    assert doublings.counts[Note.LOW_A, Note.E] == 1
    page.page.wait_for_selector("summary:has-text('4 of 58 ways in')")
    page.page.get_by_role("button", name="Undo").click()
    page.wait(SAVED)
    assert (bench.folder / "wide.toml").read_text() == WIDE
    page.page.wait_for_selector("summary:has-text('3 of 58 ways in')")


def test_lines_that_are_added_practise_every_way_that_was_missing(page: Watched) -> None:
    """For every movement of the book, all ways to a note at once, as a table's foot adds them."""
    book = load_book()
    wanted = []
    for movement in book:
        ways = possible_approaches(movement.name, book)
        for note in sorted({on for _, on in ways}):
            befores = sorted(int(before) for before, on in ways if on is note)
            wanted.append([movement.name, befores, int(note)])
    lines = page.run(
        """async (wanted) => {
          const { lineOfWays } = await import("/workbench/pages/knowing.js");
          return wanted.map((one) => lineOfWays(...one));
        }""",
        wanted,
    )
    text = "".join(
        f'[[lines]]\nrun = "{one["run"]}"\nornament = "{one["ornament"]}"\non = "{one["on"]}"\n'
        for one in lines
    )
    exercise, known = exercise_and_book(Source("all.toml", text.encode()))
    found = {one.ornament: one for one in coverage([exercise], book=known)}
    lacking = {
        movement.name: found[movement.name].missing
        for movement in book
        if movement.name in found and found[movement.name].missing
    }
    assert lacking == {}
    assert len(found) > 30


NOISE_AND_ROUND_BEFORE = """() => {
  const { rendition } = window.rungwise.hearing.player;
  const { start, end, section } = rendition.events.find((one) => one.role === "crossing noise");
  const round = rendition.sections[section].frame - rendition.sections[section - 1].frame;
  return [0, round].map((less) => [...rendition.chanter(start - less, end - less)]);
}"""
TO_HEAR_IT = (
    "--line",
    "1",
    "--tempo",
    "40",
    "--show-crossing",
    "--count-in",
    "0",
    "--repeats",
    "1",
)


def best_likeness(sound: NDArray[np.float64], piece: NDArray[np.float64]) -> float:
    """Return how like a piece is to where it is most like a sound, 1 for equal."""
    windows = np.lib.stride_tricks.sliding_window_view(sound, len(piece))
    powers = np.sqrt(np.sum(windows**2, axis=1) * np.sum(piece**2))
    return float(np.max(windows @ piece / powers))


def test_a_crossing_noise_is_heard_slowly_in_every_second_round(
    page: Watched, tmp_path: Path
) -> None:
    page.wait("window.rungwise.hearing.player !== null")
    page.page.get_by_role("button", name="bar 2: low G lurks there").first.click()
    page.wait("window.rungwise.hearing.isPlaying")
    page.wait("window.rungwise.hearing.player.rendition.sections.length > 4")
    assert page.run("String(window.rungwise.hearing.choice.tempo.n)") == "40"
    heard = page.run(
        """window.rungwise.hearing.player.rendition.events
             .filter((one) => one.role === "crossing noise").map((one) => one.tone)"""
    )
    sections = page.run("window.rungwise.hearing.player.rendition.sections.map((s) => s.noises)")
    assert sections[:4] == [False, True, False, True]
    assert heard and set(heard) == {0}, "low G"
    with_it, without_it = (np.array(one) for one in page.run(NOISE_AND_ROUND_BEFORE))
    track = track_of(WIDE, tmp_path, *TO_HEAR_IT, "--mix", "chanter")[:, 0]
    events = json.loads(invoked("events", tmp_path / "track.toml", *TO_HEAR_IT, "--format", "json"))
    noise = next(one for one in events["events"] if one["role"] == "crossing noise")
    middle = 44_100 * (Fraction(noise["start"]) + Fraction(noise["length_ms"]) / 2_000)
    ours = track[round(middle) - 200 : round(middle) + 200]
    assert best_likeness(with_it, ours) > 0.95
    assert best_likeness(without_it, ours) < 0.8
    page.page.get_by_role("button", name="Play line 1").click()
    assert page.run("window.rungwise.hearing.choice.noises") is False
    assert page.run("String(window.rungwise.hearing.choice.tempo.n)") == "50"
    page.page.locator(".play").click()


def test_what_the_fingers_do_is_drawn_hole_by_hole(page: Watched) -> None:
    page.page.locator(".line.chosen .fingers summary").click()
    page.page.wait_for_selector(".line.chosen .stations")
    # B to D opens two holes of the right hand, then closes that of its little finger.
    way = page.page.locator(".ways > li", has_text="B to D").first
    holes = way.locator(".stations > li").evaluate_all(
        """(all) => all.map((one) => [...one.querySelectorAll("circle")]
             .map((hole) => hole.classList.contains("closed") ? "x" : "-").join(""))"""
    )
    assert holes == ["xxxxxx--", "xxxx----", "xxxx---x"]
    moved = way.locator(".stations > li").nth(1).locator("circle.moved").count()
    assert moved == 2


def test_lines_are_put_from_easy_to_hard_and_undone(page: Watched, bench: Running) -> None:
    page.page.get_by_role("button", name="Put the lines in this order").click()
    page.wait("window.rungwise.screen.fields.lines[0].heading === 'Written out'")
    page.wait(SAVED)
    text = (bench.folder / "wide.toml").read_text()
    assert text.index("# one beat each") > text.index("Written out"), "remarks go with their lines"
    page.page.get_by_role("button", name="Undo").click()
    page.wait(SAVED)
    assert (bench.folder / "wide.toml").read_text() == WIDE


def test_a_book_is_shortened_by_a_slider_in_place_or_as_a_copy(
    page: Watched, bench: Running
) -> None:
    slider = page.page.locator(".shorter input[type=range]")
    slider.fill("1")
    page.page.wait_for_selector(".chosen-lines h3:has-text('Left out')")
    assert "1 of 3 lines" in page.page.inner_text(".chosen-lines")
    assert page.page.locator(".line.left-out").count() == 2
    page.page.get_by_role("button", name="Keep it as a file of its own").click()
    page.page.wait_for_selector(".said a")
    assert (bench.folder / "wide (abridged).toml").exists()
    page.page.get_by_role("button", name="Take the other lines out").click()
    page.wait("window.rungwise.screen.fields.lines.length === 1")
    page.page.get_by_role("button", name="Undo").click()
    page.wait(SAVED)
    assert (bench.folder / "wide.toml").read_text() == WIDE


def test_a_tune_of_another_form_is_known_too(page: Watched, bench: Running) -> None:
    tune = "X:1\nT:Two\nM:2/4\nL:1/4\nK:HP\nA {gBd}B|c d|\ne f|e d|\n"
    (bench.folder / "two.abc").write_text(tune)
    opened_on(page, "know", "two.abc", is_written=False)
    page.page.wait_for_selector("table.heat")
    assert page.page.locator("table.heat button").count() == 0
    assert "adds a line" not in page.page.inner_text("table.heat caption")
    assert page.page.locator(".coverage summary").count() == 1
    assert "as short as it can be" in page.page.inner_text(".shorter")
    assert (bench.folder / "two.abc").read_text() == tune
