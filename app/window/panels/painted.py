"""What the panels that paint themselves share: theme and unit, the words of an empty panel, text that fits.

A panel shows what it was handed last; `mark_stale` makes that look like what it is until new values come.
"""

from __future__ import annotations

from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QFont, QFontMetricsF, QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import QWidget

from app.window.theme import INSIDE, Theme
from app.window.units import Unit

TITLE = 24.0  # px, the line of the title
LEFT = Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter
RIGHT = Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter
MIDDLE = Qt.AlignmentFlag.AlignCenter


class Painted(QWidget):
    """A panel on paper. Its class says what it paints in `paint`, where it has something to show."""

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.theme, self.unit = theme, Unit.MM
        self.is_stale = False
        self.why_empty = ""
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)

    def set_theme(self, theme: Theme) -> None:
        """Another look."""
        self.theme = theme
        self.update()

    def set_unit(self, unit: Unit) -> None:
        """Lengths in another unit."""
        self.unit = unit
        self.update()

    def mark_stale(self) -> None:
        """What is shown is not of the present scene."""
        if not self.is_stale:
            self.is_stale = True
            self.update()

    def show_nothing(self, why: str) -> None:
        """There is nothing to show, and why."""
        self.why_empty, self.is_stale = why, False
        self.forget()
        self.update()

    def forget(self) -> None:
        """Let go of what was shown."""

    @property
    def is_empty(self) -> bool:
        return True

    @property
    def ink(self) -> QColor:
        """Of strong lines and text: quiet where what is shown is of an older scene."""
        return self.theme.palette.quiet if self.is_stale else self.theme.palette.ink

    def paintEvent(self, event: QPaintEvent) -> None:
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.fillRect(event.rect(), self.theme.palette.card)
        if self.is_empty:
            area = QRectF(self.rect()).adjusted(INSIDE, INSIDE, -INSIDE, -INSIDE)
            painter.setFont(self.theme.type.text)
            painter.setPen(self.theme.palette.quiet)
            painter.drawText(area, int(MIDDLE | Qt.TextFlag.TextWordWrap), self.why_empty)
        else:
            self.paint(painter)
        painter.end()

    def paint(self, painter: QPainter) -> None:
        """Paint what is shown."""
        raise NotImplementedError

    # ---- text ----------------------------------------------------------------------------------

    def write(
        self,
        painter: QPainter,
        rect: QRectF,
        text: str,
        font: QFont,
        colour: QColor,
        align: Qt.AlignmentFlag = LEFT,
    ) -> QRectF:
        """Text in a rectangle, with its middle left out where it is too long; where it stands."""
        shown = fitted(text, font, rect.width())
        painter.setFont(font)
        painter.setPen(colour)
        painter.drawText(rect, int(align), shown)
        return QFontMetricsF(font).boundingRect(rect, int(align), shown)

    def write_title(self, painter: QPainter, left: str, right: str = "") -> None:
        """The line at the top: what the panel is, and what it is about now."""
        pal, scale = self.theme.palette, self.theme.type
        row = QRectF(INSIDE, 0.0, self.width() - 2 * INSIDE, TITLE)
        room = width_of(left, scale.quiet_bold) + INSIDE
        self.write(painter, row, left, scale.quiet_bold, self.ink)
        about = f"was {right}" if self.is_stale and right else right
        self.write(painter, row.adjusted(room, 0, 0, 0), about, scale.quiet, pal.quiet, RIGHT)
        painter.setPen(QPen(pal.line, 1.0))
        painter.drawLine(QPointF(0.0, TITLE - 0.5), QPointF(self.width(), TITLE - 0.5))


def width_of(text: str, font: QFont) -> float:
    return QFontMetricsF(font).horizontalAdvance(text)


def fitted(text: str, font: QFont, width: float) -> str:
    """A text with its middle left out where it is wider than this."""
    if width_of(text, font) <= width:
        return text
    return QFontMetricsF(font).elidedText(text, Qt.TextElideMode.ElideMiddle, width)
