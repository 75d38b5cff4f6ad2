"""Writing a file: whole or not at all, and never over somebody else's change."""

from __future__ import annotations

import os
import stat
import sys
from pathlib import Path

import pytest

from app.scenes import saving
from app.scenes.saving import ChangedOnDiskError, DiskState, SaveError, disk_state, save, state_of

posix = pytest.mark.skipif(sys.platform == "win32", reason="permissions and links as POSIX has them")


def test_that_bytes_are_written_as_the_text_has_them(tmp_path: Path):
    file, text = tmp_path / "a.scene.yaml", "\ufefftitle: Prüfstück\r\nunits: mm\n"
    save(file, text)
    assert file.read_bytes() == text.encode("utf-8")
    assert [entry.name for entry in tmp_path.iterdir()] == ["a.scene.yaml"]


def test_that_a_file_that_was_not_changed_is_written_over(tmp_path: Path):
    file = tmp_path / "a.scene.yaml"
    was = save(file, "one")
    assert was == disk_state(file) == state_of("one")
    assert save(file, "two", was=was) == state_of("two")
    assert file.read_text() == "two"


def test_that_somebody_elses_change_is_noticed_and_kept(tmp_path: Path):
    file = tmp_path / "a.scene.yaml"
    was = save(file, "one")
    file.write_text("theirs")
    with pytest.raises(ChangedOnDiskError, match="changed by somebody else"):
        save(file, "mine", was=was)
    assert file.read_text() == "theirs"


def test_that_a_file_that_is_gone_is_noticed(tmp_path: Path):
    file = tmp_path / "a.scene.yaml"
    was = save(file, "one")
    file.unlink()
    with pytest.raises(ChangedOnDiskError, match="not there any more"):
        save(file, "mine", was=was)


def test_that_a_new_file_is_not_written_over_one_that_came_meanwhile(tmp_path: Path):
    file = tmp_path / "a.scene.yaml"
    assert disk_state(file) == DiskState(None)
    file.write_text("theirs")
    with pytest.raises(ChangedOnDiskError):
        save(file, "mine", was=DiskState(None))


def test_that_the_same_bytes_written_again_are_no_change(tmp_path: Path):
    file = tmp_path / "a.scene.yaml"
    was = save(file, "one")
    os.utime(file, (1, 1))
    save(file, "two", was=was)
    assert file.read_text() == "two"


@posix
def test_that_a_link_stays_a_link_and_permissions_stay(tmp_path: Path):
    file, link = tmp_path / "real.scene.yaml", tmp_path / "link.scene.yaml"
    save(file, "one")
    file.chmod(0o640)
    link.symlink_to(file)
    save(link, "two")
    assert link.is_symlink()
    assert file.read_text() == "two"
    assert stat.S_IMODE(file.stat().st_mode) == 0o640


def test_that_a_write_that_breaks_off_leaves_the_file_as_it_was(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    file = tmp_path / "a.scene.yaml"
    save(file, "one")

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(saving.os, "fsync", full)
    with pytest.raises(SaveError, match="no space left on device"):
        save(file, "two")
    assert file.read_text() == "one"
    assert [entry.name for entry in tmp_path.iterdir()] == ["a.scene.yaml"]


def test_that_a_folder_that_is_not_there_is_told(tmp_path: Path):
    with pytest.raises(SaveError, match="cannot be written"):
        save(tmp_path / "nothing" / "a.scene.yaml", "one")
