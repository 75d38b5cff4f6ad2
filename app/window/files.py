"""Opening and saving: which file, what to do about changes that are not saved, what was open before.

1. Nothing is lost by waiting: where something must be decided first, it is offered in the headline with two buttons,
   and the window goes on.
2. Names are asked for by `ask_name_to_open` and `ask_name_to_save`, which tests replace.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from functools import partial
from importlib.resources import files
from pathlib import Path

from PySide6.QtCore import QObject, QSettings, Signal, Slot
from PySide6.QtWidgets import QFileDialog, QWidget

from app.scenes.saving import ChangedOnDiskError, SaveError
from app.window.document import Document, OpenError
from app.window.panels.headline import Offer

SCENES = "Set-ups (*.scene.yaml);;All files (*)"
MOST_RECENT = 8
SAMPLE = ("sampler_block_b", "sampler_block_b.scene.yaml")

UNSAVED = "unsaved"
CHANGED = "changed"
REFUSED = "refused"


class Files(QObject):
    """The files of one window.

    `offered` hands out an Offer or None; `saved_at` a time in words; `opened` that a file was opened.
    """

    offered = Signal(object)
    recent_changed = Signal()
    opened = Signal()
    saved = Signal(str)

    def __init__(self, document: Document, settings: QSettings, parent: QWidget) -> None:
        super().__init__(parent)
        self._window = parent
        self._document = document
        self._settings = settings
        self._then: Callable[[], None] | None = None  # what waits for changes to be saved or thrown away
        self._offer: Offer | None = None
        self.ask_name_to_open: Callable[[], Path | None] = self._dialog_to_open
        self.ask_name_to_save: Callable[[], Path | None] = self._dialog_to_save
        document.changed_on_disk.connect(self._disk_changed)

    # ---- opening ----

    def open(self, path: Path) -> None:
        """Open a file, once nothing unsaved is in the way."""
        self._when_saved(partial(self._open, path))

    def open_sample(self) -> None:
        """Open the sample set-up."""
        self.open(Path(str(files("sample_scenes"))).joinpath(*SAMPLE))

    def ask_open(self) -> None:
        """Ask for a file, and open it."""
        path = self.ask_name_to_open()
        if path is not None:
            self.open(path)

    def _open(self, path: Path) -> None:
        try:
            self._document.open(path)
        except OpenError as error:
            self._tell(Offer(REFUSED, _sentence(error.message), ("Close",)))
            return
        self._tell(None)
        self._remember(path)
        self.saved.emit("")
        self.opened.emit()

    def reread(self) -> None:
        """Read the file again; it can be undone."""
        if self._document.path is None:
            return
        try:
            self._document.reread()
        except OpenError as error:
            self._tell(Offer(REFUSED, _sentence(error.message), ("Close",)))

    # ---- saving ----

    def save(self) -> bool:
        """Save; asks for a name where there is none. Whether it was saved."""
        if self._document.path is None:
            return self.ask_save_as()
        try:
            self._document.save()
        except ChangedOnDiskError:
            self._disk_changed(is_changed=True)
            return False
        except SaveError as error:
            self._tell(Offer(REFUSED, f"Not saved. {_sentence(error.message)}", ("Save as", "Close")))
            return False
        self._remember(self._document.path)
        return self._was_saved()

    def ask_save_as(self) -> bool:
        """Ask for a name, and save. Whether it was saved."""
        path = self.ask_name_to_save()
        if path is None:
            return False
        try:
            self._document.save_as(path)
        except SaveError as error:
            self._tell(Offer(REFUSED, f"Not saved. {_sentence(error.message)}", ("Save as", "Close")))
            return False
        self._remember(path)
        return self._was_saved()

    def _was_saved(self) -> bool:
        self._tell(None)
        self.saved.emit(f"Saved {datetime.now().astimezone():%H:%M}")
        return True

    def may_close(self, then: Callable[[], None]) -> bool:
        """Whether nothing unsaved is in the way; else it is offered, and `then` is done afterwards."""
        if not self._document.is_modified:
            return True
        self._when_saved(then)
        return False

    def _when_saved(self, then: Callable[[], None]) -> None:
        if not self._document.is_modified:
            then()
            return
        self._then = then
        self._tell(Offer(UNSAVED, "This set-up has changes that are not saved.", ("Save", "Throw them away")))

    # ---- offers ----

    @Slot(str, int)
    def take_offer(self, key: str, button: int) -> None:
        """A button of an offer was pressed."""
        self._tell(None)
        if key == UNSAVED:
            then, self._then = self._then, None
            if button == 0 and not self.save():
                self._then = then
                return
            if then is not None:
                if button == 1:
                    self._document.stack.setClean()
                then()
        elif key == CHANGED:
            if button == 0:
                self.reread()
            else:
                self._document.keep_mine()
        elif key == REFUSED and self._offer is not None and self._offer.buttons[button] == "Save as":
            self.ask_save_as()

    def withdraw(self) -> bool:
        """Take back an offer that waits; whether there was one."""
        was = self._offer is not None and self._offer.key in (UNSAVED, REFUSED)
        if was:
            self._then = None
            self._tell(None)
        return was

    @Slot(bool)
    def _disk_changed(self, is_changed: bool) -> None:  # noqa: FBT001 - a slot takes what its signal gives
        if is_changed:
            words = "The file was changed on disk since it was read."
            mine = "Keep mine" if self._document.is_modified else "Keep what is here"
            self._tell(Offer(CHANGED, words, ("Read it again", mine)))
        elif self._offer is not None and self._offer.key == CHANGED:
            self._tell(None)

    def _tell(self, offer: Offer | None) -> None:
        if offer is not None:
            self._offer = offer
        self.offered.emit(offer)

    # ---- what was open before ----

    def recent(self) -> tuple[Path, ...]:
        """Files that are still there, the last first."""
        kept = self._settings.value("recent", [])
        names = kept if isinstance(kept, list) else [kept] if isinstance(kept, str) and kept else []
        return tuple(path for name in names if (path := Path(str(name))).is_file())

    def _remember(self, path: Path) -> None:
        first = path.absolute()
        rest = [other for other in self.recent() if other != first]
        self._settings.setValue("recent", [str(p) for p in (first, *rest)][:MOST_RECENT])
        self.recent_changed.emit()

    def _folder(self) -> str:
        recent = self.recent()
        path = self._document.path or (recent[0] if recent else None)
        return str(path.parent) if path is not None else ""

    def _dialog_to_open(self) -> Path | None:
        name, _ = QFileDialog.getOpenFileName(self._window, "Open a set-up", self._folder(), SCENES)
        return Path(name) if name else None

    def _dialog_to_save(self) -> Path | None:
        name, _ = QFileDialog.getSaveFileName(self._window, "Save the set-up as", self._folder(), SCENES)
        return Path(name) if name else None


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:] + ("" if text.endswith(".") else ".")
