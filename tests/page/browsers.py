"""The system's browsers, driven by Playwright: headless, and with no network but this machine."""

from __future__ import annotations

import os
import shutil
import subprocess
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import partial
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from tempfile import TemporaryDirectory
from threading import Thread
from typing import Any

import pytest

from tests.limits import HANG_S

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
FIREFOX = shutil.which("firefox-esr") or shutil.which("firefox")
_QUIET = (
    "--no-sandbox",  # as root there is none
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    # A name that is not this machine's own: over plain http such pages may do less.
    "--host-resolver-rules=MAP larkmoor.test 127.0.0.1",
)

MAY_LACK = os.environ.get("RUNGWISE_NEEDS_BROWSERS") != "1"
"""Whether tests may be skipped for want of a browser or of Node.js; pytest names those that are."""

needs_chromium = pytest.mark.skipif(
    CHROMIUM is None and MAY_LACK, reason="Chromium is missing: see `make system-test`"
)
needs_firefox = pytest.mark.skipif(
    FIREFOX is None and MAY_LACK, reason="Firefox is missing: see `make system-test`"
)

BOTH = [
    pytest.param("chromium", marks=needs_chromium),
    pytest.param("firefox", marks=needs_firefox),
]
AXE = Path(__file__).parent / "node_modules" / "axe-core" / "axe.min.js"
needs_axe = pytest.mark.skipif(
    not AXE.exists() and MAY_LACK, reason="axe-core is missing: see `make system-test`"
)

ANEW = """() => {
  rungwise.halt();
  localStorage.clear();
  rungwise.log.entries = [];
  for (const own of ["follow", "heardTag", "showHeard"]) delete rungwise[own];
  rungwise.tune(0, 0);
  const usual = { mode: "loop", dropout: false, noises: false, form: "written", gracenote: null };
  Object.assign(rungwise.choice, usual);
  rungwise._startedBar = 1;
  rungwise.build();
  rungwise.takeExercise(0);
  window.scrollTo(0, 0);
}"""
"""A script that brings a page back to how it opens, without the time that opening takes."""


PULSEAUDIO, PAREC = shutil.which("pulseaudio"), shutil.which("parec")
needs_sink = pytest.mark.skipif(
    (PULSEAUDIO is None or PAREC is None) and MAY_LACK,
    reason="PulseAudio is missing, without which Firefox plays nothing: see `make system-test`",
)
_SINK = "module-null-sink sink_name=larkmoor rate=44100 format=float32le channels=2"
_PATIENT = {"PULSE_LATENCY_MSEC": "500"}
"""Of Firefox to the sink: on a busy machine its sound is to come late rather than with gaps."""


@contextmanager
def sound_sink(*, patient: bool) -> Iterator[dict[str, str]]:
    """Start a server of sound without loudspeakers; gives what its clients' environment needs.

    Firefox has no clock for sound without one. What it plays is recorded with `recorded`.
    """
    if PULSEAUDIO is None:
        yield {}
        return
    with TemporaryDirectory() as folder:
        socket = Path(folder) / "socket"
        protocol = f"module-native-protocol-unix socket={socket} auth-anonymous=1"
        quiet_ones = ("--exit-idle-time=-1", "--use-pid-file=no", "--log-level=error")
        server = subprocess.Popen(
            [PULSEAUDIO, "-n", "--daemonize=no", *quiet_ones, "-L", _SINK, "-L", protocol],
            env=os.environ | {"XDG_RUNTIME_DIR": folder, "HOME": folder},
            stderr=subprocess.DEVNULL,
        )
        try:
            for _ in range(20 * HANG_S):
                if socket.exists() or server.poll() is not None:
                    break
                time.sleep(0.05)
            yield {"PULSE_SERVER": f"unix:{socket}"} | (_PATIENT if patient else {})
        finally:
            server.terminate()
            server.wait()


class Browsers:
    """Starts browsers by their names (`chromium` or `firefox`), each once."""

    def __init__(self, driver: Any, sink: dict[str, str]) -> None:
        self._driver = driver
        self._started: dict[str, Any] = {}
        self._sink = sink

    def __call__(self, name: str) -> Any:
        if name not in self._started:
            self._started[name] = (
                self._driver.chromium.launch(executable_path=CHROMIUM, args=list(_QUIET))
                if name == "chromium"
                else self._driver.firefox.launch(
                    channel="moz-firefox", executable_path=FIREFOX, env=os.environ | self._sink
                )
            )
        return self._started[name]

    @contextmanager
    def chromium_with(self, *flags: str) -> Iterator[Any]:
        """Start another Chromium that is told more, and end it."""
        one = self._driver.chromium.launch(executable_path=CHROMIUM, args=[*_QUIET, *flags])
        try:
            yield one
        finally:
            one.close()

    @contextmanager
    def recorded(self, path: Path) -> Iterator[None]:
        """Write all that Firefox plays meanwhile to a file: 32-bit floats, left and right."""
        assert PAREC is not None
        with path.open("wb") as file:
            recorder = subprocess.Popen(
                [PAREC, "--device=larkmoor.monitor", "--format=float32le", "--rate=44100"],
                env=os.environ | self._sink,
                stdout=file,
            )
            try:
                yield
            finally:
                recorder.terminate()
                recorder.wait()

    def close(self) -> None:
        """End all of them."""
        for one in self._started.values():
            one.close()


@contextmanager
def browsers(*, patient: bool = True) -> Iterator[Browsers]:
    """Give what starts a browser by its name; end all of them after.

    With `patient` Firefox plays half a second late, so that nothing is missing of what is recorded.
    """
    from playwright.sync_api import sync_playwright

    with sound_sink(patient=patient) as sink, sync_playwright() as driver:
        started = Browsers(driver, sink)
        try:
            yield started
        finally:
            started.close()


@dataclass
class Watched:
    """A page in a browser, and all that it said or asked for that it should not."""

    page: Any
    said: list[str] = field(default_factory=list)
    asked: list[str] = field(default_factory=list)

    def run(self, script: str, *told: Any) -> Any:
        """Return what a script in the page comes to."""
        return self.page.evaluate(script, *told)

    def wait(self, script: str) -> None:
        """Wait until a script in the page comes to something true."""
        # The page allows no script but its own, so it is asked again and again from outside.
        for _ in range(20 * HANG_S):
            if self.page.evaluate(script):
                return
            self.page.wait_for_timeout(50)
        raise AssertionError(f"never came true: {script}")

    def click(self, selector: str) -> None:
        """Click what a selector finds first."""
        self.page.click(selector)

    def press(self, key: str) -> None:
        """Press a key."""
        self.page.keyboard.press(key)


def watched_page(context: Any) -> Watched:
    """Return a new page, nothing opened in it yet."""
    page = context.new_page()
    page.set_default_timeout(1_000 * HANG_S)
    watched = Watched(page)
    page.on("console", lambda one: watched.said.append(f"{one.type}: {one.text}"))
    page.on("pageerror", lambda one: watched.said.append(f"error: {one}"))
    page.on("request", lambda one: watched.asked.append(one.url))
    return watched


def opened(context: Any, address: str) -> Watched:
    """Open a page of ours, and wait until it shows its first line."""
    watched = watched_page(context)
    watched.page.goto(address)
    watched.page.wait_for_selector(".line.chosen svg")
    return watched


def quiet(watched: Watched, address: str) -> None:
    """Fail if a page has said anything, or asked for anything but itself."""
    assert watched.said == []
    # Firefox does not tell of a page that it opens from disk.
    assert {one for one in watched.asked if not one.startswith(("data:", "blob:"))} <= {address}


@contextmanager
def served(folder: Path) -> Iterator[Callable[[str], str]]:
    """Hand a folder out on this machine; gives the address of a file by its name."""

    class Quiet(SimpleHTTPRequestHandler):
        def log_message(self, *_: Any) -> None:
            pass

    server = ThreadingHTTPServer(("127.0.0.1", 0), partial(Quiet, directory=str(folder)))
    thread = Thread(target=server.serve_forever, daemon=True)
    thread.start()
    try:
        yield lambda name: f"http://127.0.0.1:{server.server_port}/{name}"
    finally:
        server.shutdown()
        thread.join()
        server.server_close()
