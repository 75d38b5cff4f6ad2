"""A card of the tight board: one orientation, 240 x 160, read from the top: name, verdict, spare, between which, where.

Shows: a CardNow (`show_card`), its picture (`show_picture`), whether it is picked (`mark_picked`).
Says: picked(key of the cut that it shows); stepped(+1 or -1) to another cut of the card.
"""

from __future__ import annotations

from PySide6.QtCore import QPointF, QRectF, QSize, Qt, Signal
from PySide6.QtGui import QFontMetricsF, QImage, QMouseEvent, QPainter, QPainterPath, QPaintEvent, QPen
from PySide6.QtWidgets import QWidget

from app.window.marks import (
    draw_edge,
    draw_focus,
    draw_hatch,
    draw_hollow_plate,
    draw_plate,
    draw_stale_edge,
    painting,
    plate_width,
)
from app.window.panels.painted import LEFT, RIGHT, fitted, width_of
from app.window.results import CardNow, Holds
from app.window.telling import CardTexts, card_texts
from app.window.theme import Theme
from app.window.units import Unit
from kinematics.report import CutReport, Interval
from kinematics.verdict import Verdict

What = tuple[Verdict | None, Interval | None, float | None] | None  # verdict, clearance, spare that a picture shows
CARD = QSize(240, 160)
FRAME = 4  # px around a card: 3 of ink and 1 of paper when it is picked
CELL = QSize(CARD.width() + 2 * FRAME, CARD.height() + 2 * FRAME)
PICTURE = QRectF(18, 38, 120, 74)
_LEFT, _RIGHT = 18.0, 232.0


class Card(QWidget):
    """One orientation."""

    picked = Signal(object)

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.theme, self.unit = theme, Unit.MM
        self.card: CardNow | None = None
        self.texts: CardTexts | None = None
        self.is_picked = False
        self._picture: QImage | None = None
        self._what: What = None
        self._no_picture = ""
        self.setFixedSize(CELL)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setCursor(Qt.CursorShape.PointingHandCursor)

    def show_card(self, card: CardNow, unit: Unit) -> None:
        """What is known of the orientation now."""
        if card == self.card and unit == self.unit:
            return
        self.card, self.unit = card, unit
        self.texts = card_texts(card, unit)
        self.setToolTip(self.texts.tip)
        self.setAccessibleName(f"{self.texts.name}, {self.texts.word.lower()}, {self.texts.tip}")
        self.update()

    def show_picture(self, picture: QImage | None, what: What, why: str = "") -> None:
        """The picture of the cut that is shown, and of what; None with the reason where there is none."""
        self._picture, self._what, self._no_picture = picture, what, why
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

    @property
    def has_picture(self) -> bool:
        """Whether it has a picture of the number that it tells."""
        return self._picture is not None and not self._is_picture_old()

    def _is_picture_old(self) -> bool:
        result = self.card.shown.result if self.card else None
        pair = result.worst if isinstance(result, CutReport) else None
        verdict = result.verdict if result else None
        return self._what != (verdict, pair.clearance if pair else None, pair.spare if pair else None)

    def mousePressEvent(self, event: QMouseEvent) -> None:
        if event.button() is Qt.MouseButton.LeftButton and self.card is not None:
            self.setFocus(Qt.FocusReason.MouseFocusReason)
            self.picked.emit(self.card.shown.key)

    # ---- painting ----

    def paintEvent(self, _event: QPaintEvent) -> None:
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        palette = self.theme.palette
        if self.is_picked:
            painter.fillRect(self.rect(), palette.ink)
            painter.fillRect(self.rect().adjusted(3, 3, -3, -3), palette.card)
        painter.translate(FRAME, FRAME)
        body = QRectF(0, 0, CARD.width(), CARD.height())
        painter.fillRect(body, palette.card)
        if self.card is not None and self.texts is not None:
            self._edge(painter, body, self.texts)
            self._plate(painter, self.texts)
            self._name(painter, self.texts)
            self._draw_picture(painter, self.texts)
            self._number(painter, self.texts)
            self._below(painter, self.texts)
            self._progress(painter, self.card)
        painter.setPen(QPen(palette.line, 1.0))
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.drawRect(body.adjusted(0.5, 0.5, -0.5, -0.5))
        if self.hasFocus() and not self.is_picked:
            draw_focus(painter, body, palette)
        painter.end()

    def _edge(self, painter: QPainter, body: QRectF, texts: CardTexts) -> None:
        if texts.is_was:
            draw_stale_edge(painter, body, texts.verdict, self.theme.palette)
        elif not texts.is_computing:
            draw_edge(painter, body, texts.verdict, self.theme.palette)

    def _plate(self, painter: QPainter, texts: CardTexts) -> None:
        rect = self._plate_rect(texts)
        if texts.is_was or texts.is_computing:
            verdict = Verdict.NOT_CHECKED if texts.is_computing else texts.verdict
            draw_hollow_plate(painter, rect, verdict, texts.word, self.theme)
        else:
            draw_plate(painter, rect, texts.verdict, texts.word, self.theme)

    def _plate_rect(self, texts: CardTexts) -> QRectF:
        width = min(plate_width(texts.word, self.theme) + 2.0, 126.0)
        return QRectF(_RIGHT + 2.0 - width, 6, width, 26)

    def _name(self, painter: QPainter, texts: CardTexts) -> None:
        palette, fonts = self.theme.palette, self.theme.type
        room = self._plate_rect(texts).left() - _LEFT - 6.0
        more = width_of(texts.more, fonts.quiet) + 6.0 if texts.more else 0.0
        shown = fitted(texts.name, fonts.name, max(room - more, 40.0))
        painter.setPen(palette.ink)
        painter.setFont(fonts.name)
        painter.drawText(QRectF(_LEFT, 6, room, 26), LEFT, shown)
        left = _LEFT + width_of(shown, fonts.name) + 6.0
        if texts.more and left + more - 6.0 <= _LEFT + room + 4.0:
            painter.setFont(fonts.quiet)
            painter.drawText(QRectF(left, 8, more, 26), LEFT, texts.more)

    def _draw_picture(self, painter: QPainter, texts: CardTexts) -> None:
        palette = self.theme.palette
        painter.fillRect(PICTURE, palette.ground)
        if self._picture is not None:
            painter.setRenderHint(QPainter.RenderHint.SmoothPixmapTransform)
            painter.drawImage(PICTURE, self._picture)
        if self._picture is None or texts.is_computing:
            draw_hatch(painter, PICTURE, palette.line, step=8.0)
        elif texts.is_was or self._is_picture_old():
            draw_hatch(painter, PICTURE, palette.quiet, step=12.0)
        if self._no_picture and self._picture is None:
            painter.fillRect(PICTURE.adjusted(8, 22, -8, -22), palette.ground)
            painter.setPen(palette.quiet)
            painter.setFont(self.theme.type.quiet)
            painter.drawText(PICTURE, Qt.AlignmentFlag.AlignCenter, "no picture")

    def _number(self, painter: QPainter, texts: CardTexts) -> None:
        palette, fonts = self.theme.palette, self.theme.type
        rect = QRectF(PICTURE.right() + 4, 36, _RIGHT - PICTURE.right() - 4, 30)
        number = "" if texts.is_computing else texts.number
        font = fonts.number if width_of(number, fonts.number) <= rect.width() else fonts.name
        if texts.is_was and number:
            self._hollow(painter, rect, number)
        else:
            painter.setFont(font)
            painter.setPen(palette.ink)
            painter.drawText(rect, RIGHT, number)
        painter.setFont(fonts.quiet)
        painter.setPen(palette.quiet)
        lines = ["" if texts.is_computing else texts.under, *(f"{letter} {value}" for letter, value in texts.angles)]
        for i, line in enumerate(lines[:4]):
            painter.drawText(QRectF(rect.left(), 66 + 16 * i, rect.width(), 16), RIGHT, line)

    def _hollow(self, painter: QPainter, rect: QRectF, number: str) -> None:
        """Outline figures, with `was` before them."""
        palette, fonts = self.theme.palette, self.theme.type
        font = fonts.number
        was = width_of("was ", fonts.quiet)
        if width_of(number, font) + was > rect.width():
            font = fonts.name
        metrics = QFontMetricsF(font)
        left = rect.right() - metrics.horizontalAdvance(number)
        baseline = rect.center().y() + (metrics.ascent() - metrics.descent()) / 2.0
        path = QPainterPath()
        path.addText(QPointF(left, baseline), font, number)
        with painting(painter):
            painter.setPen(QPen(palette.ink, 1.0))
            painter.setBrush(palette.card)
            painter.drawPath(path)
        painter.setFont(fonts.quiet)
        painter.setPen(palette.quiet)
        painter.drawText(QRectF(rect.left() - 8, rect.top(), left - rect.left() + 6, rect.height()), RIGHT, "was")

    def _below(self, painter: QPainter, texts: CardTexts) -> None:
        palette, fonts = self.theme.palette, self.theme.type
        width = _RIGHT - _LEFT
        painter.setPen(palette.quiet if texts.is_was else palette.ink)
        painter.setFont(fonts.text_bold)
        painter.drawText(QRectF(_LEFT, 116, width, 19), LEFT, fitted(texts.pair, fonts.text_bold, width))
        painter.setFont(fonts.quiet)
        painter.setPen(palette.quiet)
        side = texts.side
        if width_of(side, fonts.quiet) > width and " \u00b7 " in side:
            side = side.split(" \u00b7 ")[0]
        painter.drawText(QRectF(_LEFT, 136, width, 17), LEFT, fitted(side, fonts.quiet, width))

    def _progress(self, painter: QPainter, card: CardNow) -> None:
        """A line of 2 px that fills as the cuts of the card come."""
        done = sum(cut.holds is Holds.FRESH for cut in card.cuts)
        waits = any(cut.holds in (Holds.WAS, Holds.COMPUTING) for cut in card.cuts)
        if waits:
            palette = self.theme.palette
            full, part = CARD.width() - 2.0, (done + 0.5) / (len(card.cuts) + 0.5)
            painter.fillRect(QRectF(1, CARD.height() - 3, full, 2), palette.ground)
            painter.fillRect(QRectF(1, CARD.height() - 3, full * part, 2), palette.quiet)
