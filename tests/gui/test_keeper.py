"""A window that was killed offers its changes to the next one; two windows on one file know of each other."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from PySide6.QtWidgets import QApplication

from app.window.main_window import MainWindow
from app.window.recovery import left_behind, state_folder
from app.window.theme import LIGHT, theme_of
from tests.gui.conftest import sample, settle

TEXT = sample("sampler_block_b").read_text(encoding="utf-8")

EDITS = {
    "a field": "window.editing.open('T4'); window.editing._set('T4/stick_out', '21.0', 'number')",
    "a new body": "window.editing.open('riser'); window.editing._add('box')",
    "something taken out": "window.editing.open('stop pin'); window.editing._remove('stop pin')",
    "a new name": "window.editing.open('T6'); window.editing._rename('T6', 'T16')",
    "a dial": "window.session.release('Turn riser', {'riser/h': 45.0})",
    "a change that was offered": "window.ways._take('Low heads', (('clamp screw L/standard', 'DIN 7984'),), ())",
}

KILLED = """
import sys, time
from pathlib import Path
from PySide6.QtCore import QSettings
from PySide6.QtWidgets import QApplication
from app.window.fonts import load_fonts
from app.window.main_window import MainWindow
from app.window.theme import LIGHT, apply_to, theme_of
application = QApplication([])
load_fonts()
theme = theme_of(LIGHT)
window = MainWindow(QSettings(sys.argv[2], QSettings.Format.IniFormat), theme)
window.show()
window.files.open(Path(sys.argv[1]))
{edit}
application.processEvents()
Path(sys.argv[3]).write_text(window.session.document.text)
print("READY", flush=True)
while True:
    application.processEvents()
    time.sleep(0.05)
"""


@pytest.fixture
def scene(tmp_path):
    path = tmp_path / "block.scene.yaml"
    path.write_text(TEXT, encoding="utf-8")
    return path


@pytest.fixture(autouse=True)
def own_state(tmp_path, monkeypatch):
    monkeypatch.setenv("TIGHTSIDE_STATE", str(tmp_path / "state"))


@pytest.fixture
def open_window(application, settings):  # noqa: ARG001 - there is an application
    windows = []

    def opened(path=None):
        window = MainWindow(settings, theme_of(LIGHT))
        windows.append(window)
        window.show()
        if path is not None:
            window.files.open(path)
        QApplication.processEvents()
        return window

    yield opened
    for window in windows:
        window.session.document.stack.setClean()
        window.close()
    settle()


def started(scene: Path, tmp_path: Path, edit: str) -> tuple[subprocess.Popen[str], str]:
    """A window in a process of its own that has made an edit, and the text that it has."""
    text = tmp_path / "text"
    process = subprocess.Popen(
        [sys.executable, "-c", KILLED.format(edit=edit), str(scene), str(tmp_path / "other.ini"), str(text)],
        stdout=subprocess.PIPE,
        text=True,
        start_new_session=True,
        env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[2])},
    )
    assert process.stdout is not None
    assert process.stdout.readline() == "READY\n"
    return process, text.read_text()


def kill(process: subprocess.Popen[str]) -> None:
    os.killpg(process.pid, signal.SIGKILL)
    process.wait()
    assert process.stdout is not None
    process.stdout.close()


@pytest.mark.parametrize("edit", EDITS.values(), ids=EDITS)
def test_that_every_kind_of_edit_outlives_a_kill(scene, tmp_path, open_window, wait, edit):
    process, text = started(scene, tmp_path, edit)
    kill(process)
    assert text != TEXT
    assert scene.read_text() == TEXT
    window = open_window()
    wait(lambda: not window.start.kept.isHidden(), "the changes are offered")
    assert "closed without saving at" in window.start._kept_words.text()
    window.start.kept_take.click()
    assert window.session.document.text == text
    assert window.session.document.path == scene
    assert window.session.document.is_modified
    window.session.document.undo()
    assert window.session.document.text == TEXT
    assert window.start.kept.isHidden()


def test_that_changes_of_the_file_that_is_opened_are_offered_in_the_headline(scene, tmp_path, open_window, wait):
    process, text = started(scene, tmp_path, EDITS["a field"])
    kill(process)
    window = open_window(scene)
    wait(lambda: window.headline.offer is not None, "the changes are offered")
    assert "Your last change (Set T4/stick_out) is kept." in window.headline.offer.words
    window.headline.offer_key(0).click()
    assert window.session.document.text == text
    assert window.headline.offer is None


def test_that_what_is_left_is_gone_for_good(scene, tmp_path, open_window, wait):
    process, _ = started(scene, tmp_path, EDITS["a dial"])
    kill(process)
    window = open_window(scene)
    wait(lambda: window.headline.offer is not None, "the changes are offered")
    window.headline.offer_key(1).click()
    assert window.session.document.text == TEXT
    assert left_behind(state_folder()) == ()


def test_that_a_second_window_on_the_same_file_is_told(scene, tmp_path, open_window, wait):
    process, _ = started(scene, tmp_path, "pass")
    window = open_window(scene)
    wait(lambda: window.headline.offer is not None, "it is told")
    assert window.headline.offer.words == "block.scene.yaml is open in another window too. Save it in one of them only."
    kill(process)


def test_that_a_read_only_folder_loses_nothing(scene, open_window):
    window = open_window(scene)
    window.session.document.edit("Set", "riser/h", 45.0)
    changed = window.session.document.text
    if os.geteuid() == 0:  # rights do not bind the superuser: a folder that is gone refuses as well
        scene.rename(scene.with_suffix(".moved"))
        scene.mkdir()
    else:
        scene.parent.chmod(0o500)
    try:
        assert not window.files.save()
    finally:
        scene.parent.chmod(0o700)
    assert window.headline.offer is not None
    assert window.session.document.text == changed
    assert window.session.document.is_modified


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="only Linux has a disk that is always full")
def test_that_a_full_disk_loses_nothing_and_says_so(scene, open_window, monkeypatch):
    window = open_window(scene)
    window.session.document.edit("Set", "riser/h", 45.0)
    changed = window.session.document.text
    real = os.fdopen

    def full(handle, mode="r", *rest, **more):
        if "w" not in mode:
            return real(handle, mode, *rest, **more)
        os.close(handle)
        return open("/dev/full", "wb", buffering=0)

    monkeypatch.setattr("app.scenes.saving.os.fdopen", full)
    assert not window.files.save()
    assert "space" in window.headline.offer.words.lower()
    assert window.session.document.text == changed
    assert scene.read_text() == TEXT
    window.session.document.edit("Set", "riser/h", 46.0)
    assert window.session.document.is_modified
