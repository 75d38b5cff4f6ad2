"""`tightside show` and `tightside-window`: starts the window."""

from __future__ import annotations

import gc
import os
import sys
from collections.abc import Sequence
from pathlib import Path
from types import TracebackType

from PySide6.QtCore import QSettings, Qt
from PySide6.QtGui import QGuiApplication
from PySide6.QtWidgets import QApplication

from app.window.fonts import load_fonts
from app.window.session import Session
from app.window.theme import DARK, LIGHT, Theme, apply_to, theme_of

ORGANISATION = APPLICATION = "Tightside"
INTERNAL_ERROR = 70


def main(arguments: Sequence[str] | None = None) -> int:
    """Open a window, with a set-up where one is named. Returns the exit status."""
    names = list(sys.argv[1:] if arguments is None else arguments)
    QGuiApplication.setHighDpiScaleFactorRoundingPolicy(Qt.HighDpiScaleFactorRoundingPolicy.PassThrough)
    application = QApplication(sys.argv[:1])
    application.setApplicationName(APPLICATION)
    application.setOrganizationName(ORGANISATION)
    application.setApplicationDisplayName(APPLICATION)
    session = Session()  # its process starts while the window is being built
    load_fonts()
    settings = QSettings()
    theme = first_theme(settings, application)
    apply_to(application, theme)
    from app.window.main_window import MainWindow  # loads what draws: the process of the engine starts before

    window = MainWindow(settings, theme, session)
    sys.excepthook = _fatal
    window.show()
    gc.freeze()  # what is there now stays: the collector, which stops everything, need not look through it each time
    if names:
        window.files.open(Path(names[0]))
    return application.exec()


def first_theme(settings: QSettings, application: QApplication) -> Theme:
    """The look that was chosen, or the system's."""
    chosen = settings.value("look")
    is_dark = application.styleHints().colorScheme() is Qt.ColorScheme.Dark if chosen is None else chosen == "dark"
    return theme_of(DARK if is_dark else LIGHT)


def _fatal(kind: type[BaseException], error: BaseException, trace: TracebackType | None) -> None:
    """A broken invariant: say it, and end with the status of an internal error."""
    error.add_note("This is a fault of the program, not of your file: please report it with the scene.")
    sys.__excepthook__(kind, error, trace)
    application = QApplication.instance()
    if application is not None:
        for window in QApplication.topLevelWidgets():
            session = getattr(window, "session", None)
            if isinstance(session, Session):
                session.close()
    os._exit(INTERNAL_ERROR)


if __name__ == "__main__":
    sys.exit(main())
