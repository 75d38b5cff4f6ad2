"""The one document of a window: the text of a scene file, its path, and every change of it.

1. Every change goes through `edit` or `replace`, which push the only command there is: ReplaceText. Undo brings back
   the same bytes.
2. Modified means: the stack is not where it was when the text was last written. Nothing else does.
3. The file is never written over somebody else's change without being asked; while one is open, that it changed on
   disk is told.
4. What this file does not know: what the text means, what is computed from it, widgets.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping
from pathlib import Path

from PySide6.QtCore import QFileSystemWatcher, QObject, QTimer, Signal, Slot
from PySide6.QtGui import QUndoCommand, QUndoStack

from app.scenes.edits import edited
from app.scenes.saving import DiskState, SaveError, disk_state, save, state_of
from app.scenes.side_files import reason_of
from app.scenes.yaml_text import Plain
from kinematics.errors import TightsideError

LARGEST = 16 << 20  # bytes; no scene file is as large
SETTLED_MS = 150  # an editor that saves writes several times

_merge_ids = itertools.count(1)


class OpenError(TightsideError):
    """A file could not be opened as text."""


class ReplaceText(QUndoCommand):
    """The whole text before and after; commands of one drag become one."""

    def __init__(self, document: Document, name: str, before: str, after: str, merge_id: int) -> None:
        super().__init__(name)
        self._document = document
        self._before, self.after = before, after
        self._merge_id = merge_id

    def id(self) -> int:
        return self._merge_id

    def undo(self) -> None:
        self._document.take(self._before)

    def redo(self) -> None:
        self._document.take(self.after)

    def mergeWith(self, other: QUndoCommand) -> bool:
        if not isinstance(other, ReplaceText) or other.id() != self._merge_id or self._merge_id < 0:
            return False
        self.after = other.after
        self.setObsolete(self.after == self._before)
        return True


class Document(QObject):
    """The text and its stack of changes.

    `text_changed` hands out the text before and after; `changed_on_disk` whether the file is another now.
    """

    text_changed = Signal(str, str)
    path_changed = Signal()
    changed_on_disk = Signal(bool)

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self.stack = QUndoStack(self)
        self._text = ""
        self._path: Path | None = None
        self._was = DiskState(None)
        self._is_changed_on_disk = False
        self._merging: tuple[str, int] = ("", -1)
        self._watcher = QFileSystemWatcher(self)
        self._settled = QTimer(self, singleShot=True, interval=SETTLED_MS)
        self._settled.timeout.connect(self._look_at_disk)
        self._watcher.fileChanged.connect(self._disk_stirs)
        self._watcher.directoryChanged.connect(self._disk_stirs)

    @property
    def text(self) -> str:
        return self._text

    @property
    def path(self) -> Path | None:
        """Where it was read from or written to; None before that."""
        return self._path

    @property
    def is_modified(self) -> bool:
        return not self.stack.isClean()

    @property
    def is_changed_on_disk(self) -> bool:
        return self._is_changed_on_disk

    # ---- changes ----

    def edit(self, name: str, path: str, value: Plain, *, merge: str = "") -> None:
        """Set a value by its path. Edits with the same `merge` that follow each other become one.

        Raises EditError, SceneFileError.
        """
        self.replace(name, edited(self._text, [(path, value)]), merge=merge)

    def edit_all(self, name: str, values: Mapping[str, Plain], *, merge: str = "") -> None:
        """Set several values by their paths in one step. Raises EditError, SceneFileError."""
        self.replace(name, edited(self._text, list(values.items())), merge=merge)

    def replace(self, name: str, text: str, *, merge: str = "") -> None:
        """Change the text as a whole."""
        if text == self._text:
            return
        if merge != self._merging[0] or not merge:
            self._merging = (merge, next(_merge_ids) if merge else -1)
        self.stack.push(ReplaceText(self, name, self._text, text, self._merging[1]))

    def end_merging(self) -> None:
        """What follows is a step of its own."""
        self._merging = ("", -1)

    def take(self, text: str) -> None:
        """Have this text. For the stack's commands only."""
        if text != self._text:
            before, self._text = self._text, text
            self.text_changed.emit(before, text)

    @Slot()
    def undo(self) -> None:
        self.end_merging()
        self.stack.undo()

    @Slot()
    def redo(self) -> None:
        self.end_merging()
        self.stack.redo()

    # ---- files ----

    def open(self, path: Path) -> None:
        """Read a file in place of what there is. Raises OpenError, and nothing has changed then."""
        text = _text_in(path)
        self._path = path
        self._was = state_of(text)
        self._begin(text)

    def begin(self, text: str, path: Path | None = None) -> None:
        """Start with a text that is in no file yet; `path`: where side files are looked for."""
        self._path, self._was = path, DiskState(None)
        self._begin(text)

    def _begin(self, text: str) -> None:
        self.end_merging()
        self.stack.clear()
        before, self._text = self._text, text
        self._watch()
        self._tell_disk(is_changed=False)
        self.path_changed.emit()
        self.text_changed.emit(before, text)

    def save(self) -> None:
        """Write the file, unless it was changed by somebody else. Raises SaveError."""
        if self._path is None:
            raise SaveError("this set-up has no file yet; expected a name to save it under")
        self._write(self._path, self._was)

    def save_anyway(self) -> None:
        """Write the file over whatever is there. Raises SaveError."""
        assert self._path is not None, "only a file that was opened can have changed"
        self._write(self._path, None)

    def save_as(self, path: Path) -> None:
        """Write under a name, which the user has agreed to. Raises SaveError."""
        self._write(path, None)
        self._path = path
        self._watch()
        self.path_changed.emit()

    def _write(self, path: Path, was: DiskState | None) -> None:
        self._was = save(path, self._text, was=was)
        self.end_merging()
        self.stack.setClean()
        self._watch()
        self._tell_disk(is_changed=False)

    def reread(self) -> None:
        """Take what is on disk; it can be undone. Raises OpenError."""
        assert self._path is not None, "only a file that was opened can have changed"
        text = _text_in(self._path)
        self._was = state_of(text)
        self.replace("Read the file again", text)
        self.stack.setClean()
        self._watch()
        self._tell_disk(is_changed=False)

    def keep_mine(self) -> None:
        """Leave what is on disk; the next save writes over it."""
        if self._path is not None:
            self._was = disk_state(self._path)
            self.stack.resetClean()
        self._tell_disk(is_changed=False)

    # ---- the disk ----

    def _watch(self) -> None:
        watched = [*self._watcher.files(), *self._watcher.directories()]
        if watched:
            self._watcher.removePaths(watched)
        if self._path is not None:
            folder = self._path.absolute().parent
            self._watcher.addPaths([str(p) for p in (self._path.absolute(), folder) if p.exists()])

    @Slot()
    def _disk_stirs(self) -> None:
        self._settled.start()

    @Slot()
    def _look_at_disk(self) -> None:
        if self._path is None:
            return
        try:
            now = disk_state(self._path)
        except SaveError:
            return
        self._watch()  # a file that was replaced is another file to the system
        self._tell_disk(is_changed=now != self._was and now != DiskState(None) and now != state_of(self._text))

    def _tell_disk(self, *, is_changed: bool) -> None:
        if is_changed != self._is_changed_on_disk:
            self._is_changed_on_disk = is_changed
            self.changed_on_disk.emit(is_changed)


def _text_in(path: Path) -> str:
    try:
        if path.stat().st_size > LARGEST:
            raise OpenError(f"{path}: {path.stat().st_size >> 20} MiB; expected a scene file of at most 16")
        return path.read_bytes().decode("utf-8")
    except OSError as error:
        raise OpenError(f"{path}: cannot be read ({reason_of(error)}); expected a scene file") from error
    except UnicodeDecodeError as error:
        raise OpenError(f"{path}: is no text in UTF-8, from byte {error.start}; expected a scene file") from error
