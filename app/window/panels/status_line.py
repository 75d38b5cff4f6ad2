"""The line at the bottom: what was not checked and why, what is not modelled, when it was saved, the key for keys.

Shows: texts (`show_status`). Says: keys_wanted.
"""

from __future__ import annotations

from dataclasses import dataclass

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QHBoxLayout, QLabel, QSizePolicy, QToolButton, QWidget

from app.window.panels.headline import Sentence
from app.window.theme import AT_EDGE, BETWEEN, Theme


@dataclass(frozen=True, slots=True)
class Status:
    """What the line says."""

    unchecked: str = ""
    is_loud: bool = False  # something was not checked
    not_modelled: str = ""
    doing: str = ""
    saved: str = ""
    tip: str = ""


class StatusLine(QWidget):
    """28 px."""

    keys_wanted = Signal()

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._theme = theme
        self.unchecked = QLabel(self)
        self.not_modelled = Sentence(self)
        self.not_modelled.setWordWrap(False)
        self.doing = QLabel(self)
        self.saved = QLabel(self)
        self.keys = QToolButton(self)
        self.keys.setText("Keys F1")
        self.keys.clicked.connect(self.keys_wanted)
        self.keys.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        row = QHBoxLayout(self)
        row.setContentsMargins(AT_EDGE, 0, AT_EDGE, 0)
        row.setSpacing(BETWEEN)
        row.addWidget(self.unchecked)
        row.addWidget(self.not_modelled, 1)
        row.addWidget(self.doing)
        row.addWidget(self.saved)
        row.addWidget(self.keys)
        self.setFixedHeight(30)
        self.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Fixed)
        self.set_theme(theme)

    def show_status(self, status: Status) -> None:
        """Another state."""
        self.unchecked.setText(status.unchecked)
        self.unchecked.setFont(self._theme.type.text_bold if status.is_loud else self._theme.type.text)
        weight = 700 if status.is_loud else 400
        self.unchecked.setStyleSheet(f"font-weight: {weight};")
        self.unchecked.setToolTip(status.tip)
        self.not_modelled.say(status.not_modelled)
        self.doing.setText(status.doing)
        self.saved.setText(status.saved)

    def set_theme(self, theme: Theme) -> None:
        """Another look."""
        self._theme = theme
        for label in (self.not_modelled, self.doing, self.saved):
            label.setStyleSheet(f"color: {theme.palette.quiet.name()};")
