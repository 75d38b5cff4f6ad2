"""What the blocks of the page of a new set-up are made of: a block that unfolds, drawn choices, labelled fields."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import QEvent, QObject, QRectF, QSize, Qt, Signal, Slot
from PySide6.QtGui import QFontMetricsF, QKeyEvent, QPainter, QPaintEvent, QPen, QWheelEvent
from PySide6.QtWidgets import (
    QAbstractButton,
    QComboBox,
    QFrame,
    QHBoxLayout,
    QLabel,
    QLineEdit,
    QPushButton,
    QSizePolicy,
    QVBoxLayout,
    QWidget,
)

from app.window.marks import draw_focus, draw_plate, plate_width
from app.window.panels.painted import LEFT, RIGHT, fitted, width_of
from app.window.theme import BETWEEN, GRID, INSIDE, TARGET, Theme
from kinematics.verdict import Verdict

Draw = Callable[[QPainter, QRectF, Theme], None]


class Words(QLabel):
    """A text that wraps, in one of the page's weights; `trouble` says what is wrong, marked by a bar in ink."""

    def __init__(self, text: str = "", parent: QWidget | None = None) -> None:
        super().__init__(text, parent)
        self.setWordWrap(True)
        self.setTextFormat(Qt.TextFormat.PlainText)

    def say(self, text: str) -> None:
        """Another text; an empty one takes no room."""
        self.setText(text)
        self.setVisible(bool(text))


def trouble_words(parent: QWidget | None = None) -> Words:
    """What is wrong, with a bar of ink at its left."""
    made = Words("", parent)
    made.setObjectName("trouble")
    made.hide()
    return made


class Heading(QAbstractButton):
    """The line of a block: its number, its name, and at the right what was answered."""

    def __init__(self, number: int, name: str, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.theme, self.number, self.name = theme, number, name
        self.summary = ""
        self.setText(f"{number} {name}")
        self.setMinimumHeight(TARGET + 8)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self.setCursor(Qt.CursorShape.PointingHandCursor)

    def sizeHint(self) -> QSize:
        return QSize(300, TARGET + 8)

    def say(self, summary: str) -> None:
        """What was answered."""
        if summary != self.summary:
            self.summary = summary
            self.setToolTip(summary)
            self.setAccessibleDescription(summary)
            self.update()

    def paintEvent(self, _event: QPaintEvent) -> None:
        painter = QPainter(self)
        pal, scale = self.theme.palette, self.theme.type
        row = QRectF(self.rect()).adjusted(INSIDE, 0, -INSIDE, 0)
        painter.setPen(QPen(pal.line, 1.0))
        painter.drawLine(0, 0, self.width(), 0)
        painter.setFont(scale.name)
        painter.setPen(pal.ink)
        painter.drawText(row, int(LEFT), str(self.number))
        painter.drawText(row.adjusted(24, 0, 0, 0), int(LEFT), self.name)
        taken = 24 + QFontMetricsF(scale.name).horizontalAdvance(self.name) + BETWEEN
        painter.setFont(scale.text)
        painter.setPen(pal.quiet)
        room = row.adjusted(taken, 0, 0, 0)
        painter.drawText(room, int(RIGHT), fitted(self.summary, scale.text, room.width()))
        if self.hasFocus():
            draw_focus(painter, QRectF(self.rect()), pal)
        painter.end()


class Block(QWidget):
    """One of five: a heading, and what unfolds under it. `later` and `go_on` are the same button."""

    unfold_asked = Signal(int)
    passed = Signal(int)

    def __init__(self, number: int, name: str, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.theme, self.number = theme, number
        self.heading = Heading(number, name, theme, self)
        self.body = QWidget(self)
        self.rows = QVBoxLayout(self.body)
        self.rows.setContentsMargins(INSIDE, 0, INSIDE, BETWEEN)
        self.rows.setSpacing(INSIDE)
        self.on = QPushButton("Later", self.body)
        self.on.setToolTip("Go on with what stands here; it is marked as assumed")
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(0)
        column.addWidget(self.heading)
        column.addWidget(self.body)
        self.body.hide()
        self.heading.clicked.connect(self._heading_clicked)
        self.on.clicked.connect(self._on_clicked)

    def end_rows(self) -> None:
        """The button at the end, once all rows are there."""
        last = QHBoxLayout()
        last.addStretch(1)
        last.addWidget(self.on)
        self.rows.addLayout(last)

    @property
    def is_open(self) -> bool:
        return not self.body.isHidden()

    def unfold(self) -> None:
        """Show what is under the heading."""
        self.body.show()

    def say_on(self, *, is_answered: bool) -> None:
        """What the button at the end says."""
        self.on.setText("Go on" if is_answered else "Later")

    def set_theme(self, theme: Theme) -> None:
        """Another look, for everything in it."""
        self.theme = self.heading.theme = theme
        self.heading.update()

    @Slot()
    def _heading_clicked(self) -> None:
        self.unfold_asked.emit(self.number)

    @Slot()
    def _on_clicked(self) -> None:
        self.passed.emit(self.number)


class StillChoice(QComboBox):
    """A list that a wheel does not turn: it would, while somebody scrolls the page."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)

    def wheelEvent(self, event: QWheelEvent) -> None:
        event.ignore()


class WheelPasses(QObject):
    """Lets a wheel over a picture scroll the page, unless the picture has the focus."""

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        if event.type() is QEvent.Type.Wheel and isinstance(watched, QWidget) and not watched.hasFocus():
            event.ignore()
            return True
        return super().eventFilter(watched, event)


class Choice(QAbstractButton):
    """A drawn choice with its words under it; picked: 3 px of ink around it."""

    def __init__(self, words: str, draw: Draw, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.theme, self._draw = theme, draw
        self.setText(words)
        self.setCheckable(True)
        self.setMinimumSize(96, 108)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self.setCursor(Qt.CursorShape.PointingHandCursor)

    def sizeHint(self) -> QSize:
        return QSize(116, 112)

    def set_theme(self, theme: Theme) -> None:
        self.theme = theme
        self.update()

    def paintEvent(self, _event: QPaintEvent) -> None:
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        pal, scale = self.theme.palette, self.theme.type
        whole = QRectF(self.rect())
        painter.fillRect(whole, pal.card)
        self._draw(painter, whole.adjusted(8, 8, -8, -28), self.theme)
        font = scale.text_bold if self.isChecked() else scale.text
        painter.setFont(font)
        painter.setPen(pal.ink)
        row = QRectF(4, whole.bottom() - 26, whole.width() - 8, 22)
        painter.drawText(row, int(Qt.AlignmentFlag.AlignCenter), fitted(self.text(), font, row.width()))
        width = 3.0 if self.isChecked() else 1.0
        painter.setRenderHint(QPainter.RenderHint.Antialiasing, on=False)
        painter.setPen(QPen(pal.ink if self.isChecked() or self.underMouse() else pal.line, width))
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.drawRect(whole.adjusted(width / 2, width / 2, -width / 2 - 0.5, -width / 2 - 0.5))
        if self.hasFocus():
            draw_focus(painter, whole.adjusted(width, width, -width, -width), pal)
        painter.end()


class VerdictChoice(QAbstractButton):
    """One position of the table: its angles, and what it leaves; picked: 3 px of ink around it."""

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.theme = theme
        self.verdict: Verdict | None = None
        self.word = self.number = self.why = ""
        self.setCheckable(True)
        self.setMinimumHeight(76)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)

    def sizeHint(self) -> QSize:
        return QSize(220, 76)

    def show_position(self, angles: str, verdict: Verdict | None, word: str, number: str, why: str) -> None:
        """Angles in words; a verdict with its word and number, or why there is none."""
        self.setText(angles)
        self.verdict, self.word, self.number, self.why = verdict, word, number, why
        self.setToolTip(why)
        self.setAccessibleDescription(f"{word} {number} {why}")
        self.update()

    def paintEvent(self, _event: QPaintEvent) -> None:
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        pal, scale = self.theme.palette, self.theme.type
        whole = QRectF(self.rect())
        painter.fillRect(whole, pal.card if self.isEnabled() else pal.ground)
        ink = pal.ink if self.isEnabled() else pal.quiet
        inner = whole.adjusted(INSIDE + 2, 6, -INSIDE - 2, -6)
        painter.setFont(scale.text_bold)
        painter.setPen(ink)
        first = QRectF(inner.left(), inner.top(), inner.width(), 18)
        painter.drawText(first, int(LEFT), fitted(self.text(), scale.text_bold, first.width()))
        second = QRectF(inner.left(), inner.top() + 20, inner.width(), 28)
        if self.verdict is not None and self.word:
            plate = QRectF(second.left(), second.top(), plate_width(self.word, self.theme), 26)
            draw_plate(painter, plate, self.verdict, self.word, self.theme)
            painter.setFont(scale.name)
            painter.setPen(ink)
            painter.drawText(second.adjusted(plate.width() + INSIDE, 0, 0, -2), int(LEFT), self.number)
        last = QRectF(inner.left(), inner.bottom() - 16, inner.width(), 16)
        painter.setFont(scale.quiet)
        painter.setPen(pal.quiet)
        painter.drawText(last, int(LEFT), fitted(self.why, scale.quiet, last.width()))
        width = 3.0 if self.isChecked() else 1.0
        painter.setRenderHint(QPainter.RenderHint.Antialiasing, on=False)
        painter.setPen(QPen(pal.ink if self.isChecked() else pal.line, width))
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.drawRect(whole.adjusted(width / 2, width / 2, -width / 2 - 0.5, -width / 2 - 0.5))
        if self.hasFocus():
            draw_focus(painter, whole.adjusted(width, width, -width, -width), pal)
        painter.end()


class AnswerField(QLineEdit):
    """A field whose empty text means its default, which is shown pale; Esc takes back what was typed."""

    answered = Signal(str, str)

    def __init__(self, key: str, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.key, self.theme = key, theme
        self._shown = ""
        self._unit = ""
        self.setMinimumHeight(TARGET)
        self.setMinimumWidth(60)
        self.editingFinished.connect(self._finished)

    def show_value(self, text: str, default: str, unit: str) -> None:
        """What was answered, the default where nothing was, and the unit of a bare number."""
        self._shown, self._unit = text, unit
        self.setPlaceholderText(default)
        if any(c.isalpha() or c == '"' for c in text):
            self._unit = unit = ""  # it has its own
        room = width_of(unit, self.theme.type.quiet) + GRID if unit else 0.0
        self.setTextMargins(0, 0, int(room), 0)
        if self.text() != text and not (self.hasFocus() and self.isModified()):
            self.setText(text)

    @Slot()
    def _finished(self) -> None:
        text = self.text().strip()
        if text != self._shown:
            self._shown = text
            self.setModified(False)
            self.answered.emit(self.key, text)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        if event.key() == Qt.Key.Key_Escape and self.text() != self._shown:
            self.setText(self._shown)
        else:
            super().keyPressEvent(event)

    def paintEvent(self, event: QPaintEvent) -> None:
        super().paintEvent(event)
        if self._unit:
            painter = QPainter(self)
            painter.setFont(self.theme.type.quiet)
            painter.setPen(self.theme.palette.quiet)
            painter.drawText(QRectF(self.rect()).adjusted(6, 0, -7, 0), int(RIGHT), self._unit)
            painter.end()


class FieldRow(QWidget):
    """A label, a field, and under them what is wrong."""

    def __init__(self, words: str, field: AnswerField, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.field = field
        self.label = QLabel(words, self)
        self.label.setFixedWidth(104)
        self.label.setWordWrap(True)
        field.setAccessibleName(words)
        self.trouble = trouble_words(self)
        line = QHBoxLayout()
        line.setSpacing(INSIDE)
        line.addWidget(self.label)
        line.addWidget(field, 1)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(2)
        column.addLayout(line)
        column.addWidget(self.trouble)


class Paper(QFrame):
    """A frame on paper around what belongs together."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setObjectName("paper")
        self.rows = QVBoxLayout(self)
        self.rows.setContentsMargins(INSIDE, INSIDE, INSIDE, INSIDE)
        self.rows.setSpacing(INSIDE)


def sheet_of(theme: Theme) -> str:
    """The style sheet of the page: paper frames, troubles with a bar of ink."""
    pal = theme.palette
    return f"""
    #paper {{ background: {pal.card.name()}; border: 1px solid {pal.line.name()}; }}
    #trouble {{ border-left: 4px solid {pal.ink.name()}; padding-left: 6px; font-weight: 700; }}
    #quiet {{ color: {pal.quiet.name()}; font-size: 12px; }}
    #strong {{ font-weight: 700; }}
    #page {{ background: {pal.ground.name()}; }}
    """


def quiet(text: str, parent: QWidget | None = None) -> Words:
    """Small words at the side."""
    made = Words(text, parent)
    made.setObjectName("quiet")
    return made


def strong(text: str, parent: QWidget | None = None) -> Words:
    """Words that count."""
    made = Words(text, parent)
    made.setObjectName("strong")
    return made
