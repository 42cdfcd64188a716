"""The pack's folder: swapped whole, never at the cost of someone else's files."""

from __future__ import annotations

import hashlib
import os
from pathlib import Path

import pytest

from subwright.base.errors import SubwrightError
from subwright.outputs.folder import CHECKSUMS, replace_folder


def tree(folder: Path) -> dict[str, bytes]:
    return {p.relative_to(folder).as_posix(): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


def test_writes_files_and_checksums(tmp_path: Path) -> None:
    replace_folder(tmp_path / "pack", {"a.txt": b"one", "plots/b.svg": b"two"})
    written = tree(tmp_path / "pack")
    assert written.pop(CHECKSUMS).decode() == (
        f"{hashlib.sha256(b'one').hexdigest()}  a.txt\n{hashlib.sha256(b'two').hexdigest()}  plots/b.svg\n"
    )
    assert written == {"a.txt": b"one", "plots/b.svg": b"two"}


def test_replaces_an_earlier_pack_whole_and_leaves_no_scratch(tmp_path: Path) -> None:
    replace_folder(tmp_path / "pack", {"a.txt": b"one", "old.txt": b"x"})
    replace_folder(tmp_path / "pack", {"a.txt": b"three"})
    assert set(tree(tmp_path / "pack")) == {"a.txt", CHECKSUMS}
    assert [p.name for p in tmp_path.iterdir()] == ["pack"]


def test_foreign_files_are_never_removed(tmp_path: Path) -> None:
    replace_folder(tmp_path / "pack", {"a.txt": b"one"})
    (tmp_path / "pack" / "my notes.txt").write_text("mine")
    before = tree(tmp_path / "pack")
    with pytest.raises(SubwrightError, match=r"my notes\.txt"):
        replace_folder(tmp_path / "pack", {"a.txt": b"two"})
    assert tree(tmp_path / "pack") == before


def test_an_empty_folder_will_do_but_a_home_full_of_files_not(tmp_path: Path) -> None:
    (tmp_path / "empty").mkdir()
    replace_folder(tmp_path / "empty", {"a.txt": b"one"})
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "photo.jpg").write_bytes(b"!")
    with pytest.raises(SubwrightError, match=r"photo\.jpg"):
        replace_folder(tmp_path / "full", {"a.txt": b"one"})


@pytest.mark.parametrize("name", ["../evil.txt", "/etc/evil.txt", "a/../../evil.txt"])
def test_nothing_is_written_outside(tmp_path: Path, name: str) -> None:
    with pytest.raises(SubwrightError, match="leave the folder"):
        replace_folder(tmp_path / "pack", {name: b"x"})
    assert list(tmp_path.iterdir()) == []


def test_missing_parent_and_file_in_the_way(tmp_path: Path) -> None:
    with pytest.raises(SubwrightError, match="folder above"):
        replace_folder(tmp_path / "no" / "pack", {})
    (tmp_path / "file").write_text("x")
    with pytest.raises(SubwrightError, match="file where the folder"):
        replace_folder(tmp_path / "file", {})


def test_a_failing_swap_puts_the_old_pack_back(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    replace_folder(tmp_path / "pack", {"a.txt": b"one"})
    before = tree(tmp_path / "pack")
    rename = os.rename

    def fail_on_fresh(source: Path, target: Path) -> None:
        if Path(source).name == "fresh":
            raise OSError(28, "No space left on device")
        rename(source, target)

    monkeypatch.setattr(os, "rename", fail_on_fresh)
    with pytest.raises(SubwrightError, match="No space left"):
        replace_folder(tmp_path / "pack", {"a.txt": b"two"})
    assert tree(tmp_path / "pack") == before
    assert [p.name for p in tmp_path.iterdir()] == ["pack"]
