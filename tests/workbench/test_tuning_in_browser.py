"""A chanter recorded, measured, kept and played with, in a browser against the real server.

Chromium has a microphone that plays a file; what it "hears" is a chanter of known pitches.
"""

from __future__ import annotations

import re
import subprocess
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from numpy.typing import NDArray
from scipy.signal import correlate

from renderer.notation.pitch import Note
from renderer.programs import ffmpegs
from tests.listening.chanters import Tuning, performance, random_tuning, sound_of, write
from tests.page.browsers import AXE, Browsers, Watched, needs_axe, needs_chromium
from tests.workbench.benches import Running, running, waited_for
from tests.workbench.desks import desk, held_up

pytestmark = needs_chromium
RATE = 48_000
ROUNDS = 4
"""How often the chanter plays the same in the file that is heard."""
MOST_RECORDINGS = 60
"""On a machine that does too many other things to listen."""


@pytest.fixture(scope="module")
def played(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Tuning]:
    rng = np.random.default_rng(20)
    tuning = random_tuning(rng, practice=False)
    sound, _ = sound_of(performance(rng, tuning, least_seconds=8), RATE, rng)
    # Chromium loses a piece where a file begins again: that is to come late.
    sound = np.tile(sound, ROUNDS)
    return write(tmp_path_factory.mktemp("played") / "chanter.wav", sound, RATE), tuning


@pytest.fixture(scope="module")
def listening(start: Browsers, played: tuple[Path, Tuning]) -> Iterator[Any]:
    """Chromium with a microphone."""
    flags = (
        "--use-fake-ui-for-media-stream",
        "--use-fake-device-for-media-stream",
        f"--use-file-for-fake-audio-capture={played[0]}",
    )
    with start.chromium_with(*flags) as one:
        yield one


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Running]:
    with running(tmp_path) as one:
        yield one


@pytest.fixture
def page(bench: Running, listening: Any) -> Iterator[Watched]:
    viewport = {"width": 1024, "height": 800}
    with desk(bench, listening, viewport=viewport, permissions=["microphone"]) as watched:
        watched.page.get_by_role("link", name="Chanters").click()
        watched.page.wait_for_selector("[data-screen=tune] .list h2")
        yield watched


def recorded(path: Path) -> NDArray[np.float32]:
    """Return the samples of a recording that the browser has made."""
    command = [ffmpegs()[0], "-v", "error", "-i", str(path), "-ac", "1", "-ar", str(RATE)]
    run = subprocess.run([*command, "-f", "f32le", "pipe:1"], capture_output=True, check=True)
    return np.frombuffer(run.stdout, "<f4")


def likenesses(recording: NDArray[np.float32], played: NDArray[np.float32]) -> NDArray[np.float64]:
    """Return how like each quarter of a second of a recording is to what was played, 1 for equal.

    What is played again and again lies beside all of it at one delay. Where a microphone has lost a
    piece, since a busy machine did not listen in time, what follows is early, and unlike.
    """
    rounds = np.tile(played, -(-len(recording) // len(played)) + 1)
    delay = int(np.argmax(correlate(rounds, recording, mode="valid", method="fft")))
    size = RATE // 4
    count = len(recording) // size
    ours, theirs = (
        one[: count * size].reshape(count, size).astype(np.float64)
        for one in (rounds[delay:], recording)
    )
    power = np.sqrt(np.sum(ours**2, axis=1) * np.sum(theirs**2, axis=1))
    return np.asarray(np.sum(ours * theirs, axis=1) / np.maximum(power, 1e-9))


def heard_hz(page: Watched) -> dict[str, float]:
    page.page.wait_for_selector(".result table")
    rows = page.page.locator(".result table").first.locator("tbody tr")
    return {
        row.locator("th").inner_text(): float(row.locator("td").first.inner_text())
        for row in rows.all()
    }


def test_a_recording_that_lacks_a_piece_is_told_from_a_whole_one(
    played: tuple[Path, Tuning],
) -> None:
    sound, _ = soundfile.read(played[0], dtype="float32")
    whole = np.roll(sound, -RATE)[: 6 * RATE]
    assert likenesses(whole, sound).min() > 0.999
    for lost in (RATE // 100, RATE // 20):
        assert likenesses(np.delete(whole, slice(2 * RATE, 2 * RATE + lost)), sound).min() < 0.5


def test_a_chanter_is_recorded_measured_kept_and_everything_plays_with_it(
    page: Watched, bench: Running, played: tuple[Path, Tuning]
) -> None:
    tuning = played[1]
    theirs = soundfile.read(played[0], dtype="float32")[0]
    # Long enough for every note, wherever the recording begins.
    least = len(theirs) // ROUNDS
    for _ in range(MOST_RECORDINGS):
        page.page.get_by_role("button", name="Record", exact=True).click()
        page.wait(
            "Number(/\\d+/.exec(document.querySelector('.said').textContent)?.[0] ?? 0)"
            f" > {least / RATE + 1}"
        )
        page.page.get_by_role("button", name="End the recording").click()
        heard = heard_hz(page)
        kept = max(bench.folder.glob("Recording *.webm"), key=lambda path: path.stat().st_mtime_ns)
        ours = recorded(kept)
        likeness = likenesses(ours, theirs)
        if len(ours) >= least and likeness.min() > 0.9:
            break
        # What is heard of a recording with gaps says nothing of how well it is heard.
        page.page.reload()
        page.page.wait_for_selector(".example svg")
    assert len(ours) >= least and likeness.min() > 0.9, likeness
    off = {note: 1200 * np.log2(heard[note.label] / tuning.hz[note]) for note in Note}
    assert max(map(abs, off.values())) < 3, off
    assert page.run("document.querySelector('.picture').naturalWidth") > 0
    page.page.get_by_label("What to call it").fill("Jamie")
    page.page.get_by_role("button", name="Keep it").click()
    page.wait("document.querySelector('.said').textContent.startsWith('Jamie.toml')")
    assert kept.exists() and (bench.folder / "Jamie.toml").exists()
    assert page.run("window.rungwise.hearing.data.pitches[0].label") == "Jamie"
    # The scale on the page sounds at those pitches.
    page.page.locator(".example g.note").first.click(force=True)
    page.wait("window.rungwise.hearing.isPlaying")
    # The page plays a practice chanter, an octave lower, unless it is told otherwise.
    low_a = 2 * page.run("window.rungwise.hearing.data.pitches[0].low_a_hz")
    assert abs(1200 * np.log2(low_a / tuning.low_a_hz)) < 3


def test_what_is_no_chanter_is_said_and_no_file_is_written(
    page: Watched, bench: Running, tmp_path: Path
) -> None:
    letter = {"name": "Letter.wav", "mimeType": "audio/wav", "buffer": b"Dear Jamie"}
    page.page.locator("input[type=file]").set_input_files(letter)
    page.wait("document.querySelector('.said').textContent.startsWith('Letter.wav:')")
    said = page.page.locator(".said").inner_text()
    assert re.search(r"Letter\.wav: .+\. .+\.", said)
    assert page.page.locator(".result table").count() == 0
    assert not list(bench.folder.glob("*.toml"))


ALLOWED_LATE = """() => {
  const { mediaDevices } = navigator;
  const own = mediaDevices.getUserMedia.bind(mediaDevices);
  window.streams = [];
  window.asked = [];
  window.allow = () => window.asked.splice(0).forEach((go) => go());
  mediaDevices.getUserMedia = async (...told) => {
    await new Promise((go) => window.asked.push(go));
    const stream = await own(...told);
    window.streams.push(stream);
    return stream;
  };
}"""
"""A script by which the microphone is allowed when `allow()` says so."""


def test_a_microphone_is_begun_once_and_not_after_its_screen_is_left(page: Watched) -> None:
    """However long somebody thinks about allowing it."""
    page.run(ALLOWED_LATE)
    record = page.page.get_by_role("button", name="Record", exact=True)
    for _ in range(2):
        record.click()
    page.run("allow()")
    page.page.get_by_role("button", name="End the recording").wait_for()
    assert page.run("streams.length") == 1
    is_off = "streams.at(-1)?.getTracks().every((one) => one.readyState === 'ended')"
    page.page.get_by_role("link", name="Library").click()
    page.page.wait_for_selector("[data-screen=library] .own > h2")
    assert page.run(is_off)
    page.page.get_by_role("link", name="Chanters").click()
    page.page.wait_for_selector("[data-screen=tune] .list h2")
    record.click()
    page.page.get_by_role("link", name="Library").click()
    page.page.wait_for_selector("[data-screen=library] .own > h2")
    page.run("allow()")
    page.wait(f"streams.length === 2 && {is_off}")


def bring(page: Watched, played: Path) -> None:
    sound = {"name": "J.wav", "mimeType": "audio/wav", "buffer": played.read_bytes()}
    page.page.locator("input[type=file]").set_input_files(sound)
    heard_hz(page)


def test_the_scale_that_was_chosen_last_is_compared_with(
    page: Watched, played: tuple[Path, Tuning]
) -> None:
    bring(page, played[0])
    scales = page.page.get_by_label("Compared with the scale")
    others = [
        one for one in scales.locator("option").all() if not one.evaluate("one => one.selected")
    ]
    first, last = (str(one.get_attribute("value")) for one in others[:2])
    with held_up(page, "job") as is_held:
        scales.select_option(first)
        waited_for(is_held)
        scales.select_option(last)
    page.wait("!document.querySelector('.files button.main').disabled")
    assert scales.input_value() == last
    assert page.page.locator(".said").inner_text() == ""


@needs_axe
def test_the_screen_of_chanters_is_for_everyone(page: Watched, played: tuple[Path, Tuning]) -> None:
    bring(page, played[0])
    page.run(AXE.read_text("utf-8"))
    found = page.run("axe.run(document, {resultTypes: ['violations']})")
    grave = [
        (one["id"], [node["html"][:160] for node in one["nodes"]])
        for one in found["violations"]
        if one["impact"] in ("serious", "critical")
    ]
    assert grave == []
