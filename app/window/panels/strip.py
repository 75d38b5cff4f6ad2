"""The strip of a swing between two cards, 240 x 24; one that is not clear grows to 40, with pair and side.

Shows: a MoveNow (`show_move`). Says: picked(key).
"""

from __future__ import annotations

from PySide6.QtCore import QPointF, QRectF, Qt, Signal
from PySide6.QtGui import QMouseEvent, QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import QWidget

from app.window.marks import MARK, draw_focus, draw_mark, shade
from app.window.panels.card import CELL, FRAME
from app.window.panels.painted import LEFT, RIGHT, fitted, width_of
from app.window.results import MoveNow
from app.window.telling import StripTexts, strip_texts
from app.window.theme import Theme
from app.window.units import Unit
from kinematics.verdict import Verdict

LOW, HIGH = 24, 40


class Strip(QWidget):
    """One swing."""

    picked = Signal(object)

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.theme, self.unit = theme, Unit.MM
        self.move_now: MoveNow | None = None
        self.texts: StripTexts | None = None
        self.is_picked = False
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setFixedSize(CELL.width(), LOW + FRAME)

    def show_move(self, move: MoveNow, unit: Unit) -> None:
        """What is known of the swing now."""
        if move == self.move_now and unit == self.unit:
            return
        self.move_now, self.unit = move, unit
        self.texts = strip_texts(move, unit)
        is_tall = bool(self.texts.pair) and not self.texts.is_computing
        self.setFixedHeight((HIGH if is_tall else LOW) + FRAME)
        self.setToolTip(self.texts.tip)
        self.setAccessibleName(self.texts.tip)
        self.update()

    def mark_picked(self, *, is_picked: bool) -> None:
        """Whether it is the one that is looked at."""
        if is_picked != self.is_picked:
            self.is_picked = is_picked
            self.update()

    def set_theme(self, theme: Theme) -> None:
        """Another look."""
        self.theme = theme
        self.update()

    def mousePressEvent(self, event: QMouseEvent) -> None:
        if event.button() is Qt.MouseButton.LeftButton and self.move_now is not None:
            self.setFocus(Qt.FocusReason.MouseFocusReason)
            self.picked.emit(self.move_now.key)

    def paintEvent(self, _event: QPaintEvent) -> None:
        texts = self.texts
        if texts is None:
            return
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        palette, fonts = self.theme.palette, self.theme.type
        body = QRectF(FRAME, 0, self.width() - 2 * FRAME, self.height() - FRAME)
        painter.fillRect(body, palette.card)
        plate = QRectF(body.left(), 0, MARK.width() + 12, LOW)
        is_hollow = texts.is_was or texts.is_computing
        verdict = Verdict.NOT_CHECKED if texts.is_computing else texts.verdict
        if not is_hollow:
            shade(painter, plate, verdict, palette)
        colour = palette.quiet if is_hollow else palette.plate(verdict).text
        under = palette.card if is_hollow else palette.plate(verdict).fill
        draw_mark(painter, QPointF(plate.left() + 6, 5), verdict, colour, under)
        row = QRectF(plate.right() + 6, 0, body.right() - plate.right() - 12, LOW)
        spare = f"was {texts.spare}" if texts.is_was else texts.spare
        is_loud = not is_hollow and verdict is not Verdict.CLEAR
        font = fonts.text_bold if is_loud else fonts.text
        painter.setFont(font)
        painter.setPen(palette.quiet if is_hollow else palette.ink)
        painter.drawText(row, RIGHT, spare)
        room = row.width() - width_of(spare, font) - 8
        way = f"{texts.way}   {texts.lift}"
        if width_of(way, fonts.quiet) > room:
            way = texts.way
        painter.setFont(fonts.quiet)
        painter.drawText(row, LEFT, fitted(way, fonts.quiet, room))
        if self.height() > LOW + FRAME:
            words = f"{texts.pair}, {texts.side}" if texts.side else texts.pair
            below = QRectF(plate.right() + 6, LOW - 3, row.width(), HIGH - LOW)
            painter.setPen(palette.quiet if is_hollow else palette.ink)
            painter.drawText(below, LEFT, fitted(words, fonts.quiet, below.width()))
        painter.setPen(QPen(palette.ink if self.is_picked else palette.line, 3.0 if self.is_picked else 1.0))
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.drawRect(body.adjusted(0.5, 0.5, -0.5, -0.5))
        if self.hasFocus() and not self.is_picked:
            draw_focus(painter, body, palette)
        painter.end()
