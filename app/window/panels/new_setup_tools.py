"""Block 4 of a new set-up: tools typed one a line, completed, underlined where wrong, drawn as soon as they are right.

Shows: lines as they are read (`show_lines`). Says: typed(text) at every key, finished(text) when a line is done.
"""

from __future__ import annotations

from collections.abc import Mapping

from PySide6.QtCore import QPoint, QRectF, QSize, QSizeF, Qt, QTimer, Signal, Slot
from PySide6.QtGui import (
    QAction,
    QFocusEvent,
    QFontMetricsF,
    QKeyEvent,
    QPainter,
    QPaintEvent,
    QPen,
    QSyntaxHighlighter,
    QTextCharFormat,
    QTextCursor,
    QTextDocument,
)
from PySide6.QtWidgets import QFrame, QHBoxLayout, QListWidget, QMenu, QPlainTextEdit, QSizePolicy, QToolButton, QWidget

from app.jobs.new_setup.tool_lines import tool_completion
from app.jobs.new_setup.typed import ToolNow
from app.jobs.new_setup.words import Completion
from app.window.panels.new_setup_drawings import draw_tool, tool_scale
from app.window.panels.new_setup_parts import Block, quiet, trouble_words
from app.window.panels.painted import fitted
from app.window.theme import Theme
from kinematics.scene import Holder

EXAMPLE = "2 end mill d6 flute 13 out 20 holder collet_11_jis30"
MOST_OFFERED = 8
CELL = QSizeF(76.0, 132.0)


class Underlines(QSyntaxHighlighter):
    """Wrong words get a line under them."""

    def __init__(self, document: QTextDocument) -> None:
        super().__init__(document)
        self._faults: dict[int, tuple[tuple[int, int], ...]] = {}

    def show_lines(self, lines: tuple[ToolNow, ...]) -> None:
        faults = {line.row: tuple((f.start, f.end) for f in line.faults) for line in lines if line.faults}
        if faults != self._faults:
            self._faults = faults
            self.rehighlight()

    def highlightBlock(self, text: str) -> None:
        wrong = QTextCharFormat()
        wrong.setUnderlineStyle(QTextCharFormat.UnderlineStyle.WaveUnderline)
        wrong.setFontWeight(700)
        for start, end in self._faults.get(self.currentBlock().blockNumber(), ()):
            begin = min(start, max(0, len(text) - 1)) if start == end else start
            self.setFormat(begin, max(1, end - begin), wrong)


class Offered(QListWidget):
    """What may stand at the cursor, under it. Never has the focus: the field goes on hearing the keys."""

    def __init__(self, parent: QWidget) -> None:
        super().__init__(parent)
        self.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setVerticalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setFrameShape(QFrame.Shape.Box)
        self.hide()


class ToolsField(QPlainTextEdit):
    """One tool a line."""

    typed = Signal(str)
    finished = Signal(str)

    def __init__(self, parent: QWidget) -> None:
        super().__init__(parent)
        self.holders: Mapping[str, Holder] = {}
        self.offered = Offered(parent)
        self.underlines = Underlines(self.document())
        self._completion = Completion(0, 0, ())
        self._is_told = True
        self._place_soon = QTimer(self, singleShot=True, interval=0)  # once what is under the field is laid out
        self._place_soon.timeout.connect(self.place_offered)
        self.setPlaceholderText(EXAMPLE)
        self.setTabChangesFocus(True)
        self.setLineWrapMode(QPlainTextEdit.LineWrapMode.WidgetWidth)
        self.setAccessibleName("tools, one a line")
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.textChanged.connect(self._changed)
        self.cursorPositionChanged.connect(self._shut_if_moved)
        self.offered.itemClicked.connect(self._take_clicked)
        self._fit()

    def set_text(self, text: str) -> None:
        """Another text, as an undo brings; nothing is said of it."""
        if text != self.toPlainText():
            self.blockSignals(True)
            self.setPlainText(text)
            self.moveCursor(QTextCursor.MoveOperation.End)
            self.blockSignals(False)
            self._fit()
        self._is_told = True
        self.offered.hide()

    def insert_word(self, word: str) -> None:
        """A word at the cursor, with blanks around it."""
        cursor = self.textCursor()
        before = cursor.block().text()[: cursor.positionInBlock()]
        cursor.insertText(f"{'' if not before or before.endswith(' ') else ' '}{word} ")
        self.setFocus()

    # ---- keys ----

    def keyPressEvent(self, event: QKeyEvent) -> None:
        key = event.key()
        if self.offered.isVisible():
            if key in (Qt.Key.Key_Up, Qt.Key.Key_Down):
                step = 1 if key == Qt.Key.Key_Down else -1
                n = self.offered.count()
                self.offered.setCurrentRow((self.offered.currentRow() + step) % n)
                return
            if key == Qt.Key.Key_Tab or (key in (Qt.Key.Key_Return, Qt.Key.Key_Enter) and self._is_picked):
                self._take(max(0, self.offered.currentRow()))
                return
            if key == Qt.Key.Key_Escape:
                self.offered.hide()
                return
        if key == Qt.Key.Key_Space and event.modifiers() & Qt.KeyboardModifier.ControlModifier:
            self._offer(is_asked=True)
            return
        super().keyPressEvent(event)
        if key in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            self._tell()
        elif event.text().strip():
            self._offer(is_asked=False)

    @property
    def _is_picked(self) -> bool:
        """Whether the arrow keys have picked something: Enter alone ends a line."""
        return self.offered.currentRow() >= 0

    def focusNextPrevChild(self, next: bool) -> bool:  # noqa: A002, FBT001 - as Qt calls it
        """Tab takes what is offered, before it goes to the next field."""
        return False if self.offered.isVisible() else super().focusNextPrevChild(next)

    def focusOutEvent(self, event: QFocusEvent) -> None:
        super().focusOutEvent(event)
        if event.reason() is not Qt.FocusReason.PopupFocusReason:
            self.offered.hide()
            self._tell()

    def _tell(self) -> None:
        if not self._is_told:
            self._is_told = True
            self.finished.emit(self.toPlainText())

    @Slot()
    def _changed(self) -> None:
        self._is_told = False
        self._fit()
        self.typed.emit(self.toPlainText())

    def _fit(self) -> None:
        """As high as its lines."""
        line = QFontMetricsF(self.font()).lineSpacing()
        n = sum(max(1, self.document().findBlockByNumber(i).layout().lineCount()) for i in range(self.blockCount()))
        self.setFixedHeight(int(line * (max(2, n) + 1)) + 14)

    # ---- what is offered ----

    def _offer(self, *, is_asked: bool) -> None:
        cursor = self.textCursor()
        text, at = cursor.block().text(), cursor.positionInBlock()
        self._completion = found = tool_completion(text, at, self.holders)
        begun = text[found.start : at]
        same = len(found.candidates) == 1 and found.candidates[0].text == begun
        if not found.candidates or same or not (begun or is_asked):
            self.offered.hide()
            return
        self.offered.clear()
        for candidate in found.candidates[:MOST_OFFERED]:
            self.offered.addItem(f"{candidate.text}    {candidate.about}")
        self.offered.setCurrentRow(-1)
        self.offered.show()
        self.place_offered()
        self._place_soon.start()
        self.offered.raise_()

    @Slot()
    def place_offered(self) -> None:
        """Under the cursor, or over it where there is no room; its parent is what it may stand over."""
        if not self.offered.isVisible():
            return
        over = self.offered.parentWidget()
        assert over is not None, "it stands over something"
        rect = self.cursorRect()
        below = self.viewport().mapTo(over, rect.bottomLeft()) + QPoint(0, 4)
        high = self.offered.sizeHintForRow(0) * self.offered.count() + 6
        wide = min(max(self.offered.sizeHintForColumn(0) + 16, 220), over.width() - 8)
        left = min(below.x(), over.width() - wide - 4)
        top = below.y()
        if top + high > over.height():
            top = self.viewport().mapTo(over, rect.topLeft()).y() - high - 4
        self.offered.setGeometry(max(0, left), max(0, top), wide, high)

    @Slot()
    def _shut_if_moved(self) -> None:
        """The cursor has gone to another word."""
        at = self.textCursor().positionInBlock()
        if self.offered.isVisible() and not self._completion.start <= at:
            self.offered.hide()

    @Slot()
    def _take_clicked(self) -> None:
        self._take(self.offered.currentRow())

    def _take(self, row: int) -> None:
        found = self._completion
        if not 0 <= row < len(found.candidates):
            return
        cursor = self.textCursor()
        block = cursor.block().position()
        cursor.setPosition(block + found.start)
        cursor.setPosition(block + found.end, QTextCursor.MoveMode.KeepAnchor)
        cursor.insertText(f"{found.candidates[row].text} ")
        self.setTextCursor(cursor)
        self.offered.hide()


class ToolRow(QWidget):
    """Tools in their holders, all to one scale, as many in a row as there is room for."""

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.theme = theme
        self._tools: tuple[ToolNow, ...] = ()
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)

    def show_tools(self, tools: tuple[ToolNow, ...]) -> None:
        """Those that are right."""
        self._tools = tuple(tool for tool in tools if tool.tool is not None)
        self.setVisible(bool(self._tools))
        self.updateGeometry()
        self.update()

    @property
    def n_drawn(self) -> int:
        return len(self._tools)

    def _n_columns(self) -> int:
        return max(1, int(self.width() // CELL.width()))

    def sizeHint(self) -> QSize:
        n_rows = -(-len(self._tools) // self._n_columns()) if self._tools else 0
        return QSize(300, int(n_rows * (CELL.height() + 4)))

    def minimumSizeHint(self) -> QSize:
        return QSize(100, self.sizeHint().height())

    def paintEvent(self, _event: QPaintEvent) -> None:
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        pal, kind = self.theme.palette, self.theme.type
        room = QSizeF(CELL.width() - 14, CELL.height() - 44)
        scale = tool_scale([tool.profile for tool in self._tools], room)
        for i, now in enumerate(self._tools):
            assert now.tool is not None, "only those that are right are drawn"
            column, row = i % self._n_columns(), i // self._n_columns()
            cell = QRectF(column * CELL.width(), row * (CELL.height() + 4), CELL.width() - 4, CELL.height())
            painter.fillRect(cell, pal.card)
            painter.setPen(QPen(pal.line, 1.0))
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.drawRect(cell.adjusted(0.5, 0.5, -0.5, -0.5))
            painter.setFont(kind.text_bold)
            painter.setPen(pal.ink)
            painter.drawText(cell.adjusted(5, 2, -4, 0), int(Qt.AlignmentFlag.AlignTop), now.tool.id)
            draw_tool(painter, cell.adjusted(4, 20, -4, -20), now.profile, scale, self.theme)
            d = now.tool.number("d")
            said = f"{now.tool.kind}" + (f" {d:g}" if d is not None else "")
            painter.setFont(kind.quiet)
            painter.setPen(pal.quiet)
            last = QRectF(cell.left() + 3, cell.bottom() - 18, cell.width() - 6, 16)
            painter.drawText(last, int(Qt.AlignmentFlag.AlignCenter), fitted(said, kind.quiet, last.width()))
        painter.end()


class ToolsBlock(Block):
    """The field, what is wrong under it, and the tools drawn."""

    typed = Signal(str)
    finished = Signal(str)

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(4, "Tools", theme, parent)
        self.rows.addWidget(
            quiet(
                "One a line: number, kind, d, flute, out (from the nut to the tip), holder. "
                "A short name for a holder is a line as H11 = collet_11_jis30.",
                self,
            )
        )
        self.field = ToolsField(self)
        self.trouble = trouble_words(self)
        self.drawn = ToolRow(theme, self)
        self.holders = QToolButton(self)
        self.holders.setText("Holders of the library")
        self.holders.setPopupMode(QToolButton.ToolButtonPopupMode.InstantPopup)
        self._menu = QMenu(self)
        self.holders.setMenu(self._menu)
        self.rows.addWidget(self.field)
        self.rows.addWidget(self.trouble)
        self.rows.addWidget(self.drawn)
        line = QHBoxLayout()
        line.addWidget(self.holders)
        line.addStretch(1)
        line.addWidget(self.on)
        self.rows.addLayout(line)
        self.drawn.hide()
        self.field.typed.connect(self.typed)
        self.field.finished.connect(self.finished)

    def show_holders(self, holders: Mapping[str, Holder]) -> None:
        """What may be named."""
        if dict(holders) == dict(self.field.holders):
            return
        self.field.holders = holders
        self._menu.clear()
        for name, holder in holders.items():
            action = QAction(f"{name}    {holder.title}", self._menu)
            action.setData(name)
            action.triggered.connect(self._holder_picked)
            self._menu.addAction(action)

    def show_lines(self, lines: tuple[ToolNow, ...]) -> None:
        """The lines as they are read."""
        self.field.underlines.show_lines(lines)
        wrong = [(line, fault) for line in lines for fault in line.faults]
        n = len(self.field.toPlainText().splitlines())
        self.trouble.say("\n".join(f"{f'line {w.row + 1}: ' if n > 1 else ''}{fault.message}" for w, fault in wrong))
        self.drawn.show_tools(lines)
        tools = [line.tool for line in lines if line.tool is not None]
        if len(tools) == 1:
            self.heading.say(tools[0].line)
        else:
            self.heading.say(", ".join(tool.id for tool in tools))
        self.say_on(is_answered=bool(tools))

    def set_theme(self, theme: Theme) -> None:
        super().set_theme(theme)
        self.drawn.theme = theme
        self.drawn.update()

    @Slot()
    def _holder_picked(self) -> None:
        action = self.sender()
        if isinstance(action, QAction):
            before = self.field.textCursor().block().text()[: self.field.textCursor().positionInBlock()].split()
            word = str(action.data())
            self.field.insert_word(word if before[-1:] == ["holder"] else f"holder {word}")
