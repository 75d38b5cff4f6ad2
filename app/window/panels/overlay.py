"""A card laid over the window: keys, about, finder. Esc closes it, and the focus goes back to where it was.

Says: closed.
"""

from __future__ import annotations

from PySide6.QtCore import QEvent, QObject, QRectF, QSize, Qt, Signal
from PySide6.QtGui import QKeyEvent, QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import QApplication, QWidget

from app.window.theme import Theme


class Overlay(QWidget):
    """Stands over its parent, in the middle, as large as it wants to be and as there is room."""

    closed = Signal()

    def __init__(self, theme: Theme, parent: QWidget) -> None:
        super().__init__(parent)
        self.theme = theme
        self._was_focus: QWidget | None = None
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        parent.installEventFilter(self)
        self.hide()

    @property
    def is_open(self) -> bool:
        return self.isVisible()

    def open(self) -> None:
        """Show it."""
        if not self.isVisible():
            self._was_focus = QApplication.focusWidget()
        self._fit()
        self.show()
        self.raise_()
        self.setFocus(Qt.FocusReason.PopupFocusReason)

    def shut(self) -> None:
        """Hide it."""
        if self.isVisible():
            self.hide()
            if self._was_focus is not None:
                self._was_focus.setFocus(Qt.FocusReason.PopupFocusReason)
            self._was_focus = None
            self.closed.emit()

    def set_theme(self, theme: Theme) -> None:
        """Another look."""
        self.theme = theme
        self.update()

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        if event.type() is QEvent.Type.Resize and self.isVisible():
            self._fit()
        return super().eventFilter(watched, event)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        if event.key() == Qt.Key.Key_Escape:
            self.shut()
        else:
            super().keyPressEvent(event)

    @property
    def room(self) -> QSize:
        """Of what it stands over."""
        parent = self.parentWidget()
        assert parent is not None, "an overlay stands over something"
        return parent.size()

    def _fit(self) -> None:
        room = self.room
        want = self.sizeHint()
        width, height = min(want.width(), room.width() - 32), min(want.height(), room.height() - 32)
        self.setGeometry((room.width() - width) // 2, max(16, (room.height() - height) // 3), width, height)

    def paintEvent(self, _event: QPaintEvent) -> None:
        painter = QPainter(self)
        palette = self.theme.palette
        painter.fillRect(self.rect(), palette.card)
        painter.setPen(QPen(palette.ink, 2.0))
        painter.drawRect(QRectF(self.rect()).adjusted(1, 1, -1, -1))
        painter.end()
