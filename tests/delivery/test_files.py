"""Files are replaced whole or not at all, and every refusal says what to do."""

from __future__ import annotations

import errno
import os
import subprocess
import sys
from pathlib import Path
from threading import Thread

import pytest

from renderer.delivery.files import disk_failure, make_folder, whole_file, write_whole
from renderer.errors import RungwiseError
from tests.delivery.disks import make_read_only, names_in, small_disk
from tests.limits import HANG_S


def test_a_file_is_replaced_whole(tmp_path: Path) -> None:
    path = tmp_path / "list.m3u8"
    path.write_text("before, and longer")
    write_whole(path, b"after")
    assert path.read_text() == "after"
    assert names_in(tmp_path) == ["list.m3u8"]


def test_the_old_file_is_there_until_the_new_one_is_complete(tmp_path: Path) -> None:
    path = tmp_path / "sheet.pdf"
    path.write_text("before")
    with whole_file(path) as part:
        part.write_text("after")
        assert path.read_text() == "before"
        assert part.parent == tmp_path
    assert path.read_text() == "after"


@pytest.mark.parametrize("blow", [KeyboardInterrupt, RuntimeError, SystemExit])
def test_whatever_goes_wrong_the_old_file_stays(blow: type[BaseException], tmp_path: Path) -> None:
    path = tmp_path / "sheet.pdf"
    path.write_text("before")
    with pytest.raises(blow), whole_file(path) as part:
        part.write_text("half of the af")
        raise blow
    assert path.read_text() == "before"
    assert names_in(tmp_path) == ["sheet.pdf"]


def test_a_new_file_has_the_permissions_that_any_new_file_has(tmp_path: Path) -> None:
    (tmp_path / "plain").write_text("")
    write_whole(tmp_path / "ours", b"")
    assert (tmp_path / "ours").stat().st_mode == (tmp_path / "plain").stat().st_mode


def test_two_writers_of_one_file_do_not_meet(tmp_path: Path) -> None:
    path = tmp_path / "sheet.pdf"
    with whole_file(path) as one, whole_file(path) as other:
        one.write_text("one")
        other.write_text("other")
    assert path.read_text() == "one"
    assert names_in(tmp_path) == ["sheet.pdf"]


def test_a_folder_in_the_files_place_is_refused(tmp_path: Path) -> None:
    (tmp_path / "track.mp3").mkdir()
    with pytest.raises(RungwiseError, match=r"track\.mp3: this is a folder, not a file"):
        write_whole(tmp_path / "track.mp3", b"")
    assert names_in(tmp_path) == ["track.mp3"]


@pytest.mark.skipif(os.name != "posix", reason="devices are files on POSIX only")
def test_a_pipe_is_written_to_and_stays_a_pipe(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    heard: list[bytes] = []
    reader = Thread(target=lambda: heard.append((tmp_path / "pipe").read_bytes()), daemon=True)
    reader.start()
    write_whole(tmp_path / "pipe", b"a sheet")
    reader.join()
    assert heard == [b"a sheet"]
    assert (tmp_path / "pipe").is_fifo()
    assert names_in(tmp_path) == ["pipe"]


@pytest.mark.skipif(os.name != "posix", reason="devices are files on POSIX only")
def test_a_pipe_that_nobody_reads_from_is_refused_and_not_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(RungwiseError, match=r"pipe: nobody reads from this pipe"):
        write_whole(tmp_path / "pipe", b"a sheet")
    assert names_in(tmp_path) == ["pipe"]


@pytest.mark.skipif(os.name != "posix", reason="devices are files on POSIX only")
def test_more_than_a_pipe_holds_is_poured_as_it_is_read(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    heard: list[bytes] = []
    reader = Thread(target=lambda: heard.append((tmp_path / "pipe").read_bytes()), daemon=True)
    reader.start()
    content = bytes(range(256)) * 4_000
    write_whole(tmp_path / "pipe", content)
    reader.join()
    assert heard == [content]


@pytest.mark.skipif(os.name != "posix", reason="devices are files on POSIX only")
def test_a_device_is_written_to_and_stays_a_device() -> None:
    code = (
        "from pathlib import Path\n"
        "from renderer.delivery.files import write_whole\n"
        "write_whole(Path('/dev/stdout'), b'a sheet')\n"
        "write_whole(Path('/dev/null'), b'a sheet')\n"
    )
    run = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, check=True, timeout=HANG_S
    )
    assert run.stdout == b"a sheet"
    assert Path("/dev/null").is_char_device()
    assert Path("/dev/stdout").is_symlink()


def test_a_symlink_is_followed_and_stays_a_symlink(tmp_path: Path) -> None:
    (tmp_path / "far").mkdir()
    (tmp_path / "far" / "sheet.pdf").write_text("before")
    (tmp_path / "sheet.pdf").symlink_to(Path("far") / "sheet.pdf")
    (tmp_path / "new.pdf").symlink_to(Path("far") / "new.pdf")
    write_whole(tmp_path / "sheet.pdf", b"after")
    write_whole(tmp_path / "new.pdf", b"new")
    assert (tmp_path / "sheet.pdf").is_symlink()
    assert (tmp_path / "far" / "sheet.pdf").read_bytes() == b"after"
    assert (tmp_path / "far" / "new.pdf").read_bytes() == b"new"
    assert names_in(tmp_path / "far") == ["new.pdf", "sheet.pdf"]


def test_a_read_only_file_is_refused_and_stays(tmp_path: Path) -> None:
    path = tmp_path / "sheet.pdf"
    path.write_text("before")
    path.chmod(0o444)
    with pytest.raises(RungwiseError, match=r"sheet\.pdf: this file is read-only"):
        write_whole(path, b"after")
    assert path.read_text() == "before"


@pytest.mark.skipif(os.name != "posix", reason="modes are POSIX's")
@pytest.mark.parametrize("mode", [0o600, 0o640, 0o664, 0o755])
def test_a_replaced_file_keeps_its_permissions(mode: int, tmp_path: Path) -> None:
    path = tmp_path / "sheet.pdf"
    path.write_text("before")
    path.chmod(mode)
    write_whole(path, b"after")
    assert path.stat().st_mode & 0o7777 == mode


def test_what_a_killed_process_left_is_removed_and_what_a_live_one_writes_is_not(
    tmp_path: Path,
) -> None:
    code = (
        "import sys, time\n"
        "from pathlib import Path\n"
        "from renderer.delivery.files import whole_file\n"
        "with whole_file(Path(sys.argv[1])) as part:\n"
        "    print('writing', flush=True)\n"
        "    sys.stdin.read()\n"
    )

    def writer(name: str) -> subprocess.Popen[bytes]:
        process = subprocess.Popen(
            [sys.executable, "-c", code, str(tmp_path / name)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
        )
        assert process.stdout is not None
        assert process.stdout.readline() == b"writing\n"
        return process

    with writer("killed") as killed, writer("alive") as alive:
        killed.kill()
        killed.wait(timeout=HANG_S)
        assert len(names_in(tmp_path)) == 2
        write_whole(tmp_path / "ours", b"")
        assert len(names_in(tmp_path)) == 2, "ours, and what is still being written"
        alive.communicate(timeout=HANG_S)
    assert names_in(tmp_path) == ["alive", "ours"]


def test_hidden_files_of_others_are_left_alone(tmp_path: Path) -> None:
    others = [".rungwise-notes.part", ".rungwise-1.part", "rungwise.part", ".part"]
    for name in others:
        (tmp_path / name).write_text("mine")
    write_whole(tmp_path / "ours", b"")
    assert names_in(tmp_path) == sorted([*others, "ours"])


def test_a_missing_folder_is_made_and_a_file_in_its_place_is_told(tmp_path: Path) -> None:
    write_whole(tmp_path / "new" / "newer" / "a", b"made")
    assert (tmp_path / "new" / "newer" / "a").read_bytes() == b"made"
    (tmp_path / "file").write_text("")
    with pytest.raises(RungwiseError, match="a part of this path is a file"):
        write_whole(tmp_path / "file" / "a", b"")
    with pytest.raises(RungwiseError, match="this is a file, not a folder"):
        make_folder(tmp_path / "file")
    with pytest.raises(RungwiseError, match="a part of this path is a file"):
        make_folder(tmp_path / "file" / "below")


def test_a_folder_that_was_made_for_a_file_that_fails_goes_again(tmp_path: Path) -> None:
    with pytest.raises(KeyboardInterrupt), whole_file(tmp_path / "new" / "newer" / "a"):
        raise KeyboardInterrupt
    assert names_in(tmp_path) == []
    (tmp_path / "there").mkdir()
    with pytest.raises(KeyboardInterrupt), whole_file(tmp_path / "there" / "a"):
        raise KeyboardInterrupt
    assert names_in(tmp_path) == ["there"]


def test_folders_above_are_made_too(tmp_path: Path) -> None:
    make_folder(tmp_path / "class" / "week 1")
    make_folder(tmp_path / "class" / "week 1")
    assert (tmp_path / "class" / "week 1").is_dir()


def test_a_name_that_is_too_long_is_refused_with_a_remedy(tmp_path: Path) -> None:
    with pytest.raises(RungwiseError, match=r"the name is too long .* a shorter title"):
        write_whole(tmp_path / ("a" * 300), b"")


def test_a_full_disk_is_reported_for_plain_files_too(tmp_path: Path) -> None:
    with small_disk(tmp_path / "disk", kilobytes=16) as disk:
        write_whole(disk / "list", b"old")
        with pytest.raises(RungwiseError, match="the disk is full"):
            write_whole(disk / "list", bytes(100_000))
        assert names_in(disk) == ["list"]
        assert (disk / "list").read_bytes() == b"old"


def test_a_read_only_disk_is_reported_for_folders_too(tmp_path: Path) -> None:
    with small_disk(tmp_path / "disk", kilobytes=16) as disk:
        make_read_only(disk)
        with pytest.raises(RungwiseError, match="read-only disk"):
            make_folder(disk / "week 1")


def test_the_operating_systems_own_reason_is_given_where_we_have_no_better_one() -> None:
    error = OSError(errno.EBUSY, os.strerror(errno.EBUSY))
    assert os.strerror(errno.EBUSY).lower() in str(disk_failure(error, Path("track.mp3")))
