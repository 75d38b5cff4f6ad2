"""What is there before a set-up is open: three ways to begin, and what was open before.

Shows: recent files (`show_recent`), changes that were kept (`show_kept`). Says: chosen(id of an action);
recent_wanted(path); kept_taken(), kept_left().
"""

from __future__ import annotations

from pathlib import Path

from PySide6.QtCore import Qt, Signal, Slot
from PySide6.QtWidgets import QButtonGroup, QHBoxLayout, QLabel, QPushButton, QVBoxLayout, QWidget

from app.window.theme import BETWEEN, TARGET, Theme

WIDTH = 480


class EmptyStart(QWidget):
    """Paper, a sentence, and what to do next."""

    chosen = Signal(str)
    recent_wanted = Signal(str)
    kept_taken = Signal()
    kept_left = Signal()

    def __init__(self, theme: Theme, ways: tuple[tuple[str, str], ...], parent: QWidget | None = None) -> None:
        """`ways` : (id of an action, its words)."""
        super().__init__(parent)
        self._ways = ways
        self._recent: tuple[Path, ...] = ()
        self._title = QLabel("No set-up open.", self)
        self._recent_title = QLabel("Recent", self)
        self._way_keys, self._recent_keys = QButtonGroup(self), QButtonGroup(self)
        self._column = QVBoxLayout()
        self._column.setSpacing(BETWEEN)
        self._column.addWidget(self._title)
        self._column.addWidget(self._kept_lines())
        for i, (_, words) in enumerate(ways):
            self._column.addWidget(self._line(words, self._way_keys, i))
        self._column.addSpacing(BETWEEN)
        self._column.addWidget(self._recent_title)
        self._below = QVBoxLayout()
        self._below.setSpacing(4)
        self._column.addLayout(self._below)
        outer = QVBoxLayout(self)
        outer.addStretch(2)
        box = QWidget(self)
        box.setLayout(self._column)
        box.setFixedWidth(WIDTH)
        outer.addWidget(box, 0, Qt.AlignmentFlag.AlignHCenter)
        outer.addStretch(3)
        self._way_keys.idClicked.connect(self._way_clicked)
        self._recent_keys.idClicked.connect(self._recent_clicked)
        self.set_theme(theme)
        self.show_recent(())

    def _line(self, words: str, keys: QButtonGroup, number: int) -> QPushButton:
        key = QPushButton(words, self)
        key.setMinimumHeight(TARGET + 8)
        key.setStyleSheet("text-align: left; padding-left: 12px;")
        keys.addButton(key, number)
        return key

    def _kept_lines(self) -> QWidget:
        """What a window before has left, and what to do about it."""
        self.kept = QWidget(self)
        self._kept_words = QLabel(self.kept)
        self._kept_words.setWordWrap(True)
        self._kept_words.setTextFormat(Qt.TextFormat.PlainText)
        self.kept_take, self.kept_leave = QPushButton("Take it back in", self.kept), QPushButton("Leave it", self.kept)
        row = QHBoxLayout()
        row.setSpacing(BETWEEN)
        for key in (self.kept_take, self.kept_leave):
            key.setMinimumHeight(TARGET)
            row.addWidget(key)
        row.addStretch(1)
        column = QVBoxLayout(self.kept)
        column.setContentsMargins(0, 0, 0, BETWEEN)
        column.addWidget(self._kept_words)
        column.addLayout(row)
        self.kept_take.clicked.connect(self.kept_taken)
        self.kept_leave.clicked.connect(self.kept_left)
        self.kept.hide()
        return self.kept

    def show_kept(self, words: str) -> None:
        """Unsaved changes that were kept; an empty text for none."""
        self._kept_words.setText(words)
        self.kept.setVisible(bool(words))

    def show_recent(self, recent: tuple[Path, ...]) -> None:
        """Files that were open before, the last first."""
        self._recent = recent
        for key in self._recent_keys.buttons():
            self._recent_keys.removeButton(key)
            key.setParent(None)
            key.deleteLater()
        for i, path in enumerate(recent):
            key = self._line(f"{path.name.removesuffix('.scene.yaml')}   {path.parent}", self._recent_keys, i)
            key.setToolTip(str(path))
            self._below.addWidget(key)
        self._recent_title.setVisible(bool(recent))

    def set_theme(self, theme: Theme) -> None:
        """Another look."""
        self._title.setStyleSheet(f"font-size: {theme.type.number.pixelSize()}px; font-weight: 700;")
        self._recent_title.setStyleSheet(f"color: {theme.palette.quiet.name()};")

    @Slot(int)
    def _way_clicked(self, number: int) -> None:
        self.chosen.emit(self._ways[number][0])

    @Slot(int)
    def _recent_clicked(self, number: int) -> None:
        self.recent_wanted.emit(str(self._recent[number]))
