"""Unsaved changes outlive the window: processes are killed for it, for real."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from app.window.document import Document
from app.window.recovery import Recovery, forget, left_behind

DEMO = Path(__file__).parents[2] / "sample_scenes" / "sampler_block_b" / "sampler_block_b.scene.yaml"
SCENE = "format: 1\nunits: mm\ntitle: block\n"

WHOLE_TEXTS = {
    "the whole text": "document.replace('Move clamp screw L', document.text + '# moved\\n')",
    "undo after two": "document.replace('one', 'a: 1\\n'); document.replace('two', 'a: 2\\n'); document.undo()",
    "redo": "document.replace('one', 'a: 1\\n'); document.undo(); document.redo()",
}

KILLED = """
import sys, time
from pathlib import Path
from PySide6.QtCore import QCoreApplication
from app.window.document import Document
from app.window.recovery import Recovery
app = QCoreApplication([])
document = Document()
recovery = Recovery(document, Path(sys.argv[1]))
document.open(Path(sys.argv[2]))
{edit}
print("READY" + document.text.replace("\\n", "|"), flush=True)
time.sleep(60)
"""


def started(folder: Path, scene: Path, edit: str) -> tuple[subprocess.Popen[str], str]:
    """A process that has edited a scene, and the text that it has."""
    code = KILLED.format(edit=edit)
    process = subprocess.Popen(
        [sys.executable, "-c", code, str(folder), str(scene)],
        stdout=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[2])},
    )
    assert process.stdout is not None
    line = process.stdout.readline()
    assert line.startswith("READY"), line
    return process, line.removeprefix("READY").rstrip("\n").replace("|", "\n")


def kill(process: subprocess.Popen[str]) -> None:
    process.send_signal(signal.SIGKILL)
    process.wait()
    assert process.stdout is not None
    process.stdout.close()


@pytest.fixture(scope="module")
def qt_application():
    """Signals and locks need an application, of any kind."""
    from PySide6.QtWidgets import QApplication

    return QApplication.instance() or QApplication([])


@pytest.fixture
def scene(tmp_path):
    path = tmp_path / "block.scene.yaml"
    path.write_text(SCENE)
    return path


@pytest.mark.parametrize(
    "edit",
    [e for name, e in WHOLE_TEXTS.items() if name != "a number"],
    ids=[n for n in WHOLE_TEXTS if n != "a number"],
)
def test_that_what_was_typed_before_a_kill_is_offered_again(tmp_path, scene, edit):
    folder = tmp_path / "state"
    process, text = started(folder, scene, edit)
    assert left_behind(folder) == ()  # it lives, so that it's nobody else's
    kill(process)
    (kept,) = left_behind(folder)
    assert (kept.path, kept.text, kept.is_file_changed) == (scene, text, False)
    assert abs(time.time() - kept.at) < 60
    assert scene.read_text() == SCENE
    forget(kept.kept_in)
    assert left_behind(folder) == ()
    assert list(folder.iterdir()) == []


def test_that_a_number_typed_before_a_kill_is_kept_with_its_name(tmp_path):
    scene = tmp_path / "demo.scene.yaml"
    scene.write_bytes(
        (Path(__file__).parents[2] / "sample_scenes" / "sampler_block_b" / "sampler_block_b.scene.yaml").read_bytes()
    )
    folder = tmp_path / "state"
    process, text = started(folder, scene, "document.edit('T4 out 21.0', 'T4/stick_out', 21.0)")
    kill(process)
    (kept,) = left_behind(folder)
    assert kept.what == "T4 out 21.0"
    assert kept.text == text != scene.read_text()


def test_that_nothing_is_offered_of_a_killed_window_without_changes(tmp_path, scene):
    folder = tmp_path / "state"
    process, _ = started(folder, scene, "pass")
    kill(process)
    assert left_behind(folder) == ()
    assert list(folder.iterdir()) == []


def test_that_a_file_that_changed_meanwhile_is_told(tmp_path, scene):
    folder = tmp_path / "state"
    process, _ = started(folder, scene, WHOLE_TEXTS["the whole text"])
    kill(process)
    scene.write_text(SCENE + "# by somebody else\n")
    (kept,) = left_behind(folder)
    assert kept.is_file_changed


@pytest.mark.usefixtures("qt_application")
def test_that_saving_and_closing_leave_nothing_behind(tmp_path, scene):
    folder = tmp_path / "state"
    document = Document()
    recovery = Recovery(document, folder)
    document.open(scene)
    document.replace("change", SCENE + "# more\n")
    assert recovery.file.exists()
    document.save()
    assert '"text": null' in recovery.file.read_text()
    document.undo()
    assert SCENE.splitlines()[2] in recovery.file.read_text()
    recovery.close()
    assert [f.suffix for f in folder.iterdir()] in ([], [".lock"])
    assert left_behind(folder) == ()


@pytest.mark.usefixtures("qt_application")
def test_that_a_second_window_on_the_same_file_knows(tmp_path, scene):
    folder = tmp_path / "state"
    first, second = Document(), Document()
    mine = Recovery(first, folder)
    first.open(scene)
    assert not mine.is_open_elsewhere()
    process, _ = started(folder, scene, "pass")
    assert mine.is_open_elsewhere()
    kill(process)
    assert not mine.is_open_elsewhere()
    other = Recovery(second, folder)
    second.open(scene)
    assert mine.is_open_elsewhere()
    mine.close()
    other.close()


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="only Linux has a disk that is always full")
@pytest.mark.usefixtures("qt_application")
def test_that_a_copy_that_cannot_be_kept_is_told_once_and_again_when_it_can(tmp_path, scene):
    folder = tmp_path / "state"
    folder.write_text("a file stands where the folder should be")
    document = Document()
    told: list[str] = []
    recovery = Recovery(document, folder)
    recovery.trouble.connect(told.append)
    document.open(scene)
    document.replace("change", SCENE + "# more\n")
    assert told
    assert all(text.startswith("No copy of unsaved changes can be kept (") for text in told)
    folder.unlink()
    document.replace("change", SCENE + "# even more\n")
    assert told[-1] == ""
    assert "even more" in recovery.file.read_text()
    recovery.close()
