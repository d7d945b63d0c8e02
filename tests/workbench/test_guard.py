"""The workbench, attacked: names of hosts, other pages, tokens, forms, paths, sizes."""

from __future__ import annotations

import json
import select
import socket
from collections.abc import Iterator
from contextlib import suppress

import pytest

from renderer.workbench.connections import MOST
from tests.limits import HANG_S
from tests.workbench.benches import WIDE, Running, running

OPEN = json.dumps({"name": "wide.toml"}).encode()


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Running]:
    around = tmp_path_factory.mktemp("around")
    (around / "secret.toml").write_text("secret")
    folder = around / "Larkmoor"
    folder.mkdir()
    (folder / "wide.toml").write_text(WIDE)
    (folder / ".hidden.toml").write_text("secret")
    (folder / "out.toml").symlink_to(around / "secret.toml")
    (folder / "up").symlink_to(around)
    with running(folder) as one:
        yield one


def test_what_the_page_asks_is_answered(bench: Running) -> None:
    status, body, headers = bench.asked("/api/open", OPEN)
    assert status == 200
    assert json.loads(body)["text"] == WIDE
    policy = headers["content-security-policy"]
    assert "default-src 'none'" in policy and "script-src 'self'" in policy
    assert "unsafe" not in policy
    assert "access-control-allow-origin" not in headers


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({"Host": "evil.example"}, 421),
        ({"Host": "127.0.0.1"}, 421),
        ({"Host": "127.0.0.1.evil.example:{port}"}, 421),
        ({"Host": "localhost:1"}, 421),
        ({"Host": ""}, 421),
        ({"Host": None}, 400),
        ({"Origin": "http://evil.example"}, 403),
        ({"Origin": "null"}, 403),
        ({"Origin": "https://127.0.0.1:{port}"}, 403),
        ({"Origin": "http://127.0.0.1:1"}, 403),
        ({"Sec_Fetch_Site": "cross-site"}, 403),
        ({"Sec_Fetch_Site": "same-site"}, 403),
        ({"Sec_Fetch_Site": "none"}, 403),
        ({"X_Rungwise_Token": None}, 401),
        ({"X_Rungwise_Token": ""}, 401),
        ({"X_Rungwise_Token": "a" * 43}, 401),
        ({"X_Rungwise_Token": "\xe9\xe8"}, 401),
        ({"Content_Type": "text/plain"}, 415),
        ({"Content_Type": "application/x-www-form-urlencoded"}, 415),
        ({"Content_Type": "multipart/form-data; boundary=application/json"}, 415),
        ({"Content_Type": None}, 415),
        ({"Content_Length": "99999999999"}, 413),
        ({"Content_Length": "٣"}, 413),
    ],
    ids=str,
)
def test_what_anybody_else_asks_is_refused(
    bench: Running, headers: dict[str, str | None], status: int
) -> None:
    told = {
        name: None if value is None else value.replace("{port}", str(bench.port))
        for name, value in headers.items()
    }
    if "٣" in told.values():
        told = {"Content_Length": "٣".encode().decode("latin-1")}
    got, body, _ = bench.asked("/api/open", OPEN, **told)
    assert got in (status, 400), body
    assert b"Doublings" not in body


@pytest.mark.parametrize(
    "name",
    [
        "../secret.toml",
        "..",
        "up/secret.toml",
        "out.toml",
        ".hidden.toml",
        "/etc/passwd",
        "C:\\secret.toml",
        "a/../../secret.toml",
        "a\0.toml",
        "\ud800.toml",
        "con.toml",
        "wide.toml ",
        "wide.toml/",
        "x" * 400 + ".toml",
        "a/" * 40 + "b.toml",
        "wide.sh",
        "",
        ".rungwise/lock",
        ".rungwise/earlier/wide.toml/x.toml",
        "\u202elmot.toml",
    ],
    ids=lambda name: ascii(name)[:30],
)
@pytest.mark.parametrize("what", ["open", "save", "remove", "rename", "earlier", "keep", "show"])
def test_no_name_leads_out_of_the_folder(bench: Running, what: str, name: str) -> None:
    told = {"name": name, "text": "secret", "version": "", "to": "new.toml"}
    if what == "show":
        del told["text"]
    answer = bench.answer(what, 422, **told)
    assert answer["problems"][0]["cause"]
    assert "secret" not in json.dumps(answer).replace(ascii(name)[1:-1], "").replace(
        json.dumps(name)[1:-1], ""
    )
    assert (bench.folder.parent / "secret.toml").read_text() == "secret"


@pytest.mark.parametrize("to", ["../out.toml", "up/x.toml", ".x.toml", "x.exe", "wide.mid"])
def test_a_file_is_renamed_to_no_such_name(bench: Running, to: str) -> None:
    version = bench.answer("standing", name="wide.toml")["version"]
    bench.answer("rename", 422, name="wide.toml", to=to, version=version)
    assert (bench.folder / "wide.toml").read_text() == WIDE


@pytest.mark.parametrize(
    "path",
    [
        "/workbench/pages/../guard.py",
        "/workbench/guard.py",
        "/workbench/pages/%2e%2e/guard.py",
        "/delivery/page/page.html",
        "/wide.toml",
        "/etc/passwd",
        "/workbench/pages/",
        "/api/open",
        "/api/nothing",
    ],
)
def test_only_the_page_itself_is_handed_out(bench: Running, path: str) -> None:
    with socket.create_connection(("127.0.0.1", bench.port), timeout=HANG_S) as line:
        head = (
            f"GET {path} HTTP/1.1\r\nHost: 127.0.0.1:{bench.port}\r\n"
            f"X-Rungwise-Token: {bench.token}\r\nConnection: close\r\n\r\n"
        )
        line.sendall(head.encode())
        answer = b""
        while piece := line.recv(65_536):
            answer += piece
    assert int(answer.split(b" ", 2)[1]) in (404, 405, 415), answer[:200]


@pytest.mark.parametrize(
    "body", [b"", b"[]", b"{", b"null", b'"text"', b"[" * 100_000, b'{"name": 5}', b'{"name": []}']
)
def test_what_is_no_table_is_answered_with_a_word(bench: Running, body: bytes) -> None:
    status, answer, _ = bench.asked("/api/open", body)
    assert status in (200, 400)
    assert json.loads(answer)["problems"][0]["cause"]


def test_a_body_without_end_is_cut_off(bench: Running) -> None:
    with socket.create_connection(("127.0.0.1", bench.port), timeout=HANG_S) as line:
        head = (
            f"POST /api/save HTTP/1.1\r\nHost: 127.0.0.1:{bench.port}\r\n"
            f"X-Rungwise-Token: {bench.token}\r\nContent-Type: application/json\r\n"
            "Transfer-Encoding: chunked\r\n\r\n"
        )
        line.sendall(head.encode())
        chunk = b"100000\r\n" + b" " * 0x100000 + b"\r\n"
        answer = b""
        try:
            for _ in range(64):
                line.sendall(chunk)
            answer = line.recv(4_096)
        except ConnectionError:
            pass  # it hung up on us
    assert answer[:12] in (b"HTTP/1.1 413", b"")
    assert bench.answer("standing", name="wide.toml")["version"]


@pytest.mark.parametrize("begun", ["", "POST /api/op", "all but the body"])
def test_connections_that_only_wait_lock_nobody_out(bench: Running, begun: str) -> None:
    if begun == "all but the body":
        begun = (
            f"POST /api/save HTTP/1.1\r\nHost: 127.0.0.1:{bench.port}\r\n"
            "Content-Type: application/json\r\nContent-Length: 900\r\n\r\n{"
        )
    lines = []
    for _ in range(MOST + 9):
        line = socket.create_connection(("127.0.0.1", bench.port), timeout=HANG_S)
        line.sendall(begun.encode())
        lines.append(line)
    assert json.loads(bench.asked("/api/open", OPEN)[1])["text"] == WIDE
    # As many as are too many have gone; the last one would still be answered.
    left = list(lines)
    while len(left) >= MOST:
        heard, _, _ = select.select(left, [], [], HANG_S)
        assert heard
        for line in heard:
            answer = b""
            with suppress(ConnectionResetError):
                answer = line.recv(4_096)
            if not answer:
                left.remove(line)
    if not begun:
        lines[-1].sendall(f"GET / HTTP/1.1\r\nHost: 127.0.0.1:{bench.port}\r\n\r\n".encode())
        assert lines[-1].recv(12) == b"HTTP/1.1 200"
    for line in lines:
        line.close()


def test_the_port_is_this_machines_alone(bench: Running) -> None:
    name = socket.gethostbyname(socket.gethostname())
    if name.startswith("127."):
        pytest.skip("this machine has no other address")
    with pytest.raises(OSError):
        socket.create_connection((name, bench.port), timeout=HANG_S).close()
