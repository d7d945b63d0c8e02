"""From an empty folder to a class that has its first exercise, by presses and keys alone.

What a teacher does between two lessons: write an exercise, hear a line, print it, hand it out to
three learners, change a note, hand it out again. Nothing here asks the server by itself, and how
many presses and keys it takes is printed (`pytest -s`). A choice from a list counts as two presses.
"""

from __future__ import annotations

import base64
import hashlib
import io
import re
import zipfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from pypdf import PdfReader

from renderer import expand, read_exercise
from renderer.delivery.sheet.fitting import pages_of
from tests.page.browsers import Watched, needs_chromium
from tests.sound.measuring import onsets_s
from tests.workbench.benches import running
from tests.workbench.desks import desk

RATE = 44_100
HEARD_LINE = 3
MOST_PRESSES = 42
"""What it takes today; each one more is a step back."""
MOST_ROUNDS = 60
"""Of a line, on a machine that has too much else to do to be in time with the first ones."""
NEAR_S = 0.004
"""How near a note begins to where it was asked for."""

# Takes what sounds on the browser's own thread for sound.
TAP = """class Tap extends AudioWorkletProcessor {
  process([input]) {
    if (input.length) this.port.postMessage([currentFrame, input[0].slice()]);
    return true;
  }
}
registerProcessor("tap", Tap);"""
LISTEN = """async (tap) => {
  const context = new AudioContext({ sampleRate: 44100 });
  const address = URL.createObjectURL(new Blob([tap], { type: "text/javascript" }));
  await context.audioWorklet.addModule(address);
  const node = new AudioWorkletNode(context, "tap");
  window.taken = [];
  node.port.onmessage = (event) => window.taken.push(event.data);
  const { connect } = AudioNode.prototype;
  AudioNode.prototype.connect = function (to, ...more) {
    if (to === context.destination) connect.call(this, node);
    return connect.call(this, to, ...more);
  };
  window.AudioContext = function () { return context; };
}"""
HEARD_TO_ITS_END = """(() => {
  const { player } = window.rungwise.hearing;
  const round = player.rendition?.sections[%d];
  return Boolean(round) && window.taken.at(-1)?.[0] > player._origin + round.endFrame;
})()"""
ROUND = """(number) => {
  const { player } = window.rungwise.hearing;
  const { frame, endFrame } = player.rendition.sections[number];
  const first = player._origin + frame;
  const all = new Float32Array(endFrame - frame);
  for (const [at, one] of window.taken) {
    one.forEach((value, n) => {
      if (at + n >= first && at + n < first + all.length) all[at + n - first] = value;
    });
  }
  const bytes = new Uint8Array(all.buffer);
  let text = "";
  for (let n = 0; n < bytes.length; n += 32768) {
    text += String.fromCharCode(...bytes.subarray(n, n + 32768));
  }
  return btoa(text);
}"""


@dataclass
class Hands:
    """Somebody at the page, whose presses and keys are counted."""

    page: Any
    presses: int = 0
    keys: int = 0

    def press(self, where: Any) -> None:
        where.click()
        self.presses += 1

    def button(self, name: str, among: Any = None) -> None:
        self.press((among or self.page).get_by_role("button", name=name))

    def link(self, name: str) -> None:
        self.press(self.page.get_by_role("link", name=name, exact=True))

    def choose(self, where: Any, value: str) -> None:
        where.select_option(value)
        self.presses += 2

    def type(self, text: str, end: str = "Tab") -> None:
        self.page.keyboard.type(text)
        self.page.keyboard.press(end)
        self.keys += len(text) + 1

    def instead(self, where: Any, text: str) -> None:
        """Press a field and type something else into it."""
        self.press(where)
        self.page.keyboard.press("ControlOrMeta+a")
        self.keys += 1
        self.type(text, "Enter")

    def saved(self, press: Any) -> Any:
        with self.page.expect_download() as download:
            self.press(press)
        return download.value


def heard(watched: Watched, number: int) -> NDArray[np.float32]:
    """Return what was heard of a round, as soon as it has come to its end."""
    watched.wait(HEARD_TO_ITS_END % number)
    return np.frombuffer(base64.b64decode(watched.run(ROUND, number)), "<f4")


def files_in(folder: Path) -> dict[str, str]:
    return {
        path.relative_to(folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and not path.name.startswith("manifest")
    }


@needs_chromium
def test_an_exercise_is_written_heard_printed_and_handed_out(tmp_path: Path, chromium: Any) -> None:
    folder = tmp_path / "Larkmoor"
    with running(folder) as bench:
        # The page's own rules keep a worklet of ours out, which only listens.
        viewport = {"width": 1440, "height": 900}
        with desk(bench, chromium, viewport=viewport, bypass_csp=True) as watched:
            hands = Hands(watched.page)
            file = written(hands, watched, folder)
            what_is_heard_is_what_was_written(hands, watched, file)
            what_is_printed_is_what_was_written(printed(hands), file)
            handed_out(hands, folder)
            changed_and_handed_out_again(hands, watched, folder)
    print(f"\n{hands.presses} presses and {hands.keys} keys")
    assert hands.presses <= MOST_PRESSES


def written(hands: Hands, watched: Watched, folder: Path) -> Path:
    """All rising and falling thirds, with doublings opened out."""
    page = hands.page
    hands.button("New exercise")
    page.wait_for_selector(".entry svg")
    hands.button("Title, tempo and what holds for all lines")
    hands.instead(page.get_by_label("Title", exact=True), "Thirds")
    page.wait_for_selector(".head h2:has-text('Thirds')")
    hands.button("Add a line")
    entry = page.locator(".entry").nth(1)
    hands.choose(entry.locator("[data-key=kind] select"), "runs")
    hands.choose(entry.locator("[data-key=direction] select"), "both")
    watched.wait("window.rungwise.screen.fields.lines[1].runs?.direction === 'both'")
    hands.instead(entry.locator("[data-key=ornament] input"), "doubling")
    hands.choose(entry.locator("[data-key=inner] select"), "1/2 beat")
    watched.wait("window.rungwise.screen.fields.lines[1].inner === '1/2 beat'")
    watched.wait("window.rungwise.screen.read.lines.length > 2 && !window.rungwise.screen.isDirty")
    (file,) = folder.glob("*.toml")
    exercise = read_exercise(file)
    thirds = [[int(one.note) for one in line.melody_notes] for line in exercise.lines[1:]]
    rising = [[low, low + 1, low + 2] for low in range(5)]
    assert sorted(thirds) == sorted(rising + [run[::-1] for run in rising])
    return file


def what_is_heard_is_what_was_written(hands: Hands, watched: Watched, file: Path) -> None:
    watched.wait("window.rungwise.hearing.player !== null")
    # In place before the first press, so that the very first note is taken.
    watched.run(LISTEN, TAP)
    exercise = read_exercise(file)
    line = exercise.only(HEARD_LINE)
    chanter = [one for one in expand(line, exercise.tempo, count_in=0) if one.note is not None]
    lasts = float(chanter[-1].start + chanter[-1].length)
    starts = np.array([float(one.start - chanter[0].start) for one in chanter])
    hands.press(hands.page.get_by_label(f"Play line {HEARD_LINE}", exact=True))
    # A round that is to sound soon may be laid late on a busy machine, but not one that is far off.
    for number in range(MOST_ROUNDS):
        found = onsets_in(heard(watched, number), lasts)
        if len(found) == len(starts) and np.abs(found - starts).max() < NEAR_S:
            break
    hands.button("Stop")
    assert len(found) == len(starts), (found, starts)
    assert np.abs(found - starts).max() < NEAR_S
    print(f"onsets within {1000 * np.abs(found - starts).max():.1f} ms of what was asked for")


def onsets_in(sound: NDArray[np.float32], lasts: float) -> NDArray[np.float64]:
    """Return when notes begin in the first so many seconds that are no silence."""
    sound = sound[int(np.argmax(np.abs(sound) > 0.001)) :][: int(lasts * RATE)]
    lead = np.zeros(RATE // 4, np.float32)
    found = onsets_s(np.concatenate((lead, sound)), RATE) - 0.25
    # Beside silence every spectrum is another: what is found there many times counts once.
    found = found[np.diff(found, prepend=-1.0) > 0.01]
    return np.asarray(found[found < lasts - 0.1])


def what_is_printed_is_what_was_written(pdf: bytes, file: Path) -> None:
    """By a reader that is not ours: title, meter, every line by its number, and whole pages."""
    exercise = read_exercise(file)
    reader = PdfReader(io.BytesIO(pdf), strict=True)
    assert reader.metadata is not None and reader.metadata.title == exercise.title
    pages = [page.extract_text() for page in reader.pages]
    assert pages[0].startswith(exercise.title) and "3/4" in pages[0]
    # Headings stand behind the number of their line; a line without one is called by it.
    text = "\n".join(pages)
    headed = {n: one.heading for n, one in enumerate(exercise.lines, start=1) if one.heading}
    assert dict(re.findall(r"(\d+)  (\S[^\n\d]*?) \d", text)) == {
        str(number): heading for number, heading in headed.items()
    }
    assert re.findall(r"^Line (\d+)$", text, re.MULTILINE) == [
        str(n) for n, _ in enumerate(exercise.lines, start=1) if n not in headed
    ]
    assert len(pages) == pages_of(exercise)


def printed(hands: Hands) -> bytes:
    page = hands.page
    hands.button("Sheet")
    page.get_by_alt_text("Page 1").wait_for()
    download = hands.saved(page.get_by_role("button", name="Save as PDF"))
    hands.button("Close")
    return Path(download.path()).read_bytes()


def handed_out(hands: Hands, folder: Path) -> None:
    """Three learners at two pitches, each with the exercise and one that comes along."""
    page = hands.page
    hands.link("Library")
    hands.button("New class")
    page.wait_for_selector(".people input")
    hands.instead(page.get_by_label("Name: Learner 1"), "Jamie")
    hands.choose(page.get_by_label("Pitch: Jamie"), "B flat")
    for name in ("Ailsa", "Rory"):
        hands.button("Add a learner")
        page.wait_for_function("document.activeElement?.value?.startsWith('Learner ')")
        hands.type(name, "Enter")
        page.get_by_label(f"Name: {name}").wait_for()
    hands.choose(page.get_by_label("Pitch: Ailsa"), "A")
    hands.choose(page.get_by_label("Pitch: Rory"), "A")
    hands.choose(page.get_by_label("An exercise to add"), "first-gracenotes")
    hands.button("Add it")
    page.get_by_text("First gracenotes").first.wait_for()
    hands.instead(page.get_by_label("Tempos", exact=True), "60")
    page.wait_for_selector(".result tbody tr >> nth=2")
    page.wait_for_selector(".play:enabled")
    hands.button("Make it")
    page.wait_for_selector(".outcome")
    for name, pitch in (("Jamie", "B flat"), ("Ailsa", "A"), ("Rory", "A")):
        download = hands.saved(page.get_by_label(f"Save: {name}.zip"))
        inside = zipfile.ZipFile(io.BytesIO(Path(download.path()).read_bytes()))
        assert inside.testzip() is None
        tracks = [one for one in inside.namelist() if one.endswith(".mp3")]
        assert len(tracks) == 2 and all(f" - {pitch} - " in one for one in tracks)
        assert sum(1 for one in inside.namelist() if one.endswith("sheet.pdf")) == 2


def changed_and_handed_out_again(hands: Hands, watched: Watched, folder: Path) -> None:
    """One note of the exercise: what is of the other one stays as it is."""
    page, root = hands.page, folder / "out" / "Class"
    before = files_in(root)
    hands.link("Library")
    hands.link("Thirds")
    page.wait_for_selector(".entry svg")
    hands.button("Change", page.locator(".entry").nth(0))
    hands.instead(page.locator("[data-key=run] input"), "low A, B, D")
    hands.link("Library")
    hands.link("Class")
    page.wait_for_selector("[data-screen=hand] .play:enabled")
    hands.button("Make it")
    page.wait_for_selector(".outcome")
    listed = page.get_by_label("Made", exact=True).locator(".reasons span").all_text_contents()
    after = files_in(root)
    assert set(after) == set(before)
    changed = {path for path in after if after[path] != before[path]}
    own = {path for path in changed if "Thirds" in path}
    assert {path for path in own if path.endswith(".mp3")} == {
        path for path in after if path.endswith(".mp3") and "Thirds" in path
    }
    assert not [path for path in changed if "First gracenotes" in path]
    # Whatever has changed was made and said; the plans were made too, and came out as they were.
    assert {path for path in changed if not path.endswith(".zip")} <= set(listed)
    assert listed and all("Thirds" in path for path in listed)
    print(f"{len(listed)} files made again of {len(after)}")
