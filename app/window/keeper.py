"""Unsaved changes that outlive the window: kept at every change, offered when a window before was killed.

1. Nothing is taken back or thrown away unasked; what is offered waits.
2. Taken back in, the changes are one step of the document, so that undo gives the file as it is on disk.
"""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from PySide6.QtCore import QObject, QTimer, Slot

from app.window.document import OpenError
from app.window.panels.headline import Offer
from app.window.recovery import LeftBehind, Recovery, forget, left_behind, state_folder
from app.window.session import Session

if TYPE_CHECKING:
    from app.window.main_window import MainWindow

KEPT, ELSEWHERE, TROUBLE = "kept", "elsewhere", "trouble"
TAKE, LEAVE = "Take it back in", "Leave it"


class Keeper(QObject):
    """The recovery copy of one window, and what others have left."""

    def __init__(self, window: MainWindow, session: Session, folder: Path | None = None) -> None:
        super().__init__(window)
        self._window, self._session = window, session
        self._folder = folder if folder is not None else state_folder()
        self.recovery = Recovery(session.document, self._folder, self)
        self.waiting: LeftBehind | None = None
        self._told_elsewhere: Path | None = None
        self.recovery.trouble.connect(self._trouble)
        window.headline.offer_taken.connect(self._offer_taken)
        window.start.kept_taken.connect(self.take)
        window.start.kept_left.connect(self.leave)
        session.document.path_changed.connect(self._path_changed)
        QTimer.singleShot(0, self, self.look)

    @Slot()
    def look(self) -> None:
        """Offer the newest that a window before has left: of the file that is open, or of any where none is."""
        open_now = self._session.document.path
        own = open_now.absolute() if open_now is not None else None
        found = [kept for kept in left_behind(self._folder) if own is None or kept.path == own]
        self.waiting = found[0] if found and not self._session.document.is_modified else None
        if self.waiting is None:
            self._window.start.show_kept("")
            return
        words = words_of(self.waiting)
        if self._session.document.text:
            self._window.headline.show_offer(Offer(KEPT, words, (TAKE, LEAVE)))
        else:
            self._window.start.show_kept(words)

    @Slot()
    def take(self) -> None:
        """Take the changes back in, as one step that can be undone."""
        kept = self.waiting
        if kept is None:
            return
        document = self._session.document
        is_there = kept.path is not None and kept.path.exists()
        try:
            if is_there and document.path != kept.path:
                assert kept.path is not None, "a file that is there has a path"
                document.open(kept.path)
            elif not is_there:
                document.begin("", kept.path)
        except OpenError as error:
            self._session.refused.emit(error.message)
            return
        document.replace("Take unsaved changes back in", kept.text)
        forget(kept.kept_in)
        self._done()

    @Slot()
    def leave(self) -> None:
        """Throw the changes away."""
        if self.waiting is not None:
            forget(self.waiting.kept_in)
        self._done()
        self.look()

    def close(self) -> None:
        """The window closes in good order."""
        self.recovery.close()

    def _done(self) -> None:
        self.waiting = None
        self._window.start.show_kept("")
        offer = self._window.headline.offer
        if offer is not None and offer.key == KEPT:
            self._window.headline.show_offer(None)

    @Slot(str, int)
    def _offer_taken(self, key: str, button: int) -> None:
        if key == KEPT and button == 0:
            self.take()
        elif key == KEPT:
            self.leave()
        elif key in (ELSEWHERE, TROUBLE):
            self._window.headline.show_offer(None)

    @Slot()
    def _path_changed(self) -> None:
        QTimer.singleShot(0, self, self._look_at_path)  # opening goes on, and takes offers away

    @Slot()
    def _look_at_path(self) -> None:
        path = self._session.document.path
        self.look()
        if path is None or path == self._told_elsewhere:
            return
        self._told_elsewhere = path
        if self.waiting is None and self.recovery.is_open_elsewhere():
            words = f"{path.name} is open in another window too. Save it in one of them only."
            self._window.headline.show_offer(Offer(ELSEWHERE, words, ("Close",)))

    @Slot(str)
    def _trouble(self, why: str) -> None:
        offer = self._window.headline.offer
        if why and (offer is None or offer.key == TROUBLE):
            self._window.headline.show_offer(Offer(TROUBLE, why, ("Close",)))
        elif not why and offer is not None and offer.key == TROUBLE:
            self._window.headline.show_offer(None)


def words_of(kept: LeftBehind) -> str:
    """What is said of changes that were not saved."""
    at = datetime.fromtimestamp(kept.at).astimezone()
    today = at.date() == datetime.now().astimezone().date()
    when = f"{at:%H:%M}" if today else f"{at:%H:%M on %d %b %Y}"
    name = f" {kept.path.name.removesuffix('.scene.yaml')}:" if kept.path is not None else ""
    change = f" ({kept.what})" if kept.what else ""
    since = " The file has been changed since." if kept.is_file_changed else ""
    return f"Tightside closed without saving at {when}.{name} Your last change{change} is kept.{since}"
