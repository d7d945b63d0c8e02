"""WebKit as Debian has it, driven by its own WebDriver (W3C) on a screen that nobody sees.

Source of the commands: W3C, WebDriver, https://www.w3.org/TR/webdriver2/, chapters 8 to 13.
"""

from __future__ import annotations

import json
import os
import shutil
import socket
import subprocess
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from tests.limits import HANG_S
from tests.page.browsers import MAY_LACK

_DRIVER = shutil.which("WebKitWebDriver")
_SCREEN = shutil.which("Xvfb")
_BROWSER = next(Path("/usr/lib").glob("*/webkit2gtk-4*/MiniBrowser"), None)

needs_webkit = pytest.mark.skipif(
    not (_DRIVER and _SCREEN and _BROWSER) and MAY_LACK,
    reason="WebKit's driver or Xvfb is missing: see `make system-test`",
)

_KEYS = {"Enter": "\ue007", "Escape": "\ue00c", "ArrowUp": "\ue013", "ArrowDown": "\ue015"}
_KEYS |= {"ArrowLeft": "\ue012", "ArrowRight": "\ue014"}


class WebKit:
    """A session of the browser."""

    def __init__(self, port: int) -> None:
        self._at = f"http://127.0.0.1:{port}"
        asked = {"webkitgtk:browserOptions": {"binary": str(_BROWSER), "args": ["--automation"]}}
        session = self._call("POST", "/session", {"capabilities": {"alwaysMatch": asked}})
        self._at += f"/session/{session['sessionId']}"
        self._call("POST", "/timeouts", {"script": 1_000 * HANG_S})

    def _call(self, method: str, path: str, body: Any = None) -> Any:
        data = None if body is None else json.dumps(body).encode()
        header = {"Content-Type": "application/json"}
        asked = urllib.request.Request(self._at + path, data, header, method=method)
        with urllib.request.urlopen(asked, timeout=HANG_S) as answer:
            return json.load(answer)["value"]

    def open(self, address: str) -> None:
        """Open a page, and wait until it is loaded."""
        self._call("POST", "/url", {"url": address})

    def run(self, expression: str) -> Any:
        """Return what an expression in the page comes to."""
        script = {"script": f"return {expression}", "args": []}
        return self._call("POST", "/execute/sync", script)

    def work(self, function: str, *told: Any) -> Any:
        """Return what an asynchronous function in the page comes to."""
        script = (
            "const [told, done] = arguments;"
            f"({function})(...told).then(done, (error) => done({{ failed: String(error) }}))"
        )
        found = self._call("POST", "/execute/async", {"script": script, "args": [list(told)]})
        assert not (isinstance(found, dict) and "failed" in found), found
        return found

    def wait(self, expression: str) -> None:
        """Wait until an expression in the page comes to something true."""
        for _ in range(10 * HANG_S):
            if self.run(expression):
                return
            time.sleep(0.1)
        raise AssertionError(f"never came true: {expression}")

    def click(self, selector: str) -> None:
        """Click what a selector finds first."""
        found = self._call("POST", "/element", {"using": "css selector", "value": selector})
        (name,) = found.values()
        self._call("POST", f"/element/{name}/click", {})

    def press(self, key: str) -> None:
        """Press a key."""
        sign = _KEYS.get(key, key)
        steps = [{"type": kind, "value": sign} for kind in ("keyDown", "keyUp")]
        keyboard = {"type": "key", "id": "keyboard", "actions": steps}
        self._call("POST", "/actions", {"actions": [keyboard]})

    def close(self) -> None:
        """End the session."""
        self._call("DELETE", "")


@contextmanager
def webkit() -> Iterator[WebKit]:
    """Start the browser; end it, its driver and its screen after."""
    assert _DRIVER and _SCREEN
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    reading, writing = os.pipe()
    screen = subprocess.Popen(
        [_SCREEN, "-displayfd", str(writing), "-screen", "0", "1280x900x24"],
        pass_fds=[writing],
        stderr=subprocess.DEVNULL,
    )
    os.close(writing)
    with os.fdopen(reading) as told:
        display = told.readline().strip()
    environment = os.environ | {"DISPLAY": f":{display}", "LIBGL_ALWAYS_SOFTWARE": "1"}
    driver = subprocess.Popen(
        [_DRIVER, f"--port={port}"], env=environment, stderr=subprocess.DEVNULL
    )
    try:
        for _ in range(10 * HANG_S):
            with socket.socket() as tried:
                if tried.connect_ex(("127.0.0.1", port)) == 0:
                    break
            time.sleep(0.1)
        session = WebKit(port)
        try:
            yield session
        finally:
            session.close()
    finally:
        for process in (driver, screen):
            process.terminate()
            process.wait(HANG_S)
