"""What the program is, which versions it runs with, and the cautions.

Shows: lines of (name, version).
"""

from __future__ import annotations

from PySide6.QtCore import QRectF, QSize, Qt
from PySide6.QtGui import QMouseEvent, QPainter, QPaintEvent
from PySide6.QtWidgets import QWidget

from app.window.panels.overlay import Overlay
from app.window.panels.painted import LEFT
from app.window.theme import AT_EDGE, Theme

PURPOSE = (
    "How much room is left between the tool assembly and everything that stands on the table, at every indexed "
    "orientation: where, on which side, and what would use it up."
)
CAUTIONS = (
    "What the program tells is an aid: measured tool lengths, stick-outs and part zero decide.",
    "Guards shut. First run: single block and low rapid.",
    "Index only fully retracted.",
    "Follow the machine builder's manual, local rules and trained staff.",
    "What was not checked, not modelled or assumed is told on every report: read it.",
)


class About(Overlay):
    """Name, purpose, cautions, versions."""

    def __init__(self, theme: Theme, versions: tuple[tuple[str, str], ...], parent: QWidget) -> None:
        super().__init__(theme, parent)
        self.versions = versions
        self.setAccessibleName("about, and cautions")
        self.setAccessibleDescription(" ".join((PURPOSE, *CAUTIONS)))

    def sizeHint(self) -> QSize:
        return QSize(620, 214 + 24 * len(CAUTIONS) + 20 * len(self.versions))

    def paintEvent(self, event: QPaintEvent) -> None:
        super().paintEvent(event)
        painter = QPainter(self)
        palette, fonts = self.theme.palette, self.theme.type
        width = self.width() - 2 * AT_EDGE
        painter.setPen(palette.ink)
        painter.setFont(fonts.number)
        painter.drawText(QRectF(AT_EDGE, 12, width, 36), LEFT, "Tightside")
        painter.setFont(fonts.text)
        wrap = int(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignTop | Qt.TextFlag.TextWordWrap)
        painter.drawText(QRectF(AT_EDGE, 54, width, 44), wrap, PURPOSE)
        y = 104.0
        painter.setFont(fonts.text_bold)
        painter.drawText(QRectF(AT_EDGE, y, width, 22), LEFT, "Before running")
        y += 24
        painter.setFont(fonts.text)
        for line in CAUTIONS:
            painter.drawText(QRectF(AT_EDGE, y, width, 22), LEFT, line)
            y += 24
        y += 10
        painter.setPen(palette.quiet)
        painter.setFont(fonts.quiet)
        painter.drawText(QRectF(AT_EDGE, y, width, 20), LEFT, "Runs with")
        y += 20
        for name, version in self.versions:
            painter.drawText(QRectF(AT_EDGE, y, 200, 20), LEFT, name)
            painter.drawText(QRectF(AT_EDGE + 200, y, width - 200, 20), LEFT, version)
            y += 20
        painter.end()

    def mousePressEvent(self, event: QMouseEvent) -> None:
        event.accept()
        self.shut()
