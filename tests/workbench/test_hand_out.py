"""`rungwise serve`, attacked: paths, links, hosts, methods, a whole school at once."""

from __future__ import annotations

import asyncio
import os
import re
import socket
import subprocess
import sys
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from http.client import HTTPConnection, HTTPResponse
from pathlib import Path

import pytest
import segno
from typer.testing import CliRunner

from renderer.commands.app import app
from renderer.workbench.hand_out import (
    is_handed_out,
    listed,
    listening_socket,
    own_addresses,
)
from tests.limits import HANG_S

TRACK = bytes(range(256)) * 800


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    around = tmp_path_factory.mktemp("around")
    (around / "secret.html").write_text("secret")
    root = around / "Larkmoor <juniors>"
    (root / "Jamie").mkdir(parents=True)
    (root / "page.html").write_text("<p>page</p>")
    (root / "Jamie" / "line 1 & 2 #3.mp3").write_bytes(TRACK)
    (root / "notes.docx").write_text("private")
    (root / ".hidden.html").write_text("hidden")
    (root / ".git").mkdir()
    (root / ".git" / "page.html").write_text("hidden")
    (root / "out.html").symlink_to(around / "secret.html")
    (root / "up").symlink_to(around)
    (root / "within.html").symlink_to(root / "page.html")
    return root


@pytest.fixture(scope="module")
def port(folder: Path) -> Iterator[int]:
    """A server of its own process, as the command starts it."""
    environment = os.environ | {"PYTHONUNBUFFERED": "1"}
    with subprocess.Popen(
        [sys.executable, "-m", "renderer", "serve", str(folder), "--port", "0"],
        stdout=subprocess.PIPE,
        text=True,
        env=environment,
    ) as process:
        try:
            assert process.stdout is not None
            found = re.search(r"http://127\.0\.0\.1:(\d+)/", process.stdout.readline())
            assert found is not None
            yield int(found[1])
        finally:
            process.terminate()
            process.wait(HANG_S)


def asked(
    port: int,
    path: str,
    *,
    method: str = "GET",
    host: str | None = None,
    headers: dict[str, str] | None = None,
) -> tuple[HTTPResponse, bytes]:
    connection = HTTPConnection("127.0.0.1", port, timeout=HANG_S)
    connection.putrequest(method, path, skip_host=True)
    connection.putheader("Host", host or f"127.0.0.1:{port}")
    for name, value in (headers or {}).items():
        connection.putheader(name, value)
    connection.endheaders()
    response = connection.getresponse()
    body = response.read()
    connection.close()
    return response, body


def test_the_list_names_what_is_handed_out_and_nothing_else(port: int) -> None:
    response, body = asked(port, "/")
    text = body.decode()
    assert response.status == 200
    hrefs = re.findall(r'href="([^"]+)"', text)
    assert hrefs[1:] == ["page.html", "within.html", "Jamie/line%201%20%26%202%20%233.mp3"]
    assert "Larkmoor &lt;juniors&gt;" in text
    for name in ("docx", "hidden", "secret", "out.html", ".git"):
        assert name not in text
    followed, track = asked(port, f"/{hrefs[-1]}")
    assert followed.status == 200
    assert track == TRACK


@pytest.mark.parametrize(
    "path",
    [
        "/../secret.html",
        "/%2e%2e/secret.html",
        "/..%2fsecret.html",
        "/Jamie/../../secret.html",
        "/Jamie/%2e%2e/%2e%2e/secret.html",
        "//etc/passwd",
        "/etc/passwd",
        "/..\\secret.html",
        "/%5c..%5csecret.html",
        "/page.html%00.mp3",
        "/%00",
        "/" + "a" * 5_000 + ".html",
        "/" + "a/" * 2_000 + "b.html",
        "/out.html",
        "/up/secret.html",
        "/.hidden.html",
        "/.git/page.html",
        "/Jamie/../.hidden.html",
        "/notes.docx",
        "/Jamie",
        "/Jamie/",
        "/.",
        "/\ud83d".encode("utf-8", "surrogatepass").decode("latin-1"),
        "/%ff%fe.html",
    ],
    ids=lambda path: path[:30],
)
def test_no_path_leads_to_what_is_not_handed_out(port: int, path: str) -> None:
    with socket.create_connection(("127.0.0.1", port), timeout=HANG_S) as line:
        head = f"GET {path} HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n"
        line.sendall(head.encode("latin-1"))
        answer = b""
        while piece := line.recv(65_536):
            answer += piece
    status = int(answer.split(b" ", 2)[1])
    assert status in (307, 400, 404), answer[:200]
    for secret in (b"secret", b"hidden", b"private", b"root:"):
        assert secret not in answer.split(b"\r\n\r\n", 1)[1]


def test_a_link_within_the_folder_is_a_file_like_any_other(port: int) -> None:
    assert asked(port, "/within.html")[1] == b"<p>page</p>"


@pytest.mark.parametrize(
    "host",
    ["evil.example", "evil.example:80", "127.0.0.1.evil.example", "[::1]", "", "169.254.1.1"],
)
def test_another_host_than_this_machine_is_refused(port: int, host: str) -> None:
    response, body = asked(port, "/page.html", host=host or " ")
    assert response.status == 400
    assert b"page" not in body


@pytest.mark.parametrize("method", ["POST", "PUT", "DELETE", "PATCH", "OPTIONS", "PROPFIND"])
def test_nothing_can_be_written(port: int, folder: Path, method: str) -> None:
    before = sorted(path.name for path in folder.rglob("*"))
    for path in ("/", "/page.html", "/new.html"):
        assert asked(port, path, method=method)[0].status in (404, 405)
    assert sorted(path.name for path in folder.rglob("*")) == before
    assert (folder / "page.html").read_text() == "<p>page</p>"


TRACK_PATH = "/Jamie/line%201%20%26%202%20%233.mp3"


@pytest.mark.parametrize(
    ("wanted", "status", "piece"),
    [
        ("bytes=0-0", 206, TRACK[:1]),
        ("bytes=1000-1999", 206, TRACK[1000:2000]),
        ("bytes=200000-", 206, TRACK[200_000:]),
        ("bytes=-256", 206, TRACK[-256:]),
        ("bytes=9999999-", 416, None),
        ("bytes=5-2", 416, None),
    ],
)
def test_a_telephone_can_ask_for_a_piece_of_a_track(
    port: int, wanted: str, status: int, piece: bytes | None
) -> None:
    response, body = asked(port, TRACK_PATH, headers={"Range": wanted})
    assert response.status in (status, 400 if status == 416 else status)
    if piece is not None:
        assert body == piece
        assert response.headers["content-range"].endswith(f"/{len(TRACK)}")
    assert asked(port, TRACK_PATH, method="HEAD")[0].headers["content-length"] == str(len(TRACK))


def test_what_is_handed_out_is_taken_for_what_it_is(port: int) -> None:
    response, _ = asked(port, "/page.html")
    assert response.headers["content-type"].startswith("text/html")
    assert response.headers["x-content-type-options"] == "nosniff"
    assert response.headers["cross-origin-resource-policy"] == "same-origin"
    assert "access-control-allow-origin" not in response.headers
    assert response.headers.get("server") is None
    tag = response.headers["etag"]
    again, body = asked(port, "/page.html", headers={"If-None-Match": tag})
    assert (again.status, body) == (304, b"")


def test_a_thousand_requests_at_once_are_all_answered(port: int) -> None:
    import resource

    _, most = resource.getrlimit(resource.RLIMIT_NOFILE)
    resource.setrlimit(resource.RLIMIT_NOFILE, (min(most, 8_192), most))
    head = f"GET {TRACK_PATH} HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n".encode()

    async def one(gate: asyncio.Event) -> bool:
        reader, writer = await asyncio.open_connection("127.0.0.1", port)
        # All have come before the first one asks.
        await gate.wait()
        writer.write(head)
        await writer.drain()
        answer = await reader.read(-1)
        writer.close()
        return answer.startswith(b"HTTP/1.1 200") and answer.endswith(TRACK)

    async def all_of_them() -> list[bool]:
        gate = asyncio.Event()
        waiting = [asyncio.create_task(one(gate)) for _ in range(1_000)]
        await asyncio.sleep(0)
        gate.set()
        return await asyncio.gather(*waiting)

    # In a thread of its own: that of the tests may have a browser's loop of events.
    with ThreadPoolExecutor(1) as pool:
        assert pool.submit(lambda: asyncio.run(all_of_them())).result() == [True] * 1_000
    assert asked(port, "/page.html")[0].status == 200


def test_without_lan_only_this_machine_is_answered() -> None:
    with listening_socket(0, lan=False) as taking:
        assert taking.getsockname()[0] == "127.0.0.1"
    assert set(own_addresses(lan=False)) == {"127.0.0.1", "localhost"}
    assert set(own_addresses(lan=True)) > {"127.0.0.1", "localhost"}


_LIGHT = {"█": (1, 1), "▀": (1, 0), "▄": (0, 1), " ": (0, 0)}
"""Whether the upper and the lower of two modules of a printed code are light."""

_QUIET = 4
"""How many modules around a QR code are light (ISO/IEC 18004)."""


def test_the_network_is_told_the_address_as_text_and_as_a_code(folder: Path) -> None:
    with subprocess.Popen(
        [sys.executable, "-m", "renderer", "serve", str(folder), "--lan", "--port", "0"],
        stdout=subprocess.PIPE,
        text=True,
        env=os.environ | {"PYTHONUNBUFFERED": "1", "PYTHONIOENCODING": "utf-8"},
    ) as process:
        try:
            assert process.stdout is not None
            printed: list[str] = []
            while not printed or "Ctrl-C" not in printed[-1]:
                printed.append(process.stdout.readline().rstrip("\n"))
                assert printed[-1] or process.poll() is None
            found = re.match(r"http://([^:/]+):(\d+)/", printed[-1])
            assert found is not None
            host, port = found[1], int(found[2])
            # By that name, which without --lan would be refused, it answers.
            assert host not in ("127.0.0.1", "localhost") or own_addresses(lan=True)[0] == host
            assert asked(port, "/page.html", host=f"{host}:{port}")[1] == b"<p>page</p>"
            assert asked(port, "/page.html", host="evil.example")[0].status == 400
        finally:
            process.terminate()
            process.wait(HANG_S)
    rows: list[list[int]] = []
    for line in printed:
        if line and set(line) <= set(_LIGHT):
            rows += [list(half) for half in zip(*(_LIGHT[sign] for sign in line), strict=True)]
    matrix = [list(row) for row in segno.make(found[0], error="m", micro=False).matrix]
    size = len(matrix)
    inside = slice(_QUIET, _QUIET + size)
    assert [[1 - light for light in row[inside]] for row in rows[inside]] == matrix
    around = rows[:_QUIET] + rows[inside.stop : inside.stop + _QUIET]
    assert all(all(row) for row in around)
    assert all(all(row[:_QUIET] + row[inside.stop :]) for row in rows[inside])


def test_wrong_words_are_said_in_one_line(tmp_path: Path) -> None:
    def said(*arguments: str) -> str:
        run = subprocess.run(
            [sys.executable, "-m", "renderer", "serve", *arguments],
            capture_output=True,
            text=True,
            timeout=HANG_S,
            check=False,
        )
        assert run.returncode == 2
        assert "Traceback" not in run.stderr
        return run.stderr

    assert "there is no such folder" in said(str(tmp_path / "nowhere"))
    assert "nothing to hand out" in said(str(tmp_path))
    (tmp_path / "page.html").write_text("page")
    with listening_socket(0, lan=False) as taking:
        taken = str(taking.getsockname()[1])
        assert f"port {taken} cannot be used" in said(str(tmp_path), "--port", taken)


def test_what_is_handed_out_is_told_by_its_name() -> None:
    for name in ("page.html", "Jamie/track.MP3", "a b/ü.pdf"):
        assert is_handed_out(name)
    for name in ("", ".html", "a/.b/c.html", "manifest.json", "key.pem", "page.html.bak"):
        assert not is_handed_out(name)


def test_a_folder_too_full_is_listed_up_to_a_bound(tmp_path: Path) -> None:
    for number in range(2_050):
        (tmp_path / f"{number:04}.mp3").touch()
    (tmp_path / "page.html").touch()
    names = listed(tmp_path)
    assert len(names) == 2_000
    assert names[0] == "page.html"


def test_help_says_who_can_read_the_folder() -> None:
    run = CliRunner().invoke(app, ["serve", "--help"])
    assert "Everybody in that network" in run.output.replace("\n", " ").replace("  ", " ")
