"""A workbench in a process of its own, as the command starts it, and what its page asks."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from http.client import HTTPConnection
from pathlib import Path
from threading import Event
from typing import Any, TypeVar

from tests.limits import HANG_S

Found = TypeVar("Found")

WIDE = """# Larkmoor, for the evening class
title = "Doublings over a wide step"
meter = "3/4"
tempo = 60                        # beats per minute

[gracenotes]
length = "45 ms"                  # the same at every tempo

[[lines]]
heading = "Low A to D"
run = "low A, B, D"               # one beat each
ornament = "doubling"
walk = true

# as players do
[[lines]]
heading = "The same, closed"
run = "low A, B, D"
ornament = "doubling"
inner = "book"

[[lines]]
heading = "Written out"
abc = "{g}A2 {d}A2 {e}A2 | {gBd}B6"

[ladder]
from = 50
to = 80
step = 10
"""


def waited_for(look: Callable[[], Found | None]) -> Found:
    """Look again and again until there is something."""
    pause = Event()
    for _ in range(100 * HANG_S):
        found = look()
        if found:
            return found
        pause.wait(0.01)
    raise AssertionError("it never came")


@dataclass
class Running:
    """A workbench that runs: its folder, port, token and process."""

    folder: Path
    port: int
    token: str
    process: subprocess.Popen[str]

    @property
    def address(self) -> str:
        """The address that was printed."""
        return f"http://127.0.0.1:{self.port}/#{self.token}"

    def asked(
        self,
        path: str,
        body: bytes | None = None,
        *,
        method: str | None = None,
        **headers: str | None,
    ) -> tuple[int, bytes, dict[str, str]]:
        """Return status, body and headers of an answer; headers that are None are left out."""
        told: dict[str, str | None] = {
            "Host": f"127.0.0.1:{self.port}",
            "X-Rungwise-Token": self.token,
            "Origin": f"http://127.0.0.1:{self.port}",
            "Sec-Fetch-Site": "same-origin",
            "Content-Type": "application/json",
        }
        told |= {name.replace("_", "-"): value for name, value in headers.items()}
        connection = HTTPConnection("127.0.0.1", self.port, timeout=HANG_S)
        verb = method or ("GET" if body is None else "POST")
        connection.putrequest(verb, path, skip_host=True, skip_accept_encoding=True)
        for name, value in told.items():
            if value is not None:
                connection.putheader(name, value)
        if body is not None and "Content-Length" not in told:
            connection.putheader("Content-Length", str(len(body)))
        with suppress(BrokenPipeError, ConnectionResetError):  # refused before all of it was sent
            connection.endheaders(body)
        response = connection.getresponse()
        found = response.status, response.read(), dict(response.getheaders())
        connection.close()
        return found

    def answer(self, what: str, status: int = 200, **asked: Any) -> Any:
        """Return what the page is answered; fail unless it is answered or refused with that."""
        got, body, _ = self.asked(f"/api/{what}", json.dumps(asked).encode())
        answer = json.loads(body)
        assert answer.get("refused", got) == status, body[:500]
        return answer


@contextmanager
def running(folder: Path, port: int = 0) -> Iterator[Running]:
    """Start a workbench on a folder, at any port that is free if none is named; end it after."""
    environment = os.environ | {"PYTHONUNBUFFERED": "1"}
    with subprocess.Popen(
        [
            sys.executable,
            "-m",
            "renderer",
            "open",
            str(folder),
            "--no-browser",
            "--port",
            str(port),
        ],
        stdout=subprocess.PIPE,
        text=True,
        env=environment,
    ) as process:
        try:
            assert process.stdout is not None
            found = re.search(r"http://127\.0\.0\.1:(\d+)/#(\S+)", process.stdout.readline())
            assert found is not None
            yield Running(folder, int(found[1]), found[2], process)
        finally:
            process.terminate()
            process.wait(HANG_S)
