"""A set-up is begun from a real part, and no turn of the event loop takes 100 ms of its own meanwhile."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import pytest
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication

from tests.gui.conftest import is_checked
from tests.gui.test_heartbeat import check_alive

PARTS = os.environ.get("TIGHTSIDE_PARTS")
TOOL = "1 end mill d10 flute 22 out 35 holder collet_16_jis30"


@pytest.mark.slow
@pytest.mark.skipif(not PARTS, reason="the folder of real parts is not named by TIGHTSIDE_PARTS")
def test_that_beginning_a_set_up_never_holds_the_window_up(opener, wait, tmp_path) -> None:
    part = Path(shutil.copy(Path(str(PARTS)) / "featuretype.STEP", tmp_path))
    check_alive(opener, lambda window: begin(window, wait, part), 100)


def begin(window, wait, part: Path) -> None:
    page = window.new_page
    window.new_setup.start()
    wait(lambda: not window.new_setup._reads.isActive(), "the library is read")
    window.new_setup.part.read(str(part))
    wait(lambda: page.part.part.isVisible() and window.view.place is not None, "the part is there", seconds=120)
    QApplication.processEvents()
    for name in ("inclined_bc", "compact_ac"):
        QTest.mouseClick(page.machine.key_of(name), Qt.MouseButton.LeftButton)
        QApplication.processEvents()
    for choice in page.holding.choices.values():
        page.unfold_asked.emit(3)
        QApplication.processEvents()
        QTest.mouseClick(choice, Qt.MouseButton.LeftButton)
        QApplication.processEvents()
    page.unfold_asked.emit(4)
    QApplication.processEvents()
    page.tools.field.setFocus()
    for character in TOOL:
        QTest.keyClicks(page.tools.field, character)
        QApplication.processEvents()
    QTest.keyClick(page.tools.field, Qt.Key.Key_Return)
    page.bring(5)
    QApplication.processEvents()
    picture = page.orientations.picture
    for _ in range(3):
        picture.orbit(10.0, 0.0)
        QApplication.processEvents()
    assert picture.point_at(picture.width() / 2.0, picture.height() / 2.0)
    wait(lambda: is_checked(window), "the first number is there", seconds=120)
    assert page.orientations.papers
    window.session.document.undo()
    QApplication.processEvents()
