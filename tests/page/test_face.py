"""The practice page as learners see, touch and hear of it: sizes, hands, keys, eyes, words, log."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pypdf

from tests.page.browsers import (
    ANEW,
    AXE,
    Watched,
    needs_axe,
    needs_chromium,
    opened,
    quiet,
    served,
)
from tests.page.node import MODULES
from tests.page.pages import page_of

SIZES = [(320, 568), (360, 740), (844, 390), (640, 400), (768, 1024), (1280, 800), (1920, 1080)]
"""Small and usual telephones, one on its side, a window at 200 %, a tablet, a desk, a projector."""


DRAWN = """() => new Promise((done) => {
  requestAnimationFrame(() => requestAnimationFrame(done));
})"""
"""A script that comes back when all that was changed is drawn, and told of its size."""


def play_on(watched: Watched, seconds: int) -> None:
    """Start, and lay out what comes."""
    watched.page.click(".play")
    watched.run(f"rungwise.player.rendition.extendTo(44100 * {seconds})")


def stop(watched: Watched) -> None:
    watched.page.click(".play")
    assert not watched.run("rungwise.player.isPlaying")


# --- sizes -----------------------------------------------------------------------------------


@needs_chromium
def test_at_every_size_the_music_that_sounds_is_seen_over_the_controls(page: Watched) -> None:
    """In German, whose words are longer."""
    watched = page
    for width, height in SIZES:
        where = (width, height)
        watched.page.set_viewport_size({"width": width, "height": height})
        watched.run(ANEW)
        watched.page.select_option(".language", "de")
        play_on(watched, 20)
        watched.run("() => { rungwise.follow = () => {} }")
        frame = watched.run(
            "rungwise.player.rendition.clicks.find(one => one.bar === 3 && one.beat === 2).frame"
        )
        # Of the line's staves the last one is the lowest.
        watched.run(DRAWN)
        watched.run(f"rungwise.showHeard({frame})")
        watched.run(DRAWN)
        box, dock = watched.run(
            """() => [document.querySelector(".here"), rungwise.dockElement].map((one) => {
              const { top, bottom, left, right } = one.getBoundingClientRect();
              return { top, bottom, left, right };
            })"""
        )
        assert box["top"] >= 0, where
        assert box["bottom"] <= dock["top"], where
        assert watched.run("document.documentElement.scrollWidth") <= width, where
        assert dock["bottom"] <= height + 0.5, where
        assert dock["bottom"] - dock["top"] <= 0.45 * height, where
        # Every control lies within the window, large enough for a finger.
        for left, right, tall in watched.run(
            """[...document.querySelectorAll(".always button")]
              .filter((one) => !one.closest(".rungs"))
              .map((one) => one.getBoundingClientRect())
              .map((one) => [one.left, one.right, one.height])"""
        ):
            assert left >= 0, where
            assert right <= width, where
            assert tall >= 36, where


_RUNGS = """(rungs) => {
  rungwise.exercise.rungs = rungs;
  rungwise.exercise.rung_labels = rungs;
  rungwise.takeExercise(0);
}"""


@needs_chromium
def test_many_rungs_stand_beside_the_button_that_starts_and_the_chosen_one_is_seen(
    page: Watched,
) -> None:
    usual = page.run("rungwise.exercise.rungs")
    for width, height in [(360, 740), (768, 1024), (844, 390), (1280, 800)]:
        page.page.set_viewport_size({"width": width, "height": height})
        page.run(_RUNGS, [str(40 + 5 * n) for n in range(13)])
        page.run("rungwise.takeRung(rungwise.choice.rungs.at(-1))")
        starts, first, row, chosen = page.run(
            """[".play", ".rungs button", ".rungs", ".rungs [aria-pressed=true]"]
              .map((name) => document.querySelector(name).getBoundingClientRect())"""
        )
        where = (width, height)
        assert starts["top"] <= (first["top"] + first["bottom"]) / 2 <= starts["bottom"], where
        assert row["left"] - 1 <= chosen["left"], where
        assert chosen["right"] <= row["right"] + 1, where
        assert row["right"] <= width, where
    page.run(_RUNGS, usual)


@needs_chromium
def test_the_log_is_read_on_a_telephone_without_moving_it_sideways(page: Watched) -> None:
    page.page.set_viewport_size({"width": 360, "height": 740})
    for language in ("en", "de"):
        page.page.select_option(".language", language)
        for ways in ("[]", "['opened']", "['3-4']"):
            page.run(
                f"rungwise.log.add(rungwise.lineKey(0, {ways}), '60',"
                " { rounds: 120, seconds: 3000, clean: 1 })"
            )
        page.run("rungwise.showLog()")
        page.page.click("[aria-controls=panel-log]")
        wide, room = page.run(
            "(({ scrollWidth, clientWidth }) => [scrollWidth, clientWidth])"
            "(document.querySelector('.panel.log .scroll'))"
        )
        assert wide <= room, language
        # Nor is a name broken into a column of words.
        assert page.run("document.querySelector('tbody th').getBoundingClientRect().width") >= 100


@needs_chromium
def test_panels_are_reached_to_their_end_on_a_telephone_on_its_side(page: Watched) -> None:
    watched = page
    watched.page.set_viewport_size({"width": 640, "height": 360})
    watched.page.select_option(".language", "de")
    for panel in ("practice", "sound", "log", "help"):
        watched.page.click(f"[aria-controls=panel-{panel}]")
        last = watched.page.locator(f"#panel-{panel} > * >> nth=-1")
        last.scroll_into_view_if_needed()
        assert watched.run(
            f"document.querySelector('#panel-{panel}').lastElementChild"
            ".getBoundingClientRect().bottom <= innerHeight + 1"
        )
    # What is started there is seen: music first.
    watched.page.keyboard.press(" ")
    assert watched.page.locator(".panel:visible").count() == 0


@needs_chromium
def test_nothing_moves_for_whoever_asks_for_less_of_it(page: Watched) -> None:
    for motion, seconds, scrolling in (("no-preference", 0.09, "smooth"), ("reduce", 0, "auto")):
        page.page.emulate_media(reduced_motion=motion)
        assert page.run(
            "[parseFloat(getComputedStyle(document.querySelector('.bar-box')).transitionDuration),"
            " getComputedStyle(document.documentElement).scrollBehavior]"
        ) == [seconds, scrolling]


# --- hands -----------------------------------------------------------------------------------


def middle(watched: Watched, bar: int) -> tuple[float, float]:
    """The middle of a bar of the chosen line on the screen."""
    x, y = watched.run(
        f"""(() => {{
          const found = document.querySelector('.line.chosen [data-bar="{bar}"]');
          const box = found.getBoundingClientRect();
          return [(box.left + box.right) / 2, (box.top + box.bottom) / 2];
        }})()"""
    )
    return x, y


@needs_chromium
def test_a_bar_is_tapped_to_start_there_and_bars_are_drawn_over_to_loop_them(page: Watched) -> None:
    mouse = page.page.mouse
    mouse.click(*middle(page, 3))
    sections = "rungwise.player.rendition.sections.map(one => [one.kind, one.from.n > 0n])"
    page.run("rungwise.player.rendition.extendTo(44100 * 20)")
    assert page.run(sections)[:3] == [["clicks", True], ["line", True], ["line", False]]
    stop(page)
    mouse.move(*middle(page, 2))
    mouse.down()
    mouse.move(*middle(page, 3), steps=4)
    # What would be looped is shown before it is let go of.
    assert page.run("[...document.querySelectorAll('.looped')].map(one => one.dataset.bar)") == [
        "2",
        "3",
    ]
    mouse.up()
    assert page.run("rungwise.loopedBars") == [2, 3]
    assert page.page.inner_text(".group button") == "Bars 2 to 3"
    # Let go of outside of the staff, it is let go of all the same.
    mouse.move(*middle(page, 4))
    mouse.down()
    mouse.move(middle(page, 2)[0], 700, steps=4)
    mouse.up()
    mouse.move(*middle(page, 1), steps=3)
    assert page.run("[...document.querySelectorAll('.looped')].length") == 1
    assert page.run("rungwise.loopedBars") == [4, 4]
    page.page.click(".group button")
    assert page.run("rungwise.loopedBars") is None


@needs_chromium
def test_a_finger_does_what_a_mouse_does(chromium: Any, made: Path) -> None:
    context = chromium.new_context(
        viewport={"width": 390, "height": 800}, has_touch=True, is_mobile=True, locale="en-GB"
    )
    watched = opened(context, made.as_uri())
    watched.page.touchscreen.tap(*middle(watched, 2))
    watched.wait("rungwise.player.isPlaying")
    assert watched.run("rungwise._startedBar") == 2
    stop(watched)
    finger = context.new_cdp_session(watched.page)

    def touch(kind: str, *places: tuple[float, float]) -> None:
        points = [{"x": x, "y": y} for x, y in places]
        finger.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})

    (x, y), (to, _) = middle(watched, 1), middle(watched, 2)
    touch("touchStart", (x, y))
    for step in range(1, 6):
        touch("touchMove", (x + (to - x) * step / 5, y))
    touch("touchEnd")
    watched.wait("rungwise.loopedBars?.join() === '1,2'")
    # Bars of two staves: by the lists, for a finger that moves down scrolls.
    watched.page.click("[aria-controls=panel-practice]")
    watched.page.get_by_label("to bar").select_option("3")
    assert watched.run("rungwise.loopedBars") == [1, 3]
    watched.page.get_by_label("to bar").select_option("4")
    assert watched.run("rungwise.loopedBars") is None
    context.close()


@needs_chromium
def test_all_of_it_is_done_by_keys(page: Watched) -> None:
    keys = page.page.keyboard
    keys.press("Shift+ArrowRight")
    assert page.run("rungwise._startedBar") == 2
    keys.press(" ")
    keys.press("Shift+ArrowLeft")
    assert page.run("rungwise._startedBar") == 1
    keys.press(" ")
    keys.press(".")
    keys.press(".")
    assert page.run("[rungwise.loopsNote, rungwise._looped.bar, rungwise._looped.item]") == [
        True,
        1,
        2,
    ]
    keys.press(",")
    assert page.run("rungwise._looped.item") == 1
    keys.press("Escape")
    keys.press(" ")
    # Space after a click starts; on a button that was reached by Tab it presses that button.
    page.page.click(".rungs button >> nth=1")
    keys.press(" ")
    assert page.run("rungwise.player.isPlaying")
    keys.press(" ")
    keys.press("Tab")
    keys.press(" ")
    assert not page.run("rungwise.player.isPlaying")
    assert page.run("Number(rungwise.choice.tempo.n)") == 70
    # What was pressed keeps the focus.
    assert page.run("document.activeElement.textContent") == "70"
    # A way to practise is chosen, and the next Space starts.
    page.page.click("[aria-controls=panel-practice]")
    page.page.check("input[value=climb]")
    keys.press("1")
    keys.press(" ")
    page.run("rungwise.player.rendition.extendTo(44100 * 60)")
    section = "rungwise.player.rendition.sections"
    frame = page.run(f"{section}.find(one => Number(one.tag.tempo.n) === 70).frame")
    page.run(f"rungwise.follow = () => {{}}; rungwise.showHeard({frame} + 9)")
    page.run(
        f"() => {{ rungwise.heardTag = () => rungwise.player.sectionAt({frame} + 9)?.tag ?? null }}"
    )
    keys.press("b")
    assert page.run("Number(rungwise.choice.tempo.n)") == 60
    keys.press("Escape")
    assert page.page.locator(".panel:visible").count() == 0
    assert page.run("document.activeElement.textContent") == "Practice"


# --- the device ------------------------------------------------------------------------------

_HANDLERS = """
window.handlers = {};
const own = MediaSession.prototype.setActionHandler;
MediaSession.prototype.setActionHandler = function (action, does) {
  window.handlers[action] = does;
  own.call(this, action, does);
};
"""


@needs_chromium
def test_media_keys_start_stop_and_change_the_rung_and_the_screen_stays_on(
    chromium: Any, made: Path
) -> None:
    """Or, where a browser has no lock for the screen, the page says what else keeps it on."""
    context = chromium.new_context(locale="en-GB")
    context.add_init_script(_HANDLERS)
    with served(made.parent) as at:
        watched = opened(context, at(made.name))
        change_by_media_keys(watched)
        quiet(watched, at(made.name))
        keep_the_screen_on(watched)
        watched.page.close()
        plain = opened(context, at(made.name).replace("127.0.0.1", "larkmoor.test"))
        assert not plain.run("isSecureContext")
        plain.page.click(".play")
        assert "longer time in the settings" in plain.page.inner_text("[role=status]")
        plain.wait("rungwise.player.heardFrame > 0")
    context.close()


def change_by_media_keys(watched: Watched) -> None:
    watched.run("handlers.play()")
    told = "[navigator.mediaSession.playbackState, navigator.mediaSession.metadata.title]"
    assert watched.run(told) == ["playing", "Line 1 · 50"]
    # Devices ask for a file that plays.
    watched.wait("rungwise.media._silence.paused === false")
    assert watched.run("navigator.mediaSession.metadata.album") == "Doublings over a wide step"
    watched.run("handlers.nexttrack()")
    assert watched.run("Number(rungwise.choice.tempo.n)") == 60
    watched.run("handlers.previoustrack()")
    assert watched.run("Number(rungwise.choice.tempo.n)") == 50
    watched.run("handlers.pause()")
    assert watched.run(told) == ["paused", "Line 1 · 50"]
    assert watched.run("rungwise.media._silence.paused")
    assert not watched.run("rungwise.player.isPlaying")


def keep_the_screen_on(watched: Watched) -> None:
    watched.page.click(".play")
    watched.wait("rungwise.awake._lock && !rungwise.awake._lock.released")
    watched.run("window.lock = rungwise.awake._lock")
    stop(watched)
    watched.wait("lock.released")
    # Begun and ended at once, none is left behind.
    watched.run("rungwise.toggle(); rungwise.toggle()")
    watched.page.wait_for_timeout(200)
    assert watched.run("rungwise.awake._lock") is None


# --- practising ------------------------------------------------------------------------------


@needs_chromium
def test_in_every_second_round_one_bar_of_clicks_is_left_out(page: Watched) -> None:
    page.page.click("[aria-controls=panel-sound]")
    page.page.check("text=Leave out a bar")
    play_on(page, 70)
    rounds = page.run(
        """(() => {
          const { sections, clicks } = rungwise.player.rendition;
          return sections.slice(1, 6).map((_, n) => {
            const own = clicks.filter((one) => one.section === n + 1);
            const heard = (bar) => own.filter((one) => one.bar === bar && one.heard).length;
            return [0, 1, 2, 3].map(heard);
          });
        })()"""
    )
    assert rounds[:4] == [[3, 3, 3, 3], [0, 3, 3, 3], [3, 3, 3, 3], [3, 0, 3, 3]]
    # Left out is silent, and what is around it is not.
    powers = page.run(
        """(() => {
          const { rendition, sound } = rungwise.player;
          const section = rendition.sections[2];
          const bar = (section.endFrame - section.frame) / 4;
          return [0, 1].map((n) => {
            const from = Math.round(section.frame + n * bar) + sound.rate / 10;
            const end = Math.round(from + 0.9 * bar);
            const samples = rendition.metronome(from, end, { clicks: 1, rolls: 1 });
            return samples.reduce((sum, one) => sum + one * one, 0);
          });
        })()"""
    )
    stop(page)
    assert powers[0] == 0
    assert powers[1] > 0.01


@needs_chromium
def test_the_log_counts_what_was_played_and_nothing_else(page: Watched) -> None:
    def log() -> Any:
        return page.run(
            "rungwise.log.entries.map(one => [one.line.split(' / ').slice(1).join(' / '),"
            " one.tempo, one.rounds, one.clean])"
        )

    # A round that is broken off is none.
    play_on(page, 60)
    first = page.run("rungwise.player.rendition.sections[1].endFrame")
    page.run(f"rungwise.count({first} - 1)")
    stop(page)
    assert log() == []
    # One that is over is one, and one that began in the middle of the line is not.
    page.page.mouse.click(*middle(page, 3))
    page.run("rungwise.player.rendition.extendTo(44100 * 60)")
    ends = page.run("rungwise.player.rendition.sections.map(one => one.endFrame)")
    page.run(f"rungwise.count({ends[2]})")
    stop(page)
    assert log() == [["1", "50", 1, 0]]
    # Some bars of a line, or the line opened, are not the line.
    page.run("rungwise.loopBars(1, 2)")
    play_on(page, 60)
    ends = page.run("rungwise.player.rendition.sections.map(one => one.endFrame)")
    page.run(f"rungwise.count({ends[3]})")
    page.page.keyboard.press("c")
    stop(page)
    assert log()[1:] == [["1 / 1-2", "50", 3, 1]]
    page.run("rungwise.loopWhole()")
    # A climb that was stopped on a rung was clean on that rung.
    page.page.click("[aria-controls=panel-practice]")
    page.page.check("input[value=climb]")
    play_on(page, 60)
    frame = page.run(
        "rungwise.player.rendition.sections.find(one => Number(one.tag.tempo.n) === 60).frame"
    )
    page.run(
        f"() => {{ rungwise.heardTag = () => rungwise.player.sectionAt({frame} + 9)?.tag ?? null }}"
    )
    page.page.keyboard.press(" ")
    page.page.keyboard.press("c")
    assert ["1", "60", 0, 1] in log()
    assert page.page.inner_text("[role=status]") == "Line 1 clean at 60, by your own word."
    page.page.click("[aria-controls=panel-log]")
    table = page.page.inner_text(".panel.log table")
    assert "1 Low A to E\t1\t1\t50\t60" in table
    assert "1 Low A to E, Bars 1 to 2\t1\t3\t50\t50" in table


@needs_chromium
def test_a_round_that_is_played_to_its_end_is_counted_though_nothing_follows(
    page: Watched,
) -> None:
    page.page.keyboard.press("ArrowDown")
    page.page.keyboard.press("4")
    page.page.click("[aria-controls=panel-practice]")
    page.page.check("input[value=once]")
    page.page.click(".play")
    page.wait("!rungwise.player.isPlaying")
    assert page.run("rungwise.log.of(rungwise.lineKey(1))") == {
        "rounds": 1,
        "days": 1,
        "fastest": 80,
        "clean": 0,
    }


@needs_chromium
def test_a_day_of_the_plan_says_what_it_holds_and_the_next_day_is_due_tomorrow(
    page: Watched,
) -> None:
    page.page.click("[aria-controls=panel-practice]")
    assert not page.page.is_visible(".day")
    page.page.check("input[value=session]")
    plan = page.run("rungwise.exercise.plan[0]")
    rows = page.page.locator(".day li")
    assert rows.count() == len(plan)
    for row, item in zip(rows.all_inner_texts(), plan, strict=True):
        if len(item) == 1:
            assert "Rest your hands" in row
        else:
            number, tempo, rounds = item[0] + 1, item[1], item[2]
            assert row.startswith(f"Line {number} at {tempo}, {rounds} rounds, "), row
    shown = re.search(r"(\d+):(\d\d) minutes in all", page.page.inner_text(".day"))
    assert shown is not None
    # As long as it says, laid out to its end.
    page.page.click(".play")
    page.run("rungwise.player.rendition.extendTo(44100 * 3600)")
    lasts = page.run("rungwise.player.rendition.sections.at(-1).endFrame / 44100")
    assert abs(lasts - 60 * int(shown[1]) - int(shown[2])) <= 1
    page.wait("document.querySelector('.day [aria-current]')")
    stop(page)
    # Gone on with from a block.
    block = next(at for at, item in enumerate(plan) if at and len(item) > 1)
    rows.nth(block).locator("button").click()
    assert page.run("rungwise.player.rendition.sections[0].tag.block") == block
    # Gone through, the next day is due, though not today.
    page.run("rungwise.player.stop(); rungwise.ended()")
    assert page.run("rungwise.dayDue()") == 0
    key = page.run("'rungwise ' + rungwise.dayKey()")
    known = json.loads(page.run(f"localStorage.getItem({key!r})"))
    assert known["day"] == 0
    page.run(f"localStorage.setItem({key!r}, JSON.stringify({{ day: 0, on: '2026-01-01' }}))")
    page.page.reload()
    page.page.wait_for_selector(".line.chosen svg")
    assert page.run("rungwise.day") == 1


@needs_chromium
def test_a_day_keeps_its_place_until_something_else_is_chosen(page: Watched) -> None:
    begun = "rungwise.player._origin"
    mode = "rungwise.choice.mode"
    first = "rungwise.player.rendition.sections[0].tag"

    def a_day() -> None:
        page.page.check("input[value=session]")
        assert page.run(f"[{mode}, rungwise.loopedBars]") == ["session", None]
        if not page.run("rungwise.player.isPlaying"):
            page.page.click(".play")

    page.page.click("[aria-controls=panel-practice]")
    a_day()
    plan = page.run("rungwise.exercise.plan[0]")
    block = next(at for at, item in enumerate(plan) if at and len(item) > 1)
    page.run("rungwise.player.rendition.extendTo(44100 * 1200)")
    page.run(
        f"""() => {{
          const {{ sections }} = rungwise.player.rendition;
          const heard = sections.find((one) => one.tag.block === {block} && one.kind === "line");
          rungwise.follow = () => {{}};
          rungwise.showHeard(heard.frame + 9);
          rungwise.heardTag = () => heard.tag;
        }}"""
    )
    # Another pitch starts anew, in the same block; what the metronome marks does not even that.
    page.run("rungwise.tune(0, 5)")
    assert page.run(f"[{mode}, {first}.block]") == ["session", block]
    page.run("delete rungwise.heardTag")
    before = page.run(begun)
    page.run("rungwise.change({ subdivide: true })")
    page.run("rungwise.change({ subdivide: false })")
    assert page.run(f"[{mode}, {begun}, {first}.block]") == ["session", before, block]
    # A rung of one's own, a bar, some bars, another line: from there on one is alone.
    page.page.keyboard.press("Escape")
    page.page.keyboard.press("3")
    line = plan[block][0]
    told = f"[{mode}, {first}.block, {first}.lineIndex, Number({first}.tempo.n)]"
    assert page.run(told) == ["loop", -1, line, 70]
    page.page.click("[aria-controls=panel-practice]")
    a_day()
    page.run("rungwise.loopBars(1, 1)")
    assert page.run(f"[{mode}, {first}.part]") == ["loop", "1"]
    a_day()
    page.run("rungwise.startAtBar(1)")
    assert page.run(f"[{mode}, {first}.block]") == ["loop", -1]
    a_day()
    page.page.click(".line h2 button >> nth=2")
    assert page.run(f"[{mode}, rungwise.player.isPlaying]") == ["loop", False]


# --- eyes, ears, words -----------------------------------------------------------------------


@needs_chromium
def test_a_screen_reader_hears_names_in_the_order_in_which_they_are_needed(page: Watched) -> None:
    tree = page.page.locator("body").aria_snapshot()
    wanted = [
        'heading "Doublings over a wide step" [level=1]',
        'combobox "Language"',
        'heading "Line 1 · Low A to E" [level=2]',
        'img "Line 1 · Low A to E: doubling on low A, C and E; 12 notes in 4 bars"',
        'list "What to watch"',
        'heading "Line 2 · Grips" [level=2]',
        'region "Playing"',
        'button "Start"',
        'group "Rungs"',
        'button "50 beats a minute" [pressed]',
        'button "60 beats a minute"',
        'img "Fingering"',
        'button "Whole line"',
        'button "Step back" [disabled]',
        'button "It was clean"',
        'button "Practice"',
        "status",
    ]
    at = 0
    for name in wanted:
        found = tree.find(name, at)
        assert found >= 0, (name, tree)
        at = found + len(name)
    # Each staff is one picture with one name, however many systems it has.
    assert tree.count("12 notes in 4 bars") == 1


@needs_chromium
def test_what_changes_of_itself_is_said_once(page: Watched) -> None:
    page.page.click("[aria-controls=panel-practice]")
    page.page.check("input[value=climb]")
    play_on(page, 80)
    page.run("rungwise.follow = () => {}")
    said = []
    for frame in page.run("rungwise.player.rendition.sections.slice(0, 6).map(one => one.frame)"):
        page.run(f"rungwise.showHeard({frame} + 9)")
        said.append(page.page.inner_text("[role=status]"))
    stop(page)
    # The count-in, two rounds, and then the next rung.
    assert said == ["", "", "", "Now line 1 at 60", "Now line 1 at 60", "Now line 1 at 70"]


@needs_chromium
def test_in_german_nothing_is_left_in_english(page: Watched) -> None:
    table = (MODULES / "words.js").read_text().split("const TABLE = {")[1].split("\n};")[0]
    pairs = re.findall(r'\w+: \[\s*"((?:[^"\\]|\\.)*)",\s*"((?:[^"\\]|\\.)*)",?\s*\]', table)
    english = {en for en, de in pairs if en != de and "{" not in en and len(en) > 4}
    assert len(english) > 40
    page.page.select_option(".language", "de")
    assert page.run("document.activeElement.className") == "language"
    assert page.run("document.documentElement.lang") == "de"
    seen = ""
    for panel in ("practice", "sound", "log", "help"):
        page.page.click(f"[aria-controls=panel-{panel}]")
        if panel == "practice":
            page.page.check("input[value=session]")
        seen += "\n" + page.page.locator("body").aria_snapshot()
    for text in english:
        assert f'"{text}"' not in seen, text
        assert f": {text}\n" not in seen, text
    assert (
        "Takt 1: Von C nach E: den linken Ringfinger heben, bevor die rechte Hand schließt" in seen
    )
    assert "doubling auf Low A, C und E; 12 Noten in 4 Takten" in seen
    for word in (" the ", " and ", " or ", " your ", "Bar ", "Line "):
        assert word not in seen, word
    page.page.select_option(".language", "en")
    assert page.page.inner_text(".play") == "Start"
    assert page.run("document.documentElement.lang") == "en"
    assert "Bar 1: C to E: lift the left ring finger" in page.page.inner_text(".advice")


@needs_chromium
@needs_axe
def test_axe_finds_nothing(chromium: Any, made: Path) -> None:
    """With all panels at once, in both languages; in the dark its colours: nothing else differs."""
    context = chromium.new_context(
        bypass_csp=True, locale="en-GB", viewport={"width": 1280, "height": 2400}
    )
    watched = opened(context, made.as_uri())
    page = watched.page
    page.add_script_tag(path=str(AXE))
    for language in ("en", "de"):
        page.select_option(".language", language)
        watched.run("rungwise.log.add(rungwise.lineKey(0), '60', { rounds: 3, seconds: 40 })")
        watched.run("rungwise.showLog()")
        page.click("[aria-controls=panel-practice]")
        page.check("input[value=session]")
        watched.run("document.querySelectorAll('.panel').forEach(one => { one.hidden = false })")
        for scheme, only in (("dark", "{ runOnly: ['color-contrast'] }"), ("light", "{}")):
            page.emulate_media(color_scheme=scheme)
            found = watched.run(f"axe.run({only}).then(one => one.violations)")
            told = [(one["id"], [node["html"] for node in one["nodes"]]) for one in found]
            assert told == [], (language, scheme)
    # While it plays as well.
    page.click(".play")
    watched.wait("document.querySelector('.lit')")
    found = watched.run("axe.run().then(one => one.violations)")
    assert [one["id"] for one in found] == []
    page.click(".play")
    context.close()


WICKED = """
title = "</script><img src=x onerror=alert(1)>{{data}}{{script}} %s"
for = "\\u202eLarkmoor <b>evening</b> & class"
purpose = "\\u2067\\u0645\\u0631\\u062d\\u0628\\u0627 <i>"
[[lines]]
heading = "%s"
run = "low A, B, C"
[[lines]]
heading = "<!--<script>alert(2)</script> ]]> &lt; \\u202eRTL"
run = "low A, B, C"
"""


@needs_chromium
def test_whatever_a_teacher_writes_is_shown_as_it_is_and_never_runs(
    chromium: Any, tmp_path: Path
) -> None:
    page = page_of(WICKED % ("T" * 200, "h" * 300), tmp_path)
    context = chromium.new_context(viewport={"width": 320, "height": 600}, locale="en-GB")
    watched = opened(context, page.as_uri())
    shown = watched.page.inner_text("h1")
    assert shown.startswith("</script><img src=x onerror=alert(1)>{{data}}{{script}} TTT")
    assert len(shown) > 250
    assert watched.page.title() == shown
    assert "<!--<script>alert(2)</script> ]]> &lt; RTL" in watched.page.inner_text("main")
    assert "h" * 300 in watched.page.inner_text("main")
    # Signs that turn letters around would make them illegible, and the rest of the line with them.
    assert watched.page.inner_text("header p").startswith("Larkmoor <b>evening</b> & class · ")
    assert not re.search("[\u202a-\u202e\u2066-\u2069]", watched.page.inner_text("body"))
    assert watched.page.locator("img").count() == 0
    assert watched.page.locator("h1 *").count() == 0
    # Long words and headings fold: nothing is wider than the screen.
    for panel in ("practice", "sound", "log", "help"):
        watched.page.click(f"[aria-controls=panel-{panel}]")
        assert watched.run("document.documentElement.scrollWidth") <= 320
    quiet(watched, page.as_uri())
    context.close()


@needs_chromium
def test_printed_it_is_music_advice_and_log_without_controls(page: Watched, tmp_path: Path) -> None:
    page.page.set_viewport_size({"width": 360, "height": 200})
    page.run(ANEW)
    page.run("rungwise.log.add(rungwise.lineKey(0), '60', { rounds: 3, seconds: 40 })")
    page.run("rungwise.showLog()")
    drawn = "document.querySelectorAll('.line:has(svg)').length"
    assert page.run(drawn) < 3
    page.page.emulate_media(media="print")
    text = page.page.inner_text("body")
    for wanted in ("Doublings over a wide step", "Line 3 · Written out", "Bar 1: C to E", "Rounds"):
        assert wanted in text
    for control in ("Start", "Practice", "Whole line", "Save the log"):
        assert control not in text
    printed = tmp_path / "page.pdf"
    page.page.pdf(path=str(printed), format="A4")
    # What nobody has scrolled to is printed, too.
    assert page.run(drawn) == 3
    (sheet,) = pypdf.PdfReader(printed).pages
    assert "Line 3 · Written out" in sheet.extract_text()
