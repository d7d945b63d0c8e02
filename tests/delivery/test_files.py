"""Files are replaced whole or not at all, and every refusal says what to do."""

from __future__ import annotations

import errno
import os
from pathlib import Path

import pytest

from renderer.delivery.files import disk_failure, make_folder, whole_file, write_whole
from renderer.errors import RungwiseError
from tests.delivery.disks import make_read_only, names_in, small_disk


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
def test_a_device_is_not_replaced_by_a_file(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(RungwiseError, match="a device, not a file"):
        write_whole(tmp_path / "pipe", b"")


def test_a_missing_folder_and_a_file_in_its_place_are_told_apart(tmp_path: Path) -> None:
    with pytest.raises(RungwiseError, match="the folder does not exist"):
        write_whole(tmp_path / "nowhere" / "a", b"")
    (tmp_path / "file").write_text("")
    with pytest.raises(RungwiseError, match="a part of this path is a file"):
        write_whole(tmp_path / "file" / "a", b"")
    with pytest.raises(RungwiseError, match="this is a file, not a folder"):
        make_folder(tmp_path / "file")
    with pytest.raises(RungwiseError, match="a part of this path is a file"):
        make_folder(tmp_path / "file" / "below")


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
