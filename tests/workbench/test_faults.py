"""What goes wrong around the workbench: a word is said that helps, and nothing that was is lost."""

from __future__ import annotations

import io
import json
import os
import socket
import subprocess
import sys
import zipfile
from collections.abc import Iterator, MutableMapping
from concurrent.futures import ThreadPoolExecutor
from http.client import HTTPException
from pathlib import Path
from threading import Event, Thread
from typing import Any

import anyio
import pytest

from renderer.notation.limits import MOST_LINES
from renderer.workbench.application import PAGES, Bench, workbench
from renderer.workbench.folder import Folder, version_of
from renderer.workbench.guard import MOST_UPLOAD_BYTES, MOST_UPLOADS, TOKEN_HEADER, UPLOAD
from renderer.workbench.music_answers import FIRST_BODIES
from tests.delivery.disks import small_disk
from tests.limits import HANG_S
from tests.listening.chanters import write
from tests.listening.other_sounds import RATE, noise
from tests.workbench.benches import WIDE, Running, running, waited_for

SAVED_AT_EVERY_STEP = """
import os, signal, sys
from pathlib import Path
from renderer.workbench.folder import Folder, version_of

root, last = Path(sys.argv[1]), [0]
before, after = b"as it was", b"as it is"
file = root / "a.toml"
for step in range(1_000):
    file.write_bytes(before)
    child = os.fork()
    if not child:
        left = [step]

        def killed(event, arguments):
            if event in ("open", "os.rename", "os.remove", "os.mkdir", "os.chmod", "os.listdir"):
                left[0] -= 1
                if left[0] < 0:
                    os.kill(os.getpid(), signal.SIGKILL)

        folder = Folder(root)
        sys.addaudithook(killed)
        folder.save("a.toml", after, version_of(before))
        os._exit(0)
    _, status = os.waitpid(child, 0)
    there = file.read_bytes()
    assert there in (before, after), there
    kept = [Folder(root).earlier_data("a.toml", one) for _, one in Folder(root).earlier("a.toml")]
    assert there == before or before in kept, kept
    if status == 0:
        assert there == after
        break
print(step)
"""


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Running]:
    with running(tmp_path_factory.mktemp("Larkmoor")) as one:
        yield one


def bring(bench: Running, name: str, data: bytes) -> tuple[int, dict[str, Any]]:
    """Bring a file as the page does; returns the status, or that of the refusal, and the answer."""
    kind = "application/octet-stream"
    got, body, _ = bench.asked(f"/api/drop?name={name}", data, Content_Type=kind)
    answer = json.loads(body)
    return answer.get("refused", got), answer


def names(folder: Path) -> list[str]:
    """What lies in a folder, but for what the workbench keeps there for itself."""
    return sorted(path.name for path in folder.iterdir() if path.name != ".rungwise")


def test_a_save_that_is_killed_at_any_step_leaves_the_old_file_or_the_new_one(
    tmp_path: Path,
) -> None:
    script = [sys.executable, "-c", SAVED_AT_EVERY_STEP, str(tmp_path)]
    run = subprocess.run(script, capture_output=True, text=True, check=False, timeout=HANG_S)
    assert run.returncode == 0, run.stderr
    assert int(run.stdout) > 8, "killed at so many steps"
    # What the killed ones have left behind is cleared away by the next one that saves.
    Folder(tmp_path).save("a.toml", b"next", version_of(b"as it is"))
    assert names(tmp_path) == ["a.toml"]


def test_a_save_is_on_the_disk_before_it_is_said_to_be(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Bytes first, then the name in the folder (fsync(2) says that the one is not the other)."""
    settled: list[str] = []
    really = os.fsync

    def noted(handle: int) -> None:
        settled.append(str(Path(f"/proc/self/fd/{handle}").readlink()))
        really(handle)

    if not Path("/proc/self/fd").exists():
        pytest.skip("this system does not tell which files are open")
    folder = Folder(tmp_path)
    folder.save("Grips/a.toml", b"one", "")
    monkeypatch.setattr(os, "fsync", noted)
    folder.save("Grips/a.toml", b"two", version_of(b"one"))
    assert settled[-2].endswith(".part") and settled[-1] == str(tmp_path / "Grips")


def test_a_server_that_is_killed_has_kept_every_save_that_it_has_answered(tmp_path: Path) -> None:
    file = tmp_path / "wide.toml"
    file.write_text(WIDE)
    for saves in (1, 9):
        with running(tmp_path) as bench:
            answered = [0]
            enough = Event()

            def save(
                bench: Running = bench,
                answered: list[int] = answered,
                enough: Event = enough,
                saves: int = saves,
            ) -> None:
                version = bench.answer("open", name="wide.toml")["version"]
                for number in range(1, 10_000):
                    try:
                        told = bench.answer(
                            "save", name="wide.toml", text=f"{WIDE}# {number}\n", version=version
                        )
                    except (OSError, HTTPException):
                        return
                    version, answered[0] = told["version"], number
                    if number == saves:
                        enough.set()

            writer = Thread(target=save)
            writer.start()
            enough.wait(HANG_S)
            bench.process.kill()
            writer.join()
        text = file.read_text()
        assert text.startswith(WIDE)
        assert int(text.removeprefix(WIDE).strip("# \n")) - answered[0] in (0, 1)
    with running(tmp_path) as bench:
        opened = bench.answer("open", name="wide.toml")
        assert opened["text"] == text
        bench.answer("save", name="wide.toml", text=WIDE, version=opened["version"])
        assert names(tmp_path) == ["wide.toml"]


def test_a_folder_that_is_removed_is_said_and_what_was_typed_is_saved_once_it_is_back(
    tmp_path: Path,
) -> None:
    root = tmp_path / "Larkmoor"
    root.mkdir()
    (root / "wide.toml").write_text(WIDE)
    with running(root) as bench:
        version = bench.answer("open", name="wide.toml")["version"]
        root.rename(tmp_path / "away")
        typed = {"name": "wide.toml", "text": f"{WIDE}# typed\n", "version": version}
        for what, asked in (
            ("library", {}),
            ("save", typed),
            ("new", {"title": "Grips"}),
            ("keep", typed),
        ):
            (problem,) = bench.answer(what, 422, **asked)["problems"]
            assert "the folder is gone" in problem["cause"], what
            assert "put it back" in problem["remedy"], what
        assert bring(bench, "grips.toml", WIDE.encode())[0] == 422
        for what in ("open", "rename", "remove", "show"):
            told = bench.answer(what, 422, name="wide.toml", to="b.toml", version=version)
            assert told["problems"][0]["cause"], what
        assert not root.exists()
        (tmp_path / "away").rename(root)
        bench.answer("save", **typed)
        assert (root / "wide.toml").read_text() == typed["text"]


def test_a_full_disk_is_said_and_nothing_on_it_is_lost(tmp_path: Path) -> None:
    with small_disk(tmp_path / "small", kilobytes=256) as root, running(root) as bench:
        (root / "wide.toml").write_text(WIDE)
        version = bench.answer("open", name="wide.toml")["version"]
        version = bench.answer("save", name="wide.toml", text=f"{WIDE}#\n", version=version)[
            "version"
        ]
        room = root / "filler.wav"
        with room.open("wb", buffering=0) as filler, pytest.raises(OSError, match="No space"):
            while True:
                filler.write(bytes(4_096))
        typed = WIDE + "# more than was there\n" * 1_000
        for what, asked in (
            ("save", {"name": "wide.toml", "text": typed, "version": version}),
            ("new", {"title": "Grips"}),
            ("duplicate", {"name": "wide.toml"}),
            ("keep", {"name": "wide.toml", "text": typed}),
        ):
            (problem,) = bench.answer(what, 422, **asked)["problems"]
            assert "the disk is full" in problem["cause"], what
            assert "free some space" in problem["remedy"], what
        assert bring(bench, "grips.toml", typed.encode())[0] == 422
        assert names(root) == ["filler.wav", "wide.toml"]
        assert (root / "wide.toml").read_text() == f"{WIDE}#\n"
        assert bench.answer("library")["files"]
        room.unlink()
        bench.answer("save", name="wide.toml", text=typed, version=version)
        assert (root / "wide.toml").read_text() == typed


def test_two_workbenches_on_a_folder_lose_no_word_of_each_other(tmp_path: Path) -> None:
    (tmp_path / "wide.toml").write_text(WIDE)
    words = [[f"{writer} {number}" for number in range(8)] for writer in range(4)]
    met = [0]
    with running(tmp_path) as one, running(tmp_path) as other:

        def append(bench: Running, mine: list[str]) -> None:
            for word in mine:
                while True:
                    there = bench.answer("open", name="wide.toml")
                    asked = {"name": "wide.toml", "text": f"{there['text']}# {word}\n"}
                    body = json.dumps(asked | {"version": there["version"]}).encode()
                    told = json.loads(bench.asked("/api/save", body)[1])
                    if "refused" not in told:
                        break
                    assert told["refused"] == 409
                    met[0] += 1

        writers = [
            Thread(target=append, args=(bench, mine))
            for bench, mine in zip((one, other, one, other), words, strict=True)
        ]
        for writer in writers:
            writer.start()
        for writer in writers:
            writer.join()
        text = one.answer("open", name="wide.toml")["text"]
    assert met[0] > 0, "they have met"
    assert text.startswith(WIDE)
    written = text.removeprefix(WIDE).splitlines()
    assert sorted(written) == sorted(f"# {word}" for mine in words for word in mine)


def book(lines: int) -> str:
    """A definition of so many lines, each different from those around it."""
    notes = ("low G", "low A", "B", "C", "D", "E", "F", "high G", "high A")
    found = ['title = "A book"\n']
    for n in range(lines):
        run = ", ".join(notes[n // 9**k % 9] for k in range(5))
        found.append(f'[[lines]]\nheading = "Run {n}"\nrun = "{run}"\n')
    return "".join(found)


def test_a_book_of_five_thousand_lines_is_answered_piece_by_piece(bench: Running) -> None:
    text = book(MOST_LINES)
    told = bench.answer("show", name="book.toml", text=text)
    lines = told["read"]["lines"]
    keys = [line["key"] for line in lines]
    assert len(set(keys)) == MOST_LINES
    assert len(told["bodies"]) == FIRST_BODIES
    for part in (keys[:3], keys[2_500:2_503], keys[-3:]):
        assert list(bench.answer("bodies", keys=part)["bodies"]) == part
    assert len(bench.answer("bodies", 422, keys=keys)["problems"]) == 1
    change = {"do": "set", "path": ["lines", 2_500, "run"], "to": "F, E, D, C, B"}
    told = bench.answer("show", name="book.toml", text=text, changes=[change], known=keys)
    (changed,) = (line["key"] for line in told["read"]["lines"] if line["key"] not in set(keys))
    assert list(told["bodies"]) == [changed]
    (problem,) = bench.answer("show", name="book.toml", text=book(MOST_LINES + 1))["read"][
        "problems"
    ]
    assert str(MOST_LINES) in problem["said"]["en"].replace(",", "")


def test_a_file_of_fifty_megabytes_is_taken_if_it_is_a_recording_and_else_refused(
    bench: Running,
) -> None:
    large = 50_000_000
    status, told = bring(bench, "hall.wav", bytes(large))
    assert (status, told["kind"]) == (200, "recording")
    assert (bench.folder / "hall.wav").stat().st_size == large
    (bench.folder / "hall.wav").unlink()
    before = names(bench.folder)
    for name in ("book.toml", "tune.abc", "tune.musicxml", "tune.mid"):
        status, told = bring(bench, name, b" " * large)
        assert status == 422, name
        assert "larger than" in told["problems"][0]["cause"], name
    assert names(bench.folder) == before
    status, told = bring(bench, "hall.wav", bytes(MOST_UPLOAD_BYTES + 1))
    assert status == 413
    assert told["problems"][0]["cause"] == "this is larger than 64 MB"


def test_who_is_refused_may_send_to_the_end_and_hears_why(bench: Running) -> None:
    large = MOST_UPLOAD_BYTES + 1
    for path, token, status in (("/api/drop?name=a.wav", bench.token, 413), ("/api/x", "", 401)):
        head = (
            f"POST {path} HTTP/1.1\r\nHost: 127.0.0.1:{bench.port}\r\nX-Rungwise-Token: {token}\r\n"
            f"Content-Type: application/octet-stream\r\nContent-Length: {large}\r\n\r\n"
        )
        with socket.create_connection(("127.0.0.1", bench.port), timeout=HANG_S) as line:
            line.sendall(head.encode())
            first = line.recv(100_000)  # it is told before anything of the file is sent
            assert first.startswith(f"HTTP/1.1 {status} ".encode())
            line.sendall(bytes(large))  # a server that had closed would break this off


def test_files_are_brought_a_few_at_a_time(bench: Running) -> None:
    head = (
        f"POST /api/drop?name=a.wav HTTP/1.1\r\nHost: 127.0.0.1:{bench.port}\r\n"
        f"X-Rungwise-Token: {bench.token}\r\nContent-Type: application/octet-stream\r\n"
        "Content-Length: 1000\r\nExpect: 100-continue\r\n\r\n"
    )
    lines = []
    for _ in range(MOST_UPLOADS):
        line = socket.create_connection(("127.0.0.1", bench.port), timeout=HANG_S)
        line.sendall(head.encode())
        assert line.recv(100).startswith(b"HTTP/1.1 100"), "it waits for the rest"
        lines.append(line)
    status, told = bring(bench, "b.wav", bytes(10))
    assert status == 503
    assert told["problems"][0]["cause"] == "other files are being brought"
    for line in lines:
        line.close()
    waited_for(lambda: bring(bench, "b.wav", bytes(10))[0] == 200)
    (bench.folder / "b.wav").unlink()


def test_what_does_not_come_is_not_waited_for_without_end(tmp_path: Path) -> None:
    guard = workbench(Bench(Folder(tmp_path)), "token", ["127.0.0.1:1"])
    guard.patience_s = 0.01
    headers = {b"host": b"127.0.0.1:1", TOKEN_HEADER: b"token", b"content-type": UPLOAD.encode()}
    scope = {
        "type": "http",
        "method": "POST",
        "path": "/api/drop",
        "query_string": b"name=a.wav",
        "headers": list(headers.items()),
    }
    told: list[MutableMapping[str, Any]] = []
    begun = [{"type": "http.request", "body": b"RIFF", "more_body": True}]

    async def receive() -> MutableMapping[str, Any]:
        if not begun:
            await anyio.sleep_forever()
        return begun.pop()

    async def send(message: MutableMapping[str, Any]) -> None:
        told.append(message)

    # In a thread of its own: that of the tests may hold a browser's.
    with ThreadPoolExecutor(1) as pool:
        pool.submit(anyio.run, guard, scope, receive, send).result()
    assert told[0]["status"] == 408
    assert "did not all come in time" in json.loads(told[1]["body"])["problems"][0]["cause"]
    assert names(tmp_path) == []


def test_the_page_knows_the_largest_file_that_the_server_takes() -> None:
    script = (PAGES / "ask.js").read_text("utf-8")
    assert f"const MOST_BYTES = {MOST_UPLOAD_BYTES:_};" in script


@pytest.mark.parametrize("name", ["bomb.mxl", "bomb.musicxml"])
def test_what_is_small_and_unpacks_to_much_is_refused(bench: Running, name: str) -> None:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("score.xml", b"<score-partwise>" + b" " * 100_000_000)
    entities = "".join(f'<!ENTITY e{n} "{f"&e{n - 1};" * 10 if n else "A"}">' for n in range(12))
    data = {
        ".mxl": packed.getvalue(),
        ".musicxml": f"<!DOCTYPE score-partwise [{entities}]><score-partwise>&e11;".encode(),
    }[Path(name).suffix]
    assert len(data) < 200_000
    before = names(bench.folder)
    status, told = bring(bench, name, data)
    assert status == 422 and told["problems"][0]["remedy"]
    assert names(bench.folder) == before


def test_a_recording_of_noise_is_kept_and_no_chanter_is_made_of_it(bench: Running) -> None:
    brought = write(bench.folder.parent / "hiss.wav", noise(3.0), RATE)
    status, told = bring(bench, "hiss.wav", brought.read_bytes())
    assert status == 200
    job = bench.answer("listen", names=[told["name"]])["job"]

    def ended() -> dict[str, Any] | None:
        now: dict[str, Any] = bench.answer("job", job=job)
        return None if now["state"] == "running" else now

    outcome = waited_for(ended)
    assert outcome["state"] == "failed"
    (problem,) = outcome["problems"]
    assert "hold a pitch as a chanter does" in problem["cause"] and problem["remedy"]
    bench.answer("keep-chanter", 422, names=[told["name"]], called="Hiss", at="")
    assert (bench.folder / "hiss.wav").exists() and not list(bench.folder.glob("Hiss*.toml"))
    (bench.folder / "hiss.wav").unlink()
