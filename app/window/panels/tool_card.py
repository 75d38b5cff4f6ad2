"""A tool typed in one line, for a set-up that is open: completed while it is typed, drawn, and told what is wrong.

Says: agreed(ToolAnswer) when a right line is finished.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping

from PySide6.QtCore import QRectF, QSize, Qt, Signal, Slot
from PySide6.QtGui import QPainter, QPaintEvent
from PySide6.QtWidgets import QHBoxLayout, QLabel, QPushButton, QVBoxLayout, QWidget

from app.jobs.new_setup.answers import Units
from app.jobs.new_setup.tool_lines import ToolLine, tool_line
from app.jobs.new_setup.typed import ToolNow
from app.window.panels.new_setup_tools import EXAMPLE, ToolsField
from app.window.panels.overlay import Overlay
from app.window.theme import AT_EDGE, BETWEEN, TARGET, Theme
from kinematics.scene import Holder


class ToolCard(Overlay):
    """A field, what it says, a button."""

    agreed = Signal(object)

    def __init__(
        self, theme: Theme, holders: Mapping[str, Holder], taken: Collection[str], units: Units, parent: QWidget
    ) -> None:
        super().__init__(theme, parent)
        self._holders, self._taken, self._units = holders, frozenset(taken), units
        self.line: ToolLine | None = None
        self.setAccessibleName("a tool in one line")
        title = QLabel("A tool in one line", self)
        title.setStyleSheet(f"font-size: {theme.type.name.pixelSize()}px; font-weight: 700;")
        self.field = ToolsField(self)
        self.field.holders = holders
        self.words = QLabel(f"As: {EXAMPLE}", self)
        self.words.setWordWrap(True)
        self.words.setTextFormat(Qt.TextFormat.PlainText)
        self.add = QPushButton("Add this tool", self)
        self.add.setMinimumHeight(TARGET)
        self.add.setEnabled(False)
        row = QHBoxLayout()
        row.addStretch(1)
        row.addWidget(self.add)
        column = QVBoxLayout(self)
        column.setContentsMargins(AT_EDGE, BETWEEN, AT_EDGE, AT_EDGE)
        column.setSpacing(BETWEEN)
        column.addWidget(title)
        column.addWidget(self.field)
        column.addWidget(self.words, 1)
        column.addLayout(row)
        self.setFocusProxy(self.field)
        self.field.typed.connect(self._typed)
        self.field.finished.connect(self._finished)
        self.add.clicked.connect(self._agree)

    def sizeHint(self) -> QSize:
        return QSize(640, 260)

    @Slot(str)
    def _typed(self, text: str) -> None:
        first = text.strip().splitlines()[0] if text.strip() else ""
        self.line = tool_line(first, self._holders, units=self._units, taken=self._taken, number=len(self._taken) + 1)
        faults = self.line.faults if first else ()
        self.field.underlines.show_lines((ToolNow(0, first, None, faults),) if faults else ())
        self.add.setEnabled(bool(first) and self.line.tool is not None)
        if not first:
            self.words.setText(f"As: {EXAMPLE}")
        elif faults:
            self.words.setText("\n".join(fault.message for fault in faults[:3]))
        elif self.line.tool is not None:
            assumed = self.line.tool.assumed
            self.words.setText(f"{self.line.tool.id}. Assumed: {'; '.join(assumed)}." if assumed else self.line.tool.id)

    @Slot(str)
    def _finished(self, text: str) -> None:
        if text.endswith("\n") and self.add.isEnabled():
            self._agree()

    @Slot()
    def _agree(self) -> None:
        if self.line is not None and self.line.tool is not None:
            self.agreed.emit(self.line.tool)
            self.shut()

    def paintEvent(self, event: QPaintEvent) -> None:
        super().paintEvent(event)
        painter = QPainter(self)
        painter.setFont(self.theme.type.quiet)
        painter.setPen(self.theme.palette.quiet)
        row = QRectF(0, 8, self.width() - AT_EDGE, 30)
        painter.drawText(row, int(Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter), "Esc closes this card")
        painter.end()
