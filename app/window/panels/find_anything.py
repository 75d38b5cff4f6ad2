"""Find anything by name: cuts, swings, bodies, tools, numbers, actions. Type, arrow, Enter.

Shows: entries (`show_entries`). Says: chosen(Entry).
"""

from __future__ import annotations

from dataclasses import dataclass

from PySide6.QtCore import QEvent, QObject, QSize, Qt, Signal, Slot
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import QLineEdit, QListWidget, QListWidgetItem, QVBoxLayout, QWidget

from app.window.panels.overlay import Overlay
from app.window.theme import INSIDE, Theme

MOST_LINES = 12
LINE = 26


@dataclass(frozen=True, slots=True)
class Entry:
    """Something that has a name. `kind` and `key` say what it is to whoever is told."""

    kind: str
    name: str
    note: str
    key: object


def rank(query: str, entry: Entry) -> tuple[int, int] | None:
    """How well a name answers what was typed, the least first; None where it does not."""
    name, words = entry.name.lower(), query.lower().split()
    text = f"{name} {entry.kind} {entry.note}".lower()
    if not all(word in text for word in words):
        return None
    whole = query.lower().strip()
    if name == whole:
        return 0, len(name)
    if name.startswith(whole):
        return 1, len(name)
    return (2 if whole in name else 3), len(name)


class FindAnything(Overlay):
    """A field and a list."""

    chosen = Signal(object)

    def __init__(self, theme: Theme, parent: QWidget) -> None:
        super().__init__(theme, parent)
        self._entries: tuple[Entry, ...] = ()
        self._found: list[Entry] = []
        self.field = QLineEdit(self)
        self.field.setPlaceholderText("Find a cut, swing, body, tool, number or action")
        self.field.setAccessibleName("find anything by name")
        self.list = QListWidget(self)
        self.list.setUniformItemSizes(True)
        self.list.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        column = QVBoxLayout(self)
        column.setContentsMargins(INSIDE, INSIDE, INSIDE, INSIDE)
        column.addWidget(self.field)
        column.addWidget(self.list, 1)
        self.field.textChanged.connect(self._typed)
        self.field.installEventFilter(self)
        self.list.itemClicked.connect(self._take)
        self.setFocusProxy(self.field)

    def sizeHint(self) -> QSize:
        return QSize(560, 60 + MOST_LINES * LINE)

    def show_entries(self, entries: tuple[Entry, ...]) -> None:
        """Everything that can be found."""
        self._entries = entries
        self.field.clear()
        self._typed("")

    @property
    def found(self) -> tuple[Entry, ...]:
        """What is listed, best first."""
        return tuple(self._found)

    @Slot(str)
    def _typed(self, query: str) -> None:
        ranked = [(r, i, e) for i, e in enumerate(self._entries) if (r := rank(query, e)) is not None]
        self._found = (
            [entry for _, _, entry in sorted(ranked, key=lambda one: one[:2])]
            if query.strip()
            else [entry for _, _, entry in ranked]
        )
        self.list.clear()
        for entry in self._found[:200]:
            note = f"   {entry.note}" if entry.note else ""
            self.list.addItem(QListWidgetItem(f"{entry.name}   ({entry.kind}){note}"))
        self.list.setCurrentRow(0)

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        if watched is self.field and isinstance(event, QKeyEvent) and event.type() is QEvent.Type.KeyPress:
            row = self.list.currentRow()
            if event.key() in (Qt.Key.Key_Down, Qt.Key.Key_Up):
                step = 1 if event.key() == Qt.Key.Key_Down else -1
                self.list.setCurrentRow(max(0, min(self.list.count() - 1, row + step)))
                return True
            if event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
                self._choose(row)
                return True
            if event.key() == Qt.Key.Key_Escape:
                self.shut()
                return True
        return super().eventFilter(watched, event)

    @Slot(QListWidgetItem)
    def _take(self, item: QListWidgetItem) -> None:
        self._choose(self.list.row(item))

    def _choose(self, row: int) -> None:
        if 0 <= row < len(self._found):
            entry = self._found[row]
            self.shut()
            self.chosen.emit(entry)
