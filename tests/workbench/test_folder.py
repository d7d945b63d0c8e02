"""Files of the workbench: whole, by version, with earlier versions, within the folder."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from renderer.errors import RungwiseError
from renderer.workbench.folder import (
    MOST_EARLIER,
    ChangedOnDiskError,
    Folder,
    bytes_of,
    checked_name,
    clean_name,
    text_in,
    version_of,
)


@given(st.text(max_size=200))
def test_any_title_makes_a_name_that_every_system_allows(title: str) -> None:
    assert checked_name(clean_name(title)).suffix == ".toml"


def test_what_is_saved_is_there_and_has_the_version_that_was_said(tmp_path: Path) -> None:
    folder = Folder(tmp_path)
    version = folder.save("a.toml", b"one", "")
    assert (tmp_path / "a.toml").read_bytes() == b"one"
    assert version == folder.version("a.toml") == version_of(b"one")


def test_what_another_program_has_written_is_never_overwritten(tmp_path: Path) -> None:
    folder = Folder(tmp_path)
    version = folder.save("a.toml", b"one", "")
    (tmp_path / "a.toml").write_bytes(b"theirs")
    with pytest.raises(ChangedOnDiskError) as met:
        folder.save("a.toml", b"ours", version)
    assert (met.value.text, met.value.version) == ("theirs", version_of(b"theirs"))
    assert (tmp_path / "a.toml").read_bytes() == b"theirs"
    with pytest.raises(ChangedOnDiskError):
        folder.save("a.toml", b"ours", "")
    folder.save("a.toml", b"ours", met.value.version)
    assert folder.earlier_data("a.toml", version_of(b"theirs")) == b"theirs"


def test_a_file_that_is_gone_is_not_made_again_unasked(tmp_path: Path) -> None:
    folder = Folder(tmp_path)
    version = folder.save("a.toml", b"one", "")
    (tmp_path / "a.toml").unlink()
    with pytest.raises(ChangedOnDiskError) as met:
        folder.save("a.toml", b"two", version)
    assert met.value.text is None
    assert not (tmp_path / "a.toml").exists()
    folder.save("a.toml", b"two", met.value.version)


def test_the_version_before_somebody_began_to_write_is_kept(tmp_path: Path) -> None:
    folder = Folder(tmp_path)
    (tmp_path / "a.toml").write_bytes(b"0")
    version = folder.version("a.toml")
    for n in range(1, 10):
        version = folder.save("a.toml", str(n).encode(), version)
    assert [one for _, one in folder.earlier("a.toml")] == [version_of(b"0")]
    assert folder.earlier_data("a.toml", version_of(b"0")) == b"0"


def test_what_others_have_written_meanwhile_is_always_kept(tmp_path: Path) -> None:
    folder = Folder(tmp_path)
    version = folder.save("a.toml", b"0", "")
    version = folder.save("a.toml", b"1", version)
    for n in range(5):
        (tmp_path / "a.toml").write_bytes(f"theirs {n}".encode())
        version = folder.save("a.toml", f"ours {n}".encode(), folder.version("a.toml"))
    kept = [folder.earlier_data("a.toml", one) for _, one in folder.earlier("a.toml")]
    assert {f"theirs {n}".encode() for n in range(5)} <= set(kept)


def test_earlier_versions_do_not_grow_without_end(tmp_path: Path) -> None:
    folder = Folder(tmp_path)
    for n in range(MOST_EARLIER + 20):
        folder.keep("a.toml", str(n).encode())
    assert len(folder.earlier("a.toml")) == MOST_EARLIER


def test_what_is_removed_or_renamed_keeps_its_past(tmp_path: Path) -> None:
    folder = Folder(tmp_path)
    version = folder.save("a.toml", b"one", "")
    folder.keep("a.toml", b"before")
    folder.rename("a.toml", "Grips/b.toml", version)
    assert (tmp_path / "Grips" / "b.toml").read_bytes() == b"one"
    assert [one for _, one in folder.earlier("Grips/b.toml")] == [version_of(b"before")]
    folder.remove("Grips/b.toml", version)
    assert not (tmp_path / "Grips" / "b.toml").exists()
    assert folder.earlier_data("Grips/b.toml", version) == b"one"


def test_a_name_that_is_taken_is_not_given_twice(tmp_path: Path) -> None:
    folder = Folder(tmp_path)
    version = folder.save("a.toml", b"one", "")
    folder.save("b.toml", b"two", "")
    with pytest.raises(RungwiseError, match="of that name"):
        folder.rename("a.toml", "b.toml", version)
    assert folder.free_name("a.toml") == "a 2.toml"


def test_a_folder_that_is_gone_is_said(tmp_path: Path) -> None:
    root = tmp_path / "gone"
    root.mkdir()
    folder = Folder(root)
    root.rmdir()
    with pytest.raises(RungwiseError, match="the folder is gone"):
        folder.save("a.toml", b"one", "")
    with pytest.raises(RungwiseError, match="the folder is gone"):
        folder.entries()


def test_the_library_shows_no_hidden_files_and_follows_no_link_out(tmp_path: Path) -> None:
    (tmp_path / "secret.toml").write_text("x")
    root = tmp_path / "folder"
    (root / "in").mkdir(parents=True)
    (root / ".git").mkdir()
    for name in ("a.toml", "in/b.abc", ".c.toml", ".git/d.toml", "notes.docx"):
        (root / name).write_text("x")
    (root / "out.toml").symlink_to(tmp_path / "secret.toml")
    (root / "up").symlink_to(tmp_path)
    assert [one.name for one in Folder(root).entries()] == ["a.toml", "in/b.abc"]


@pytest.mark.parametrize("data", [b"a\nb\n", b"a\r\nb\r\n", b"\xef\xbb\xbfa\r\nb", b"", b"a"])
def test_lines_end_as_they_did(data: bytes) -> None:
    assert bytes_of(text_in(data), data) == data
