"""Where the panels stand, for each size of the window; all splitters move, and how they stood is remembered.

SMALL below 1280 x 720: the side plots fold into a drawer. NORMAL: one of two side plots. WIDE from 1700 px: both.
HUGE from 3000 x 1700: a right column with the bar and both plots, the dials under the view in two columns.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from PySide6.QtCore import QByteArray, QSettings, QSize, Qt
from PySide6.QtGui import QPainter, QPaintEvent, QPalette, QResizeEvent
from PySide6.QtWidgets import (
    QButtonGroup,
    QHBoxLayout,
    QSplitter,
    QSplitterHandle,
    QStackedWidget,
    QToolButton,
    QVBoxLayout,
    QWidget,
)


class Size(StrEnum):
    """How much room there is."""

    SMALL = "small"
    NORMAL = "normal"
    WIDE = "wide"
    HUGE = "huge"


def size_for(room: QSize) -> Size:
    """The arrangement for a window of so many pixels of the design."""
    if room.width() >= 3000 and room.height() >= 1700:
        return Size.HUGE
    if room.width() >= 1700:
        return Size.WIDE
    if room.width() < 1280 or room.height() < 720:
        return Size.SMALL
    return Size.NORMAL


@dataclass(frozen=True, slots=True)
class Panels:
    """What is to be arranged."""

    board: QWidget
    view: QWidget
    dials: QWidget
    uses_up: QWidget
    side_on: QWidget
    round_tool: QWidget
    editor: QWidget


# widths from the left, heights from the top
MAIN = {Size.SMALL: [272, 752], Size.NORMAL: [272, 1008], Size.WIDE: [512, 1408], Size.HUGE: [1016, 1960, 864]}
MIDDLE = {Size.SMALL: [320, 240], Size.NORMAL: [430, 268], Size.WIDE: [646, 300], Size.HUGE: [1560, 480]}
LOWER = {Size.SMALL: [480, 272, 0], Size.NORMAL: [448, 280, 280], Size.WIDE: [560, 320, 264, 264]}
EDITOR = 340
RIGHT_COLUMN = [560, 740, 740]


class Handle(QSplitterHandle):
    """A line of 1 px in a strip that is easy to take hold of."""

    def paintEvent(self, _event: QPaintEvent) -> None:
        painter = QPainter(self)
        middle = self.rect().center()
        colour = self.palette().color(QPalette.ColorRole.Mid)
        if self.orientation() is Qt.Orientation.Horizontal:
            painter.fillRect(middle.x(), 0, 1, self.height(), colour)
        else:
            painter.fillRect(0, middle.y(), self.width(), 1, colour)
        painter.end()


class Splitter(QSplitter):
    """A splitter with such handles."""

    def createHandle(self) -> QSplitterHandle:
        return Handle(self.orientation(), self)


class SidePlots(QWidget):
    """One of the two side plots, with a key for each."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.stack = QStackedWidget(self)
        self._keys = QButtonGroup(self)
        row = QHBoxLayout()
        row.setSpacing(0)
        for i, words in enumerate(("Side-on", "Round the tool")):
            key = QToolButton(self)
            key.setText(words)
            key.setCheckable(True)
            key.setToolTip(f"{words} (Q)")
            key.setSizePolicy(key.sizePolicy().Policy.Expanding, key.sizePolicy().Policy.Fixed)
            self._keys.addButton(key, i)
            row.addWidget(key)
        self._keys.button(0).setChecked(True)
        self._keys.idClicked.connect(self.show_plot)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(0)
        column.addLayout(row)
        column.addWidget(self.stack, 1)

    def show_plot(self, index: int) -> None:
        """Show one, and not the other."""
        plots = [self.stack.widget(i) for i in range(self.stack.count())]
        for i, plot in enumerate(plots):
            if plot is not None:
                plot.setVisible(i == index)
        self.stack.setCurrentIndex(index)
        self._keys.button(index).setChecked(True)

    def turn_over(self) -> int:
        """Show the other one; returns which."""
        other = 1 - self.stack.currentIndex()
        self.show_plot(other)
        return other


class Arrangement(QWidget):
    """The body of the window."""

    def __init__(self, panels: Panels, settings: QSettings, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._panels = panels
        self._settings = settings
        self._size: Size | None = None
        self._splitters: dict[str, QSplitter] = {}
        self._side = SidePlots(self)
        self._root: QWidget | None = None
        self._column = QVBoxLayout(self)
        self._column.setContentsMargins(0, 0, 0, 0)

    @property
    def size_now(self) -> Size | None:
        return self._size

    def fit(self, room: QSize) -> None:
        """Arrange for a window of this size."""
        size = size_for(room)
        if size is self._size:
            return
        self.remember()
        self._size = size
        self._build(size)
        self._recall(size)

    def _build(self, size: Size) -> None:
        p = self._panels
        is_editing = not p.editor.isHidden()
        for widget in (p.board, p.view, p.dials, p.uses_up, p.side_on, p.round_tool, p.editor, self._side):
            widget.setParent(self)
        if self._root is not None:
            self._column.removeWidget(self._root)
            self._root.deleteLater()
        main, middle = Splitter(Qt.Orientation.Horizontal), Splitter(Qt.Orientation.Vertical)
        self._splitters = {"main": main, "middle": middle}
        main.addWidget(p.board)
        main.addWidget(middle)
        top = self._splitters["top"] = Splitter(Qt.Orientation.Horizontal)
        top.addWidget(p.view)
        top.addWidget(p.editor)
        top.setStretchFactor(0, 1)
        middle.addWidget(top)
        if size is Size.HUGE:
            right = self._splitters["right"] = Splitter(Qt.Orientation.Vertical)
            for widget in (p.uses_up, p.side_on, p.round_tool):
                right.addWidget(widget)
            middle.addWidget(p.dials)
            main.addWidget(right)
            right.setSizes(RIGHT_COLUMN)
        else:
            lower = self._splitters["lower"] = Splitter(Qt.Orientation.Horizontal)
            lower.addWidget(p.dials)
            lower.addWidget(p.uses_up)
            if size is Size.WIDE:
                lower.addWidget(p.side_on)
                lower.addWidget(p.round_tool)
            else:
                self._side.stack.addWidget(p.side_on)
                self._side.stack.addWidget(p.round_tool)
                lower.addWidget(self._side)
            middle.addWidget(lower)
            lower.setSizes(LOWER[size])
            lower.setStretchFactor(0, 1)
        p.editor.setVisible(is_editing)
        for splitter in self._splitters.values():
            splitter.setHandleWidth(5)
            splitter.setChildrenCollapsible(size is Size.SMALL and splitter is self._splitters.get("lower"))
        main.setStretchFactor(1, 1)
        middle.setStretchFactor(0, 1)
        main.setSizes(MAIN[size])
        top.setSizes([sum(MAIN[size]) - MAIN[size][0] - EDITOR, EDITOR])
        middle.setSizes(MIDDLE[size])
        is_one_plot = size in (Size.SMALL, Size.NORMAL)
        plots = () if is_one_plot else (p.side_on, p.round_tool)  # a stack shows its own
        for widget in (p.board, p.view, p.dials, p.uses_up, *plots):
            widget.show()
        self._side.setVisible(is_one_plot)
        if is_one_plot:
            self._side.show_plot(0)
        self._root = main
        self._column.addWidget(main)

    def turn_side_plot_over(self) -> None:
        """The other side plot, where only one has room; in a small window the drawer opens, turns over, closes."""
        if self._size is Size.SMALL:
            lower = self._splitters["lower"]
            sizes = lower.sizes()
            if sizes[2] == 0:
                lower.setSizes([max(sizes[0] - 264, 200), sizes[1], 264])
            elif self._side.turn_over() == 0:
                lower.setSizes([sizes[0] + sizes[2], sizes[1], 0])
        elif self._size is Size.NORMAL:
            self._side.turn_over()

    def remember(self) -> None:
        """Write down how the splitters stand."""
        if self._size is not None:
            for name, splitter in self._splitters.items():
                self._settings.setValue(f"layout/{self._size}/{name}", splitter.saveState())

    def _recall(self, size: Size) -> None:
        for name, splitter in self._splitters.items():
            state = self._settings.value(f"layout/{size}/{name}")
            if isinstance(state, QByteArray):
                splitter.restoreState(state)

    def reset(self) -> None:
        """All splitters as they were at first."""
        if self._size is not None:
            for name in self._splitters:
                self._settings.remove(f"layout/{self._size}/{name}")
            self._build(self._size)

    def resizeEvent(self, event: QResizeEvent) -> None:
        super().resizeEvent(event)
        self.fit(self.window().size())
