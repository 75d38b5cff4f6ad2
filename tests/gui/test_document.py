"""The one document: every change can be undone to the same bytes, and nothing on disk is written over unseen."""

from __future__ import annotations

import os

import pytest

from app.scenes.edits import EditError
from app.scenes.saving import ChangedOnDiskError, SaveError
from app.window.document import Document, OpenError
from tests.gui.conftest import sample


@pytest.fixture
def document(application, tmp_path):  # noqa: ARG001 - signals need an application
    made = Document()
    copy = tmp_path / "copy.scene.yaml"
    copy.write_bytes(sample("sampler_block_b").read_bytes())
    made.open(copy)
    yield made
    made.deleteLater()


def test_that_undo_brings_back_the_same_bytes_and_redo_the_edit(document) -> None:
    before = document.text
    document.edit("T4 out", "T4/stick_out", 21.0)
    after = document.text
    document.edit("riser", "riser/h", 30)
    assert document.is_modified
    document.undo()
    assert document.text == after
    document.undo()
    assert document.text == before == document.path.read_bytes().decode()
    assert not document.is_modified
    document.redo()
    assert document.text == after
    assert "# Demo data: an invented part" in after


def test_that_an_edit_changes_its_value_and_nothing_else(document) -> None:
    before = document.text
    document.edit("T4 out", "T4/stick_out", 21.5)
    assert document.text == before.replace("overall: 66, stick_out: 18,", "overall: 66, stick_out: 21.5,")


def test_that_turns_of_one_dial_are_one_step_and_of_another_two(document) -> None:
    before = document.text
    for value in (18.5, 19.0, 19.5):
        document.edit("T4 out", "T4/stick_out", value, merge="dial T4")
    middle = document.text
    document.edit("T2 out", "T2/stick_out", 21.0, merge="dial T2")
    assert document.stack.count() == 2
    document.undo()
    assert document.text == middle
    document.undo()
    assert document.text == before


def test_that_a_dial_that_comes_back_leaves_no_step(document) -> None:
    before = document.text
    document.edit("T4 out", "T4/stick_out", 19, merge="dial T4")
    document.edit("T4 out", "T4/stick_out", 18, merge="dial T4")
    assert document.text == before
    assert document.stack.count() == 0
    assert not document.is_modified


def test_that_what_follows_an_undo_is_a_step_of_its_own(document) -> None:
    document.edit("T4 out", "T4/stick_out", 19.0, merge="dial T4")
    document.edit("T2 out", "T2/stick_out", 21.0)
    document.undo()
    document.edit("T4 out", "T4/stick_out", 20.0, merge="dial T4")
    assert document.stack.count() == 2


def test_that_a_refused_edit_changes_nothing(document) -> None:
    before = document.text
    with pytest.raises(EditError, match="nothing is called"):
        document.edit("?", "T44/stick_out", 1.0)
    assert document.text == before
    assert document.stack.count() == 0


def test_that_setting_what_is_set_tells_nobody(document) -> None:
    told = []
    document.text_changed.connect(lambda *_: told.append(1))
    document.edit("T4 out", "T4/stick_out", 18)
    assert told == []
    assert document.stack.count() == 0


def test_that_saving_makes_it_clean_and_undo_after_it_modified(document) -> None:
    document.edit("T4 out", "T4/stick_out", 21.0)
    document.save()
    assert not document.is_modified
    assert document.path.read_bytes().decode() == document.text
    document.undo()
    assert document.is_modified


def test_that_somebody_elses_change_is_not_written_over(document, wait) -> None:
    told = []
    document.changed_on_disk.connect(told.append)
    document.path.write_text(document.text.replace("stick_out: 18", "stick_out: 19"))
    document.edit("riser", "riser/h", 30)
    with pytest.raises(ChangedOnDiskError, match="changed by somebody else"):
        document.save()
    wait(lambda: told == [True], "the change on disk is told")
    assert "stick_out: 19" in document.path.read_text()
    document.keep_mine()
    assert not document.is_changed_on_disk
    document.save()
    assert "stick_out: 19" not in document.path.read_text()


def test_that_rereading_takes_what_is_on_disk_and_can_be_undone(document, wait) -> None:
    document.edit("riser", "riser/h", 30)
    mine = document.text
    theirs = document.text.replace("stick_out: 18", "stick_out: 19").replace("h: 30", "h: 40")
    document.path.write_text(theirs)
    wait(lambda: document.is_changed_on_disk, "the change on disk is told")
    document.reread()
    assert document.text == theirs
    assert not document.is_modified
    document.undo()
    assert document.text == mine
    assert document.is_modified


def test_that_a_file_replaced_by_another_editor_is_watched_on(document, wait, tmp_path) -> None:
    for number in ("19", "20"):
        other = tmp_path / "other"
        other.write_text(document.text.replace("stick_out: 18", f"stick_out: {number}"))
        os.replace(other, document.path)
        wait(lambda: document.is_changed_on_disk, "the change on disk is told")
        document.keep_mine()


def test_that_writing_the_same_text_again_is_no_change(document, wait) -> None:
    stirred = []
    document._watcher.fileChanged.connect(stirred.append)
    document.path.write_text(document.text)
    wait(lambda: bool(stirred) and not document._settled.isActive(), "the file was looked at")
    assert not document.is_changed_on_disk


def test_that_a_folder_that_cannot_be_written_loses_nothing(document, tmp_path) -> None:
    document.edit("riser", "riser/h", 30)
    (tmp_path / "no folder").write_text("a file")
    path = document.path
    with pytest.raises(SaveError, match="cannot be written"):
        document.save_as(tmp_path / "no folder" / "new.scene.yaml")
    assert document.is_modified
    assert document.path == path


@pytest.mark.parametrize(("data", "said"), [(None, "cannot be read"), (b"\xff\xfe\x00", "no text in UTF-8")])
def test_that_what_cannot_be_opened_leaves_what_is_open(document, tmp_path, data, said) -> None:
    bad = tmp_path / "bad.scene.yaml"
    if data is not None:
        bad.write_bytes(data)
    before, path = document.text, document.path
    with pytest.raises(OpenError, match=said):
        document.open(bad)
    assert (document.text, document.path) == (before, path)
