"""The workbench in a browser, against the real server: written, heard, kept, and nothing leaves."""

from __future__ import annotations

import json
from collections.abc import Iterator
from functools import partial
from pathlib import Path
from typing import Any

import pytest

from tests.limits import HANG_S
from tests.page.browsers import Watched, needs_chromium
from tests.workbench.benches import WIDE, Running, running, waited_for
from tests.workbench.desks import SAVED, TEXT, desk, held_up, opened_on

pytestmark = needs_chromium


@pytest.fixture
def page(bench: Running, chromium: Any) -> Iterator[Watched]:
    (bench.folder / "wide.toml").write_text(WIDE)
    with desk(bench, chromium) as watched:
        yield watched
        # What is still on its way would be saved over the next one's file.
        watched.wait(SAVED)


def write(page: Watched, name: str = "wide.toml") -> None:
    opened_on(page, "write", name)


def test_the_token_stands_in_no_address_that_is_kept(page: Watched, bench: Running) -> None:
    assert bench.token not in page.page.url
    assert all(bench.token not in one for one in page.asked)


def test_a_field_changes_the_text_the_staves_and_the_file(page: Watched, bench: Running) -> None:
    write(page)
    notes = page.page.locator(".entry").nth(2).locator("g.note")
    before = notes.count()
    page.page.locator(".entry").nth(0).locator(".opener").click()
    heading = page.page.get_by_label("Heading")
    heading.fill("From low A")
    heading.press("Tab")
    page.wait(f'{TEXT}.includes("From low A")')
    page.wait(SAVED)
    assert (bench.folder / "wide.toml").read_text() == WIDE.replace("Low A to D", "From low A")
    page.page.get_by_role("button", name="Add high A").click()
    page.wait(f'{TEXT}.includes("low A, B, D, high A")')
    assert "# one beat each" in page.run(TEXT)
    page.page.get_by_role("button", name="Undo").click()
    page.page.get_by_role("button", name="Undo").click()
    page.wait(f"{TEXT} === {WIDE!r}".replace("\\\\", "\\"))
    page.wait(SAVED)
    assert (bench.folder / "wide.toml").read_text() == WIDE
    assert notes.count() == before


def test_the_last_word_in_a_field_holds_however_late_an_earlier_one_is_answered(
    page: Watched, bench: Running
) -> None:
    write(page)
    page.page.locator(".entry").nth(0).locator(".opener").click()
    heading = page.page.get_by_label("Heading")
    with held_up(page, "show"):
        for typed in ("first", "second"):
            heading.fill(typed)
            heading.press("Enter")
        page.page.wait_for_timeout(300)
    page.wait("window.rungwise.screen.isSettled")
    page.wait(f"{TEXT}.includes('second')")
    page.wait(SAVED)
    assert 'heading = "second"' in (bench.folder / "wide.toml").read_text()


def test_what_is_typed_is_shown_and_saved(page: Watched, bench: Running) -> None:
    write(page)
    page.run("window.rungwise.screen.text.show(window.rungwise.screen.text.text.indexOf('B, D'))")
    page.page.keyboard.type("C, ")
    page.wait("document.querySelectorAll('.entry:first-of-type .staves g.note').length > 0")
    page.wait("window.rungwise.screen.fields.lines[0].run === 'low A, C, B, D'")
    page.wait(SAVED)
    assert (
        'run = "low A, C, B, D"               # one beat each'
        in (bench.folder / "wide.toml").read_text()
    )


def test_a_problem_is_said_at_its_place_and_what_was_typed_stays(
    page: Watched, bench: Running
) -> None:
    write(page)
    page.run("window.rungwise.screen.text.show(window.rungwise.screen.text.text.indexOf('B, D'))")
    page.page.keyboard.type("H, ")
    # While it is being typed there are others.
    page.wait("window.rungwise.screen.problems[0]?.cause.includes(\"'H'\")")
    # At its line and under the text: what is wrong, and as a sentence of its own what is right.
    for place in (".entry .problem", ".wrong button"):
        said = page.page.locator(place).inner_text()
        assert "'H'" in said and ". Write the notes' names" in said
    assert page.page.locator(".entry svg").count() >= 3
    page.wait(SAVED)
    assert "low A, H, B, D" in (bench.folder / "wide.toml").read_text()


def test_a_wrong_field_says_what_would_be_right(page: Watched) -> None:
    write(page)
    page.page.locator(".entry").nth(0).locator(".opener").click()
    notes = page.page.get_by_role("textbox", name="Notes")
    notes.fill("low A, F#")
    notes.press("Enter")
    page.page.wait_for_selector(".field[data-key=run] .problem")
    assert page.page.locator(".field[data-key=run] input").get_attribute("aria-invalid") == "true"
    assert "F#" in (page.page.locator(".field[data-key=run] .problem").inner_text())


def test_an_earlier_version_comes_back_and_goes_again(page: Watched, bench: Running) -> None:
    write(page)
    page.run("window.rungwise.screen.text.replace('# other\\n' + window.rungwise.screen.text.text)")
    page.wait(SAVED)
    page.page.get_by_role("button", name="Versions").click()
    page.page.get_by_role("button", name="Take this one").last.click()
    page.wait(f'!{TEXT}.startsWith("# other")')
    page.page.get_by_role("button", name="Undo").click()
    page.wait(f'{TEXT}.startsWith("# other")')
    page.wait(SAVED)
    assert (bench.folder / "wide.toml").read_text() == "# other\n" + WIDE


def test_a_press_on_a_note_plays_from_there_and_lights_it(page: Watched) -> None:
    write(page)
    page.wait("window.rungwise.hearing.player !== null")
    page.page.locator(".entry").nth(0).locator("g.note").nth(4).click(force=True)
    page.wait("window.rungwise.hearing.isPlaying")
    page.wait("document.querySelector('.lit') !== null")
    first = page.run("window.rungwise.hearing.player.rendition.events[0].id")
    assert first.startswith("L1-B2-N")
    kind = page.run("window.rungwise.hearing.player.rendition.sections[0].kind")
    assert kind == "line"
    page.page.keyboard.press("Escape")
    page.page.locator(".play").click()
    page.wait("!window.rungwise.hearing.isPlaying")


def test_a_press_before_the_sound_is_there_plays_as_soon_as_it_is(page: Watched) -> None:
    write(page)
    page.wait("window.rungwise.hearing.player !== null")
    with held_up(page, "sound"):
        page.page.reload()
        page.page.wait_for_selector(".entry svg")
        page.page.get_by_role("button", name="Play line 3").click()
        page.page.locator(".entry").nth(1).locator("g.note").nth(2).click(force=True)
        assert not page.run("window.rungwise.hearing.isPlaying")
    page.wait("window.rungwise.hearing.isPlaying")
    assert page.run("window.rungwise.hearing.choice.lineIndex") == 1
    assert page.run("window.rungwise.hearing.player.rendition.events[0].id").startswith("L2-B1-N")
    page.page.get_by_role("button", name="Stop").click()
    page.run("window.rungwise.hearing.takeMusic(window.rungwise.screen.staves.music())")
    assert not page.run("window.rungwise.hearing.isPlaying")


def test_bars_that_are_drawn_across_before_the_sound_is_there_are_looped_then(
    page: Watched,
) -> None:
    write(page)
    page.wait("window.rungwise.hearing.player !== null")
    with held_up(page, "sound"):
        page.page.reload()
        page.page.wait_for_selector(".entry svg")
        page.run("window.rungwise.screen.loopBars(0, 2, 3)")
        assert page.page.locator(".bar-box.looped").count() == 2
        assert not page.run("window.rungwise.hearing.isPlaying")
    page.wait("window.rungwise.hearing.isPlaying")
    assert page.run("String(window.rungwise.hearing.choice.from.n)") == "3"


def test_a_press_on_a_line_whose_music_is_on_its_way_plays_it(
    page: Watched, bench: Running
) -> None:
    lines = "".join(f'[[lines]]\nrun = "low A, {note}, D"\n' * 20 for note in ("B", "C", "E"))
    (bench.folder / "wide.toml").write_text(f'title = "Long"\ntempo = 60\n{lines}')
    # The lines that are in sight are asked for by themselves.
    with held_up(page, "bodies"):
        write(page)
        page.wait("window.rungwise.hearing.player !== null")
        assert page.run("window.rungwise.hearing.music[59]") is None
        page.run("window.rungwise.screen.press(59, null)")
        assert not page.run("window.rungwise.hearing.isPlaying")
    page.wait("window.rungwise.hearing.isPlaying")
    assert page.run("window.rungwise.hearing.choice.lineIndex") == 59
    # What cannot be heard is not waited for: it would sound when it is put right.
    page.page.get_by_role("button", name="Stop").click()
    page.run(
        "window.rungwise.hearing.music[0] = null; window.rungwise.screen.press(0, null);"
        "window.rungwise.hearing.takeMusic(window.rungwise.screen.staves.music())"
    )
    assert not page.run("window.rungwise.hearing.isPlaying")


def test_bars_that_are_drawn_across_are_looped(page: Watched) -> None:
    write(page)
    page.wait("window.rungwise.hearing.player !== null")
    boxes = page.page.locator(".entry").nth(0).locator(".bar-box")
    second, third = boxes.nth(1).bounding_box(), boxes.nth(2).bounding_box()
    assert second and third
    page.page.mouse.move(second["x"] + 20, second["y"] + 40)
    page.page.mouse.down()
    page.page.mouse.move(third["x"] + 20, third["y"] + 40)
    page.page.mouse.up()
    page.wait("window.rungwise.hearing.isPlaying")
    assert page.page.locator(".bar-box.looped").count() == 2
    page.wait("window.rungwise.hearing.player.rendition.sections.length > 1")
    places = page.run(
        "window.rungwise.hearing.player.rendition.sections.map(one => String(one.from.n))"
    )
    assert set(places) == {"3"}, "each round begins with the fourth beat"


def test_movements_are_opened_and_closed_from_the_dock(page: Watched, bench: Running) -> None:
    write(page)
    groups = page.page.locator(".entry").nth(1).locator("g.gracenote")
    closed = groups.count()
    page.page.get_by_label("How it is played").select_option("even")
    page.wait(
        f"document.querySelectorAll('.entry')[1].querySelectorAll('g.gracenote').length < {closed}"
    )
    assert (bench.folder / "wide.toml").read_text() == WIDE


def test_everything_sounds_at_the_pitch_that_is_typed(page: Watched) -> None:
    """A pitch that cannot be is said, and what sounded before goes on sounding."""
    write(page)
    page.wait("window.rungwise.hearing.player !== null")
    dock = page.page.locator(".dock")
    pitch = dock.get_by_label("Pitch", exact=True)
    pitch.select_option("Another, in hertz …")
    typed = dock.get_by_role("spinbutton", name="Pitch: hertz")
    typed.fill("9")
    typed.press("Enter")
    dock.locator(".state").get_by_text("no chanter has its low A at 9 Hz").wait_for()
    assert page.run("window.rungwise.hearing.pitches") == ["A", "B flat"]
    page.page.get_by_role("button", name="Play line 1").click()
    page.wait("window.rungwise.hearing.isPlaying")
    typed.fill("478")
    typed.press("Enter")
    page.wait("window.rungwise.hearing.pitchIndex === 2")
    assert page.run("window.rungwise.hearing.data.pitches[2].low_a_hz") == 239
    assert pitch.locator("option:checked").inner_text() == "478 Hz · 239.0 Hz"
    assert not typed.is_visible()
    page.page.get_by_role("button", name="Play line 1").click()
    page.wait("window.rungwise.hearing.isPlaying")
    # Another one takes its place.
    pitch.select_option("Another, in hertz …")
    typed.fill("466")
    typed.press("Enter")
    page.wait("window.rungwise.hearing.data.pitches[2]?.low_a_hz === 233")
    # The device's sound is opened once.
    assert page.run("window.rungwise.hearing.player.context?.state") == "running"
    assert page.run("window.rungwise.hearing.pitches") == ["A", "B flat", "466"]


def test_a_movement_is_heard_before_it_is_taken(page: Watched) -> None:
    write(page)
    page.wait("window.rungwise.hearing.player !== null")
    page.page.locator(".entry").nth(0).locator(".opener").click()
    page.page.get_by_role("button", name="Choose …").click()
    page.page.get_by_role("dialog").get_by_label("Search").fill("grip")
    page.page.get_by_role("button", name="grip", exact=True).click()
    page.page.wait_for_selector(".about h3:has-text('grip') >> visible=true")
    page.page.wait_for_selector(".about .line svg g.note")
    # It is played once, which may be over before anybody looks.
    page.run(
        """() => {
          const { hearing } = window.rungwise;
          const { onHeard } = hearing;
          hearing.onHeard = (heard) => {
            window.wasPlaying ||= heard.isPlaying;
            onHeard(heard);
          };
        }"""
    )
    page.page.locator(".about .line svg g.note").first.click(force=True)
    page.wait("window.wasPlaying")
    page.page.get_by_role("button", name="Use grip").click()
    page.wait(f'{TEXT}.includes("ornament = \\"grip\\"")')
    assert not page.run("window.rungwise.hearing.isPlaying")
    page.wait("window.rungwise.hearing.music.length === 3")


def test_the_sheet_is_seen_as_pages_and_saved(page: Watched) -> None:
    write(page)
    page.page.get_by_role("button", name="Sheet").click()
    image = page.page.get_by_alt_text("Page 1 of 1")
    image.wait_for()
    assert image.evaluate("one => one.decode().then(() => one.naturalWidth)") > 500
    with page.page.expect_download() as saved:
        page.page.get_by_role("button", name="Save as PDF").click()
    assert saved.value.suggested_filename == "wide.pdf"
    page.page.get_by_role("button", name="Close").click()


def test_a_line_that_is_changed_while_it_sounds_goes_on(page: Watched) -> None:
    write(page)
    page.wait("window.rungwise.hearing.player !== null")
    page.page.get_by_role("button", name="Play line 1").click()
    page.wait("window.rungwise.hearing.isPlaying")
    page.run("window.rungwise.hearing.takeTempo({n: 90n, d: 1n})")
    page.page.locator(".entry").nth(0).locator(".opener").click()
    page.page.get_by_role("button", name="Add E").first.click()
    page.wait("window.rungwise.hearing.lineOf(0).soundings.at(-1).note === 5")
    assert page.run("window.rungwise.hearing.isPlaying")
    assert page.run("String(window.rungwise.hearing.choice.tempo.n)") == "90"


def test_what_another_program_writes_is_taken_over_and_never_overwritten(
    page: Watched, bench: Running
) -> None:
    write(page)
    file = bench.folder / "wide.toml"
    theirs = WIDE.replace("tempo = 60", "tempo = 66")
    file.write_text(theirs)
    page.wait(f'{TEXT}.includes("tempo = 66")')
    # Both at once: nobody wins unasked.
    file.write_text(theirs.replace("66", "67"))
    page.run("window.rungwise.screen.text.replace('# mine\\n' + window.rungwise.screen.text.text)")
    page.page.wait_for_selector(".notice button")
    assert "tempo = 67" in file.read_text() and "# mine" not in file.read_text()
    page.page.get_by_role("button", name="Keep mine").click()
    page.wait(SAVED)
    assert file.read_text().startswith("# mine\n")
    kept = bench.answer("earlier", name="wide.toml")["versions"]
    texts = [
        bench.answer("earlier-text", name="wide.toml", version=one["version"])["text"]
        for one in kept
    ]
    assert any("tempo = 67" in text for text in texts)


def test_a_file_that_is_left_while_it_is_saved_is_saved_whole(
    page: Watched, bench: Running
) -> None:
    """The first save is held up; what was typed meanwhile goes after it, though nobody is there."""
    write(page)
    say = "window.rungwise.screen.text.replace('# {}\\n' + window.rungwise.screen.text.text)"
    with held_up(page, "save"):
        page.run(say.format("first"))
        page.wait("window.rungwise.screen._isSaving")
        page.run(say.format("second"))
        page.page.get_by_role("link", name="Library").click()
        assert (bench.folder / "wide.toml").read_text() == WIDE
    page.page.wait_for_selector("li[data-name='wide.toml']")
    assert (bench.folder / "wide.toml").read_text() == f"# second\n# first\n{WIDE}"
    page.wait("localStorage.getItem('rungwise draft wide.toml') === null")


def test_what_is_taken_back_while_it_is_saved_does_not_come_back(
    page: Watched, bench: Running
) -> None:
    """The page is left before it hears that the text before is on the disk."""
    write(page)
    page.page.route("**/api/save", lambda route: route.fetch() and None, times=1)
    page.run("window.rungwise.screen.text.replace('# slip\\n' + window.rungwise.screen.text.text)")

    def is_on_disk() -> bool:
        page.page.wait_for_timeout(10)  # only meanwhile the route is served
        return (bench.folder / "wide.toml").read_text() == f"# slip\n{WIDE}"

    waited_for(is_on_disk)
    page.page.get_by_role("button", name="Undo").click()
    page.wait(f"{TEXT} === {json.dumps(WIDE)}")
    page.page.reload()
    page.page.get_by_role("button", name="Keep mine").click()
    page.wait(SAVED)
    assert (bench.folder / "wide.toml").read_text() == WIDE


def test_two_tabs_do_not_lose_each_others_words(page: Watched, bench: Running) -> None:
    write(page)
    other = page.page.context.new_page()
    other.goto(f"http://127.0.0.1:{bench.port}/#/write/wide.toml")
    other.wait_for_selector(".entry svg")
    second = Watched(other)
    second.run(
        "window.rungwise.screen.text.replace('# second\\n' + window.rungwise.screen.text.text)"
    )
    second.wait(SAVED)
    page.wait(f'{TEXT}.startsWith("# second")')
    assert (bench.folder / "wide.toml").read_text().startswith("# second\n")


def test_a_new_exercise_is_made_and_listed(page: Watched, bench: Running) -> None:
    page.page.get_by_role("button", name="New exercise").click()
    page.page.wait_for_selector(".entry svg")
    assert (bench.folder / "New exercise.toml").exists()
    page.page.get_by_role("link", name="Library").click()
    page.page.wait_for_selector("a:has-text('New exercise')")


def is_asked(page: Watched, name: str) -> bool:
    return any(one.endswith(f"/{name}.js") for one in page.asked)


def wait_for_all_scripts(page: Watched) -> None:
    def all_asked() -> bool:
        page.page.wait_for_timeout(10)
        return all(is_asked(page, one) for one in ("codemirror", "tuning", "handing"))

    waited_for(all_asked)


def test_a_screens_script_is_brought_when_it_is_shown_or_once_the_first_screen_stands(
    page: Watched,
) -> None:
    wait_for_all_scripts(page)
    page.asked.clear()
    with held_up(page, "sound"):
        page.page.reload()
        page.page.wait_for_selector(".example svg")
        page.wait("window.rungwise.screen.shipped.length > 0")
        assert is_asked(page, "library")
        assert not is_asked(page, "writing") and not is_asked(page, "codemirror")
    wait_for_all_scripts(page)


def test_a_screen_whose_script_cannot_be_brought_says_so(page: Watched) -> None:
    page.page.route("**/api/sound", lambda _: None)
    page.page.route("**/writing.js", lambda one: one.abort())
    page.page.reload()
    page.page.locator("a[href='#/write/wide.toml']").click()
    alert = page.page.get_by_role("alert")
    alert.wait_for()
    assert "does not answer" in alert.inner_text()
    page.said.clear()


def test_a_screen_works_until_the_next_one_is_there(page: Watched, bench: Running) -> None:
    # So that no question of the page before is held up.
    wait_for_all_scripts(page)
    page.page.route("**/api/sound", lambda _: None)
    held: list[Any] = []
    page.page.route("**/writing.js", partial(list.append, held))
    page.page.reload()
    page.page.locator("a[href='#/write/wide.toml']").click()
    waited_for(lambda: page.page.wait_for_timeout(10) or held)
    dropped = {"name": "Dropped.toml", "mimeType": "text/plain", "buffer": WIDE.encode()}
    page.page.locator("input[type=file]").set_input_files(dropped)
    page.page.wait_for_selector("li[data-name='Dropped.toml']")
    assert (bench.folder / "Dropped.toml").read_text() == WIDE
    held[0].continue_()
    page.page.wait_for_selector("[data-screen=write] .entry svg")


@pytest.mark.parametrize("place", ["constructor/wide.toml", "write/", "nowhere/wide.toml"])
def test_an_address_of_no_screen_shows_the_library(
    page: Watched, bench: Running, place: str
) -> None:
    page.page.goto(f"http://127.0.0.1:{bench.port}/#/tune")
    page.page.wait_for_selector("h1:has-text('Chanters')")
    page.page.goto(f"http://127.0.0.1:{bench.port}/#/{place}")
    page.page.wait_for_selector("[data-screen=library] .example svg")


def test_german_is_spoken_where_the_browser_does(bench: Running, chromium: Any) -> None:
    context = chromium.new_context(locale="de-DE")
    opened = context.new_page()
    opened.goto(bench.address)
    opened.wait_for_selector(".example svg")
    assert opened.inner_text(".bar h1") == "Sammlung"
    context.close()


def test_it_ends_from_the_page(tmp_path: Path, chromium: Any) -> None:
    with running(tmp_path) as one:
        context = chromium.new_context(locale="en-GB")
        opened = context.new_page()
        opened.goto(one.address)
        opened.get_by_role("button", name="End the workbench").click()
        opened.wait_for_selector("text=has ended")
        assert one.process.wait(HANG_S) == 0
        context.close()
