"""The practice page in the system's browsers, as learners use it."""

from __future__ import annotations

import base64
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from renderer.order.tracks import expand
from renderer.reading.exercise import read_exercise
from renderer.sound.frames import frame_at
from tests.page.browsers import BOTH, Watched, needs_chromium, opened, quiet, served
from tests.page.pages import difference_db, matched, page_of, track_of


@needs_chromium
def test_a_learner_plays_loops_changes_rung_and_pitch_and_climbs(page: Watched) -> None:
    assert page.page.inner_text("h1") == "Doublings over a wide step"
    assert page.page.locator(".line").count() == 3
    page.page.click(".play")
    page.wait("rungwise.player.heardFrame > 0 && document.querySelector('.lit')")
    assert page.page.inner_text(".play") == "Stop"
    # Another rung while it plays: from the next round on.
    page.page.click(".rungs button >> text='80'")
    page.wait("rungwise.heardTag()?.tempo.n === 80n")
    sections = page.run(
        "rungwise.player.rendition.sections.map(one => [one.kind, Number(one.tag.tempo.n)])"
    )
    assert sections[0] == ["clicks", 50]
    assert ["line", 50] in sections
    assert ["line", 80] in sections
    # Another pitch starts anew, at once.
    page.page.click("text='Sound'")
    page.page.select_option(".panel.sound select", "1")
    page.wait("rungwise.choice.bank.pitch.label === 'B flat' && rungwise.player.isPlaying")
    page.page.click(".play")
    assert page.page.inner_text(".play") == "Start"
    # Climbing: two rounds a rung, up to the last one.
    page.page.keyboard.press("1")
    page.page.click("text='Practice'")
    page.page.check("input[value=climb]")
    page.page.click(".play")
    page.run("rungwise.player.rendition.extendTo(44100 * 100)")
    rungs = page.run(
        "rungwise.player.rendition.sections.map(one => Number(one.tag.tempo.n)).slice(0, 10)"
    )
    assert rungs == [50, 50, 50, 60, 60, 70, 70, 80, 80, 80]
    page.page.click(".play")


@needs_chromium
def test_each_way_to_practise_gives_its_own_rounds(page: Watched) -> None:
    page.page.click("text='Practice'")

    def rounds(mode: str, seconds: int) -> Any:
        page.page.check(f"input[value={mode}]")
        page.page.click(".play")
        page.run(f"rungwise.player.rendition.extendTo(44100 * {seconds})")
        found = page.run(
            "rungwise.player.rendition.sections.map("
            "one => [one.kind, one.tag.lineIndex, one.tag.form, Number(one.tag.tempo.n)])"
        )
        page.page.click(".play")
        return found

    own = [0, "written", 50]
    assert rounds("echo", 60)[:5] == [
        ["clicks", *own],
        ["line", *own],
        ["turn", *own],
        ["line", *own],
        ["turn", *own],
    ]
    assert rounds("once", 60) == [["clicks", *own], ["line", *own]]
    forms = [one[2] for one in rounds("opening", 150)][1:]
    assert forms[:4] == ["parts 200", "parts 200", "parts 120", "parts 120"]
    assert forms[6:8] == ["written", "written"]
    # A day of the plan: blocks of rounds, each after a count-in, and rests between.
    day = rounds("session", 600)
    plan = page.run("rungwise.exercise.plan[0]")
    expected: list[list[Any]] = []
    for item in plan:
        if len(item) == 1:
            expected.append(["quiet"])
        else:
            line, tempo, repeats = item
            expected += [
                [kind, line, "written", int(tempo)] for kind in ["clicks"] + ["line"] * repeats
            ]
    assert len(day) > 10
    for ours, theirs in zip(day, expected, strict=False):
        assert ours[: len(theirs)] == theirs


@needs_chromium
def test_it_is_played_by_keys_alone(page: Watched) -> None:
    keys = page.page.keyboard
    keys.press("ArrowDown")
    assert page.run("rungwise.choice.lineIndex") == 1
    keys.press("ArrowRight")
    keys.press("ArrowRight")
    assert page.run("Number(rungwise.choice.tempo.n)") == 70
    keys.press("b")
    assert page.run("Number(rungwise.choice.tempo.n)") == 60
    keys.press("4")
    assert page.run("Number(rungwise.choice.tempo.n)") == 80
    keys.press(" ")
    page.wait("rungwise.player.eventAt(rungwise.player.heardFrame)?.bar === 0")
    keys.press("]")
    assert page.run("rungwise.loopedBars") == [1, 1]
    keys.press("Escape")
    assert page.run("rungwise.loopedBars") is None
    keys.press("c")
    assert "clean at 80" in page.page.inner_text(".said")
    keys.press(" ")
    assert not page.run("rungwise.player.isPlaying")


@pytest.mark.parametrize("name", BOTH)
def test_it_opens_from_disk_and_over_http_without_a_word_or_a_request(
    name: str, made: Path, start: Callable[[str], Any]
) -> None:
    with served(made.parent) as at:
        for address in (made.as_uri(), at(made.name)):
            context = start(name).new_context(locale="de-DE")
            watched = opened(context, address)
            assert watched.page.inner_text(".play") == "Start"
            assert watched.page.inner_text(".line.chosen h2").strip() == "Zeile 1 · Low A to E"
            watched.page.click("text='Übungsbuch'")
            assert watched.run("document.documentElement.lang") == "de"
            # Firefox asks a server for an icon whatever a page says, and is told there is none.
            watched.asked = [one for one in watched.asked if not one.endswith("favicon.ico")]
            quiet(watched, address)
            context.close()


TURN = """
title = "A turn"
meter = "3/4"
tempo = 66
[[lines]]
abc = "{g}A4 {d}A2 | {gBd}B2{g}c2{d}B2 | {GdG}e4 {ag}a2 |]"
"""
HEARD = [
    ("practice", "A", "closed", "66"),
    ("practice", "B flat", "opened", "53.7"),
    ("practice", "478", "closed", "101.3"),
    ("pipe", "A", "opened", "71.9"),
    ("pipe", "478", "closed", "88.8"),
]
"""Chanter, pitch, form and tempo: three pitches, two chanters, odd tempos, opened and closed."""

PITCHES = ["A", "B flat", "478"]

RENDERED = """async ([frames, pitch, form, tempo]) => {
  const { player, choice } = rungwise;
  rungwise.tune(pitch, 0);
  rungwise.change({ form, mode: "loop" });
  rungwise.typeTempo(tempo);
  const context = new OfflineAudioContext(2, frames + 4096, 44100);
  player.context = context;
  rungwise.play();
  player.layTo(frames + 44100);
  const heard = await context.startRendering();
  const starts = player.rendition.events.map((one) => one.start);
  const begin = player._origin;
  player.stop();
  player.context = null;
  let text = "";
  for (const side of [0, 1]) {
    const part = new Uint8Array(heard.getChannelData(side).slice(begin, begin + frames).buffer);
    for (let n = 0; n < part.length; n += 8192) {
      text += String.fromCharCode(...part.subarray(n, n + 8192));
    }
  }
  return [starts, btoa(text)];
}"""


@pytest.fixture(scope="module")
def tracks(tmp_path_factory: pytest.TempPathFactory) -> list[tuple[Path, Any, list[int]]]:
    """Of each of `HEARD` a page, the samples of our WAV, and the frames of its events."""
    folder = tmp_path_factory.mktemp("tracks")
    several = [part for one in PITCHES for part in ("--pitch", one)]
    pages = {
        one: page_of(TURN, folder, "--chanter", one, *several, name=f"{one} page")
        for one in ("practice", "pipe")
    }
    found = []
    for chanter, pitch, form, tempo in HEARD:
        own = folder / f"{chanter} {pitch} {tempo}"
        own.mkdir()
        inner = {"inner": "even"} if form == "opened" else {}
        options = [part for key, value in inner.items() for part in (f"--{key}", value)]
        asked = ("--chanter", chanter, "--pitch", pitch, "--tempo", tempo, "--repeats", "2")
        ours = track_of(TURN, own, *asked, *options)
        timeline = expand(read_exercise(str(own / "track.toml")), tempo, repeats=2, **inner)
        starts = [frame_at(event.start, 44_100) for event in timeline]
        found.append((pages[chanter], ours, starts))
    return found


@pytest.mark.parametrize("name", BOTH)
def test_what_a_browser_renders_of_the_page_is_our_wav(
    name: str, tracks: list[tuple[Path, Any, list[int]]], start: Callable[[str], Any]
) -> None:
    """The player's own pieces, put together by an offline context: two rounds of a line."""
    context = start(name).new_context()
    opened_pages: dict[Path, Watched] = {}
    for (_, pitch, form, tempo), (path, ours, starts) in zip(HEARD, tracks, strict=True):
        watched = opened_pages.get(path) or opened(context, path.as_uri())
        opened_pages[path] = watched
        shape = "written" if form == "closed" else "opened"
        asked = [len(ours), PITCHES.index(pitch), shape, tempo]
        told, text = watched.run(RENDERED, asked)
        # Every onset at its frame; those of the last round's end belong to the next one.
        assert told[: len(starts)] == starts
        heard = np.frombuffer(base64.b64decode(text), "<f4").reshape(2, -1).T.astype(np.float64)
        same = slice(0, len(ours) - 1_764)
        theirs, louder_db = matched(heard[same], ours[same])
        assert abs(louder_db) < 1.5
        assert difference_db(theirs, ours[same]) < -60, (pitch, form, tempo)
        # No seam between pieces: nowhere is a tenth of a second worse by much.
        for first in range(22_050, len(ours) - 6_174, 4_410):
            piece = slice(first, first + 4_410)
            assert difference_db(theirs[piece], ours[piece]) < -50, first
    context.close()


@needs_chromium
def test_the_log_outlives_the_page_and_goes_from_browser_to_browser(
    chromium: Any, made: Path, tmp_path: Path
) -> None:
    context = chromium.new_context(locale="en-GB", accept_downloads=True)
    watched = opened(context, made.as_uri())
    watched.page.keyboard.press("4")
    watched.page.keyboard.press("c")
    watched.run("rungwise.log.add(rungwise.lineKey(1), '60', { rounds: 3, seconds: 40 })")
    watched.page.reload()
    watched.page.wait_for_selector(".line.chosen svg")
    watched.page.click("text='Log'")
    table = watched.page.inner_text(".panel.log table")
    assert "1 Low A to E" in table
    assert "80" in table
    assert "2 Grips" in table
    with watched.page.expect_download() as waiting:
        watched.page.click("text='Save the log as a file'")
    saved = tmp_path / "log.json"
    waiting.value.save_as(saved)
    kept = json.loads(saved.read_text())
    assert {(one["tempo"], one["rounds"], one["clean"]) for one in kept["entries"]} == {
        ("80", 0, 1),
        ("60", 3, 0),
    }
    other = chromium.new_context(locale="en-GB")
    elsewhere = opened(other, made.as_uri())
    elsewhere.page.click("text='Log'")
    assert "Nothing yet" in elsewhere.page.inner_text(".panel.log")
    damaged = tmp_path / "damaged.json"
    damaged.write_text(saved.read_text()[:-20])
    elsewhere.page.set_input_files("input[type=file]", damaged)
    elsewhere.wait("document.querySelector('.said').textContent.includes('no practice log')")
    for _ in range(2):
        elsewhere.page.set_input_files("input[type=file]", saved)
        elsewhere.wait("document.querySelector('.said').textContent.includes('was added')")
    # Twice the same log is that log.
    assert elsewhere.run("rungwise.log.of(rungwise.lineKey(1)).rounds") == 3
    context.close()
    other.close()


@needs_chromium
def test_the_lit_note_is_the_one_that_sounds(page: Watched) -> None:
    """However late a frame comes on a busy machine: it shows the note that sounds by then.

    How late frames come is printed by `tests/benchmarks/bench_page.py`.
    """
    page.run(
        """() => {
          window.seen = [];
          const show = rungwise.showHeard.bind(rungwise);
          rungwise.showHeard = (frame) => {
            show(frame);
            const lit = document.querySelector(".lit")?.getAttribute("data-note") ?? "";
            window.seen.push([lit, frame]);
          };
        }"""
    )
    page.page.click(".play")
    page.wait("rungwise.player.heardFrame > 44100 * 12")
    seen = page.run("window.seen")
    events = page.run(
        "rungwise.player.rendition.events.map(one => [one.start, one.end, one.id, one.tone])"
    )
    page.page.click(".play")
    assert len(seen) > 30
    lit = set()
    for name, frame in seen:
        event = next((one for one in events if one[0] <= frame < one[1]), None)
        if event is None:
            continue
        assert name == event[2], (name, event)
        lit.add(name)
    assert len(lit) > 8
