"""The room line: every cut and swing as a tick on one axis of spare. One look says how many, and how close.

Cuts point up, swings down. Under 0 stands left of a double bar; the spacing is that of square roots, so that what is
tight has room. What is not checked stands as `?` in a bay of its own at the left end and is never dropped.
Shows: ticks (`show_ticks`). Says: picked(key).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from PySide6.QtCore import QEvent, QPointF, QRectF, QSize, Qt, Signal
from PySide6.QtGui import QFontMetricsF, QHelpEvent, QKeyEvent, QMouseEvent, QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import QSizePolicy, QToolTip, QWidget

from app.window.answers import CutKey, MoveKey
from app.window.marks import draw_focus
from app.window.panels.painted import LEFT, RIGHT, fitted, width_of
from app.window.theme import INSIDE, Theme
from app.window.units import Unit
from kinematics.verdict import Verdict

HEIGHT = 56
LEAST, MOST = -3.0, 20.0  # mm of spare at the ends; what is beyond stands at the end
BAY, UNDER = 22.0, 44.0  # px: of what is not checked, and of what is under 0
NUMBERS_Y, AXIS_Y = 15.0, 41.0
UP, DOWN = 12.0, 10.0  # px, of a tick
NEAR = 9.0  # px: a click as near as this is on a tick
MARKS_MM: tuple[float, ...] = (0.0, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0)
MARKS_INCH: tuple[float, ...] = (0.0, 0.02, 0.05, 0.1, 0.2, 0.4, 0.8)
MM_PER_INCH = 25.4
WEIGHT = {Verdict.HITS: 4.0, Verdict.CAN_HIT: 3.5, Verdict.TIGHT: 3.0, Verdict.CLEAR: 1.2, Verdict.NOT_CHECKED: 2.0}
Key = CutKey | MoveKey


@dataclass(frozen=True, slots=True)
class Tick:
    """A cut or swing.

    Parameters
    ----------
    spare : mm; None on contact without a depth, and where it is not known.
    is_fresh : of the present scene.
    words : all of it, for the tool tip.
    """

    key: Key
    verdict: Verdict
    spare: float | None
    is_swing: bool
    is_fresh: bool
    words: str


class RoomLine(QWidget):
    """At the top of the board."""

    picked = Signal(object)

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.theme, self.unit = theme, Unit.MM
        self.ticks: tuple[Tick, ...] = ()
        self.selected: Key | None = None
        self._keep_off = (0.0, 0.0)  # of cuts, of swings
        self.setFixedHeight(HEIGHT)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setMouseTracking(True)
        self.setAccessibleName("room line")

    def sizeHint(self) -> QSize:
        return QSize(264, HEIGHT)

    # ---- what is shown ----

    def show_ticks(self, ticks: tuple[Tick, ...], keep_off_cut: float, keep_off_swing: float) -> None:
        """Every cut and swing, and the keep-off of each, mm."""
        now = (ticks, (keep_off_cut, keep_off_swing))
        if now != (self.ticks, self._keep_off):
            self.ticks, self._keep_off = now
            n = sum(t.verdict is Verdict.NOT_CHECKED for t in ticks)
            self.setAccessibleDescription(f"{len(ticks)} cuts and swings, {n} not checked")
            self.update()

    def mark_selected(self, key: Key | None) -> None:
        """What is looked at."""
        if key != self.selected:
            self.selected = key
            self.update()

    def set_theme(self, theme: Theme) -> None:
        """Another look."""
        self.theme = theme
        self.update()

    def set_unit(self, unit: Unit) -> None:
        """Numbers of the axis in another unit."""
        self.unit = unit
        self.update()

    # ---- where things stand ----

    @property
    def _zero(self) -> float:
        return INSIDE + BAY + UNDER

    def x_of(self, spare: float) -> float:
        """Where a spare stands, in pixels."""
        at = min(max(spare, LEAST), MOST)
        if at < 0.0:
            return self._zero - 3.0 - (UNDER - 6.0) * math.sqrt(at / LEAST)
        room = self.width() - INSIDE - 6.0 - self._zero
        return self._zero + 2.0 + (room - 2.0) * math.sqrt(at / MOST)

    def place_of(self, tick: Tick) -> float | None:
        """Where a tick stands; None for what is in the bay."""
        if tick.verdict is Verdict.NOT_CHECKED:
            return None
        if tick.spare is None:
            return self.x_of(LEAST) if tick.verdict.severity >= Verdict.CAN_HIT.severity else None
        return self.x_of(tick.spare)

    def in_order(self) -> tuple[Tick, ...]:
        """From the left: what is not checked, then by where it stands."""
        return tuple(sorted(self.ticks, key=lambda t: (self.place_of(t) or 0.0, t.is_swing)))

    def tick_at(self, x: float, y: float) -> Tick | None:
        """The tick that is meant by a pixel: the nearest, of those that point to its side of the axis first."""
        if x < INSIDE + BAY:
            return next((t for t in self.ticks if self.place_of(t) is None), None)
        down = y > AXIS_Y
        best: tuple[float, Tick] | None = None
        for tick in self.ticks:
            at = self.place_of(tick)
            if at is None:
                continue
            off = abs(at - x) + (0.0 if tick.is_swing == down else 4.0)
            if off <= NEAR and (best is None or off < best[0]):
                best = off, tick
        return best[1] if best is not None else None

    # ---- painting ----

    def paintEvent(self, event: QPaintEvent) -> None:
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        pal = self.theme.palette
        painter.fillRect(event.rect(), pal.ground)
        self._paint_words(painter)
        self._paint_axis(painter)
        for index, wanted in enumerate(self._keep_off):
            if wanted > 0.0 and self.ticks:
                painter.setPen(QPen(pal.ink, 1.0, Qt.PenStyle.DotLine))
                x = self.x_of(wanted)
                span = (AXIS_Y - UP - 1, AXIS_Y) if index == 0 else (AXIS_Y, AXIS_Y + DOWN + 1)
                painter.drawLine(QPointF(x, span[0]), QPointF(x, span[1]))
        for tick in sorted(self.ticks, key=lambda t: (t.verdict.severity, t.key == self.selected)):
            self._paint_tick(painter, tick)
        self._paint_bay(painter)
        if self.hasFocus():
            draw_focus(painter, QRectF(self.rect()).adjusted(1, 1, -1, -1), pal)
        painter.end()

    def _paint_words(self, painter: QPainter) -> None:
        pal, fonts = self.theme.palette, self.theme.type
        row = QRectF(INSIDE, 0.0, self.width() - 2 * INSIDE, 15.0)
        painter.setFont(fonts.quiet_bold)
        painter.setPen(pal.quiet)
        painter.drawText(row, int(LEFT), "ROOM LINE")
        shown = next((t for t in self.ticks if t.key == self.selected), None)
        if shown is not None:
            room = row.adjusted(width_of("ROOM LINE", fonts.quiet_bold) + INSIDE, 0, 0, 0)
            painter.setFont(fonts.quiet)
            painter.drawText(room, int(RIGHT), fitted(shown.words.partition(":")[0], fonts.quiet, room.width()))

    def _paint_axis(self, painter: QPainter) -> None:
        pal, fonts = self.theme.palette, self.theme.type
        painter.setPen(QPen(pal.line, 1.0))
        painter.drawLine(QPointF(INSIDE + BAY, AXIS_Y), QPointF(self.width() - INSIDE, AXIS_Y))
        painter.setPen(QPen(pal.ink, 1.0))
        for off in (-2.0, 1.0):
            painter.drawLine(QPointF(self._zero + off, AXIS_Y - UP), QPointF(self._zero + off, AXIS_Y + DOWN))
        painter.setFont(fonts.quiet)
        painter.setPen(pal.quiet)
        metrics = QFontMetricsF(fonts.quiet)
        end = -1.0
        for mark in MARKS_MM if self.unit is Unit.MM else MARKS_INCH:
            x = self.x_of(mark if self.unit is Unit.MM else mark * MM_PER_INCH)
            text = f"{mark:g}".removeprefix("0") or "0"
            wide = metrics.horizontalAdvance(text)
            left = min(x - wide / 2.0, self.width() - INSIDE - wide)
            if left > end:
                painter.drawText(QRectF(left, NUMBERS_Y - 1, wide + 1, 13.0), int(Qt.AlignmentFlag.AlignCenter), text)
                end = left + wide + 3.0
                painter.drawLine(QPointF(x, AXIS_Y - 2.0), QPointF(x, AXIS_Y + 2.0))

    def _paint_tick(self, painter: QPainter, tick: Tick) -> None:
        x = self.place_of(tick)
        if x is None:
            return
        pal = self.theme.palette
        end = AXIS_Y + DOWN if tick.is_swing else AXIS_Y - UP
        weight = WEIGHT[tick.verdict]
        if tick.key == self.selected:
            painter.setPen(QPen(pal.ink, 1.0))
            painter.setBrush(pal.card)
            top, bottom = min(end, AXIS_Y) - 3.0, max(end, AXIS_Y) + 2.0
            painter.drawRect(QRectF(x - weight / 2 - 3.0, top, weight + 6.0, bottom - top))
            painter.setBrush(Qt.BrushStyle.NoBrush)
        if tick.is_fresh:
            painter.setPen(QPen(pal.ink, weight, Qt.PenStyle.SolidLine, Qt.PenCapStyle.FlatCap))
            painter.drawLine(QPointF(x, AXIS_Y), QPointF(x, end))
        else:  # hollow: it is of the scene before
            painter.setPen(QPen(pal.quiet, 1.0))
            painter.drawRect(QRectF(x - weight / 2, min(end, AXIS_Y), weight, abs(end - AXIS_Y)))

    def _paint_bay(self, painter: QPainter) -> None:
        """What is not checked: a question mark with how many."""
        n = sum(self.place_of(t) is None for t in self.ticks)
        if not n:
            return
        pal, fonts = self.theme.palette, self.theme.type
        rect = QRectF(INSIDE, AXIS_Y - 14.0, BAY - 3.0, 24.0)
        plate = self.theme.plate(Verdict.NOT_CHECKED)
        painter.setPen(QPen(pal.ink, 1.0))
        painter.setBrush(plate.fill)
        painter.drawRect(rect)
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.setFont(fonts.quiet_bold)
        painter.setPen(plate.text)
        painter.drawText(rect, int(Qt.AlignmentFlag.AlignCenter), "?" if n == 1 else f"{n}?")

    # ---- what is done ----

    def mousePressEvent(self, event: QMouseEvent) -> None:
        tick = self.tick_at(event.position().x(), event.position().y())
        if tick is not None:
            self.picked.emit(tick.key)

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        over = self.tick_at(event.position().x(), event.position().y()) is not None
        self.setCursor(Qt.CursorShape.PointingHandCursor if over else Qt.CursorShape.ArrowCursor)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        step = {Qt.Key.Key_Left: -1, Qt.Key.Key_Right: 1}.get(Qt.Key(event.key()))
        ticks = self.in_order()
        if step is None or not ticks:
            super().keyPressEvent(event)
            return
        keys = [tick.key for tick in ticks]
        at = keys.index(self.selected) if self.selected in keys else (-1 if step > 0 else 0)
        self.picked.emit(keys[(at + step) % len(keys)])

    def event(self, event: QEvent) -> bool:
        if isinstance(event, QHelpEvent) and event.type() is QEvent.Type.ToolTip:
            tick = self.tick_at(event.x(), event.y())
            if tick is not None:
                QToolTip.showText(event.globalPos(), tick.words, self)
            else:
                QToolTip.hideText()
            return True
        return super().event(event)
