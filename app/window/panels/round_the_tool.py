"""Round the tool: the room by direction on the face of a clock, 12 away from the operator, the door at 6.

Shows: RoundTool (`show_plot`). Says: height_wanted(mm) when the slider at its side is moved; picked(body).
The way out is the spare in that direction, by its square root, so that what is tight is drawn large. What is drawn is
proven: there is at least so much room.
"""

from __future__ import annotations

import math

from PySide6.QtCore import QEvent, QLineF, QPointF, QRectF, QSize, Qt, Signal
from PySide6.QtGui import QKeyEvent, QMouseEvent, QPainter, QPainterPath, QPen
from PySide6.QtWidgets import QWidget

from app.jobs.plots import RoundTool, TightWay
from app.window import units
from app.window.marks import draw_focus, painting
from app.window.panels.painted import LEFT, MIDDLE, RIGHT, TITLE, Painted, width_of
from app.window.theme import INSIDE, Theme
from app.window.units import MM_PER_INCH, Unit

MOST = 20.0  # mm, the outermost ring
RINGS = {Unit.MM: (1.0, 2.0, 5.0, 10.0, 20.0), Unit.INCH: tuple(i * MM_PER_INCH for i in (0.04, 0.08, 0.2, 0.4, 0.8))}
_READING = 20.0
_SLIDER = 56.0  # px, the column at the right with the height
_HOURS = 16.0  # px round the face for 12, 3, door, 9
_STEP = 1.0  # mm, of the height by an arrow key


class RoundToolPlot(Painted):
    """The clock face."""

    height_wanted = Signal(float)
    picked = Signal(str)

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(theme, parent)
        self.plot: RoundTool | None = None
        self.wanted: float | None = None  # the height that was asked for and is not there yet
        self._hand: QPointF | None = None
        self._is_sliding = False
        self.setMouseTracking(True)
        self.setMinimumSize(220, 220)

    def sizeHint(self) -> QSize:
        return QSize(264, 300)

    def show_plot(self, plot: RoundTool) -> None:
        """Another cut, or another height."""
        self.plot, self.is_stale = plot, False
        if self.wanted is not None and math.isclose(self.wanted, plot.height, abs_tol=1e-6):
            self.wanted = None
        self.setAccessibleName(self.sentence())
        self.update()

    def forget(self) -> None:
        self.plot, self.wanted = None, None

    @property
    def is_empty(self) -> bool:
        return self.plot is None

    def sentence(self) -> str:
        """The plot in words."""
        plot = self.plot
        if plot is None:
            return self.why_empty
        ways = "; ".join(self._way(way) for way in plot.tight)
        return f"{plot.title}, round the tool at {units.length(plot.height, self.unit)}: {ways or 'nothing is tight'}"

    def _way(self, way: TightWay) -> str:
        return f"{hour_of(way.clock_deg)} o'clock {way.body} {self._room(way.spare)}"

    def _room(self, spare: float) -> str:
        return "touches" if spare == -math.inf else units.proven(spare, self.unit)

    # ---- scale -------------------------------------------------------------------------------------

    @property
    def centre(self) -> QPointF:
        return QPointF(INSIDE + _HOURS + self.radius, TITLE + 2.0 + _HOURS + self.radius)

    @property
    def radius(self) -> float:
        """px of the outermost ring."""
        across = self.width() - INSIDE - 2 * _HOURS - _SLIDER
        along = self.height() - TITLE - 4.0 - 2 * _HOURS - _READING
        return max(20.0, min(across, along) / 2.0)

    def out(self, room: float) -> float:
        """px from the middle for a room in mm."""
        return self.radius * math.sqrt(min(max(room, 0.0), MOST) / MOST)

    def at(self, clock_deg: float, px: float) -> QPointF:
        """A point so far from the middle in a direction."""
        a = math.radians(clock_deg)
        return self.centre + QPointF(math.sin(a) * px, -math.cos(a) * px)

    @property
    def _track(self) -> QRectF:
        top = TITLE + 24.0
        return QRectF(self.width() - 20.0, top, 8.0, self.height() - top - _READING - 24.0)

    def _height_y(self, height: float) -> float:
        assert self.plot is not None, "an empty panel has no slider"
        low, high = self.plot.heights
        return self._track.bottom() - (height - low) / max(high - low, 1e-9) * self._track.height()

    # ---- paint -------------------------------------------------------------------------------------

    def paint(self, painter: QPainter) -> None:
        plot = self.plot
        assert plot is not None, "an empty panel is not painted"
        self.write_title(painter, "ROUND THE TOOL", plot.title)
        if plot.why is not None:
            painter.setFont(self.theme.type.text)
            painter.setPen(self.theme.palette.quiet)
            area = QRectF(INSIDE, TITLE, self.width() - 2 * INSIDE - _SLIDER, self.height() - TITLE)
            painter.drawText(area, int(MIDDLE | Qt.TextFlag.TextWordWrap), plot.why)
        else:
            self._paint_room(painter)
            self._paint_rings(painter, plot)
            self._paint_hours(painter)
            for way in plot.tight:
                self._paint_jaws(painter, way)
            self._paint_names(painter)
        self._paint_slider(painter, plot)
        self._paint_reading(painter)
        if self.hasFocus():
            draw_focus(painter, self._track.adjusted(-8, -6, 8, 6), self.theme.palette)

    def room_path(self) -> QPainterPath:
        """The region in which there is room, as a polygon of arcs."""
        plot = self.plot
        assert plot is not None, "an empty panel has no path"
        path, n = QPainterPath(), len(plot.sectors)
        for k, sector in enumerate(plot.sectors):
            px = self.out(sector.at_least)
            for j in range(4):
                point = self.at(plot.first_deg + (k + j / 3.0) * 360.0 / n, px)
                if k == 0 and j == 0:
                    path.moveTo(point)
                else:
                    path.lineTo(point)
        path.closeSubpath()
        return path

    def _paint_room(self, painter: QPainter) -> None:
        pale = self.theme.palette.mid
        pale = pale.lighter(112) if not self.theme.palette.is_dark else pale.darker(160)
        painter.setBrush(Qt.BrushStyle.NoBrush if self.is_stale else pale)
        painter.setPen(QPen(self.ink, 1.5))
        painter.drawPath(self.room_path())

    def _paint_rings(self, painter: QPainter, plot: RoundTool) -> None:
        pal = self.theme.palette
        painter.setBrush(Qt.BrushStyle.NoBrush)
        font = self.theme.type.quiet
        for ring in RINGS[self.unit]:
            painter.setPen(QPen(pal.line, 1.0))
            px = min(self.radius, self.out(ring))
            painter.drawEllipse(self.centre, px, px)
        painter.setPen(QPen(self.ink, 2.0, Qt.PenStyle.DotLine))
        painter.drawEllipse(self.centre, self.out(plot.keep_off), self.out(plot.keep_off))
        for text, plate in self.ring_labels():
            painter.fillRect(plate, pal.card)
            self.write(painter, plate, text, font, pal.quiet, MIDDLE)
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(self.ink)
        painter.drawEllipse(self.centre, 2.0, 2.0)

    def ring_labels(self) -> list[tuple[str, QRectF]]:
        """Numbers on the rings, from the outermost in; one that would touch another, or a name, is left out."""
        found: list[tuple[str, QRectF]] = []
        names = [box for _, box in self.names()]
        for ring in reversed(RINGS[self.unit]):
            text = f"{ring:g}" if self.unit is Unit.MM else f"{ring / MM_PER_INCH:g}"
            plate = QRectF(0.0, 0.0, width_of(text, self.theme.type.quiet) + 3.0, 12.0)
            plate.moveCenter(self.at(135.0, min(self.radius, self.out(ring))))
            if not any(box.intersects(plate) for box in (*names, *(other for _, other in found))):
                found.append((text, plate))
        return found

    def _paint_hours(self, painter: QPainter) -> None:
        pal, font, centre, r = self.theme.palette, self.theme.type.quiet, self.centre, self.radius
        painter.setPen(QPen(self.ink, 1.0))
        for hour in range(12):
            painter.drawLine(QLineF(self.at(hour * 30.0, r), self.at(hour * 30.0, r + 4.0)))
        for text, at in (
            ("12", QPointF(centre.x(), centre.y() - r - _HOURS / 2.0 - 2.0)),
            ("3", QPointF(centre.x() + r + _HOURS / 2.0 + 1.0, centre.y())),
            ("9", QPointF(centre.x() - r - _HOURS / 2.0 - 1.0, centre.y())),
        ):
            box = QRectF(0, 0, 18.0, 14.0)
            box.moveCenter(at)
            self.write(painter, box, text, font, pal.quiet, MIDDLE)
        y = centre.y() + r + 6.0  # the door, as a bar at 6
        painter.fillRect(QRectF(centre.x() - 40.0, y, 80.0, 4.0), self.ink)
        box = QRectF(centre.x() + 42.0, y - 6.0, 40.0, 14.0)
        self.write(painter, box, "door", font, pal.quiet, LEFT)

    def _paint_jaws(self, painter: QPainter, way: TightWay) -> None:
        """The gap between the tool in the middle and what stands there."""
        end = max(self.out(way.spare), 8.0)
        line = QLineF(self.at(way.clock_deg, 3.0), self.at(way.clock_deg, end))
        normal = line.normalVector().unitVector()
        jaw = QPointF(normal.dx(), normal.dy()) * 7.0
        with painting(painter):
            fill = self.theme.palette.card if self.is_stale else self.theme.plate(way.verdict).fill
            for colour, width in ((self.ink, 6.0), (fill, 3.0)):
                painter.setPen(QPen(colour, width, Qt.PenStyle.SolidLine, Qt.PenCapStyle.FlatCap))
                painter.drawLine(line)
            painter.setPen(QPen(self.ink, 2.5))
            for point in (line.p1(), line.p2()):
                painter.drawLine(QLineF(point - jaw, point + jaw))

    def names(self) -> list[tuple[TightWay, QRectF]]:
        """Where the names of the tight bodies stand: outside their jaws, on their side, none over another."""
        found: list[tuple[TightWay, QRectF]] = []
        if self.plot is None:
            return found
        font = self.theme.type.quiet_bold
        left, right = 2.0, self.width() - _SLIDER - 2.0
        for way in self.plot.tight:
            width = min(width_of(way.body, font) + 6.0, right - left)
            box = QRectF(0.0, 0.0, width, 15.0)
            tip = self.at(way.clock_deg, max(self.out(way.spare), 8.0) + 13.0)
            sideways = math.sin(math.radians(way.clock_deg))
            box.moveCenter(QPointF(tip.x() + sideways * width / 2.0, tip.y()))
            box.moveLeft(min(max(box.left(), left), right - width))
            up = -1.0 if math.cos(math.radians(way.clock_deg)) >= 0.0 else 1.0
            while any(box.intersects(other) for _, other in found):
                box.translate(0.0, up * 16.0)
            found.append((way, box))
        return found

    def _paint_names(self, painter: QPainter) -> None:
        for way, box in self.names():
            painter.fillRect(box, self.theme.palette.card)
            painter.setPen(QPen(self.theme.palette.line, 1.0))
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.drawRect(box.adjusted(0.5, 0.5, -0.5, -0.5))
            self.write(painter, box, way.body, self.theme.type.quiet_bold, self.ink, MIDDLE)

    def _paint_slider(self, painter: QPainter, plot: RoundTool) -> None:
        """The height over the tip: the tightest place marked, the hand where it is looked at."""
        pal, font, track = self.theme.palette, self.theme.type.quiet, self._track
        column = QRectF(self.width() - _SLIDER, TITLE + 2.0, _SLIDER - 4.0, 16.0)
        self.write(painter, column, "height", font, pal.quiet, RIGHT)
        painter.setPen(QPen(pal.line, 1.0))
        painter.setBrush(pal.ground)
        painter.drawRect(track)
        if plot.tightest is not None:
            y = self._height_y(plot.tightest)
            painter.setPen(QPen(self.ink, 1.0))
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.drawPolygon(
                [QPointF(track.left() - 7, y - 4), QPointF(track.left() - 1, y), QPointF(track.left() - 7, y + 4)]
            )
        height = plot.height if self.wanted is None else self.wanted
        y = self._height_y(height)
        painter.fillRect(QRectF(track.left() - 3.0, y - 2.0, track.width() + 6.0, 4.0), self.ink)
        row = QRectF(self.width() - _SLIDER, track.bottom() + 6.0, _SLIDER - 4.0, 16.0)
        self.write(painter, row, units.length(height, self.unit), self.theme.type.quiet_bold, self.ink, RIGHT)

    # ---- the hand ----------------------------------------------------------------------------------

    def sector_at(self, point: QPointF) -> int | None:
        """The sector under a point of the face."""
        if self.plot is None or self.plot.why is not None or not self.plot.sectors:
            return None
        off = point - self.centre
        if math.hypot(off.x(), off.y()) > self.radius + 2.0:
            return None
        clock = (math.degrees(math.atan2(off.x(), -off.y())) - self.plot.first_deg) % 360.0
        return int(clock / 360.0 * len(self.plot.sectors)) % len(self.plot.sectors)

    def reading(self) -> str:
        """The room in the direction under the hand; empty where there is none."""
        plot = self.plot
        k = None if self._hand is None else self.sector_at(self._hand)
        if plot is None or k is None:
            return ""
        sector, clock = plot.sectors[k], plot.first_deg + (k + 0.5) * 360.0 / len(plot.sectors)
        if sector.value is None:
            return f"{hour_of(clock)} o'clock: over {units.length(MOST, self.unit)}"
        return f"{hour_of(clock)} o'clock: {self._room(sector.at_least)}  {sector.body}"

    def _paint_reading(self, painter: QPainter) -> None:
        """Under the face: what is under the hand, else the tight directions, as many as there is room for."""
        plot, font = self.plot, self.theme.type.quiet_bold
        assert plot is not None, "an empty panel is not painted"
        row = QRectF(INSIDE, self.height() - _READING, self.width() - 2 * INSIDE, _READING)
        if text := self.reading():
            self.write(painter, row, text, font, self.ink)
            return
        lines = [self._way(way) for way in plot.tight] or [f"at the {plot.part}: nothing near"]
        top = self.centre.y() + self.radius + _HOURS
        n = max(1, min(len(lines), int((self.height() - top) / 16.0)))
        for i, line in enumerate(reversed(lines[:n])):
            row = QRectF(INSIDE, self.height() - _READING + 2.0 - 16.0 * i, self.width() - _SLIDER - INSIDE, 16.0)
            self.write(painter, row, line, font, self.ink)

    def mousePressEvent(self, event: QMouseEvent) -> None:
        if self.plot is None:
            return
        if event.position().x() > self.width() - 36.0 and event.position().y() > TITLE:
            self._is_sliding = True
            self._slide(event.position().y())
            return
        k = self.sector_at(event.position())
        if k is not None and self.plot.sectors[k].body:
            self.picked.emit(self.plot.sectors[k].body)

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        self._hand = event.position()
        if self._is_sliding:
            self._slide(event.position().y())
        self.update()

    def mouseReleaseEvent(self, event: QMouseEvent) -> None:
        self._is_sliding = False
        super().mouseReleaseEvent(event)

    def mouseDoubleClickEvent(self, event: QMouseEvent) -> None:
        if self.plot is not None and self.plot.tightest is not None and event.position().x() > self.width() - 36.0:
            self._want(self.plot.tightest)

    def leaveEvent(self, event: QEvent) -> None:
        self._hand = None
        self.update()
        super().leaveEvent(event)

    def _slide(self, y: float) -> None:
        assert self.plot is not None, "checked by the caller"
        low, high = self.plot.heights
        share = (self._track.bottom() - y) / self._track.height()
        self._want(low + min(1.0, max(0.0, share)) * (high - low))

    def _want(self, height: float) -> None:
        assert self.plot is not None, "checked by the caller"
        low, high = self.plot.heights
        height = round(min(high, max(low, height)), 2)
        if height != (self.plot.height if self.wanted is None else self.wanted):
            self.wanted = height
            self.height_wanted.emit(height)
            self.update()

    def keyPressEvent(self, event: QKeyEvent) -> None:
        plot = self.plot
        if plot is None:
            super().keyPressEvent(event)
            return
        height = plot.height if self.wanted is None else self.wanted
        match event.key():
            case Qt.Key.Key_Up | Qt.Key.Key_Down:
                self._want(height + (_STEP if event.key() == Qt.Key.Key_Up else -_STEP))
            case Qt.Key.Key_Backspace if plot.tightest is not None:
                self._want(plot.tightest)
            case _:
                super().keyPressEvent(event)


def hour_of(clock_deg: float) -> int:
    """The hour nearest to a direction."""
    return round(clock_deg / 30.0) % 12 or 12
