"""The practice page in the system's browsers, as learners use it."""

from __future__ import annotations

import json
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from renderer.order.tracks import expand
from renderer.reading.exercise import read_exercise
from renderer.sound.frames import frame_at
from tests.limits import HANG_S
from tests.page.browsers import ANEW, BOTH, Watched, needs_chromium, opened, quiet, served
from tests.page.pages import page_of, track_of
from tests.page.practising import practise, remembers
from tests.page.rendered import RENDERED, is_our_wav


@needs_chromium
def test_a_learner_plays_loops_changes_rung_and_pitch_and_climbs(page: Watched) -> None:
    assert page.page.inner_text("h1") == "Doublings over a wide step"
    assert page.page.locator(".line").count() == 3
    # The shortest line: rounds come soon.
    page.page.keyboard.press("ArrowDown")
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
def test_it_opens_from_disk_and_over_http_is_practised_with_and_says_and_asks_nothing(
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
            watched.page.keyboard.press("Escape")
            # Space on the button that starts is one press, and another one.
            watched.page.focus(".play")
            for is_playing in (True, False):
                watched.page.keyboard.press(" ")
                watched.page.wait_for_timeout(100)
                assert watched.run("rungwise.player.isPlaying") is is_playing
            practise(watched)
            watched.page.reload()
            remembers(watched)
            # Firefox asks a server for an icon whatever a page says, and is told there is none.
            watched.asked = [one for one in watched.asked if not one.endswith("favicon.ico")]
            quiet(watched, address)
            context.close()


PLACE = """(() => {
  const { left, right, top, bottom } = document.querySelector(".play").getBoundingClientRect();
  return [(left + right) / 2, (top + bottom) / 2];
})()"""
HEARD_WITHIN = """new Promise((done) => {
  const began = performance.now();
  const asks = () => {
    const { player } = rungwise;
    if (player.heardFrame > 4410 && player.context.state === "running") done(true);
    else if (performance.now() - began > 1000 * %d) done(false);
    else setTimeout(asks, 20);
  };
  asks();
})"""


@needs_chromium
@pytest.mark.parametrize("way", ["mouse", "key"])
def test_one_press_is_all_that_a_browser_needs_to_allow_the_sound(
    way: str, made: Path, chromium: Any
) -> None:
    """What a driver asks of a page counts as a press there, so nothing is asked before this one."""
    context = chromium.new_context(locale="en-GB")
    page = context.new_page()
    wire = context.new_cdp_session(page)

    def told(expression: str) -> Any:
        asked = {"expression": expression, "returnByValue": True, "awaitPromise": True}
        return wire.send("Runtime.evaluate", asked)["result"].get("value")

    wire.send("Page.enable")
    wire.send("Page.navigate", {"url": made.as_uri()})
    while not told("Boolean(globalThis.rungwise && document.querySelector('.line.chosen svg'))"):
        time.sleep(0.05)
    assert not told("navigator.userActivation.hasBeenActive")
    assert told("new AudioContext().state") == "suspended"
    if way == "mouse":
        x, y = told(PLACE)
        press = {"x": x, "y": y, "button": "left", "clickCount": 1}
        for kind in ("mousePressed", "mouseReleased"):
            wire.send("Input.dispatchMouseEvent", {"type": kind} | press)
    else:
        for kind in ("keyDown", "keyUp"):
            space = {"type": kind, "key": " ", "code": "Space", "text": " "}
            wire.send("Input.dispatchKeyEvent", space)
    assert told(HEARD_WITHIN % HANG_S)
    context.close()


TURN = """
title = "A turn"
meter = "3/4"
tempo = 66
[[lines]]
abc = "{g}A2 {gBd}B2 {g}c{d}B | {GdG}e4 {ag}a2 |]"
"""
HEARD = [
    ("practice", "A", "closed", "101.3"),
    ("pipe", "B flat", "closed", "88.8"),
    ("pipe", "478", "opened", "77.7"),
]
"""Chanter, pitch, form and tempo: three pitches, two chanters, odd tempos, opened and closed.

More of their combinations are held to our WAV outside of browsers, in `test_page_sound.py`."""

PITCHES = {"practice": ["A"], "pipe": ["B flat", "478"]}
"""Those of each chanter's page."""


@pytest.fixture(scope="module")
def tracks(tmp_path_factory: pytest.TempPathFactory) -> list[tuple[Path, Any, list[int]]]:
    """Of each of `HEARD` a page, the samples of our WAV, and the frames of its events."""
    folder = tmp_path_factory.mktemp("tracks")
    pages = {}
    for chanter, pitches in PITCHES.items():
        several = [part for one in pitches for part in ("--pitch", one)]
        name = f"{chanter} page"
        pages[chanter] = page_of(TURN, folder, "--chanter", chanter, *several, name=name)
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
    for (chanter, pitch, form, tempo), (path, ours, starts) in zip(HEARD, tracks, strict=True):
        watched = opened_pages.get(path) or opened(context, path.as_uri())
        opened_pages[path] = watched
        shape = "written" if form == "closed" else "opened"
        number = PITCHES[chanter].index(pitch)
        told = watched.run(RENDERED, [len(ours), 0, number, shape, tempo])
        is_our_wav(told, ours, starts, (name, pitch, form, tempo))
    context.close()


@needs_chromium
def test_the_log_outlives_the_page_and_goes_from_browser_to_browser(
    page: Watched, tmp_path: Path
) -> None:
    watched = page
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
    # Without its log the page is as in another browser.
    elsewhere = page
    elsewhere.run(ANEW)
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


@needs_chromium
def test_the_lit_note_is_the_one_that_sounds(page: Watched) -> None:
    """However late a frame comes on a busy machine: it shows the note that sounds by then.

    Here a movement opened out, on the staff that shows it so. How late frames come is printed by
    `tests/benchmarks/bench_page.py`.
    """
    notes = "document.querySelectorAll('.line.chosen .note').length"
    page.page.keyboard.press("ArrowDown")
    closed = page.run(notes)
    page.page.click("text='Practice'")
    page.page.get_by_label("How it is played").select_option("opened")
    assert page.run(notes) == 3 * closed == 9
    page.page.keyboard.press("Escape")
    page.run(
        """() => {
          window.seen = [];
          const show = rungwise.showHeard.bind(rungwise);
          rungwise.showHeard = (frame) => {
            show(frame);
            const lit = document.querySelector(".lit");
            window.seen.push([lit?.getAttribute("data-note") ?? "", frame]);
          };
        }"""
    )
    page.page.click(".play")
    page.wait("rungwise.player.heardFrame > 44100 * 9 && window.seen.length > 30")
    seen = page.run("window.seen")
    events = page.run(
        "rungwise.player.rendition.events.map(one => [one.start, one.end, one.id, one.tone])"
    )
    # Closed again, from the next round on.
    page.run("rungwise.change({ form: 'written' })")
    page.wait(f"{notes} === {closed}")
    page.wait("rungwise.heardTag().form === 'written'")
    page.wait("document.querySelector('.lit')")
    page.page.click(".play")
    for name, frame in seen:
        event = next((one for one in events if one[0] <= frame < one[1]), None)
        assert event is None or name == event[2], (name, event)


@needs_chromium
def test_every_note_and_gracenote_that_sounds_is_lit_opened_and_closed(page: Watched) -> None:
    shown = """(form) => {
      rungwise.takeLine(1, false);
      rungwise.change({ form });
      rungwise.play();
      rungwise.follow = () => {};
      rungwise.player.rendition.extendTo(44100 * 12);
      const { events } = rungwise.player.rendition;
      const round = events.filter((one) => one.section === 1);
      const lit = round.map((one) => {
        rungwise.showHeard((one.start + one.end) / 2);
        const found = [...document.querySelectorAll(".lit")];
        return [one.id, found.map((each) => [each.dataset.note, each.classList[0]])];
      });
      rungwise.halt();
      delete rungwise.follow;
      return lit;
    }"""
    for form, inner in (("opened", "note"), ("written", "gracenote")):
        kinds = {"S1": inner, "S2": inner, "G2": "gracenote", "S3": "note"}
        lit = page.run(shown, form)
        assert len(lit) == 12
        for name, found in lit:
            assert found == [[name, kinds[name.split("-")[-1]]]], form
