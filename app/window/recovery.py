"""A copy of every unsaved change outside the scene's own file, and what was left behind by a window that was killed.

1. Each window keeps one file of its own, `<number>.json`, beside a lock that the system gives up with the process.
   While the lock is held, the file belongs to a living window.
2. The copy is written whole or not at all at every change, and taken away when the text is as saved, or the window
   closes in good order.
3. A copy that can't be written is told once, in words, and again when it can; nothing else depends on it.
4. What this file does not know: what a text means, how an offer looks.
"""

from __future__ import annotations

import contextlib
import json
import os
import time
import uuid
from dataclasses import dataclass
from pathlib import Path

from PySide6.QtCore import QLockFile, QObject, QStandardPaths, Signal, Slot

from app.scenes.saving import SaveError, disk_state, save
from app.window.document import Document

FORMAT = 1
STATE_VARIABLE = "TIGHTSIDE_STATE"


@dataclass(frozen=True, slots=True)
class LeftBehind:
    """Unsaved changes of a window that is gone.

    Parameters
    ----------
    path : the scene's file; None if it had none yet.
    text : the scene as it was at the last change.
    what : the name of that change.
    at : when it was made, seconds since 1970.
    is_file_changed : whether the scene's file is not the one that the changes were made to.
    kept_in : the copy.
    """

    path: Path | None
    text: str
    what: str
    at: float
    is_file_changed: bool
    kept_in: Path


def state_folder() -> Path:
    """Where copies are kept: TIGHTSIDE_STATE, else the user's own folder for application data."""
    told = os.environ.get(STATE_VARIABLE)
    if told:
        return Path(told) / "unsaved"
    own = QStandardPaths.writableLocation(QStandardPaths.StandardLocation.GenericDataLocation)
    return Path(own) / "tightside" / "unsaved"


class Recovery(QObject):
    """Keeps the copy of one document. `trouble` tells why none can be kept, and an empty text when it can again."""

    trouble = Signal(str)

    def __init__(self, document: Document, folder: Path, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._document = document
        self._folder = folder
        self._name = uuid.uuid4().hex
        self._lock: QLockFile | None = None
        self._base: str | None = None
        self._is_troubled = False
        document.path_changed.connect(self._begin)
        document.text_changed.connect(self._keep)
        document.stack.cleanChanged.connect(self._keep)
        self._begin()

    @property
    def file(self) -> Path:
        """The copy, whether it exists or not."""
        return self._folder / f"{self._name}.json"

    def is_open_elsewhere(self) -> bool:
        """Whether another living window has the same file open."""
        path = self._path_text()
        return path is not None and any(
            told.get("path") == path for file, told in _records(self._folder) if file != self.file and _is_alive(file)
        )

    def close(self) -> None:
        """The window closes in good order: what was not saved was given up by the user."""
        with contextlib.suppress(OSError):  # the lock goes in any case; offered once more, the copy loses nothing
            self.file.unlink(missing_ok=True)
        if self._lock is not None:
            self._lock.unlock()
            self._lock = None

    @Slot()
    def _begin(self) -> None:
        path = self._document.path
        self._base = None
        if path is not None:
            try:
                self._base = disk_state(path).sha256
            except SaveError:
                self._base = None
        self._keep()

    @Slot()
    def _keep(self) -> None:
        told = {
            "format": FORMAT,
            "path": self._path_text(),
            "base": self._base,
            "text": self._document.text if self._document.is_modified else None,
            "what": self._document.stack.undoText(),
            "at": time.time(),
        }
        try:
            self._own_lock()
            save(self.file, json.dumps(told))
        except (OSError, SaveError) as error:
            self._is_troubled = True
            self.trouble.emit(f"No copy of unsaved changes can be kept ({_reason(error)}). Save the set-up often.")
            return
        if self._is_troubled:
            self._is_troubled = False
            self.trouble.emit("")

    def _own_lock(self) -> None:
        if self._lock is None:
            self._folder.mkdir(parents=True, exist_ok=True)
            lock = _lock_of(self.file)
            if not lock.tryLock(0):
                raise OSError(f"{self._folder}: no lock can be had")
            self._lock = lock

    def _path_text(self) -> str | None:
        path = self._document.path
        return None if path is None else str(path.absolute())


def left_behind(folder: Path) -> tuple[LeftBehind, ...]:
    """Unsaved changes of windows that are gone, the newest first. Records without any are cleared away."""
    found = []
    for file, told in _records(folder):
        if _is_alive(file):
            continue
        text, name, at = told.get("text"), told.get("path"), told.get("at")
        if not isinstance(text, str):
            forget(file)
            continue
        path = Path(name) if isinstance(name, str) else None
        found.append(
            LeftBehind(
                path=path,
                text=text,
                what=str(told.get("what", "")),
                at=at if isinstance(at, float) else 0.0,
                is_file_changed=path is not None and _sha256(path) != told.get("base"),
                kept_in=file,
            )
        )
    return tuple(sorted(found, key=lambda kept: -kept.at))


def forget(kept_in: Path) -> None:
    """Clear a copy away, once it was taken back in or is not wanted."""
    for file in (kept_in, kept_in.with_suffix(".lock")):
        try:
            file.unlink(missing_ok=True)
        except OSError:
            continue  # offered once more, which loses nothing


def _records(folder: Path) -> list[tuple[Path, dict[str, object]]]:
    found: list[tuple[Path, dict[str, object]]] = []
    if not folder.is_dir():
        return found
    for file in sorted(folder.glob("*.json")):
        try:
            told = json.loads(file.read_text(encoding="utf-8"))
        except (OSError, ValueError):
            continue
        if isinstance(told, dict) and told.get("format") == FORMAT:
            found.append((file, told))
    return found


def _lock_of(file: Path) -> QLockFile:
    lock = QLockFile(str(file.with_suffix(".lock")))
    lock.setStaleLockTime(0)  # only a process that is gone gives it up, however long a window stays open
    return lock


def _is_alive(file: Path) -> bool:
    """Whether the window that keeps a copy still lives: its lock can't be had."""
    lock = _lock_of(file)
    if lock.tryLock(0):
        lock.unlock()
        return False
    return lock.error() == QLockFile.LockError.LockFailedError


def _sha256(path: Path) -> str | None:
    try:
        return disk_state(path).sha256
    except SaveError:
        return None


def _reason(error: Exception) -> str:
    text = str(error)
    return text.rpartition("(")[2].rstrip(")") if isinstance(error, SaveError) and "(" in text else text
