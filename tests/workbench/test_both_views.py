"""Both views of a definition, changed at random: text, fields, staves and file agree."""

from __future__ import annotations

import random
import tomllib
from collections.abc import Iterator
from typing import Any

import pytest

from renderer.notation.definition.reader import definition_keys
from renderer.reading.exercise import read_exercise
from tests.page.browsers import Watched, needs_chromium
from tests.workbench.benches import WIDE, Running, running
from tests.workbench.desks import TEXT, desk, opened_on

pytestmark = needs_chromium

STEPS = 14
SETTLED = "window.rungwise.screen.isSettled"
REMARKS = ("# Larkmoor, for the evening class", "# beats per minute", "# the same at every tempo")
"""Of what belongs to no line, so that no step takes it out."""


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Running]:
    with running(tmp_path_factory.mktemp("Larkmoor")) as one:
        yield one


class _Hands:
    """Somebody who writes in both views."""

    def __init__(self, page: Watched, seed: int) -> None:
        self.page, self.random = page, random.Random(seed)

    def entries(self) -> int:
        return int(self.page.run("window.rungwise.screen.fields.lines.length"))

    def _open(self, entry: int) -> Any:
        block = self.page.page.locator(".entry").nth(entry)
        opener = block.locator(".tools .opener")
        if opener.get_attribute("aria-expanded") == "false":
            opener.click()
        return block

    def _any(self) -> int:
        return self.random.randrange(self.entries())

    def heading(self) -> None:
        block = self._open(self._any())
        field = block.get_by_role("textbox", name="Heading")
        field.fill(f"Heading {self.random.randrange(100)}")
        field.press("Tab")

    def tapped(self) -> None:
        block = self._open(self._any())
        buttons = block.get_by_role("button", name="Add B")
        if buttons.count():
            buttons.click()

    def gracenote(self) -> None:
        block = self._open(self._any())
        more = block.locator("details.more")
        if more.get_attribute("open") is None:
            more.locator("summary").click()
        field = block.get_by_label("Gracenotes here last")
        field.fill(f"{self.random.randrange(30, 80)} ms")
        field.press("Tab")

    def copied(self) -> None:
        self._open(self._any()).get_by_role("button", name="Double", exact=True).click()

    def moved(self) -> None:
        self._open(self.entries() - 1).get_by_role("button", name="Move up").click()

    def tempo(self) -> None:
        opener = self.page.page.locator(".head .opener")
        if opener.get_attribute("aria-expanded") == "false":
            opener.click()
        field = self.page.page.locator(".head").get_by_label("Tempo", exact=True)
        field.fill(str(self.random.randrange(40, 90)))
        field.press("Tab")

    def typed_note(self) -> None:
        self.page.run(
            """(typed) => {
              const { text } = window.rungwise.screen;
              text.show(text.text.indexOf('run = "') + 7);
            }"""
        )
        self.page.page.keyboard.type("C, ")

    def typed_remark(self) -> None:
        self.page.run("() => { const { text } = window.rungwise.screen; text.show(0); }")
        self.page.page.keyboard.type("# typed\n")

    def undo(self) -> None:
        button = self.page.page.get_by_role("button", name="Undo")
        if button.is_enabled():
            button.click()

    def step(self) -> str:
        ways = (
            self.heading,
            self.tapped,
            self.gracenote,
            self.copied,
            self.moved,
            self.tempo,
            self.typed_note,
            self.typed_remark,
            self.undo,
        )
        way = self.random.choice(ways)
        way()
        return way.__name__


def agree(page: Watched, bench: Running, what: str) -> str:
    """Fail unless file, text, fields and staves are of one state; return the text."""
    page.wait(SETTLED)
    text: str = page.run(TEXT)
    file = bench.folder / "wide.toml"
    assert file.read_text() == text, what
    assert page.run("window.rungwise.screen.fields") == tomllib.loads(text), what
    read = read_exercise(file)
    shown = page.run("window.rungwise.screen.read")
    assert page.run("window.rungwise.screen.problems") == [], what
    assert (shown["title"], shown["tempo"]) == (read.title, str(read.tempo)), what
    assert [row["heading"] for row in shown["lines"]] == [line.heading for line in read.lines]
    assert page.page.locator(".entry .line").count() == len(read.lines), what
    notes = [len(list(line.melody_notes)) for line in read.lines]
    page.wait(
        "window.rungwise.screen.staves.rows.every("
        "(row) => window.rungwise.screen.staves.bodies.has(row.key))"
    )
    sounded = page.run(
        """window.rungwise.screen.staves.music().map(
             (one) => one.items.rows ? one.items.rows.length : one.items.length)"""
    )
    assert sounded == notes, what
    for remark in REMARKS:
        assert remark in text, (what, remark)
    return text


def test_whatever_is_changed_in_either_view_all_agree_and_undo_takes_all_back(
    bench: Running, chromium: Any
) -> None:
    file = bench.folder / "wide.toml"
    file.write_text(WIDE)
    with desk(bench, chromium) as page:
        opened_on(page, "write", "wide.toml")
        hands = _Hands(page, seed=21)
        done = []
        for _ in range(STEPS):
            done.append(hands.step())
            last = agree(page, bench, " ".join(done))
        assert len(set(done)) > 5
        undo = page.page.get_by_role("button", name="Undo")
        while undo.is_enabled():
            undo.click()
        assert agree(page, bench, "undone") == WIDE
        redo = page.page.get_by_role("button", name="Redo")
        while redo.is_enabled():
            redo.click()
        assert agree(page, bench, "done again") == last


OFFERED = """async () => {
  const { headFields, lineFields } = await import("/workbench/pages/fields.js");
  const { words } = window.rungwise.screen;
  const found = new Set();
  const change = (changes) => changes.forEach(({ path }) => {
    const keys = path.filter((one) => typeof one === "string");
    keys.forEach((_, at) => found.add(keys.slice(0, at + 1).join(" ")));
  });
  const ladders = [undefined, { from: 40, to: 60, step: 10 }, { tempos: [40, 60] }];
  const kinds = ["run", "runs", "scale", "against", "each", "abc"];
  const forms = [
    ...ladders.map((ladder) => headFields({ title: "Steps", ladder }, change)),
    ...kinds.map((kind) => {
      const line = { [kind]: {}, ornament: "grip", walk: kind === "run" };
      return lineFields(0, line, words, change, () => {});
    }),
  ];
  const inside = (form) => [...form.querySelectorAll("input, select, textarea")];
  for (const control of forms.flatMap(inside)) {
    if (control.type === "checkbox") control.checked = !control.checked;
    else if (control.options) control.selectedIndex = control.options.length - 1;
    else control.value = "2";
    control.dispatchEvent(new Event("change"));
  }
  return [...found];
}"""
"""Change every field once, and tell the ways to what they write."""


def test_the_fields_offer_every_key_of_a_definition(bench: Running, chromium: Any) -> None:
    (bench.folder / "keys.toml").write_text(WIDE)
    with desk(bench, chromium) as page:
        opened_on(page, "write", "keys.toml")
        ways = [one.split(" ") for one in page.run(OFFERED)]
    # A pattern's own table stands in a line, and its keys are told with those of the top.
    offered = {(way[0] if len(way) == 2 else "", way[-1]) for way in ways}
    keys = {(table, key) for table, keys in definition_keys().items() for key in keys}
    # A book of movements and a chanter are written as text.
    assert keys - offered == {("", "ornament-book"), ("", "chanter")}
    assert offered <= keys
