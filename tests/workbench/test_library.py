"""The library: found by what is in it, renamed, doubled, removed and put back, also by keys."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from renderer.notation.source_file import Source
from renderer.reading.exercise import read_exercise
from renderer.technique.report import exercise_difficulty
from renderer.workbench.application import Bench, routes_of
from renderer.workbench.folder import Folder
from renderer.workbench.library_rows import told
from tests.page.browsers import Watched, needs_chromium
from tests.workbench.benches import WIDE, Running
from tests.workbench.desks import desk, held_up

GRIPS = """title = "Grips"
level = "improver"
[[lines]]
run = "low A, E, B"
ornament = "grip"
on = "last"
"""


def test_a_file_says_which_intervals_its_movements_join() -> None:
    joins = told("wide.toml", WIDE.encode())["joins"]
    # Low A to B, B to D, and from the D of one pass to the low A of the next.
    assert joins["doubling"] == ["second", "third", "fourth"]
    text = 'title = "Turns"\n[[lines]]\nabc = "{g}A {gBd}B {gef}e {gde}d | {GdG}A {gde}d"\n'
    joins = told("turns.toml", text.encode())["joins"]
    assert "second" in joins["doubling"] and "fourth" in joins["doubling"]
    assert joins["grip"] == ["fourth"]


def test_a_file_says_how_hard_it_is_unless_it_is_very_long() -> None:
    exercise = read_exercise(Source("grips.toml", GRIPS.encode()))
    row = told("grips.toml", GRIPS.encode())
    assert row["difficulty"] == round(exercise_difficulty(exercise), 1) > 0
    assert told("wrong.toml", GRIPS.replace("E,", "H,").encode()).get("difficulty") is None
    # 800 lines of thirteen notes: more than ten thousand notes.
    notes = "low A, B, C, D, E, F, high G, F, E, D, C, B, C"
    book = 'title = "Long"\n' + 800 * f'[[lines]]\nrun = "{notes}"\n'
    row = told("long.toml", book.encode())
    assert row["count"] == 800 and row["difficulty"] is None


def test_what_is_removed_can_be_put_back_also_beside_another(tmp_path: Path) -> None:
    asked = routes_of(Bench(Folder(tmp_path)))
    (tmp_path / "wide.toml").write_text(WIDE)
    (tmp_path / "sub").mkdir()
    (tmp_path / "sub" / "grips.toml").write_text(GRIPS)
    for name in ("wide.toml", "sub/grips.toml"):
        version = asked["standing"]({"name": name})["version"]
        asked["remove"]({"name": name, "version": version})
    library = asked["library"]({})
    assert library["files"] == []
    removed = {one["name"]: one for one in library["removed"]}
    assert set(removed) == {"wide.toml", "sub/grips.toml"}
    (tmp_path / "wide.toml").write_text(GRIPS)
    assert asked["put-back"](dict(removed["sub/grips.toml"]))["name"] == "sub/grips.toml"
    assert (tmp_path / "sub" / "grips.toml").read_text() == GRIPS
    assert asked["put-back"](dict(removed["wide.toml"]))["name"] == "wide 2.toml"
    assert (tmp_path / "wide 2.toml").read_text() == WIDE
    assert (tmp_path / "wide.toml").read_text() == GRIPS
    assert asked["library"]({})["removed"] == []


PACK = """title = "Thursdays"
exercises = [
  "grips.toml",  # for everybody
  { file = "./grips.toml", for = "Jamie" },
  "first-gracenotes",
]
pitch = ["A", "Jamie.toml"]

[[learners]]
name = "Jamie"
pitch = "Jamie.toml"   # his own
"""


def test_a_file_that_is_renamed_is_renamed_in_the_packs_that_name_it(tmp_path: Path) -> None:
    asked = routes_of(Bench(Folder(tmp_path)))
    (tmp_path / "grips.toml").write_text(GRIPS)
    (tmp_path / "Jamie.toml").write_text('name = "Jamie"\nlow-a = 478\n')
    (tmp_path / "class.toml").write_text(PACK)
    (tmp_path / "sub").mkdir()
    below = PACK.replace("grips.toml", "../grips.toml").replace("Jamie.toml", "../Jamie.toml")
    (tmp_path / "sub" / "class.toml").write_text(below)
    # Its own grips.toml is another file, and a definition may speak of it as it likes.
    (tmp_path / "sub" / "other.toml").write_text(PACK)
    (tmp_path / "notes.toml").write_text(GRIPS + '# exercises = ["grips.toml"]\n')
    others = {path: path.read_text() for path in (tmp_path / "sub" / "other.toml",)}

    def rename(name: str, to: str, **more: object) -> dict[str, object]:
        version = asked["standing"]({"name": name})["version"]
        return asked["rename"]({"name": name, "to": to, "version": version} | more)

    told = rename("grips.toml", "thursday/All grips")
    assert told == {
        "name": "thursday/All grips.toml",
        "packs": ["class.toml", "sub/class.toml"],
        "left": [],
    }
    new = PACK.replace('"grips.toml"', '"thursday/All grips.toml"')
    new = new.replace('"./grips.toml"', '"thursday/All grips.toml"')
    assert (tmp_path / "class.toml").read_text() == new
    assert rename("Jamie.toml", "Jamie at home.toml")["packs"] == told["packs"]
    text = (tmp_path / "sub" / "class.toml").read_text()
    assert text.count('"../Jamie at home.toml"') == 2
    assert text.count('"../thursday/All grips.toml"') == 2
    for one in told["packs"]:  # type: ignore[attr-defined]
        assert asked["pack"]({"name": one})["problems"] == []
    assert len(asked["earlier"]({"name": "class.toml"})["versions"]) == 1

    # Taken back where it was changed, and nowhere else.
    (tmp_path / "late.toml").write_text(PACK.replace("grips.toml", "thursday/All grips.toml"))
    late = (tmp_path / "late.toml").read_text()
    rename("Jamie at home.toml", "Jamie.toml", packs=told["packs"])
    rename("thursday/All grips.toml", "grips.toml", packs=told["packs"])
    assert (tmp_path / "class.toml").read_text() == PACK.replace("./grips", "grips")
    assert (tmp_path / "sub" / "class.toml").read_text() == below.replace("./../grips", "../grips")
    assert (tmp_path / "late.toml").read_text() == late
    assert others == {path: path.read_text() for path in others}

    # A pack that goes elsewhere finds its files from there.
    assert rename("class.toml", "autumn/class.toml")["packs"] == ["autumn/class.toml"]
    assert asked["pack"]({"name": "autumn/class.toml"})["problems"] == []
    version = asked["standing"]({"name": "grips.toml"})["version"]
    removed = asked["remove"]({"name": "grips.toml", "version": version})
    assert removed == {"packs": ["autumn/class.toml", "sub/class.toml"]}


def test_a_pack_that_cannot_be_changed_is_said_and_keeps_what_it_says(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = Folder(tmp_path)
    asked = routes_of(Bench(folder))
    (tmp_path / "grips.toml").write_text(GRIPS)
    (tmp_path / "class.toml").write_text(PACK)
    theirs = PACK.replace("Thursdays", "Fridays")
    rename = folder.rename

    def changed_meanwhile(name: object, to: object, made_from: str) -> None:
        rename(name, to, made_from)
        (tmp_path / "class.toml").write_text(theirs)

    monkeypatch.setattr(folder, "rename", changed_meanwhile)
    version = asked["standing"]({"name": "grips.toml"})["version"]
    told = asked["rename"]({"name": "grips.toml", "to": "all.toml", "version": version})
    assert told["packs"] == [] and [one["name"] for one in told["left"]] == ["class.toml"]
    assert "changed by another program" in told["left"][0]["why"]["en"]
    assert (tmp_path / "class.toml").read_text() == theirs
    assert (tmp_path / "all.toml").read_text() == GRIPS


@pytest.fixture
def page(bench: Running, chromium: Any) -> Iterator[Watched]:
    for path in bench.folder.glob("*.toml"):
        path.unlink()
    (bench.folder / "wide.toml").write_text(WIDE)
    (bench.folder / "grips.toml").write_text(GRIPS)
    viewport = {"width": 1024, "height": 768}
    shown = "li[data-name='wide.toml']"
    with desk(bench, chromium, shown=shown, viewport=viewport) as watched:
        watched.page.on("dialog", lambda one: watched.said.append(f"dialog: {one.message}"))
        yield watched


def listed(page: Watched) -> list[str]:
    found: list[str] = page.run(
        "[...document.querySelectorAll('li[data-name]')].map(one => one.dataset.name).sort()"
    )
    return found


FOCUSED = "document.activeElement?.closest('li')?.dataset.name"


@needs_chromium
def test_a_file_is_renamed_in_place_and_back_by_keys(page: Watched, bench: Running) -> None:
    pack = PACK.replace("Jamie.toml", "B flat").replace("./", "")
    (bench.folder / "thursdays.toml").write_text(pack)
    page.page.get_by_label("Rename: grips.toml").focus()
    page.page.keyboard.press("Enter")
    # The name is marked without its ending, so that typing replaces it.
    page.page.keyboard.type("Grips for Thursday")
    page.page.keyboard.press("Enter")
    page.wait("document.querySelector('.said button') !== null")
    assert listed(page) == ["Grips for Thursday.toml", "thursdays.toml", "wide.toml"]
    assert (
        page.page.locator(".said")
        .inner_text()
        .startswith("It is called Grips for Thursday.toml now. So it is in thursdays.toml.")
    )
    assert page.run(FOCUSED) == "Grips for Thursday.toml"
    page.page.get_by_label("Rename: wide.toml").press("Enter")
    page.page.keyboard.type("Grips for Thursday")
    page.page.keyboard.press("Enter")
    page.wait("document.querySelector('.said').textContent.includes('there is a file')")
    page.page.keyboard.press("Escape")
    page.wait(f"{FOCUSED} === 'wide.toml'")
    assert (bench.folder / "wide.toml").read_text() == WIDE
    page.page.get_by_label("Rename: Grips for Thursday.toml").click()
    page.page.keyboard.type("grips")
    page.page.keyboard.press("Enter")
    page.page.get_by_role("button", name="Undo").click()
    page.wait(f"{FOCUSED} === 'Grips for Thursday.toml'")
    assert (bench.folder / "Grips for Thursday.toml").read_text() == GRIPS
    renamed = pack.replace("grips.toml", "Grips for Thursday.toml")
    assert (bench.folder / "thursdays.toml").read_text() == renamed


@needs_chromium
def test_a_file_is_removed_at_once_and_undo_brings_it_back(page: Watched, bench: Running) -> None:
    page.page.get_by_label("Remove: wide.toml").press("Enter")
    page.wait("document.activeElement?.textContent === 'Undo'")
    assert not (bench.folder / "wide.toml").exists() and listed(page) == ["grips.toml"]
    page.page.keyboard.press("Enter")
    page.wait(f"{FOCUSED} === 'wide.toml'")
    assert (bench.folder / "wide.toml").read_text() == WIDE
    page.page.get_by_label("Remove: grips.toml").click()
    page.page.get_by_text("Removed files (").click()
    page.page.get_by_label("Put back: grips.toml").click()
    page.wait("document.querySelectorAll('li[data-name]').length === 2")
    assert (bench.folder / "grips.toml").read_text() == GRIPS
    page.page.get_by_label("Duplicate: grips.toml").click()
    page.wait(f"{FOCUSED} === 'grips 2.toml'")


DROPPED = r"""() => {
  const dropped = new DataTransfer();
  const text = 'title = "Plain"\n[[lines]]\nrun = "low A, B"\n';
  dropped.items.add(new File([text], "plain.toml"));
  return dropped;
}"""


@needs_chromium
def test_what_is_typed_and_open_stays_whatever_comes_late(page: Watched) -> None:
    page.wait("window.rungwise.screen.shipped.length > 0")
    with held_up(page, "shipped"):
        page.page.reload()
        page.page.get_by_label("Remove: wide.toml").click()
        page.page.get_by_role("button", name="Undo").wait_for()
        page.page.get_by_text("Removed files (").click()
        page.page.get_by_label("Rename: grips.toml").press("Enter")
        page.page.keyboard.type("Thursday grips")
        page.page.keyboard.press("Home")
        assert page.run("window.rungwise.screen.shipped.length") == 0
    page.wait("window.rungwise.screen.shipped.length > 0")
    page.page.keyboard.type("All ")
    page.page.dispatch_event("main", "drop", {"dataTransfer": page.page.evaluate_handle(DROPPED)})
    page.page.get_by_label("Rename: plain.toml").wait_for()
    page.page.keyboard.type("the ")
    assert page.run("document.activeElement.value") == "All the Thursday grips.toml"
    assert page.page.get_by_label("Put back: wide.toml").is_visible()


@needs_chromium
def test_the_example_makes_room_for_files_of_ones_own(page: Watched, bench: Running) -> None:
    """Whole in an empty folder; of one line above files, also while none of them is found."""
    lines = page.page.locator(".example .line:visible")
    page.page.wait_for_selector(".example svg")
    page.page.wait_for_selector(".own .rows li")
    assert lines.count() == 1
    search = page.page.get_by_role("searchbox")
    search.fill("no such thing")
    page.page.wait_for_selector(".own > p")
    assert lines.count() == 1
    search.fill("")
    level = page.page.get_by_label("Level")
    level.select_option("advanced")
    page.page.wait_for_selector(".own > p")
    assert lines.count() == 1
    level.select_option("")
    page.page.wait_for_selector(".own .rows li")
    page.run("() => { const { screen } = window.rungwise; screen.data.files = []; screen.draw(); }")
    page.page.wait_for_selector(".own > p")
    assert lines.count() == 2
    search.fill("grips")
    assert lines.count() == 2


@needs_chromium
def test_files_are_found_by_movement_interval_and_level(page: Watched) -> None:
    page.page.get_by_label("Movement", exact=True).select_option("grip")
    assert listed(page) == ["grips.toml"]
    page.page.get_by_label("Interval that it joins").select_option("third")
    assert listed(page) == []
    page.page.get_by_label("Movement", exact=True).select_option("")
    assert listed(page) == ["wide.toml"]
    page.page.get_by_label("Interval that it joins").select_option("")
    page.page.get_by_label("Level", exact=True).select_option("improver")
    assert listed(page) == ["grips.toml"]
    page.page.get_by_label("Level", exact=True).select_option("")
    page.page.get_by_label("Search").fill("doubling WIDE")
    assert listed(page) == ["wide.toml"]


@needs_chromium
def test_files_stand_by_difficulty_the_easiest_first(page: Watched, bench: Running) -> None:
    (bench.folder / "plain.toml").write_text('title = "Plain"\n[[lines]]\nrun = "low A, B"\n')
    (bench.folder / "wrong.toml").write_text('title = "Wrong"\n[[lines]]\nrun = "low A, H"\n')
    page.page.reload()
    page.wait("window.rungwise?.screen.shipped?.length > 0")
    page.page.get_by_label("Order").select_option("difficulty")
    rows = bench.answer("library")["files"]
    points = {one["name"]: one.get("difficulty") for one in rows}
    known = sorted(
        (name for name in points if points[name] is not None), key=lambda one: points[one]
    )
    assert page.run(
        "[...document.querySelectorAll('li[data-name]')].map(one => one.dataset.name)"
    ) == [*known, "wrong.toml"]
    assert known[0] == "plain.toml"
    row = page.page.locator("li[data-name='grips.toml'] small").first
    assert f"difficulty {points['grips.toml']:g}" in row.inner_text()
    page.page.get_by_label("Order").select_option("changed")
