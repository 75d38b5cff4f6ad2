"""The faults of the set-up as a strip under the headline, one line each, in the text of the command line.

Shows: faults (`show_faults`). Says: jumped(Fault) on Enter or a click.
"""

from __future__ import annotations

from PySide6.QtCore import Qt, Signal, Slot
from PySide6.QtWidgets import QListWidget, QListWidgetItem, QWidget

from app.scenes.faults import Fault
from app.window.theme import Theme

MOST_LINES = 6  # seen at once


class FaultsStrip(QListWidget):
    """One line for each fault; not there while there is none."""

    jumped = Signal(object)

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._faults: tuple[Fault, ...] = ()
        self.setUniformItemSizes(True)
        self.setTextElideMode(Qt.TextElideMode.ElideMiddle)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setAccessibleName("faults of the set-up")
        self.itemActivated.connect(self._jump)
        self.itemClicked.connect(self._jump)
        self.set_theme(theme)
        self.hide()

    def show_faults(self, faults: tuple[Fault, ...]) -> None:
        """All of them; an empty tuple hides the strip."""
        if faults == self._faults:
            return
        self._faults = faults
        self.clear()
        for fault in faults:
            item = QListWidgetItem(str(fault))
            item.setToolTip(str(fault))
            self.addItem(item)
        self.setVisible(bool(faults))
        line = max(self.sizeHintForRow(0), self.fontMetrics().height()) + 2
        self.setFixedHeight(min(len(faults), MOST_LINES) * line + 10)

    @property
    def faults(self) -> tuple[Fault, ...]:
        return self._faults

    def next_fault(self) -> None:
        """Go to the next one, round to the first."""
        if self._faults:
            self.setCurrentRow((self.currentRow() + 1) % len(self._faults))
            self.setFocus(Qt.FocusReason.ShortcutFocusReason)

    def set_theme(self, theme: Theme) -> None:
        """Another look."""
        self.setFont(theme.type.text)

    @Slot(QListWidgetItem)
    def _jump(self, item: QListWidgetItem) -> None:
        self.jumped.emit(self._faults[self.row(item)])
