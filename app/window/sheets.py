"""The bench sheet from the window: made from the saved file by the command line's own command, in a process of its own.

A sheet names the checksum of the files that it was made from, so that it is never made of what is not saved.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from PySide6.QtCore import QObject, QProcess, QProcessEnvironment, QUrl, Slot
from PySide6.QtGui import QDesktopServices
from PySide6.QtWidgets import QFileDialog

from app.window.panels.headline import Offer
from app.window.session import Session
from app.window.units import Unit

if TYPE_CHECKING:
    from app.window.main_window import MainWindow

ROOT = Path(__file__).parents[2]
SAVE_FIRST, MAKING, MADE, FAILED = "sheet save", "sheet making", "sheet made", "sheet failed"
VERDICTS = (0, 10, 20, 30, 40)  # exit statuses that are no fault
CLOSE_MS = 2000


class Sheets(QObject):
    """Makes one sheet at a time."""

    def __init__(self, window: MainWindow, session: Session) -> None:
        super().__init__(window)
        self._window, self._session = window, session
        self._process: QProcess | None = None
        self._file: Path | None = None
        self.ask_name: Callable[[Path], Path | None] = self._dialog
        window.headline.offer_taken.connect(self._taken)

    def make(self) -> None:
        """Ask where the sheet goes, and make it; what is not saved is saved first, if the user agrees."""
        document = self._session.document
        if not document.text or self._process is not None:
            return
        if document.path is None or document.is_modified:
            words = "A sheet is made from the saved file, whose checksum it names."
            self._window.headline.show_offer(Offer(SAVE_FIRST, words, ("Save, then make it", "Not now")))
            return
        file = self.ask_name(document.path.with_name(document.path.name.removesuffix(".scene.yaml") + ".pdf"))
        if file is not None:
            self._start(document.path, file)

    def close(self) -> None:
        """End what is being made."""
        if self._process is not None:
            self._process.finished.disconnect()
            self._process.kill()
            self._process.waitForFinished(CLOSE_MS)
            self._process = None

    def _start(self, scene: Path, file: Path) -> None:
        process = QProcess(self)
        environment = QProcessEnvironment.systemEnvironment()
        paths = [str(ROOT), *filter(None, [environment.value("PYTHONPATH")])]
        environment.insert("PYTHONPATH", os.pathsep.join(paths))
        process.setProcessEnvironment(environment)
        process.setProgram(sys.executable)
        units = ["--units", "inch"] if self._window.wiring.unit is Unit.INCH else []
        process.setArguments(["-m", "app", "sheet", str(scene), "-o", str(file), *units])
        process.finished.connect(self._finished)
        self._process, self._file = process, file
        self._window.headline.show_offer(Offer(MAKING, f"Making the sheet {file.name} ...", ("Stop",)))
        process.start()

    @Slot(int, QProcess.ExitStatus)
    def _finished(self, status: int, how: QProcess.ExitStatus) -> None:
        process, self._process = self._process, None
        if process is None or self._file is None:
            return
        said = bytes(process.readAllStandardError().data()).decode("utf-8", "replace").strip().splitlines()
        process.deleteLater()
        if how is QProcess.ExitStatus.NormalExit and status in VERDICTS and self._file.exists():
            offer = Offer(MADE, f"The sheet is {self._file}.", ("Open it", "Close"))
        else:
            why = said[-1] if said else f"it ended with status {status}"
            offer = Offer(FAILED, f"No sheet was made: {why}", ("Close",))
        self._window.headline.show_offer(offer)

    @Slot(str, int)
    def _taken(self, key: str, button: int) -> None:
        headline = self._window.headline
        if key == SAVE_FIRST:
            headline.show_offer(None)
            if button == 0 and self._window.files.save():
                self.make()
        elif key == MAKING:
            self.close()
            headline.show_offer(None)
        elif key in (MADE, FAILED):
            headline.show_offer(None)
            if key == MADE and button == 0 and self._file is not None:
                QDesktopServices.openUrl(QUrl.fromLocalFile(str(self._file)))

    def _dialog(self, proposed: Path) -> Path | None:
        name, _ = QFileDialog.getSaveFileName(self._window, "Print the sheet to", str(proposed), "PDF (*.pdf)")
        return Path(name) if name else None
