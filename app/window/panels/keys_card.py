"""All keys as one card, from the table of actions.

Shows: groups of (keys, words). Esc or F1 closes it.
"""

from __future__ import annotations

from PySide6.QtCore import QRectF, QSize, Qt
from PySide6.QtGui import QKeyEvent, QMouseEvent, QPainter, QPaintEvent
from PySide6.QtWidgets import QWidget

from app.window.panels.overlay import Overlay
from app.window.panels.painted import LEFT, RIGHT, fitted
from app.window.theme import AT_EDGE, Theme

Rows = tuple[tuple[str, tuple[tuple[str, str], ...]], ...]  # group, then (keys, words)
LINE, HEAD, COLUMN, KEYS = 22, 30, 560, 190
TOP = 48


class KeysCard(Overlay):
    """Columns of groups."""

    def __init__(self, theme: Theme, rows: Rows, parent: QWidget) -> None:
        super().__init__(theme, parent)
        self.rows = rows
        self.setAccessibleName("keys")

    def _columns(self) -> list[list[tuple[str, str, str]]]:
        """Lines of (kind, keys, words), parted into columns of about the same height."""
        blocks = []
        for group, lines in self.rows:
            blocks.append([("head", group, ""), *(("line", keys, words) for keys, words in lines)])
        room = self.room.height() - 32 - TOP
        fewest = max(2, min(3, self.room.width() // COLUMN))
        most = max(sum(map(_height, blocks)) / fewest, 1)
        columns: list[list[tuple[str, str, str]]] = [[]]
        for block in blocks:
            height = _height(columns[-1])
            is_full = height + _height(block) / 2 > most or height + _height(block) > room
            if columns[-1] and is_full and len(columns) < fewest:
                columns.append([])
            columns[-1].extend(block)
        return columns

    def sizeHint(self) -> QSize:
        columns = self._columns()
        height = TOP + max(map(_height, columns)) + AT_EDGE
        return QSize(COLUMN * len(columns) + 2 * AT_EDGE, height)

    def paintEvent(self, event: QPaintEvent) -> None:
        super().paintEvent(event)
        painter = QPainter(self)
        palette, fonts = self.theme.palette, self.theme.type
        painter.setPen(palette.ink)
        painter.setFont(fonts.name)
        painter.drawText(QRectF(AT_EDGE, 8, self.width(), 36), LEFT, "Keys")
        painter.setFont(fonts.quiet)
        painter.setPen(palette.quiet)
        painter.drawText(QRectF(0, 8, self.width() - AT_EDGE, 36), RIGHT, "Esc closes this card")
        columns = self._columns()
        width = (self.width() - 2 * AT_EDGE) / len(columns)
        for i, column in enumerate(columns):
            y, x = float(TOP), AT_EDGE + i * width
            for kind, keys, words in column:
                if kind == "head":
                    painter.setFont(fonts.quiet_bold)
                    painter.setPen(palette.quiet)
                    painter.drawText(QRectF(x, y + 6, width, HEAD - 6), LEFT, keys)
                    y += HEAD
                else:
                    painter.setPen(palette.ink)
                    painter.setFont(fonts.text_bold)
                    painter.drawText(QRectF(x, y, KEYS, LINE), LEFT, fitted(keys, fonts.text_bold, KEYS - 4))
                    painter.setFont(fonts.text)
                    room = width - KEYS - 12
                    painter.drawText(QRectF(x + KEYS, y, room, LINE), LEFT, fitted(words, fonts.text, room))
                    y += LINE
        painter.end()

    def keyPressEvent(self, event: QKeyEvent) -> None:
        if event.key() in (Qt.Key.Key_F1, Qt.Key.Key_Return):
            self.shut()
        else:
            super().keyPressEvent(event)

    def mousePressEvent(self, event: QMouseEvent) -> None:
        event.accept()
        self.shut()


def _height(lines: list[tuple[str, str, str]]) -> int:
    return sum(HEAD if kind == "head" else LINE for kind, _, _ in lines)
